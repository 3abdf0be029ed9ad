"""The tables that people read, as text cells: the terminal and the page show the same ones."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from canopysim.analysis.planes import plane_statistics
from canopysim.report.words import (
    CORRECTIONS,
    FLUX,
    FLUX_DENSITY,
    PPFD_BAND,
    band_label,
    centimetres,
    end_label,
    group_label,
    percent,
    significant,
    with_error,
)

if TYPE_CHECKING:
    import xarray as xr

    from canopysim.results import Result


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


def _per_leaf_area(here: xr.Dataset) -> str:
    return with_error(
        float(here["absorbed_per_leaf_area"]), float(here["absorbed_per_leaf_area_std_err"])
    )


def layer_table(result: Result, layers: xr.Dataset) -> Table:
    """Layers from the top down: where, how much leaf, how much light in 400–700 nm."""
    n_layer = layers.sizes["layer"]
    launched = float(result.launched.sel(group="all", band=PPFD_BAND))
    rows = []
    for layer in layers["layer"].values:
        here = layers.sel(layer=layer, group="all", band=PPFD_BAND, side="both")
        share, error = float("nan"), float("nan")
        if launched > 0.0:
            share = float(here["absorbed_umol_s"]) / launched
            error = float(here["absorbed_std_err"]) / launched
        rows.append(
            (
                _layer_name(int(layer), n_layer),
                _per_leaf_area(here),
                percent(share, error),
                _height_range(float(here["z_bottom_m"]), float(here["z_top_m"])),
                significant(float(here["leaf_area_m2"])),
                f"{float(here['cumulative_lai']):.2f}",
            )
        )
    return Table(
        f"What each layer absorbs, {band_label(PPFD_BAND)}, all lights",
        (
            "Layer",
            f"Absorbed per leaf area, {FLUX_DENSITY}",
            "Share of launched photons",
            "Height, cm",
            "Leaf area, m²",
            "LAI from the top",
        ),
        tuple(rows),
        "± is one standard error of the trace. Leaf area is one-sided; LAI from the top is leaf "
        "area over ground area down to the bottom of the layer.",
    )


def group_table(layers: xr.Dataset, groups: list[str]) -> Table:
    """Layers against groups of lights, 400–700 nm."""
    names = [*groups, "all"]
    rows = []
    for layer in layers["layer"].values:
        here = layers.sel(layer=layer, band=PPFD_BAND, side="both")
        cells = [_per_leaf_area(here.sel(group=name)) for name in names]
        rows.append((_layer_name(int(layer), layers.sizes["layer"]), *cells))
    return Table(
        f"Absorbed per leaf area by lights, {band_label(PPFD_BAND)}, {FLUX_DENSITY}",
        ("Layer", *(group_label(name) for name in names)),
        tuple(rows),
    )


def band_table(layers: xr.Dataset, bands: list[str], caption: str) -> Table:
    """Layers against wavebands, all lights."""
    rows = []
    for layer in layers["layer"].values:
        here = layers.sel(layer=layer, group="all", side="both")
        cells = [_per_leaf_area(here.sel(band=band)) for band in bands]
        rows.append((_layer_name(int(layer), layers.sizes["layer"]), *cells))
    return Table(
        f"{caption}: absorbed per leaf area, all lights, {FLUX_DENSITY}",
        ("Layer", *(band_label(band) for band in bands)),
        tuple(rows),
    )


def far_red_bands(result: Result) -> list[str]:
    """Traced bands beyond 700 nm, which are shown apart."""
    return [band for band in result.band_names if float(band.split("-")[0]) >= 700.0]


def far_red_sum(result: Result) -> list[str]:
    """All the far-red of the result as one range, such as "700-800", in a list; none is []."""
    bands = far_red_bands(result)
    return [f"700-{bands[-1].split('-')[1]}"] if bands else []


def plane_table(result: Result, *, brief: bool = False) -> Table:
    """Mean, extremes and evenness of each plane, 400–700 nm.

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
    typical = []
    for name, plane in result.planes.items():
        for group, direction in wanted:
            figures = plane_statistics(plane, group=group, direction=direction)
            if (group, direction) == ("all", "down"):
                typical.append(f"{significant(figures.cell_std_err, 2)} on {name}")
            row: tuple[str, ...] = (
                f"{name}, {centimetres(float(plane.attrs['height_m']))} cm up",
                with_error(figures.mean, figures.mean_std_err),
                with_error(figures.minimum, figures.minimum_std_err),
                with_error(figures.maximum, figures.maximum_std_err),
                significant(figures.min_over_mean),
            )
            evenness = (
                significant(figures.min_over_max),
                percent(figures.coefficient_of_variation),
            )
            # The row's name comes first, then which light it is about.
            light = f"{group_label(group)}, {direction}"
            rows.append(row if brief else (row[0], light, *row[1:], *evenness))
    columns: tuple[str, ...] = ("Plane", "Mean", "Least cell", "Greatest cell", "Min/mean")
    if not brief:
        columns = ("Plane", "Lights, travelling", *columns[1:], "Min/max", "Spread (CV)")
    scope = ", all lights, travelling down" if brief else ""
    return Table(
        f"PPFD on the planes, {band_label(PPFD_BAND)}, {FLUX_DENSITY}{scope}",
        columns,
        tuple(rows),
        "The least of many noisy cells reads too low, the greatest too high"
        f"{'' if brief else ', and the spread contains the noise'}; they are not corrected. "
        f"The typical standard error of a cell is {'; '.join(typical)} ({FLUX_DENSITY}, "
        f"{band_label(PPFD_BAND)}, all lights, travelling down).",
    )


