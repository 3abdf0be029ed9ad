"""Plants from mesh files: the same in every format, exact areas, and damage is refused."""

from __future__ import annotations

import dataclasses
import json
import struct

import numpy as np
import pytest
import trimesh
import yaml
from build import WHITE, panel, scene_of, trace

import canopysim
from canopysim.errors import ResultError, SceneError
from canopysim.matter.mesh_file import read_pieces
from canopysim.matter.plants import grow_canopy
from canopysim.matter.user_mesh import draw_mesh
from canopysim.report.mesh_report import mesh_lines
from canopysim.scene import load_scene, mesh_files
from canopysim.world.compile import compile_world

FORMATS = ("obj", "ply", "glb", "stl", "off")


def plant_mesh(n_leaf: int = 12) -> trimesh.Trimesh:
    """Loose bent blades, in cm; every coordinate is exact in float32 and in eight decimals."""
    rng = np.random.default_rng(5)
    base = rng.uniform((-6, -6, 4), (6, 6, 24), (n_leaf, 1, 3))
    vertices = np.round((base + rng.uniform(-4, 4, (n_leaf, 4, 3))) * 256) / 256
    faces = np.array([[0, 1, 2], [0, 2, 3]]) + 4 * np.arange(n_leaf)[:, None, None]
    return trimesh.Trimesh(vertices.reshape(-1, 3), faces.reshape(-1, 3), process=False)


def export(mesh, form: str) -> bytes:
    data = mesh.export(file_type=form)
    return data.encode() if isinstance(data, str) else data


def area_of(vertices, faces) -> float:
    """One-sided area by Heron's formula."""
    p = np.asarray(vertices)[np.asarray(faces)]
    a, b, c = (np.linalg.norm(p[:, i] - p[:, j], axis=1) for i, j in ((0, 1), (1, 2), (2, 0)))
    s = (a + b + c) / 2
    return float(np.sqrt(np.maximum(s * (s - a) * (s - b) * (s - c), 0)).sum())


def mesh_scene(folder, data: bytes, file: str = "plant.obj", canopy=None, **keys):
    """A box with one mesh in it, loaded from a file."""
    (folder / file).write_bytes(data)
    mesh = {
        "file": file,
        "unit": "cm",
        "parts": {"*": {"leaf": "soft"}},
        "positions": [["50 cm", "50 cm"]],
        **keys,
    }
    light = panel("20 cm", "4 cm")
    light["spectrum"] = WHITE
    scene = {
        "title": "A drawn plant",
        "enclosure": {"width": "1 m", "depth": "1 m", "height": "1 m", "lining": "white"},
        "surfaces": {"white": {"diffuse": "50 %"}, "green": {"diffuse": "12 %"}},
        "leaves": {"soft": {"like": "basil"}, "tough": {"like": "pepper"}},
        "plants": {"sprig": {"leaf": "soft", "stem": "green", "nodes": "4", "internode": "2 cm",
                             "petiole_length": "1 cm", "petiole_angle": "60 deg",
                             "blade_length": "5 cm", "blade_width": "3 cm"}},
        "canopy": {"layers": "3", "meshes": [mesh], **(canopy or {})},
        "fixtures": {"panel": light},
        "lights": [{"fixture": "panel", "at": ["50 cm", "50 cm"], "height": "80 cm"}],
        "tracing": {"batch": "4096", "max_packets": "8192"},
    }  # fmt: skip
    path = folder / "scene.yaml"
    path.write_text(yaml.safe_dump(scene, sort_keys=False), "utf-8")
    return load_scene(path)


def refusal(folder, *arguments, **keys) -> str:
    """What is said of a scene that is refused, in one sentence."""
    with pytest.raises(SceneError) as caught:
        grow_canopy(mesh_scene(folder, *arguments, **keys))
    assert len(caught.value.problems) == 1, caught.value.problems
    return caught.value.problems[0]


