"""Light between level leaves: two streams, exactly."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import integrate, linalg

Array = NDArray[np.float64]


def two_streams(
    lai: Sequence[float],
    upper: tuple[float, float],
    lower: tuple[float, float],
    rho_floor: float,
) -> tuple[Array, float, float]:
    """Light between level leaves: what each layer's sides absorb, what comes out at both ends.

    A flight of any slant meets level leaves with the same probability dL in a leaf area index dL,
    so fluxes down (D) and up (U) are enough: with R and T of the upper and the lower side and L
    counted downwards, dD/dL = -(1 - T_up) D + R_low U and dU/dL = (1 - T_low) U - R_up D. One unit
    enters at the top.

    Parameters
    ----------
    lai : (n_layer,) float
        Leaf area index of each layer, top first.
    upper, lower : (reflectance, transmittance)
        Of what meets that side.
    rho_floor : float
        Of a surface under the lowest layer.

    Returns
    -------
    absorbed : (n_layer, 2) float64
        By the upper and the lower sides.
    up : float
        What leaves at the top.
    down : float
        What arrives at the floor.
    """
    depth = np.asarray(lai, np.float64)
    matrix = np.array([[-(1 - upper[1]), lower[0]], [-upper[0], 1 - lower[1]]])
    through = linalg.expm(matrix * depth.sum())
    # D = 1 and U = u at the top; U = rho D at the floor.
    a, b = through @ [1.0, 0.0], through @ [0.0, 1.0]
    up = float((rho_floor * a[0] - a[1]) / (b[1] - rho_floor * b[0]))
    lost = np.array([1 - sum(upper), 1 - sum(lower)])
    absorbed, level = [], 0.0
    for each in depth:
        both, _ = integrate.quad_vec(
            lambda x: linalg.expm(matrix * x) @ [1.0, up], level, level + each, epsabs=1e-12
        )
        absorbed.append(lost * both)
        level += float(each)
    return np.array(absorbed), up, float(a[0] + up * b[0])
