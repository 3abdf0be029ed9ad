"""A leaf under a film: Fresnel's equations, and what one leaf does with a beam."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def fresnel(angle: Array, index: float) -> Array:
    """Reflectance for unpolarised light from air: Fresnel's sine and tangent laws.

    Parameters
    ----------
    angle : ndarray
        Of incidence, rad, above 0.
    index : float
        Of the film.
    """
    inside = np.arcsin(np.sin(angle) / index)
    s = np.sin(angle - inside) / np.sin(angle + inside)
    p = np.tan(angle - inside) / np.tan(angle + inside)
    return np.asarray((s**2 + p**2) / 2)


@cache
def even_share(index: float, n: int = 200_000) -> float:
    """Share that the film mirrors of even light: the mean by Lambert's law, by midpoints."""
    mu = (np.arange(n) + 0.5) / n
    return float((2 * mu * fresnel(np.arccos(mu), index)).mean())


@dataclass(frozen=True)
class Split:
    """What one leaf sends back, lets through and keeps of a beam."""

    back: float
    through: float
    kept: float


def one_meeting(slant_deg: float, rho: float, tau: float, index: float) -> Split:
    """Light that meets one leaf with a flat film, at a slant; its totals are of even light.

    Of even light the film mirrors m, or rho where that is less: then it mirrors so much less at
    every slant. The rest, seen by what is below, leaves so that the totals are rho and tau.
    """
    m = even_share(index)
    c = min(1.0, rho / m)
    f = c * float(fresnel(np.radians(slant_deg), index))
    inside_rho, inside_tau = (rho - c * m) / (1 - c * m), tau / (1 - c * m)
    back = f + (1 - f) * inside_rho
    through = (1 - f) * inside_tau
    return Split(back, through, 1 - back - through)


def to_faces(
    slant_deg: float, azimuth_deg: float, rho: float, tau: float, index: float,
    place: tuple[float, float, float], size: tuple[float, float, float], n: int = 300,
) -> dict[str, float]:  # fmt: skip
    """Where the light of a beam goes that meets a level leaf at one spot of a black room.

    Parameters
    ----------
    slant_deg, azimuth_deg : float
        From the vertical, and where the beam goes: 0 is +x, 90 is +y. It comes from above.
    rho, tau, index
        As for `one_meeting`.
    place : (3,) float
        Of the spot, m.
    size : (3,) float
        Of the room, m.
    n : int
        Directions over the cosine; four times as many over the compass.

    Returns
    -------
    dict of str to float
        Share that each face takes, and ``leaf`` what the leaf keeps.
    """
    m, split = even_share(index), one_meeting(slant_deg, rho, tau, index)
    c = min(1.0, rho / m)
    mirrored = c * float(fresnel(np.radians(slant_deg), index))
    mu = (np.arange(n) + 0.5) / n
    turn = 2 * np.pi * (np.arange(4 * n) + 0.5) / (4 * n)
    # Lambert's law, less what the film would mirror that came from there, over the mean of that.
    weight = 2 * mu * (1 - c * fresnel(np.arccos(mu), index)) / (1 - c * m)
    weight = np.repeat(weight[:, None] / (4 * n * n), 4 * n, 1)
    flat = np.sqrt(1 - mu**2)[:, None]
    d = np.stack([flat * np.cos(turn), flat * np.sin(turn), np.repeat(mu[:, None], 4 * n, 1)], -1)
    found = {"leaf": split.kept}
    for share, sign in ((split.back - mirrored, 1.0), (split.through, -1.0)):
        for name, part in _ends(d * [1, 1, sign], weight, place, size).items():
            found[name] = found.get(name, 0.0) + share * part
    slant, azimuth = np.radians([slant_deg, azimuth_deg])
    way = np.array([np.sin(slant) * np.cos(azimuth), np.sin(slant) * np.sin(azimuth),
                    np.cos(slant)])  # fmt: skip
    for name, part in _ends(way[None], np.ones(1), place, size).items():
        found[name] += mirrored * part
    return found


def _ends(
    d: Array, weight: Array, place: tuple[float, float, float], size: tuple[float, float, float]
) -> dict[str, float]:
    """Share of directions (..., 3) from a place that end on each face of a box."""
    with np.errstate(divide="ignore"):
        ends = np.where(d > 0, (np.asarray(size) - place) / d, -np.asarray(place) / d)
    axis = ends.argmin(-1)
    far = np.take_along_axis(d, axis[..., None], -1)[..., 0] > 0
    held = np.bincount((2 * axis + far).ravel(), weight.ravel(), 6)
    return dict(zip(("left", "right", "front", "back", "floor", "ceiling"), held, strict=True))
