"""How deep each waveband reaches and who lights the lower half, in plain words and with errors."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from canopysim.analysis.books import UNKNOWN, Estimate, Span, launched
from canopysim.analysis.layers import layer_flux, lower_half_share
from canopysim.analysis.profile import knows_profile
from canopysim.analysis.reach import ABSORBED, NET, Reach, lower_half_by_group, reach
from canopysim.analysis.replicates import (
    TwoErrors,
    canopies_of,
    n_replicates,
    replicate_result,
    two_errors,
)
from canopysim.report.accuracy import batch_note, has_errors
from canopysim.report.markup import folded_html, prose, table_html
from canopysim.report.rows import Table
from canopysim.report.words import (
    FLUX_DENSITY,
    PPFD_BAND,
    band_label,
    error_decimals,
    group_label,
    minus,
    percent,
    significant,
    span_label,
    with_error,
)

if TYPE_CHECKING:
    from canopysim.results import Result

PAR = band_label(PPFD_BAND)


def with_both(found: TwoErrors, factor: float = 1.0) -> str:
    """Write a figure with the error of the light, then that of the plants where it is known."""
    value, light, plants = (factor * v for v in (found.value, found.light, found.plants))
    if not (math.isfinite(plants) and math.isfinite(value) and math.isfinite(light) and light > 0):
        return with_error(value, light)
    larger = max(light, plants)
    decimals = error_decimals(larger)
    shown = [f"{round(v, decimals) + 0.0:.{decimals}f}" for v in (value, light, plants)]
    if float(shown[1]) == 0.0:
        shown[1] = f"{light:.{error_decimals(light)}f}"
    return minus(" ± ".join(shown))


def percent_both(found: TwoErrors) -> str:
    """Do as `with_both` in percent."""
    text = with_both(found, 100.0)
    return text if text in ("–", "none seen", "0") else f"{text} %"


def error_note(result: Result) -> str:
    """Say what the errors of these figures hold."""
    if not has_errors(result):
        return batch_note(result)
    n = n_replicates(result)
    if n < 2:
        return (
            "± is the noise of the light for these very plants; one canopy tells nothing of how "
            "others of the same kind would differ: 'replicates: 4' under 'canopy' would."
        )
    rough = 100.0 / math.sqrt(2.0 * (n - 1))
    return (
        f"The first ± is the noise of the light, the second that of the plants, from {n} canopies "
        f"grown from {n} seeds; of so few it is itself uncertain by about {rough:.0f} %. 0 stands "
        "where the noise of the light explains their spread."
    )


def _bands(result: Result) -> list[Span]:
    """Traced wavebands and the sum of 400-700 nm."""
    found = []
    for band in [PPFD_BAND, *result.band_names]:
        at = result.launched.sel(band=band)
        found.append((float(at["low_nm"]), float(at["high_nm"])))
    return found


def _groups(result: Result) -> list[str]:
    return [*result.groups, "all"] if len(result.groups) > 1 else ["all"]


def _inside(result: Result, group: str) -> bool:
    """Whether lights of a group hang below the canopy's top."""
    inside = result.meta.get("inside_canopy", {}).get("groups", [])
    return bool(inside) if group == "all" else group in inside


def reaches(result: Result, *, brief: bool = False) -> list[Reach]:
    """Every group and waveband that is sent out: by its net flux where it shines from above.

    Where that is not known, or lights hang inside, by what leaves absorb. In brief, groups that are
    not known by their net flux are left to all lights together.
    """
    if result.layers is None:
        return []
    known = knows_profile(result)
    canopies = canopies_of(result)
    return [
        reach(
            result,
            span=span,
            group=group,
            rule=NET if known and not _inside(result, group) else ABSORBED,
            canopies=canopies,
        )
        for group in _groups(result)
        for span in _bands(result)
        if launched(result, span=span, group=group) > 0.0
        and not (brief and group != "all" and (_inside(result, group) or not known))
    ]


