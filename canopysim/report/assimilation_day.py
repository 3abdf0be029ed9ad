"""What the leaves make of a day of the lights, for people."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canopysim.analysis.assimilation import CAUTION
from canopysim.analysis.assimilation_day import AssimilationDay, assimilation_day
from canopysim.analysis.electricity import facts_of
from canopysim.analysis.light_day import shifts_of
from canopysim.report.rows import Table
from canopysim.report.words import PPFD_BAND, band_label, significant, with_error

if TYPE_CHECKING:
    from canopysim.analysis.books import Estimate
    from canopysim.results import Result

FAR_RED = band_label("700-750")


def day_table(result: Result) -> Table | None:
    """Sum up a day's photosynthesis; None without a crop or without hours of the lights."""
    crop = result.settings.get("crop")
    if result.layers is None or not crop or not shifts_of(facts_of(result)):
        return None
    found = assimilation_day(
        result, str(crop), acclimation=float(result.settings.get("acclimation", 0.0))
    )
    ground = float(result.settings["ground_area_m2"])
    rows = [
        ("Net photosynthesis, mol CO₂ d⁻¹", _shown(found.net)),
        ("Per ground area, mol CO₂ m⁻² d⁻¹", _shown(found.net, 1.0 / ground)),
        (
            f"Of that in {significant(24.0 - found.lit_h)} dark hours, mol CO₂ d⁻¹",
            significant(found.night),
        ),
        (f"More if {FAR_RED} counted alike, mol CO₂ d⁻¹", _shown(found.far_red)),
    ]
    rows += _by_layer(found, result)
    if found.per_kwh.value == found.per_kwh.value:
        rows.append(("Per electricity of the day, mol CO₂ kWh⁻¹", _shown(found.per_kwh)))
    return Table(
        f"A day of {found.crop.title} leaves: {significant(found.lit_h)} hours of light at the "
        f"outputs of the schedule, absorbed {band_label(PPFD_BAND)}",
        ("What", "Figure"),
        tuple(rows),
        "Each stretch of the day with the same outputs by itself, because the answer of leaves to "
        f"light is curved; in dark hours they respire as in the light. Daylight counts nothing: "
        f"its course over the day is not known. {CAUTION}",
    )


def _by_layer(found: AssimilationDay, result: Result) -> list[tuple[str, str]]:
    assert result.layers is not None
    leafy = result.layers["layer"].values[result.layers["leaf_area_m2"].values > 0.0]
    # With triangles a layer may hold leaf area and the middle of no triangle.
    if len(leafy) != len(found.layers):
        return []
    return [
        (f"Layer {layer}, mol CO₂ d⁻¹", _shown(value))
        for layer, value in zip(leafy, found.layers, strict=True)
    ]


def _shown(value: Estimate, factor: float = 1.0) -> str:
    return with_error(factor * value.value, factor * value.std_err)
