"""Light: photometric files of a light without symmetry, by quadrature of their tables."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from canopysim.book.case import Case, Exact
from canopysim.book.dark_rooms import (
    FACES,
    FLOOR,
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
from canopysim.book.exact.frames import Triple, ball, rectangle
from canopysim.book.exact.goniometer import bilinear, lopsided, table_flux
from canopysim.book.exact.strips import Strip, cell_means, face_shares
from canopysim.book.photometric_text import eulumdat, lm63
from canopysim.book.readings import AtProbe, PlaneMean, Reading, Share
from canopysim.book.scenes import ONE_BAND, Data, percent, scene

Array = NDArray[np.float64]
C = np.arange(0.0, 361.0, 15.0)
GAMMA = np.arange(0.0, 181.0, 10.0)
TABLE = lopsided(C, GAMMA)
LENGTH, WIDTH = 0.3, 0.06
PLACE, TURNED = (0.48, 0.37, 0.52), (35.0, 8.0, -12.0)
LAW = "Quadrature over opening, cells and faces of the table, straight between nodes in C and gamma"
# The bends of the table run across cells and faces; so far off is the quadrature.
TABLE_ERR = 1e-6
BLACK_BODY = {"length": "40 cm", "width": "20 cm", "height": "5 cm", "surface": "black"}
# 683 lm/W at 555 nm, where a micromole of photons holds N_A h c / 555 nm = 0.215544 J.
LUMENS_PER_UMOL = 683 * 6.02214076e17 * 6.62607015e-34 * 299792458 / 555e-9
GREEN = "nm, relative photons\n554.9, 0\n555, 1\n555.1, 0\n"
# Within a tenth of a nanometre the eye is no less than that below its best.
GREEN_ERR = 5e-5


def _expected(flux: float) -> Exact:
    strip = Strip(PLACE, TURNED, LENGTH, WIDTH, bilinear(C, GAMMA, TABLE))
    shares = face_shares(strip, SIZE, pieces=16)
    floor = cell_means(strip, (0, 0), SIZE[:2], SHAPE, pieces=10)
    return shares | {"floor PFD": flux * floor}


# A level that cuts the body over the light: what shines upwards crosses it, and nothing comes back.
LEVEL_M = 0.56
WAYS = ("up", "down")


def _upwards() -> float:
    """Share of the light that ends above the level: on the ceiling and the upper walls."""
    strip = Strip(PLACE, TURNED, LENGTH, WIDTH, bilinear(C, GAMMA, TABLE))
    w, d, h = SIZE
    rest = (0.0, 0.0, h - LEVEL_M)
    parts: list[tuple[Triple, Triple, Triple, Triple]] = [
        ((0.0, 0.0, h), (w, 0.0, 0.0), (0.0, d, 0.0), (0.0, 0.0, -1.0)),
        ((0.0, 0.0, LEVEL_M), (0.0, d, 0.0), rest, (1.0, 0.0, 0.0)),
        ((w, 0.0, LEVEL_M), (0.0, d, 0.0), rest, (-1.0, 0.0, 0.0)),
        ((0.0, 0.0, LEVEL_M), (w, 0.0, 0.0), rest, (0.0, 1.0, 0.0)),
        ((0.0, d, LEVEL_M), (w, 0.0, 0.0), rest, (0.0, -1.0, 0.0)),
    ]
    found = 0.0
    for corner, first, second, inwards in parts:
        points, weights = rectangle(corner, first, second, 8, 16)
        found += float((strip.arriving(points) @ -np.array(inwards)) @ weights)
    return found


def _case(name: str, fails_if: str, fixture: Data, files: dict[str, bytes], flux: float,
          flux_err: float = 0.0) -> Case:  # fmt: skip
    mean = flux / (SIZE[0] * SIZE[1])
    return Case(
        name=name,
        chapter="light",
        shows="A measured distribution without symmetry that shines upwards too, turned.",
        source=f"{LAW}.",
        fails_if=fails_if,
        scene=lit(
            "A measured light",
            fixture,
            PLACE,
            TURNED,
            planes=[FLOOR, {"name": "level", "height": metres(LEVEL_M), "cell": "2 m"}],
        ),
        files=files,
        figures=faces_read() | FLOOR_CELLS | {way: PlaneMean("level", way) for way in WAYS},
        exact=lambda: dict(_expected(flux)) | {"up": _upwards() * mean, "down": 0.0},
        exact_err=dict.fromkeys(OF_ALL, TABLE_ERR)
        | dict.fromkeys(("floor PFD", "up"), (TABLE_ERR + flux_err) * mean),
        packets=1 << 21,
        quick=1 / 4,
        scale=OF_ALL | dict.fromkeys(("floor PFD", *WAYS), mean),
    )


# Rings, some finer than half a degree and of unlike steps, where a table is followed from angle to
# angle and not only cell by cell; the stronger towards +x, the outermost towards +y. Backwards it
# shines a little.
FINE_C = np.arange(0.0, 361.0, 30.0)
FINE_GAMMA = np.array([0.0, 4.5, 4.9, 5.5, 5.8, 6.5, 7.0, 7.5, 90.0, 100.0, 180.0])
RINGS = np.array([0.0, 0.0, 900.0, 40.0, 700.0, 0.0, 0.0, 0.0, 0.0, 0.5, 0.5])
SPOT, SPOT_SIZE = (0.48, 0.37, 0.85), 1e-3
# A part of the floor that the rings cross, and its cells.
LOW, HIGH, CELLS = (SPOT[0] + 0.055, SPOT[1] - 0.03), (SPOT[0] + 0.115, SPOT[1] + 0.03), (12, 12)
BALLS = {"ring": (0.5551, 0.37, 0.02), "gap": (0.48, 0.4662, 0.04), "over": (0.5, 0.42, 0.88)}
BALL = 2e-3


def _rings() -> Array:
    c = np.radians(FINE_C)[:, None]
    table = RINGS * np.where(FINE_GAMMA < 90, 1 + 0.6 * np.cos(c), 1.0)
    table[:, 6] = 250.0 * (1.1 + np.sin(c[:, 0]))
    return np.asarray(np.round(table, 3))


def _fine() -> Case:
    # Some flux density in the rings.
    table, level = _rings(), FLUX / 0.04

    def exact() -> Exact:
        strip = Strip(SPOT, (0.0, 0.0, 0.0), SPOT_SIZE, SPOT_SIZE,
                      bilinear(FINE_C, FINE_GAMMA, table))  # fmt: skip
        found: dict[str, Any] = {
            "floor PFD": FLUX * cell_means(strip, LOW, HIGH, CELLS, n=4, pieces=5)
        }  # fmt: skip
        for name, place in BALLS.items():
            points, weights = ball(place, BALL)
            seen = strip.seen(points, lambda ray: 1.0 + 0 * ray[..., 0], (4, 4))
            found[name] = FLUX * seen @ weights
        return found

    return Case(
        name="a beam of rings from a file finer than half a degree",
        chapter="light",
        shows="Rings of light as a table has them, angle by angle, on the floor and in small "
        "balls; one of them is behind the light.",
        source=f"{LAW}.",
        fails_if="within a step the table's light were spread evenly, or by another plane's, when "
        "drawn or when looked for; or what shines upwards had another angle.",
        scene=lit(
            "A beam of rings",
            {"photon_flux": f"{FLUX:g} umol/s", "spectrum": ONE_BAND,
             "strips": [{"length": metres(SPOT_SIZE), "width": metres(SPOT_SIZE),
                         "lens": {"table": lm63(FINE_C, FINE_GAMMA, table, SPOT_SIZE,
                                                SPOT_SIZE)}}]},
            SPOT,
            planes=[{"name": "floor", "height": "0 m", "cell": "5 mm",
                     "corner": [metres(x) for x in LOW], "opposite": [metres(x) for x in HIGH]}],
            probes=[{"name": name, "at": [metres(x), metres(y)], "height": metres(z),
                     "radius": metres(BALL)} for name, (x, y, z) in BALLS.items()],
        ),
        figures=dict(FLOOR_CELLS) | {name: AtProbe(name) for name in BALLS},
        exact=exact,
        # The program follows the cosine and not the angle within a step: at these angles off by a
        # hundredth of what the table rises by.
        exact_err=dict.fromkeys(("floor PFD", *BALLS), 0.02 * level),
        packets=1 << 22,
        quick=1 / 8,
        precision=2e-2,
        scale=level,
        why_rough="Cells of 5 mm and balls of 2 mm hold few packets.",
    )  # fmt: skip


def _two_files() -> Case:
    """Hang two lights of unlike tables in one room, each a group of its own."""
    c = np.arange(0.0, 361.0, 30.0)
    gamma = np.array([0.0, 20.0, 45.0, 70.0, 90.0, 120.0, 180.0])
    tables = {"one": (C, GAMMA, TABLE), "other": (c, gamma, lopsided(c + 100, gamma))}
    places: dict[str, tuple[Triple, Triple]] = {
        "one": (PLACE, TURNED), "other": ((0.62, 0.30, 0.45), (-70.0, -9.0, 15.0)),
    }  # fmt: skip

    def exact() -> Exact:
        found: dict[str, float] = {}
        for name, table in tables.items():
            strip = Strip(*places[name], LENGTH, WIDTH, bilinear(*table))
            shares = face_shares(strip, SIZE, pieces=16)
            found |= {f"{face}, {name}": shares[face] for face in FACES}
        return found

    figures: dict[str, Reading] = {
        f"{face}, {name}": Share(face, name) for name in tables for face in FACES
    }
    return Case(
        name="two lights of unlike files",
        chapter="light",
        shows="Each of two measured lights in one room shines by its own table.",
        source=f"{LAW}.",
        fails_if="One table were read where the other begins.",
        scene=scene(
            "Two measured lights", enclosure=room(),
            fixtures={
                name: {"photon_flux": f"{FLUX:g} umol/s", "spectrum": ONE_BAND,
                       "strips": [{"length": metres(LENGTH), "width": metres(WIDTH),
                                   "lens": {"table": lm63(*table, LENGTH, WIDTH)}}]}
                for name, table in tables.items()
            },
            lights=[hung(name, *places[name], group=name) for name in tables],
        ),
        figures=figures,
        exact=exact,
        exact_err=dict.fromkeys(figures, 5e-6),
        packets=1 << 22,
        quick=1 / 4,
        scale=1.0,
    )  # fmt: skip


TEXT = lm63(C, GAMMA, TABLE, LENGTH, WIDTH)
LUMENS = table_flux(C, GAMMA, TABLE)

CASES = (
    _case(
        "lens of a strip from an LM-63 text",
        "C were counted clockwise or from across the strip, planes or angles were exchanged, the "
        "table were drawn from at its nodes only, or the sine of gamma were left out.",
        {"photon_flux": f"{FLUX:g} umol/s", "spectrum": ONE_BAND,
         "strips": [{"length": metres(LENGTH), "width": metres(WIDTH),
                     "lens": {"table": TEXT}}]},
        {}, FLUX,
    ),
    _case(
        "whole fixture from an LM-63 file, with its body",
        "the body shaded its own light twice, the opening were not that of the file, or the flux "
        "were not the integral of the table.",
        {"body": BLACK_BODY, "photometry": {"file": "bench.ies", "intensity": "photons"},
         "spectrum": {"400-500": percent(0.25), "600-700": percent(0.75)}},
        {"bench.ies": TEXT.encode()}, LUMENS,
    ),
    _case(
        "whole fixture from an EULUMDAT file in candela",
        "C0 of that format were taken for the length, intensities were not per 1000 lm of the "
        "lamps, or lumens became photons by another spectrum than the light's.",
        {"photometry": {"file": "bench.ldt"}, "spectrum": {"table": GREEN}},
        {"bench.ldt": eulumdat(C, GAMMA, TABLE, LENGTH, WIDTH, 800.0).encode()},
        LUMENS / LUMENS_PER_UMOL, GREEN_ERR,
    ),
    _fine(),
    _two_files(),
)  # fmt: skip
