"""What is answered from one trace agrees with runs that were traced for it."""

import csv

import numpy as np
import pytest
from build import FLAT, panel, plain_box, scene_of
from conftest import P_FAIL
from scipy.stats import t as student
from torture import told_apart, torture

import canopysim
from canopysim.analysis.facets import facet_light, layer_spreads
from canopysim.analysis.lining import greatest_factor, with_lining
from canopysim.analysis.relight import beam_directions, relight
from canopysim.analysis.told_apart import map_apart, splits_of, tell_apart
from canopysim.errors import CanopysimError
from canopysim.light.placing import rotation
from canopysim.report.page import page_text
from canopysim.report.told_apart import told_apart_tables, write_told_apart_csv


def run(data: dict, n_batch: int, seed: int = 1) -> canopysim.Result:
    """Trace so many batches: a scene with a budget has no target by default."""
    budget = str(int(n_batch * float(data["tracing"]["batch"]) * 1.01))
    scene = scene_of(data | {"tracing": data["tracing"] | {"max_packets": budget}})
    return canopysim.run(scene, seed=seed)


@pytest.fixture(scope="module")
def everything() -> canopysim.Result:
    """The torture scene with all that can be asked for."""
    data = told_apart(torture(4000))
    data["planes"] = [p for p in data["planes"] if p["name"] in ("floor", "part")]
    data["also_count"]["launch_cells"] = {"polar": "2", "around": "2"}
    return run(data, 40)


def test_told_apart_sums_are_the_results_figures(everything):
    for name in splits_of(everything):
        if name == "sensitivities":
            continue
        told = tell_apart(everything, name)
        for tally, found in zip(told.tallies, told.weighted(np.ones(len(told.rows))), strict=True):
            at = {"group": "all", "band": "400-700"}
            if tally in everything.ends["end"]:
                wanted = everything.ends["flux_umol_s"].sel({**at, "end": tally})
            elif tally.startswith("layer "):
                layer = everything.layers.sel({**at, "layer": int(tally[6:]), "side": "both"})
                wanted = layer["absorbed_umol_s"]
            elif ", " in tally:
                plane, direction = tally.split(", ")
                grid = everything.planes[plane]
                cell = grid.attrs["cell_x_m"] * grid.attrs["cell_y_m"]
                wanted = grid["pfd"].sel({**at, "direction": direction}).sum() * cell
            else:
                wanted = everything.layers["absorbed_umol_s"].sel({**at, "side": "both"}).sum()
            assert found.value == pytest.approx(float(wanted), rel=1e-12, abs=1e-15), (name, tally)


def test_told_apart_maps_sum_to_the_map(everything):
    for direction in ("down", "up"):
        pfd, error = map_apart(everything, "first flight", "part", direction=direction)
        grid = everything.planes["part"]
        wanted = grid["pfd"].sel(group="all", band="400-700", direction=direction)
        assert pfd.shape == error.shape == (2, *wanted.shape)
        assert pfd.sum(0) == pytest.approx(wanted.values, rel=1e-12)


def test_a_result_read_back_tells_the_same(everything, tmp_path):
    everything.save(tmp_path)
    again = canopysim.Result.load(tmp_path)
    for name in splits_of(everything):
        one, other = tell_apart(everything, name), tell_apart(again, name)
        assert one.tallies == other.tallies
        assert (one.flux == other.flux).all()
    assert (facet_light(again).pfd == facet_light(everything).pfd).all()


def test_what_was_not_counted_is_named_with_the_way_to_it():
    plain = run(plain_box(tracing={"batch": "100"}), 2)
    assert splits_of(plain) == []
    assert told_apart_tables(plain) == []
    for ask in (lambda: tell_apart(plain, "first flight"), lambda: facet_light(plain)):
        with pytest.raises(CanopysimError, match="also_count"):
            ask()


def test_every_table_and_the_file_hold_what_was_asked_for(everything, tmp_path):
    tables = told_apart_tables(everything)
    assert [t.caption.split(",")[0].split(":")[0] for t in tables] == [
        "Straight from the lamps",
        "Where the light comes from",
        "With another lining",
        "What one percent more would change",
        "Light told apart by launch cell",
        "How unevenly leaves are lit",
    ]
    assert all(len(row) == len(t.columns) for t in tables for row in t.rows)
    text = page_text(everything)
    assert all(name in text for name in ("Light told apart", "the lamps themselves"))
    write_told_apart_csv(everything, tmp_path / "told-apart.csv")
    with (tmp_path / "told-apart.csv").open(encoding="utf-8") as file:
        lines = list(csv.DictReader(file))
    floor = [
        float(line["flux_umol_s"])
        for line in lines
        if line["told_apart_by"] == "first flight" and line["tally"] == "floor"
        and line["group"] == "all" and line["band_nm"] == "400-700"
    ]  # fmt: skip
    wanted = everything.ends["flux_umol_s"].sel(group="all", band="400-700", end="floor")
    assert sum(floor) == pytest.approx(float(wanted), rel=1e-6)


