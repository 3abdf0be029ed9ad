"""Curves by which light is weighed: what the eye sees, what a leaf makes of a photon."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

import numpy as np

from canopysim.light.spectrum.pieces import Pieces

LUMENS_PER_WATT = 683.0
"""Luminous efficacy at the peak of `photopic`, lm W⁻¹ (CIE 1924, SI)."""


@cache
def photopic() -> Pieces:
    """Read the eye's spectral luminous efficiency V(λ).

    Returns
    -------
    Pieces
        1 at 555 nm; straight between steps of 5 nm from 380 to 780 nm, zero beyond. CIE 1924, in
        the extension to smoothed digits of CIE 1931 (ISO/CIE 11664-1, y-bar).
    """
    return _curve("photopic_cie1924.csv")


@cache
def quantum_yield() -> Pieces:
    """Read the mean relative quantum yield of leaves, per photon that meets them.

    Returns
    -------
    Pieces
        1 at 600-625 nm; straight between steps of 25 nm from 350 to 725 nm, zero beyond. After
        McCree 1972, Agric. Meteorol. 9:191 (mean of 22 crop species). The digits are approximate:
        good to about 0.05, below 400 nm to 0.1 (``canopysim/library/weights/README.md``).
    """
    return _curve("quantum_yield_mccree1972.csv")


def _curve(name: str) -> Pieces:
    """Read a curve of the library: nm and weight, one header line after the comments."""
    text = files("canopysim.library").joinpath("weights", name).read_text("utf-8")
    rows = [row for row in text.splitlines() if not row.startswith("#")]
    table = np.array([[float(cell) for cell in row.split(",")] for row in rows[1:]])
    return Pieces.from_points(table[:, 0], table[:, 1])
