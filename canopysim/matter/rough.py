"""What comes back of the light that the facets of a rough mirror reflect."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def facet_paths(spread_rad: float, n: int = 2**18) -> tuple[Floats, Floats]:
    """Even light from the whole hemisphere on the facets that it sees.

    Parameters
    ----------
    spread_rad : float
        Half of the facets are tilted by less than this; 0 is a flat mirror.
    n : int
        Directions and facets of the lattice.

    Returns
    -------
    incidence : (n,) ndarray
        Cosine of incidence on the facet. Facets that are seen are drawn as the kernels do (see
        `transport.mirror`), light by Lambert's law.
    kept : (n,) ndarray
        Share of what the facet mirrors that no other facet stops.
    """
    # An additive sequence in three dimensions: multiples of powers of 1/x, x^4 = x + 1.
    k = np.arange(n) + 0.5
    steps = (0.8191725133961645, 0.6710436067037893, 0.5497004779019703)
    a, u, v = ((0.5 + k * step) % 1.0 for step in steps)
    x, z = np.sqrt(a), np.sqrt(1 - a)
    if spread_rad == 0.0:
        return z, np.ones(n)
    rough = math.tan(spread_rad)
    h = np.stack([rough * x, np.zeros(n), z])
    h /= np.linalg.norm(h, axis=0)
    height = (1 - u) * (1 + h[2]) - h[2]
    sine = np.sqrt(np.maximum(1 - height**2, 0.0))
    facet = np.stack([
        rough * (sine * np.cos(2 * np.pi * v) + h[0]),
        rough * (sine * np.sin(2 * np.pi * v) + h[1]),
        height + h[2],
    ])  # fmt: skip
    facet /= np.linalg.norm(facet, axis=0)
    incidence = x * facet[0] + z * facet[2]
    out = 2 * incidence * facet[2] - z

    def hidden(cosine: Floats) -> Floats:
        tangent_squared = (1 - cosine**2) / cosine**2
        return np.asarray(0.5 * (np.sqrt(1 + rough**2 * tangent_squared) - 1))

    up = out > 0
    kept = np.zeros(n)
    kept[up] = (1 + hidden(z[up])) / (1 + hidden(z[up]) + hidden(out[up]))
    return np.clip(incidence, 0.0, 1.0), kept


def returned_share(spread_rad: float) -> float:
    """Mean share, under even light from the whole hemisphere, that no other facet stops.

    Parameters
    ----------
    spread_rad : float
        Half of the facets are tilted by less than this; 0 is a flat mirror.

    Returns
    -------
    float
        1 for a flat mirror; the rest is absorbed between facets.
    """
    _, kept = facet_paths(spread_rad)
    return float(kept.sum() / len(kept))
