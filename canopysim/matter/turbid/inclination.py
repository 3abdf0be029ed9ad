"""How leaves are inclined: the classic distributions, as quantiles, and what they show of a leaf.

Inclination is the angle between a leaf's normal and the vertical: 0 is a level leaf, 90 deg an
upright one. Normals point to all sides of the compass alike. A distribution is held as the inverse
of its cumulative distribution, at equal steps of probability, as the kernels draw from it.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
N_STEP = 1024
"""Steps of probability between the quantiles."""

# Share of leaf area whose inclination is below an angle (de Wit 1965, Photosynthesis of leaf
# canopies; densities as Goel and Strebel 1984, Agronomy Journal 76:800 write them).
DE_WIT: dict[str, Callable[[Floats], Floats]] = {
    "planophile": lambda a: (2 * a + np.sin(2 * a)) / np.pi,
    "erectophile": lambda a: (2 * a - np.sin(2 * a)) / np.pi,
    "plagiophile": lambda a: (2 * a - np.sin(4 * a) / 2) / np.pi,
    "extremophile": lambda a: (2 * a + np.sin(4 * a) / 2) / np.pi,
    "uniform": lambda a: 2 * a / np.pi,
    "spherical": lambda a: 1 - np.cos(a),
}
ONE_ANGLE = {"level": 0.0, "upright": math.pi / 2}


def named_angles(name: str) -> Floats:
    """Quantiles of a distribution with a name.

    Parameters
    ----------
    name : str
        A key of `DE_WIT`, or of `ONE_ANGLE`, where all leaves are inclined alike.

    Returns
    -------
    (N_STEP + 1,) ndarray
        Cosine of inclination at equal steps of probability; descending: the most level leaf first.
    """
    if name in ONE_ANGLE:
        # The cosine of a right angle is not zero in floating point.
        return np.full(N_STEP + 1, 1.0 if name == "level" else 0.0)
    return _quantiles(DE_WIT[name])


def ellipsoid_angles(x: float) -> Floats:
    """Quantiles of Campbell's distribution: leaves inclined as the surface of an ellipsoid.

    Parameters
    ----------
    x : float
        Level half axis over vertical half axis of the ellipsoid: 1 is spherical, more is more
        level.

    Returns
    -------
    (N_STEP + 1,) ndarray
        As `named_angles`.

    Notes
    -----
    Campbell 1990, Agricultural and Forest Meteorology 49:173: the density over inclination a is in
    proportion to sin a / (cos² a + x² sin² a)². With u = cos a that is 1 / (x² + (1 - x²) u²)²,
    whose integral is elementary.
    """
    return _quantiles(lambda a: 1.0 - _below(np.cos(a), x) / _below(np.ones(1), x))


def _below(u: Floats, x: float) -> Floats:
    """Integrate 1 / (x² + s u²)² from 0 to u, with s = 1 - x²."""
    s = 1.0 - x * x
    if abs(s) < 1e-6:
        # The series in s: the closed form is nothing over nothing where s is 0.
        return u / x**4 - 2 * s * u**3 / (3 * x**6)
    root = math.sqrt(abs(s))
    arc = np.arctan(root * u / x) if s > 0 else np.arctanh(root * u / x)
    return (u / (x * x + s * u * u) + arc / (x * root)) / (2 * x * x)


def mean_inclination(quantiles: Floats) -> float:
    """Mean inclination of leaf area, rad."""
    angle = np.arccos(np.clip(quantiles, 0.0, 1.0))
    return float((angle[:-1] + angle[1:]).mean() / 2)


def class_angles(shares: ArrayLike) -> Floats:
    """Quantiles of leaf area counted in equally wide classes of inclination, from level to upright.

    Parameters
    ----------
    shares : (n,) array_like
        Leaf area in each class, in any unit; within a class every angle is as frequent.

    Returns
    -------
    (N_STEP + 1,) ndarray
        As `named_angles`.
    """
    share = np.asarray(shares, np.float64)
    edges = np.linspace(0.0, np.pi / 2, len(share) + 1)
    filled = np.flatnonzero(share > 0)
    # What is empty at either end is cut off: its edges would stand for the outermost leaves.
    share = share[filled[0] : filled[-1] + 1]
    edges = edges[filled[0] : filled[-1] + 2]
    total = np.concatenate([[0.0], np.cumsum(share)]) / share.sum()
    return np.cos(np.interp(np.linspace(0.0, 1.0, N_STEP + 1), total, edges))


def measured_angles(cosine: ArrayLike, area: ArrayLike) -> Floats:
    """Quantiles of many flat pieces of leaf.

    Parameters
    ----------
    cosine : (n,) array_like
        Vertical component of each piece's unit normal; its sign is of no account.
    area : (n,) array_like
        Area of each piece, in any unit.

    Returns
    -------
    (N_STEP + 1,) ndarray
        As `named_angles`.
    """
    c = np.abs(np.asarray(cosine, np.float64))
    order = np.argsort(-c, kind="stable")
    c, a = c[order], np.asarray(area, np.float64)[order]
    # A quantile is the mean over the step of probability around it, so that many small pieces and
    # few large ones are both kept with their share: differences of the running sum of c da.
    reached = np.concatenate([[0.0], np.cumsum(a)]) / a.sum()
    running = np.concatenate([[0.0], np.cumsum(c * a)]) / a.sum()
    at = (np.arange(N_STEP + 1) + np.array([[-0.5], [0.5]])) / N_STEP
    low, high = np.clip(at, 0.0, 1.0)
    mean = (np.interp(high, reached, running) - np.interp(low, reached, running)) / (high - low)
    return np.minimum.accumulate(np.clip(mean, 0.0, 1.0))


def _quantiles(below: Callable[[Floats], Floats]) -> Floats:
    """Invert a cumulative distribution over 0 to a right angle by bisection, to the last bits."""
    share = np.linspace(0.0, 1.0, N_STEP + 1)
    low, high = np.zeros(N_STEP + 1), np.full(N_STEP + 1, np.pi / 2)
    for _ in range(60):
        middle = 0.5 * (low + high)
        less = below(middle) < share
        low, high = np.where(less, middle, low), np.where(less, high, middle)
    cosine = np.cos(0.5 * (low + high))
    cosine[0], cosine[-1] = 1.0, 0.0
    return np.minimum.accumulate(cosine)


def projection(quantiles: Floats, direction: ArrayLike) -> Floats:
    """Mean projection of unit leaf area towards directions: the function G.

    Parameters
    ----------
    quantiles : (n + 1,) ndarray
        As `named_angles`; linear between them, as they are drawn.
    direction : (m,) array_like
        Cosine of each direction's zenith angle.

    Returns
    -------
    (m,) ndarray
        G, 0 to 1: 1/2 everywhere for spherical leaves, the cosine itself for level ones.

    Notes
    -----
    The mean over the compass of abs(cos t cos a + sin t sin a cos f) is cos t cos a where the
    direction meets the upper side of every such leaf, else cos t cos a (1 + 2 (tan w - w) / pi)
    with cos w = cot t cot a (Warren Wilson 1960, New Phytologist 59:1).
    """
    # Eight midpoints in every step: the projection is smooth within it but for a kink.
    inner = (np.arange(8) + 0.5) / 8
    cosine = (quantiles[:-1, None] + np.diff(quantiles)[:, None] * inner).ravel()
    sine = np.sqrt(np.maximum(0.0, 1.0 - cosine**2))
    found = np.empty(np.shape(direction), np.float64)
    for index, mu in enumerate(np.abs(np.asarray(direction, np.float64))):
        across = math.sqrt(max(0.0, 1.0 - mu * mu))
        both, other = mu * cosine, across * sine
        # cos t cos a (1 + 2 (tan w - w) / pi), with the tangent written so that nothing divides
        # by a cosine that vanishes.
        turned = np.arccos(np.clip(both / np.maximum(other, 1e-300), 0.0, 1.0))
        height = np.sqrt(np.maximum(other**2 - both**2, 0.0))
        # Where light meets one side only, its height and its turn are nothing.
        found[index] = (both + (height - turned * both) * 2 / np.pi).mean()
    return found
