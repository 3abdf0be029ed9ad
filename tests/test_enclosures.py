"""Walls: parallel plates, mirrors by images, the furnace, walls as triangles, open faces."""

from __future__ import annotations

import numpy as np
import pytest
from build import FLAT, ends, panel, plain_box, plane_counts, scene_of, trace, world_of
from scipy import stats

from canopysim.tallies.label import Labeller
from canopysim.tallies.rows import mean_and_error
from canopysim.world.compile import compile_world


def student_limit(p, n_batch):
    """Two-sided bound on |mean - exact| / std_err at probability p."""
    return stats.t.isf(p / 2, n_batch - 1)


def furnace(rho: str, **enclosure) -> dict:
    """Every face of a box emits (1 - rho) M, M = 100 µmol m⁻² s⁻¹, and reflects rho."""
    w, d, h = 0.8, 0.5, 1.1
    reflect = float(rho.split()[0]) / 100
    # The panels lie 20 µm inside the walls: light that starts in a triangle has no side.
    e = 2e-5
    # Each face's panel: extents, centre, and the turn that makes it shine inwards.
    faces = [
        ((w, d), (w / 2, d / 2), h - e, {}),
        ((w, d), (w / 2, d / 2), e, {"tilt": "180 deg"}),
        ((h, d), (e, d / 2), h / 2, {"pitch": "-90 deg"}),
        ((h, d), (w - e, d / 2), h / 2, {"pitch": "90 deg"}),
        ((w, h), (w / 2, e), h / 2, {"tilt": "90 deg"}),
        ((w, h), (w / 2, d - e), h / 2, {"tilt": "-90 deg"}),
    ]
    fixtures, lights = {}, []
    for n, ((a, b), (x, y), z, turned) in enumerate(faces):
        flux = 100.0 * (1 - reflect) * a * b
        a, b = a - 2 * e, b - 2 * e
        fixtures[f"face-{n}"] = panel(f"{a} m", f"{b} m", flux=f"{flux:.12f} umol/s")
        lights.append(
            {"fixture": f"face-{n}", "group": "walls", "at": [f"{x} m", f"{y} m"],
             "height": f"{z} m"} | turned
        )  # fmt: skip
    return plain_box(
        enclosure={"width": f"{w} m", "depth": f"{d} m", "height": f"{h} m", "lining": "wall"}
        | enclosure,
        surfaces={"wall": {"diffuse": rho}, "pale": {"diffuse": "100 %"}},
        fixtures=fixtures,
        lights=lights,
        planes=[{"name": "low", "height": "15 cm", "cell": "20 cm"},
                {"name": "high", "height": "90 cm", "cell": "20 cm"}],
        leaves={"leaf": {"reflectance": "60 %", "transmittance": "40 %"}},
        plants={
            "herb": {"leaf": "leaf", "stem": "pale", "nodes": "8", "internode": "6 cm",
                     "petiole_length": "3 cm", "petiole_angle": "60 deg", "blade_length": "9 cm",
                     "blade_width": "5 cm"},
        },
        canopy={"layers": "2", "leaf_area_index": "1.5",
                "plantings": [{"plant": "herb", "columns": "3", "rows": "2", "base": "12 cm"}]},
    )  # fmt: skip


@pytest.mark.parametrize("rho", ["20 %", "85 %"])
@pytest.mark.parametrize("wall_triangles", [None, 600])
def test_walls_emit_furnace(rho, wall_triangles, p_fail):
    """In a closed space whose walls emit (1 - rho) M every surface and every plane sees M.

    Leaves and stems absorb nothing here, so they are at one with the radiation: a plane inside the
    canopy sees M from above and from below, in every cell.
    """
    world = world_of(furnace(rho), wall_triangles=wall_triangles)
    n_batch = 12
    rows = trace(world, n_batch)
    assert rows.counters[2] == 0
    found = ends(world, rows)
    areas = {"left": 0.55, "right": 0.55, "front": 0.88, "back": 0.88, "floor": 0.4, "ceiling": 0.4}
    absorb = 1 - float(rho.split()[0]) / 100
    n_test = 6 + 4 + 2
    bound = student_limit(p_fail / (4 * n_test), n_batch)
    for face, area in areas.items():
        mean, error = found[face]
        exact = 100.0 * absorb * area
        assert abs(mean - exact) < bound * error, f"{face}: {mean} +- {error}, exact {exact}"
    assert found["leaves"][0] == 0
    assert found["stems"][0] == 0
    scale = np.array([c.umol_s_per_quantum for c in world.channels])
    series = np.array([(s.sum(-1) * scale[:, None, None]).sum(0) for s in rows.crossed_sum]) / 0.4
    mean, error = mean_and_error(series)
    z = (mean - 100.0) / error
    assert np.abs(z).max() < bound, z
    # Cell by cell as well: shading by neighbours is made up for by their shine.
    for plane in range(2):
        for direction in (0, 1):
            counts = plane_counts(world, rows, plane, direction)
            assert counts.min() > 0.7 * counts.mean()


