"""A day of leaves: stretches of the schedule, the night, and leaf area by its light."""

from dataclasses import replace

import numpy as np
import pytest
from build import scene_of
from test_assimilation import LEAF, crop_of, lit_layers
from test_electricity import facts, light, shift
from torture import torture

from canopysim.analysis.assimilation import assimilation
from canopysim.analysis.assimilation_day import assimilation_day, stretches
from canopysim.analysis.facets import facet_light
from canopysim.analysis.leaf_histogram import leaf_histogram
from canopysim.analysis.leaf_response import net
from canopysim.analysis.light_day import Shift
from canopysim.errors import CanopysimError, SceneError
from canopysim.report.leaf_light import leaf_light_tables, write_leaf_light_csv
from canopysim.report.page import page_text
from canopysim.tracing import run

LIGHT = np.array([300.0, 80.0, 10.0])


def day_of(schedule, photoperiod=None, output=1.0, far_red=0.0):
    """Layers that absorb LIGHT at the set output, and a day of that lamp."""
    result = lit_layers(LIGHT, far_red)
    scale = [float(v) / output for v in result.rows["channel_umol_s_per_quantum"]]
    stated = facts(
        light(group="lamps", output=output), photoperiod_h=photoperiod, schedule=schedule
    )
    stated |= {"channel_light": [1], "channel_full_umol_s_per_quantum": scale}
    return replace(result, meta={**result.meta, "electricity": stated})


def by_hand(result, hours_at, far_red=0.0):
    """Net mol CO2 of a day from hours at factors on LIGHT; the rest of the day is dark."""
    area = result.layers["leaf_area_m2"].values
    lit = sum(h for h, _ in hours_at)
    rate = sum(h * net(LIGHT * k, LEAF) for h, k in hours_at) + (24.0 - lit) * net(0.0, LEAF)
    return area * rate * 3600.0 / 1e6


def test_a_photoperiod_is_its_hours_and_a_night():
    result = day_of((), photoperiod=14.0)
    found = assimilation_day(result, crop_of(LEAF))
    wanted = by_hand(result, [(14.0, 1.0)])
    assert [e.value for e in found.layers] == pytest.approx(wanted.tolist(), rel=1e-5)
    assert found.net.value == pytest.approx(wanted.sum(), rel=1e-5)
    area = result.layers["leaf_area_m2"].values.sum()
    assert found.night == pytest.approx(-10.0 * 3600 / 1e6 * LEAF.rd * area, rel=1e-9)
    # In the light it is what the canopy does as it is set.
    now = assimilation(result, crop_of(LEAF))
    assert found.net.value - found.night == pytest.approx(now.net.value * 14 * 0.0036, rel=1e-9)
    assert found.lit_h == 14.0


def test_a_schedule_of_outputs_is_summed_stretch_by_stretch():
    """Half output for twice the hours makes more than full output: the answer is curved."""
    schedule = [shift(6.0, 18.0, 0.5, "lamps"), shift(20.0, 2.0, 1.0, None)]
    result = day_of(schedule)
    found = assimilation_day(result, crop_of(LEAF))
    wanted = by_hand(result, [(12.0, 0.5), (6.0, 1.0)])
    assert found.net.value == pytest.approx(wanted.sum(), rel=1e-5)
    assert found.lit_h == 18.0
    even = assimilation_day(day_of([shift(0.0, 24.0, 0.5, None)]), crop_of(LEAF))
    sharp = assimilation_day(day_of([shift(0.0, 12.0, 1.0, None)]), crop_of(LEAF))
    assert even.net.value > sharp.net.value


def test_a_set_output_holds_where_a_schedule_names_none():
    result = day_of([shift(0.0, 10.0, None, "lamps")], output=0.4)
    found = assimilation_day(result, crop_of(LEAF))
    assert found.net.value == pytest.approx(by_hand(result, [(10.0, 1.0)]).sum(), rel=1e-5)


