"""Colours of the light on planes and at probes, as a table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canopysim.analysis.colours import Arriving, at_probe, on_plane
from canopysim.report.rows import RATIO_BANDS, Table
from canopysim.report.words import (
    FLUX_DENSITY,
    centimetres,
    colour_ratio,
    group_label,
    percent,
    with_error,
)

if TYPE_CHECKING:
    from canopysim.results import Result

NOTE = (
    "Yield photon flux weighs photons by the mean relative quantum yield of leaves (McCree 1972, "
    "good to about 0.05), which was measured with one colour at a time: it values far-red beside "
    "other light too low. Within each waveband photons count as their light launched them."
)


def colour_table(result: Result) -> Table | None:
    """Tell the colours of all lights and of each group; None without planes, probes or yields."""
    if not result.meta.get("channel_yield"):
        return None
    groups = ["all", *(result.groups if len(result.groups) > 1 else [])]
    rows = [
        _row(
            f"{name}, {centimetres(float(plane.attrs['height_m']))} cm up, down",
            group,
            on_plane(result, name, group=group),
        )
        for name, plane in result.planes.items()
        for group in groups
    ]
    if result.probes is not None and "probed" in result.rows:
        rows += [
            _row(f"probe {name}, on its face", "all", at_probe(result, str(name)))
            for name in result.probes["probe"].values
        ]
    if not rows:
        return None
    return Table(
        "Colours of the light that arrives",
        (
            "Where",
            "Lights",
            "Blue share, 400–500 of 400–700 nm",
            f"Red:far-red, {RATIO_BANDS}",
            f"Yield photon flux density, {FLUX_DENSITY}",
            "Yield photon flux over photons of 400–700 nm",
        ),
        tuple(rows),
        NOTE,
    )


def _row(where: str, group: str, found: Arriving) -> tuple[str, ...]:
    return (
        where,
        group_label(group),
        percent(found.blue_share.value, found.blue_share.std_err),
        colour_ratio(found.red_to_far_red.value, found.red_to_far_red.std_err),
        with_error(found.ypfd.value, found.ypfd.std_err),
        with_error(found.ypf_per_par.value, found.ypf_per_par.std_err),
    )