def room(lining: float, **changes) -> dict:
    """A lined room with a plane; `lining` in percent, a third of it diffuse."""
    data = plain_box(
        surfaces={
            "film": {"diffuse": f"{lining / 3} %", "specular": f"{2 * lining / 3} %"},
            "tray": {"diffuse": "10 %"},
        },
        planes=[{"name": "low", "height": "20 cm", "cell": "1 m"}],
        tracing={"batch": "4000"},
        **changes,
    )
    data["enclosure"] |= {"lining": "film", "faces": {"floor": "tray"}}
    return data


def compare(found, found_error, other, n_tests):
    z = (found - other.value) / np.hypot(found_error, other.std_err)
    assert abs(z) < student.isf(P_FAIL / n_tests / 2, 31)


def test_another_lining_is_what_a_run_with_it_finds():
    base = run(room(60.0, also_count={"lining_meetings": "40"}), 40)
    span = (400.0, 500.0)
    assert greatest_factor(base, span=span) == pytest.approx(1 / 0.6)
    for factor, lining in ((0.0, 0.0), (0.7, 42.0), (1.5, 90.0)):
        found = with_lining(base, factor, span=span)
        other = run(room(lining, also_count={"first_flight": "true"}), 40, seed=9)
        told = tell_apart(other, "first flight", span=span)
        whole = dict(zip(told.tallies, told.weighted(np.ones(2)), strict=True))
        assert set(found) == {"low, down", "low, up", "floor", "untraced", "roulette", "choice"}
        for name in ("low, down", "low, up", "floor"):
            compare(found[name].flux.value, found[name].flux.std_err, whole[name], 9)
            assert found[name].unsure < 0.02 * found[name].flux.value
    with pytest.raises(
        CanopysimError, match=r"factor: 1\.7 is out of range; allowed is 0 to 1\.66667"
    ):
        with_lining(base, 1.7, span=span)


def test_few_meetings_bound_what_they_leave_out():
    """With four rows the error of a factor below one stays within what is told, and is there."""
    few = run(room(80.0, also_count={"lining_meetings": "4"}), 40)
    many = run(room(80.0, also_count={"lining_meetings": "80"}), 40)
    span = (400.0, 500.0)
    for factor in (0.5, 0.9):
        short, full = with_lining(few, factor, span=span), with_lining(many, factor, span=span)
        for name in ("low, down", "floor"):
            excess = short[name].flux.value - full[name].flux.value
            assert 0 < excess <= short[name].unsure
    # Above one it is an estimate of what lacks.
    short, full = with_lining(few, 1.1, span=span), with_lining(many, 1.1, span=span)
    for name in ("low, down", "floor"):
        lack = full[name].flux.value - short[name].flux.value
        assert short[name].unsure == pytest.approx(lack, rel=0.3)


def lit(lens, **light) -> dict:
    data = room(50.0)
    data["fixtures"] = {"p": panel("1 cm", "1 cm", lens=lens)}
    data["lights"] = [{"fixture": "p", "at": ["40 cm", "60 cm"], "height": "80 cm"} | light]
    return data


def test_another_lens_and_tilt_are_what_a_run_with_them_finds():
    """A wide lens told apart by cells answers for a narrower, tilted, turned one."""
    wide = lit("lambertian", tilt="10 deg")
    wide["also_count"] = {"launch_cells": {"along": "2", "polar": "60", "around": "48"}}
    base = run(wide, 64)
    axes = rotation(np.deg2rad(30), 0.0, np.deg2rad(20)).T
    directions = beam_directions(np.deg2rad(100), np.deg2rad(60), axes)
    found = relight(base, directions, span=(400.0, 500.0))
    narrow = lit({"beam": {"along": "100 deg", "across": "60 deg"}}, turn="30 deg", tilt="20 deg")
    narrow["also_count"] = {"first_flight": "true"}
    other = run(narrow, 64, seed=4)
    told = tell_apart(other, "first flight", span=(400.0, 500.0))
    whole = dict(zip(told.tallies, told.weighted(np.ones(2)), strict=True))
    for name in ("floor", "left", "right", "front", "back"):
        gap = abs(found[name].flux.value - whole[name].value)
        chance = student.isf(P_FAIL / 5 / 2, 31) * np.hypot(
            found[name].flux.std_err, whole[name].std_err
        )
        assert gap < chance + found[name].cell_error, name
        assert found[name].cell_error < 0.05 * whole[name].value