def test_all_formats_give_the_same_plant_and_the_same_light(tmp_path):
    mesh = plant_mesh()
    worlds = {}
    for form in FORMATS:
        folder = tmp_path / form
        folder.mkdir()
        scene = mesh_scene(folder, export(mesh, form), f"plant.{form}")
        worlds[form] = compile_world(scene)
        (leaf,) = grow_canopy(scene)
        assert leaf.kind == "leaf" and leaf.name == "plant-01" and leaf.surface == "soft"
        assert area_of(leaf.vertices, leaf.faces) == pytest.approx(
            1e-4 * area_of(mesh.vertices, mesh.faces), rel=1e-12
        )
        assert worlds[form].layers.leaf_area.sum() == pytest.approx(
            area_of(leaf.vertices, leaf.faces), rel=1e-12
        )
    assert len({world.digest for world in worlds.values()}) == 1
    one, other = (trace(worlds[form], 2) for form in ("obj", "stl"))
    assert np.array_equal(np.asarray(one.absorbed), np.asarray(other.absorbed))
    sinks = [n for n, sink in enumerate(worlds["obj"].sinks) if sink.end == "leaves"]
    assert np.asarray(one.absorbed)[:, :, sinks].sum() > 0


def test_coordinates_of_any_kind_agree_within_float32(tmp_path):
    """OBJ and OFF write decimals, the others float32: areas agree within what those hold."""
    mesh = plant_mesh()
    mesh.vertices *= np.pi / 3
    areas = [
        area_of(piece.vertices, piece.faces)
        for form in FORMATS
        for piece in read_pieces(export(mesh, form), form, "plant")
    ]
    # Edges of some cm at 24 cm from the origin: 2^-24 of that, twice, over the smallest edge.
    assert areas == pytest.approx([area_of(mesh.vertices, mesh.faces)] * 5, rel=2e-6)


@pytest.mark.parametrize(("unit", "size_m"), [("mm", 1e-3), ("m", 1.0), ("in", 0.0254),
                                              ("ft", 0.3048)])  # fmt: skip
def test_a_unit_is_that_length(tmp_path, unit, size_m):
    mesh = plant_mesh()
    mesh.vertices *= 0.01 / size_m
    (leaf,) = grow_canopy(mesh_scene(tmp_path, export(mesh, "ply"), "plant.ply", unit=unit))
    (same,) = grow_canopy(mesh_scene(tmp_path, export(plant_mesh(), "ply"), "plant.ply"))
    assert np.abs(leaf.vertices - same.vertices).max() < 1e-7


def test_y_up_is_a_rotation_and_scale_enlarges(tmp_path):
    mesh = plant_mesh()
    lying = mesh.copy()
    x, y, z = mesh.vertices.T
    lying.vertices = np.stack((x, z, -y), axis=1)  # what a program with y up writes of it
    (same,) = grow_canopy(mesh_scene(tmp_path, export(mesh, "obj")))
    (leaf,) = grow_canopy(mesh_scene(tmp_path, export(lying, "obj"), up="y"))
    assert np.array_equal(leaf.vertices, same.vertices)
    assert np.array_equal(leaf.faces, same.faces)
    (half,) = grow_canopy(mesh_scene(tmp_path, export(mesh, "obj"), scale="0.5"))
    assert area_of(half.vertices, half.faces) == pytest.approx(
        area_of(same.vertices, same.faces) / 4, rel=1e-12
    )


def test_one_plant_in_each_place_turned_as_stated(tmp_path):
    data = export(plant_mesh(), "off")
    places = [["30 cm", "30 cm"], ["70 cm", "60 cm"], ["50 cm", "50 cm"]]
    scene = mesh_scene(
        tmp_path, data, "herb.off", positions=places, base="10 cm",
        turn=["0 deg", "90 deg", "-30 deg"],
    )  # fmt: skip
    plants = grow_canopy(scene)
    assert [plant.name for plant in plants] == ["herb-01", "herb-02", "herb-03"]
    drawn = plant_mesh().vertices / 100
    for plant, (x, y), turn in zip(
        plants, [(0.3, 0.3), (0.7, 0.6), (0.5, 0.5)], [0, 90, -30], strict=True
    ):
        # As complex numbers, a turn is a product.
        turned = (drawn[:, 0] + 1j * drawn[:, 1]) * np.exp(1j * np.deg2rad(turn))
        wanted = np.stack((turned.real + x, turned.imag + y, drawn[:, 2] + 0.1), axis=1)
        assert np.abs(plant.vertices - wanted).max() < 1e-12
    alike = grow_canopy(mesh_scene(tmp_path, data, "herb.off", positions=places, turn="90 deg"))
    assert np.ptp([p.vertices[0, 0] - float(q[0][:2]) / 100
                   for p, q in zip(alike, places, strict=True)]) < 1e-12  # fmt: skip


