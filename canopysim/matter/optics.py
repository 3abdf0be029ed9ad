"""How much each side of a leaf reflects and lets through, band by band, as a light sees it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.library.leaves import LEAF_RANGE, library_spectrum
from canopysim.light.spectrum.averages import band_means
from canopysim.light.spectrum.pieces import Pieces

if TYPE_CHECKING:
    from canopysim.light.spectrum.spectrum import Spectrum
    from canopysim.scene.schema_matter import LeafOptics
    from canopysim.scene.spectral import BandValues

UPPER, LOWER = 0, 1
RHO, TAU = 0, 1


def leaf_values(leaf: LeafOptics, edges: Sequence[float], light: Spectrum) -> NDArray[np.float64]:
    """Reflectance and transmittance of a leaf, averaged over each band by a light's photons.

    Parameters
    ----------
    leaf : LeafOptics
        Either ``like`` a leaf of the library (both sides alike), or its own reflectance and
        transmittance, with optional values for the lower side.
    edges : sequence of float, nm
        Band edges, ascending; ``n_band + 1`` of them.
    light : Spectrum
        What meets the leaf; in bands without its photons every wavelength counts alike.

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
        low, high = LEAF_RANGE
        if min(edges) < low or max(edges) > high:
            raise ValueError(
                f"bands {min(edges):g}-{max(edges):g} nm reach beyond the leaf library, which "
                f"covers {low:g}-{high:g} nm; give the leaf's own reflectance and transmittance"
            )
        one_side = np.stack(
            [
                band_means(
                    light, Pieces.from_points(*library_spectrum(leaf.like, quantity)), edges
                ).values
                for quantity in ("R", "T")
            ]
        )
        return np.stack([one_side, one_side])
    upper = np.stack(
        [_values(leaf.reflectance, edges, light), _values(leaf.transmittance, edges, light)]
    )
    if leaf.lower is None:
        return np.stack([upper, upper])
    lower = np.stack(
        [
            _values(leaf.lower.reflectance, edges, light),
            _values(leaf.lower.transmittance, edges, light),
        ]
    )
    return np.stack([upper, lower])


def _values(
    share: BandValues | None, edges: Sequence[float], light: Spectrum
) -> NDArray[np.float64]:
    """Band means of a share that the schema has made sure is there."""
    assert share is not None
    return share.means(light, edges)
