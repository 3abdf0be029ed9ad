"""Light that rectangles with parallel edges exchange: closed forms, on whole grids at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
TINY = 1e-300


def parallel(x: ArrayLike, y: ArrayLike, xi: ArrayLike, eta: ArrayLike, gap: float) -> Floats:
    """Exchange between the cells of two grids in parallel planes.

    Parameters
    ----------
    x, y : (nx + 1,), (ny + 1,) array_like
        Edges of the cells of one grid, m.
    xi, eta : (nk + 1,), (nl + 1,) array_like
        Edges of the other's, in the same frame.
    gap : float
        Distance of the planes, m.

    Returns
    -------
    (nx, ny, nk, nl) ndarray
        Area times configuration factor, m2; the same from either side. Closed form: Howell, A
        Catalog of Radiation Configuration Factors, C-13 (Ehlert and Smith 1993).
    """
    u = np.subtract.outer(np.asarray(x, float), np.asarray(xi, float))[:, None, :, None]
    v = np.subtract.outer(np.asarray(y, float), np.asarray(eta, float))[None, :, None, :]
    a, b = np.sqrt(u**2 + gap**2), np.sqrt(v**2 + gap**2)
    whole = v * a * np.arctan2(v, a) + u * b * np.arctan2(u, b)
    whole = whole - gap**2 / 2 * np.log(u**2 + v**2 + gap**2)
    return _four_fold(whole)


def perpendicular(c: ArrayLike, far: ArrayLike, other: ArrayLike, out: ArrayLike) -> Floats:
    """Exchange between the cells of two grids in planes at right angles.

    Parameters
    ----------
    c, far : (nc + 1,), (nf + 1,) array_like
        Edges of the cells of one grid: along the line in which the planes meet, and distances from
        that line, all on one side of it, m.
    other, out : (no + 1,), (np + 1,) array_like
        Edges of the other's, alike.

    Returns
    -------
    (nc, nf, no, np) ndarray
        Area times configuration factor, m2. Closed form: Howell C-15.
    """
    u = np.subtract.outer(np.asarray(c, float), np.asarray(other, float))[:, None, :, None]
    s2 = np.add.outer(np.asarray(far, float) ** 2, np.asarray(out, float) ** 2)[None, :, None, :]
    s = np.sqrt(s2)
    whole = s * u * np.arctan2(u, s) - (s2 - u**2) / 4 * np.log(s2 + u**2 + TINY)
    # Distances may run towards the line or away from it.
    return np.abs(_four_fold(whole))


def _four_fold(whole: Floats) -> Floats:
    for axis in range(4):
        whole = np.diff(whole, axis=axis)
    return np.asarray(whole / (2 * np.pi))
