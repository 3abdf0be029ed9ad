"""The canopy as a body, for people: where light enters it, and what each plant gets."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import TYPE_CHECKING

from canopysim.analysis.books import launched
from canopysim.analysis.canopy_box import (
    SIDES,
    box_light,
    has_plants,
    has_sides,
    incident,
    place_light,
    plant_light,
)
from canopysim.report.ends import shown_spans
from canopysim.report.markup import folded_html, prose, table_html
from canopysim.report.rows import Table
from canopysim.report.tables import number, plain_text
from canopysim.report.words import (
    FLUX,
    FLUX_DENSITY,
    PPFD_BAND,
    band_label,
    centimetres,
    group_label,
    percent,
    significant,
    span_label,
    with_error,
)

if TYPE_CHECKING:
    from canopysim.analysis.books import Estimate
    from canopysim.results import Result

PAR = band_label(PPFD_BAND)


def canopy_box_html(result: Result) -> str:
    """Section of the page; "" where neither the canopy's sides nor its plants were counted."""
    parts = []
    if has_sides(result):
        parts += ["<h2>Where light enters the canopy</h2>", table_html(incident_table(result))]
        parts.append(folded_html("Layer by layer", table_html(balance_table(result))))
    if has_plants(result):
        parts += ["<h2>What each plant gets</h2>", f"<p>{prose(plants_sentence(result))}</p>"]
        parts.append(table_html(place_table(result)))
        parts.append(folded_html("Plant by plant", table_html(plant_table(result))))
    return "\n".join(parts)


def _groups(result: Result) -> list[str]:
    return [*result.groups, "all"] if len(result.groups) > 1 else ["all"]


def _shown(found: Estimate) -> str:
    return "0" if found.value == 0.0 else with_error(found.value, found.std_err)


def incident_table(result: Result) -> Table:
    """Incident flux by group of lights and waveband: from above and through the sides, apart."""
    rows = []
    for span in shown_spans(result):
        for group in _groups(result):
            if not launched(result, span=span, group=group) > 0.0:
                continue
            of = incident(result, span=span, group=group)
            rows.append(
                (
                    f"{group_label(group)}, {span_label(span)}",
                    *map(_shown, (of.above, of.sides)),
                    *(_shown(of.side[name]) for name in SIDES),
                    *map(_shown, (of.below, of.inside, of.absorbed)),
                )
            )
    return Table(
        f"Light that falls on the canopy, {FLUX}, by where it enters the box around all plants",
        (
            "Lights, waveband",
            "Down through its top",
            "In through its four sides",
            *(f"of that, {name}" for name in SIDES),
            "Up through its bottom",
            "Sent out inside it",
            "Absorbed by its leaves",
        ),
        tuple(rows),
        "What leaves the box and enters again counts each time, as on any plane, so the figures of "
        "top and sides are more than the canopy keeps.",
    )


def balance_table(result: Result) -> Table:
    """Tell what enters, leaves and stays in each layer of the box, all lights."""
    of = box_light(result)
    through = of.down - of.up
    sideways = of.inward - of.outward
    rows = []
    for i in range(of.launched.shape[1]):
        cells = (
            through[:, i] - through[:, i + 1],
            *(sideways[:, i, k] for k in range(4)),
            of.launched[:, i],
            of.leaves[:, i],
            of.stems[:, i],
            of.others[:, i],
            of.corrections[:, i],
        )
        rows.append((str(i + 1), *(_shown(of.estimate(cell)) for cell in cells)))
    return Table(
        f"What each layer of the box takes in and keeps, {PAR}, all lights, {FLUX}",
        (
            "Layer",
            "Net in through its levels",
            *(f"Net in, {name}" for name in SIDES),
            "Sent out inside",
            "Kept by leaves",
            "by stems, flowers, fruit",
            "by fixtures, nets and others",
            "by roulette and choice",
        ),
        tuple(rows),
        "What goes in net, with what is sent out inside, is what is kept, to the quantum. Roulette "
        "and choice are corrections of the method, zero but for chance.",
    )


def plants_sentence(result: Result) -> str:
    """Say how unlike the plants are."""
    plants = plant_light(result)
    low = min(plants, key=lambda p: p.per_leaf_area.value)
    high = max(plants, key=lambda p: p.per_leaf_area.value)
    text = (
        f"The leaves of {high.name} ({high.where}) absorb most, "
        f"{_shown(high.per_leaf_area)} {FLUX_DENSITY} of their area, those of {low.name} "
        f"({low.where}) least, {_shown(low.per_leaf_area)} ({PAR}, all lights)."
    )
    return text if len(plants) > 1 else text.split(" absorb most")[0] + " were told apart."


