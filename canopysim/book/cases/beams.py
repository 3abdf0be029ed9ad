"""Light: asymmetric beams of strips in a black room, by quadrature of the lens."""

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
    hung,
    lit,
    metres,
    room,
)
from canopysim.book.exact.frames import Triple, rotation
from canopysim.book.exact.strips import Strip, beam, cell_means, face_shares
from canopysim.book.readings import PlaneCells, Share
from canopysim.book.scenes import ONE_BAND, Data, scene

WHOLE_FLOOR = ((0.0, 0.0), SIZE[:2])
LAW = (
    "Quadrature of I(gamma, C) = I0 cos(gamma)^m(C) over strip, cells and faces; I0 from the "
    "flux 2 pi I0 / sqrt((m_along + 1)(m_across + 1))."
)


def lens(along: float, across: float) -> Data:
    """Write a beam."""
    return {"beam": {"along": f"{along:g} deg", "across": f"{across:g} deg"}}


def bar(length: float, width: float, along: float, across: float) -> Data:
    """Give a bare strip with a beam."""
    return {"photon_flux": f"{FLUX:g} umol/s", "spectrum": ONE_BAND,
            "strips": [{"length": metres(length), "width": metres(width),
                        "lens": lens(along, across)}]}  # fmt: skip


def _beam(
    name: str, fails_if: str, *, widths: tuple[float, float], turned: Triple, place: Triple,
    off: float,
) -> Case:  # fmt: skip
    """Give a strip; so far ``off`` are sums over faces, by those of twice as many pieces."""

    def exact() -> Exact:
        strip = Strip(place, turned, 0.4, 0.03, beam(*widths))
        shares = face_shares(strip, SIZE, pieces=16)
        return shares | {"floor PFD": FLUX * cell_means(strip, *WHOLE_FLOOR, SHAPE)}

    return Case(
        name=f"asymmetric strip, {name}",
        chapter="light",
        shows=f"A beam of {widths[0]:g} deg along and {widths[1]:g} deg across a strip, {name}.",
        source=LAW,
        fails_if=fails_if,
        scene=lit("A strip in a black room", bar(0.4, 0.03, *widths), place, turned),
        figures=faces_read() | FLOOR_CELLS,
        exact=exact,
        exact_err=dict.fromkeys(OF_ALL, off),
        packets=1 << 23,
        quick=1 / 8,
        scale=OF_ALL | {"floor PFD": FLUX / (SIZE[0] * SIZE[1])},
    )


def _narrow_case() -> Case:
    place, turned, widths = (0.47, 0.31, 0.8), (25.0, 6.0, -9.0), (14.0, 6.0)
    low, high, shape = (0.40, 0.02), (0.64, 0.26), (3, 3)

    def exact() -> Exact:
        strip = Strip(place, turned, 0.06, 0.02, beam(*widths))
        floor = face_shares(strip, SIZE, pieces=40, only=("floor",))["floor"]
        return {"beam PFD": FLUX * cell_means(strip, low, high, shape), "floor": floor}

    return Case(
        name="narrow asymmetric beam, turned three times",
        chapter="light",
        shows="A beam of 14 x 6 deg keeps its shape and its aim.",
        source=LAW,
        fails_if="digits near straight ahead were lost, or widths were taken for half widths.",
        scene=lit(
            "A narrow beam in a black room", bar(0.06, 0.02, *widths), place, turned,
            planes=[{"name": "beam", "height": "0 m", "cell": "8 cm",
                     "corner": [metres(v) for v in low], "opposite": [metres(v) for v in high]}],
        ),
        figures={"beam PFD": PlaneCells("beam"), "floor": Share("floor")},
        exact=exact,
        packets=1 << 23,
        quick=1 / 8,
        scale={"floor": 1.0, "beam PFD": FLUX / 0.24**2},
    )  # fmt: skip


