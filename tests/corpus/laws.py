"""Laws of light that the corpus is made from, one for every symmetry, rounded as files round."""

import numpy as np
from photometric_files import cosine_power, front_lopsided, long_bar, lopsided


def rounded(shine, decimals=2):
    """Two decimals, as a laboratory writes candela."""
    return lambda d: np.round(shine(d), decimals)


def lantern(d):
    """Round about the upright axis, with light upwards."""
    return 700.0 * np.clip(-d[..., 2], 0.0, None) ** 2 + 90.0 * (1.0 + d[..., 2] / 2)


def beside_0_180(d):
    """Alike on both sides of the plane along the length: y and -y."""
    return lopsided(d) + lopsided(d * [1, -1, 1])


def beside_90_270(d):
    """Alike on both sides of the plane across: x and -x."""
    return lopsided(d) + lopsided(d * [-1, 1, 1])


def below(d):
    """Light downwards only, without symmetry, cut off at the level plane."""
    return np.where(d[..., 2] <= 1e-12, lopsided(d), 0.0)


def above(d):
    """Light upwards only, as from a cove."""
    return 600.0 * np.clip(d[..., 2], 0.0, None) * (1.0 + 0.4 * d[..., 1])


def flood(d):
    """Alike to the right and left and up and down, fading out towards the level plane."""
    ahead = np.clip(-d[..., 2], 0.0, None)
    return 900.0 * ahead**2 * (1.0 + d[..., 0] ** 2)


def one_sided_flood(d):
    """Alike to the right and left (y), not up and down (x)."""
    return flood(d) * (1.0 + 0.5 * d[..., 0])


spot = cosine_power(4)

__all__ = [
    "above",
    "below",
    "beside_0_180",
    "beside_90_270",
    "flood",
    "front_lopsided",
    "lantern",
    "long_bar",
    "lopsided",
    "one_sided_flood",
    "rounded",
    "spot",
]
