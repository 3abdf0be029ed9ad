"""Drawn rooms: closed or refused with the place, normals inwards, measured as they are."""

from __future__ import annotations

import time

import numpy as np
import pytest
from build import trace
from rooms import box_parts, gable_parts, load_room, obj_of, obj_of_meshes, room_data
from torture import closed_torture

from canopysim.errors import CanopysimError, SceneError
from canopysim.matter.edges import edges_of, hang_together
from canopysim.matter.enclosure import FACES, box_mesh
from canopysim.matter.mesh_file import read_pieces
from canopysim.matter.room import RoomProblemsError, understand_room
from canopysim.matter.section import area_in_cells, cut_room
from canopysim.scene.schema_room import RoomMesh
from canopysim.world.compile import compile_world

ANY = {"floor": {"floor": "a"}, "*": {"wall": "a"}}


def room_of(parts, patterns=ANY, **keys):
    mesh = RoomMesh.model_validate({"file": "room.obj", "unit": "m", "parts": patterns, **keys})
    text = parts if isinstance(parts, str) else obj_of(parts)
    return understand_room(mesh, read_pieces(text.encode(), "obj", "room"))


def leaks_of(parts) -> list[str]:
    with pytest.raises(RoomProblemsError) as caught:
        room_of(parts)
    assert all(key == "file" for key, _ in caught.value.problems)
    return [text for _, text in caught.value.problems]


def shifted(polygons, by):
    return [[tuple(np.add(p, by)) for p in polygon] for polygon in polygons]


