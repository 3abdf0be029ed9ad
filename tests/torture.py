"""One scene with every kind of surface, leaf, lens, opening and plane: no feature without it."""

from __future__ import annotations

from build import WHITE, plain_box
from photometric_files import front_lopsided, lm63, long_bar


def torture(batch: int = 2000) -> dict:
    """A shiny, holed, tilted small room with herbs, side light from three lenses, and daylight."""
    bar = {
        "body": {"length": "30 cm", "width": "5 cm", "height": "3 cm", "surface": "glossy"},
        "ppf": "90 umol/s",
        "spectrum": WHITE,
        "strips": [
            {"length": "28 cm", "width": "1 cm", "at": ["0 cm", "-1.4 cm"],
             "lens": {"beam": {"along": "120 deg", "across": "35 deg"}}},
            {"length": "28 cm", "width": "1 cm", "at": ["0 cm", "1.4 cm"],
             "lens": {"table": lm63(long_bar, h=range(0, 361, 30))},
             "spectrum": {"600-700": "60 %", "700-750": "40 %"}, "share": "40 %"},
        ],
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
        leaves={"odd": leaf, "basil": {"like": "basil"}},
        plants={
            "herb": {"leaf": "odd", "stem": "white", "nodes": "6", "internode": "6 cm",
                     "petiole_length": "3 cm", "petiole_angle": "55 deg",
                     "blade_length": "10 cm", "blade_width": "5 cm"},
            "low": {"leaf": "basil", "stem": "tray", "nodes": "5", "internode": "3 cm",
                    "petiole_length": "2 cm", "petiole_angle": "60 deg",
                    "blade_length": "6 cm", "blade_width": "4 cm", "branches": "2"},
        },
        canopy={
            "layers": "4", "leaf_area_index": "0.8", "seed": "4", "profile": "true",
            "plantings": [
                {"plant": "herb", "columns": "2", "rows": "2", "base": "16 cm"},
                {"plant": "low", "positions": [["45 cm", "35 cm"]], "base": "12 cm"},
            ],
        },
        fixtures={"bar": bar, "pencil": pencil, "flood": flood},
        lights=[
            {"fixture": "bar", "group": "top", "at": ["45 cm", "35 cm"], "height": "85 cm",
             "row": {"count": "2", "gap": "15 cm", "direction": "depth"}},
            {"fixture": "bar", "group": "side", "at": ["6 cm", "35 cm"], "height": "35 cm",
             "turn": "-90 deg", "tilt": "80 deg", "output": "60 %"},
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
        meters={"worn": {"response": "epar", "cosine": {"60 deg": "95 %"}, "factor": "1.02",
                         "levelling": "3 deg"}},
        probes=[
            {"name": "top", "at": ["45 cm", "35 cm"], "height": "70 cm", "meter": "worn"},
            {"name": "in-leaves", "at": ["30 cm", "25 cm"], "height": "35 cm", "radius": "4 cm",
             "tilt": "70 deg", "turn": "-120 deg"},
        ],
        tracing={"batch": str(batch)},
    )  # fmt: skip


EVERYTHING = {
    "first_flight": "true",
    "last_surface": "true",
    "lining_meetings": "6",
    "launch_cells": {"along": "2", "polar": "3", "around": "3"},
    "sensitivities": "true",
    "leaf_facets": "true",
    "on_cells": "true",
}


def told_apart(scene: dict) -> dict:
    """The same scene with every tally that can be asked for."""
    return scene | {"also_count": dict(EVERYTHING)}


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
