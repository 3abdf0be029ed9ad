"""Light: Lambertian panels in a black room, by configuration factors in closed form."""

from __future__ import annotations

import numpy as np

from canopysim.book.case import Case, Exact
from canopysim.book.dark_rooms import (
    FLOOR_CELLS,
    FLUX,
    OF_ALL,
    SHAPE,
    SIZE,
    faces_read,
    lit,
    metres,
)
from canopysim.book.exact.factors import box_faces, parallel, perpendicular, polygon
from canopysim.book.exact.frames import cells, rotation
from canopysim.book.scenes import panel

W, D, H = SIZE
X, Y, Z = 0.43, 0.29, 0.78
LENGTH, WIDTH = 0.36, 0.22
CATALOG = "Howell, A catalog of radiation heat transfer configuration factors, "


def _level() -> Exact:
    """All faces and the cells of the floor below a level panel."""
    own = (X - LENGTH / 2, X + LENGTH / 2, Y - WIDTH / 2, Y + WIDTH / 2)
    x0, x1, y0, y1 = own
    floor = [
        [parallel(own, cell, Z) / ((cell[1] - cell[0]) * (cell[3] - cell[2])) for cell in row]
        for row in cells((0, 0), (W, D), SHAPE)
    ]
    return {
        "floor": parallel(own, (0, W, 0, D), Z),
        "left": perpendicular(own, (0, Z, 0, D)),
        "right": perpendicular((W - x1, W - x0, y0, y1), (0, Z, 0, D)),
        "front": perpendicular((y0, y1, x0, x1), (0, Z, 0, W)),
        "back": perpendicular((D - y1, D - y0, x0, x1), (0, Z, 0, W)),
        "ceiling": 0.0,
        "floor PFD": FLUX * np.array(floor),
    }


def _to_the_back() -> Exact:
    """Tilted by 90 degrees: it looks to the back, its width stands upright."""
    z = 0.35
    x0, x1, z0, z1 = X - LENGTH / 2, X + LENGTH / 2, z - WIDTH / 2, z + WIDTH / 2
    ahead = D - Y
    return {
        "back": parallel((x0, x1, z0, z1), (0, W, 0, H), ahead),
        "floor": perpendicular((z0, z1, x0, x1), (0, ahead, 0, W)),
        "ceiling": perpendicular((H - z1, H - z0, x0, x1), (0, ahead, 0, W)),
        "left": perpendicular((x0, x1, z0, z1), (0, ahead, 0, H)),
        "right": perpendicular((W - x1, W - x0, z0, z1), (0, ahead, 0, H)),
        "front": 0.0,
    }


def _to_the_left() -> Exact:
    """Pitched by 90 degrees: it looks to the left, its length stands upright."""
    z = 0.35
    y0, y1, z0, z1 = Y - WIDTH / 2, Y + WIDTH / 2, z - LENGTH / 2, z + LENGTH / 2
    return {
        "left": parallel((y0, y1, z0, z1), (0, D, 0, H), X),
        "floor": perpendicular((z0, z1, y0, y1), (0, X, 0, D)),
        "ceiling": perpendicular((H - z1, H - z0, y0, y1), (0, X, 0, D)),
        "front": perpendicular((y0, y1, z0, z1), (0, X, 0, H)),
        "back": perpendicular((D - y1, D - y0, z0, z1), (0, X, 0, H)),
        "right": 0.0,
    }


def _panel(name: str, fails_if: str, exact: object, *, turned: tuple[float, float, float],
           height: float, cells_too: bool) -> Case:  # fmt: skip
    return Case(
        name=f"Lambertian panel, {name}",
        chapter="light",
        shows="Diffuse light of a rectangle on rectangles parallel and at right angles to it.",
        source=f"{CATALOG}C-13 and C-15: closed forms.",
        fails_if=fails_if,
        scene=lit("A panel in a black room", panel(metres(LENGTH), metres(WIDTH)),
                  (X, Y, height), turned),
        figures=faces_read() | (FLOOR_CELLS if cells_too else {}),
        exact=exact,  # type: ignore[arg-type]
        packets=1 << 22,
        scale=OF_ALL | {"floor PFD": FLUX / (W * D)},
    )  # fmt: skip


ELEMENT = ((0.38, 0.27, 0.41), (24.0, 31.0, -57.0))


def _element() -> Exact:
    """Take Lambert's sum over the edges of every face, seen from a plane of 1 mm."""
    place, turned = ELEMENT
    ahead = rotation(*turned) @ [0, 0, -1.0]
    return {name: polygon(place, ahead, corners) for name, corners in box_faces(SIZE).items()}


CASES = (
    _panel(
        "level",
        "the cosine at launch or its normalisation were wrong, points were not uniform over the "
        "panel, length and width were exchanged, or walls kept what falls on others.",
        _level,
        turned=(0, 0, 0), height=Z, cells_too=True,
    ),
    _panel(
        "that looks to the back",
        "positive tilt swung the light to -y, or the panel's own width did not turn with it.",
        _to_the_back,
        turned=(0, 0, 90), height=0.35, cells_too=False,
    ),
    _panel(
        "that looks to the left",
        "positive pitch raised the +x end, or the panel's own length did not turn with it.",
        _to_the_left,
        turned=(0, 90, 0), height=0.35, cells_too=False,
    ),
    Case(
        name="a small Lambertian panel turned three times, all six faces",
        chapter="light",
        shows="Order and signs of turn, pitch and tilt; light above and below the level plane.",
        source="Lambert's sum over the edges of a polygon, what is behind the panel cut off.",
        fails_if="turn, pitch and tilt were applied in another order or sense.",
        scene=lit("A small panel in a black room", panel("1 mm", "1 mm"), *ELEMENT),
        figures=faces_read(),
        exact=_element,
        packets=1 << 21,
        scale=OF_ALL,
    ),
)  # fmt: skip