def place_table(result: Result) -> Table:
    """Plants at corners, along edges and inside, compared."""
    rows = []
    for group in _groups(result):
        if not launched(result, group=group) > 0.0:
            continue
        for place in place_light(result, group=group):
            rows.append(
                (
                    f"{group_label(group)}, {place.where}",
                    str(place.n_plant),
                    _shown(place.per_leaf_area),
                    percent(place.over_all.value, place.over_all.std_err),
                    percent(place.spread) if place.n_plant > 1 else "–",
                )
            )
    return Table(
        f"Plants at corners, along edges and inside: absorbed by their leaves, {PAR}",
        (
            "Lights, place",
            "Plants",
            f"Per leaf area, {FLUX_DENSITY}",
            "Of the mean of all plants",
            "Spread from plant to plant",
        ),
        tuple(rows),
        "A corner plant has no other in three quarters of the horizon, an edge plant in a half. "
        "The spread holds the noise of the trace too.",
    )


def plant_table(result: Result) -> Table:
    """Every plant: where it stands, its leaf area, what it absorbs."""
    rows = [
        (
            plant.name,
            f"{centimetres(plant.x)}, {centimetres(plant.y)}",
            plant.where,
            significant(plant.leaf_area),
            _shown(plant.absorbed),
            _shown(plant.per_leaf_area),
        )
        for plant in plant_light(result)
    ]
    return Table(
        f"What the leaves of each plant absorb, {PAR}, all lights",
        (
            "Plant",
            "Stands at x, y, cm",
            "Place",
            "Leaf area, m²",
            f"Absorbed, {FLUX}",
            f"Per leaf area, {FLUX_DENSITY}",
        ),
        tuple(rows),
    )


def _bands(result: Result) -> list[tuple[str, tuple[float, float]]]:
    found = []
    for band in result.launched["band"].values:
        at = result.launched.sel(band=band)
        found.append((str(band), (float(at["low_nm"]), float(at["high_nm"]))))
    return found


def write_canopy_box_csv(result: Result, path: Path) -> None:
    """Write the box's books.

    Parameters
    ----------
    result : Result
        Whose canopy's sides were counted.
    path : Path
        File to write: a row for each layer (1 is the top), group of lights and waveband, with every
        flux in µmol s⁻¹ and its standard error: in and out through each side, down and up through
        the layer's upper and lower level, sent out inside, kept by leaves, stems, others, and by
        the corrections of roulette and choice.
    """
    names = [f"{way}_{side}" for side in SIDES for way in ("in", "out")]
    names += ["down_top", "up_top", "down_bottom", "up_bottom", "launched_inside"]
    names += ["kept_by_leaves", "kept_by_stems", "kept_by_others", "corrections"]
    header = ["layer", "group", "band_nm"]
    for name in names:
        header += [f"{name}_umol_s", f"{name}_std_err_umol_s"]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        for group in (*result.groups, "all"):
            for band, span in _bands(result):
                of = box_light(result, span=span, group=group)
                for i in range(of.launched.shape[1]):
                    sides = [v[:, i, k] for k in range(4) for v in (of.inward, of.outward)]
                    levels = [v[:, j] for j in (i, i + 1) for v in (of.down, of.up)]
                    kept = (of.launched, of.leaves, of.stems, of.others, of.corrections)
                    row = [str(i + 1), plain_text(group), band]
                    for values in (*sides, *levels, *(v[:, i] for v in kept)):
                        found = of.estimate(values)
                        row += [number(found.value), number(found.std_err)]
                    writer.writerow(row)


def write_plants_csv(result: Result, path: Path) -> None:
    """Write what every plant's leaves absorb.

    Parameters
    ----------
    result : Result
        Whose plants were told apart.
    path : Path
        File to write: a row for each plant, group of lights and waveband.
    """
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(
            ["plant", "x_m", "y_m", "place", "leaf_area_m2", "group", "band_nm",
             "absorbed_umol_s", "absorbed_std_err_umol_s",
             "absorbed_per_leaf_area_umol_m2_s", "absorbed_per_leaf_area_std_err_umol_m2_s"]
        )  # fmt: skip
        for group in (*result.groups, "all"):
            for band, span in _bands(result):
                for plant in plant_light(result, span=span, group=group):
                    found = (
                        plant.absorbed.value, plant.absorbed.std_err,
                        plant.per_leaf_area.value, plant.per_leaf_area.std_err,
                    )  # fmt: skip
                    writer.writerow(
                        [plain_text(plant.name), number(plant.x), number(plant.y), plant.where,
                         number(plant.leaf_area), plain_text(group), band, *map(number, found)]
                    )  # fmt: skip
