"""What another lining would give, from one trace: light told apart by its meetings with it.

Light that has met the lining n times has the n-th power of its reflectance as a factor, and
nothing else in it depends on that reflectance. If every band's reflectance is f times what it was,
diffuse and mirrored alike, a tally is the sum of f^n times its part with n meetings.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from canopysim.analysis.books import Estimate, Span, in_span
from canopysim.analysis.told_apart import Told, tell_apart
from canopysim.bands import PAR
from canopysim.errors import CanopysimError
from canopysim.world.splits import LINING

if TYPE_CHECKING:
    from canopysim.results import Result


@dataclass(frozen=True)
class Relined:
    """A tally under another lining.

    Attributes
    ----------
    flux : Estimate
        µmol s⁻¹.
    ratio : Estimate
        Over what the traced lining gives; the error counts that both come from the same photons.
    unsure : float
        µmol s⁻¹ that rest on the last row, which holds every larger number of meetings: the truth
        lies lower by at most this where the lining reflects less. Where it reflects more, the
        truth lies higher by about this.
    """

    flux: Estimate
    ratio: Estimate
    unsure: float


def greatest_factor(result: Result, *, span: Span = PAR) -> float:
    """Largest factor on the lining's reflectance that stays below one in every band of a range."""
    most = max(np.array(result.meta["told_apart"]["lining_reflectance"])[in_span(result, span)])
    return float("inf") if most == 0 else 1 / float(most)


def with_lining(
    result: Result, factor: float, *, span: Span = PAR, group: str = "all"
) -> dict[str, Relined]:
    """Tallies as they would be with another lining, without tracing again.

    Parameters
    ----------
    result : Result
        Of a scene with ``also_count: {lining_meetings: …}``.
    factor : float
        On the lining's reflectance in every band; 0 is a black lining.
    span : (low, high)
        Range of whole traced bands, nm.
    group : str
        Group of lights, or "all".

    Returns
    -------
    dict of str to Relined
        By tally, as in `tell_apart`, without the ends that are lined: those absorb what is left.

    Raises
    ------
    CanopysimError
        For a factor with which the lining would reflect more than it receives, and where the
        meetings were not counted.
    """
    told = tell_apart(result, LINING, span=span, group=group)
    most = greatest_factor(result, span=span)
    if not 0 <= factor <= most * (1 + 1e-9):
        raise CanopysimError(
            f"factor: {factor:g} is out of range; allowed is 0 to {most:.6g}, where the lining "
            "reflects all that it receives"
        )
    lined = set(result.meta["told_apart"]["lined_ends"])
    power = np.asarray(factor, np.float64) ** np.arange(len(told.rows))
    with np.errstate(divide="ignore", invalid="ignore"):
        values, ratios = told.weighted(power), told.shares(power)
    last = _last_row(told, factor)
    return {
        name: Relined(value, ratio, float(unsure))
        for name, value, ratio, unsure in zip(told.tallies, values, ratios, last, strict=True)
        if name not in lined
    }


def _last_row(told: Told, factor: float) -> list[float]:
    """Flux that rests on the last row of each tally; see `Relined.unsure`."""
    flux = np.abs(told.flux.sum(0) / told.batches.sum())
    held = factor ** (len(told.rows) - 1) * flux[-1]
    if factor <= 1:
        return list(held)
    # Rows fall by a steady ratio q, the same for every tally, once light has forgotten where it
    # came from; the last holds q^0 + q^1 + ... of them, to be weighed by factor^0, factor^1, ...
    before, last = flux[-2].sum(), flux[-1].sum()
    if last == 0:
        return list(held)
    q = last / (before + last)
    more = (1 - q) / (1 - factor * q) - 1 if factor * q < 1 else np.inf
    return list(np.where(held > 0, held * more, 0.0))
