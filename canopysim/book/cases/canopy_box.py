"""Told apart: by which side, and in which layer, light goes into a canopy and comes out again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.book.case import Case, Exact
from canopysim.book.cases.slabs import BLACK
from canopysim.book.dark_rooms import hung, metres
from canopysim.book.exact.frames import Triple, rotation
from canopysim.book.exact.passages import Passages, passages
from canopysim.book.readings import GRID_ROWS, Found, Reading
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
N_START = 900


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


CASES = (_box(),)