def test_a_gable_tent_is_measured_as_it_is():
    room = room_of(gable_parts())
    assert room.size == (2.0, 1.0, 1.6)
    assert room.volume == pytest.approx(2 * 1 * 1.0 + 0.5 * 2 * 0.6 * 1, rel=1e-12)
    assert room.floor_area == pytest.approx(2.0, rel=1e-12)
    slope = np.hypot(1.0, 0.6)
    areas = {walls.label: walls.area for walls in room.walls}
    assert areas["floor"] == pytest.approx(2.0)
    assert areas["walls"] == pytest.approx(2 * 1.0 + 2 * (2.0 + 0.6) + 2 * slope)
    assert (room.n_body, room.n_degenerate, room.n_duplicate, room.n_welded) == (0, 0, 0, 0)
    # Whichever way the polygons were drawn: every normal looks at the middle of this convex room.
    corners = room.vertices[room.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert (((np.array([1.0, 0.5, 0.6]) - corners[:, 0]) * normal).sum(axis=1) > 0).all()


@pytest.mark.parametrize("seed", range(4))
def test_faces_in_any_order_and_turned_at_random_are_the_same_room(seed):
    rng = np.random.default_rng(seed)
    parts = {
        name: [polygon[::-1] if rng.random() < 0.5 else polygon for polygon in polygons]
        for name, polygons in gable_parts().items()
    }
    names = list(parts)
    rng.shuffle(names)
    room, same = room_of({name: parts[name] for name in names}), room_of(gable_parts())
    assert room.volume == pytest.approx(same.volume, rel=1e-12)
    assert room.n_turned + same.n_turned > 0


def test_unit_axis_and_place_of_the_file():
    moved = {name: shifted(polygons, (-1, 7, -2)) for name, polygons in gable_parts().items()}
    room = room_of(moved)
    assert np.abs(room.moved - [1, -7, 2]).max() < 1e-12
    assert room.size == (2.0, 1.0, 1.6)
    inches = room_of(gable_parts(), unit="in", scale="10")
    assert inches.size == (0.508, 0.254, 0.4064)
    # A program with y up writes (x, z, -y).
    lying = {
        name: [[(x, z, -y) for x, y, z in polygon] for polygon in polygons]
        for name, polygons in gable_parts().items()
    }
    assert room_of(lying, up="y").size == (2.0, 1.0, 1.6)


def test_the_box_as_a_file_is_the_box_as_triangles(tmp_path):
    """The same arrays to the bit, so the same light; and that of the analytic box within chance."""
    data = closed_torture(2000)
    size = np.array([0.9, 0.7, 1.1])
    box = data["enclosure"]
    surface = {face: box["faces"].get(face, box["lining"]) for face in FACES}
    parts = {
        face: {face if face in ("floor", "ceiling") else "wall": surface[face]} for face in FACES
    }
    text = obj_of_meshes(box_mesh(size, 500))
    enclosure = {"lining": "film", "mesh": {"file": "room.obj", "unit": "m", "parts": parts}}
    drawn = compile_world(load_room(tmp_path, text, {**data, "enclosure": enclosure}))
    twin = compile_world(load_room(tmp_path, "", data), wall_triangles=500)
    assert drawn.digest == twin.digest
    one, other = trace(drawn, 2, seed=3), trace(twin, 2, seed=3)
    assert (np.asarray(one.absorbed) == np.asarray(other.absorbed)).all()
    assert [sink.end for sink in drawn.sinks] == [sink.end for sink in twin.sinks]
    with pytest.raises(CanopysimError, match="has its own triangles"):
        compile_world(load_room(tmp_path, text, {**data, "enclosure": enclosure}),
                      wall_triangles=500)  # fmt: skip


def holed() -> dict[str, tuple]:
    """Ten rooms that are not closed: parts, the place (m), its slack, and words of the message."""
    cases = {}
    box = box_parts()
    # 1 the door was forgotten
    cases["no wall"] = (
        {name: box[name] for name in box if name != "front"}, (1.0, 0.0, 0.75), 1e-6,
        ("a hole of 200 x 0 x 150 cm", "'left', 'right'"),
    )  # fmt: skip
    # 2 one triangle of a wall is missing
    a, b, c, _ = box["right"][0]
    cases["no triangle"] = (
        box | {"right": [[a, b, c]]}, None, 0, ("a hole of 0 x 100 x 150 cm", "3 open edges"),
    )  # fmt: skip
    # 3 the roof hangs 2 mm above the walls
    cases["lifted roof"] = (
        box | {"roof": shifted(box["roof"], (0, 0, 0.002))}, None, 0, ("a gap of 2 mm", "'roof'"),
    )  # fmt: skip
    # 4 one corner of the roof was pulled in by 3 mm
    f, g, i, j = box["roof"][0]
    cases["pulled corner"] = (
        box | {"roof": [[f, g, (i[0] - 0.003, i[1], i[2]), j]]}, (2.0, 1.0, 1.5), 0.0031,
        ("a gap of 3 mm", "'roof'"),
    )  # fmt: skip
    # 5 the left wall was cut in two, the front was not: T-junctions
    a, e, j, f = box["left"][0]
    low, high = (0, 0.5, 0), (0, 0.5, 1.5)
    cases["cut wall"] = (
        box | {"left": [[a, low, high, f], [low, e, j, high]]}, (0.0, 0.5, 0.0), 1e-6,
        ("a corner of 'left' lies on an edge of 'floor'",),
    )  # fmt: skip
    # 6 a hole of 5 mm in the floor
    a, b, c, e = box["floor"][0]
    p, q, r = (1.0, 0.5, 0.0), (1.005, 0.5, 0.0), (1.0, 0.505, 0.0)
    fan = [[a, b, q], [a, q, p], [b, c, q], [c, r, q], [c, e, r], [e, a, p], [e, p, r]]
    cases["5 mm"] = (
        box | {"floor": fan}, (1.0017, 0.5017, 0.0), 2e-3,
        ("a hole of 0.5 x 0.5 x 0 cm", "'floor'"),
    )  # fmt: skip
    # 7 a shelf that is a mere sheet, welded to two walls
    shelf = [[(0, 0, 0.7), (2, 0, 0.7), (2, 1, 0.7), (0, 1, 0.7)]]
    walls = {
        name: [
            [polygon[0], polygon[1], (*polygon[1][:2], 0.7), (*polygon[0][:2], 0.7)],
            [(*polygon[0][:2], 0.7), (*polygon[1][:2], 0.7), polygon[2], polygon[3]],
        ]
        for name in ("left", "right", "front", "back")
        for polygon in box[name]
    }
    cases["sheet"] = (
        box | walls | {"shelf": shelf}, (1.0, 1.0, 0.7), 1e-6,
        ("3 faces of 'back', 'shelf' meet in one edge (and in 3 more with it)",),
    )  # fmt: skip
    # 8 a sheet that hangs free in the room
    free = [[(0.5, 0.2, 0.7), (1.5, 0.2, 0.7), (1.5, 0.8, 0.7), (0.5, 0.8, 0.7)]]
    cases["free sheet"] = (
        box | {"sheet": free}, (1.0, 0.5, 0.7), 1e-6, ("a hole of 100 x 60 x 0 cm", "'sheet'"),
    )  # fmt: skip
    # 9 the gable of the tent was drawn 12 mm too low at its ridge
    tent = gable_parts()
    gable = [list(tent["gable-back"][0])]
    gable[0][3] = (1.0, 1.0, 1.588)
    cases["low ridge"] = (
        tent | {"gable-back": gable}, (1.0, 1.0, 1.594), 0.007, ("a gap of", "'gable-back'"),
    )  # fmt: skip
    # 10 a body in the room that is open below
    pillar = {f"pillar-{k}": v for k, v in box_parts(0.2, 0.2, 0.3).items() if k != "floor"}
    pillar = {name: shifted(polygons, (0.9, 0.4, 0.4)) for name, polygons in pillar.items()}
    cases["open pillar"] = (
        box | pillar, (1.0, 0.5, 0.4), 1e-6, ("a hole of 20 x 20 x 0 cm", "'pillar-left'"),
    )  # fmt: skip
    return cases


@pytest.mark.parametrize("name", sorted(holed()))
def test_a_room_that_is_not_closed_is_refused_with_the_place(name):
    parts, place, slack, words = holed()[name]
    leaks = leaks_of(parts)
    assert any(all(word in leak for word in words) for leak in leaks), leaks
    told = next(leak for leak in leaks if all(word in leak for word in words))
    assert told.startswith("room.obj is not closed at x ")
    if place is not None:
        spot = told.removeprefix("room.obj is not closed at ").split(":")[0]
        found = [float(piece.split()[1]) for piece in spot.split(", ")]
        assert np.abs(np.subtract(found, place)).max() <= slack + 1e-4, told


def test_a_closed_room_says_nothing_and_bodies_in_it_are_allowed():
    box = box_parts()
    pillar = {
        f"pillar-{name}": shifted(polygons, (0.9, 0.4, 0.4))
        for name, polygons in box_parts(0.2, 0.2, 0.3).items()
    }
    room = room_of(box | pillar)
    assert room.n_body == 1
    assert room.volume == pytest.approx(3.0 - 0.2 * 0.2 * 0.3, rel=1e-12)
    standing = {name: shifted(p, (0, 0, -0.4)) for name, p in pillar.items()}
    assert room_of(box | standing).n_body == 1  # on the floor, which goes on under it


@pytest.mark.parametrize(
    ("others", "words"),
    [
        (shifted, "2 rooms beside each other"),
        (None, "a body within a body"),
    ],
)
def test_skins_that_make_no_room(others, words):
    parts = box_parts()
    if others is not None:
        extra = {f"b-{n}": shifted(p, (3, 0, 0)) for n, p in box_parts().items()}
    else:
        outer = {f"c-{n}": shifted(p, (0.5, 0.3, 0.3)) for n, p in box_parts(0.6, 0.4, 0.6).items()}
        inner = {f"d-{n}": shifted(p, (0.6, 0.4, 0.4)) for n, p in box_parts(0.2, 0.2, 0.2).items()}
        extra = outer | inner
    (text,) = leaks_of(parts | extra)
    assert words in text


def test_a_skin_with_one_side_has_no_inside():
    """A Klein bottle on a grid: every edge has two faces, and yet there is no inside."""
    n, m = 24, 12
    turns, around = np.arange(n) * 2 * np.pi / n, (np.arange(m) + 0.5) * 2 * np.pi / m
    u, v = np.meshgrid(turns, around, indexing="ij")
    ring = 3 + np.cos(u / 2) * np.sin(v) - np.sin(u / 2) * np.sin(2 * v)
    height = np.sin(u / 2) * np.sin(v) + np.cos(u / 2) * np.sin(2 * v)
    points = np.stack([ring * np.cos(u), ring * np.sin(u), height], axis=-1)
    # Once round, the section comes back turned by half: v becomes -v.
    points = np.concatenate([points, points[:1, ::-1]])
    faces = []
    for i in range(n):
        for j in range(m):
            corners = [(i, j), (i, (j + 1) % m), (i + 1, (j + 1) % m), (i + 1, j)]
            quad = [tuple(points[corner]) for corner in corners]
            faces += [quad[:3], [quad[0], quad[2], quad[3]]]
    (text,) = leaks_of({"floor": faces})
    assert "one side only" in text


def test_faces_that_are_drawn_twice():
    box = box_parts()
    a, e, j, f = box["left"][0]
    both = [[a, e, j], [a, j, f], [a, j, e], [j, a, f]]
    room = room_of(box | {"left": both})
    assert room.n_duplicate == 2 and room.volume == pytest.approx(3.0)
    with pytest.raises(RoomProblemsError, match="lie exactly on each other, as at x 0 m"):
        room_of(box | {"inner-floor": box["left"]},
                {"floor": {"floor": "a"}, "inner*": {"wall": "b"}, "*": {"wall": "a"}})  # fmt: skip


def test_rounding_of_a_file_is_no_gap_and_a_fifth_of_a_millimetre_is():
    def shaken(size):
        rng = np.random.default_rng(4)
        return {
            name: [[tuple(p + rng.uniform(-size, size, 3)) for p in map(np.array, polygon)]
                   for polygon in polygons]
            for name, polygons in gable_parts().items()
        }  # fmt: skip

    assert room_of(shaken(2e-6)).n_welded > 0
    assert any("gap of" in text for text in leaks_of(shaken(2e-4)))


def test_ninety_thousand_triangles_close_in_seconds():
    meshes = box_mesh(np.array([2.4, 1.5, 2.0]), 90_000)
    rng = np.random.default_rng(2)
    soup = np.concatenate([v[f] for v, f in meshes.values()])
    turned = rng.random(len(soup)) < 0.5
    soup[turned] = soup[turned][:, ::-1]
    soup = rng.permutation(soup + 0.02 * np.sin(7 * soup[:, :, [1, 2, 0]]))
    mesh = RoomMesh.model_validate({"file": "r.obj", "unit": "m", "parts": {"*": {"floor": "a"}}})
    from canopysim.matter.mesh_file import Piece

    piece = Piece(("room",), soup.reshape(-1, 3), np.arange(3 * len(soup)).reshape(-1, 3))
    start = time.perf_counter()
    room = understand_room(mesh, [piece])
    assert time.perf_counter() - start < 20  # 1.6 s where this was written
    assert len(room.faces) > 90_000 and room.volume == pytest.approx(7.2, rel=0.01)
    keep = np.arange(len(soup)) != 4711
    with pytest.raises(RoomProblemsError) as caught:
        understand_room(mesh, [Piece(("room",), piece.vertices, piece.faces[keep])])
    ((_, text),) = caught.value.problems
    spot = text.removeprefix("r.obj is not closed at ").split(":")[0]
    found = np.array([float(p.split()[1]) for p in spot.split(", ")])
    low = soup.reshape(-1, 3).min(axis=0)
    assert np.abs(found - (soup[4711].mean(axis=0) - low)).max() < 0.01


def test_groups_are_those_of_a_slow_search():
    rng = np.random.default_rng(6)
    for n in (1, 2, 30, 200):
        pairs = rng.integers(0, n, (n, 2)) if n > 1 else np.empty((0, 2), int)
        label = list(range(n))
        for _ in range(n):
            for a, b in pairs:
                label = [min(label[a], label[b]) if k in (label[a], label[b]) else k for k in label]
        assert list(hang_together(n, pairs)) == label


def test_edges_know_their_faces():
    edges = edges_of(np.array([[0, 1, 2], [2, 1, 3]]))
    assert len(edges.ends) == 5 and edges.uses.sum() == 6
    assert edges.ends[edges.uses == 2].tolist() == [[1, 2]]
    assert set(edges.owner(np.flatnonzero((edges.ends == [1, 3]).all(axis=1)))) == {1}


def test_level_cuts_are_measured_in_every_cell():
    """Of a gable: by hand. Of a slanted and hollow room: by counting points of a fine grid."""
    room = room_of(gable_parts())
    x, y = np.linspace(0, 2, 9), np.linspace(0, 1, 5)
    for height in (0.0, 0.4, 1.0, 1.15, 1.55):
        half = 1.0 * (1.6 - max(height, 1.0)) / 0.6
        area = area_in_cells(cut_room(room, height), x, y)
        wide = np.maximum(np.minimum(x[1:], 1 + half) - np.maximum(x[:-1], 1 - half), 0)
        assert np.abs(area - 0.25 * wide).max() < 1e-12
        assert area.sum() == pytest.approx(2 * half, rel=1e-12)
    assert len(cut_room(room, 1.6)) == 0
    turn = np.deg2rad(30)
    spin = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    outer, inner = box_parts(2, 1, 1), box_parts(0.5, 0.3, 0.5)
    inner = {f"i-{n}": shifted(p, (0.8, 0.4, 0.25)) for n, p in inner.items()}
    turned = {
        name: [[tuple(spin @ np.array(p)) for p in polygon] for polygon in polygons]
        for name, polygons in (outer | inner).items()
    }
    room = room_of(turned)
    x, y = np.linspace(0, room.size[0], 7), np.linspace(0, room.size[1], 6)
    area = area_in_cells(cut_room(room, 0.5), x, y)
    assert area.sum() == pytest.approx(2 - 0.15, rel=1e-9)
    fine = 200
    gx = (np.arange(6 * fine) + 0.5) * room.size[0] / (6 * fine)
    gy = (np.arange(5 * fine) + 0.5) * room.size[1] / (5 * fine)
    back = np.stack(np.meshgrid(gx, gy), axis=-1) - room.moved[:2]
    u, v = back @ spin[:2, 0], back @ spin[:2, 1]
    there = (u > 0) & (u < 2) & (v > 0) & (v < 1)
    there &= ~((u > 0.8) & (u < 1.3) & (v > 0.4) & (v < 0.7))
    counted = there.reshape(5, fine, 6, fine).mean(axis=(1, 3))
    whole = (x[1] - x[0]) * (y[1] - y[0])
    # An outline of 2 cells' sides through a cell is off by about as many points as lie on it.
    assert np.abs(area / whole - counted).max() < 4 / fine


def test_volumes_of_leaves_lie_in_the_room(tmp_path):
    """Flush with the walls is in the room; through the roof or round a pillar is not."""

    def problem(parts, **volume) -> str:
        data = room_data(
            leaves={"soft": {"like": "basil"}},
            canopy={"layers": "2", "volumes": [{"leaf": "soft", "leaf_area_index": "1", **volume}]},
        )
        try:
            compile_world(load_room(tmp_path, obj_of(parts), data))
        except SceneError as error:
            (line,) = error.problems
            return line.split("  ", 1)[1]
        return ""

    tent = gable_parts()
    assert problem(tent, shape="slab", bottom="0 cm", top="60 cm") == ""
    assert problem(tent, shape="slab", bottom="0 cm", top="120 cm").startswith(
        "canopy.volumes[1]: slab-01 reaches through 'roof-"
    )
    round_one = {"shape": "ellipsoid", "bottom": "20 cm", "width": "60 cm", "depth": "60 cm"}
    middle = [["1 m", "50 cm"]]
    assert problem(tent, **round_one, top="120 cm", positions=middle) == ""
    assert "ellipsoid-01 reaches through 'roof-" in problem(
        tent, **round_one, top="158 cm", positions=middle
    )
    pillar = {
        f"pillar-{name}": shifted(polygons, (1.2, 0.1, 0.1))
        for name, polygons in box_parts(0.1, 0.1, 0.2).items()
    }
    assert "slab-01 is filled by the room's walls at x " in problem(
        tent | pillar, shape="slab", bottom="0 cm", top="60 cm"
    )
    tall = {name: shifted(polygons, (0, 0, 0.1)) for name, polygons in pillar.items()}
    assert "is pierced by an edge of the room's walls" in problem(
        tent | tall, shape="slab", bottom="0 cm", top="30 cm"
    )


def test_what_is_outside_is_named(tmp_path):
    def problem(**changes) -> str:
        with pytest.raises(SceneError) as caught:
            compile_world(load_room(tmp_path, obj_of(gable_parts()), room_data(**changes)))
        (line,) = caught.value.problems
        return line.split("  ", 1)[1]

    def light(**keys):
        return [{"fixture": "panel", "at": ["1 m", "50 cm"], "height": "80 cm", **keys}]

    compile_world(load_room(tmp_path, obj_of(gable_parts()), room_data()))
    assert problem(lights=light(at=["20 cm", "50 cm"], height="1.3 m")) == (
        "lights[1]: a luminous strip is outside of the room at x 0.1 m, y 0.48 m, z 1.3 m; hang it "
        "elsewhere"
    )
    assert problem(lights=light(at=["30 cm", "50 cm"], height="1.15 m")).startswith(
        "lights[1]: a luminous strip reaches through 'roof-left' of the room at x 0.25 m, "
    )
    probe = {"name": "p", "at": ["1 m", "50 cm"], "height": "1.58 m"}
    assert "'roof-" in problem(probes=[probe]) and "its ball reaches" in problem(probes=[probe])
    assert "its centre is outside" in problem(
        probes=[{"name": "p", "at": ["5 cm", "50 cm"], "height": "1.4 m"}]
    )
    assert problem(planes=[{"name": "top", "height": "1.6 m", "cell": "10 cm"}]) == (
        "planes[1]: lies outside of the drawn room at 160 cm above the floor; move it, or choose "
        "smaller cells"
    )