def reach_sentences(result: Result, found: list[Reach]) -> list[str]:
    """Say in plain words how deep every waveband reaches, a line each."""
    lines: list[str] = []
    heads = {
        NET: "going down, of what enters the canopy's top:",
        ABSORBED: "of what leaves absorb of it:",
    }
    last = ("", "")
    for one in found:
        if (one.group, one.rule) != last:
            last = (one.group, one.rule)
            lines.append(f"How deep light of {group_label(one.group)} reaches, {heads[one.rule]}")
        half, tenth = one.levels
        words = (
            ("half is left", "a tenth")
            if one.rule == NET
            else ("half is absorbed above", "nine tenths above")
        )
        parts = []
        for word, level in zip(words, (half, tenth), strict=True):
            if level.reached:
                lai = _within(level.lai, level.lai_off)
                place = _within(level.depth, level.depth_off, 100.0)
                parts.append(f"{word} {place} cm (leaf area index {lai})")
            elif one.rule == NET and math.isfinite(half.depth.value):
                left = percent_both(one.at_bottom)
                parts.append(f"{word} nowhere: {left} is left under the lowest leaves")
        text = ", ".join(parts) or "this run is too short to tell"
        lines.append(f"  {span_label(one.span)}: {text}")
    if lines and not has_errors(result):
        lines.append(
            "Depths count from the canopy's top, the leaf area index from there down. "
            + batch_note(result)
        )
    elif lines:
        lines.append(
            "Depths count from the canopy's top, the leaf area index from there down. ± holds the "
            f"noise of the light, {_plants_held(result)}and what reading a level between the "
            "boundaries of layers may be off; the report tells them apart."
        )
    return lines


def _within(found: TwoErrors, off: float, factor: float = 1.0) -> str:
    """Write a figure with all that it may be off together."""
    # What only reading between boundaries may be off is no standard error.
    error = float(np.hypot(found.both, off if np.isfinite(off) else 0.0))
    return with_error(factor * found.value, factor * error)


def _plants_held(result: Result) -> str:
    n = n_replicates(result)
    if n < 2:
        return "not that other plants of the same kind would differ ('replicates' would tell), "
    return f"that of the plants (from {n} canopies, itself rough), "


def lowest_leaves(result: Result) -> str:
    """Tell what the lowest layer absorbs per leaf area, 400-700 nm, with all known errors."""

    def figures(of: Result) -> list[Estimate]:
        assert of.layers is not None
        layer = of.layers.isel(layer=-1)
        area = float(layer["leaf_area_m2"])
        flux = layer_flux(of, int(layer["layer"]))
        return [Estimate(flux.value / area, flux.std_err / area) if area > 0.0 else UNKNOWN]

    return with_both(two_errors(result, figures)[0])


def lower_half_sentences(result: Result) -> list[str]:
    """Say what the lower half of the leaf area gets, and from which lights."""
    (share,) = two_errors(result, lambda of: [lower_half_share(of)])
    lines = [
        f"The lower half of the leaf area absorbs {percent_both(share)} of what all leaves absorb, "
        f"{PAR}"
    ]
    delivered = lower_half_by_group(result)
    if len(delivered) > 1:
        parts = [f"{percent_both(d.of_lower)} comes from {d.group}" for d in delivered]
        lines.append(f"Of what the lower half absorbs, {', '.join(parts)}, {PAR}")
    return lines


