"""One scene with every kind of surface, leaf, lens, opening and plane: no feature without it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import yaml
from build import WHITE, PlainDumper, plain_box
from photometric_files import front_lopsided, lm63, long_bar
from rooms import box_parts, gable_parts, obj_of

from canopysim.matter.mesh_write import glb_bytes
from canopysim.plant_command import grow_one
from canopysim.scene import load_scene
from canopysim.scene.schema import Scene


def torture(batch: int = 2000) -> dict:
    """A shiny, holed, tilted small room with herbs, side light from three lenses, and daylight."""
    bar = {
        "body": {"length": "30 cm", "width": "5 cm", "height": "3 cm", "surface": "glossy"},
        "ppf": "90 umol/s",
        "spectrum": WHITE,
        "strips": [
            {"length": "28 cm", "width": "1 cm", "at": ["0 cm", "-1.4 cm"], "channel": "white",
             "lens": {"beam": {"along": "120 deg", "across": "35 deg"}}},
            {"length": "28 cm", "width": "1 cm", "at": ["0 cm", "1.4 cm"], "channel": "red",
             "lens": {"table": lm63(long_bar, h=range(0, 361, 30))},
             "spectrum": {"600-700": "60 %", "700-750": "40 %"}, "share": "40 %"},
        ],
        "channels": {"white": {"input_power": "60 %", "driver": {"50 %": "52 %"}},
                     "red": {"input_power": "40 %"}},
        "input_power": "45 W",
    }  # fmt: skip
    pencil = {
        "photon_flux": "12 umol/s",
        "spectrum": {"700-800": "100 %"},
        "strips": [{"length": "10 cm", "width": "5 mm", "lens": "parallel", "tilt": "10 deg"}],
    }
    # Measured whole, with its body: a lopsided light that also goes upwards, through the body.
    flood = {
        "body": {"length": "12 cm", "width": "6 cm", "height": "4 cm", "surface": "glossy"},
        "photometry": {
            "table": lm63(front_lopsided, h=range(0, 361, 15), size=(0.05, 0.1, 0.0)),
            "intensity": "candela",
        },
        "ppf": "15 umol/s",
        "spectrum": {"like": "white_4000"},
    }
    leaf = {
        "reflectance": {"400-700": "9 %", "700-800": "45 %"},
        "transmittance": {"400-700": "5 %", "700-800": "44 %"},
        "lower": {
            "reflectance": {"400-700": "14 %", "700-800": "48 %"},
            "transmittance": {"400-700": "4 %", "700-800": "40 %"},
        },
    }
    return plain_box(
        title="Torture",
        enclosure={
            "width": "90 cm", "depth": "70 cm", "height": "1.1 m", "lining": "film",
            "faces": {
                "floor": "tray",
                "front": {"surface": "white", "patches": [
                    {"surface": "tray", "corner": ["10 cm", "0 cm"],
                     "opposite": ["40 cm", "50 cm"]},
                    {"open": "true", "corner": ["20 cm", "10 cm"],
                     "opposite": ["60 cm", "30 cm"]}]},
                "right": "mirror",
                "ceiling": {"open": "true", "patches": [
                    {"surface": "white", "corner": ["0 cm", "0 cm"],
                     "opposite": ["60 cm", "70 cm"]}]},
            },
        },
        surfaces={
            "film": {"diffuse": "14 %", "specular": {"400-700": "70 %", "700-800": "60 %"},
                     "spread": "12 deg"},
            "mirror": {"specular": "100 %"},
            "white": {"diffuse": {"400-500": "75 %", "500-800": "88 %"}},
            "tray": {"diffuse": "5 %"},
            "glossy": {"diffuse": "50 %", "specular": "20 %"},
        },
        leaves={"odd": leaf, "basil": {"like": "basil", "cuticle": {"spread": "15 deg"}}},
        plants={
            "herb": {"leaf": "odd", "stem": "white", "nodes": "6", "internode": "6 cm",
                     "petiole_length": "3 cm", "petiole_angle": "55 deg",
                     "blade_length": "10 cm", "blade_width": "5 cm"},
            "low": {"leaf": "basil", "stem": "tray", "nodes": "5", "internode": "3 cm",
                    "petiole_length": "2 cm", "petiole_angle": "60 deg",
                    "blade_length": "6 cm", "blade_width": "4 cm", "branches": "2"},
            # Of the library: compound leaves, fruit that hangs, a stem's surface of the library.
            "berry": {"like": "strawberry", "leaf": "basil", "stem": "green-stem", "nodes": "4",
                      "petiole_length": "6 cm", "triangles_per_leaf": "12", "bears": [
                          {"shape": "cone", "length": "3 cm", "width": "2 cm", "number": "2",
                           "surface": "red-fruit", "stalk_length": "6 cm", "every": "2",
                           "full_after": "1"}]},
        },
        canopy={
            "layers": "4", "leaf_area_index": "0.8", "seed": "4", "profile": "true",
            "plantings": [
                {"plant": "herb", "columns": "2", "rows": "2", "base": "16 cm"},
                {"plant": "low", "positions": [["45 cm", "35 cm"]], "base": "12 cm"},
                {"plant": "berry", "positions": [["45 cm", "14 cm"]],
                 "pot": {"diameter": "12 cm", "height": "10 cm"}},
            ],
            "nets": [{"height": "32 cm", "mesh": "30 cm", "thread": "8 mm"}],
        },
        fixtures={"bar": bar, "pencil": pencil, "flood": flood},
        lights=[
            {"fixture": "bar", "group": "top", "at": ["45 cm", "35 cm"], "height": "85 cm",
             "row": {"count": "2", "gap": "15 cm", "direction": "depth"}},
            {"fixture": "bar", "group": "side", "at": ["6 cm", "35 cm"], "height": "35 cm",
             "turn": "-90 deg", "tilt": "80 deg", "output": "60 %",
             "outputs": {"red": "25 %"}},
            {"fixture": "pencil", "group": "far-red", "at": ["70 cm", "20 cm"],
             "height": "70 cm", "turn": "30 deg", "pitch": "15 deg", "tilt": "-20 deg"},
            {"fixture": "flood", "at": ["75 cm", "55 cm"], "height": "60 cm", "turn": "40 deg",
             "tilt": "-35 deg"},
        ],
        daylight=[
            {"ppfd": "40 umol/m2/s", "spectrum": {"400-700": "80 %", "700-800": "20 %"}},
            {"ppfd": "60 umol/m2/s", "group": "sun",
             "spectrum": {"400-700": "80 %", "700-800": "20 %"},
             "beam": {"zenith": "35 deg", "azimuth": "200 deg"}},
        ],
        planes=[
            {"name": "floor", "height": "0 cm", "cell": "10 cm"},
            {"name": "inside", "height": "25 cm", "cell": "8 cm"},
            {"name": "part", "height": "60 cm", "cell": "5 cm", "corner": ["20 cm", "10 cm"],
             "opposite": ["80 cm", "60 cm"]},
            {"name": "ceiling", "height": "1.1 m", "cell": "30 cm"},
        ],
        electricity={"supply": "230 V", "schedule": [
            {"hours": "5:00 to 9:00", "group": "side", "outputs": {"white": "10 %"}},
            {"hours": "9:00 to 21:00"},
        ]},
        meters={"worn": {"response": "epar", "cosine": {"60 deg": "95 %"}, "factor": "1.02",
                         "levelling": "3 deg"}},
        probes=[
            {"name": "top", "at": ["45 cm", "35 cm"], "height": "70 cm", "meter": "worn"},
            {"name": "in-leaves", "at": ["30 cm", "25 cm"], "height": "35 cm", "radius": "4 cm",
             "tilt": "70 deg", "turn": "-120 deg"},
        ],
        tracing={"batch": str(batch)},
    )  # fmt: skip


def planted_torture(folder: Path, batch: int = 2000) -> Path:
    """The same with a plant from a mesh file beside the grown ones; give the scene's file."""
    grown = grow_one("tomato", stage="25 %")
    colours = {part.name: np.zeros(3) for part in grown.parts}
    (folder / "drawn.glb").write_bytes(glb_bytes(grown.parts, colours, "a young tomato"))
    scene = torture(batch)
    scene["canopy"]["meshes"] = [
        {"file": "drawn.glb", "unit": "m", "up": "y", "scale": "0.35",
         "parts": {"leaf": {"leaf": "odd"}, "stem": {"stem": "green-stem"},
                   "*fruit": {"flower": "red-fruit"}, "*petal": {"flower": "glossy"}},
         "positions": [["45 cm", "55 cm"]], "base": "5 cm", "turn": "40 deg"},
    ]  # fmt: skip
    file = folder / "drawn.yaml"
    file.write_text(yaml.dump(scene, Dumper=PlainDumper))
    return file


