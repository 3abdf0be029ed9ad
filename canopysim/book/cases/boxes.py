"""Rooms: diffuse boxes whose six faces are unlike, beside a radiosity solved patch by patch."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import Any

import numpy as np

from canopysim.book.case import Case, Exact
from canopysim.book.exact.radiosity import FACES, Lamp, Lit, converged
from canopysim.book.readings import PlaneCells, Reading, Share
from canopysim.book.scenes import ONE_BAND, box, panel, percent, scene

FLUX = 100.0
SOURCE = (
    "Radiosity of some thousand patches, configuration factors between rectangles in closed form "
    "(Howell C-13 and C-15), solved on three grids and extrapolated."
)
# What `converged` says of itself, as a share of all light; held by a test.
OFF = 3e-5


class Room:
    """A box and a lamp in units of its scale: extents cut into cells, reflectances, the lamp."""

    def __init__(self, x: list[float], y: list[float], z: list[float], lamp: Lamp,
                 **rho: float) -> None:  # fmt: skip
        self.cuts, self.lamp, self.rho = (x, y, z), lamp, rho
        self.size = (x[-1], y[-1], z[-1])

    @functools.cache  # noqa: B019
    def lit(self) -> Lit:
        """Solve it."""
        return converged(self.cuts, self.rho, self.lamp)[0]


TALL = Room([0, 0.3, 0.6, 0.9], [0, 0.35, 0.7], [0, 0.8, 1.2], Lamp((0.15, 0.35), (0.3, 0.42), 0.8),
            left=0.9, right=0.35, front=0.7, back=0.55, floor=0.25, ceiling=0.8)  # fmt: skip
LOW = Room([0, 0.5, 1.0, 1.5], [0, 0.45, 0.9], [0, 0.3, 0.5], Lamp((0.9, 1.3), (0.1, 0.3), 0.3),
           left=0.97, right=0.85, front=0.9, back=0.99, floor=0.8, ceiling=0.95)  # fmt: skip
COURT = Room([0, 0.4, 0.8], [0, 0.35, 0.7], [0, 0.3, 0.6], Lamp((0, 0.8), (0, 0.7), 0.6),
             left=0.9, right=0.2, front=0.5, back=0.75, floor=0.4, ceiling=0.0)  # fmt: skip


def _case(
    name: str, shows: str, fails_if: str, room: Room, *, scale: float = 1.0, unit: str = "m",
    sky: bool = False, packets: int = 1 << 21, options: Mapping[str, Any] | None = None,
) -> Case:  # fmt: skip
    def length(value: float) -> str:
        return f"{scale * value:.12g} {unit}"

    metres = scale * {"mm": 1e-3, "m": 1.0}[unit]
    width, depth, height = room.size
    cells = (len(room.cuts[0]) - 1, len(room.cuts[1]) - 1)
    cell = metres**2 * width * depth / cells[0] / cells[1]
    ends = {face: face for face in FACES}
    faces: dict[str, Any] = {face: face for face in FACES}
    lights: dict[str, Any]
    flux = FLUX
    if sky:
        faces["ceiling"] = "open"
        ends["ceiling"] = "escaped through the ceiling"
        flux = FLUX * width * depth
        lights = {"daylight": [{"ppfd": f"{FLUX} umol/m2/s", "spectrum": ONE_BAND}]}
    else:
        x, y = room.lamp.x, room.lamp.y
        lights = {
            "fixtures": {"lamp": panel(length(x[1] - x[0]), length(y[1] - y[0]))},
            "lights": [{"fixture": "lamp", "at": [length(sum(x) / 2), length(sum(y) / 2)],
                        "height": length(room.lamp.height)}],
        }  # fmt: skip

    def exact() -> Exact:
        lit = room.lit()
        return {f: lit.falls[f] * (1.0 - room.rho[f]) for f in FACES} | {
            "PFD on the floor": lit.floor * flux / cell
        }

    figures: dict[str, Reading] = {face: Share(ends[face]) for face in FACES}
    return Case(
        name=name, chapter="rooms", shows=shows, source=SOURCE, fails_if=fails_if,
        scene=scene(
            "A box of unlike faces",
            enclosure=box(length(width), length(depth), length(height), **faces),
            surfaces={f: {"diffuse": percent(room.rho[f])} for f in FACES},
            planes=[{"name": "floor", "height": f"0 {unit}", "cell": length(width / cells[0])}],
            **lights,
        ),
        figures=figures | {"PFD on the floor": PlaneCells("floor")},
        exact=exact,
        packets=packets,
        # Errors in units of all launched light, also in cells.
        precision=5e-4,
        scale=dict.fromkeys(FACES, 1.0) | {"PFD on the floor": flux / cell},
        exact_err={f: np.float64(OFF * (1.0 - room.rho[f])) for f in FACES}
        | {"PFD on the floor": np.float64(OFF * flux / cell)},
        options=options or {},
    )  # fmt: skip


UNLIKE = (
    "Two faces were taken for each other, an axis were swapped, the lamp hung elsewhere, "
    "reflected light left by another law than the cosine's, or roulette were biased."
)
CASES = (
    _case("a tall box of six unlike faces", "Diffuse light between all faces, cell by cell.",
          UNLIKE, TALL),
    _case("a low box of six pale faces", "Many diffuse reflections between unlike faces.",
          UNLIKE, LOW),
    _case("a court of unlike walls under an even sky",
          "Diffuse daylight through an open face, and its way out again.",
          "The sky sent its photons by another law than the cosine's, came in elsewhere, or "
          "openings kept light.", COURT, sky=True),
    _case("the tall box as 5,000 triangles", "Walls as triangles are the walls of the box.",
          "Triangles leaked, were met from behind, or carried another face's surface.",
          TALL, options={"wall_triangles": 5000}),
    _case("the tall box, a millimetre deep", "Lengths drop out: nothing has a size.",
          "Offsets against meeting a surface twice were lengths rather than rounding.",
          TALL, scale=1.0 / 0.7, unit="mm"),
    _case("the tall box, a hundred metres high", "Lengths drop out: nothing has a size.",
          "Offsets against meeting a surface twice were lengths rather than rounding, or far "
          "distances were cut.", TALL, scale=100.0 / 1.2),
)  # fmt: skip
