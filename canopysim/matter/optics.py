"""How much each side of a leaf reflects and lets through, band by band."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.library.leaves import library_spectrum

if TYPE_CHECKING:
    from canopysim.scene.schema_matter import LeafOptics
    from canopysim.scene.spectral import BandValues

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
