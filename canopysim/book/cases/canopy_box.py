"""Told apart: light by the side and layer of a canopy that it crosses, and by single plants."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.book.case import Case, Exact
from canopysim.book.cases.slabs import BLACK
from canopysim.book.dark_rooms import FLUX, hung, metres
from canopysim.book.exact.factors import parallel
from canopysim.book.exact.frames import Triple, cells, rotation
from canopysim.book.exact.passages import Passages, passages
from canopysim.book.exact.sensors import fluence
from canopysim.book.exact.tiles import level_leaf, obj_of
from canopysim.book.readings import GRID_ROWS, AtProbe, Found, PlaneCells, Reading, Share
from canopysim.book.scenes import box, panel, scene

if TYPE_CHECKING:
    from canopysim.results import Result

Array = NDArray[np.float64]
SIZE = (1.0, 0.9, 0.8)
LOW, HIGH = (0.30, 0.35), (0.72, 0.60)
# From the top down.
CUTS = (0.56, 0.47, 0.35, 0.20)
# So thin that hardly a packet meets a leaf.
DENSITY_M2_M3 = 1e-3
# Panels of parallel light, m, with turn, pitch and tilt: from each side, from below, and inside.
LAMPS: dict[str, tuple[Triple, Triple, tuple[float, float]]] = {
    "from-left": ((0.12, 0.38, 0.60), (10.0, -62.0, 14.0), (0.25, 0.30)),
    "from-right": ((0.90, 0.52, 0.50), (-15.0, 70.0, -20.0), (0.35, 0.28)),
    "from-front": ((0.45, 0.10, 0.45), (5.0, 12.0, 74.0), (0.50, 0.22)),
    "from-back": ((0.60, 0.74, 0.66), (20.0, -11.0, -50.0), (0.40, 0.20)),
    "from-below": ((0.50, 0.45, 0.12), (35.0, 165.0, 12.0), (0.45, 0.35)),
    "inside": ((0.52, 0.47, 0.41), (50.0, 40.0, 30.0), (0.20, 0.10)),
}
SIZE_OF_PLANTS = (1.0, 0.9, 0.8)
N_START = 900


# Plants of one level leaf each: half of its length and width, and how high it is drawn, m; feet of
# each kind. Beside the leaf of a broad one lies a stem, that is no leaf.
PLANTS: dict[str, tuple[Triple, tuple[tuple[float, float], ...]]] = {
    "broad": ((0.09, 0.06, 0.20), ((0.20, 0.22), (0.74, 0.66))),
    "narrow": ((0.11, 0.025, 0.25), ((0.60, 0.20), (0.24, 0.60), (0.50, 0.42))),
}
STEM = (0.10, 0.15, -0.01, 0.01)
# The panel, a plane and a small ball hang from the height of the highest leaf on, m.
PANEL_M, PANEL_AT, TOP_M = (0.24, 0.10), (0.42, 0.50, 0.74), 0.25
PLANE_M, PLANE_CELLS, BALL_AT, BALL_M = 0.38, (2, 2), (0.63, 0.28, 0.36), 0.02


@dataclass(frozen=True)
class Plants:
    """Share of the launched light that the leaves of each plant absorb, in their order."""

    def read(self, result: Result) -> Found:
        """Read it off."""
        from canopysim.analysis.canopy_box import plant_rows
        from canopysim.tallies.rows import mean_and_error

        mean, error = mean_and_error(*plant_rows(result))
        whole = float(result.launched.sel(group="all", band="400-700"))
        return Found(np.asarray(mean / whole), np.asarray(error / whole), GRID_ROWS)


@dataclass(frozen=True)
class AtBox:
    """Share of the launched light that one part of the canopy's box counts.

    ``inward`` and ``outward`` (layer, side), ``down`` and ``up`` (level), ``launched`` (layer).
    """

    part: str
    group: str

    def read(self, result: Result) -> Found:
        """Read it off."""
        from canopysim.analysis.canopy_box import box_light
        from canopysim.tallies.rows import mean_and_error

        light = box_light(result, group=self.group)
        mean, error = mean_and_error(getattr(light, self.part), light.batches)
        whole = float(result.launched.sel(group=self.group, band="400-700"))
        return Found(np.asarray(mean / whole), np.asarray(error / whole), GRID_ROWS)


def _of(name: str) -> Passages:
    """Cut the panel into a fine grid of flights."""
    place, turned, extent = LAMPS[name]
    axes = rotation(*turned)
    u = (np.arange(N_START) + 0.5) / N_START - 0.5
    starts = (
        np.asarray(place)
        + u[:, None, None] * extent[0] * axes[:, 0]
        + u[None, :, None] * extent[1] * axes[:, 1]
    ).reshape(-1, 3)
    return passages(LOW, HIGH, CUTS, starts, -axes[:, 2], SIZE)


def _box() -> Case:
    parts = {"inward": "inward", "outward": "outward", "down": "down", "up": "up",
             "launched": "begun"}  # fmt: skip

    def exact() -> Exact:
        found: dict[str, Array] = {}
        for name in LAMPS:
            of = _of(name)
            found |= {f"{part}, {name}": getattr(of, own) for part, own in parts.items()}
        return found

    figures: dict[str, Reading] = {
        f"{part}, {name}": AtBox(part, name) for name in LAMPS for part in parts
    }
    middle = [metres((a + b) / 2) for a, b in zip(LOW, HIGH, strict=True)]
    return Case(
        name="sides of a canopy",
        chapter="told apart",
        shows="Parallel light from every side, from below and from inside: which sides and levels "
        "of each layer it crosses on its way in and out of a canopy of next to no leaves.",
        source="A fine grid of flights, each followed straight through all planes of the box.",
        fails_if="A flight were begun elsewhere for the box than for the room, sides, layers or "
        "directions were exchanged, or two planes were crossed in another order.",
        scene=scene(
            "A canopy of next to no leaves",
            enclosure=box(*(metres(x) for x in SIZE)),
            leaves={"leaf": BLACK},
            canopy={"layers": [metres(z) for z in reversed(CUTS)], "volumes": [
                {"shape": "box", "leaf": "leaf", "angles": "spherical", "positions": [middle],
                 "width": metres(HIGH[0] - LOW[0]), "depth": metres(HIGH[1] - LOW[1]),
                 "bottom": metres(CUTS[-1]), "top": metres(CUTS[0]),
                 "density": f"{DENSITY_M2_M3} m2/m3"}]},
            fixtures={name: panel(metres(extent[0]), metres(extent[1]), "parallel")
                      for name, (_, _, extent) in LAMPS.items()},
            lights=[hung(name, place, turned, group=name)
                    for name, (place, turned, _) in LAMPS.items()],
            also_count={"canopy_sides": "true"},
        ),
        figures=figures,
        exact=exact,
        # The grid's spacing, the box's margin, and what leaves take.
        exact_err=dict.fromkeys(figures, 6e-4),
        packets=1 << 21,
        scale=1.0,
    )  # fmt: skip


def _plants() -> Case:
    x, y, height = PANEL_AT
    a, b = PANEL_M
    lamp = (x - a / 2, x + a / 2, y - b / 2, y + b / 2)

    def exact() -> Exact:
        each = [
            parallel(lamp, (u - p, u + p, v - q, v + q), height - z)
            for (p, q, z), feet in PLANTS.values()
            for u, v in feet
        ]
        (x0, x1, y0, y1), (_, feet) = STEM, PLANTS["broad"]
        stems = [
            parallel(lamp, (u + x0, u + x1, v + y0, v + y1), height - PLANTS["broad"][0][2])
            for u, v in feet
        ]
        area = SIZE_OF_PLANTS[0] * SIZE_OF_PLANTS[1] / 4
        over = [[parallel(lamp, cell, height - PLANE_M) / area for cell in row]
                for row in cells((0, 0), SIZE_OF_PLANTS[:2], PLANE_CELLS)]  # fmt: skip
        ball = FLUX * fluence(lamp, height, BALL_AT)
        return {"plants": np.array(each), "leaves": sum(each), "stems": sum(stems),
                "over": FLUX * np.array(over), "ball": ball}  # fmt: skip

    files = {}
    for name, ((p, q, z), _) in PLANTS.items():
        files[f"{name}.obj"] = obj_of(level_leaf(-p, p, -q, q, z)[None])
    # A second object of the same file: its corners are counted on.
    stem = obj_of(level_leaf(*STEM, PLANTS["broad"][0][2])[None]).decode().split("\n")
    numbered = [
        " ".join(["f", *(str(int(n) + 4) for n in line.split()[1:])]) if line[:1] == "f" else line
        for line in stem
    ]
    files["broad.obj"] += "\n".join(numbered).replace("o leaf", "o stem").encode()
    parts = {"leaf": {"leaf": "leaf"}, "stem": {"stem": "black"}}
    return Case(
        name="single plants under a panel",
        chapter="told apart",
        shows="What the leaf of each of five drawn plants gets, and that stems are no leaves; and "
        "what a plane and a ball get that, as the panel, hang by the canopy's top.",
        source="Configuration factors of parallel rectangles, no leaf shading another; the solid "
        "angle that the ball sees.",
        fails_if="A leaf were counted for another plant, for none, or a stem for one; or what "
        "hangs above the canopy hung below its top or above another level.",
        scene=scene(
            "Five plants under a panel",
            enclosure=box(*(metres(x) for x in SIZE_OF_PLANTS)),
            leaves={"leaf": BLACK},
            canopy={"layers": ["15 cm", "30 cm"], "meshes": [
                {"file": f"{name}.obj", "unit": "m", "base": "0 cm",
                 "parts": parts if name == "broad" else {"leaf": parts["leaf"]},
                 "positions": [[metres(u), metres(v)] for u, v in feet]}
                for name, (_, feet) in PLANTS.items()]},
            fixtures={"panel": panel(metres(a), metres(b))},
            lights=[{"fixture": "panel", "at": [metres(x), metres(y)],
                     "above_canopy": metres(height - TOP_M)}],
            planes=[{"name": "over", "above_canopy": metres(PLANE_M - TOP_M), "cell": "50 cm"}],
            probes=[{"name": "ball", "at": [metres(BALL_AT[0]), metres(BALL_AT[1])],
                     "above_canopy": metres(BALL_AT[2] - TOP_M), "radius": metres(BALL_M)}],
            also_count={"each_plant": "true"},
        ),
        files=files,
        figures={"plants": Plants(), "leaves": Share("leaves"), "stems": Share("stems"),
                 "over": PlaneCells("over"), "ball": AtProbe("ball")},
        exact=exact,
        packets=1 << 21,
        scale={"plants": 1.0, "leaves": 1.0, "stems": 1.0, "over": 2 * FLUX, "ball": 4 * FLUX},
    )  # fmt: skip


CASES = (_box(), _plants())