OBJ = b"""\
mtllib none.mtl
o leaf_1
usemtl green
v -2 0 5
v 2 0 5
v 0 3 6
f 1 2 3
o leaf_2
v -2 0 9
v 2 0 9
v 2 3 9
v -2 3 9
f -4/1/1 -3/2/1 -2//1 -1
g pod
usemtl red
f 1/4 4/1 5
o stalk
usemtl green
v 0 0 0
v 1 0 0
v 0 0 9
f 8 9 10
"""
PARTS = {"leaf*": {"leaf": "soft"}, "stalk": {"surface": "green"}}


def test_parts_are_chosen_by_object_group_and_material(tmp_path):
    red = {"red": {"leaf": "tough"}, **PARTS}
    leaf, tough, stem = grow_canopy(mesh_scene(tmp_path, OBJ, parts=red))
    assert [p.surface for p in (leaf, tough, stem)] == ["tough", "soft", "green"]
    assert [p.kind for p in (leaf, tough, stem)] == ["leaf", "leaf", "stem"]
    assert [p.name for p in (leaf, tough, stem)] == ["plant-01", "plant-01", "plant-01-stem"]
    # A triangle, and a quadrangle as a fan: 4 x 3 cm.
    assert area_of(tough.vertices, tough.faces) == pytest.approx(
        (0.5 * 4 * np.hypot(3, 1) + 12) * 1e-4, rel=1e-12
    )
    # Without the first pattern its face is of its object, which is a leaf of the other kind.
    leaf, stem = grow_canopy(mesh_scene(tmp_path, OBJ, parts=PARTS))
    assert leaf.surface == "soft" and len(leaf.faces) == 4 and len(stem.faces) == 1
    assert area_of(stem.vertices, stem.faces) == pytest.approx(4.5e-4, rel=1e-12)


def test_stems_flowers_and_pots_are_told_apart(tmp_path):
    # The pod is in the object leaf_2 and red: the first pattern that fits counts.
    words = {"pod": {"stem": "green"}, "leaf_1": {"leaf": "soft"}, "leaf_2": {"flower": "green"},
             "stalk": {"pot": "green"}, "red": {"surface": "green"}}  # fmt: skip
    scene = mesh_scene(tmp_path, OBJ, parts=words)
    parts = grow_canopy(scene)
    assert {p.name: p.kind for p in parts} == {
        "plant-01": "leaf", "plant-01-stem": "stem", "plant-01-fruit": "fruit",
        "plant-01-pot": "pot",
    }  # fmt: skip
    world = compile_world(scene)
    assert {"leaves", "stems", "flowers and fruit", "pots and soil"} <= {
        sink.end for sink in world.sinks
    }
    result = canopysim.run(scene, world=world)
    got = result.ends["flux_umol_s"].sel(group="all", band="400-700")
    assert (got.sel(end=["leaves", "flowers and fruit", "pots and soil"]) > 0).all()


def test_nodes_meshes_and_moves_of_a_glb_count(tmp_path):
    """A leaf drawn twice, once mirrored: its upper side stays up, and both names are known."""
    leaf = trimesh.Trimesh([[0, 0, 0], [4, 0, 0], [0, 4, 0]], [[0, 1, 2]], process=False)
    stalk = trimesh.Trimesh([[0, 0, 0], [1, 0, 0], [0, 0, 8]], [[0, 1, 2]], process=False)
    drawing = trimesh.Scene()
    lift = np.eye(4)
    lift[2, 3] = 6
    mirror = np.diag([-1.0, 1, 1, 1])
    mirror[2, 3] = 8
    drawing.add_geometry(leaf, node_name="first", geom_name="blade", transform=lift)
    drawing.graph.update("second", matrix=mirror, geometry="blade")
    drawing.add_geometry(stalk, node_name="third", geom_name="stalk")
    data = drawing.export(file_type="glb")
    parts = {"second": {"leaf": "tough"}, "blade": {"leaf": "soft"}, "third": {"surface": "green"}}
    tough, soft, stem = grow_canopy(mesh_scene(tmp_path, data, "plant.glb", parts=parts))
    assert [p.surface for p in (tough, soft, stem)] == ["tough", "soft", "green"]
    for part, height, sign in ((tough, 8, -1), (soft, 6, 1)):
        corners = part.vertices[part.faces[0]]
        assert corners[:, 2] == pytest.approx(height / 100 + 1e-3, rel=1e-12)
        assert sign * (corners[:, 0].sum() - 1.5) > 0
        assert np.cross(corners[1] - corners[0], corners[2] - corners[0])[2] > 0


