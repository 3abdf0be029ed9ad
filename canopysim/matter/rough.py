"""What comes back of the light that a rough mirror's facets reflect."""

from __future__ import annotations

import math

import numpy as np


def returned_share(spread_rad: float, n: int = 2**18) -> float:
    """Mean share, under even light from the whole hemisphere, that no other facet stops.

    Parameters
    ----------
    spread_rad : float
        Half of the facets are tilted by less than this; 0 is a flat mirror.
    n : int
        Directions and facets of the lattice over which the mean is taken.

    Returns
    -------
    float
        1 for a flat mirror; the rest is absorbed between facets. Facets that are seen are drawn as
        the kernels do (see `transport.mirror`), light by Lambert's law.
    """
    if spread_rad == 0.0:
        return 1.0
    rough = math.tan(spread_rad)
    # An additive sequence in three dimensions: multiples of powers of 1/x, x^4 = x + 1.
    k = np.arange(n) + 0.5
    steps = (0.8191725133961645, 0.6710436067037893, 0.5497004779019703)
    a, u, v = ((0.5 + k * step) % 1.0 for step in steps)
    x, z = np.sqrt(a), np.sqrt(1 - a)
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
    out = 2 * (x * facet[0] + z * facet[2]) * facet[2] - z

    def hidden(cosine: np.ndarray) -> np.ndarray:
        tangent_squared = (1 - cosine**2) / cosine**2
        return np.asarray(0.5 * (np.sqrt(1 + rough**2 * tangent_squared) - 1))

    up = out > 0
    kept = (1 + hidden(z[up])) / (1 + hidden(z[up]) + hidden(out[up]))
    return float(kept.sum() / n)
