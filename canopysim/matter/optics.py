"""How much each side of a leaf reflects and lets through, band by band."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from canopysim.scene.schema_matter import LeafOptics
    from canopysim.scene.spectral import BandValues

LEAF_NAMES: tuple[str, ...] = (
    "thin_pale_lettuce",
    "basil",
    "tomato",
    "pepper",
    "soybean",
    "thick_dark",
)
"""Leaves of the library. The names are labels for computed leaves, not measurements."""

UPPER, LOWER = 0, 1
RHO, TAU = 0, 1


def leaf_values(leaf: LeafOptics, edges: Sequence[float]) -> NDArray[np.float64]:
    """Reflectance and transmittance of a leaf, averaged over each band with flat weight.

    Parameters
    ----------
    leaf : LeafOptics
        Either ``like`` a leaf of the library (both sides alike), or its own reflectance and
        transmittance, with optional values for the lower side.
    edges : sequence of float, nm
        Band edges, ascending; ``n_band + 1`` of them.

    Returns
    -------
    (2, 2, n_band) ndarray
        Side (upper, lower) x (reflectance, transmittance) x band, shares of what meets that side.

    Raises
    ------
    ValueError
        If a library leaf is asked for outside 400-800 nm, or its name is unknown.
    """
    if leaf.like is not None:
        one_side = np.stack(
            [_band_means(*library_spectrum(leaf.like, quantity), edges) for quantity in ("R", "T")]
        )
        return np.stack([one_side, one_side])
    upper = np.stack([_values(leaf.reflectance, edges), _values(leaf.transmittance, edges)])
    if leaf.lower is None:
        return np.stack([upper, upper])
    lower = np.stack(
        [_values(leaf.lower.reflectance, edges), _values(leaf.lower.transmittance, edges)]
    )
    return np.stack([upper, lower])


def library_spectrum(name: str, quantity: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Spectrum of a library leaf, on its 10 nm grid.

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
    columns = _library()
    return columns["wavelength_nm"], columns[f"{name}_{quantity}"]


@cache
def _library() -> dict[str, NDArray[np.float64]]:
    """Columns of the leaf table by name, with the suffix ``_like`` dropped."""
    text = files("canopysim").joinpath("library/leaf_spectra_10nm.csv").read_text("utf-8")
    header, *rows = text.split()
    table = np.array([[float(cell) for cell in row.split(",")] for row in rows])
    names = [name.replace("_like_", "_") for name in header.split(",")]
    columns = {name: np.ascontiguousarray(table[:, i]) for i, name in enumerate(names)}
    for column in columns.values():
        column.setflags(write=False)  # shared by every caller
    return columns


def _band_means(
    wavelength: NDArray[np.float64], share: NDArray[np.float64], edges: Sequence[float]
) -> NDArray[np.float64]:
    """Exact flat means of a piecewise linear spectrum over bands that need not keep its grid."""
    bounds = np.asarray(edges, dtype=np.float64)
    low, high = wavelength[0], wavelength[-1]
    if bounds.min() < low or bounds.max() > high:
        raise ValueError(
            f"bands {bounds.min():g}-{bounds.max():g} nm reach beyond the leaf library, which "
            f"covers {low:g}-{high:g} nm; give the leaf's own reflectance and transmittance"
        )
    # With the edges among the nodes, the trapezoid rule is exact on every piece.
    nodes = np.union1d(wavelength, bounds)
    values = np.interp(nodes, wavelength, share)
    pieces = 0.5 * (values[1:] + values[:-1]) * np.diff(nodes)
    integral = np.concatenate(([0.0], np.cumsum(pieces)))
    return np.diff(integral[np.searchsorted(nodes, bounds)]) / np.diff(bounds)


def _values(bands: BandValues | None, edges: Sequence[float]) -> NDArray[np.float64]:
    """Band values of a share that the schema has made sure is there."""
    assert bands is not None
    return bands.values(edges)