def test_a_part_that_no_pattern_fits_is_named(tmp_path):
    text = refusal(tmp_path, OBJ, parts={"leaf_1": {"leaf": "soft"}})
    names = "'leaf_2/green', 'leaf_2/pod/red', 'stalk/green'"
    assert f"canopy.meshes[1].parts: no pattern fits {names} of plant.obj" in text


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        ({"parts": {"*": {"leaf": "sof"}}}, "'sof' is not defined under 'leaves'; did you mean"),
        ({"parts": {"*": {"surface": "soft"}}}, "'soft' is not defined under 'surfaces'"),
        ({"parts": {"*": {}}}, "is one thing; write one of 'leaf: ...'"),
        (
            {"parts": {"*": {"leaf": "soft", "surface": "green"}}},
            "is one thing; write one of 'leaf: ...'",
        ),
        ({"parts": {}}, "parts"),
        ({"unit": "yard"}, "'yard' is not known here; allowed: mm, cm, m, in, ft"),
        ({"up": "x"}, "'x' is not known here; allowed: z, y"),
        ({"scale": "0"}, "'0' is out of range; allowed is 0.001 to 1000"),
        ({"turn": ["0 deg", "1 deg"]}, "lists 2 angles for 1 positions"),
        ({"turn": "90"}, "deg"),
        ({"positions": [["50 cm", "2 m"]]}, "is outside the enclosure"),
        ({"file": "plant.blend"}, "'plant.blend' is no mesh file; allowed endings: .obj"),
        ({"file": "none.obj"}, "there is no such file"),
        ({"file": "../plant.obj"}, "leads out of the scene's folder"),
        ({"file": "folder.obj"}, "is not a regular file"),
        ({"canopy": {"leaf_area_index": "2.0"}}, "meshes keep their leaf area"),
        ({"canopy": {"meshes": []}}, "holds no plants; write 'plantings'"),
    ],
)
def test_a_wrong_entry_is_told_in_one_sentence(tmp_path, keys, expected):
    home = tmp_path / "home"
    (home / "folder.obj").mkdir(parents=True)
    (tmp_path / "plant.obj").write_bytes(OBJ)
    named = keys.pop("file", None) if "file" in keys else None
    if named is None:
        assert expected in refusal(home, OBJ, **keys)
        return
    mesh_scene(home, OBJ, parts={"*": {"leaf": "soft"}})
    text = (home / "scene.yaml").read_text("utf-8").replace("file: plant.obj", f"file: {named}")
    (home / "scene.yaml").write_text(text, "utf-8")
    with pytest.raises(SceneError) as caught:
        load_scene(home / "scene.yaml")
    assert len(caught.value.problems) == 1 and expected in str(caught.value)


def test_a_unit_has_to_be_stated(tmp_path):
    scene = mesh_scene(tmp_path, OBJ)
    text = scene.text.replace("    unit: cm\n", "")
    (tmp_path / "scene.yaml").write_text(text, "utf-8")
    with pytest.raises(SceneError, match=r"canopy\.meshes\[1\].*unit"):
        load_scene(tmp_path / "scene.yaml")


def test_a_scene_without_a_folder_has_no_meshes(tmp_path):
    data = yaml.load(mesh_scene(tmp_path, OBJ).text, yaml.BaseLoader)
    with pytest.raises(SceneError, match="cannot be found for a scene without a folder"):
        scene_of(data)


