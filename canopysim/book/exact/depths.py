"""Where light among black leaves has fallen to a share, read between boundaries."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Read:
    """A level that is read between two boundaries.

    Attributes
    ----------
    at : float
        Where it is, in units of the boundaries' places; NaN where light does not fall so far.
    off : float
        How far a parabola through a third boundary would put it elsewhere, whichever neighbour
        makes more of it.
    most : float
        The same for the middle between the two boundaries, where it is greatest.
    """

    at: float
    off: float
    most: float


def fit(lai: Array, values: Array) -> tuple[float, float]:
    """Extinction coefficient of an exponential by least squares, and what its logarithm is off.

    Parameters
    ----------
    lai : (n,) float64
        Leaf area index above each boundary.
    values : (n,) float64
        Flux there.

    Returns
    -------
    k, departure : float
        Slope of -ln(flux) against leaf area index; root mean square of what is left.
    """
    logs = -np.log(values)
    line = np.polynomial.Polynomial.fit(lai, logs, 1)
    return float(line.deriv()(0.0)), float(np.sqrt(np.mean((logs - line(lai)) ** 2)))


def read_level(place: Array, values: Array, target: float) -> Read:
    """Read where values, straight between boundaries, come to a target.

    Parameters
    ----------
    place : (n,) float64
        Of the boundaries, from the top down.
    values : (n,) float64
        There; they rise or fall from the top down.
    target : float
        What is looked for.
    """
    falling = -1.0 if values[-1] < values[0] else 1.0
    if falling * values[-1] < falling * target:
        return Read(float("nan"), float("nan"), float("nan"))
    at = float(np.interp(falling * target, falling * values, place))
    below = int(np.searchsorted(falling * values, falling * target))
    pair = np.array([below - 1, below])
    slope = np.diff(values[pair])[0] / np.diff(place[pair])[0]
    middle = np.array([at, place[pair].mean()])
    straight = np.array([target, values[pair].mean()])
    found = []
    for third in (below - 2, below + 1):
        if 0 <= third < len(place):
            three = np.append(pair, third)
            bent = np.polyval(np.polyfit(place[three], values[three], 2), middle)
            found.append(np.abs((bent - straight) / slope))
    return Read(at, *np.max(found, axis=0).tolist())
