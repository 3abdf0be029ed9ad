"""The figures of the report: layer profile, share against leaf area, plane maps, photon ends."""

from __future__ import annotations

import textwrap
from functools import partial
from operator import eq
from typing import TYPE_CHECKING

import numpy as np

from canopysim.analysis.books import in_span
from canopysim.analysis.ends import share_at
from canopysim.analysis.layers import cumulative_share
from canopysim.report.ends import shown_ends, shown_spans
from canopysim.report.rows import emits
from canopysim.report.svg import INK, PALETTE, drawing, new_figure
from canopysim.report.words import (
    FLUX_DENSITY,
    PPFD_BAND,
    band_label,
    centimetres,
    end_label,
    group_label,
    span_label,
)

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

    from canopysim.results import Result


def layer_profile(result: Result) -> str:
    """Absorbed light per leaf area against height, groups of lights stacked, as inline SVG.

    Parameters
    ----------
    result : Result
        With layers.

    Returns
    -------
    str
        SVG element; bars have the height of the layer, error bars are ± one standard error of
        the sum over all lights, 400–700 nm. Groups that emit none of it are left out.
    """
    layers = _layers(result)
    with drawing(
        "layer-profile", f"Absorbed per leaf area by height, {band_label(PPFD_BAND)}"
    ) as d:
        figure, axes = new_figure(4.6, 3.7)
        here = layers.sel(band=PPFD_BAND, side="both")
        bottom = 100.0 * np.asarray(layers["z_bottom_m"], np.float64)
        height = 100.0 * np.asarray(layers["z_top_m"], np.float64) - bottom
        start = np.zeros(len(bottom))
        lit = [group for group in result.groups if emits(result, group, PPFD_BAND)]
        for group in lit:
            # A group keeps its colour whatever the others emit.
            number = result.groups.index(group)
            value = np.asarray(here["absorbed_per_leaf_area"].sel(group=group), np.float64)
            axes.barh(
                bottom,
                value,
                0.92 * height,
                left=start,
                align="edge",
                color=PALETTE[number % len(PALETTE)],
                hatch="//" if number >= len(PALETTE) else None,
                label=group_label(group),
            )
            start = start + value
        total = here.sel(group="all")
        axes.errorbar(
            np.asarray(total["absorbed_per_leaf_area"], np.float64),
            bottom + 0.46 * height,
            xerr=np.asarray(total["absorbed_per_leaf_area_std_err"], np.float64),
            fmt="none",
            ecolor=INK,
            elinewidth=1.2,
            capsize=3,
        )
        axes.set_xlim(left=0.0)
        axes.set_ylim(bottom=0.0)
        axes.set_xlabel(f"absorbed per leaf area ({FLUX_DENSITY}, {band_label(PPFD_BAND)})")
        axes.set_ylabel("height above the floor (cm)")
        if lit and len(result.groups) > 1:
            _legend_below(axes, len(lit))
        _tidy(axes)
        d.finish(figure)
    return d.svg


def layer_share(result: Result) -> str:
    """Cumulative share of the absorbed light against leaf area index from the top, as inline SVG.

    Parameters
    ----------
    result : Result
        With layers.

    Returns
    -------
    str
        SVG element, one line each for 400–700 nm and for far-red; none for what no light emits.
    """
    layers = _layers(result)
    with drawing("layer-share", "Cumulative share of absorbed photons by leaf area index") as d:
        figure, axes = new_figure(4.6, 3.7)
        spans = shown_spans(result)
        for number, span in enumerate(spans):
            bands = np.array(result.band_names)[in_span(result, span)]
            curve = cumulative_share(layers, bands=bands.tolist())
            axes.plot(
                curve.lai,
                100.0 * curve.share,
                marker=("o", "s")[number],
                color=PALETTE[number],
                linestyle="-" if number == 0 else "--",
                label=span_label(span),
            )
        axes.set_xlim(left=0.0)
        axes.set_ylim(0.0, 104.0)
        axes.set_xlabel("leaf area index from the top (m² m⁻²)")
        axes.set_ylabel("share of what leaves absorb (%)")
        _legend_below(axes, len(spans))
        _tidy(axes)
        d.finish(figure)
    return d.svg


