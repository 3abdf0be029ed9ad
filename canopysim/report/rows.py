"""The tables that people read, as text cells: the terminal and the page show the same ones."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from canopysim.analysis.books import launched
from canopysim.analysis.far_red import (
    FAR_RED,
    RED,
    far_red_bands,
    far_red_span,
    has_red_to_far_red,
    red_to_far_red,
)
from canopysim.analysis.layers import layer_flux
from canopysim.analysis.planes import plane_mean, plane_statistics
from canopysim.bands import PAR, range_label
from canopysim.report.accuracy import batch_note, has_errors
from canopysim.report.words import (
    FLUX_DENSITY,
    PPFD_BAND,
    band_label,
    centimetres,
    colour_ratio,
    group_label,
    percent,
    significant,
    span_label,
    with_error,
)

if TYPE_CHECKING:
    import xarray as xr

    from canopysim.results import Result

EMITS_NONE = "0: those lights emit nothing in that waveband."
RATIO_BANDS = f"{range_label(*RED).replace('-', '–')} over {span_label(FAR_RED)}"


@dataclass(frozen=True)
class Table:
    """Text cells with a caption; the first column names the row.

    Attributes
    ----------
    caption : str
        What it shows, with waveband and unit.
    columns : tuple of str
        Headings.
    rows : tuple of tuple of str
        Cells, as many in each row as there are columns.
    note : str
        A sentence below it, or "".
    """

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


def _layer_name(layer: int, n_layer: int) -> str:
    return (
        f"{layer} (top)" if layer == 1 else f"{layer} (lowest)" if layer == n_layer else f"{layer}"
    )


def _height_range(bottom_m: float, top_m: float) -> str:
    """Heights in cm, both with a decimal if one needs it."""
    low, high = round(100.0 * bottom_m, 1), round(100.0 * top_m, 1)
    decimals = 0 if low.is_integer() and high.is_integer() else 1
    return f"{low:.{decimals}f}–{high:.{decimals}f}"


def emits(result: Result, group: str, band: str) -> bool:
    """Whether a group of lights launches anything in a band of the results."""
    return float(result.launched.sel(group=group, band=band)) > 0.0


def shown_value(result: Result, value: float, std_err: float, group: str, band: str) -> str:
    """Value with its error, or "0" where it is known that nothing was launched."""
    return with_error(value, std_err) if emits(result, group, band) else "0"


def _per_leaf_area(result: Result, layer: int, group: str, band: str) -> str:
    assert result.layers is not None
    here = result.layers.sel(layer=layer, group=group, band=band, side="both")
    value = float(here["absorbed_per_leaf_area"])
    return shown_value(result, value, float(here["absorbed_per_leaf_area_std_err"]), group, band)


def _layer_table(
    result: Result, caption: str, columns: list[tuple[str, str, str]], note: str = ""
) -> Table:
    """Absorbed per leaf area, layers against (heading, group, band)."""
    assert result.layers is not None
    n_layer = result.layers.sizes["layer"]
    rows = [
        (
            _layer_name(int(layer), n_layer),
            *(_per_leaf_area(result, layer, group, band) for _, group, band in columns),
        )
        for layer in result.layers["layer"].values
    ]
    dark = any(not emits(result, group, band) for _, group, band in columns)
    notes = [note] * bool(note) + [EMITS_NONE] * dark
    headings = ("Layer", *(heading for heading, _, _ in columns))
    return Table(caption, headings, tuple(rows), " ".join(notes))


def layer_table(result: Result, layers: xr.Dataset) -> Table:
    """Layers from the top down: where, how much leaf, how much light in 400–700 nm."""
    n_layer = layers.sizes["layer"]
    total = launched(result)
    rows = []
    for layer in layers["layer"].values:
        here = layers.sel(layer=layer, group="all", band=PPFD_BAND, side="both")
        share, error = float("nan"), float("nan")
        if total > 0.0:
            share = float(here["absorbed_umol_s"]) / total
            error = float(here["absorbed_std_err"]) / total
        rows.append(
            (
                _layer_name(int(layer), n_layer),
                _per_leaf_area(result, layer, "all", PPFD_BAND),
                percent(share, error),
                _height_range(float(here["z_bottom_m"]), float(here["z_top_m"])),
                significant(float(here["leaf_area_m2"])),
                f"{float(here['cumulative_lai']):.2f}",
            )
        )
    notes = ["± is one standard error of the trace."] * has_errors(result)
    notes += [batch_note(result)] * bool(batch_note(result))
    notes.append(
        "Leaf area is one-sided. The leaf area index is leaf area over ground area, from the top "
        "down to the bottom of the layer."
    )
    return Table(
        f"What each layer absorbs, {band_label(PPFD_BAND)}, all lights",
        (
            "Layer",
            f"Absorbed per leaf area, {FLUX_DENSITY}",
            "Share of launched photons",
            "Height, cm",
            "Leaf area, m²",
            "Leaf area index (LAI) from the top",
        ),
        tuple(rows),
        " ".join(notes),
    )


def group_table(result: Result) -> Table:
    """Layers against groups of lights, 400–700 nm."""
    columns = [(group_label(name), name, PPFD_BAND) for name in [*result.groups, "all"]]
    caption = f"Absorbed per leaf area by lights, {band_label(PPFD_BAND)}, {FLUX_DENSITY}"
    return _layer_table(result, caption, columns)


def far_red_table(result: Result) -> Table:
    """Layers against far-red bands, by groups of lights, and all far-red of all lights."""
    bands = far_red_bands(result)
    several = len(result.groups) > 1
    columns = [
        (f"{group_label(name)}, {band_label(band)}" if several else band_label(band), name, band)
        for name in ([*result.groups, "all"] if several else ["all"])
        for band in bands
    ]
    what = "by lights" if several else "all lights"
    table = _layer_table(
        result, f"Far-red: absorbed per leaf area, {what}, {FLUX_DENSITY}", columns
    )
    if len(bands) == 1:
        return table
    span = far_red_span(result)
    heading = f"all lights, {span_label(span)}" if several else span_label(span)
    return Table(
        table.caption,
        (*table.columns, heading),
        tuple(
            (*row, _sum_per_leaf_area(result, layer, span))
            for layer, row in enumerate(table.rows, 1)
        ),
        table.note,
    )


def _sum_per_leaf_area(result: Result, layer: int, span: tuple[float, float]) -> str:
    """All lights in a range that need not be labelled in the results."""
    assert result.layers is not None
    if not launched(result, span=span) > 0.0:
        return "0"
    area = float(result.layers["leaf_area_m2"].sel(layer=layer))
    flux = layer_flux(result, layer, span=span)
    return with_error(flux.value / area, flux.std_err / area) if area > 0.0 else "–"


def other_bands_table(result: Result) -> Table:
    """Layers against every waveband that is not far-red alone, all lights."""
    assert result.layers is not None
    span = far_red_span(result)
    named = {*far_red_bands(result), range_label(*span)}
    bands = [str(band) for band in result.layers["band"].values if band not in named]
    return _layer_table(
        result,
        f"Other wavebands: absorbed per leaf area, all lights, {FLUX_DENSITY}",
        [(band_label(band), "all", band) for band in bands],
    )


def plane_table(result: Result, *, brief: bool = False) -> Table:
    """Mean of each plane in 400–700 nm and in far-red, then its extremes and evenness.

    Parameters
    ----------
    result : Result
        With planes.
    brief : bool
        Only all lights together, travelling down, and fewer columns.
    """
    wanted = [("all", "down")]
    if not brief:
        groups = result.groups if len(result.groups) > 1 else []
        wanted += [*((group, "down") for group in groups), ("all", "up")]
    rows = []
    for name, plane in result.planes.items():
        for group, direction in wanted:
            figures = plane_statistics(plane, group=group, direction=direction)
            cells = [f"{name}, {centimetres(float(plane.attrs['height_m']))} cm up"]
            if not brief:
                cells.append(f"{group_label(group)}, {direction}")
            cells.append(shown_value(result, figures.mean, figures.mean_std_err, group, PPFD_BAND))
            cells += _far_red_cells(result, name, group, direction)
            cells += [
                shown_value(result, value, error, group, PPFD_BAND)
                for value, error in (
                    (figures.minimum, figures.minimum_std_err),
                    (figures.maximum, figures.maximum_std_err),
                )
            ]
            cells.append(significant(figures.min_over_mean))
            if not brief:
                cells.append(significant(figures.min_over_max))
                cells.append(percent(figures.coefficient_of_variation))
                cells.append(percent(figures.variation_without_noise))
            rows.append(tuple(cells))
    columns = ["Plane", "Mean", f"Far-red mean, {span_label(far_red_span(result))}"]
    if has_red_to_far_red(result):
        columns.append(f"Red:far-red, {RATIO_BANDS}")
    columns += ["Least cell", "Greatest cell", "Min/mean"]
    if not brief:
        columns.insert(1, "Lights, travelling")
        columns += ["Min/max", "Coefficient of variation (CV)", "CV without noise"]
    scope = ", all lights, travelling down" if brief else ""
    return Table(
        f"Light on the planes, {band_label(PPFD_BAND)} unless the heading says otherwise, "
        f"{FLUX_DENSITY}{scope}",
        tuple(columns),
        tuple(rows),
        _plane_note(result, wanted, brief),
    )


def _far_red_cells(result: Result, plane: str, group: str, direction: str) -> list[str]:
    """Mean far-red, and red over far-red where the traced bands tell it."""
    span = far_red_span(result)
    cells = ["0"]
    if launched(result, span=span, group=group) > 0.0:
        mean_of = plane_mean(result, plane, span=span, group=group, direction=direction)
        cells = [with_error(mean_of.value, mean_of.std_err)]
    if has_red_to_far_red(result):
        ratio = red_to_far_red(result, plane, group=group, direction=direction)
        cells.append(colour_ratio(ratio.value, ratio.std_err))
    return cells


def _plane_note(result: Result, wanted: list[tuple[str, str]], brief: bool) -> str:
    """Say what the extremes of noisy cells are worth, and what a 0 in the table means."""
    notes = [
        "The least of many noisy cells reads too low, the greatest too high"
        f"{'' if brief else ', and the CV contains the noise'}; they are not corrected."
    ]
    if has_errors(result):
        typical = [
            f"{significant(plane_statistics(plane).cell_std_err, 2)} on {name}"
            for name, plane in result.planes.items()
        ]
        notes.append(
            f"The typical standard error of a cell is {'; '.join(typical)} ({FLUX_DENSITY}, "
            f"{band_label(PPFD_BAND)}, all lights, travelling down)."
        )
    spans = [PAR, far_red_span(result)]
    if any(not launched(result, span=span, group=g) > 0.0 for g, _ in wanted for span in spans):
        notes.append(EMITS_NONE)
    if not has_red_to_far_red(result):
        notes.append(f"Red:far-red ({RATIO_BANDS}) needs edges of wavebands at 600 and 800 nm.")
    return " ".join(notes)


def top_plane(result: Result) -> str | None:
    """Name of the plane that tells of the canopy's top: the one nearest to it in height."""
    if not result.planes:
        return None
    top = result.settings.get("canopy_height_m")
    if top is None:
        return next(iter(result.planes))
    return min(
        result.planes, key=lambda name: abs(float(result.planes[name].attrs["height_m"]) - top)
    )


def is_canopy_top(result: Result, name: str) -> bool:
    """Whether a plane lies within 10 cm of the canopy's top."""
    top = result.settings.get("canopy_height_m")
    height = float(result.planes[name].attrs["height_m"])
    return top is not None and abs(height - float(top)) <= 0.1
