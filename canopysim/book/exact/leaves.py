"""Leaves that fill a volume: what they show to a ray, exponentials, and two streams."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import integrate, linalg

Array = NDArray[np.float64]
Density = Callable[[Array], Array]
# Reflectance and transmittance of what meets one side.
Side = tuple[float, float]

# Densities over inclination, from 0 (level) to a right angle (de Wit 1965).
DENSITY: dict[str, Density] = {
    "planophile": lambda a: 2 / np.pi * (1 + np.cos(2 * a)),
    "erectophile": lambda a: 2 / np.pi * (1 - np.cos(2 * a)),
    "plagiophile": lambda a: 2 / np.pi * (1 - np.cos(4 * a)),
    "extremophile": lambda a: 2 / np.pi * (1 + np.cos(4 * a)),
    "uniform": lambda a: 2 / np.pi + 0 * a,
    "spherical": lambda a: np.sin(a),
}


def ellipsoid(x: float) -> Density:
    """Leaves as the surface of an ellipsoid, `x` its level over its vertical half axis.

    Campbell (1990), Agricultural and Forest Meteorology 49, 173; the constant by quadrature.
    """

    def shape(a: Array) -> Array:
        return np.asarray(np.sin(a) / (np.cos(a) ** 2 + (x * np.sin(a)) ** 2) ** 2)

    whole = integrate.quad(shape, 0, np.pi / 2, epsabs=1e-12)[0]
    return lambda a: shape(a) / whole


def classes(shares: Sequence[float]) -> Density:
    """Leaves in equally wide classes of inclination, evenly within each; shares make 1."""
    n = len(shares)
    each = np.asarray(shares) * n / (np.pi / 2)
    return lambda a: np.asarray(each[np.minimum((a * n / (np.pi / 2)).astype(int), n - 1)])


def inclinations(density: Density, n: int = 4000) -> tuple[Array, Array]:
    """Midpoints of inclination (n,) and the share of leaf area at each (n,)."""
    angle = (np.arange(n) + 0.5) * np.pi / 2 / n
    weight = density(angle)
    return angle, weight / weight.sum()


def shown(density: Density, mu: float, n_turn: int = 720) -> float:
    """G: the mean of |n.d| over inclinations and the whole compass.

    Parameters
    ----------
    density : callable
        Over inclination.
    mu : float
        Cosine between the ray and the vertical.
    n_turn : int
        Points of the compass.
    """
    return shown_by(*inclinations(density), mu, n_turn)


def shown_by(angle: Array, weight: Array, mu: float, n_turn: int = 720) -> float:
    """Give the same of leaves at inclinations (n,), each with its share (n,) of leaf area."""
    turn = 2 * np.pi * (np.arange(n_turn) + 0.5) / n_turn
    across = np.sqrt(1 - mu * mu) * np.sin(angle)[:, None] * np.cos(turn)
    return float(weight @ np.abs(mu * np.cos(angle)[:, None] + across).mean(1))


def shares_of_area(by_height: Sequence[float], edges: Sequence[float]) -> Array:
    """Share of a slab's leaf area between heights, the top layer first.

    Parameters
    ----------
    by_height : sequence of float
        Densities at even heights from the bottom up, straight in between.
    edges : sequence of float
        Heights of the cuts from the bottom up, as shares of the slab's height.
    """
    at = np.linspace(0, 1, len(by_height))
    z = np.union1d(np.linspace(0, 1, 2001), np.union1d(at, edges))
    f = np.interp(z, at, by_height)
    # The trapezium rule is exact for straight pieces.
    below = np.concatenate([[0.0], np.cumsum(np.diff(z) * (f[1:] + f[:-1]) / 2)])
    return np.asarray(np.diff(np.interp(edges, z, below / below[-1]))[::-1])


def beam_through(k: float, lai: Sequence[float] | Array) -> tuple[Array, float]:
    """Black leaves under parallel light: what each layer takes and what comes through.

    Parameters
    ----------
    k : float
        G over the cosine of the slant.
    lai : sequence of float
        Leaf area index of each layer, top first.

    Returns
    -------
    (n_layer,) ndarray
        Shares that layers take.
    float
        What is left.
    """
    left = np.exp(-k * np.concatenate([[0.0], np.cumsum(lai)]))
    return left[:-1] - left[1:], float(left[-1])


def two_streams(
    lai: Array, upper: Side, lower: Side, rho_floor: float
) -> tuple[Array, float, float]:
    """Light among level leaves: what each layer's sides absorb, what comes out at both ends.

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
        By the upper and by the lower sides.
    up : float
        What leaves at the top.
    down : float
        What arrives at the floor.
    """
    matrix = np.array([[-(1 - upper[1]), lower[0]], [-upper[0], 1 - lower[1]]])
    through = linalg.expm(matrix * lai.sum())
    # D = 1 and U = up at the top; U = rho D at the floor.
    a, b = through @ [1.0, 0.0], through @ [0.0, 1.0]
    up = (rho_floor * a[0] - a[1]) / (b[1] - rho_floor * b[0])
    lost = np.array([1 - sum(upper), 1 - sum(lower)])
    absorbed, here = [], np.array([1.0, up])
    for depth in lai:
        # The integral of exp(M x) v over the layer stands in the last column of the exponential of
        # the matrix M with v beside it (Van Loan 1978, IEEE Trans. Autom. Control 23(3)).
        beside = np.zeros((3, 3))
        beside[:2, :2], beside[:2, 2] = matrix, here
        layer = linalg.expm(beside * depth)
        absorbed.append(lost * layer[:2, 2])
        here = layer[:2, :2] @ here
    return np.array(absorbed), float(up), float(a[0] + up * b[0])
