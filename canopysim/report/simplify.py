"""What a turbid canopy costs, for people: a table for the terminal and a CSV file."""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import TYPE_CHECKING

from canopysim.report.rows import Table
from canopysim.report.words import PPFD_BAND, band_label, percent, significant, with_error
from canopysim.studies.simplify import Cost, leaf_areas, simplification_costs

if TYPE_CHECKING:
    from canopysim.analysis.books import Estimate
    from canopysim.results import Result

CLEAR = 3.0
"""A change of so many standard errors is told from none."""


def simplify_table(drawn: Result, turbid: Result, how: str) -> Table:
    """Table of both traces and of what the change from one to the other is."""
    rows = []
    for cost in simplification_costs(drawn, turbid):
        unit = {"share": ", of the launched light", "": ""}.get(
            cost.unit, f", {cost.unit} of ground"
        )
        rows.append(
            (
                f"{cost.name}{unit}",
                _shown(cost, cost.drawn),
                _shown(cost, cost.turbid),
                _change(cost),
            )
        )
    for layer, (one, other) in enumerate(leaf_areas(drawn, turbid), 1):
        off = other / one - 1 if one > 0 else float("nan")
        rows.append(
            (f"leaf area of layer {layer}, m²", significant(one, 4), significant(other, 4),
             f"{'+' * (off > 0)}{percent(off)}")
        )  # fmt: skip
    shape = "a slab" if how == "slab" else "crowns"
    return Table(
        f"What it costs to take the leaves as small and loose, in {shape}: "
        f"{band_label(PPFD_BAND)}, all lights",
        ("Figure", "As drawn", "As turbid", "Change"),
        tuple(rows),
        "± is one standard error; 'not told apart' means a change of less than "
        f"{CLEAR:g} of them. Both have the same leaf area, at the same heights and with the same "
        "inclinations; what a change shows is that leaves have a size, a plant and neighbours.",
    )


def simplify_sentence(drawn: Result, turbid: Result) -> str:
    """Say the greatest change of a layer, and that of all leaves."""
    costs = simplification_costs(drawn, turbid)
    layers = [c for c in costs if c.unit == "µmol m⁻² s⁻¹" and math.isfinite(c.change.value)]
    total = next(c for c in costs if c.name == "absorbed by all leaves")
    text = f"All leaves together: {_change(total)}"
    if layers:
        worst = max(layers, key=lambda c: abs(c.change.value))
        text += f"; the layer that changes most, {worst.name.removeprefix('absorbed by ')}: "
        text += _change(worst)
    return f"{text}."


def write_simplify_csv(drawn: Result, turbid: Result, path: Path) -> None:
    """Write the figures, each with its standard errors, one row each."""
    with path.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(["figure", "unit", "drawn", "drawn_std_err", "turbid", "turbid_std_err",
                      "change", "change_std_err"])  # fmt: skip
        for c in simplification_costs(drawn, turbid):
            numbers = (c.drawn, c.turbid, c.change)
            unit = {"µmol m⁻² s⁻¹": "umol_m2_s"}.get(c.unit, c.unit or "1")
            cells = [f"{x:.9g}" for e in numbers for x in (e.value, e.std_err)]
            out.writerow([c.name, unit, *cells])
        for layer, (one, other) in enumerate(leaf_areas(drawn, turbid), 1):
            off = other / one - 1 if one > 0 else float("nan")
            out.writerow([f"leaf area of layer {layer}", "m2", f"{one:.9g}", "0", f"{other:.9g}",
                          "0", f"{off:.9g}", "0"])  # fmt: skip


def _shown(cost: Cost, estimate: Estimate) -> str:
    if cost.unit == "share":
        return percent(estimate.value, estimate.std_err)
    return with_error(estimate.value, estimate.std_err)


def _change(cost: Cost) -> str:
    change = cost.change
    if not math.isfinite(change.value):
        return "–"
    text = percent(change.value, change.std_err)
    if change.value > 0:
        text = f"+{text}"
    if not abs(change.value) > CLEAR * change.std_err:
        text += " (not told apart)"
    return text