def shown_ends(result: Result) -> list[str]:
    """Places where photons of any group and band ended; corrections and empty places left out."""
    ends = []
    for end in (str(name) for name in result.ends["end"].values):
        flux = float(abs(result.ends["flux_umol_s"].sel(end=end, group="all")).sum())
        if end not in CORRECTIONS and flux > 0.0:
            ends.append(end)
    return ends


def _end_share(result: Result, end: str, band: str) -> str:
    here = result.ends.sel(end=end, group="all", band=band)
    return percent(float(here["share"]), float(here["share_std_err"]))


def ends_table(result: Result) -> Table:
    """Where the photons ended: shares of launched in 400–700 nm and far-red, and the flux."""
    far_red = far_red_sum(result)
    rows = []
    corrections = [e for e in CORRECTIONS if e in result.ends["end"].values]
    for end in [*shown_ends(result), *corrections]:
        here = result.ends.sel(end=end, group="all", band=PPFD_BAND)
        rows.append(
            (
                end_label(end),
                _end_share(result, end, PPFD_BAND),
                with_error(float(here["flux_umol_s"]), float(here["std_err"])),
                *(_end_share(result, end, band) for band in far_red),
            )
        )
    return Table(
        "Where the photons ended, all lights, share of launched photons",
        (
            "Ended at",
            f"Share, {band_label(PPFD_BAND)}",
            f"Flux, {band_label(PPFD_BAND)}, {FLUX}",
            *(f"Share, {band_label(band)}" for band in far_red),
        ),
        tuple(rows),
        "The two corrections belong to the method: they are zero but for chance and rounding "
        "to whole counts, and make the books close exactly.",
    )


def reached_errors(result: Result) -> list[str]:
    """Largest relative standard errors that the run reached, one sentence for each kind."""
    lines = []
    if result.layers is not None:
        here = result.layers.sel(group="all", band=PPFD_BAND, side="both")
        worst, unknown = _worst(
            [float(v) for v in here["absorbed_umol_s"].values],
            [float(v) for v in here["absorbed_std_err"].values],
        )
        text = (
            f"layers: at most {percent(worst)} of each layer's {band_label(PPFD_BAND)} absorption"
        )
        lines.append(text + (f" ({unknown} not reached by any photon)" if unknown else ""))
    figures = [plane_statistics(plane) for plane in result.planes.values()]
    if any(math.isfinite(f.mean_std_err) for f in figures):
        worst, unknown = _worst([f.mean for f in figures], [f.mean_std_err for f in figures])
        text = f"planes: at most {percent(worst)} of each plane's mean {band_label(PPFD_BAND)}"
        lines.append(text + (f" ({unknown} not reached by any photon)" if unknown else ""))
    return lines


def _worst(values: list[float], errors: list[float]) -> tuple[float, int]:
    """Largest relative error among the known ones, and how many are unknown."""
    ratios = [e / v for v, e in zip(values, errors, strict=True) if v > 0.0 and math.isfinite(e)]
    return (max(ratios) if ratios else float("nan")), len(values) - len(ratios)


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


def untraced(result: Result) -> str:
    """Share of the photons that the program lost, or "none"."""
    lost = result.ends.sel(end="untraced", group="all")
    if not float(abs(lost["flux_umol_s"]).sum()) > 0.0:
        return "none"
    return f"{percent(float(lost['share'].sel(band=PPFD_BAND)))} ({band_label(PPFD_BAND)})"
