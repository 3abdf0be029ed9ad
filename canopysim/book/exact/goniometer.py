"""Intensities between the nodes of a table over C and gamma, and what they add up to."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from canopysim.book.exact.strips import Intensity

Array = NDArray[np.float64]


def table_flux(c_deg: Array, gamma_deg: Array, table: Array) -> float:
    """Flux of intensities (n_c, n_gamma) that run straight between nodes in both angles.

    Over C the mean of two planes; over gamma the integral of (a + b gamma) sin(gamma), by parts.
    """
    c, g = np.radians(c_deg), np.radians(gamma_deg)
    slope = np.diff(table, axis=1) / np.diff(g)
    cosine, sine = np.cos(g), np.sin(g)
    steps = table[:, :-1] * cosine[:-1] - table[:, 1:] * cosine[1:] + slope * np.diff(sine)
    return float(np.diff(c) @ (steps.sum(1)[:-1] + steps.sum(1)[1:]) / 2)


def bilinear(c_deg: Array, gamma_deg: Array, table: Array) -> Intensity:
    """Give the intensity per unit flux; C counts from +x towards +y, gamma from -z.

    Parameters
    ----------
    c_deg : (n_c,) array
        0 to 360, both.
    gamma_deg : (n_gamma,) array
        0 to 90 or 180.
    table : (n_c, n_gamma) array
        Any unit.
    """
    flux = table_flux(c_deg, gamma_deg, table)

    def intensity(d: Array) -> Array:
        c = np.degrees(np.arctan2(d[..., 1], d[..., 0])) % 360.0
        g = np.degrees(np.arccos(np.clip(-d[..., 2], -1.0, 1.0)))
        i = np.clip(np.searchsorted(c_deg, c, "right") - 1, 0, len(c_deg) - 2)
        j = np.clip(np.searchsorted(gamma_deg, g, "right") - 1, 0, len(gamma_deg) - 2)
        s = (c - c_deg[i]) / (c_deg[i + 1] - c_deg[i])
        t = (g - gamma_deg[j]) / (gamma_deg[j + 1] - gamma_deg[j])
        near = (1 - s) * table[i, j] + s * table[i + 1, j]
        far = (1 - s) * table[i, j + 1] + s * table[i + 1, j + 1]
        inside = (g >= gamma_deg[0]) & (g <= gamma_deg[-1])
        return np.asarray(np.where(inside, (1 - t) * near + t * far, 0.0) / flux)

    return intensity


def lopsided(c_deg: Array, gamma_deg: Array) -> Array:
    """Intensities of a light without any symmetry that also shines upwards, (n_c, n_gamma)."""
    c, g = np.radians(c_deg)[:, None], np.radians(gamma_deg)
    x, y, z = np.sin(g) * np.cos(c), np.sin(g) * np.sin(c), np.cos(g) + 0 * c
    values = 60.0 + 80.0 * z + 35.0 * x * (1 + z) + 25.0 * y * (1 + z) ** 2 + 20.0 * x * y
    return np.asarray(np.round(np.maximum(values, 0.0), 3))
