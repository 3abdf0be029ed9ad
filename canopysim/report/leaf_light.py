"""How brightly how much leaf area is lit, and by which lights directly: tables and a file."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from canopysim.analysis.facets import has_facets
from canopysim.analysis.leaf_histogram import LeafHistogram, leaf_histogram
from canopysim.analysis.told_apart import splits_of, tell_apart
from canopysim.report.rows import Table
from canopysim.report.tables import number
from canopysim.report.words import (
    FLUX_DENSITY,
    PPFD_BAND,
    band_label,
    group_label,
    percent,
    significant,
    with_error,
)
from canopysim.world.splits import FLIGHT

if TYPE_CHECKING:
    from canopysim.analysis.books import Estimate
    from canopysim.results import Result

PAR = band_label(PPFD_BAND)


def leaf_light_tables(result: Result) -> list[Table]:
    """Make the tables that the result has the counts for; none without any."""
    tables = []
    if result.layers is not None and FLIGHT in splits_of(result):
        tables.append(direct_table(result))
    if has_facets(result):
        tables.append(histogram_table(leaf_histogram(result)))
    return tables


def direct_table(result: Result) -> Table:
    """Absorbed per leaf area straight from the lamps, and after other meetings, by group."""
    assert result.layers is not None
    groups = [*result.groups, "all"] if len(result.groups) > 1 else ["all"]
    told = {group: tell_apart(result, FLIGHT, group=group) for group in groups}
    straight = {group: one.weighted(np.array([1.0, 0.0])) for group, one in told.items()}
    later = {group: one.weighted(np.array([0.0, 1.0])) for group, one in told.items()}
    rows = []
    for layer, area in zip(
        result.layers["layer"].values, result.layers["leaf_area_m2"].values, strict=True
    ):
        cells = [str(layer)]
        for group in groups:
            at = told[group].tallies.index(f"layer {layer}")
            for found in (straight[group][at], later[group][at]):
                if not area > 0.0:
                    cells.append("–")
                    continue
                cells.append(with_error(found.value / area, found.std_err / area))
        rows.append(tuple(cells))
    headings = [
        f"{group_label(g)}: {how}" for g in groups for how in ("directly", "after meetings")
    ]
    return Table(
        f"Directly lit and shaded leaves: absorbed per leaf area, {FLUX_DENSITY}, {PAR}, by group "
        "of lights",
        ("Layer", *headings),
        tuple(rows),
        "Directly: straight from the lamp to the leaf that absorbs it. After meetings: by way of "
        "walls, floor, fixtures or other leaves, which is all that shaded leaves get.",
    )


def histogram_table(found: LeafHistogram) -> Table:
    """Share of leaf area by the light that it absorbs."""
    headings = [_bin_label(a, b) for a, b in zip(found.edges, found.edges[1:], strict=False)]
    names = [f"Layer {layer}" for layer in found.layers] + ["All leaves"]
    rows = tuple(
        (name, *(_share(share) for share in shares))
        for name, shares in zip(names, found.share, strict=True)
    )
    return Table(
        f"How much leaf area is how brightly lit: share of a layer's leaf area by absorbed light, "
        f"{FLUX_DENSITY}, {PAR}, all lights",
        ("Leaves", *headings),
        rows,
        "By single leaf triangles, the noise of the trace taken out; where bins are narrower than "
        "that noise their errors are wide. A triangle belongs to the layer of its middle.",
    )


def _bin_label(low: float, high: float) -> str:
    if not np.isfinite(high):
        return f"over {significant(low)}"
    return f"under {significant(high)}" if low == 0.0 else f"{significant(low)}–{significant(high)}"


def _share(share: Estimate) -> str:
    """Share of leaf area, which chance may have brought out of range."""
    value = min(max(share.value, 0.0), 1.0)
    return percent(value, share.std_err) if share.std_err > 0.0 else percent(value)


def write_leaf_light_csv(result: Result, path: Path) -> None:
    """Write the histogram of leaf light.

    Parameters
    ----------
    result : Result
        Whose leaf triangles were counted.
    path : Path
        File to write: a row for each group of lights, layer (0: all leaves) and bin, with the
        bin's ends in µmol m⁻² s⁻¹ absorbed (400–700 nm) and the share of leaf area in it.
    """
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(
            ["group", "layer", "from_umol_m2_s", "to_umol_m2_s", "leaf_area_share", "std_err"]
        )
        for group in (*result.groups, "all"):
            found = leaf_histogram(result, group=group)
            for layer, shares in zip([*found.layers, 0], found.share, strict=True):
                for k, share in enumerate(shares):
                    ends = [number(float(found.edges[k])), number(float(found.edges[k + 1]))]
                    writer.writerow(
                        [group, layer, *ends, number(share.value), number(share.std_err)]
                    )
