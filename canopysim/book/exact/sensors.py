"""Sensors: light on planes of any lean, from all sides, by angle of incidence, over a ball."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from canopysim.book.exact.factors import Rectangle, level_rectangle, polygon, solid_angle
from canopysim.book.exact.frames import Triple, ball
from canopysim.book.exact.images import kept

Array = NDArray[np.float64]
FACINGS = {"up": (0.0, 0.0, 1.0), "right": (1.0, 0.0, 0.0), "left": (-1.0, 0.0, 0.0),
           "back": (0.0, 1.0, 0.0), "front": (0.0, -1.0, 0.0)}  # fmt: skip


def normal(tilt_deg: float, turn_deg: float) -> Array:
    """Where a face looks that leans so far from upwards towards a side, from +x towards +y."""
    t, r = np.radians([tilt_deg, turn_deg])
    return np.array([np.sin(t) * np.cos(r), np.sin(t) * np.sin(r), np.cos(t)])


def over_ball(of_point: Callable[[Array], float], centre: Triple, radius: float, n: int = 4
              ) -> float:  # fmt: skip
    """Mean of a function of a point over a ball."""
    points, weights = ball(centre, radius, n)
    return float(sum(w * of_point(p) for p, w in zip(points, weights, strict=True)))


def below_panel(panel: Rectangle, height: float, centre: Triple, radius: float, face: Array,
                n: int = 4) -> float:  # fmt: skip
    """Flux density on a face below a level Lambertian panel of unit flux, mean over a ball, m^-2.

    Radiance is 1 / (pi A), so flux density is the face's factor to the panel over A.
    """
    area = (panel[1] - panel[0]) * (panel[3] - panel[2])
    corners = level_rectangle(panel, height)
    return over_ball(lambda p: polygon(p, face, corners), centre, radius, n) / area


def fluence(panel: Rectangle, height: float, centre: Triple) -> float:
    """Fluence rate below a level Lambertian panel of unit flux, m^-2.

    Radiance times the panel's solid angle; that is harmonic, so a ball reads its centre.
    """
    area = (panel[1] - panel[0]) * (panel[3] - panel[2])
    return solid_angle(centre, panel, height) / (np.pi * area)


def images(panel: Rectangle, width: float, depth: float, rho: Mapping[str, float], n: int
           ) -> list[tuple[float, Rectangle]]:  # fmt: skip
    """Images of a level rectangle in four upright mirrors, with what the mirrors leave of each.

    Parameters
    ----------
    rho : mapping
        Share that "left", "right", "front" and "back" reflect.
    n : int
        Images to either side.
    """

    def along(low: float, high: float, extent: float, first: float, second: float
              ) -> list[tuple[float, float, float]]:  # fmt: skip
        found = []
        for k in range(-n, n + 1):
            # The image in bay k is mirrored in odd ones.
            a, b = (low, high) if k % 2 == 0 else (extent - high, extent - low)
            share = float(kept(np.array(k), first, second))
            found.append((share, k * extent + a, k * extent + b))
        return found

    x = along(panel[0], panel[1], width, rho["left"], rho["right"])
    y = along(panel[2], panel[3], depth, rho["front"], rho["back"])
    return [(sx * sy, (x0, x1, y0, y1)) for sx, x0, x1 in x for sy, y0, y1 in y if sx * sy > 0]


def cosine_share(angles_deg: Array, shares: Array, cosine: Array) -> Array:
    """Share that a meter counts of light by the cosine of incidence, straight between angles."""
    angle = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    return np.asarray(np.where(cosine > 0, np.interp(angle, angles_deg, shares), 0.0))
