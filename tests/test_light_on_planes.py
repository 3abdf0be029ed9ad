"""Strips over a plane in a black box against quadrature of the lens: every cell of the grid."""

import numpy as np
import pytest
from build import panel, plain_box, plane_counts, trace, world_of
from oracles import beam_exponent, cell_points, rotation, strip_irradiance
from scipy import stats

from canopysim.tallies.rows import mean_and_error

CASES = {
    "lambertian": ("lambertian", (0, 0, 0), (20, 4), (50, 50)),
    "lambertian panel, tilted": ("lambertian", (20, 15, 40), (30, 20), (40, 55)),
    "asymmetric": (("120 deg", "50 deg"), (0, 0, 0), (40, 2), (50, 50)),
    "asymmetric, turned and tilted": (("100 deg", "35 deg"), (60, 0, 30), (40, 2), (45, 60)),
    "asymmetric, pitched": (("50 deg", "110 deg"), (0, 40, -10), (30, 4), (55, 35)),
}
HEIGHT = 0.6


def case_scene(name, **planes):
    lens, turn, size, at = CASES[name]
    beam = lens if isinstance(lens, str) else {
        "beam": {"along": lens[0], "across": lens[1]}}  # fmt: skip
    data = plain_box(
        fixtures={"panel": panel(f"{size[0]} cm", f"{size[1]} cm", beam)},
        planes=[{"name": "floor", "height": "0 cm", "cell": "10 cm"}],
    )
    data["lights"] = [
        {"fixture": "panel", "at": [f"{at[0]} cm", f"{at[1]} cm"], "height": f"{HEIGHT} m",
         "turn": f"{turn[0]} deg", "pitch": f"{turn[1]} deg", "tilt": f"{turn[2]} deg"},
    ]  # fmt: skip
    return data


def exponents(lens):
    if isinstance(lens, str):
        return 1.0, 1.0
    return tuple(beam_exponent(np.radians(float(w.split()[0]))) for w in lens)


@pytest.mark.parametrize("name", CASES)
def test_floor_against_quadrature(name, p_fail):
    lens, turn, size, at = CASES[name]
    world = world_of(case_scene(name))
    n_batch = 16
    rows = trace(world, n_batch)
    counts = plane_counts(world, rows, 0) / 2.0**32
    points, weights = cell_points((0, 0), (1, 1), (10, 10), 0.0, n=4)
    irradiance = strip_irradiance(
        points,
        np.array([0, 0, 1.0]),
        np.array([at[0] / 100, at[1] / 100, HEIGHT]),
        rotation(*np.radians(turn)).T,
        size[0] / 100,
        size[1] / 100,
        *exponents(lens),
    )
    expected = irradiance @ weights * 0.01 * n_batch * world.batch_packets
    assert 0.2 < expected.sum() / (n_batch * world.batch_packets) < 1
    # Where none can come (behind a tilted strip) none came; sparse cells are judged together.
    assert (counts[expected == 0] == 0).all()
    full = expected > 100
    assert full.sum() >= 50
    few = expected[~full].sum()
    # Launches are spread evenly, so counts scatter less than independent ones: never more.
    chi2 = ((counts - expected)[full] ** 2 / expected[full]).sum()
    chi2 += (counts[~full].sum() - few) ** 2 / few if few > 100 else 0.0
    freedom = full.sum() + (few > 100)
    assert stats.chi2.sf(chi2, freedom) > p_fail / len(CASES) / 2, f"{chi2:.1f} on {freedom}"
    # And cell by cell within the errors that the batches themselves show.
    assert rows.crossed is not None
    series = rows.crossed[:n_batch, 0, :100].sum(-1).reshape(n_batch, 10, 10) / 2.0**32
    mean, error = mean_and_error(series)
    z = (mean - expected / n_batch)[full] / error[full]
    bound = stats.t.isf(p_fail / len(CASES) / 4 / full.sum(), n_batch - 1)
    assert np.abs(z).max() < bound, np.round(z, 1)


