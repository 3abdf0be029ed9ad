"""The canopy's box: what goes in, less what comes out, plus what starts inside, stays inside."""

import itertools

import numpy as np
import pytest
import yaml
from build import plain_box, scene_of, trace, world_of
from conftest import P_FAIL
from scipy import stats
from torture import EVERYTHING, closed_torture, cloudy_torture, endless_torture, torture

from canopysim.analysis.canopy_box import box_light, incident, place_light, plant_light
from canopysim.errors import CanopysimError
from canopysim.report.canopy_box import write_canopy_box_csv, write_plants_csv
from canopysim.report.page import page_text
from canopysim.results import Result
from canopysim.scene.load import load_scene_text
from canopysim.tracing import run
from canopysim.world.canopy_box import places_among
from canopysim.world.compile import compile_world

COUNTED = {"canopy_sides": "true", "each_plant": "true"}


def parts_of(world, rows):
    """What was counted, in quanta over all batches, part by part: (channel, ..., band)."""
    plan = world.splits.canopy
    counted = rows.splits.canopy.sum(0)
    n_channel, _, n_band = counted.shape
    first, n = plan.first, plan.n_layer
    cut = [counted[:, a:b] for a, b in itertools.pairwise(first)]
    return (
        cut[0].reshape(n_channel, n, 4, 2, n_band),
        cut[1].reshape(n_channel, n + 1, 2, n_band),
        cut[2],
        cut[3].reshape(n_channel, n, 4, n_band),
        cut[4],
    )


def open_quanta(world, rows):
    """What is left over per channel, layer and band."""
    sides, levels, launched, inside, _ = parts_of(world, rows)
    through = levels[:, :, 0] - levels[:, :, 1]
    net = through[:, :-1] - through[:, 1:] + (sides[:, :, :, 0] - sides[:, :, :, 1]).sum(2)
    return net + launched - inside.sum(2)


def leaf_quanta(world, rows):
    """What the books say that leaves absorb, (channel, layer, band)."""
    layers = [s.layer if s.kind == "leaf" else -1 for s in world.sinks]
    absorbed = np.sum(rows.absorbed, 0)
    n = len(world.layers.leaf_area)
    return np.stack(
        [absorbed[:, [i for i, k in enumerate(layers) if k == j]].sum(1) for j in range(n)], 1
    )


def demo():
    """One canopy of the demo, its sides counted."""
    from pathlib import Path

    text = Path("scenes/pepper-tent.yaml").read_text("utf-8")
    assert "  replicates: 4 " in text
    text = text.replace("  replicates: 4 ", "  replicates: 1 ")
    return text + "\nalso_count: {canopy_sides: true, each_plant: true}\n"


SCENES = {
    "torture": lambda: world_of(torture(20_000) | {"also_count": COUNTED}),
    "with all else": lambda: world_of(torture(2000) | {"also_count": dict(EVERYTHING)}),
    "endless": lambda: world_of(endless_torture(20_000) | {"also_count": COUNTED}),
    "walls as triangles": lambda: world_of(
        closed_torture(20_000) | {"also_count": COUNTED}, wall_triangles=400
    ),
    "volumes of leaves": lambda: world_of(cloudy_torture(8000) | {"also_count": COUNTED}),
    "demo": lambda: compile_world(load_scene_text(demo())),
}


@pytest.mark.parametrize("name", SCENES)
def test_no_quantum_of_the_box_is_open(name):
    world = SCENES[name]()
    rows = trace(world, 2, seed=5)
    assert (open_quanta(world, rows) == 0).all()
    sides, levels, _, inside, plants = parts_of(world, rows)
    # The box holds every leaf: by layer, channel and band its leaves take what the books say.
    leaves = leaf_quanta(world, rows)
    assert (inside[:, :, 0] == leaves).all()
    if name == "volumes of leaves":
        # Leaves that fill a volume belong to no plant.
        assert (plants.sum(1) <= leaves.sum(1)).all()
        assert (plants.sum((0, 1)) < leaves.sum((0, 1))).all()
    else:
        assert (plants.sum(1) == leaves.sum(1)).all()
    assert (plants.sum((0, 2)) > 0).all()
    assert levels.sum() > 0
    # Where sides repeat there are none, and a slab from wall to wall leaves nothing beside it.
    assert (sides.sum() > 0) == (name not in ("endless", "volumes of leaves"))


