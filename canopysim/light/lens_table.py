"""A distribution as the kernels draw from it: cumulative over planes, then along a plane."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from canopysim.light.photometry import Distribution

Array = NDArray[np.float64]
# Within a step of this the kernels take intensity as straight in cos(gamma) rather than in gamma.
FINEST_STEP_RAD = np.deg2rad(0.5)


@dataclass(frozen=True)
class LensTable:
    """Numbers for one lens in a row.

    Attributes
    ----------
    n_c, n_gamma : int
        Planes (the last is the first again) and angles.
    numbers : numpy.ndarray of float32
        Planes as turns 0 to 1 (n_c); share of the light up to each plane (n_c); light of each
        plane (n_c); 1 - cos(gamma) (n_gamma); light of each plane up to each angle (n_c n_gamma);
        intensity (n_c n_gamma). Light and intensity are relative.
    """

    n_c: int
    n_gamma: int
    numbers: NDArray[np.float32]


def lens_table(distribution: Distribution) -> LensTable:
    """Tabulate a distribution for drawing directions.

    Parameters
    ----------
    distribution : Distribution
        Bilinear in its angles; with some light.

    Returns
    -------
    LensTable
        Steps of gamma are cut to half a degree; the light of every cell is the exact integral of
        the bilinear table.
    """
    gamma = _fine(distribution.gamma_rad)
    old = distribution.gamma_rad
    intensity = np.stack([np.interp(gamma, old, row) for row in distribution.intensity])
    intensity = intensity / intensity.max()
    # Integral of a straight line times the sine over each step, as in `sine_weights`.
    middle, half = (gamma[1:] + gamma[:-1]) / 2, np.diff(gamma) / 2
    even = np.sin(middle) * np.sin(half)
    odd = np.cos(middle) * (np.cos(half) - np.sin(half) / half)
    steps = intensity[:, :-1] * (even + odd) + intensity[:, 1:] * (even - odd)
    along = np.concatenate([np.zeros((len(steps), 1)), np.cumsum(np.maximum(steps, 0), 1)], 1)
    of_plane = along[:, -1]
    between = (of_plane[1:] + of_plane[:-1]) / 2 * np.diff(distribution.c_rad)
    share = np.concatenate([[0.0], np.cumsum(between)])
    if not share[-1] > 0:
        raise ValueError("the distribution holds no light")
    parts = (
        distribution.c_rad / (2 * np.pi),
        share / share[-1],
        of_plane,
        # 1 - cos without losing digits near straight ahead.
        2 * np.sin(gamma / 2) ** 2,
        along.ravel(),
        intensity.ravel(),
    )
    return LensTable(
        n_c=len(distribution.c_rad),
        n_gamma=len(gamma),
        numbers=np.concatenate(parts).astype(np.float32),
    )


def _fine(angles: Array) -> Array:
    """Cut wide steps into equal ones of half a degree at most."""
    pieces = [
        np.linspace(a, b, max(1, int(np.ceil((b - a) / FINEST_STEP_RAD - 1e-9))), endpoint=False)
        for a, b in pairwise(angles)
    ]
    return np.concatenate([*pieces, angles[-1:]])