def test_meshes_keep_their_area_and_grown_plants_take_the_rest_of_the_index(tmp_path):
    planting = {"plant": "sprig", "columns": "2", "rows": "2", "base": "20 cm"}
    canopy = {"leaf_area_index": "0.1", "plantings": [planting]}
    parts = grow_canopy(mesh_scene(tmp_path, export(plant_mesh(), "obj"), canopy=canopy))
    areas = {p.name: area_of(p.vertices, p.faces) for p in parts if p.kind == "leaf"}
    mesh = plant_mesh()
    assert areas["plant-01"] == pytest.approx(1e-4 * area_of(mesh.vertices, mesh.faces), rel=1e-12)
    assert len(areas) == 5 and sum(areas.values()) == pytest.approx(0.1, rel=1e-9)
    text = refusal(
        tmp_path, export(mesh, "obj"), canopy={**canopy, "leaf_area_index": "0.01"}, scale="2"
    )
    assert "canopy.leaf_area_index: 0.01 leaves nothing for the grown plants" in text


def test_a_mesh_that_is_called_as_a_grown_plant_is_counted_on(tmp_path):
    canopy = {"plantings": [{"plant": "sprig", "columns": "2", "rows": "1"}]}
    parts = grow_canopy(mesh_scene(tmp_path, OBJ, "sprig.obj", canopy=canopy))
    assert {p.name for p in parts if p.kind == "leaf"} == {"sprig-01", "sprig-02", "sprig-03"}


def test_what_sticks_out_is_told_with_its_place_and_by_how_much(tmp_path):
    box = export(trimesh.creation.box((20, 20, 30)), "stl")
    text = refusal(tmp_path, box, "plant.stl", positions=[["50 cm", "50 cm"], ["7 cm", "50 cm"]],
                   base="20 cm")  # fmt: skip
    assert "canopy.meshes[1].positions[2]: plant-02 at 7 cm, 50 cm sticks 3 cm out through the " \
        "left wall; it is 20 x 20 x 30 cm large" in text  # fmt: skip
    text = refusal(tmp_path, box, "plant.stl")
    assert "sticks 14.9 cm out through the floor" in text
    text = refusal(tmp_path, box, "plant.stl", unit="ft")
    assert all(f"through the {side}" in text for side in ("left wall", "right wall", "ceiling"))
    text = refusal(tmp_path, box, "plant.stl", base="15.05 cm")
    assert "comes within 0.5 mm of the floor, where 1 mm must be free" in text
    text = refusal(tmp_path, box, "plant.stl", unit="ft", scale="1000")
    assert "canopy.meshes[1].unit: plant.stl reaches 15 from its origin" in text


def test_the_report_tells_what_is_wrong_with_a_mesh(tmp_path):
    quad = b"v 0 0 5\nv 4 0 5\nv 4 3 5\nv 0 3 5\nv 90 90 90\no blade\nf 1 2 3 4\n"
    spoilt = quad + b"o line\nf 1 2 2\nf 1 3 3\no again\nf 3 2 1\nv 2 0 5\nf 1 6 2\n"
    parts = {"*": {"leaf": "soft"}, "pod*": {"surface": "green"}}
    scene = mesh_scene(tmp_path, spoilt, parts=parts)
    drawn = draw_mesh(scene, 0)
    # A line through three points has no area either.
    assert (drawn.n_degenerate, drawn.n_duplicate) == (3, 1)
    assert drawn.idle == ("pod*",) and drawn.parts[0].names == ("blade", "line", "again")
    assert drawn.size == pytest.approx([0.04, 0.03, 0], abs=1e-15)
    text = "\n".join(mesh_lines(scene))
    assert "plant.obj: 1 of the file taken as 1 cm and z as up it is 4 x 3 x 0 cm large" in text
    assert "'*' is leaf soft: 'blade', 'line', 'again'; 3 triangles, one-sided area 18 cm²" in text
    assert "doubt: 3 triangles without area, left out." in text
    assert "doubt: 1 triangle lying exactly on others" in text
    assert "doubt: the pattern 'pod*' fits nothing in it." in text
    # A sheet has an edge all round; a closed body has none, however its corners are written.
    assert draw_mesh(mesh_scene(tmp_path, quad), 0).n_boundary == 4
    body = mesh_scene(tmp_path, export(trimesh.creation.box((2, 3, 4)), "stl"), "body.stl")
    drawn = draw_mesh(body, 0)
    assert (drawn.n_boundary, drawn.n_duplicate, drawn.n_degenerate) == (0, 0, 0)
    assert drawn.parts[0].area == pytest.approx(52e-4, rel=1e-6)
    assert "doubt" not in "\n".join(mesh_lines(body))


