"""What the leaves make of their light, for people: tables, each with its caution."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canopysim.analysis.assimilation import CAUTION, Assimilation, assimilation
from canopysim.analysis.books import Estimate
from canopysim.analysis.electricity import all_state_power, facts_of, lights_of, set_load
from canopysim.analysis.leaf_response import MOST_FAR_RED
from canopysim.library.crops import UNITS
from canopysim.report.assimilation_day import day_table
from canopysim.report.markup import folded_html, table_html
from canopysim.report.rows import Table
from canopysim.report.words import (
    FLUX_DENSITY,
    PPFD_BAND,
    band_label,
    percent,
    significant,
    with_error,
)

if TYPE_CHECKING:
    from canopysim.results import Result

CO2_DENSITY = "µmol CO₂ m⁻² s⁻¹"
FAR_RED = band_label("700-750")
PAR = band_label(PPFD_BAND)
_MEANING = {
    "pm": "Gross photosynthesis in saturating light (Pm)",
    "phi": f"CO₂ per absorbed photon in weak light (φ), {PAR}",
    "theta": "Bend of the curve (θ)",
    "rd": "Dark respiration (Rd)",
    "limit": f"Absorbed light above which leaves may bleach, {PAR}",
}
_UNIT = {
    "umol CO2 m-2 s-1": CO2_DENSITY,
    "mol mol-1": "mol mol⁻¹",
    "1": "–",
    "umol m-2 s-1": FLUX_DENSITY,
}


def assimilation_html(result: Result) -> str:
    """Section of the page; "" where the scene names no crop."""
    crop = result.settings.get("crop")
    if result.layers is None or not crop:
        return ""
    found = assimilation(
        result,
        str(crop),
        limit=result.settings.get("bright_limit_umol_m2_s"),
        acclimation=float(result.settings.get("acclimation", 0.0)),
        input_watts=_watts(result),
    )
    day = day_table(result)
    return "\n".join(
        [
            "<h2>What the leaves make of it</h2>",
            table_html(canopy_table(found)),
            *([table_html(day)] if day is not None else []),
            table_html(assimilation_table(found)),
            folded_html(
                f"The leaf of {found.crop.title} that was assumed", table_html(crop_table(found))
            ),
        ]
    )


def _watts(result: Result) -> float | None:
    """Add up what all lights draw as set, W; None if one does not say, or if there is daylight."""
    facts = facts_of(result)
    lights = lights_of(facts)
    if not all_state_power(lights) or 0 in facts.get("channel_light", [0]):
        return None
    return set_load(lights).watts or None


def assimilation_table(found: Assimilation) -> Table:
    """Net photosynthesis by layer."""
    columns = [
        "Layer",
        f"Light absorbed, {PAR}, {FLUX_DENSITY}",
        f"Net photosynthesis, {CO2_DENSITY}",
        f"More if {FAR_RED} counted alike, {CO2_DENSITY}",
    ]
    if found.by_triangle:
        columns += [
            f"Net from the layer's mean light, {CO2_DENSITY}",
            "Leaf area under its light compensation point",
            f"Leaf area above {significant(found.limit)} {FLUX_DENSITY} absorbed, {PAR}",
        ]
    if found.acclimation > 0.0:
        columns.append("Capacity of its leaves")
    rows = []
    for layer in found.layers:
        cells = [str(layer.layer), *map(_shown, (layer.light, layer.net, layer.far_red))]
        if found.by_triangle:
            cells.append(_shown(layer.of_mean))
            cells += map(_share, (layer.under_compensation, layer.over_limit))
        if found.acclimation > 0.0:
            cells.append(percent(layer.capacity))
        rows.append(tuple(cells))
    return Table(
        f"Net photosynthesis of {found.crop.title} leaves by layer, per leaf area, by absorbed "
        f"{PAR}, all lights",
        tuple(columns),
        tuple(rows),
        f"{_spread_note(found)} A leaf breaks even at "
        f"{significant(found.compensation)} {FLUX_DENSITY} absorbed ({PAR}). {_far_red_note()} "
        f"{CAUTION}",
    )


def canopy_table(found: Assimilation) -> Table:
    """Sum up the whole canopy, with what the figure hangs on."""
    rows = [
        ("Net photosynthesis, µmol CO₂ s⁻¹", _shown(found.net)),
        (f"Per ground area, {CO2_DENSITY}", _shown(_times(found.net, 1.0 / found.ground_area))),
        (
            f"More if {FAR_RED} counted alike, per ground area, {CO2_DENSITY}",
            _shown(_times(found.far_red, 1.0 / found.ground_area)),
        ),
    ]
    if found.by_triangle:
        rows += [
            ("The layers' mean light alone would promise more by", percent(found.gap)),
            ("Leaf area under its light compensation point", _share(found.under_compensation)),
            (
                f"Leaf area above {significant(found.limit)} {FLUX_DENSITY} absorbed",
                _share(found.over_limit),
            ),
            (
                "Noise of the trace, taken out, had made it less by",
                percent(1.0 - found.raw / found.net.value if found.net.value else float("nan")),
            ),
            (
                "What is left of that noise, about",
                percent(abs(found.remainder / found.net.value) if found.net.value else 0.0),
            ),
        ]
    if found.per_kwh.value == found.per_kwh.value:
        rows.append(("Per electricity, mol CO₂ kWh⁻¹", _shown(found.per_kwh)))
    return Table(
        f"Net photosynthesis of all {found.crop.title} leaves together, by absorbed {PAR}, all "
        "lights",
        ("What", "Figure"),
        tuple(rows),
        f"{_spread_note(found)} ± is the error of the trace alone; what the leaf's parameters may "
        f"be off is more. {CAUTION}",
    )


def crop_table(found: Assimilation) -> Table:
    """Give the leaf's parameters with their ranges and sources."""
    crop = found.crop
    rows = []
    for key in UNITS:
        parameter = getattr(crop, key)
        rows.append(
            (
                _MEANING[key],
                f"{parameter.value:g}",
                f"{parameter.low:g}–{parameter.high:g}",
                _UNIT[parameter.unit],
                parameter.source,
            )
        )
    return Table(
        f"Leaf of {crop.title}: {crop.conditions}",
        ("Parameter", "Used", "Range", "Unit", "Source"),
        tuple(rows),
        f"Absorbed photons, one-sided leaf area. {CAUTION}",
    )


def _spread_note(found: Assimilation) -> str:
    """Say whether the spread of light within layers is counted."""
    if found.by_triangle:
        note = "Summed over single leaf triangles, the noise of the trace taken out."
    else:
        note = (
            "From the mean light of each layer: too much by a gap that is not known here, because "
            "leaves of one layer are unevenly lit; 'leaf_facets: true' under 'also_count' tells it."
        )
    if found.acclimation > 0.0:
        note += (
            " Capacity and dark respiration of a layer's leaves fall with its light, relative to "
            f"the brightest layer's, to the power of {found.acclimation:g} (assumed)."
        )
    return note


def _far_red_note() -> str:
    return (
        f"{FAR_RED} is counted apart: alone it does next to nothing, beside other light at most "
        f"{100 * MOST_FAR_RED:.0f} % of 400–750 nm may work alike."
    )


def _times(value: Estimate, factor: float) -> Estimate:
    return Estimate(value.value * factor, value.std_err * factor)


def _shown(value: Estimate) -> str:
    return with_error(value.value, value.std_err)


def _share(share: Estimate) -> str:
    """Share of leaf area, which chance may have brought out of range."""
    value = min(max(share.value, 0.0), 1.0)
    return percent(value, share.std_err) if share.std_err > 0.0 else percent(value)