def test_directions_that_were_never_traced_are_refused():
    data = lit({"beam": {"along": "40 deg", "across": "40 deg"}})
    data["also_count"] = {"launch_cells": {"polar": "30"}}
    base = run(data, 4)
    up = beam_directions(1.0, 1.0, np.diag([1.0, -1.0, -1.0]))
    with pytest.raises(CanopysimError, match="send none; trace them with a lens"):
        relight(base, up, span=(400.0, 500.0))


def test_beam_directions_have_the_stated_widths():
    """Against the density itself: half of the peak intensity at half of the full width."""
    along, across = np.deg2rad(110), np.deg2rad(40)
    d = beam_directions(along, across, np.eye(3), 2**20)
    assert np.linalg.norm(d, axis=1) == pytest.approx(1.0)
    gamma, c = np.arccos(-d[:, 2]), np.arctan2(d[:, 1], d[:, 0])

    def intensity(direction, angle, step=0.02):
        near = (np.abs(gamma - angle) < step) & (np.abs(np.sin(c - direction)) < 0.05)
        near &= np.cos(c - direction) > 0
        return near.sum() / np.sin(angle)

    for direction, width in ((0.0, along), (np.pi / 2, across)):
        peak = intensity(direction, 0.06)
        m = np.log(0.5) / np.log(np.cos(width / 2))
        assert intensity(direction, width / 2) / peak * np.cos(0.06) ** m == pytest.approx(
            0.5, abs=0.04
        )


def test_spread_within_a_layer_is_the_true_one():
    """Noise is taken out: few packets and many find the same spread, though not the same noise."""
    data = torture(20_000)
    data["also_count"] = {"leaf_facets": "true"}
    few, many = run(data, 8), run(data, 48, seed=3)
    for short, full in zip(
        layer_spreads(facet_light(few)), layer_spreads(facet_light(many)), strict=True
    ):
        assert short.noise > 2 * full.noise
        assert short.spread == pytest.approx(full.spread, rel=0.15)
        naive = np.hypot(short.spread, short.noise)
        assert naive > full.spread
    light = facet_light(many)
    layers = many.layers["absorbed_umol_s"].sel(group="all", band="400-700", side="both")
    assert (light.pfd * light.area).sum() == pytest.approx(float(layers.sum()), rel=1e-9)


def test_a_light_of_flat_spectrum_is_enough():
    """Sums and ranges are named alike for every split."""
    data = plain_box(also_count={"first_flight": "true"}, tracing={"batch": "200"})
    data["fixtures"]["panel"] = panel("10 cm", "10 cm") | {"spectrum": FLAT}
    result = run(data, 3)
    assert tell_apart(result, "first flight", span=(400.0, 750.0)).flux.sum() > 0


def test_dark_directions_are_judged_strip_by_strip():
    """One strip of many whose new light goes astray is refused; a dark light is no trouble."""
    data = lit({"beam": {"along": "100 deg", "across": "100 deg"}})
    data["lights"] = [
        {"fixture": "p", "group": f"g{k}", "at": [f"{10 + 4 * k} cm", "50 cm"], "height": "80 cm",
         "output": "0 %" if k == 3 else "100 %"}
        for k in range(20)
    ]  # fmt: skip
    data["also_count"] = {"launch_cells": {"polar": "24", "around": "4"}}
    data["tracing"] = {"batch": "100000"}
    base = run(data, 4)
    same = beam_directions(np.deg2rad(100), np.deg2rad(100), np.eye(3))
    up = beam_directions(1.0, 1.0, np.diag([1.0, -1.0, -1.0]))
    found = relight(base, same, span=(400.0, 500.0), group="g0")
    assert found["floor"].flux.value > 0
    with pytest.raises(CanopysimError, match="of a strip's new light"):
        relight(base, [up, *[same] * 19], span=(400.0, 500.0))
