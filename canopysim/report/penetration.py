"""How deep the light reaches, for people: sentences, tables, a figure and a file."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from canopysim.analysis.books import Estimate, Span, launched
from canopysim.analysis.far_red import far_red_span
from canopysim.analysis.penetration import Penetration, Remaining, penetration_of
from canopysim.analysis.profile import (
    Profile,
    knows_profile,
    profile,
    red_to_far_red_by_depth,
)
from canopysim.report.ends import shown_spans
from canopysim.report.markup import figure_html, prose, table_html
from canopysim.report.rows import RATIO_BANDS, Table
from canopysim.report.svg import INK, PALETTE, drawing, new_figure
from canopysim.report.tables import number, plain_text
from canopysim.report.words import (
    FLUX_DENSITY,
    PPFD_BAND,
    band_label,
    centimetres,
    colour_ratio,
    group_label,
    percent,
    span_label,
    with_error,
)

if TYPE_CHECKING:
    from canopysim.results import Result

# What is called how, and drawn how: one colour, told apart by the line.
LINES = (("down", "-", "o"), ("up", "--", "s"), ("net", ":", "^"))


def penetration_html(result: Result) -> str:
    """Section of the page; "" where it is not known what passes the boundaries between layers."""
    if not knows_profile(result):
        return ""
    all_lights = profile(result)
    parts = ["<h2>How deep the light reaches</h2>"]
    parts += [f"<p>{prose(line)}</p>" for line in penetration_sentences(result)]
    parts.append(
        '<div class="figures">\n'
        + figure_html(
            profile_figure(all_lights),
            f"Mean flux density at the boundaries between layers, {band_label(PPFD_BAND)}, "
            f"{FLUX_DENSITY}, all lights.",
        )
        + "\n</div>"
    )
    if _from_above(result):
        parts.append(table_html(depth_table(result)))
    parts.append(table_html(boundary_table(result)))
    return "\n".join(parts)


def penetration_sentences(result: Result) -> list[str]:
    """Say how deep the light reaches, a sentence or two for each group that shines from above."""
    lines = []
    for group, span in _from_above(result):
        found = penetration_of(profile(result, span=span, group=group))
        text = f"Light of {group_label(group)}, {span_label(span)}, net downward: "
        if found.n_boundary < 2:
            lines.append(f"{text}this run is too short to tell how it falls.")
            continue
        half, tenth = found.remaining
        if half.reached:
            text += f"half is left {_place(half)}, "
        if tenth.reached:
            text += f"a tenth {_place(tenth)}, "
        left = percent(found.at_bottom.value, found.at_bottom.std_err)
        known = np.isfinite(found.profile.net[:, -1]).all()
        where = "under the lowest leaves" if known else "at the top of the lowest layer"
        text += f"{left} {where}. {_described(found)}"
        lines.append(text.strip())
    inside = _inside(result)
    if inside:
        lines.append(
            f"Lights of {_listed(inside)} hang below the canopy's top, so their light does not "
            "enter from above alone, nor does that of all lights together: no extinction "
            "coefficient describes it, the share absorbed above each level does."
        )
    return lines


def _place(level: Remaining) -> str:
    return (
        f"{_cm(level.height)} cm above the floor, under a leaf area index of "
        f"{with_error(level.lai.value, level.lai.std_err)}"
    )


def _cm(height: Estimate) -> str:
    return with_error(100.0 * height.value, 100.0 * height.std_err)


def _described(found: Penetration) -> str:
    """Say whether an exponential describes the fall."""
    k = with_error(found.k.value, found.k.std_err)
    if found.is_exponential is None:
        return ""
    off = percent(found.departure)
    if found.is_exponential:
        return (
            f"An exponential with k = {k} per unit of leaf area index describes the fall within "
            f"{off} (root mean square)."
        )
    low, high = _range([e.value for e in found.k_by_layer])
    return (
        f"No single k describes the fall: an exponential with k = {k} is off by {off} (root mean "
        f"square), and from layer to layer k runs from {low:.2f} to {high:.2f}."
    )


def _range(values: list[float]) -> tuple[float, float]:
    known = np.array(values)[np.isfinite(values)]
    return float(known.min()), float(known.max())


def _listed(groups: list[str]) -> str:
    return groups[0] if len(groups) == 1 else f"{', '.join(groups[:-1])} and {groups[-1]}"


def _inside(result: Result) -> list[str]:
    """List groups with lights below the canopy's top, in the result's order."""
    inside = result.meta.get("inside_canopy", {}).get("groups", [])
    return [group for group in result.groups if group in inside]


def _from_above(result: Result) -> list[tuple[str, Span]]:
    """List groups and wavebands whose light enters from above alone, if any is sent out."""
    names = [*result.groups, "all"] if len(result.groups) > 1 else ["all"]
    inside = _inside(result)
    return [
        (group, span)
        for group in names
        if not (inside if group == "all" else group in inside)
        for span in shown_spans(result)
        if launched(result, span=span, group=group) > 0.0
    ]


def depth_table(result: Result) -> Table:
    """Where a half and a tenth are left, and k, by groups that shine from above and wavebands."""
    rows = []
    for group, span in _from_above(result):
        found = penetration_of(profile(result, span=span, group=group))
        cells = [f"{group_label(group)}, {span_label(span)}"]
        for level in found.remaining:
            if level.reached:
                cells += [_cm(level.height), with_error(level.lai.value, level.lai.std_err)]
            else:
                cells += ["not reached", "not reached"]
        cells.append(percent(found.at_bottom.value, found.at_bottom.std_err))
        cells.append(with_error(found.k.value, found.k.std_err))
        cells.append(percent(found.departure))
        rows.append(tuple(cells))
    return Table(
        "How deep the light from above reaches: net downward, of its value at the canopy's top",
        (
            "Lights, waveband",
            "Half left at, cm above the floor",
            "Half left under a leaf area index of",
            "A tenth left at, cm above the floor",
            "A tenth left under a leaf area index of",
            "Left at the lowest boundary that is known",
            "Extinction coefficient k, per leaf area index",
            "Off an exponential by, root mean square",
        ),
        tuple(rows),
        "k is the slope of the logarithm of the net flux density against the leaf area index above "
        "(least squares, equal weights); what walls and stems take is in it. Errors: each batch "
        "left out once. The net flux is a mean over the floor, gaps between plants included.",
    )


def boundary_table(result: Result) -> Table:
    """Light at the boundaries between layers, all lights: down, up, net, far-red."""
    far_red = far_red_span(result)
    of, red = profile(result), profile(result, span=far_red)
    ratios = red_to_far_red_by_depth(result)
    par = band_label(PPFD_BAND)
    columns = [
        "Boundary",
        "Height, cm",
        "Leaf area index above",
        f"Down, {par}",
        f"Up, {par}",
        f"Net, {par}",
        f"In from the side on the way, {par}",
        f"Down, {span_label(far_red)}",
        f"Net, {span_label(far_red)}",
        *([f"Red:far-red down, {RATIO_BANDS}"] if ratios else []),
    ]
    dark = not launched(result, span=far_red) > 0.0
    series = [of.estimates(what) for what in ("down", "up", "net")]
    sideways = [Estimate(float("nan"), float("nan")), *of.estimates("sideways")]
    far = [red.estimates(what) for what in ("down", "net")]
    rows = []
    for i, height in enumerate(of.height):
        cells = ["top" if i == 0 else f"under layer {i}", centimetres(height), f"{of.lai[i]:.2f}"]
        cells += [with_error(s[i].value, s[i].std_err) for s in (*series, sideways)]
        cells += ["0" if dark else with_error(s[i].value, s[i].std_err) for s in far]
        cells += [colour_ratio(r.value, r.std_err) for r in ratios[i : i + 1]]
        rows.append(tuple(cells))
    return Table(
        f"Light at the boundaries between layers, all lights, {FLUX_DENSITY} of the floor's area",
        tuple(columns),
        tuple(rows),
        "Net is down less up. What goes in net at the top of a layer and not out at its bottom is "
        "absorbed there by leaves and stems, but for what comes in from the side on the way: light "
        "sent out inside the layer less what walls and fixtures take (below zero where they take "
        "more). Stems below the lowest leaf count to the lowest layer."
        + ("" if of.counted else " Down and up by themselves were not counted."),
    )


def profile_figure(of: Profile) -> str:
    """Flux densities against height, as inline SVG.

    Parameters
    ----------
    of : Profile
        Of all lights, 400–700 nm.

    Returns
    -------
    str
        SVG element: down, up and net told apart by line and mark; ± one standard error as bars.
    """
    with drawing("profile", f"Light by height, {band_label(PPFD_BAND)}") as d:
        figure, axes = new_figure(4.6, 3.7)
        drawn = [line for line in LINES if np.isfinite(getattr(of, line[0])).any()]
        for what, style, mark in drawn:
            found = of.estimates(what)
            axes.errorbar(
                [e.value for e in found],
                100.0 * of.height,
                xerr=np.nan_to_num([e.std_err for e in found]),
                linestyle=style,
                marker=mark,
                markersize=4.0,
                color=PALETTE[0],
                ecolor=INK,
                capsize=2.0,
                label=what,
            )
        axes.set_ylim(bottom=0.0)
        axes.axvline(0.0, color=INK, linewidth=0.6)
        axes.set_xlabel(f"flux density ({FLUX_DENSITY}, {band_label(PPFD_BAND)})")
        axes.set_ylabel("height above the floor (cm)")
        axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=len(drawn), frameon=False)
        axes.spines[["top", "right"]].set_visible(False)
        axes.grid(alpha=0.15, linewidth=0.6, color=INK)
        axes.set_axisbelow(True)
        d.finish(figure)
    return d.svg


def write_profile_csv(result: Result, path: Path) -> None:
    """Write the light at the boundaries between layers.

    Parameters
    ----------
    result : Result
        Whose profile is known.
    path : Path
        File to write. One row for each boundary (0 is the top, i the bottom of layer i), group and
        waveband: height, leaf area index above, then down, up and net flux density, each with its
        standard error; nan and 0 as in layers.csv, and nan for what was not counted.
    """
    header = ["boundary", "group", "band_nm", "height_m", "lai_above"]
    for what, _, _ in LINES:
        header += [f"{what}_umol_m2_s", f"{what}_std_err_umol_m2_s"]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        for group in (*result.groups, "all"):
            for band in result.launched["band"].values:
                at = result.launched.sel(band=band)
                span = (float(at["low_nm"]), float(at["high_nm"]))
                dark = float(at.sel(group=group)) == 0.0
                of = profile(result, span=span, group=group)
                series = [of.estimates(what) for what, _, _ in LINES]
                for i, height in enumerate(of.height):
                    row = [str(i), plain_text(group), str(band), number(height), number(of.lai[i])]
                    for found in series:
                        row += [
                            number(found[i].value),
                            "0" if dark and found[i].value == 0.0 else number(found[i].std_err),
                        ]
                    writer.writerow(row)
