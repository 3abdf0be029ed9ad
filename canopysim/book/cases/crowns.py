"""Leaves: bodies that they fill, along single rays, and bodies that stand in each other."""

from __future__ import annotations

from typing import Any

import numpy as np

from canopysim.book.case import Case, Exact, Number
from canopysim.book.cases.slabs import BLACK, pencils, slab_scene
from canopysim.book.exact.crowns import heading, leaf_area_met
from canopysim.book.exact.leaves import DENSITY, ellipsoid, shown
from canopysim.book.readings import Layers, Reading, Share
from canopysim.book.scenes import box, panel, percent, scene

MIDDLE, HALF = (0.45, 0.50, 0.40), (0.15, 0.22, 0.18)
DENSITY_M2_M3 = 6.0
BY_HEIGHT = (1.0, 0.3)
ROWS = {"row along x": "width", "row along y": "depth"}
# Where needles of light stand, and their tilt and turn in degrees: down beside the middle, and
# slanting into the body from outside.
NEEDLES = {
    "down": ((0.52, 0.60, 0.90), 0.0, 0.0),
    "slant": ((0.46, 0.10, 0.72), 50.0, 6.0),
    "level": ((0.10, 0.42, 0.35), 90.0, -80.0),
}


def _crown(shape: str, angles: Any, clumping: float) -> Case:
    density = ellipsoid(1.7) if isinstance(angles, dict) else DENSITY[angles]

    def exact() -> Exact:
        found = {}
        for name, (start, tilt, turn) in NEEDLES.items():
            way = heading(tilt, turn)
            met = leaf_area_met(shape, MIDDLE, HALF, DENSITY_M2_M3, BY_HEIGHT, start, way)
            found[name] = 1 - np.exp(-clumping * shown(density, abs(way[2])) * met)
        return found

    body = {
        "shape": shape.split()[0], "leaf": "leaf", "angles": angles, "clumping": str(clumping),
        "positions": [[f"{MIDDLE[0]} m", f"{MIDDLE[1]} m"]], "density": f"{DENSITY_M2_M3} m2/m3",
        "width": f"{2 * HALF[0]} m", "depth": f"{2 * HALF[1]} m",
        "bottom": f"{MIDDLE[2] - HALF[2]} m", "top": f"{MIDDLE[2] + HALF[2]} m",
        "by_height": [percent(x) for x in BY_HEIGHT],
    }  # fmt: skip
    if shape in ROWS:
        body["direction"] = ROWS[shape]
    figures: dict[str, Reading] = {name: Share("leaves", name) for name in NEEDLES}
    return Case(
        name=f"a crown of leaves, {shape}",
        chapter="leaves",
        shows="Along a single ray light falls with the leaf area on its chord, whose density falls "
        "with height.",
        source="Beer's law along the ray, 1 - exp(-G times the integral of density), by steps "
        "along the chord.",
        fails_if="An extent were taken for its half or for another axis, density were not that of "
        "the height, the chord were not followed on from inside, or a light were turned wrong.",
        scene=scene(
            "A crown of leaves",
            enclosure=box("1 m", "1.2 m", "1 m"),
            leaves={"leaf": BLACK},
            canopy={"layers": "3", "volumes": [body]},
            fixtures={"needle": panel("0.1 mm", "0.1 mm", "parallel")},
            lights=[
                {"fixture": "needle", "group": name, "at": [f"{x} m", f"{y} m"],
                 "height": f"{z} m", "tilt": f"{tilt} deg", "turn": f"{turn} deg"}
                for name, ((x, y, z), tilt, turn) in NEEDLES.items()
            ],
        ),
        figures=figures,
        exact=exact,
        packets=1 << 21,
        scale=1.0,
    )  # fmt: skip


def _overlap() -> Case:
    slants = (0, 60)
    one = {"leaf_area_index": "0.6", "angles": "planophile", "by_height": "even"}
    other = {"leaf_area_index": "0.5", "angles": "erectophile", "bottom": "30 cm",
             "by_height": "even", "clumping": "0.7"}  # fmt: skip

    # From the top: two layers of 25 cm in both volumes, one of 20 cm in the taller alone.
    part_of_one, part_of_other = np.array([25, 25, 20]) / 70, np.array([25, 25, 0]) / 50

    def exact() -> Exact:
        found: dict[str, Number] = {}
        for slant in slants:
            mu = np.cos(np.radians(slant))
            depth = 0.6 * shown(DENSITY["planophile"], mu) * part_of_one
            depth += 0.7 * 0.5 * shown(DENSITY["erectophile"], mu) * part_of_other
            left = np.exp(-np.concatenate([[0.0], np.cumsum(depth)]) / mu)
            found[f"layers, {slant} deg"] = left[:-1] - left[1:]
            found[f"floor, {slant} deg"] = float(left[-1])
        return found

    figures: dict[str, Reading] = {}
    for slant in slants:
        figures[f"layers, {slant} deg"] = Layers(f"from-{slant}")
        figures[f"floor, {slant} deg"] = Share("floor", f"from-{slant}")

    return Case(
        name="volumes of leaves in one place",
        chapter="leaves",
        shows="Where two volumes overlap, their densities add; each keeps its own angles and "
        "clumping.",
        source="Beer's law with the sum of both optical depths, layer by layer.",
        fails_if="One volume hid the other, or the first meeting were not the nearer of both.",
        scene=slab_scene(
            BLACK, one, other, lights=pencils(*slants), layers=["10 cm", "30 cm", "55 cm", "80 cm"]
        ),
        figures=figures,
        exact=exact,
        packets=1 << 21,
        scale=1.0,
    )


CASES = (
    _crown("ellipsoid", "erectophile", 1.0),
    _crown("row along y", {"ellipsoid": "1.7"}, 1.0),
    _crown("row along x", "uniform", 0.8),
    _crown("box", "planophile", 0.6),
    _overlap(),
)