def test_every_photon_of_a_black_box_is_absorbed_at_its_first_wall(p_fail):
    """A Lambertian patch in the middle: the share on each face is its configuration factor."""
    data = plain_box(fixtures={"panel": panel("1 mm", "1 mm")})
    data["lights"][0]["height"] = "50 cm"
    world = world_of(data)
    rows = trace(world, 4)
    n = 4 * world.batch_packets
    total = np.array(rows.absorbed).sum(0)[0].sum(1) / 2.0**32
    assert rows.counters[1] == n
    # A horizontal element at the centre of a face of twice the half-cube below it: Howell B-4
    # for a corner rectangle a x b at distance c, four of them.
    x = 0.5 / 0.5
    corner = (x / np.hypot(1, x) * np.arctan(x / np.hypot(1, x)) * 2) / (2 * np.pi)
    floor = 4 * corner
    expected = {"floor": floor, "ceiling": 0.0}
    expected |= dict.fromkeys(("left", "right", "front", "back"), (1 - floor) / 4)
    for sink, count in zip(world.sinks[:6], total, strict=False):
        share = expected[sink.end]
        z = (count - n * share) / np.sqrt(max(n * share * (1 - share), 1e-30))
        if share == 0:
            assert count == 0
        else:
            assert abs(z) < stats.norm.isf(p_fail / 10), f"{sink.end}: z = {z:.2f}"


def test_a_plane_in_mid_air_reads_the_same_light_in_both_directions():
    """Crossings are exact: down at a plane = down through the floor + what side walls took."""
    data = case_scene("lambertian")
    data["planes"].append({"name": "mid", "height": "30 cm", "cell": "50 cm"})
    data["surfaces"]["black"] = {"specular": {"400-800": "0 %"}}
    data["enclosure"]["faces"] = dict.fromkeys(("left", "right", "front", "back"), "mirror")
    data["surfaces"]["mirror"] = {"specular": "100 %"}
    world = world_of(data)
    rows = trace(world, 1)
    # Perfect mirrors all round and a black floor: every packet crosses both planes once, down.
    assert plane_counts(world, rows, 0).sum() == world.batch_packets * 2**32
    assert plane_counts(world, rows, 1).sum() == world.batch_packets * 2**32
    assert plane_counts(world, rows, 1, direction=1).sum() == 0


def test_ceiling_plane_reads_what_falls_up():
    data = case_scene("lambertian")
    data["lights"][0]["tilt"] = "180 deg"
    data["planes"] = [{"name": "top", "height": "1 m", "cell": "50 cm"}]
    world = world_of(data)
    rows = trace(world, 1)
    ceiling = next(i for i, s in enumerate(world.sinks) if s.end == "ceiling")
    assert plane_counts(world, rows, 0, direction=1).sum() == rows.absorbed[0][0, ceiling].sum()
    assert plane_counts(world, rows, 0, direction=0).sum() == 0


def test_part_plane_counts_only_its_rectangle():
    data = case_scene("lambertian")
    whole = {"name": "whole", "height": "0 cm", "cell": "10 cm"}
    part = whole | {"name": "part", "corner": ["20 cm", "30 cm"], "opposite": ["60 cm", "80 cm"]}
    data["planes"] = [whole, part]
    world = world_of(data)
    rows = trace(world, 1)
    assert (plane_counts(world, rows, 1) == plane_counts(world, rows, 0)[3:8, 2:6]).all()


def test_body_throws_a_knife_edge_shadow(p_fail):
    """A bar between a small source and the floor: its shadow is the projection of its outline."""
    data = case_scene("lambertian")
    data["fixtures"] = {
        "panel": panel("1 mm", "1 mm"),
        "bar": {
            "body": {"length": "20 cm", "width": "10 cm", "height": "2 cm", "surface": "black"},
            "ppf": "1 umol/s",
            "spectrum": {"400-500": "100 %"},
            "strips": [{"length": "1 cm", "width": "1 cm", "lens": "lambertian"}],
        },
    }
    data["lights"] = [
        {"fixture": "panel", "at": ["50 cm", "50 cm"], "height": "80 cm", "group": "source"},
        # Its own light goes down, and is left out by its channel.
        {"fixture": "bar", "at": ["50 cm", "50 cm"], "height": "40 cm", "group": "bar"},
    ]
    data["planes"][0]["cell"] = "2 cm"
    world = world_of(data)
    rows = trace(world, 16)
    plane = world.planes[0]
    n = plane.cells[0] * plane.cells[1]
    counts = rows.crossed.sum(0)[0, :n].sum(1).reshape(plane.cells[::-1])
    # The upper rim (at 42.2 cm) and the lower rim (40.2 cm) of the body, seen from 80 cm.
    scale = max(80 / (80 - 42.2), 80 / (80 - 40.2))
    half_x, half_y = 10 * scale, 5 * scale
    x = np.abs(2 * np.arange(50) + 1 - 50)
    shadow = (x[None, :] < half_x - 2) & (x[:, None] < half_y - 2)
    lit = (x[None, :] > half_x + 2) | (x[:, None] > half_y + 2)
    assert counts[shadow].sum() == 0
    assert (counts[lit & (np.hypot(x[None, :], x[:, None]) < 40)] > 0).all()