def test_check_shows_the_report(tmp_path):
    from rich.console import Console

    from canopysim.report.readback import read_back

    scene = mesh_scene(tmp_path, OBJ, parts={**PARTS, "pod*": {"leaf": "tough"}})
    console = Console(width=300, record=True, file=(tmp_path / "out").open("w"))
    console.print(read_back(scene, compile_world(scene)))
    console.file.close()
    text = console.export_text()
    assert "plant.obj: 'stalk' is surface green: 'stalk'; 1 triangle, area 4.5 cm²" in text
    assert "1 plant" in text


def glb(tree: dict, blob: bytes = b"") -> bytes:
    text = json.dumps({"asset": {"version": "2.0"}, **tree}).encode()
    text += b" " * (-len(text) % 4)
    body = struct.pack("<2I", len(text), 0x4E4F534A) + text
    body += struct.pack("<2I", len(blob), 0x004E4942) + blob
    return struct.pack("<3I", 0x46546C67, 2, 12 + len(body)) + body


def one_triangle(**changes) -> dict:
    """Description of a GLB file of one triangle, 36 bytes."""
    return {
        "scene": 0, "scenes": [{"nodes": [0]}], "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3"}],
        "bufferViews": [{"buffer": 0, "byteLength": 36}], "buffers": [{"byteLength": 36}],
        **changes,
    }  # fmt: skip