EVERYTHING = {
    "first_flight": "true",
    "last_surface": "true",
    "lining_meetings": "6",
    "launch_cells": {"along": "2", "polar": "3", "around": "3"},
    "sensitivities": "true",
    "leaf_facets": "true",
    "canopy_sides": "true",
    "each_plant": "true",
    "on_cells": "true",
}


def told_apart(scene: dict) -> dict:
    """The same scene with every tally that can be asked for."""
    return scene | {"also_count": dict(EVERYTHING)}


CLOUDS = [
    {"shape": "slab", "leaf": "basil", "bottom": "2 cm", "top": "30 cm", "leaf_area_index": "0.2",
     "by_height": {"beta": ["2.5", "1.5"]}, "angles": "planophile", "clumping": "0.8"},
    {"shape": "ellipsoid", "leaf": "odd", "bottom": "10 cm", "top": "55 cm", "width": "30 cm",
     "depth": "25 cm", "positions": [["20 cm", "35 cm"], ["60 cm", "20 cm"]],
     "leaf_area": "300 cm2", "angles": {"ellipsoid": "0.7"}},
    {"shape": "row", "leaf": "odd", "direction": "width", "bottom": "5 cm", "top": "25 cm",
     "depth": "15 cm", "density": "4 m2/m3", "by_height": ["20 %", "100 %", "0 %"],
     "angles": ["30 %", "50 %", "20 %"]},
    {"shape": "row", "leaf": "basil", "direction": "depth", "bottom": "30 cm", "top": "50 cm",
     "width": "12 cm", "density": "3 m2/m3", "angles": "upright"},
]  # fmt: skip


