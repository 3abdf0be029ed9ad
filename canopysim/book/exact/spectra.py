"""Photons of a spectrum in bands, and a reflectance averaged over them, by quadrature."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from canopysim.book.exact.frames import gauss

Array = NDArray[np.float64]
Curve = Callable[[Array], Array]


def integral(curve: Curve, low: float, high: float, bends: Sequence[float] | Array) -> float:
    """Integrate a curve that is smooth between its bends, by Gauss and Legendre between them."""
    inner = [float(b) for b in np.unique(bends) if low < b < high]
    total = 0.0
    for a, b in zip([low, *inner], [*inner, high], strict=True):
        x, w = gauss(a, b, 6)
        total += float(curve(x) @ w)
    return total


def photons_of_watts(nm: Array, watts: Array) -> Curve:
    """Give photons per nm, relative, of watts per nm that run straight between the rows."""
    return lambda x: np.asarray(np.interp(x, nm, watts, left=0.0, right=0.0) * x)


def photons_of_rows(nm: Array, photons: Array) -> Curve:
    """Give photons per nm that run straight between the rows."""
    return lambda x: np.asarray(np.interp(x, nm, photons, left=0.0, right=0.0))


def steps(edges: Array, values: Array) -> Curve:
    """Give a curve that is level between edges."""
    return lambda x: np.asarray(values[np.clip(np.searchsorted(edges, x) - 1, 0, len(values) - 1)])


def band_shares(photons: Curve, edges: Sequence[float], bends: Array) -> Array:
    """Share of the photons in each band, together one."""
    found = np.array([integral(photons, a, b, bends) for a, b in pairwise(edges)])
    return np.asarray(found / found.sum())


def band_mean(photons: Curve, share: Curve, low: float, high: float, bends: Array) -> float:
    """Mean of a share over a band, each photon counting alike."""
    met = integral(lambda x: photons(x) * share(x), low, high, bends)
    return met / integral(photons, low, high, bends)