TRIANGLE = np.array([[0, 0, 5], [4, 0, 5], [0, 4, 5]], "<f4").tobytes()
PLY = (
    "ply\nformat {}\nelement vertex {}\nproperty float x\nproperty float y\nproperty float z\n"
    "element face {}\nproperty list {} int vertex_indices\nend_header\n"
)
BINARY = "binary_little_endian 1.0"
ACCESSOR = {"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3"}
COUNTED = np.zeros((5, 3), "<f4").tobytes()
HOSTILE = {
    "text.obj": (b"hello, this is no mesh\n", "holds no triangles"),
    "vertex-not-there.obj": (b"v 0 0 0\nf 1 2 3\n", "cannot be read as OBJ: line 2"),
    "vertex-0.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 0 1 2\n", "cannot be read as OBJ: line 4"),
    "nan.obj": (b"v nan 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "has 1 vertex in 'nan'"),
    "inf.obj": (b"v 1e999 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "not finite numbers"),
    "far.obj": (b"v 1e300 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "reaches 1e+300 from its origin"),
    "zeros.obj": (b"\0" * 4096, "holds no triangles"),
    "long-line.obj": (b"f" + b" 1" * 60_000, "line 1 has 120001 characters"),
    "empty.obj": (b"", "is empty"),
    "text.ply": (b"hello\n" * 20, "is not a PLY file"),
    "no-end.ply": (b"ply\nformat ascii 1.0\nelement vertex 3\n", "is not a PLY file"),
    "huge.ply": (PLY.format("ascii 1.0", 4 * 10**9, 1, "uchar").encode(), "but has only"),
    "huge-faces.ply": (PLY.format(BINARY, 3, 4 * 10**9, "uchar").encode(), "at most 5000000"),
    "short.ply": (
        PLY.format("ascii 1.0", 3, 2, "uchar").encode() + b"0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n",
        "ends before them",
    ),
    "no-number.ply": (
        PLY.format("ascii 1.0", 3, 1, "uchar").encode() + b"0 0 0\n1 x 0\n0 1 0\n3 0 1 2\n",
        "cannot be read as PLY",
    ),
    "long-list.ply": (
        PLY.format(BINARY, 5, 1, "uint").encode() + COUNTED
        + struct.pack("<I3i", 2**32 - 1, 0, 1, 2),
        "cannot be read as PLY",
    ),
    # 17 bytes and 9 bytes make two lists of 13 bytes each, which is how they would be read.
    "unlike-lists.ply": (
        PLY.format(BINARY, 5, 2, "uchar").encode() + COUNTED
        + struct.pack("<B3iB2i4x", 3, 0, 1, 2, 2, 3, 4),
        "differ in their number of corners",
    ),
    "vertex-not-there.ply": (
        PLY.format("ascii 1.0", 3, 1, "uchar").encode() + b"0 0 0\n1 0 0\n0 1 0\n3 0 1 7\n",
        "export it again",
    ),
    "text.off": (b"hello\n", "is not an OFF file"),
    "huge.off": (b"OFF\n4000000000 1 0\n0 0 0\n", "but has only"),
    "short.off": (b"OFF\n3 2 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n", "ends before them"),
    "vertex-not-there.off": (
        b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 9\n", "cannot be read as OFF"
    ),
    "text.stl": (b"hello\n" * 40, "holds no triangles"),
    "huge.stl": (bytes(80) + struct.pack("<I", 2**32 - 1) + bytes(50), "holds no triangles"),
    "text.glb": (b"hello\n" * 20, "is not a GLB file"),
    "no-json.glb": (
        struct.pack("<5I", 0x46546C67, 2, 24, 4, 0x4E4F534A) + b"[[[[", "is not JSON"
    ),
    "long-tree.glb": (
        struct.pack("<5I", 0x46546C67, 2, 24, 9 * 2**20, 0x4E4F534A) + b"[" * 9 * 2**20,
        "has a description of 9437184 bytes",
    ),
    "no-mapping.glb": (
        struct.pack("<5I", 0x46546C67, 2, 24, 4, 0x4E4F534A) + b"[]  ", "is not a mapping"
    ),
    "other-file.glb": (
        glb(one_triangle(buffers=[{"byteLength": 36, "uri": "../secret"}])), "in other files"
    ),
    "compressed.glb": (
        glb(one_triangle(extensionsRequired=["KHR_draco_mesh_compression"]), TRIANGLE),
        "needs 'KHR_draco_mesh_compression', which is not read",
    ),
    "huge.glb": (
        glb(one_triangle(accessors=[{**ACCESSOR, "count": 2**31}]), TRIANGLE), "there is no room"
    ),
    "nothing-behind.glb": (
        glb(one_triangle(accessors=[{"componentType": 5126, "count": 2**31, "type": "VEC3"}])),
        "compressed or sparse",
    ),
    "overlapping.glb": (
        glb(one_triangle(bufferViews=[{"buffer": 0, "byteLength": 36, "byteStride": 1}]), TRIANGLE),
        "there is no room",
    ),
    "loop.glb": (
        glb(one_triangle(nodes=[{"mesh": 0, "children": [0]}]), TRIANGLE), "hangs in two places"
    ),
    "many-times.glb": (
        glb(one_triangle(nodes=[{"children": [1, 1]}, {"mesh": 0}]), TRIANGLE),
        "hangs in two places",
    ),
    "deep.glb": (
        glb(one_triangle(nodes=[{"children": [n + 1]} for n in range(100)] + [{}]), TRIANGLE),
        "nested more than 64 deep",
    ),
    "contradiction.glb": (glb(one_triangle(nodes=[{"mesh": -1}]), TRIANGLE), "contradicts itself"),
    "nan.glb": (glb(one_triangle(), b"\0\0\xc0\x7f" + TRIANGLE[4:]), "has 1 vertex in 'nan'"),
}  # fmt: skip


@pytest.mark.parametrize("file", HOSTILE)
def test_a_damaged_or_hostile_file_is_refused_in_a_sentence(tmp_path, file):
    data, expected = HOSTILE[file]
    text = refusal(tmp_path, data, file)
    assert "canopy.meshes[1]." in text and file in text and expected in text
    assert "\n" not in text and len(text) < 500


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.97])
def test_a_file_that_is_cut_off_is_refused(tmp_path, form, share):
    data = export(plant_mesh(), form)
    cut = data[: int(len(data) * share)]
    if form == "obj":
        # This format announces no counts: what is lost shows where a line is broken off.
        cut = cut[: cut.rfind(b" ") + 1]
        if cut.rfind(b"\nv ") < 0:
            cut += b"\nv 1"
    assert "canopy.meshes[1].file" in refusal(tmp_path, cut, f"plant.{form}")


def test_one_triangle_of_the_hostile_pattern_is_read():
    """The frame of the hostile GLB files is sound: what is refused is what was changed."""
    (piece,) = read_pieces(glb(one_triangle(), TRIANGLE), "glb", "one")
    assert piece.names == ("one",)
    assert np.array_equal(piece.vertices[piece.faces[0]], [[0, 0, 5], [4, 0, 5], [0, 4, 5]])


