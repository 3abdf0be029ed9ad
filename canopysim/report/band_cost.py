"""What wide wavebands cost against bands of 10 nm, as a table."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from canopysim.analysis.band_cost import Changed, band_costs
from canopysim.report.rows import Table
from canopysim.report.words import band_label, percent, significant

if TYPE_CHECKING:
    from canopysim.results import Result


def band_cost_table(result: Result) -> Table | None:
    """Tell for each waveband what leaves and floor would absorb in narrow bands; None if unknown.

    Parameters
    ----------
    result : Result
        With leaves.
    """
    found = band_costs(result)
    if not found:
        return None
    rows = tuple(
        (band_label(each.band), *_cells(each.leaves), *_cells(each.floor)) for each in found
    )
    step = f"{result.meta['band_cost']['step_nm']:g} nm"
    return Table(
        f"What these wavebands cost against bands of {step}: shares of launched photons, all "
        "lights",
        (
            "Waveband",
            "Absorbed by leaves, as traced",
            f"With {step}",
            "Traced over that",
            "Absorbed by the floor, as traced",
            f"With {step}",
            "Traced over that",
        ),
        rows,
        "Within a waveband the colours stay mixed as they were launched, though each leaf takes "
        "out more of those that leaves absorb; so wide bands absorb too much where a leaf's "
        f"optics change within them. The figures with {step} are an estimate from this trace, not "
        "another trace; the estimated differences are good to about a tenth of themselves. To "
        "trace such bands, write them under 'bands' in the scene.",
    )


def _cells(changed: Changed) -> tuple[str, str, str]:
    cost = changed.cost.value
    if math.isnan(cost):
        return percent(changed.wide), "–", "–"
    sign = "+" if cost >= 0 else "−"
    size = abs(100 * cost)
    text = "under 0.01 %" if size < 0.01 else f"{sign}{significant(size, 2)} %"
    return percent(changed.wide), percent(changed.narrow), text
