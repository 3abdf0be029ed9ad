"""Rooms: drawn ones whose walls are not square to each other."""

from __future__ import annotations

import numpy as np

from canopysim.book.bright_rooms import IN
from canopysim.book.case import Case, Exact
from canopysim.book.dark_rooms import FLUX, metres
from canopysim.book.readings import PlaneCells, Reading, Share
from canopysim.book.scenes import panel, scene

# The floor's outline from above, counter-clockwise from where a black patch has its corner; a wall
# along each side. The right wall is aslant.
OUTLINE = ((0.0, 0.0), (0.5, 0.0), (1.0, 0.0), (0.6, 0.7), (0.5, 0.7), (0.0, 0.7), (0.0, 0.4))
PATCH, INNER = (0.5, 0.4), (0.5, 0.4)
HIGH = 0.6


def _prism() -> bytes:
    """Write floor, patch, walls and ceiling; sides of faces meet corner to corner."""
    lines: list[str] = []
    n = 0

    def face(*corners: tuple[float, float, float]) -> None:
        nonlocal n
        lines.extend(f"v {x:.9g} {y:.9g} {z:.9g}" for x, y, z in corners)
        lines.append("f " + " ".join(str(n + k) for k in range(1, len(corners) + 1)))
        n += len(corners)

    sides = list(zip(OUTLINE, OUTLINE[1:] + OUTLINE[:1], strict=True))
    # About the patch's inner corner the outline is a star: the first and the last two of its sides
    # close the patch.
    lines.append("o patch")
    for (x0, y0), (x1, y1) in (sides[0], sides[-1]):
        face((x0, y0, 0), (x1, y1, 0), (*INNER, 0))
    lines.append("o floor")
    for (x0, y0), (x1, y1) in sides[1:-1]:
        face((x0, y0, 0), (x1, y1, 0), (*INNER, 0))
    lines.append("o wall")
    for (x0, y0), (x1, y1) in sides:
        face((x0, y0, 0), (x0, y0, HIGH), (x1, y1, HIGH), (x1, y1, 0))
    lines.append("o roof")
    for (x0, y0), (x1, y1) in sides:
        face((x1, y1, HIGH), (x0, y0, HIGH), (*INNER, HIGH))
    return ("\n".join(lines) + "\n").encode()


def _aslant() -> Case:
    level = FLUX / (PATCH[0] * PATCH[1])

    def exact() -> Exact:
        even = np.full((2, 3), level)
        return {"patch": 1.0, "PFD down": even, "PFD up": even}

    figures: dict[str, Reading] = {
        "patch": Share("patch"), "PFD down": PlaneCells("mid"), "PFD up": PlaneCells("mid", "up"),
    }  # fmt: skip
    return Case(
        name="a white room with a wall aslant and one black patch that shines",
        chapter="rooms",
        shows="A drawn room that keeps nothing but for one patch, which is also where all light "
        "starts: every cell of a plane gets the same, also those that the slanting wall cuts.",
        source="Kirchhoff: radiance is the same everywhere, flux over the patch's area.",
        fails_if="The area of a cut cell were another, a cell that is cut were left out, or light "
        "got past the edges of drawn faces.",
        scene=scene(
            "A white drawn room",
            enclosure={"lining": "matt", "mesh": {"file": "room.obj", "unit": "m", "parts": {
                "patch": {"floor": "black"}, "floor": {"floor": "matt"}, "wall": {"wall": "matt"},
                "roof": {"ceiling": "matt"}}}},
            surfaces={"matt": {"diffuse": "100 %"}},
            fixtures={"patch": panel(*(metres(x - 2 * IN) for x in PATCH))},
            lights=[{"fixture": "patch", "at": [metres(x / 2) for x in PATCH],
                     "height": metres(IN), "tilt": "180 deg"}],
            planes=[{"name": "mid", "height": "25 cm", "cell": "35 cm"}],
        ),
        files={"room.obj": _prism()},
        figures=figures,
        exact=exact,
        exact_err={"patch": 0.0, "PFD down": 5e-5 * level, "PFD up": 5e-5 * level},
        packets=1 << 19,
        precision=4e-3,
        why_rough="Paths are long and of very unlike lengths: few packets, many meetings.",
        scale={"patch": 1.0, "PFD down": level, "PFD up": level},
    )  # fmt: skip


CASES = (_aslant(),)
