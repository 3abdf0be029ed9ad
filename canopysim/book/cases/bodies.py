"""Light: bodies of fixtures in the light of others: what they hide, and what they throw back."""

from __future__ import annotations

import numpy as np

from canopysim.book.case import Case, Exact
from canopysim.book.dark_rooms import FACES, FLUX, OF_ALL, SIZE, hung, metres, room
from canopysim.book.exact.factors import box_faces, polygon
from canopysim.book.exact.frames import Triple
from canopysim.book.exact.shadows import (
    DOWN,
    below,
    box_corners,
    lamp_points,
    off_a_mat_top,
    off_a_mirror_top,
)
from canopysim.book.readings import PlaneCells, Reading, Share
from canopysim.book.scenes import ONE_BAND, Data, panel, percent, scene

BODIES = "fixture bodies"
LAMP = (0.51, 0.33, 0.82)
STANDOFF, HEIGHT = 0.01, 0.06
SHAPE = (4, 3)
CELL_M2 = SIZE[0] * SIZE[1] / 12
# Bodies' corners are numbers of single precision.
EDGE_ERR = 1e-6


def _scene(title: str, lamp_length: float, place: Triple, turned: Triple, length: float,
           width: float, surface: Data) -> Data:  # fmt: skip
    """Give a lamp over a bar whose own light is next to nothing, and counted apart."""
    bar = {
        "body": {"length": metres(length), "width": metres(width), "height": metres(HEIGHT),
                 "standoff": metres(STANDOFF), "surface": "casing"},
        "photon_flux": "0.1 umol/s", "spectrum": ONE_BAND,
        "strips": [{"length": "1 cm", "width": "1 cm", "lens": "lambertian"}],
    }  # fmt: skip
    return scene(
        title, enclosure=room(), surfaces={"casing": surface},
        fixtures={"lamp": panel(metres(lamp_length), "1 mm"), "bar": bar},
        lights=[hung("lamp", LAMP, group="lamp"), hung("bar", place, turned, group="bar")],
        planes=[{"name": "floor", "height": "0 m", "cell": "25 cm"}],
    )  # fmt: skip


def _shadow_case(name: str, fails_if: str, *, lamp_length: float, place: Triple, turned: Triple,
                 length: float, width: float, n: int) -> Case:  # fmt: skip
    def exact() -> Exact:
        corners = box_corners(place, turned, length, width, STANDOFF, STANDOFF + HEIGHT)
        lamps = lamp_points(LAMP, lamp_length, n)
        found = [below(lamp, corners, SIZE, SHAPE) for lamp in lamps]
        lit = sum(share for share, _ in found) / n
        return {"floor PFD": FLUX * lit / CELL_M2, BODIES: sum(hit for _, hit in found) / n}

    mean = FLUX / (SIZE[0] * SIZE[1])
    return Case(
        name=name,
        chapter="light",
        shows="The edge of a body's shadow, cell by cell along it.",
        source="Lambert's polygons: cells less their parts in the shadow, the convex outline of "
        "the body's corners as the lamp projects them on the floor.",
        fails_if=fails_if,
        scene=_scene(name, lamp_length, place, turned, length, width, {}),
        figures={
            "floor PFD": PlaneCells("floor", group="lamp"),
            BODIES: Share(BODIES, group="lamp"),
        },
        exact=exact,
        exact_err={"floor PFD": EDGE_ERR * mean, BODIES: EDGE_ERR},
        packets=1 << 22,
        quick=1 / 4,
        scale={"floor PFD": mean, BODIES: 1.0},
    )


def _thrown_back_case(name: str, fails_if: str, *, diffuse: float, specular: float) -> Case:
    place, turned, length, width = (0.52, 0.36, 0.25), (25.0, 0.0, 0.0), 0.34, 0.22

    def exact() -> Exact:
        corners = box_corners(place, turned, length, width, STANDOFF, STANDOFF + HEIGHT)
        top = corners[[4, 5, 7, 6]]
        lamp = np.asarray(LAMP)
        direct = {face: polygon(lamp, DOWN, c) for face, c in box_faces(SIZE).items()}
        matt, mirror = off_a_mat_top(lamp, top, SIZE), off_a_mirror_top(lamp, top, SIZE)
        _, met = below(lamp, corners, SIZE, SHAPE)
        direct["floor"] -= met
        shares = {f: direct[f] + diffuse * matt[f] + specular * mirror[f] for f in FACES}
        return shares | {BODIES: met * (1 - diffuse - specular)}

    figures: dict[str, Reading] = {f: Share(f, group="lamp") for f in (*FACES, BODIES)}
    return Case(
        name=name,
        chapter="light",
        shows="What a bar below a lamp throws back to ceiling and walls, hides, and keeps.",
        source="Lambert's polygons; off a matt top by quadrature over it, off a mirror by the "
        "lamp's image behind the top as a window.",
        fails_if=fails_if,
        scene=_scene(name, 0.001, place, turned, length, width,
                     {"diffuse": percent(diffuse), "specular": percent(specular)}),
        figures=figures,
        exact=exact,
        exact_err=dict.fromkeys(figures, EDGE_ERR),
        packets=1 << 21,
        scale=OF_ALL | {BODIES: 1.0},
    )  # fmt: skip


CASES = (
    _shadow_case(
        "knife-edge shadow of a bar that hangs askew",
        "a body were turned otherwise than its light, its standoff were left out, or rays passed "
        "its edges.",
        lamp_length=0.001, place=(0.49, 0.37, 0.4), turned=(35.0, 12.0, -20.0), length=0.32,
        width=0.1, n=1,
    ),
    _shadow_case(
        "half-shadow of a bar under a long lamp",
        "a long lamp shone from its middle, or a body hid it as a whole or not at all.",
        lamp_length=0.24, place=(0.55, 0.3, 0.45), turned=(80.0, 0.0, 0.0), length=0.4,
        width=0.08, n=256,
    ),
    _thrown_back_case(
        "a matt bar below a lamp",
        "bodies reflected into themselves, to the wrong side, or not by their own surface.",
        diffuse=0.65, specular=0.0,
    ),
    _thrown_back_case(
        "a mirror bar below a lamp",
        "a body's mirror turned light about the wrong normal.",
        diffuse=0.0, specular=0.8,
    ),
)  # fmt: skip
