"""Walls: parallel plates, mirrors by images, the furnace, walls as triangles, open faces."""

from __future__ import annotations

import numpy as np
import pytest
from build import FLAT, ends, panel, plain_box, plane_counts, scene_of, trace, world_of
from oracles import cell_points, rotation, strip_irradiance
from scipy import stats

from canopysim.tallies.label import Labeller
from canopysim.tallies.rows import mean_and_error
from canopysim.world.compile import compile_world

WALLS = ("left", "right", "front", "back")


def student_limit(p, n_batch):
    """Two-sided bound on |mean - exact| / std_err at probability p."""
    return stats.t.isf(p / 2, n_batch - 1)


def ceiling_panel(width, depth, **changes):
    """A Lambertian panel that is the whole ceiling of a 1 m high box."""
    data = plain_box(fixtures={"panel": panel(f"{width} m", f"{depth} m")}, **changes)
    data["enclosure"] = {
        "width": f"{width} m", "depth": f"{depth} m", "height": "1 m", "lining": "black",
    }  # fmt: skip
    data["lights"] = [
        {"fixture": "panel", "at": [f"{width / 2} m", f"{depth / 2} m"], "height": "1 m"}
    ]
    return data


@pytest.mark.parametrize(("rho_floor", "rho_ceiling"), [(0.3, 0.8), (0.9, 0.95), (0.0, 0.5)])
def test_parallel_plates_between_perfect_mirrors(rho_floor, rho_ceiling, p_fail):
    """Flux on the floor = flux launched / (1 - rho1 rho2): a geometric series, whatever the gap."""
    data = ceiling_panel(0.8, 0.5, planes=[{"name": "mid", "height": "37 cm", "cell": "1 m"}])
    data["surfaces"] = {
        "black": {},
        "mirror": {"specular": "100 %"},
        "floor": {"diffuse": f"{100 * rho_floor} %"},
        "ceiling": {"diffuse": f"{100 * rho_ceiling} %"},
    }
    data["enclosure"]["faces"] = dict.fromkeys(WALLS, "mirror") | {
        "floor": "floor", "ceiling": "ceiling",
    }  # fmt: skip
    world = world_of(data)
    n_batch = 10
    rows = trace(world, n_batch)
    found = ends(world, rows)
    falls = 100.0 / (1 - rho_floor * rho_ceiling)
    bound = student_limit(p_fail / 12, n_batch)
    exact = {
        "floor": falls * (1 - rho_floor),
        "ceiling": falls * rho_floor * (1 - rho_ceiling),
    }
    for end, value in exact.items():
        mean, error = found[end]
        if value == 0 or (rho_floor == 0 and end == "floor"):
            assert mean == pytest.approx(value, rel=1e-9)
        else:
            assert abs(mean - value) < bound * error, f"{end}: {mean} +- {error}, exact {value}"
    assert all(found[w][0] == 0 for w in WALLS)
    # Crossings of a plane in between, down and up.
    series = np.array([[s[0, 0, d].sum() for d in (0, 1)] for s in rows.crossed_sum])
    mean, error = mean_and_error(series * world.channels[0].umol_s_per_quantum)
    for value, direction in ((falls, 0), (falls * rho_floor, 1)):
        if rho_floor == 0:
            assert mean[direction] == pytest.approx(value, rel=1e-9)
        else:
            assert abs(mean[direction] - value) < bound * error[direction]


