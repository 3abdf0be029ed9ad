"""Under which conditions the figures hold: what the scene and the run had set, in plain words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canopysim.report.words import (
    FLUX,
    PPFD_BAND,
    band_label,
    centimetres,
    count,
    duration,
    group_label,
    percent,
    significant,
)

if TYPE_CHECKING:
    from canopysim.results import Result

_SETTINGS = {
    "lining": "Lining",
    "with_plants": "Plants",
    "ground_area_m2": "Ground area, m²",
    "canopy_height_m": "Canopy height, cm",
    "leaf_area_m2": "Leaf area, one-sided, m²",
    "target": "Target: relative standard error",
    "target_floor": "Target: absolute floor, share of launched 400–700 nm photons",
    "max_packets": "Packet budget",
    "max_time_s": "Time budget",
    "batch_packets": "Packets in a batch",
    "n_triangle": "Triangles in the scene",
}


def condition_rows(result: Result) -> list[tuple[str, str]]:
    """Under which conditions the figures hold: size, lining, plants, and all that was set."""
    settings = dict(result.settings)
    rows = []
    size = [settings.pop(f"{axis}_m", None) for axis in ("width", "depth", "height")]
    if all(value is not None for value in size):
        text = " × ".join(centimetres(float(value or 0.0)) for value in size)
        rows.append(("Enclosure, width × depth × height", f"{text} cm"))
    for key, value in settings.items():
        label = _SETTINGS.get(key, key.replace("_", " ").capitalize())
        rows.append((label, _setting(key, value)))
    for group in result.launched["group"].values:
        launched = float(result.launched.sel(group=group, band=PPFD_BAND))
        name = f"Launched by {group_label(str(group))}, {band_label(PPFD_BAND)}"
        rows.append((name, f"{significant(launched, 4)} {FLUX}"))
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