def test_side_lights_inside_the_box_are_counted_as_sent_out_there():
    world = SCENES["torture"]()
    _, _, launched, _, _ = parts_of(world, trace(world, 1, seed=5))
    names = [c.group for c in world.channels]
    assert launched[[g == "top" for g in names]].sum() == 0
    plan = world.splits.canopy
    inside = [
        s.group for s in world.strips
        if plan.box[0] < s.centre[0] < plan.box[1] and plan.box[2] < s.centre[1] < plan.box[3]
        and plan.level[-1] < s.centre[2] < plan.level[0]
    ]  # fmt: skip
    assert {g for g, sent in zip(names, launched.sum((1, 2)), strict=True) if sent} == set(inside)


def test_counting_changes_no_photon():
    asked = world_of(torture(2000) | {"also_count": COUNTED})
    plain = world_of({k: v for k, v in torture(2000).items() if k != "probes"})
    assert asked.digest == plain.digest
    one, other = trace(asked, 2), trace(plain, 2)
    assert np.array_equal(one.absorbed, other.absorbed)
    assert one.splits is not None


def test_one_thread_or_many_and_any_chunks_count_the_same():
    world = world_of(torture(2000) | {"also_count": COUNTED})
    one, other = trace(world, 2, threads=1, chunk=97), trace(world, 2, threads=2, chunk=1000)
    assert np.array_equal(one.splits.canopy, other.splits.canopy)


def test_independent_estimates_agree_within_their_errors():
    """Net flux in (a crossing estimate) less what is absorbed: its z over batches has rms 1.

    Roulette and choice are left out, so that both sides are independent estimates of one flux.
    """
    world = world_of(torture(4000) | {"also_count": COUNTED})
    rows = trace(world, 32, seed=9)
    first, n = world.splits.canopy.first, world.splits.canopy.n_layer
    assert rows.splits is not None
    inside = rows.splits.canopy[:, :, first[3] : first[4]]
    corrections = inside.reshape(*inside.shape[:2], n, 4, -1)[:, :, :, 3].astype(float)
    seen = np.abs(corrections).max(0) > 0
    z = corrections.mean(0)[seen] / (corrections.std(0, ddof=1)[seen] / np.sqrt(32))
    assert len(z) > 40
    # Bands of one packet vary together: count layers and channels as independent, not bands.
    rms = np.sqrt(np.mean(z**2))
    freedom = len(z) / corrections.shape[-1]
    low, high = stats.chi2.ppf([P_FAIL / 2, 1 - P_FAIL / 2], freedom)
    assert low < rms**2 * freedom < 1.2 * high
    assert 0.5 < rms < 1.6


def black_canopy(**light):
    return plain_box(
        leaves={"l": {"reflectance": "0 %", "transmittance": "0 %"}},
        plants={"p": {"leaf": "l", "stem": "black", "nodes": "9", "internode": "4 cm",
                      "petiole_length": "3 cm", "petiole_angle": "60 deg",
                      "blade_length": "12 cm", "blade_width": "6 cm"}},
        canopy={"layers": "3", "plantings": [{"plant": "p", "columns": "3", "rows": "3",
            "area": {"corner": ["20 cm", "20 cm"], "opposite": ["80 cm", "80 cm"]}}]},
        also_count=COUNTED, **light,
    )  # fmt: skip


def test_light_from_one_side_enters_through_that_side():
    """A level parallel beam from the left: all of it comes in there, none from above."""
    beam = {"photon_flux": "100 umol/s", "spectrum": {"400-500": "100 %"},
            "strips": [{"length": "10 cm", "width": "10 cm", "lens": "parallel"}]}  # fmt: skip
    lights = [{"fixture": "panel", "at": ["2 cm", "50 cm"], "height": "20 cm", "turn": "-90 deg",
               "tilt": "90 deg"}]  # fmt: skip
    world = compile_world(scene_of(black_canopy(fixtures={"panel": beam}, lights=lights)))
    rows = trace(world, 1)
    sides, levels, launched, inside, _ = parts_of(world, rows)
    total = sides[..., 0, :].sum((0, 1, 3))
    assert total[0] == rows.absorbed[0].sum()
    assert (total[1:] == 0).all()
    assert levels[:, 0].sum() == levels[:, -1].sum() == launched.sum() == 0
    out = sides[..., 1, :].sum((0, 1, 3))
    assert out[1] == total[0] - inside.sum()
    assert out[[0, 2, 3]].sum() == 0