def test_leaves_in_the_furnace_see_it_too(p_fail):
    """Leaves that absorb 0.2 % hardly disturb the furnace: each of their sides sees M."""
    data = furnace("20 %")
    data["leaves"]["leaf"]["transmittance"] = "39.8 %"
    world = world_of(data)
    n_batch = 12
    rows = trace(world, n_batch)
    assert world.layers is not None
    labeller = Labeller(world)
    absorb = 0.002
    for layer, area in enumerate(world.layers.leaf_area):
        for side in ("upper", "lower"):
            sinks = [
                i
                for i, s in enumerate(world.sinks)
                if (s.kind, s.layer, s.side) == ("leaf", layer, side)
            ]
            series = np.array([labeller.flux(a)[-1][sinks, 0].sum() for a in rows.absorbed])
            mean, error = mean_and_error(series)
            exact = 100.0 * absorb * area
            # The walls make up for 0.8 of what the leaves take, so M falls by less than
            # 0.002 * 2 * 0.6 m2 / (0.8 * 3.66 m2) = 0.08 %.
            bound = student_limit(p_fail / 4, n_batch) * error + 0.001 * exact
            assert abs(mean - exact) < bound, f"layer {layer} {side}: {mean} +- {error}, {exact}"
            assert error < 0.02 * exact


def test_demo_walls_as_triangles(demo_data, p_fail):
    """5,000 triangles in place of the analytic box: every end agrees within its error."""
    scene = scene_of(demo_data)
    box, mesh = compile_world(scene), compile_world(scene, wall_triangles=5000)
    n_wall = mesh.n_triangle - box.n_triangle
    assert 4500 < n_wall < 5500
    n_batch = 12
    # Other seeds, so that the two are independent.
    one, other = trace(box, n_batch, seed=3), trace(mesh, n_batch, seed=4)
    assert one.counters[2] == other.counters[2] == 0
    a, b = ends(box, one), ends(mesh, other)
    bound = student_limit(p_fail / len(a), 2 * n_batch - 1)
    for end in a:
        if a[end][0] == 0 and b.get(end, (0,))[0] == 0:
            continue
        error = np.hypot(a[end][1], b[end][1])
        assert abs(a[end][0] - b[end][0]) < bound * error, f"{end}: {a[end]} and {b[end]}"


@pytest.mark.parametrize("kind", ["sky", "sun"])
def test_daylight_through_an_open_ceiling(kind, p_fail):
    """PPFD on the opening's plane is what was asked; a slanting beam lights walls by its slope."""
    data = plain_box(planes=[{"name": "top", "height": "1 m", "cell": "25 cm"}], lights=[],
                     daylight=[{"ppfd": "400 umol/m2/s", "spectrum": FLAT}])  # fmt: skip
    data["enclosure"]["faces"] = {"ceiling": "open"}
    if kind == "sun":
        data["daylight"][0]["beam"] = {"zenith": "30 deg", "azimuth": "0 deg"}
    world = world_of(data)
    assert sum(c.flux_umol_s for c in world.channels) == pytest.approx(400.0)
    n_batch = 2
    rows = trace(world, n_batch)
    found = ends(world, rows)
    n = n_batch * world.batch_packets
    if kind == "sky":
        share = 0.19982
        bound = stats.norm.isf(p_fail / 4) * 400 * np.sqrt(share * (1 - share) / n)
        assert abs(found["floor"][0] - 400 * share) < bound
    else:
        # Travelling towards +x: what starts beyond 1 - tan(30 deg) meets the right wall.
        share = 1 - np.tan(np.radians(30))
        bound = stats.norm.isf(p_fail / 4) * 400 * np.sqrt(share * (1 - share) / n)
        assert abs(found["floor"][0] - 400 * share) < bound
        assert found["left"][0] == found["front"][0] == found["back"][0] == 0


def test_daylight_enters_only_where_the_ceiling_is_open():
    data = plain_box(lights=[], daylight=[{"ppfd": "100 umol/m2/s", "spectrum": FLAT}])
    data["enclosure"]["faces"] = {
        "ceiling": {
            "open": "true",
            "patches": [
                {"surface": "black", "corner": ["0 m", "20 cm"], "opposite": ["60 cm", "1 m"]},
                {"open": "true", "corner": ["10 cm", "30 cm"], "opposite": ["20 cm", "50 cm"]},
            ],
        }
    }
    world = world_of(data)
    assert sum(c.flux_umol_s for c in world.channels) == pytest.approx(100 * (1 - 0.48 + 0.02))
    rows = trace(world, 1)
    assert (rows.absorbed[0].sum(1) > 0).any()
