"""A black room of unlike extents with one light in it, and what is read there."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from canopysim.book.readings import PlaneCells, Reading, Share
from canopysim.book.scenes import Data, box, scene

SIZE = (1.1, 0.7, 0.9)
FLUX = 100.0
# Cells of the floor across and back: of unlike number, so that swapped axes do not fit.
SHAPE = (3, 2)
FACES = ("left", "right", "front", "back", "floor", "ceiling")
FLOOR = {"name": "floor", "height": "0 m", "cell": "36 cm"}


def metres(value: float) -> str:
    """Write a length."""
    return f"{value:.12g} m"


def room(**faces: Any) -> Data:
    """Give the room, black unless faces are named."""
    return box(*(metres(extent) for extent in SIZE), **faces)


def hung(fixture: str, place: Sequence[float], turned: Sequence[float] = (0, 0, 0),
         **more: Any) -> Data:  # fmt: skip
    """Hang a light at a place, m, turned by turn, pitch and tilt, degrees."""
    angles = {
        key: f"{angle:.12g} deg"
        for key, angle in zip(("turn", "pitch", "tilt"), turned, strict=True)
        if angle
    }
    return {"fixture": fixture, "at": [metres(place[0]), metres(place[1])],
            "height": metres(place[2])} | angles | more  # fmt: skip


def lit(title: str, fixture: Data, place: Sequence[float], turned: Sequence[float] = (0, 0, 0),
        **parts: Any) -> Data:  # fmt: skip
    """Give the room with one light and a counting plane on its floor."""
    whole: Data = {"enclosure": room(), "fixtures": {"light": fixture},
                   "lights": [hung("light", place, turned)], "planes": [FLOOR]}  # fmt: skip
    return scene(title, **(whole | parts))


def faces_read(*left_out: str) -> dict[str, Reading]:
    """Read what each face takes, of all light."""
    return {name: Share(name) for name in FACES if name not in left_out}


# The flux densities in the cells of the floor.
FLOOR_CELLS: dict[str, Reading] = {"floor PFD": PlaneCells("floor")}
# Errors of shares are told of all light.
OF_ALL = dict.fromkeys(FACES, 1.0)