def test_far_red_of_a_day_is_told_apart():
    bare, red = (assimilation_day(day_of((), 12.0, far_red=k), crop_of(LEAF)) for k in (0.0, 0.9))
    assert red.net.value == pytest.approx(bare.net.value, rel=1e-12)
    assert bare.far_red.value == 0.0
    assert red.far_red.value > 0.0


def test_stretches_make_a_day():
    shifts = [
        Shift("a", 22.0, 4.0, None), Shift("b", 3.0, 9.0, 0.5), Shift(None, 12.0, 12.5, None),
    ]  # fmt: skip
    day = stretches(shifts)
    assert sum(s.hours for s in day) == 24.0
    assert [(s.start_h, len(s.shifts)) for s in day] == [
        (0.0, 1), (3.0, 2), (4.0, 1), (9.0, 0), (12.0, 1), (12.5, 0), (22.0, 1),
    ]  # fmt: skip


def test_a_day_needs_hours_and_a_canopy():
    with pytest.raises(CanopysimError, match="a 'photoperiod' or 'schedule'"):
        assimilation_day(lit_layers(LIGHT), "pepper")


@pytest.fixture(scope="module")
def traced():
    scene = torture(4000) | {"also_count": {"leaf_facets": "true", "first_flight": "true"}}
    scene["canopy"] = scene["canopy"] | {
        "crop": "basil", "acclimation": "0.5", "bright_limit": "90 umol/m2/s",
    }  # fmt: skip
    return run(scene_of(scene), target={}, max_packets=48_000, seed=4)


def test_histogram_holds_all_leaf_area_and_agrees_with_its_cumulation(traced):
    """Bins of a layer add to one; where one bin holds all, noise or not, its share is one."""
    found = leaf_histogram(traced)
    light_of = facet_light(traced)
    assert list(found.layers) == sorted(set(light_of.layer.tolist()))
    for shares in found.share:
        assert sum(s.value for s in shares) == pytest.approx(1.0, abs=1e-12)
    whole = leaf_histogram(traced, edges=np.array([0.0, 1e9, np.inf]))
    assert all(s[0].value == 1.0 and s[1].value == 0.0 for s in whole.share)
    # As the share over a limit is told in `assimilation`, by the same method.
    limit = assimilation(traced, "basil", limit=90.0)
    bright = leaf_histogram(traced, edges=np.array([0.0, np.nextafter(90.0, 91.0), np.inf]))
    assert bright.share[-1][1].value == pytest.approx(limit.over_limit.value, abs=1e-12)


def test_page_and_file_show_leaf_light(traced, tmp_path):
    direct, histogram = leaf_light_tables(traced)
    assert direct.caption.startswith("Directly lit and shaded")
    assert len(direct.rows) == 4
    assert [row[0] for row in histogram.rows][-1] == "All leaves"
    page = page_text(traced)
    assert "Capacity of its leaves" in page
    assert "Leaf area above 90" in page
    write_leaf_light_csv(traced, tmp_path / "leaf-light.csv")
    table = np.genfromtxt(
        tmp_path / "leaf-light.csv", delimiter=",", names=True, dtype=None, encoding="utf-8"
    )
    for group in (*traced.groups, "all"):
        mine = table[(table["group"] == group) & (table["layer"] == 0)]
        assert mine["leaf_area_share"].sum() == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize(
    ("canopy", "said"),
    [
        ({"acclimation": "0.5"}, "canopy.acclimation: needs the leaves of a crop"),
        (
            {"acclimation": "3", "crop": "basil"},
            "canopy.acclimation: '3' is too large; allowed is 2 or less",
        ),
        (
            {"bright_limit": "90 umol/m2/s", "crop": "basil"},
            "canopy.bright_limit: needs single leaf triangles",
        ),
        ({"replicates": "0"}, "canopy.replicates: '0' is out of range"),
    ],
)
def test_what_a_scene_says_of_its_leaves_is_checked(canopy, said):
    scene = torture(500)
    scene["canopy"] = scene["canopy"] | canopy
    with pytest.raises(SceneError) as caught:
        scene_of(scene)
    assert said in str(caught.value)
