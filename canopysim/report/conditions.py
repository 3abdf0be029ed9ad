"""Under which conditions the figures hold: what the scene and the run had set, in plain words."""

from __future__ import annotations

from functools import partial
from operator import eq
from typing import TYPE_CHECKING

from canopysim.analysis.books import launched
from canopysim.analysis.ends import ends_of, share_at
from canopysim.analysis.far_red import far_red_span
from canopysim.bands import PAR
from canopysim.report.words import (
    FLUX,
    PPFD_BAND,
    band_label,
    centimetres,
    count,
    duration,
    end_label,
    group_label,
    percent,
    significant,
    span_label,
)

if TYPE_CHECKING:
    from canopysim.results import Result

_SETTINGS = {
    "replicates": "Canopies, each grown from a seed of its own",
    "lining": "Lining",
    "drawn_room": "Drawn room, of which the enclosure is the box round it",
    "floor_area_m2": "Floor area, m²",
    "with_plants": "Plants",
    "n_volume": "Volumes filled with leaves",
    "ground_area_m2": "Ground area, m²",
    "canopy_height_m": "Canopy height, cm",
    "leaf_area_m2": "Leaf area, one-sided, m²",
    "target": "Target: relative standard error",
    "max_packets": "Packet budget",
    "max_time_s": "Time budget",
}
# What only a repetition or a check of the program needs.
_RECORD = {
    "target_floor": f"Target: absolute floor, share of launched {band_label(PPFD_BAND)} photons",
    "batch_packets": "Packets in a batch",
    "n_triangle": "Triangles in the scene",
}


def condition_rows(result: Result) -> list[tuple[str, str]]:
    """Under which conditions the figures hold: size, lining, plants, lights, and when to stop."""
    settings = {key: value for key, value in result.settings.items() if key not in _RECORD}
    rows = []
    size = [settings.pop(f"{axis}_m", None) for axis in ("width", "depth", "height")]
    if all(value is not None for value in size):
        text = " × ".join(centimetres(float(value or 0.0)) for value in size)
        rows.append(("Enclosure, width × depth × height", f"{text} cm"))
    for key, value in settings.items():
        label = _SETTINGS.get(key, key.replace("_", " ").capitalize())
        rows.append((label, _setting(key, value)))
    for group in (str(name) for name in result.launched["group"].values):
        for span in (PAR, far_red_span(result)):
            flux = significant(launched(result, span=span, group=group), 4)
            rows.append((f"Launched by {group_label(group)}, {span_label(span)}", f"{flux} {FLUX}"))
    return rows


def record_rows(result: Result) -> list[tuple[str, str]]:
    """List what a repetition or a check of the program needs: batches, corrections, digest."""
    rows = [
        (label, _setting(key, result.settings[key]))
        for key, label in _RECORD.items()
        if key in result.settings
    ]
    rows.append(("Batches", count(result.n_batch)))
    for end in ends_of(result):
        if end.kind in ("untraced", "roulette", "choice"):
            name = end_label(end)
            for span in (PAR, far_red_span(result)):
                share = share_at(result, partial(eq, end), span=span)
                text = percent(share.value, share.std_err).replace("none seen", "none")
                rows.append((f"{name[0].upper()}{name[1:]}, {span_label(span)}", text))
    rows.append(("Digest of the inputs", result.digest))
    return rows


def _setting(key: str, value: object) -> str:
    """Value of a setting, in the unit that its key tells."""
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        return "; ".join(f"{name} {_setting(key, v)}" for name, v in value.items()) or "none"
    if isinstance(value, list | tuple):
        return ", ".join(_setting(key, item) for item in value) or "none"
    if isinstance(value, int | float):
        if key.startswith("target"):
            return percent(value)
        if key.endswith("_s"):
            return duration(value)
        if key.endswith("_m"):
            return centimetres(value)
        return count(value) if isinstance(value, int) else f"{value:.6g}"
    return str(value)