def reach_table(found: list[Reach], result: Result) -> Table:
    """Depths and leaf area indices at which a half and a tenth remain, with all errors."""
    rows = []
    for one in found:
        how = "net downward" if one.rule == NET else "absorbed below"
        cells = [f"{group_label(one.group)}, {span_label(one.span)}, {how}"]
        for level in one.levels:
            if level.reached:
                cells += [
                    with_both(level.depth, 100.0), significant(100.0 * level.depth_off, 2),
                    with_both(level.lai), significant(level.lai_off, 2),
                ]  # fmt: skip
            else:
                cells += ["not reached", "–", "not reached", "–"]
        cells += [with_both(one.k) if one.rule == NET else "–", percent(one.departure)]
        rows.append(tuple(cells))
    return Table(
        "Depths that each waveband reaches, in each group of lights",
        (
            "Lights, waveband, what falls",
            "Half left, cm below the top", "may be off by, cm",
            "Half left, leaf area index above", "may be off by",
            "A tenth left, cm below the top", "may be off by, cm",
            "A tenth left, leaf area index above", "may be off by",
            "Extinction coefficient k, per leaf area index",
            "Off an exponential by, root mean square",
        ),
        tuple(rows),
        "Net downward: the flux down less up through level planes, of its value at the canopy's "
        "top. Absorbed below: of all that leaves absorb of this light, what is absorbed below the "
        "level, which also tells of lights that hang inside the canopy. Levels are read between "
        "boundaries of layers; 'may be off by' is what a parabola through the next boundary would "
        f"make of it: more layers lessen it. {error_note(result)}",
    )  # fmt: skip


def lower_half_table(result: Result) -> Table:
    """Which share each group of lights delivers to the lower half, by waveband."""
    rows = [
        (
            f"{group_label(one.group)}, {span_label(span)}",
            percent_both(one.of_lower),
            percent_both(one.of_launched),
        )
        for span in _bands(result)
        if launched(result, span=span) > 0.0
        for one in lower_half_by_group(result, span=span)
    ]
    return Table(
        "What each group of lights delivers to the lower half of the leaf area",
        (
            "Lights, waveband",
            "Share of what the lower half absorbs",
            "Share of the photons that the group sends out",
        ),
        tuple(rows),
        error_note(result),
    )


def reach_html(result: Result) -> str:
    """Section of the page; "" without a canopy."""
    found = reaches(result)
    if not found:
        return ""
    lines = reach_sentences(result, found)
    parts = ["<h2>How deep each waveband reaches</h2>"]
    listed: list[str] = []
    for line in [*lines, ""]:
        if line.startswith("  "):
            listed.append(f"<li>{prose(line.strip())}</li>")
            continue
        if listed:
            parts.append("<ul>\n" + "\n".join(listed) + "\n</ul>")
            listed = []
        if line:
            parts.append(f"<p>{prose(line)}</p>")
    parts.append(folded_html("The same as a table", table_html(reach_table(found, result))))
    parts.append(table_html(lower_half_table(result)))
    return "\n".join(parts)


def replicate_table(result: Result) -> Table | None:
    """Tell what each layer absorbs in the replicate canopies; None with one canopy."""
    n = n_replicates(result)
    layers = result.layers
    if n < 2 or layers is None:
        return None

    def figures(of: Result) -> list[Estimate]:
        assert of.layers is not None
        found = []
        for layer, area in zip(
            of.layers["layer"].values, of.layers["leaf_area_m2"].values, strict=True
        ):
            flux = layer_flux(of, int(layer))
            per = 1.0 / area if area > 0.0 else float("nan")
            found.append(Estimate(flux.value * per, flux.std_err * per))
        return found

    found = two_errors(result, figures)
    each = np.array([[e.value for e in figures(replicate_result(result, r))] for r in range(n)])
    rows = tuple(
        (
            str(layer), with_both(one), significant(each[:, i].min()), significant(each[:, i].max())
        )
        for i, (layer, one) in enumerate(zip(layers["layer"].values, found, strict=True))
    )  # fmt: skip
    return Table(
        f"What the plants make of it: absorbed per leaf area in {n} canopies, {PAR}, all lights, "
        f"{FLUX_DENSITY}",
        ("Layer", "All canopies", "Least of one canopy", "Most of one canopy"),
        rows,
        f"{error_note(result)} Heights, leaf areas and maps elsewhere are means over the canopies, "
        "and ± there is the noise of the light alone.",
    )