def cloudy_torture(batch: int = 2000, *, endless: bool = False) -> dict:
    """The same with volumes of every shape among the plants, and everything told apart."""
    scene = endless_torture(batch) if endless else torture(batch)
    clouds = [dict(cloud) for cloud in CLOUDS]
    if endless:
        # One that lies over a corner of the bay, so in all four.
        clouds[1]["positions"] = [["2 cm", "69 cm"], ["60 cm", "20 cm"]]
    scene["canopy"] = scene["canopy"] | {"volumes": clouds}
    return scene | {"also_count": {k: v for k, v in EVERYTHING.items() if k != "leaf_facets"}}


def endless_torture(batch: int = 2000) -> dict:
    """Its twin in an endless row of bays: what leaves on one side enters on the other."""
    scene = torture(batch)
    faces = scene["enclosure"]["faces"]
    scene["enclosure"]["faces"] = {name: faces[name] for name in ("floor", "ceiling")}
    scene["enclosure"]["repeat"] = ["width", "depth"]
    return scene


def closed_torture(batch: int = 2000) -> dict:
    """The same without openings and patches, so that the walls can be triangles."""
    scene = torture(batch)
    scene["enclosure"]["faces"] = {"floor": "tray", "right": "mirror", "ceiling": "white"}
    del scene["daylight"]
    return scene


def drawn_parts() -> dict:
    """A gable tent of 90 x 70 x 110 cm with a duct in it, a ridge that points inwards, a vent."""
    room = gable_parts(0.9, 0.7, 0.8, 1.1)
    # The left wall steps in: its upper half is nearer than its lower half, over a slanting sill.
    low, mid, high = 0.35, 0.4, 0.8
    room["left"] = [
        [(0, 0, 0), (0, 0.7, 0), (0, 0.7, low), (0, 0, low)],
        [(0, 0, low), (0, 0.7, low), (0.04, 0.7, mid), (0.04, 0, mid)],
        [(0.04, 0, mid), (0.04, 0.7, mid), (0, 0.7, high), (0, 0, high)],
    ]
    for gable, y in (("gable-front", 0.0), ("gable-back", 0.7)):
        room[gable] = [
            # From the right, so that every fan of triangles stays in the outline.
            [(0.9, y, 0), (0.9, y, high), (0.45, y, 1.1), (0, y, high), (0.04, y, mid),
             (0, y, low), (0, y, 0)]
        ]  # fmt: skip
    room["vent"] = [[(0.9, 0.0, 0), (0.9, 0.0, high), (0.9, 0.35, 0.4)]]
    corners = [(0.9, 0, 0), (0.9, 0, high), (0.9, 0.7, high), (0.9, 0.7, 0)]
    room["right"] = [[corners[1], corners[2], (0.9, 0.35, 0.4)],
                     [corners[2], corners[3], (0.9, 0.35, 0.4)],
                     [corners[3], corners[0], (0.9, 0.35, 0.4)]]  # fmt: skip
    duct = box_parts(0.08, 0.3, 0.06)
    moved = {
        f"duct-{name}": [
            [(x + 0.35, y + 0.1, z + 0.92) for x, y, z in polygon] for polygon in faces
        ]
        for name, faces in duct.items()
    }
    return room | moved


