"""Light in drawn rooms: on planes that the roof cuts, through openings, and on every wall."""

from __future__ import annotations

import numpy as np
import pytest
from build import panel
from conftest import P_FAIL
from rooms import BLACK, box_parts, gable_parts, load_room, obj_of, room_data
from scipy import stats

import canopysim
from canopysim.analysis.planes import cell_areas, plane_mean
from canopysim.analysis.profile import knows_profile, profile
from canopysim.world.compile import compile_world


def lit(folder, parts, n_packet=400_000, **changes):
    scene = load_room(folder, obj_of(parts), room_data(**changes))
    # An aim that is never met, so that the budget ends it.
    return canopysim.run(scene, max_packets=n_packet, target={"planes": 1e-9}, seed=7)


def test_cells_that_the_roof_cuts_read_what_passes_them(tmp_path):
    """A panel sends parallel light upwards: the same flux density in every cell, whole or cut."""
    light = panel("190 cm", "90 cm", "parallel")
    result = lit(
        tmp_path, gable_parts(),
        fixtures={"panel": light},
        lights=[{"fixture": "panel", "at": ["1 m", "50 cm"], "height": "50 cm", "tilt": "180 deg"}],
        planes=[{"name": "cut", "height": "1.3 m", "cell": "15 cm", "corner": ["30 cm", "10 cm"],
                 "opposite": ["1.8 m", "90 cm"]}],
    )  # fmt: skip
    plane = result.planes["cut"]
    up = plane["pfd"].sel(group="all", band="400-500", direction="up").values
    error = plane["pfd_std_err"].sel(group="all", band="400-500", direction="up").values
    # At 1.3 m the room reaches from 0.5 m to 1.5 m; cells of 15 cm from 0.3 m are cut at both ends.
    area = cell_areas(plane)
    assert area.sum() == pytest.approx(1.0 * 0.8, rel=1e-12)
    some = area > 0
    assert 0.2 < (area[some] / area.max()).min() < 0.8
    assert np.isnan(up[~some]).all() and np.isfinite(up[some]).all()
    wanted = 100 / (1.9 * 0.9)
    z = (up[some] - wanted) / error[some]
    limit = stats.t(31).isf(P_FAIL / (2 * (some.sum() + 1)))
    assert np.abs(z).max() < limit
    mean = plane_mean(result, "cut", span=(400, 500), direction="up")
    assert abs(mean.value - wanted) < limit * mean.std_err
    assert float(plane["mean"].sel(group="all", band="400-500", direction="up")) == pytest.approx(
        mean.value, rel=1e-12
    )


def test_first_flights_reach_the_walls_that_a_slow_search_finds(tmp_path):
    """A Lambertian panel in a black gable with a pillar: shares against rays cast with numpy."""
    parts = gable_parts()
    pillar = box_parts(0.2, 0.3, 0.7)
    parts |= {
        f"pillar-{name}": [[(x + 0.5, y + 0.3, z + 0.01) for x, y, z in p] for p in polygons]
        for name, polygons in pillar.items()
    }
    patterns = {
        "floor": {"floor": "black"}, "pillar*": {"wall": "black"}, "left": {"wall": "open"},
        "roof-left": {"ceiling": "black"}, "roof-right": {"ceiling": "black"},
        "right": {"wall": "black"}, "gable*": {"wall": "black"},
    }  # fmt: skip
    result = lit(
        tmp_path, parts, n_packet=1_000_000,
        enclosure={"lining": "black", "mesh": {"file": "room.obj", "unit": "m", "parts": patterns}},
        lights=[{"fixture": "panel", "at": ["1.1 m", "50 cm"], "height": "75 cm", "tilt": "70 deg",
                 "turn": "90 deg"}],
        planes=[{"name": "floor", "height": "0 cm", "cell": "50 cm"}],
    )  # fmt: skip
    assert int(result.rows["counters"][2]) == 0
    # The slow search: its own random directions, its own triangle test, its own triangles.
    rng = np.random.default_rng(11)
    n = 200_000
    spot = rng.uniform(-0.5, 0.5, (n, 2)) * [0.2, 0.04]
    turn, radius = rng.uniform(0, 2 * np.pi, n), np.sqrt(rng.uniform(0, 1, n))
    local = np.stack([radius * np.cos(turn), radius * np.sin(turn), -np.sqrt(1 - radius**2)], 1)
    t = np.deg2rad(70)
    tilt = np.array([[1, 0, 0], [0, np.cos(t), -np.sin(t)], [0, np.sin(t), np.cos(t)]])
    turned = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]]) @ tilt
    origin = np.array([1.1, 0.5, 0.75]) + np.c_[spot, np.zeros(n)] @ turned.T
    ray = local @ turned.T
    nearest, end = np.full(n, np.inf), np.full(n, "", dtype="U20")
    for name, polygons in parts.items():
        for polygon in polygons:
            for k in range(1, len(polygon) - 1):
                a, b, c = (np.array(polygon[m], float) for m in (0, k, k + 1))
                normal = np.cross(b - a, c - a)
                with np.errstate(divide="ignore", invalid="ignore"):
                    far = ((a - origin) @ normal) / (ray @ normal)
                p = origin + far[:, None] * ray
                inside = far > 0
                for q, r in ((a, b), (b, c), (c, a)):
                    inside &= np.cross(r - q, p - q) @ normal >= 0
                closer = inside & (far < nearest)
                nearest[closer], end[closer] = far[closer], name
    share = result.ends["share"].sel(group="all", band="400-500")
    error = result.ends["share_std_err"].sel(group="all", band="400-500")
    groups = {
        "floor": ["floor"], "right": ["right"], "roof-left": ["roof-left"],
        "roof-right": ["roof-right"], "gable": ["gable-front", "gable-back"],
        "escaped through left": ["left"], "pillar": [x for x in parts if x.startswith("pillar")],
    }  # fmt: skip
    limit = stats.norm.isf(P_FAIL / (2 * len(groups)))
    for name, members in groups.items():
        counted = np.isin(end, members).mean()
        if name in ("right", "roof-right"):  # behind the panel
            assert counted == float(share.sel(end=name)) == 0.0
            continue
        noise = np.hypot(float(error.sel(end=name)), np.sqrt(counted * (1 - counted) / n))
        assert abs(float(share.sel(end=name)) - counted) < limit * noise, name
        assert counted > 0.001, name
    assert float(share.sum()) == pytest.approx(1.0, abs=1e-9)


