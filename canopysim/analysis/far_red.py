"""Far-red: which traced bands it is made of, and the ratio of red to far-red on a plane."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from canopysim.analysis.books import (
    UNKNOWN,
    Estimate,
    Span,
    crossed_per_batch,
    is_traced,
    ratio,
    traced_edges,
)

if TYPE_CHECKING:
    from canopysim.results import Result

RED: Span = (600.0, 700.0)
FAR_RED: Span = (700.0, 800.0)


def far_red_bands(result: Result) -> list[str]:
    """Traced bands between 700 and 800 nm; what reaches beyond 800 nm is not far-red."""
    low, high = traced_edges(result)
    inside = (low >= FAR_RED[0]) & (high <= FAR_RED[1])
    return [name for name, yes in zip(result.band_names, inside, strict=True) if yes]


def far_red_span(result: Result) -> Span:
    """Range that the far-red bands make up, nm: (700, 800) unless the traced bands end earlier."""
    bands = result.launched.sel(band=far_red_bands(result))
    return float(np.min(bands["low_nm"])), float(np.max(bands["high_nm"]))


def has_red_to_far_red(result: Result) -> bool:
    """Whether the traced bands tell the ratio: they need edges at 600 and 800 nm."""
    return is_traced(result, RED) and is_traced(result, FAR_RED)


def red_to_far_red(
    result: Result, plane: str, *, group: str = "all", direction: str = "down"
) -> Estimate:
    """Ratio of the photon flux densities 600–700 nm over 700–800 nm, means over a plane.

    Parameters
    ----------
    result : Result
        With planes.
    plane : str
        Name of the plane.
    group : str
        Group of lights, or "all".
    direction : str
        "down" or "up", the way the photons travel.

    Returns
    -------
    Estimate
        With the covariance of the two over the batches. NaN where no far-red arrived, and where
        the traced bands have no edge at 600 or 800 nm.

    Notes
    -----
    Studies of phytochrome also use narrow bands round 660 and 730 nm (Smith 1982, Annu. Rev. Plant
    Physiol. 33:481), which give other numbers.
    """
    if not has_red_to_far_red(result):
        return UNKNOWN
    red, far_red = (
        crossed_per_batch(result, plane, span=span, group=group, direction=direction)
        for span in (RED, FAR_RED)
    )
    return ratio(red, far_red)
