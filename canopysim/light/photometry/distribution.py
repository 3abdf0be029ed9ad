"""One fixture's intensity in every direction, whatever file it came from, and its exact flux.

The frame is the fixture's own: +x along its length, light leaves towards -z. C turns from +x
towards +y, which is counter-clockwise seen from above; gamma opens from straight ahead (-z). A
direction is (sin gamma cos C, sin gamma sin C, -cos gamma). Between the nodes of the table the
intensity is bilinear in the two angles.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canopysim.light.photometry.opening import Opening

Array = NDArray[np.float64]

CANDELA = "cd"
PHOTON_INTENSITY = "umol s-1 sr-1"
UNITS = (CANDELA, PHOTON_INTENSITY)
FLUX_UNITS = {CANDELA: "lm", PHOTON_INTENSITY: "µmol/s"}
# A hemisphere that a file leaves out is dark. Where the light does not fade out before, the table
# falls to 0 within this angle: wide enough for float32, too narrow to hold light (1e-6 of it).
STEP_DEG = float(np.degrees(1e-6))


@dataclass(frozen=True, eq=False)
class Distribution:
    """A far-field distribution on a full grid, all symmetries unfolded.

    Attributes
    ----------
    name : str
        The file, as messages call it.
    source : str
        Format and coordinates that it was read from, as in "LM-63-2002, type C".
    unit : str
        "cd", or "umol s-1 sr-1" if the caller knows that the file holds photon intensities. The
        wavebands are the caller's to know: neither format tells them.
    c_rad : numpy.ndarray (n_c,)
        Ascending from 0 to 2 pi, both included.
    gamma_rad : numpy.ndarray (n_gamma,)
        Ascending from 0 to pi, both included.
    intensity : numpy.ndarray (n_c, n_gamma)
        In `unit`, at least 0; the last row equals the first.
    opening : Opening
        Where light leaves.
    stated_flux : float or None
        Flux that the file states, lm (or what its author wrote there): of the lamps, in LM-63;
        of the fixture, in EULUMDAT, but of the lamps where a file that is not absolute gives no
        light output ratio. None for absolute LM-63 photometry. Never used to scale the table.
    watts : float or None
        Input power; None where the file says 0.
    n_lamp : int
        Number of lamps as stated; mere information in absolute photometry.
    labels : tuple of (str, str)
        Keyword, or "" for free text, and text.
    warnings : tuple of str
        ``NAME:LINE: sentence`` for all that is doubtful.
    resampling_error : float
        For types A and B: by how much the flux of the resampled table differed from the file's,
        as a share, before it was scaled to agree. 0 for what needed no resampling.
    """

    name: str
    source: str
    unit: str
    c_rad: Array
    gamma_rad: Array
    intensity: Array
    opening: Opening
    stated_flux: float | None
    watts: float | None
    n_lamp: int
    labels: tuple[tuple[str, str], ...] = ()
    warnings: tuple[str, ...] = ()
    resampling_error: float = 0.0

    def __post_init__(self) -> None:
        if self.unit not in UNITS:
            raise ValueError(f"unit is {self.unit!r}; allowed: {', '.join(UNITS)}")
        for angles, end in ((self.c_rad, 2.0 * np.pi), (self.gamma_rad, np.pi)):
            if angles[0] != 0.0 or angles[-1] != end or (np.diff(angles) <= 0.0).any():
                raise ValueError(f"angles must ascend from 0 to {end}")
        if self.intensity.shape != (len(self.c_rad), len(self.gamma_rad)):
            raise ValueError("the table does not have a row per C and a column per gamma")
        if not np.isfinite(self.intensity).all() or (self.intensity < 0.0).any():
            raise ValueError("intensities must be finite and not negative")
        if (self.intensity[0] != self.intensity[-1]).any():
            raise ValueError("the planes at 0 and 2 pi are one plane and must be equal")
        for array in (self.c_rad, self.gamma_rad, self.intensity):
            array.setflags(write=False)


def direction(c_rad: ArrayLike, gamma_rad: ArrayLike) -> Array:
    """Turn angles into unit vectors in the fixture's frame.

    Parameters
    ----------
    c_rad, gamma_rad : array_like
        Angles that broadcast against each other, shape (...).

    Returns
    -------
    numpy.ndarray (..., 3)
        (sin gamma cos C, sin gamma sin C, -cos gamma).
    """
    c, gamma = np.broadcast_arrays(np.asarray(c_rad, np.float64), np.asarray(gamma_rad, np.float64))
    sine = np.sin(gamma)
    return np.stack([sine * np.cos(c), sine * np.sin(c), -np.cos(gamma)], axis=-1)


def intensity_at(distribution: Distribution, c_rad: ArrayLike, gamma_rad: ArrayLike) -> Array:
    """Intensity in given directions, bilinear between nodes.

    Parameters
    ----------
    distribution : Distribution
        The table.
    c_rad : array_like
        Any angles.
    gamma_rad : array_like
        Within 0 to pi; broadcasts against `c_rad`.

    Returns
    -------
    numpy.ndarray
        In the distribution's unit, broadcast shape.
    """
    turned = np.mod(np.asarray(c_rad, np.float64), 2.0 * np.pi)
    c, gamma = np.broadcast_arrays(turned, np.asarray(gamma_rad, np.float64))
    return bilinear(distribution.c_rad, distribution.gamma_rad, distribution.intensity, c, gamma)


def bilinear(rows: Array, columns: Array, table: Array, row: Array, column: Array) -> Array:
    """Interpolate a table at points of its own range.

    Parameters
    ----------
    rows, columns : numpy.ndarray (n,), (m,)
        Ascending nodes; at least two of each.
    table : numpy.ndarray (n, m)
        Values at the nodes.
    row, column : numpy.ndarray
        Points, of one shape.

    Returns
    -------
    numpy.ndarray
        Values, of that shape.
    """
    i = np.clip(np.searchsorted(rows, row, side="right") - 1, 0, len(rows) - 2)
    j = np.clip(np.searchsorted(columns, column, side="right") - 1, 0, len(columns) - 2)
    s = (row - rows[i]) / (rows[i + 1] - rows[i])
    t = (column - columns[j]) / (columns[j + 1] - columns[j])
    low = (1.0 - t) * table[i, j] + t * table[i, j + 1]
    high = (1.0 - t) * table[i + 1, j] + t * table[i + 1, j + 1]
    value: Array = (1.0 - s) * low + s * high
    return value


def sine_weights(gamma_rad: Array) -> Array:
    """Weights w with sum(w f) = integral of f(gamma) sin(gamma), exact for f linear in each cell.

    For a cell with midpoint m and half width h, the integral is
    (f0 + f1) sin m sin h - (f1 - f0) cos m (cos h - sin(h) / h).

    Parameters
    ----------
    gamma_rad : numpy.ndarray (n,)
        Ascending nodes within 0 to pi.

    Returns
    -------
    numpy.ndarray (n,)
        Weights, sr per radian of C.
    """
    middle, half = (gamma_rad[1:] + gamma_rad[:-1]) / 2.0, np.diff(gamma_rad) / 2.0
    even = np.sin(middle) * np.sin(half)
    odd = np.cos(middle) * (np.cos(half) - np.sin(half) / half)
    weights = np.zeros_like(gamma_rad)
    weights[:-1] += even + odd
    weights[1:] += even - odd
    return weights


def span_weights(angle_rad: Array) -> Array:
    """Weights of the trapezoid rule, exact for what is linear in each cell.

    Parameters
    ----------
    angle_rad : numpy.ndarray (n,)
        Ascending nodes.

    Returns
    -------
    numpy.ndarray (n,)
        Weights, rad.
    """
    weights = np.zeros_like(angle_rad)
    weights[:-1] += np.diff(angle_rad) / 2.0
    weights[1:] += np.diff(angle_rad) / 2.0
    return weights


def flux(distribution: Distribution) -> float:
    """Flux in all directions: the exact integral of the bilinear table over the sphere.

    Parameters
    ----------
    distribution : Distribution
        The table.

    Returns
    -------
    float
        lm for candela, µmol s⁻¹ for photon intensities.
    """
    by_gamma = span_weights(distribution.c_rad) @ distribution.intensity
    return float(by_gamma @ sine_weights(distribution.gamma_rad))