DRAWN_PLANT = {
    "leaf-a": [[(1, 0, 9), (9, -3, 11), (9, 3, 11)], [(-1, 0, 14), (-8, 3, 12), (-8, -3, 12)]],
    "leaf-b": [[(0, 1, 5), (3, 8, 6), (-3, 8, 6)]],
    "flower": [[(-1, -1, 17), (1, -1, 17), (0, 1, 17.5)], [(-1, -1, 17), (0, 0, 19), (1, -1, 17)]],
    "stalk": [[(-0.3, 0, 2), (0.3, 0, 2), (0, 0, 16)], [(0, -0.3, 2), (0, 0.3, 2), (0, 0, 16)]],
    "pot": [[(-4, -4, 0), (4, -4, 0), (0, 5, 0)], [(-4, -4, 0), (0, 0, 2), (4, -4, 0)],
            [(4, -4, 0), (0, 0, 2), (0, 5, 0)], [(0, 5, 0), (0, 0, 2), (-4, -4, 0)]],
}  # fmt: skip


SHEET = {"sheet": [[(-6, -3, 0.5), (6, -3, 0.5), (6, 3, 4), (-6, 3, 4)]]}


def hood_parts() -> dict:
    """A bar with a notch below, in which its strips lie: closed, with a re-entrant edge, cm."""
    outline = [(-2.8, -0.8), (-2.3, -0.8), (-2.3, 0.2), (2.3, 0.2), (2.3, -0.8), (2.8, -0.8),
               (2.4, 3), (-2.4, 3)]  # fmt: skip
    sides = [
        [(-15, *p), (-15, *q), (15, *q), (15, *p)]
        for p, q in zip(outline, outline[1:] + outline[:1], strict=True)
    ]
    caps = [[(x, *outline[k]) for k in cap] for x in (-15, 15)
            for cap in ((0, 1, 2, 7), (2, 3, 6, 7), (3, 4, 5, 6))]  # fmt: skip
    return {"hood": sides + caps}


def drawn_torture(batch: int = 2000) -> dict:
    """The same lights and plants in a drawn room, with drawn plants between the grown ones.

    Its files are written by `load_drawn`.
    """
    scene = torture(batch)
    del scene["daylight"]
    scene["enclosure"] = {
        "lining": "film",
        "mesh": {
            "file": "room.obj", "unit": "m",
            "parts": {"floor": {"floor": "tray"}, "roof*": {"ceiling": "film"},
                      "vent": {"wall": "open"}, "duct*": {"ceiling": "glossy"},
                      "right": {"wall": "mirror"}, "*": {"wall": "white"}},
        },
    }  # fmt: skip
    scene["canopy"]["meshes"] = [
        {
            "file": "plant.obj", "unit": "cm", "scale": "0.8", "base": "14 cm",
            "positions": [["20 cm", "20 cm"], ["60 cm", "50 cm"]], "turn": ["0 deg", "77 deg"],
            "parts": {"leaf-a": {"leaf": "odd"}, "leaf*": {"leaf": "basil"},
                      "flower": {"flower": "white"}, "stalk": {"stem": "white"},
                      "pot": {"pot": "glossy"}},
        }
    ]  # fmt: skip
    # The bars carry solid hoods; the flood, measured with its body, a sheet.
    scene["fixtures"]["bar"]["body"] = {
        "mesh": {"file": "hood.obj", "unit": "cm"}, "surface": "glossy"
    }  # fmt: skip
    scene["fixtures"]["flood"]["body"] = {
        "mesh": {"file": "sheet.obj", "unit": "cm"}, "surface": "glossy"
    }  # fmt: skip
    # A plane in the ceiling has no area under a ridge.
    scene["planes"][-1] = {"name": "under-the-roof", "height": "95 cm", "cell": "10 cm"}
    return scene


def load_drawn(folder: Path, data: dict) -> Scene:
    """Write a scene with the room and the plant that it names, and load it."""
    (folder / "room.obj").write_text(obj_of(drawn_parts()), "utf-8")
    (folder / "plant.obj").write_text(obj_of(DRAWN_PLANT), "utf-8")
    (folder / "hood.obj").write_text(obj_of(hood_parts()), "utf-8")
    (folder / "sheet.obj").write_text(obj_of(SHEET), "utf-8")
    path = folder / "torture.yaml"
    path.write_text(yaml.dump(data, sort_keys=False, Dumper=PlainDumper), "utf-8")
    return load_scene(path)