def _two_strips_case() -> Case:
    """Give strips places, a drop, a lean and shares of their own, on a fixture that hangs askew."""
    place, turned = (0.52, 0.36, 0.75), (-35.0, 10.0, 12.0)
    axes = rotation(*turned)
    near, far = ((0.14, -0.06, -0.05), 28.0, 0.3), ((-0.11, 0.09, -0.0), 0.0, 0.7)

    def strip(offset: Triple, lean: float, widths: tuple[float, float]
              ) -> Strip:  # fmt: skip
        x, y, z = (float(v) for v in np.asarray(place) + axes @ offset)
        # Leaning about its own x comes first, as one more tilt.
        return Strip((x, y, z), (turned[0], turned[1], turned[2] + lean), 0.2, 0.02, beam(*widths))

    def exact() -> Exact:
        one, other = strip(near[0], near[1], (70, 30)), strip(far[0], far[1], (40, 100))
        parts = [cell_means(s, *WHOLE_FLOOR, SHAPE) for s in (one, other)]
        return {"floor PFD": FLUX * (near[2] * parts[0] + far[2] * parts[1])}

    def written(part: tuple[Triple, float, float], shape: Data) -> Data:
        offset, lean, share = part
        return {"length": "20 cm", "width": "2 cm", "at": [metres(offset[0]), metres(offset[1])],
                "drop": metres(-offset[2] + 0.0), "tilt": f"{lean:g} deg",
                "share": f"{100 * share:g} %", "lens": shape}  # fmt: skip

    fixture = {"photon_flux": f"{FLUX:g} umol/s", "spectrum": ONE_BAND,
               "strips": [written(near, lens(70, 30)), written(far, lens(40, 100))]}  # fmt: skip
    return Case(
        name="two unlike strips on one fixture that hangs askew",
        chapter="light",
        shows="Places, drop, lean and shares of strips in the fixture's own frame.",
        source=LAW + " Strip frame = fixture frame times a lean about x.",
        fails_if="a strip's place were not turned with the fixture, its drop went upwards, or its "
        "share or lean were given to the other.",
        scene=lit("Two strips in a black room", fixture, place, turned),
        figures=FLOOR_CELLS,
        exact=exact,
        packets=1 << 22,
        quick=1 / 4,
        scale=FLUX / (SIZE[0] * SIZE[1]),
    )


def _row_case() -> Case:
    """Three bars side by side along y, the gap between their bodies."""
    turned, height, gap = (-160.0, 0.0, 15.0), 0.7, 0.05
    middle, length, width = (0.5, 0.33), 0.3, 0.02
    # A bare bar reaches that far across the room, askew as it hangs.
    step = float(np.abs(rotation(*turned)[1]) @ [length, width, 0.0]) + gap

    def exact() -> Exact:
        total = np.zeros(SHAPE[::-1])
        for k in (-1, 0, 1):
            place = (middle[0], middle[1] + k * step, height)
            strip = Strip(place, turned, length, width, beam(90, 40))
            total += cell_means(strip, *WHOLE_FLOOR, SHAPE)
        return {"floor PFD": FLUX * total}

    return Case(
        name="a row of three bars",
        chapter="light",
        shows="Where the fixtures of a row hang.",
        source=LAW,
        fails_if="the gap were measured from middle to middle, or along x, or the row turned with "
        "its fixtures.",
        scene=scene(
            "A row", enclosure=room(), fixtures={"bar": bar(length, width, 90, 40)},
            lights=[hung("bar", (*middle, height), turned,
                         row={"count": "3", "gap": metres(gap), "direction": "depth"})],
            planes=[{"name": "floor", "height": "0 m", "cell": "36 cm"}],
        ),
        figures=FLOOR_CELLS,
        exact=exact,
        packets=1 << 23,
        quick=1 / 8,
        scale=3 * FLUX / (SIZE[0] * SIZE[1]),
    )  # fmt: skip


CASES = (
    _beam(
        "straight down",
        "the widths along and across were exchanged, or the launch law of the angle about the "
        "axis or of that from it were off.",
        widths=(100, 35), turned=(0, 0, 0), place=(0.45, 0.3, 0.8), off=3e-8,
    ),
    _beam(
        "tilted",
        "positive tilt swung the beam to -y.",
        widths=(100, 35), turned=(0, 0, 28), place=(0.45, 0.3, 0.7), off=3e-8,
    ),
    _beam(
        "pitched",
        "positive pitch raised the +x end.",
        # A millionth goes to the ceiling: a packet or none.
        widths=(50, 110), turned=(0, 33, 0), place=(0.6, 0.4, 0.65), off=1e-6,
    ),
    _beam(
        "turned",
        "turn went clockwise seen from above.",
        widths=(110, 30), turned=(55, 0, 0), place=(0.5, 0.4, 0.75), off=4e-6,
    ),
    _beam(
        "turned, pitched and tilted",
        "the three turns were applied in another order.",
        widths=(95, 40), turned=(-40, 22, 35), place=(0.5, 0.3, 0.6), off=2e-9,
    ),
    _narrow_case(),
    _two_strips_case(),
    _row_case(),
)  # fmt: skip
