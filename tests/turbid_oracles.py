"""Slow and obvious references for leaves that fill a volume. Nothing here imports canopysim."""

from __future__ import annotations

import numpy as np

# Densities over inclination, 0 (level) to a right angle (de Wit 1965).
DENSITY = {
    "planophile": lambda a: 2 / np.pi * (1 + np.cos(2 * a)),
    "erectophile": lambda a: 2 / np.pi * (1 - np.cos(2 * a)),
    "plagiophile": lambda a: 2 / np.pi * (1 - np.cos(4 * a)),
    "extremophile": lambda a: 2 / np.pi * (1 + np.cos(4 * a)),
    "uniform": lambda a: 2 / np.pi + 0 * a,
    "spherical": np.sin,
}


def campbell(x: float):
    """Campbell's density (1990) with his own constant of proportion."""
    if x < 1:
        e = np.sqrt(1 - x * x)
        scale = x + np.arcsin(e) / e
    elif x > 1:
        e = np.sqrt(1 - x**-2)
        scale = x + np.log((1 + e) / (1 - e)) / (2 * e * x)
    else:
        scale = 2.0
    return lambda a: 2 * x**3 * np.sin(a) / (scale * (np.cos(a) ** 2 + x * x * np.sin(a) ** 2) ** 2)


def shown_area(angle: np.ndarray, mu: float, n: int = 720) -> np.ndarray:
    """Mean of |n.d| over the compass, by brute force."""
    turn = 2 * np.pi * (np.arange(n) + 0.5) / n
    across = np.sqrt(1 - mu * mu)
    return np.abs(
        mu * np.cos(angle)[..., None] + across * np.sin(angle)[..., None] * np.cos(turn)
    ).mean(-1)


def shown_share(density, mu: float, n: int = 4000) -> float:
    """G: the mean of |n.d| over a distribution of inclination."""
    angle = (np.arange(n) + 0.5) * np.pi / 2 / n
    weight = density(angle) * np.pi / 2 / n
    return float((weight * shown_area(angle, mu)).sum())
