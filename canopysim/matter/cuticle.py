"""What a leaf's cuticle mirrors, and what the leaf below it must do so that the totals hold."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canopysim.matter.rough import facet_paths

Floats = NDArray[np.float64]


def fresnel(cosine: ArrayLike, index: float) -> Floats:
    """Reflectance of a flat film for unpolarised light that comes from air.

    Parameters
    ----------
    cosine : array_like
        Of the angle of incidence, 0 to 1.
    index : float
        Refractive index.

    Returns
    -------
    ndarray
        Mean of both polarisations (Born and Wolf, Principles of Optics, 1.5).
    """
    c = np.asarray(cosine, np.float64)
    g = np.sqrt(index**2 - 1.0 + c**2)
    one = ((g - c) / (g + c)) ** 2
    two = ((c * (g + c) - 1.0) / (c * (g - c) + 1.0)) ** 2
    return np.asarray(one * (1.0 + two) / 2.0)


def mean_reflectance(index: float, spread_rad: float) -> float:
    """Share that a cuticle mirrors of even light from the whole hemisphere.

    Parameters
    ----------
    index : float
        Refractive index.
    spread_rad : float
        Half of its facets are tilted by less than this; 0 is flat.

    Returns
    -------
    float
        Mean by Lambert's law of Fresnel's reflectance at the facets that are seen, less what other
        facets stop.
    """
    incidence, kept = facet_paths(spread_rad)
    return float(np.sum(fresnel(incidence, index) * kept) / len(kept))


def below_cuticle(totals: Floats, mean: float) -> tuple[Floats, Floats]:
    """Split a leaf's totals into what its cuticle mirrors and what comes from inside.

    Parameters
    ----------
    totals : (2, 2, n_band) ndarray
        Side x (reflectance, transmittance) x band, of even light on that side.
    mean : float
        `mean_reflectance` of the cuticle.

    Returns
    -------
    inside : (2, 2, n_band) ndarray
        Reflected and let through, of light that has passed the cuticle of that side: (rho - r) /
        (1 - r) and tau / (1 - r), with r the share that the cuticle mirrors.
    kept : (2, n_band) ndarray
        Share of Fresnel's reflectance that the cuticle has there: 1, or less where a leaf reflects
        less in all than the cuticle alone would.
    """
    kept = np.minimum(1.0, totals[:, 0] / mean)
    r = kept * mean
    inside = (
        np.stack([np.maximum(totals[:, 0] - r, 0.0), totals[:, 1]], axis=1) / (1.0 - r)[:, None]
    )
    return inside, kept
