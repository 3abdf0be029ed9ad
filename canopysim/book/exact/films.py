"""A leaf under a film: Fresnel's equations, and what one leaf does with a beam."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def fresnel(angle: Array, index: float) -> Array:
    """Reflectance for unpolarised light from air: Fresnel's sine and tangent laws.

    Parameters
    ----------
    angle : ndarray
        Of incidence, rad, above 0.
    index : float
        Of the film.
    """
    inside = np.arcsin(np.sin(angle) / index)
    s = np.sin(angle - inside) / np.sin(angle + inside)
    p = np.tan(angle - inside) / np.tan(angle + inside)
    return np.asarray((s**2 + p**2) / 2)


@cache
def even_share(index: float, n: int = 200_000) -> float:
    """Share that the film mirrors of even light: the mean by Lambert's law, by midpoints."""
    mu = (np.arange(n) + 0.5) / n
    return float((2 * mu * fresnel(np.arccos(mu), index)).mean())


@dataclass(frozen=True)
class Split:
    """What one leaf sends back, lets through and keeps of a beam."""

    back: float
    through: float
    kept: float


def one_meeting(slant_deg: float, rho: float, tau: float, index: float) -> Split:
    """Light that meets one leaf with a flat film, at a slant; its totals are of even light.

    Of even light the film mirrors m, or rho where that is less: then it mirrors so much less at
    every slant. The rest, seen by what is below, leaves so that the totals are rho and tau.
    """
    m = even_share(index)
    c = min(1.0, rho / m)
    f = c * float(fresnel(np.radians(slant_deg), index))
    inside_rho, inside_tau = (rho - c * m) / (1 - c * m), tau / (1 - c * m)
    back = f + (1 - f) * inside_rho
    through = (1 - f) * inside_tau
    return Split(back, through, 1 - back - through)
