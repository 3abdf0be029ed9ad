"""Light: photometric files of a light without symmetry, by quadrature of their tables."""

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
from canopysim.book.exact.goniometer import bilinear, lopsided, table_flux
from canopysim.book.exact.strips import Strip, cell_means, face_shares
from canopysim.book.photometric_text import eulumdat, lm63
from canopysim.book.scenes import ONE_BAND, Data, percent

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


def _case(name: str, fails_if: str, fixture: Data, files: dict[str, bytes], flux: float,
          flux_err: float = 0.0) -> Case:  # fmt: skip
    mean = flux / (SIZE[0] * SIZE[1])
    return Case(
        name=name,
        chapter="light",
        shows="A measured distribution without symmetry that shines upwards too, turned.",
        source=f"{LAW}.",
        fails_if=fails_if,
        scene=lit("A measured light", fixture, PLACE, TURNED),
        files=files,
        figures=faces_read() | FLOOR_CELLS,
        exact=lambda: _expected(flux),
        exact_err=dict.fromkeys(OF_ALL, TABLE_ERR) | {"floor PFD": (TABLE_ERR + flux_err) * mean},
        packets=1 << 21,
        quick=1 / 4,
        scale=OF_ALL | {"floor PFD": mean},
    )


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
)  # fmt: skip
