"""Slow and obvious references for leaves that fill a volume. Nothing here imports canopysim."""

from __future__ import annotations

import numpy as np
from scipy import integrate, linalg

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


def two_streams(
    lai: np.ndarray, upper: tuple[float, float], lower: tuple[float, float], rho_floor: float
) -> tuple[np.ndarray, float, float]:
    """Light between level leaves: what each layer's sides absorb, what comes out at both ends.

    A flight of any slant meets level leaves with the same probability dL in a leaf area index dL,
    so fluxes down (D) and up (U) are enough: with R and T of the upper and the lower side and L
    counted downwards, dD/dL = -(1 - T_up) D + R_low U and dU/dL = (1 - T_low) U - R_up D. One unit
    enters at the top.

    Parameters
    ----------
    lai : (n_layer,) ndarray
        Leaf area index of each layer, top first.
    upper, lower : (reflectance, transmittance)
        Of what meets that side.
    rho_floor : float
        Of a surface under the lowest layer.

    Returns
    -------
    absorbed : (n_layer, 2) ndarray
        By the upper and the lower sides.
    up : float
        What leaves at the top.
    down : float
        What arrives at the floor.
    """
    matrix = np.array([[-(1 - upper[1]), lower[0]], [-upper[0], 1 - lower[1]]])
    through = linalg.expm(matrix * lai.sum())
    # D = 1 and U = u at the top; U = rho D at the floor.
    a, b = through @ [1.0, 0.0], through @ [0.0, 1.0]
    up = (rho_floor * a[0] - a[1]) / (b[1] - rho_floor * b[0])
    absorbed, level = [], 0.0
    lost = np.array([1 - sum(upper), 1 - sum(lower)])
    for depth in lai:
        both, _ = integrate.quad_vec(
            lambda x: linalg.expm(matrix * x) @ [1.0, up], level, level + depth, epsabs=1e-12
        )
        absorbed.append(lost * both)
        level += depth
    return np.array(absorbed), float(up), float(a[0] + up * b[0])
