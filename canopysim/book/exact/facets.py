"""Rough mirrors by the textbook's law: what their facets send back, and where to."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Share = Callable[[Floats], Floats]


def roughness(spread_deg: float) -> float:
    """Roughness of facets of which half, by what is seen from above, are tilted less than this.

    Of the law of Trowbridge and Reitz the share tilted less than t is
    tan^2 t / (a^2 + tan^2 t).
    """
    return float(np.tan(np.radians(spread_deg)))


def hidden(cosine: Floats, a: float) -> Floats:
    """Smith's function for the law of Trowbridge and Reitz."""
    return np.asarray((np.sqrt(1 + a**2 * (1 / cosine**2 - 1)) - 1) / 2)


def sent(towards: Floats, light: Floats, a: float) -> Floats:
    """Light that perfect facets send per steradian, of a parallel beam that brings one unit.

    Parameters
    ----------
    towards : (..., 3) ndarray
        Unit vectors away from the mirror, z along its normal.
    light : (3,) ndarray
        Unit vector to where the beam comes from.
    a : float
        Roughness.

    Returns
    -------
    (...,) ndarray
        f cos = D G / (4 cos_i): density of facets that mirror this way, and the share of them that
        neither the beam nor what it becomes finds hidden (masking and shadowing depend on the same
        heights; Walter et al. 2007; Heitz 2014, equations 72 and 99).
    """
    h = towards + light
    h = h / np.sqrt((h**2).sum(-1))[..., None]
    up = np.maximum(towards[..., 2], 1e-12)
    density = a**2 / (np.pi * (h[..., 2] ** 2 * (a**2 - 1) + 1) ** 2)
    seen = 1 / (1 + hidden(light[2], a) + hidden(up, a))
    return np.asarray(density * seen / (4 * light[2]))


def returned(zenith: float, a: float, n: int = 100, facet: Share | None = None) -> float:
    """Share that comes back of a beam from a zenith angle, rad.

    A facet mirrors all that meets it, or the share that ``facet`` tells for angles of incidence,
    rad.
    """
    g, w = np.polynomial.legendre.leggauss(n)
    theta = (g + 1) * np.pi / 4
    phi = (np.arange(n) + 0.5) / n * np.pi
    towards = np.stack(
        [np.sin(theta)[:, None] * np.cos(phi), np.sin(theta)[:, None] * np.sin(phi),
         np.repeat(np.cos(theta)[:, None], n, 1)], -1,
    )  # fmt: skip
    light = np.array([np.sin(zenith), 0.0, np.cos(zenith)])
    flow = sent(towards, light, a)
    if facet is not None:
        # The facet halves the angle between the two ways.
        flow = flow * facet(np.arccos(np.clip(towards @ light, -1.0, 1.0)) / 2)
    rings = flow.sum(1) * 2 * np.pi / n
    return float((rings * np.sin(theta) * w).sum() * np.pi / 4)


def returned_even(a: float, n: int = 24, fine: int = 100, facet: Share | None = None) -> float:
    """Share that comes back of light that is even from all sides; as for `returned`."""
    g, w = np.polynomial.legendre.leggauss(n)
    theta = (g + 1) * np.pi / 4
    each = np.array([returned(t, a, fine, facet) for t in theta])
    return float((each * np.sin(2 * theta) * w).sum() * np.pi / 4)


def on_faces(spot: Floats, size: Floats, light: Floats, a: float, n: int = 160) -> dict[str, float]:
    """Share of a beam that a rough floor sends from a spot to each other face of a box 0..size."""
    u, w = np.polynomial.legendre.leggauss(n)
    shares = {}
    for name, axis, end in (("left", 0, 0), ("right", 0, 1), ("front", 1, 0), ("back", 1, 1),
                            ("ceiling", 2, 1)):  # fmt: skip
        first, second = (k for k in range(3) if k != axis)
        ray = np.empty((n, n, 3))
        ray[..., axis] = size[axis] * end - spot[axis]
        ray[..., first] = ((u + 1) / 2 * size[first] - spot[first])[:, None]
        ray[..., second] = ((u + 1) / 2 * size[second] - spot[second])[None, :]
        distance = np.sqrt((ray**2).sum(-1))
        solid = np.abs(ray[..., axis]) / distance**3 * size[first] * size[second] / 4
        flow = sent(ray / distance[..., None], light, a) * solid
        shares[name] = float(w @ flow @ w)
    return shares
