"""Light: parallel beams, sun and sky, which land where geometry says."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from canopysim.book.case import Case, Exact
from canopysim.book.dark_rooms import (
    FLOOR_CELLS,
    OF_ALL,
    SHAPE,
    SIZE,
    faces_read,
    lit,
    metres,
    room,
)
from canopysim.book.exact.factors import Rectangle, parallel, perpendicular
from canopysim.book.exact.frames import cells, rotation
from canopysim.book.exact.parallel_light import landing
from canopysim.book.readings import PlaneMean, Reading
from canopysim.book.scenes import ONE_BAND, Data, panel, scene

W, D, H = SIZE
POLYGONS = "Areas of polygons: the strip, cut by the lines between what lands on which face."
# Two openings in the ceiling, of which the second lies over a part of the first.
FIRST: Rectangle = (0.30, 0.80, 0.15, 0.45)
CLOSED: Rectangle = (0.50, 0.62, 0.15, 0.45)
# Numbers of single precision stand behind edges and directions.
EDGE_ERR = 2e-7


def _parallel_strip(turned: tuple[float, float, float]) -> Case:
    place, length, width = (0.56, 0.34, 0.62), 0.5, 0.3

    def exact() -> Exact:
        axes = rotation(*turned)
        first, second = axes[:, 0] * length, axes[:, 1] * width
        corner = np.asarray(place) - first / 2 - second / 2
        return landing(corner, first, second, -axes[:, 2], SIZE)

    return Case(
        name="parallel beam of a panel that hangs askew",
        chapter="light",
        shows="Rays straight ahead of a panel turned three times: which face gets which share.",
        source=POLYGONS,
        fails_if="a parallel beam did not leave at a right angle to its panel, turns were applied "
        "in another order, or rays met a face that is not the nearest.",
        scene=lit("A parallel beam in a black room",
                  panel(metres(length), metres(width), "parallel"), place, turned),
        figures=faces_read(),
        exact=exact,
        exact_err=dict.fromkeys(OF_ALL, EDGE_ERR),
        packets=1 << 20,
        scale=1.0,
    )  # fmt: skip


def _patch(rectangle: Rectangle, **what: str) -> Data:
    x0, x1, y0, y1 = rectangle
    return {"corner": [metres(x0), metres(y0)], "opposite": [metres(x1), metres(y1)]} | what


def _roof(*patches: Data) -> Data:
    """Give an open ceiling that is covered whole, and patches over the cover."""
    return {"open": "true", "patches": [_patch((0.0, W, 0.0, D), surface="black"), *patches]}


def _outdoors(title: str, ceiling: object, density: float, beam: Data | None = None) -> Data:
    light: Data = {"ppfd": f"{density:g} umol/m2/s", "spectrum": ONE_BAND}
    return scene(
        title, enclosure=room(ceiling=ceiling), daylight=[light | ({"beam": beam} if beam else {})],
        planes=[{"name": "floor", "height": "0 m", "cell": "36 cm"}],
    )  # fmt: skip


def _sun_case() -> Case:
    zenith, azimuth, density = 33.0, 38.0, 320.0
    opening: Rectangle = (0.25, 0.75, 0.10, 0.60)

    def exact() -> Exact:
        z, a = np.radians([zenith, azimuth])
        direction = np.array([np.sin(z) * np.cos(a), np.sin(z) * np.sin(a), -np.cos(z)])
        x0, x1, y0, y1 = opening
        corner: NDArray[np.float64] = np.array([x0, y0, H])
        found = landing(corner, np.array([x1 - x0, 0, 0]), np.array([0, y1 - y0, 0]), direction,
                        SIZE)  # fmt: skip
        # What the plane of the opening gets is that flux density times its area.
        whole = density * (x1 - x0) * (y1 - y0)
        found["PFD"] = whole * found["floor"] / (W * D)
        del found["ceiling"]
        return found

    figures: dict[str, Reading] = {"PFD": PlaneMean("floor")}
    return Case(
        name="sunbeam through an opening",
        chapter="light",
        shows="Zenith, azimuth and flux density of a beam that enters through a patch.",
        source=POLYGONS,
        fails_if="azimuth were where light comes from, turned clockwise or were counted from +y, "
        "or the flux density were that across the beam.",
        scene=_outdoors("Sun", _roof(_patch(opening, open="true")), density,
                        {"zenith": f"{zenith:g} deg", "azimuth": f"{azimuth:g} deg"}),
        figures=faces_read("ceiling") | figures,
        exact=exact,
        exact_err=dict.fromkeys(OF_ALL, EDGE_ERR) | {"PFD": EDGE_ERR * density},
        packets=1 << 20,
        scale=OF_ALL | {"PFD": density},
    )  # fmt: skip


def _sky(own: Rectangle) -> dict[str, float | NDArray[np.float64]]:
    """Flux on the faces below a rectangle of sky of unit flux density, and the cells' density."""
    x0, x1, y0, y1 = own
    area = (x1 - x0) * (y1 - y0)
    floor = [
        [parallel(own, cell, H) * area / ((cell[1] - cell[0]) * (cell[3] - cell[2]))
         for cell in row]
        for row in cells((0, 0), (W, D), SHAPE)
    ]  # fmt: skip
    return {
        "floor": area * parallel(own, (0, W, 0, D), H),
        "left": area * perpendicular(own, (0, H, 0, D)),
        "right": area * perpendicular((W - x1, W - x0, y0, y1), (0, H, 0, D)),
        "front": area * perpendicular((y0, y1, x0, x1), (0, H, 0, W)),
        "back": area * perpendicular((D - y1, D - y0, x0, x1), (0, H, 0, W)),
        "floor PFD": np.array(floor),
    }


def _sky_case(name: str, ceiling: object, plus: tuple[Rectangle, ...],
              minus: tuple[Rectangle, ...], fails_if: str) -> Case:  # fmt: skip
    density = 180.0

    def exact() -> Exact:
        parts = [(1.0, _sky(r)) for r in plus] + [(-1.0, _sky(r)) for r in minus]
        total = {key: sum(sign * part[key] for sign, part in parts) for key in parts[0][1]}
        whole = sum(
            sign * (r[1] - r[0]) * (r[3] - r[2])
            for sign, some in ((1, plus), (-1, minus)) for r in some
        )  # fmt: skip
        shares = {key: value / whole for key, value in total.items() if key != "floor PFD"}
        return shares | {"floor PFD": density * np.asarray(total["floor PFD"])}

    return Case(
        name=f"diffuse sky through {name}",
        chapter="light",
        shows="Even light from outside through an opening, on floor and walls.",
        source="Howell's C-13 and C-15; an even sky seen through an opening is a Lambertian panel.",
        fails_if=fails_if,
        scene=_outdoors("Sky", ceiling, density),
        figures=faces_read("ceiling") | FLOOR_CELLS,
        exact=exact,
        packets=1 << 22,
        scale=OF_ALL | {"floor PFD": density},
    )


CASES = (
    _parallel_strip((-28.0, 24.0, 37.0)),
    _sun_case(),
    _sky_case(
        "an open ceiling", "open", ((0.0, W, 0.0, D),), (),
        "the sky were brighter overhead, its flux density were not that of the opening's plane, "
        "or it entered over a part of the ceiling.",
    ),
    _sky_case(
        "an opening with a bar across it",
        _roof(_patch(FIRST, open="true"), _patch(CLOSED, surface="black")),
        (FIRST,), (CLOSED,),
        "the opening were misplaced or mirrored, or a patch over it let light in.",
    ),
)  # fmt: skip
