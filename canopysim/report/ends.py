"""Where the photons ended, as people read it: the table, the closing of the books, the walls."""

from __future__ import annotations

from functools import partial
from operator import eq
from typing import TYPE_CHECKING

from canopysim.analysis.books import absorbed_per_batch, launched, mean
from canopysim.analysis.ends import (
    End,
    ends_of,
    is_correction,
    is_floor,
    is_opening,
    is_wall,
    share_at,
    sink_mask,
)
from canopysim.analysis.far_red import far_red_span
from canopysim.bands import PAR
from canopysim.report.rows import Table, shown_value
from canopysim.report.words import (
    FLUX,
    PPFD_BAND,
    band_label,
    end_label,
    error_decimals,
    percent,
    percent_within,
    span_label,
)

if TYPE_CHECKING:
    from canopysim.results import Result


def shown_ends(result: Result) -> list[End]:
    """Places where photons of any group and band ended; corrections and empty places left out."""
    ends = []
    for end in ends_of(result):
        flux = float(abs(result.ends["flux_umol_s"].sel(end=end.name, group="all")).sum())
        if not is_correction(end) and flux > 0.0:
            ends.append(end)
    return ends


def shown_spans(result: Result) -> list[tuple[float, float]]:
    """Wavebands in which ends are shown: 400–700 nm and far-red, if any light emits it."""
    return [s for s in (PAR, far_red_span(result)) if launched(result, span=s) > 0.0] or [PAR]


def ends_table(result: Result) -> Table:
    """Where the photons ended: shares of launched in 400–700 nm and far-red, and the flux."""
    spans = shown_spans(result)
    rows, decimals = [], 2
    for end in shown_ends(result):
        here = result.ends.sel(end=end.name, group="all", band=PPFD_BAND)
        cells = []
        for span in spans:
            share = share_at(result, partial(eq, end), span=span)
            cells.append(percent(share.value, share.std_err))
            if share.std_err > 0.0:
                decimals = max(decimals, error_decimals(100.0 * share.std_err))
        flux = shown_value(
            result, float(here["flux_umol_s"]), float(here["std_err"]), "all", PPFD_BAND
        )
        rows.append((end_label(end), cells[0], flux, *cells[1:]))
    return Table(
        "Where the photons ended, all lights, share of launched photons",
        (
            "Ended at",
            f"Share, {span_label(spans[0])}",
            f"Flux, {band_label(PPFD_BAND)}, {FLUX}",
            *(f"Share, {span_label(span)}" for span in spans[1:]),
        ),
        tuple(rows),
        _closing(result, spans, decimals),
    )


def _closing(result: Result, spans: list[tuple[float, float]], decimals: int) -> str:
    """Say that the books close, with what the method added, no finer than the table is."""
    mask = sink_mask(result, is_correction)
    added = []
    for span in spans:
        total = launched(result, span=span)
        if total > 0.0:
            # The books hold what was taken.
            taken = mean(absorbed_per_batch(result, mask, span=span))
            text = percent_within(-taken.value / total, taken.std_err / total, decimals)
            added.append(f"{text} ({span_label(span)})")
    if not added:
        return ""
    return (
        "The books close: the shares add up to all launched photons and what corrections of the "
        f"method add, {' and '.join(added)}, which is nothing but chance and rounding."
    )


def walls_parts(result: Result) -> tuple[str, str, str]:
    """Shares of launched 400–700 nm that walls with the ceiling, floor and openings take."""
    walls, floor, openings = (share_at(result, what) for what in (is_wall, is_floor, is_opening))
    escaped = percent(openings.value, openings.std_err)
    if not any(is_opening(end) for end in ends_of(result)):
        escaped = "0, as nothing is open"
    return percent(walls.value, walls.std_err), percent(floor.value, floor.std_err), escaped


def walls_text(result: Result) -> str:
    """Say what the walls cost, with its scope."""
    walls, floor, escaped = walls_parts(result)
    return (
        f"walls and ceiling with their patches: {walls}; floor: {floor}; escaped through "
        f"openings: {escaped} (of launched photons, {band_label(PPFD_BAND)})"
    )