def test_corner_edge_and_inner_plants():
    x, y = np.meshgrid([0.2, 0.5, 0.8, 1.1], [0.2, 0.5, 0.8])
    grid = np.stack([x.ravel(), y.ravel()], 1)
    c, e, i = "corner", "edge", "inner"
    room = (1.3, 1.0, 2.0)
    assert places_among(grid, room, set()) == [c, e, e, c, e, i, i, e, c, e, e, c]
    # In an endless room no plant stands at an edge; in an endless row, those beside the aisles do.
    assert set(places_among(grid, room, {"left", "right", "front", "back"})) == {i}
    assert places_among(grid, room, {"left", "right"}) == [e] * 4 + [i] * 4 + [e] * 4
    assert places_among(grid[:1], room, set()) == [c]
    assert places_among(grid[:4], room, set()) == [c, e, e, c]


def test_report_and_files_tell_what_the_box_counts(tmp_path):
    scene = scene_of(torture(4000) | {"also_count": COUNTED})
    result = run(scene, max_packets=4 * 4000, target={}, seed=3)
    result.save(tmp_path)
    again = Result.load(tmp_path)
    for group in (*result.groups, "all"):
        of = box_light(again, group=group)
        whole = max(float(of.leaves.sum()), 1e-9)
        assert np.abs(of.open).max() < 1e-9 * whole
        assert of.leaves.sum() / of.batches.sum() == pytest.approx(
            float(
                again.layers["absorbed_umol_s"].sel(group=group, band="400-700", side="both").sum()
            ),
            rel=1e-9,
        )
        found = incident(again, group=group)
        assert found.sides.value == pytest.approx(sum(s.value for s in found.side.values()))
    # The sun and the sky come from above; the bar at the side shines out of the box itself.
    assert incident(again, group="sun").above.value > 0
    assert incident(again, group="side").inside.value > 0
    plants = plant_light(again)
    assert {"herb-01", "herb-04", "low-01"} <= {p.name for p in plants}
    whole = float(again.layers["leaf_area_m2"].sum())
    assert sum(p.leaf_area for p in plants) == pytest.approx(whole, rel=1e-6)
    places = {p.where: p for p in place_light(again)}
    assert places["corner"].n_plant >= 4
    assert sum(p.n_plant for p in places.values()) == len(plants)
    # Weighed by leaf area the places' shares of the mean make one.
    area = {w: sum(p.leaf_area for p in plants if p.where == w) for w in places}
    mean = sum(area[w] * places[w].over_all.value for w in places) / sum(area.values())
    assert mean == pytest.approx(1.0, rel=1e-9)

    write_canopy_box_csv(again, tmp_path / "canopy-box.csv")
    write_plants_csv(again, tmp_path / "plants.csv")
    box = np.genfromtxt(tmp_path / "canopy-box.csv", delimiter=",", names=True, dtype=None,
                        encoding="utf-8")  # fmt: skip
    n_band = again.launched.sizes["band"]
    assert len(box) == 4 * (len(again.groups) + 1) * n_band
    assert len((tmp_path / "plants.csv").read_text("utf-8").splitlines()) == (
        1 + len(plants) * (len(again.groups) + 1) * n_band
    )
    page = page_text(again)
    assert "Where light enters the canopy" in page
    assert "What each plant gets" in page


def test_what_was_not_counted_is_refused():
    result = run(scene_of(torture(400)), max_packets=400, target={}, seed=3)
    for ask in (box_light, plant_light):
        with pytest.raises(CanopysimError, match="under 'also_count' in the scene"):
            ask(result)
    assert "Where light enters the canopy" not in page_text(result)


def test_a_scene_without_a_canopy_has_nothing_to_count():
    assert world_of(plain_box(also_count=COUNTED)).splits is None
    assert yaml.safe_load(demo())["also_count"]
