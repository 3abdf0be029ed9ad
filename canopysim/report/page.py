"""The report as one page: no script, no outside request, the answer first."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from canopysim.analysis.ends import walls_share
from canopysim.analysis.layers import lower_half_share
from canopysim.analysis.planes import plane_statistics
from canopysim.report import figures
from canopysim.report.conditions import condition_rows
from canopysim.report.markup import (
    STYLE,
    escape,
    figure_html,
    pairs_html,
    picture_html,
    prose,
    table_html,
)
from canopysim.report.rows import (
    band_table,
    ends_table,
    far_red_bands,
    group_table,
    is_canopy_top,
    layer_table,
    plane_table,
    reached_errors,
    top_plane,
    untraced,
)
from canopysim.report.words import (
    FLUX,
    FLUX_DENSITY,
    PPFD_BAND,
    band_label,
    centimetres,
    count,
    duration,
    percent,
    stop_label,
    with_error,
)
from canopysim.results import replace_synced

if TYPE_CHECKING:
    from canopysim.results import Result

CAUTIONS = (
    "These figures are a model's. They are as good as the description of the lights, the surfaces "
    "and the plants; the ± is the error of the trace alone, not of that description.",
    "Left out: movement of leaves, the change of a light's spectrum with angle, growth of the "
    "plants, the warming of lights and leaves.",
    "Within each waveband leaves and surfaces have one reflectance and one transmittance.",
    "Electrical loads, hanging loads, heat and bright-light eye safety follow local code and the "
    "makers' instructions; wiring is for a licensed electrician.",
)
METHOD = (
    "Photon packets are launched from the lights and followed one by one: they are reflected, pass "
    "through leaves, and are absorbed in part at every meeting, for all wavebands along one path. "
    "The standard errors come from the spread between independent batches of packets. Flux "
    "densities on planes are cosine-weighted; PPFD is 400–700 nm. Shares are of launched photons."
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
    text = page_text(result, picture)
    handle, aside = tempfile.mkstemp(dir=folder, prefix=".report-", suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
        replace_synced(Path(aside), path)
    except BaseException:
        Path(aside).unlink(missing_ok=True)
        raise
    return path


def page_text(result: Result, picture: Path | None = None) -> str:
    """Whole page as text; see `write_report`."""
    sections = [
        _opening(result),
        _headline(result),
        _layers(result),
        _planes(result),
        _ends(result),
        _scene(picture),
        "<h2>Conditions</h2>\n" + pairs_html(condition_rows(result)),
        f"<h2>Method and cautions</h2>\n<p>{prose(METHOD)}</p>\n<ul>\n"
        + "".join(f"<li>{prose(line)}</li>\n" for line in CAUTIONS)
        + "</ul>",
        _run(result),
        "<details><summary>The scene file</summary>\n"
        f"<pre>{escape(result.scene_text)}</pre></details>",
    ]
    body = "\n".join(section for section in sections if section)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        "img-src data:; style-src 'unsafe-inline'\">\n"
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(result.title)}</title>\n<style>{STYLE}</style>\n</head>\n"
        f"<body>\n<main>\n{body}\n</main>\n</body>\n</html>\n"
    )


def _opening(result: Result) -> str:
    version = result.versions.get("canopysim", "")
    lead = (
        f"canopysim {version}: {count(result.n_packet)} photon packets, seed {result.seed}, "
        f"{duration(result.seconds)}. The run ended because {stop_label(result.stopped_by)}."
    )
    text = f'<h1>{escape(result.title)}</h1>\n<p class="lead">{escape(lead)}</p>'
    if result.partial:
        reached = "; ".join(reached_errors(result))
        warning = (
            f"It ended early because {stop_label(result.stopped_by)}. The figures are sound, but "
            "their errors are wider than those of a full run"
        )
        warning += f" ({reached})." if reached else "."
        text += f'\n<p class="warning"><strong>Partial run.</strong> {prose(warning)}</p>'
    return text


def _card(label: str, value: str, unit: str) -> str:
    return (
        f'<div><div class="label">{escape(label)}</div><div class="value">{escape(value)}</div>'
        f'<div class="unit">{prose(unit)}</div></div>\n'
    )


def _headline(result: Result) -> str:
    """Answers that a grower looks for, before any table."""
    band = band_label(PPFD_BAND)
    cards = []
    name = top_plane(result)
    if name is not None:
        figures_of = plane_statistics(result.planes[name])
        height = centimetres(float(result.planes[name].attrs["height_m"]))
        label = (
            "Light at the top of the canopy" if is_canopy_top(result, name) else "Light on a plane"
        )
        cards.append(
            _card(
                label,
                with_error(figures_of.mean, figures_of.mean_std_err),
                f"{FLUX_DENSITY}, {band}: mean PPFD travelling down on {name}, "
                f"{height} cm above the floor",
            )
        )
    if result.layers is not None:
        lowest = result.layers.isel(layer=-1).sel(group="all", band=PPFD_BAND, side="both")
        cards.append(
            _card(
                "What the lowest leaves get",
                with_error(
                    float(lowest["absorbed_per_leaf_area"]),
                    float(lowest["absorbed_per_leaf_area_std_err"]),
                ),
                f"{FLUX_DENSITY}, {band}, absorbed per leaf area of layer {int(lowest['layer'])}",
            )
        )
        launched = float(result.launched.sel(group="all", band=PPFD_BAND))
        leaves = result.ends.sel(end="leaves", group="all", band=PPFD_BAND)
        cards.append(
            _card(
                "Absorbed by leaves",
                percent(float(leaves["share"]), float(leaves["share_std_err"])),
                f"of {with_error(launched, 0.0).removesuffix(' ± 0')} {FLUX} launched, {band}",
            )
        )
    walls = walls_share(result)
    cards.append(
        _card(
            "What the walls cost",
            percent(walls.value, walls.std_err),
            f"of the launched photons, {band}, absorbed by walls and ceiling",
        )
    )
    return f'<div class="cards">\n{"".join(cards)}</div>'


def _layers(result: Result) -> str:
    layers = result.layers
    if layers is None:
        return ""
    parts = ["<h2>What each layer of leaves gets</h2>", table_html(layer_table(result, layers))]
    half = lower_half_share(result)
    parts.append(
        "<p>"
        + prose(
            "The lower half of the leaf area absorbs "
            f"{percent(half.value, half.std_err)} of what all leaves absorb "
            f"({band_label(PPFD_BAND)})."
        )
        + "</p>"
    )
    parts.append('<div class="figures">')
    parts.append(
        figure_html(
            figures.layer_profile(result),
            f"Absorbed photons per one-sided leaf area by height, {band_label(PPFD_BAND)}, "
            f"{FLUX_DENSITY}; error bars: ± one standard error of all lights together.",
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
        parts.append(table_html(group_table(layers, result.groups)))
    far_red = far_red_bands(result)
    if far_red:
        parts.append(table_html(band_table(layers, far_red, "Far-red, apart")))
    others = [str(band) for band in layers["band"].values if band not in far_red]
    parts.append(table_html(band_table(layers, others, "Other wavebands")))
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


def _ends(result: Result) -> str:
    drawing = figure_html(
        figures.ends_bars(result),
        "Share of the launched photons of all lights that ended at each place, "
        f"{band_label(PPFD_BAND)} and far-red.",
    )
    return f"<h2>Where the photons ended</h2>\n{drawing}\n{table_html(ends_table(result))}"


def _scene(picture: Path | None) -> str:
    if picture is None:
        return ""
    caption = "The scene from the front and above; front wall, right wall and ceiling cut away."
    return f"<h2>The scene</h2>\n{picture_html(picture, caption)}"


def _run(result: Result) -> str:
    """Show what is needed to repeat the run."""
    rows = [
        ("Ended because", stop_label(result.stopped_by)),
        ("Photon packets", count(result.n_packet)),
        ("Batches", count(result.n_batch)),
        ("Seed", str(result.seed)),
        ("Time", f"{duration(result.seconds)} on {result.threads} threads"),
        ("Photons lost by the program (untraced)", untraced(result)),
        *(("Standard error reached", line) for line in reached_errors(result)),
        ("Wavebands", ", ".join(band_label(band) for band in result.band_names)),
        ("Groups of lights", ", ".join(result.groups)),
        ("Versions", ", ".join(f"{name} {version}" for name, version in result.versions.items())),
        ("Digest of the inputs", result.digest),
    ]
    return "<h2>Settings and versions</h2>\n" + pairs_html(rows)