@pytest.mark.parametrize("rho", [0.85, 1.0])
def test_mirror_walls_by_images(rho, p_fail):
    """Mirrors make images of the strip; a tilted asymmetric one keeps every sign honest."""
    data = plain_box(
        fixtures={
            "panel": panel("30 cm", "2 cm", {"beam": {"along": "110 deg", "across": "40 deg"}})
        },
        surfaces={"black": {}, "mirror": {"specular": f"{100 * rho} %"}},
        planes=[{"name": "floor", "height": "0 cm", "cell": "10 cm"}],
    )
    size = np.array([0.6, 0.4, 1.0])
    data["enclosure"] = {
        "width": "60 cm", "depth": "40 cm", "height": "1 m", "lining": "mirror",
        "faces": {"floor": "black", "ceiling": "black"},
    }  # fmt: skip
    data["lights"] = [
        {"fixture": "panel", "at": ["25 cm", "18 cm"], "height": "70 cm",
         "turn": "25 deg", "pitch": "10 deg", "tilt": "50 deg"},
    ]  # fmt: skip
    world = world_of(data)
    n_batch = 16
    rows = trace(world, n_batch)
    axes = rotation(*np.radians([25, 10, 50])).T
    centre = np.array([0.25, 0.18, 0.7])
    points, weights = cell_points((0, 0), (0.6, 0.4), (6, 4), 0.0, n=4)
    m = [np.log(0.5) / np.log(np.cos(np.radians(w / 2))) for w in (110, 40)]
    expected = np.zeros((4, 6))
    n_image = 40 if rho == 1.0 else 14
    for i in range(-n_image, n_image + 1):
        for j in range(-n_image, n_image + 1):
            # Image (i, j): odd numbers are reflected; each wall on the way costs a factor.
            flip = np.array([(-1) ** i, (-1) ** j, 1])
            at = np.array([i * size[0], j * size[1], 0]) + np.where(
                flip < 0, size - centre, centre) * [1, 1, 0] + [0, 0, centre[2]]  # fmt: skip
            strength = rho ** (abs(i) + abs(j))
            if strength < 1e-5:
                continue
            direct = strip_irradiance(
                points, np.array([0, 0, 1.0]), at, axes * flip, 0.3, 0.02, *m, n=(8, 2)
            )
            expected += strength * (direct @ weights)
    expected *= 0.01
    labeller = Labeller(world)
    n = world.planes[0].cells[0] * world.planes[0].cells[1]
    blue = np.array([labeller.flux(r[:, :n])[-1][:, 0] for r in rows.crossed[:n_batch]]) / 100.0
    mean, error = mean_and_error(blue.reshape(n_batch, 4, 6))
    z = (mean - expected) / error
    assert np.abs(z).max() < student_limit(p_fail / (2 * z.size), n_batch), np.round(z, 2)
    assert expected.sum() > 0.5


def endless(**changes):
    """A tilted asymmetric strip in a bay of 60 cm x 40 cm that repeats along both extents."""
    data = plain_box(
        fixtures={
            "panel": panel("30 cm", "2 cm", {"beam": {"along": "70 deg", "across": "30 deg"}})
        },
        planes=[{"name": "floor", "height": "0 cm", "cell": "10 cm"}],
        **changes,
    )
    data["enclosure"] = {
        "width": "60 cm", "depth": "40 cm", "height": "1 m", "lining": "black",
        "repeat": ["width", "depth"],
    }  # fmt: skip
    data["lights"] = [
        {"fixture": "panel", "at": ["25 cm", "18 cm"], "height": "70 cm",
         "turn": "25 deg", "pitch": "10 deg", "tilt": "20 deg"},
    ]  # fmt: skip
    return data


def test_repeating_sides_are_an_endless_array_of_strips(p_fail):
    """Every cell of a black floor sees the strips of all bays, moved and not mirrored."""
    world = world_of(endless())
    n_batch = 16
    rows = trace(world, n_batch)
    axes = rotation(*np.radians([25, 10, 20])).T
    centre = np.array([0.25, 0.18, 0.7])
    points, weights = cell_points((0, 0), (0.6, 0.4), (6, 4), 0.0, n=4)
    m = [np.log(0.5) / np.log(np.cos(np.radians(w / 2))) for w in (70, 30)]
    expected = np.zeros((4, 6))
    for i in range(-14, 15):
        for j in range(-20, 21):
            at = centre + np.array([0.6 * i, 0.4 * j, 0])
            direct = strip_irradiance(
                points, np.array([0, 0, 1.0]), at, axes, 0.3, 0.02, *m, n=(8, 2)
            )
            expected += direct @ weights * 0.01
    n = n_batch * world.batch_packets
    counts = plane_counts(world, rows, 0) / 2.0**32
    assert counts.sum() / n > 0.995
    assert expected.sum() == pytest.approx(counts.sum() / n, abs=4e-4)
    share = expected
    z = (counts / n - share) / np.sqrt(share * (1 - share) / n)
    # The far bays beyond those summed bring less than a tenth of a standard error.
    assert np.abs(z).max() < stats.norm.isf(p_fail / (2 * z.size)), np.round(z, 2)
    assert (rows.counters[2], {s.end for s in world.sinks[:2]}) == (0, {"floor", "ceiling"})


