"""The report as one page: no script, no outside request, the answer first."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from canopysim.analysis.ends import is_leaf, share_at
from canopysim.analysis.far_red import red_to_far_red
from canopysim.analysis.planes import plane_statistics
from canopysim.report import figures
from canopysim.report.accuracy import batch_note, has_errors, reached_errors
from canopysim.report.assimilation import assimilation_html
from canopysim.report.band_cost import band_cost_table
from canopysim.report.canopy_box import canopy_box_html
from canopysim.report.channels import channel_light_table
from canopysim.report.colours import colour_table
from canopysim.report.conditions import condition_rows, record_rows
from canopysim.report.electricity import electricity_html
from canopysim.report.ends import ends_table, shown_spans, walls_parts
from canopysim.report.fixture_facts import fixture_facts_html
from canopysim.report.leaf_light import leaf_light_tables
from canopysim.report.markup import (
    document,
    escape,
    figure_html,
    folded_html,
    pairs_html,
    picture_html,
    prose,
    table_html,
)
from canopysim.report.penetration import penetration_html
from canopysim.report.probes import probe_tables
from canopysim.report.reach import lower_half_sentences, reach_html, replicate_table
from canopysim.report.rows import (
    RATIO_BANDS,
    far_red_table,
    group_table,
    is_canopy_top,
    layer_table,
    other_bands_table,
    plane_table,
    shown_value,
    top_plane,
)
from canopysim.report.told_apart import told_apart_tables
from canopysim.report.words import (
    FLUX,
    FLUX_DENSITY,
    PPFD_BAND,
    band_label,
    centimetres,
    colour_ratio,
    count,
    duration,
    percent,
    significant,
    span_label,
    stop_label,
)
from canopysim.sealed import write_whole

if TYPE_CHECKING:
    from canopysim.results import Result

CAUTIONS = (
    "These figures are a model's. They are as good as the description of the lights, the surfaces "
    "and the plants; the ± is the error of the trace alone, not of that description.",
    "Left out: movement of leaves, the change of a light's spectrum with angle, growth of the "
    "plants, the warming of lights and leaves.",
    "Within each waveband leaves and surfaces have one reflectance and one transmittance for each "
    "light, the mean over its photons.",
    "Electrical loads, hanging loads, heat and bright-light eye safety follow local code and the "
    "makers' instructions; wiring is for a licensed electrician.",
)
METHOD = (
    "Photon packets are launched from the lights and followed one by one: they are reflected, pass "
    "through leaves, and are absorbed in part at every meeting, for all wavebands along one path. "
    "The standard errors come from the spread between independent batches of packets. Flux "
    "densities on planes are cosine-weighted; PPFD, the photosynthetic photon flux density, is "
    "400–700 nm. Shares are of launched photons."
)


def write_report(result: Result, folder: Path, picture: Path | None = None) -> Path:
    """Write report.html.

    Parameters
    ----------
    result : Result
        What to report. Equal results give equal bytes.
    folder : Path
        Existing folder.
    picture : Path or None
        PNG of the scene to carry inside the page.

    Returns
    -------
    Path
        The page; a page that is already there is replaced only once the new one is whole.
    """
    path = folder / "report.html"
    write_whole(path, page_text(result, picture))
    return path


def page_text(result: Result, picture: Path | None = None) -> str:
    """Whole page as text; see `write_report`."""
    sections = [
        _opening(result),
        _headline(result),
        _layers(result),
        reach_html(result),
        penetration_html(result),
        canopy_box_html(result),
        assimilation_html(result),
        _planes(result),
        _channels(result),
        _colours(result),
        _ends(result),
        _probes(result),
        _told_apart(result),
        electricity_html(result),
        fixture_facts_html(result),
        _scene(result, picture),
        "<h2>Conditions</h2>\n" + pairs_html(condition_rows(result)),
        f"<h2>Method and cautions</h2>\n<p>{prose(METHOD)}</p>\n<ul>\n"
        + "".join(f"<li>{prose(line)}</li>\n" for line in CAUTIONS)
        + "</ul>"
        + _band_cost(result),
        _run(result),
        folded_html("For the record", pairs_html(record_rows(result))),
        folded_html("The scene file", f"<pre>{escape(result.scene_text)}</pre>"),
    ]
    return document(result.title, "\n".join(section for section in sections if section))


def _opening(result: Result) -> str:
    version = result.versions.get("canopysim", "")
    lead = (
        f"canopysim {version}: {count(result.n_packet)} photon packets, seed {result.seed}, "
        f"{duration(result.seconds)}. The run ended because {stop_label(result.stopped_by)}."
    )
    text = f'<h1>{escape(result.title)}</h1>\n<p class="lead">{escape(lead)}</p>'
    note = batch_note(result)
    if result.partial:
        reached = "; ".join(reached_errors(result))
        warning = (
            f"It ended early because {stop_label(result.stopped_by)}. The figures are sound, but "
            f"their errors are wider than those of a full run ({reached})."
        )
        if not has_errors(result):
            warning = f"It ended early because {stop_label(result.stopped_by)}. {note}"
        text += f'\n<p class="warning"><strong>Partial run.</strong> {prose(warning)}</p>'
    if note and has_errors(result):
        text += f'\n<p class="note">{prose(note)}</p>'
    elif note and not result.partial:
        text += f'\n<p class="warning"><strong>No errors known.</strong> {prose(note)}</p>'
    return text


def _card(label: str, value: str, unit: str) -> str:
    return (
        f'<div><div class="label">{escape(label)}</div><div class="value">{escape(value)}</div>'
        f'<div class="unit">{prose(unit)}</div></div>\n'
    )


def _headline(result: Result) -> str:
    """Answers that a grower looks for, before any table."""
    cards = [*_plane_cards(result), *_leaf_cards(result)]
    walls, floor, escaped = walls_parts(result)
    cards.append(
        _card(
            "What the walls cost",
            walls,
            f"of launched photons, {band_label(PPFD_BAND)}: walls and ceiling with their patches. "
            f"Floor: {floor}; escaped through openings: {escaped}",
        )
    )
    return f'<div class="cards">\n{"".join(cards)}</div>'


def _plane_cards(result: Result) -> list[str]:
    """PPFD, and red over far-red where it is known, on the plane nearest to the canopy's top."""
    name = top_plane(result)
    if name is None:
        return []
    mean = plane_statistics(result.planes[name])
    height = centimetres(float(result.planes[name].attrs["height_m"]))
    where = "at the top of the canopy" if is_canopy_top(result, name) else "on a plane"
    place = f"travelling down on {name}, {height} cm above the floor"
    value = shown_value(result, mean.mean, mean.mean_std_err, "all", PPFD_BAND)
    unit = (
        f"{FLUX_DENSITY}, {band_label(PPFD_BAND)}: mean photosynthetic photon flux density (PPFD) "
        f"{place}"
    )
    cards = [_card(f"Light {where}", value, unit)]
    ratio = red_to_far_red(result, name)
    if ratio.value == ratio.value:
        text = colour_ratio(ratio.value, ratio.std_err)
        cards.append(
            _card(f"Red to far-red {where}", text, f"photons, {RATIO_BANDS}, mean {place}")
        )
    return cards


