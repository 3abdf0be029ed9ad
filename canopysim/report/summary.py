"""What the terminal says after a run."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from canopysim.analysis.ends import walls_share
from canopysim.report.fitted_table import FittedTable
from canopysim.report.rows import (
    band_table,
    ends_table,
    far_red_bands,
    group_table,
    layer_table,
    plane_table,
    reached_errors,
)
from canopysim.report.words import (
    FLUX_DENSITY,
    PPFD_BAND,
    band_label,
    count,
    duration,
    percent,
    stop_label,
    with_error,
)

if TYPE_CHECKING:
    from rich.console import RenderableType

    from canopysim.results import Result


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
            pieces.append(FittedTable(group_table(result.layers, result.groups)))
        far_red = far_red_bands(result)
        if far_red:
            pieces.append(FittedTable(band_table(result.layers, far_red, "Far-red, apart")))
        lowest = result.layers.isel(layer=-1).sel(group="all", band=PPFD_BAND, side="both")
        value = with_error(
            float(lowest["absorbed_per_leaf_area"]),
            float(lowest["absorbed_per_leaf_area_std_err"]),
        )
        pieces.append(
            Text(
                f"\nWhat the lowest leaves get: {value} {FLUX_DENSITY} absorbed per leaf area, "
                f"{band_label(PPFD_BAND)}"
            )
        )
    walls = walls_share(result)
    pieces.append(
        Text(
            f"What the walls cost: {percent(walls.value, walls.std_err)} of the launched "
            f"photons, {band_label(PPFD_BAND)}"
        )
    )
    pieces.append(FittedTable(ends_table(result)))
    pieces.extend(Text(line) for line in ["", *_ending(result)])
    if folder is not None:
        page = folder / "report.html"
        pieces.append(Text.assemble("Results in ", (str(folder), "bold"), "; open next: "))
        pieces.append(Text(f"  {page}", style="bold"))
    return Group(*pieces)


def _ending(result: Result) -> list[str]:
    """Why it stopped, after how much work, and how sure it is now."""
    lines = [
        f"Ended because {stop_label(result.stopped_by)}, after {count(result.n_packet)} photon "
        f"packets in {duration(result.seconds)}."
    ]
    reached = reached_errors(result)
    if reached:
        lines.append(f"Standard error reached: {'; '.join(reached)}.")
    return lines
