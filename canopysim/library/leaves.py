"""The leaves of the library: their names, their wavelengths and their spectra."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

LEAF_NAMES: tuple[str, ...] = (
    "thin_pale_lettuce",
    "basil",
    "tomato",
    "pepper",
    "soybean",
    "thick_dark",
)
"""Leaves of the library. The names are labels for computed leaves, not measurements."""
LEAF_RANGE: tuple[float, float] = (400.0, 800.0)
"""First and last wavelength of the leaf spectra, nm."""


def library_spectrum(name: str, quantity: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Read the spectrum of a library leaf, on its 10 nm grid.

    Parameters
    ----------
    name : str
        One of `LEAF_NAMES`.
    quantity : {"R", "T"}
        Hemispherical reflectance or transmittance.

    Returns
    -------
    wavelength, share : (41,) ndarray, nm and 0..1
        Linear in between.

    Raises
    ------
    ValueError
        If the library has no leaf of that name.

    Notes
    -----
    Computed with the published plate model (Jacquemoud & Baret 1990, Remote Sens. Environ. 34:75;
    Feret et al. 2008, 2017, 2021) and its published optical constants
    (MIT licence, (c) 2020-present J.-B. Feret); see ``canopysim/library/README.md``.
    """
    if name not in LEAF_NAMES:
        known = ", ".join(LEAF_NAMES)
        raise ValueError(f"{name!r} is not a leaf of the library; it has {known}")
    columns = leaf_table()
    return columns["wavelength_nm"], columns[f"{name}_{quantity}"]


@cache
def leaf_table() -> dict[str, NDArray[np.float64]]:
    """Read all columns of the leaf table by name, with the suffix ``_like`` dropped."""
    text = files("canopysim.library").joinpath("leaf_spectra_10nm.csv").read_text("utf-8")
    header, *rows = text.split()
    table = np.array([[float(cell) for cell in row.split(",")] for row in rows])
    names = [name.replace("_like_", "_") for name in header.split(",")]
    columns = {name: np.ascontiguousarray(table[:, i]) for i, name in enumerate(names)}
    for column in columns.values():
        column.setflags(write=False)  # shared by every caller
    return columns