def _leaf_cards(result: Result) -> list[str]:
    """Say what the lowest layer gets, and what all leaves absorb."""
    if result.layers is None:
        return []
    band = band_label(PPFD_BAND)
    lowest = result.layers.isel(layer=-1).sel(group="all", band=PPFD_BAND, side="both")
    value = shown_value(
        result,
        float(lowest["absorbed_per_leaf_area"]),
        float(lowest["absorbed_per_leaf_area_std_err"]),
        "all",
        PPFD_BAND,
    )
    unit = f"{FLUX_DENSITY}, {band}, absorbed per leaf area of layer {int(lowest['layer'])}"
    leaves = share_at(result, is_leaf)
    launched = float(result.launched.sel(group="all", band=PPFD_BAND))
    return [
        _card("What the lowest leaves get", value, unit),
        _card(
            "Absorbed by leaves",
            percent(leaves.value, leaves.std_err),
            f"of {significant(launched, 4)} {FLUX} launched, {band}",
        ),
    ]


def _layers(result: Result) -> str:
    layers = result.layers
    if layers is None:
        return ""
    parts = ["<h2>What each layer of leaves gets</h2>", table_html(layer_table(result, layers))]
    parts += [f"<p>{prose(line)}.</p>" for line in lower_half_sentences(result)]
    many = replicate_table(result)
    if many is not None:
        parts.append(table_html(many))
    bars = (
        "."
        if not has_errors(result)
        else ("; error bars: ± one standard error of all lights together.")
    )
    parts.append('<div class="figures">')
    parts.append(
        figure_html(
            figures.layer_profile(result),
            f"Absorbed photons per one-sided leaf area by height, {band_label(PPFD_BAND)}, "
            f"{FLUX_DENSITY}" + bars,
        )
    )
    parts.append(
        figure_html(
            figures.layer_share(result),
            "Share of all photons absorbed by leaves that is absorbed above a level, against the "
            "leaf area index above it, all lights.",
        )
    )
    parts.append("</div>")
    if len(result.groups) > 1:
        parts.append(table_html(group_table(result)))
    parts.append(table_html(far_red_table(result)))
    parts.append(table_html(other_bands_table(result)))
    return "\n".join(parts)