def plane_map(result: Result, name: str) -> str:
    """PPFD map of a plane, seen from above, one flat colour for each cell, as inline SVG.

    Parameters
    ----------
    result : Result
        Holding the plane.
    name : str
        Its name.

    Returns
    -------
    str
        SVG element: x to the right, y to the back, cm; colour from 0 to the greatest cell, all
        lights, 400–700 nm, travelling down.
    """
    plane = result.planes[name]
    at = {"group": "all", "band": PPFD_BAND, "direction": "down"}
    cells = np.asarray(plane["pfd"].sel(at).transpose("y", "x"), np.float64)
    x_cm, y_cm = (100.0 * np.asarray(plane[axis], np.float64) for axis in ("x", "y"))
    dx, dy = 100.0 * float(plane.attrs["cell_x_m"]), 100.0 * float(plane.attrs["cell_y_m"])
    extent = (x_cm[0] - dx / 2, x_cm[-1] + dx / 2, y_cm[0] - dy / 2, y_cm[-1] + dy / 2)
    known = cells[np.isfinite(cells)]
    greatest = float(known.max()) if known.size and known.max() > 0.0 else 1.0

    # The paper follows the shape of the plane, within what a page can bear.
    shape = (extent[3] - extent[2]) / (extent[1] - extent[0])
    stamp = textwrap.wrap(_conditions(result, plane), 72)
    height = 0.95 + 3.2 * min(max(shape, 0.3), 1.6) + 0.14 * len(stamp)
    with drawing(f"map-{name}", f"PPFD on {name}, {band_label(PPFD_BAND)}") as d:
        figure, axes = new_figure(4.6, height)
        axes.imshow(
            cells,
            origin="lower",
            extent=extent,
            cmap="viridis",
            vmin=0.0,
            vmax=greatest,
            interpolation="none",
        )
        axes.set_xlabel("x, left to right (cm)")
        axes.set_ylabel("y, front to back (cm)")
        axes.set_title(
            f"{name}: PPFD travelling down, {band_label(PPFD_BAND)}, {FLUX_DENSITY}", fontsize=9
        )
        _colour_scale(axes, greatest)
        figure.supxlabel("\n".join(stamp), fontsize=7.5)
        d.finish(figure)
    return d.svg


def ends_bars(result: Result) -> str:
    """Where the photons ended, as inline SVG.

    Parameters
    ----------
    result : Result
        Any.

    Returns
    -------
    str
        SVG element: shares of the launched photons of all lights in 400–700 nm and in far-red.
    """
    ends, spans = shown_ends(result), shown_spans(result)
    with drawing("photon-ends", "Where the photons ended, share of launched photons") as d:
        figure, axes = new_figure(4.6, 0.95 + 0.32 * max(len(ends), 1))
        row = np.arange(len(ends))
        thickness = 0.8 / len(spans)
        for number, span in enumerate(spans):
            share = [share_at(result, partial(eq, end), span=span) for end in ends]
            axes.barh(
                row - 0.4 + (number + 0.5) * thickness,
                np.nan_to_num([100.0 * estimate.value for estimate in share]),
                0.92 * thickness,
                color=PALETTE[number],
                label=span_label(span),
            )
        axes.set_yticks(row, [textwrap.shorten(end_label(end), 34) for end in ends])
        axes.invert_yaxis()
        axes.set_xlabel("share of launched photons (%)")
        _legend_below(axes, len(spans))
        _tidy(axes)
        d.finish(figure)
    return d.svg


def _layers(result: Result) -> xr.Dataset:
    if result.layers is None:
        raise ValueError("this result has no canopy, so there are no layers to draw")
    return result.layers


def _conditions(result: Result, plane: xr.Dataset) -> str:
    """Say what a map must say of itself, because maps are passed on without their report."""
    settings = result.settings
    size = [settings.get(f"{axis}_m") for axis in ("width", "depth", "height")]
    words = []
    if all(value is not None for value in size):
        words.append("enclosure " + " × ".join(centimetres(float(v or 0.0)) for v in size) + " cm")
    if settings.get("lining"):
        words.append(f"lining {settings['lining']}")
    words.append(f"plane {centimetres(float(plane.attrs['height_m']))} cm above the floor")
    cell = " × ".join(centimetres(float(plane.attrs[f"cell_{axis}_m"])) for axis in ("x", "y"))
    words.append(f"{plane.sizes['x']} × {plane.sizes['y']} cells of {cell} cm")
    words.append("with plants" if settings.get("with_plants") else "without plants")
    # Lines are broken between these statements, not inside.
    return ", ".join(word.replace(" ", "\N{NO-BREAK SPACE}") for word in words)


def _colour_scale(axes: Axes, greatest: float) -> None:
    """Colour scale as one image: a bar of 256 rectangles would show seams and weigh more."""
    scale = axes.inset_axes((1.04, 0.0, 0.045, 1.0))
    scale.imshow(
        np.linspace(0.0, greatest, 256)[:, None],
        origin="lower",
        extent=(0.0, 1.0, 0.0, greatest),
        cmap="viridis",
        aspect="auto",
        interpolation="none",
    )
    scale.set_xticks([])
    scale.yaxis.tick_right()
    scale.yaxis.set_label_position("right")
    scale.set_ylabel(f"PPFD ({FLUX_DENSITY}, {band_label(PPFD_BAND)})")


def _legend_below(axes: Axes, n_entry: int) -> None:
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=min(n_entry, 3), frameon=False)


def _tidy(axes: Axes) -> None:
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(alpha=0.15, linewidth=0.6, color=INK)
    axes.set_axisbelow(True)