def test_endless_plates_keep_their_geometric_series(p_fail):
    data = endless(surfaces={"black": {"diffuse": "80 %"}})
    data["fixtures"] = {"panel": panel("60 cm", "40 cm")}
    data["lights"] = [{"fixture": "panel", "at": ["30 cm", "20 cm"], "height": "1 m"}]
    world = world_of(data)
    n_batch = 12
    found = ends(world, trace(world, n_batch))
    bound = student_limit(p_fail / 2, n_batch)
    for end, exact in (("floor", 100 / 1.8), ("ceiling", 80 / 1.8)):
        mean, error = found[end]
        assert abs(mean - exact) < bound * error, f"{end}: {mean} +- {error}, exact {exact}"


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


def test_open_face_and_patches(p_fail):
    """A black box with an open ceiling lit by a Lambertian floor panel: the escaping share is the
    configuration factor between opposite squares (Howell C-11), and patches take their share."""
    data = plain_box(fixtures={"panel": panel("1 m", "1 m")})
    data["enclosure"]["faces"] = {
        "ceiling": {
            "open": "true",
            "patches": [
                {"surface": "black", "corner": ["0 m", "0 m"], "opposite": ["50 cm", "1 m"]},
                {"open": "true", "corner": ["0 m", "0 m"], "opposite": ["50 cm", "50 cm"]},
            ],
        }
    }
    data["lights"][0] |= {"height": "0 m", "tilt": "180 deg"}
    world = world_of(data)
    n_batch = 6
    rows = trace(world, n_batch)
    n = n_batch * world.batch_packets
    total = np.array(rows.absorbed).sum(0)[0].sum(1) / 2.0**32
    by_end = {s.end: c for s, c in zip(world.sinks, total, strict=True)}
    # Unit squares a unit apart (Howell C-11): 0.19982; by symmetry a quarter through each quarter.
    x = 1.0
    factor = 2 / (np.pi * x * x) * (
        np.log(np.sqrt((1 + x * x) ** 2 / (1 + 2 * x * x)))
        + 2 * x * np.sqrt(1 + x * x) * np.arctan(x / np.sqrt(1 + x * x)) - 2 * x * np.arctan(x)
    )  # fmt: skip
    assert np.isclose(factor, 0.19982, atol=1e-5)
    for end, share in (
        ("escaped through the ceiling", factor / 2),
        ("patch 1 of the ceiling (black)", factor / 4),
        ("escaped through patch 2 of the ceiling", factor / 4),
    ):
        z = (by_end[end] - n * share) / np.sqrt(n * share * (1 - share))
        assert abs(z) < stats.norm.isf(p_fail / 6), f"{end}: z = {z:.2f}"


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


@pytest.mark.parametrize("size", ["1 cm", "100 m"])
def test_small_and_large_worlds_are_alike(size, p_fail):
    """Scaling all lengths changes no share: the furnace at 1 cm and at 100 m."""
    value, unit = float(size.split()[0]), size.split()[1]
    data = plain_box(
        enclosure={"width": size, "depth": size, "height": size, "lining": "wall"},
        surfaces={"wall": {"diffuse": "50 %", "specular": "20 %"}},
        fixtures={"panel": panel(f"{0.4 * value} {unit}", f"{0.1 * value} {unit}")},
        lights=[{"fixture": "panel", "at": [f"{0.3 * value} {unit}", f"{0.6 * value} {unit}"],
                 "height": f"{0.8 * value} {unit}"}],
    )  # fmt: skip
    world = world_of(data, wall_triangles=300)
    rows = trace(world, 8, seed=5)
    assert rows.counters[2] == 0
    unit_data = plain_box(
        surfaces=data["surfaces"],
        fixtures={"panel": panel("40 cm", "10 cm")},
        lights=[{"fixture": "panel", "at": ["30 cm", "60 cm"], "height": "80 cm"}],
    )
    unit_data["enclosure"]["lining"] = "wall"
    unit_world = world_of(unit_data)
    unit_rows = trace(unit_world, 8, seed=6)
    a, b = ends(world, rows), ends(unit_world, unit_rows)
    for face in ("left", "right", "front", "back", "floor", "ceiling"):
        error = np.hypot(a[face][1], b[face][1])
        assert abs(a[face][0] - b[face][0]) < student_limit(p_fail / 12, 15) * error, face
