"""Mistakes with drawn plants and rooms: each one sentence with its place, value and remedy."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from rooms import box_parts, gable_parts, obj_of

from canopysim.errors import SceneError
from canopysim.scene import load_scene
from canopysim.world.compile import compile_world

GOOD = """\
title: Drawn
enclosure:
  lining: white
  mesh:
    file: room.obj
    unit: m
    parts:
      floor: {floor: dark}
      roof*: {ceiling: white}
      "*": {wall: white}
surfaces:
  white: {diffuse: 80 %}
  dark: {}
leaves:
  soft: {like: basil}
canopy:
  layers: 2
  meshes:
    - file: plant.obj
      unit: cm
      parts:
        leaf*: {leaf: soft}
        stalk: {stem: dark}
      positions: [[50 cm, 50 cm], [150 cm, 50 cm]]
fixtures:
  bar:
    body: {length: 40 cm, width: 4 cm, height: 3 cm, surface: white}
    strips:
      - {length: 38 cm, width: 1 cm, lens: lambertian}
    ppf: 50 umol/s
    spectrum: {400-500: 20 %, 500-600: 30 %, 600-700: 50 %}
lights:
  - {fixture: bar, at: [100 cm, 50 cm], height: 90 cm}
"""
PLANT = obj_of(
    {
        "leaf-1": [[(0, 0, 10), (8, 0, 12), (8, 4, 12)]],
        "leaf-2": [[(0, 0, 20), (-8, 0, 22), (-8, 4, 22)]],
        "stalk": [[(0, 0, 0), (0.5, 0, 0), (0, 0, 20)]],
    }
)
ROOM = obj_of(gable_parts())
TALL = ROOM.replace("0.0", "nan", 1)


def wrong(old: str, new: str) -> str:
    assert old in GOOD
    return GOOD.replace(old, new, 1)


# Scene, room, plant, and what is said after the file's name: each line of it.
CASES = {
    "no unit of the room": (
        wrong("    unit: m\n", ""), ROOM, PLANT,
        ["4:3  enclosure.mesh.unit: is missing; needed is: Length that a 1 in the file stands "
         "for."],
    ),
    "a unit that is none": (
        wrong("unit: m\n", "unit: metre\n"), ROOM, PLANT,
        ["6:5  enclosure.mesh.unit: 'metre' is not known here; allowed: mm, cm, m, in, ft"],
    ),
    "the wrong unit of the room": (
        wrong("unit: m\n", "unit: mm\n"), ROOM, PLANT,
        ["6:5  enclosure.mesh.unit: room.obj is 2 mm large if 1 in it is 1 mm; allowed is 1 cm to "
         "100 m: mend 'unit' or 'scale'"],
    ),
    "another axis": (
        wrong("unit: m\n", "unit: m\n    up: x\n"), ROOM, PLANT,
        ["7:5  enclosure.mesh.up: 'x' is not known here; allowed: z, y"],
    ),
    "scale of nothing": (
        wrong("unit: m\n", "unit: m\n    scale: 0\n"), ROOM, PLANT,
        ["7:5  enclosure.mesh.scale: '0' is out of range; allowed is 0.001 to 1000"],
    ),
    "a file of another kind": (
        wrong("room.obj", "room.dxf"), ROOM, PLANT,
        ["5:5  enclosure.mesh.file: 'room.dxf' is no mesh file; allowed endings: .obj, .ply, .glb, "
         ".stl, .off"],
    ),
    "no such file": (
        wrong("room.obj", "rom.obj"), ROOM, PLANT,
        ["5:5  enclosure.mesh.file: 'rom.obj': there is no such file; write a path that exists"],
    ),
    "out of the folder": (
        wrong("room.obj", "../room.obj"), ROOM, PLANT,
        ["5:5  enclosure.mesh.file: '../room.obj' leads out of the scene's folder; move the file "
         "into it, or allow files outside"],
    ),
    "a size beside the mesh": (
        wrong("  lining: white\n", "  lining: white\n  width: 2 m\n  faces: {floor: dark}\n"),
        ROOM, PLANT,
        ["4:3  enclosure.width: stands beside 'mesh', which has its own walls and size; leave it "
         "out",
         "5:3  enclosure.faces: stands beside 'mesh', which has its own walls and size; leave it "
         "out"],
    ),
    "not a part of a room": (
        wrong("roof*: {ceiling: white}", "roof*: {rof: white}"), ROOM, PLANT,
        ["9:7  enclosure.mesh.parts.roof*: 'rof' is not a part of a room; allowed: wall, floor, "
         "ceiling, as in '{wall: film}'"],
    ),
    "no surface": (
        wrong("roof*: {ceiling: white}", "roof*: white"), ROOM, PLANT,
        ["9:7  enclosure.mesh.parts.roof*: 'white' is a single value; write one of wall, floor, "
         "ceiling and its surface: {wall: film}"],
    ),
    "an unknown surface": (
        wrong("roof*: {ceiling: white}", "roof*: {ceiling: whit}"), ROOM, PLANT,
        ["9:15  enclosure.mesh.parts.roof*.ceiling: 'whit' is not defined under 'surfaces'; did "
         "you mean 'white'?"],
    ),
    "a part without a pattern": (
        wrong('      "*": {wall: white}\n', '      left: {wall: white}\n'), ROOM, PLANT,
        ["7:5  enclosure.mesh.parts: no pattern fits 'right', 'gable-front', 'gable-back' of "
         "room.obj; say what they are, as in 'wall*: {wall: film}'"],
    ),
    "no floor": (
        wrong("floor: {floor: dark}", "floor: {wall: dark}"), ROOM, PLANT,
        ["7:5  enclosure.mesh.parts: no part of room.obj is the floor; say which is, as in "
         "'{floor: tray}'"],
    ),
    "numbers that are none": (
        GOOD, TALL, PLANT,
        ["5:5  enclosure.mesh.file: room.obj has 1 vertex in 'floor' that are not finite numbers; "
         "repair the mesh and export it again"],
    ),
    "two mistakes at once": (
        wrong("roof*: {ceiling: white}", "roof*: {ceiling: whit}"),
        obj_of({n: p for n, p in gable_parts().items() if n != "left"}), PLANT,
        ["5:5  enclosure.mesh.file: room.obj is not closed at x 0 m, y 0.5 m, z 0.5 m: a hole",
         "9:15  enclosure.mesh.parts.roof*.ceiling: 'whit' is not defined under 'surfaces'"],
    ),
    "a room without a wall": (
        GOOD, obj_of({n: p for n, p in gable_parts().items() if n != "left"}), PLANT,
        ["5:5  enclosure.mesh.file: room.obj is not closed at x 0 m, y 0.5 m, z 0.5 m: a hole of "
         "0 x 100 x 100 cm (x, y, z) with 4 open edges of 'floor', 'gable-front', 'gable-back', "
         "'roof-left'; close it with faces (of a part that is 'open', if photons are to leave)"],
    ),
    "daylight in a drawn room": (
        GOOD + "daylight:\n  - {ppfd: 40 umol/m2/s, spectrum: {400-700: 100 %}}\n", ROOM, PLANT,
        ["35:5  daylight[1]: enters boxes only, no drawn rooms; leave it out, or describe a box"],
    ),
    "two matters of one part": (
        wrong("{leaf: soft}", "{leaf: soft, pot: dark}"), ROOM, PLANT,
        ["22:9  canopy.meshes[1].parts.leaf*: is one thing; write one of 'leaf: ...', 'stem: ...', "
         "'flower: ...', 'pot: ...' or 'surface: ...'"],
    ),
    "the plant's stalk is nothing": (
        wrong("        stalk: {stem: dark}\n", ""), ROOM, PLANT,
        ["21:7  canopy.meshes[1].parts: no pattern fits 'stalk' of plant.obj; say what they are, "
         "as in 'stem*: {stem: green}'"],
    ),
    "a plant in the wrong unit": (
        wrong("unit: cm", "unit: ft"), ROOM, PLANT,
        ["24:19  canopy.meshes[1].positions[1]: plant-01 at 50 cm, 50 cm sticks ",
         "24:35  canopy.meshes[1].positions[2]: plant-02 at 150 cm, 50 cm sticks "],
    ),
    "a plant under the eaves": (
        wrong("[150 cm, 50 cm]]", "[150 cm, 50 cm]]\n      base: 100 cm"), ROOM, PLANT, [],
    ),
    "a plant in the roof": (
        wrong("[150 cm, 50 cm]]", "[20 cm, 50 cm]]\n      base: 100 cm"), ROOM, PLANT,
        ["24:35  canopy.meshes[1].positions[2]: plant-02 is outside of the room at x 0.2 m, "
         "y 0.5 m, z 1.2 m; move it, or leave more room"],
    ),
    "a light in the roof": (
        wrong("[100 cm, 50 cm], height: 90 cm", "[60 cm, 50 cm], height: 130 cm"), ROOM, PLANT,
        ["33:5  lights[1]: the body of bar-1 reaches through 'roof-left' of the room at "],
    ),
    "a light outside of the room": (
        wrong("[100 cm, 50 cm], height: 90 cm", "[30 cm, 50 cm], height: 152 cm"), ROOM, PLANT,
        ["33:5  lights[1]: the body of bar-1 is outside of the room at x 0.1 m, y 0.48 m, z "],
    ),
    "a plane above the ridge": (
        GOOD + "planes:\n  - {name: top, height: 170 cm}\n", ROOM, PLANT,
        ["35:17  planes[1].height: 170 cm is above the ceiling; allowed is at most 1.6 m"],
    ),
}  # fmt: skip


def said(folder: Path, scene: str, room: str, plant: str) -> list[str]:
    (folder / "room.obj").write_text(room, "utf-8")
    (folder / "plant.obj").write_text(plant, "utf-8")
    path = folder / "scene.yaml"
    path.write_text(scene, "utf-8")
    try:
        compile_world(load_scene(path))
    except SceneError as error:
        return [line.removeprefix(f"{path}:") for line in error.problems]
    return []


@pytest.mark.parametrize("name", sorted(CASES))
def test_each_mistake_has_its_place_and_remedy(tmp_path, name):
    scene, room, plant, expected = CASES[name]
    found = said(tmp_path, scene, room, plant)
    assert len(found) == len(expected), found
    for line, start in zip(found, expected, strict=True):
        assert line.startswith(start), found


def test_the_good_scene_is_good(tmp_path):
    assert said(tmp_path, GOOD, ROOM, PLANT) == []


def test_a_command_refuses_with_exit_code_2_and_writes_nothing(tmp_path):
    parts = {n: p for n, p in box_parts().items() if n != "roof"}
    said(tmp_path, GOOD, obj_of(parts), PLANT)
    for command in (["check", "scene.yaml"], ["run", "scene.yaml", "--out", "out"]):
        answer = subprocess.run(
            [sys.executable, "-m", "canopysim", *command],
            cwd=tmp_path, capture_output=True, text=True, check=False,
            env=os.environ | {"COLUMNS": "400"},
        )  # fmt: skip
        assert answer.returncode == 2
        assert answer.stdout == "" and "Traceback" not in answer.stderr
        assert (
            "scene.yaml:5:5  enclosure.mesh.file: room.obj is not closed at x 1 m" in answer.stderr
        )
    assert not (tmp_path / "out").exists()
