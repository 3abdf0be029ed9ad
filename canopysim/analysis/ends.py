"""Where the photons ended, by what the places are: leaves, walls, floor, openings, corrections."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.books import (
    UNKNOWN,
    Estimate,
    Span,
    absorbed_per_batch,
    launched,
    mean,
)
from canopysim.bands import PAR
from canopysim.world.sinks import CHOICE, ESCAPE, FACE, LEAF, PATCH, ROULETTE

if TYPE_CHECKING:
    from canopysim.results import Result


@dataclass(frozen=True)
class End:
    """A place where photons end.

    Attributes
    ----------
    name : str
        As in the results.
    kind : str
        "leaf", "stem", "body", "face", "patch", "escape", "untraced", "roulette" or "choice".
    face : str
        Face of the enclosure that it belongs to, or "".
    """

    name: str
    kind: str
    face: str


def sinks_of(result: Result) -> list[End]:
    """Tell the end that each row of the books belongs to, (n_sink,)."""
    columns = (result.rows[f"sink_{name}"].values for name in ("end", "kind", "face"))
    return [End(str(n), str(k), str(f)) for n, k, f in zip(*columns, strict=True)]


def ends_of(result: Result) -> list[End]:
    """List every end once, in the order of the books."""
    return list(dict.fromkeys(sinks_of(result)))


def is_leaf(end: End) -> bool:
    """Whether leaves are meant."""
    return end.kind == LEAF


def is_wall(end: End) -> bool:
    """Whether an end is the ceiling, a wall, or a patch on one of them; the floor is none."""
    return end.kind in (FACE, PATCH) and end.face != "floor"


def is_floor(end: End) -> bool:
    """Whether an end is the floor or a patch on it."""
    return end.kind in (FACE, PATCH) and end.face == "floor"


def is_opening(end: End) -> bool:
    """Whether photons leave the enclosure there."""
    return end.kind == ESCAPE


def is_correction(end: End) -> bool:
    """Whether an end is a signed line of the method and no place."""
    return end.kind in (ROULETTE, CHOICE)


def sink_mask(result: Result, wanted: Callable[[End], bool]) -> NDArray[np.float64]:
    """Ones for the rows of the books that belong to the wanted ends, (n_sink,)."""
    return np.array([wanted(end) for end in sinks_of(result)], np.float64)


def share_at(
    result: Result, wanted: Callable[[End], bool], *, span: Span = PAR, group: str = "all"
) -> Estimate:
    """Share of the launched photons that end at some places together.

    Parameters
    ----------
    result : Result
        Any.
    wanted : callable
        Which ends count, such as `is_wall`.
    span : (low, high)
        Range of whole traced bands, nm.
    group : str
        Group of lights, or "all".

    Returns
    -------
    Estimate
        Share, 0 to 1; NaN if nothing was launched.
    """
    total = launched(result, span=span, group=group)
    if not total > 0.0:
        return UNKNOWN
    mask = sink_mask(result, wanted)
    flux = mean(absorbed_per_batch(result, mask, span=span, group=group))
    return Estimate(flux.value / total, flux.std_err / total)