def _planes(result: Result) -> str:
    if not result.planes:
        return ""
    maps = "\n".join(
        figure_html(
            figures.plane_map(result, name),
            f"PPFD travelling down on {name}, {band_label(PPFD_BAND)}, {FLUX_DENSITY}, all lights, "
            "seen from above; one colour a cell, colours from zero.",
        )
        for name in result.planes
    )
    return (
        f"<h2>Light on the planes</h2>\n{table_html(plane_table(result))}\n"
        f'<div class="figures">\n{maps}\n</div>'
    )


def _channels(result: Result) -> str:
    table = channel_light_table(result)
    return "" if table is None else f"<h2>Channels of the lights</h2>\n{table_html(table)}"


def _colours(result: Result) -> str:
    table = colour_table(result)
    return folded_html("Colours of the light", table_html(table)) if table is not None else ""


def _ends(result: Result) -> str:
    drawing = figure_html(
        figures.ends_bars(result),
        "Share of the launched photons of all lights that ended at each place, "
        f"{' and '.join(span_label(span) for span in shown_spans(result))}.",
    )
    return f"<h2>Where the photons ended</h2>\n{drawing}\n{table_html(ends_table(result))}"


def _probes(result: Result) -> str:
    tables = probe_tables(result)
    if not tables:
        return ""
    return "<h2>What meters would read</h2>\n" + "\n".join(table_html(table) for table in tables)


def _told_apart(result: Result) -> str:
    tables = [*leaf_light_tables(result), *told_apart_tables(result)]
    if not tables:
        return ""
    return "<h2>Light told apart</h2>\n" + "\n".join(table_html(table) for table in tables)


def _scene(result: Result, picture: Path | None) -> str:
    if picture is None:
        return ""
    caption = "The scene from the front and above; front wall, right wall and ceiling cut away."
    if result.settings.get("n_volume"):
        caption += (
            " Leaves of filled volumes are drawn at random, to show where they are dense and how "
            "they are inclined; traced were densities and angles."
        )
    return f"<h2>The scene</h2>\n{picture_html(picture, caption)}"


def _band_cost(result: Result) -> str:
    table = band_cost_table(result)
    return (
        "" if table is None else "\n" + folded_html("What wide wavebands cost", table_html(table))
    )


def _run(result: Result) -> str:
    """Show what is needed to repeat the run."""
    rows = [
        ("Ended because", stop_label(result.stopped_by)),
        ("Photon packets", count(result.n_packet)),
        ("Seed", str(result.seed)),
        ("Time", f"{duration(result.seconds)} on {result.threads} threads"),
        *(("Standard error reached", line) for line in reached_errors(result)),
        ("Wavebands", ", ".join(band_label(band) for band in result.band_names)),
        ("Groups of lights", ", ".join(result.groups)),
        ("Versions", ", ".join(f"{name} {version}" for name, version in result.versions.items())),
    ]
    return "<h2>Settings and versions</h2>\n" + pairs_html(rows)