def test_light_through_the_walls_is_not_taken_for_light_through_the_leaves(tmp_path):
    """Walls are not booked by height: without planes between the layers no profile is told."""
    canopy = {"layers": "2", "plantings": [{"plant": "herb", "columns": "2", "rows": "1"}]}
    plant = {"leaf": "soft", "stem": "black", "nodes": "5", "internode": "4 cm",
             "petiole_length": "2 cm", "petiole_angle": "60 deg", "blade_length": "8 cm",
             "blade_width": "5 cm"}  # fmt: skip
    common = {
        "leaves": {"soft": {"like": "basil"}}, "plants": {"herb": plant},
        "planes": [{"name": "floor", "height": "0 cm", "cell": "20 cm"}],
    }  # fmt: skip
    result = lit(tmp_path, gable_parts(), 20_000, canopy=canopy, **common)
    assert not knows_profile(result)
    assert result.settings["drawn_room"] == "room.obj"
    result = lit(tmp_path, gable_parts(), 20_000, canopy=canopy | {"profile": "true"}, **common)
    assert knows_profile(result)
    told = profile(result, span=(400, 500))
    ends = result.ends["flux_umol_s"].sel(group="all", band="400-500")
    plants = float(ends.sel(end=["leaves", "stems"]).sum())
    # Per area of the floor that was drawn, 2 m2.
    assert float(told.absorbed.mean(0).sum()) * 2.0 == pytest.approx(plants, rel=1e-9)
    # The black walls take light on the way down, so that net flux falls by more than leaves take.
    net, absorbed = told.net.mean(0), told.absorbed.mean(0)
    assert (net[:-1] - net[1:] > absorbed + 0.1).all()


def test_pieces_of_one_wall_answer_to_one_line_and_to_their_role(tmp_path):
    scene = load_room(tmp_path, obj_of(gable_parts()), room_data())
    world = compile_world(scene)
    found = {sink.end: (sink.kind, sink.face) for sink in world.sinks if sink.face}
    assert found == {
        "floor": ("face", "floor"), "roof": ("face", "ceiling"), "walls": ("face", "wall"),
    }  # fmt: skip
    # Patterns whose short names would be mistaken for something else keep their stars.
    parts = {"floor": {"floor": "black"}, "leaves*": {"wall": "black"}, "roof*": {"wall": "black"},
             "*roof*": {"wall": "black"}, "*": {"wall": "black"}}  # fmt: skip
    data = room_data({"parts": parts})
    room = load_room(tmp_path, obj_of(gable_parts()), data).enclosure.room
    assert [walls.label for walls in room.walls] == ["floor", "walls roof*", "walls"]
    assert room.idle == ("leaves*", "*roof*")
    assert BLACK["roof*"] == {"ceiling": "black"}