def test_words_in_another_encoding_are_no_reason_to_refuse():
    text = "solid Bl\u00e4tter\nfacet normal 0 0 1\nouter loop\nvertex 0 0 5\nvertex 4 0 5\n"
    text += "vertex 0 4 5\nendloop\nendfacet\nendsolid\n"
    (piece,) = read_pieces(text.encode("latin-1"), "stl", "one")
    assert area_of(piece.vertices, piece.faces) == pytest.approx(8, rel=1e-12)
    text = "OFF # Bl\u00e4tter\n3 1 0\n0 0 5\n4 0 5\n0 4 5\n3 0 1 2\n"
    (piece,) = read_pieces(text.encode("latin-1"), "off", "one")
    assert area_of(piece.vertices, piece.faces) == pytest.approx(8, rel=1e-12)


def test_files_are_bounded(tmp_path, monkeypatch):
    monkeypatch.setattr(mesh_files, "LARGEST_MESH", len(OBJ) - 1)
    assert "canopy.meshes[1].file: plant.obj is too large" in refusal(tmp_path, OBJ)
    monkeypatch.setattr(mesh_files, "LARGEST_MESH", len(OBJ))
    monkeypatch.setattr(mesh_files, "LARGEST_TOGETHER", len(OBJ) - 1)
    assert "makes all meshes together larger" in refusal(tmp_path, OBJ)
    monkeypatch.setattr("canopysim.matter.mesh_file.MOST_FACES", 4)
    monkeypatch.setattr(mesh_files, "LARGEST_TOGETHER", len(OBJ))
    assert "holds 5 triangles; at most 4" in refusal(tmp_path, OBJ)


def test_a_run_is_taken_up_though_its_mesh_changed_or_vanished(tmp_path):
    scene = mesh_scene(tmp_path, OBJ)
    mark = scene.sources[str(tmp_path / "plant.obj")]
    assert mark.startswith(mesh_files.MESH_MARK) and len(mark.split()[-1]) == 64
    whole = canopysim.run(scene, max_packets=20_000)
    canopysim.run(scene).save(tmp_path / "result")
    (tmp_path / "plant.obj").write_bytes(OBJ.replace(b"9", b"5"))
    middle = canopysim.resume(tmp_path / "result", max_packets=12_500)
    middle.save(tmp_path / "result")
    (tmp_path / "plant.obj").unlink()
    (tmp_path / "scene.yaml").unlink()
    again = canopysim.resume(tmp_path / "result", max_packets=20_000)
    assert again.n_batch == whole.n_batch > middle.n_batch
    assert again.digest == whole.digest and again.rows["absorbed"].identical(whole.rows["absorbed"])
    assert again.layers.identical(whole.layers)
    assert list(again.meshes.values()) == [OBJ]


def test_a_checkpoint_keeps_the_meshes(tmp_path, monkeypatch):
    monkeypatch.setattr("canopysim.tracing.CHECKPOINT_EVERY_S", 0.0)
    monkeypatch.setattr("canopysim.tracing.CHECKPOINT_SHARE", 1e9)
    scene = mesh_scene(tmp_path, OBJ)
    whole = canopysim.run(scene, max_packets=20_000, checkpoint=tmp_path / "run")
    # What a kill leaves: no result.
    assert [f.name for f in (tmp_path / "run").iterdir()] == ["checkpoint.nc"]
    (tmp_path / "plant.obj").unlink()
    again = canopysim.resume(tmp_path / "run", max_packets=20_000)
    assert again.rows["absorbed"].identical(whole.rows["absorbed"])


@pytest.mark.parametrize(("harm", "words"), [
    (lambda meshes: {}, r"the scene's mesh plant\.obj \(SHA-256 [0-9a-f]{12}\.\.\.\) was not kept"),
    (lambda meshes: {k: v + b" " for k, v in meshes.items()}, r"is not the one that was traced"),
])  # fmt: skip
def test_a_mesh_that_is_not_the_one_that_was_traced_is_refused(tmp_path, harm, words):
    result = canopysim.run(mesh_scene(tmp_path, OBJ))
    dataclasses.replace(result, meshes=harm(result.meshes)).save(tmp_path / "result")
    with pytest.raises(ResultError, match=words):
        canopysim.resume(tmp_path / "result", max_packets=20_000)
