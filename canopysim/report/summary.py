"""What the terminal says after a run."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from canopysim.analysis.canopy_box import has_plants, has_sides
from canopysim.analysis.far_red import red_to_far_red
from canopysim.analysis.replicates import n_replicates
from canopysim.analysis.told_apart import splits_of
from canopysim.report.accuracy import batch_note, figure_of_merit, has_errors, reached_errors
from canopysim.report.electricity import summary_lines
from canopysim.report.ends import ends_table, walls_text
from canopysim.report.fitted_table import FittedTable
from canopysim.report.hanging import NO_BREAK, Hanging
from canopysim.report.probes import meter_tables
from canopysim.report.reach import (
    lower_half_sentences,
    lowest_leaves,
    reach_sentences,
    reaches,
)
from canopysim.report.rows import (
    RATIO_BANDS,
    far_red_table,
    group_table,
    layer_table,
    plane_table,
    shown_value,
    top_plane,
)
from canopysim.report.words import (
    FLUX_DENSITY,
    PPFD_BAND,
    band_label,
    colour_ratio,
    count,
    duration,
    stop_label,
)

if TYPE_CHECKING:
    from rich.console import RenderableType

    from canopysim.results import Result


# A figure and its error stay on one line.
BOUND = f"{NO_BREAK}±{NO_BREAK}"


def summary_text(result: Result, folder: Path | None = None) -> RenderableType:
    """Sum up a run for the terminal.

    Parameters
    ----------
    result : Result
        What to show.
    folder : Path or None
        Where the files are, to say what to open next.

    Returns
    -------
    rich renderable
        Tables and sentences; names from the scene are shown as they are, never as markup.
    """
    from rich.console import Group
    from rich.text import Text

    pieces: list[RenderableType] = [Text(result.title, style="bold")]
    if result.partial:
        pieces.append(
            Text(
                f"Partial run: it ended early because {stop_label(result.stopped_by)}.",
                style="bold yellow",
            )
        )
    if result.planes:
        pieces.append(FittedTable(plane_table(result, brief=True)))
    if result.layers is not None:
        pieces.append(FittedTable(layer_table(result, result.layers)))
        if len(result.groups) > 1:
            pieces.append(FittedTable(group_table(result)))
        pieces.append(FittedTable(far_red_table(result)))
    pieces += [FittedTable(table) for table in meter_tables(result)]
    pieces.append(FittedTable(ends_table(result)))
    pieces.append(Text(""))
    pieces.extend(
        Hanging(line.strip().replace(" ± ", BOUND), 2 if line.startswith("  ") else 0)
        for line in _answers(result)
    )
    pieces.extend(Text(line) for line in ["", *_ending(result)])
    counted = [*splits_of(result)] + ["leaf triangles"] * bool(
        result.meta.get("told_apart", {}).get("facets")
    )
    counted += ["the canopy's sides"] * has_sides(result) + ["single plants"] * has_plants(result)
    if counted:
        pieces.append(Text(f"Also counted, see the report: {', '.join(counted)}."))
    if folder is not None:
        page = folder / "report.html"
        pieces.append(Text.assemble("Results in ", (str(folder), "bold"), "; open next: "))
        pieces.append(Text(f"  {page}", style="bold"))
    return Group(*pieces)


def _answers(result: Result) -> list[str]:
    """Answer what a grower asks, a sentence each."""
    par = band_label(PPFD_BAND)
    lines = []
    if result.layers is not None:
        lowest = result.layers.isel(layer=-1).sel(group="all", band=PPFD_BAND, side="both")
        value = shown_value(
            result,
            float(lowest["absorbed_per_leaf_area"]),
            float(lowest["absorbed_per_leaf_area_std_err"]),
            "all",
            PPFD_BAND,
        )
        if n_replicates(result) > 1:
            value = lowest_leaves(result)
        lines.append(
            f"What the lowest leaves get: {value} {FLUX_DENSITY} absorbed per leaf area, {par}"
        )
        lines += lower_half_sentences(result)
        lines += reach_sentences(result, reaches(result, brief=True))
    name = top_plane(result)
    if name is not None:
        ratio = red_to_far_red(result, name)
        if ratio.value == ratio.value:
            text = colour_ratio(ratio.value, ratio.std_err)
            lines.append(f"Red:far-red on {name}, travelling down: {text} ({RATIO_BANDS})")
    return [*lines, f"What the walls cost: {walls_text(result)}", *summary_lines(result)]


def _ending(result: Result) -> list[str]:
    """Why it stopped, after how much work, and how sure it is now."""
    lines = [
        f"Ended because {stop_label(result.stopped_by)}, after {count(result.n_packet)} photon "
        f"packets in {duration(result.seconds)}.",
        f"Standard error reached: {'; '.join(reached_errors(result))}.",
    ]
    if has_errors(result) and batch_note(result):
        lines.append(batch_note(result))
    if figure_of_merit(result):
        lines.append(figure_of_merit(result))
    return lines
