"""Tables and a file of the probes: what a meter would read there, and what is truly there."""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import TYPE_CHECKING

from canopysim.report.rows import Table
from canopysim.report.tables import number, plain_text
from canopysim.report.words import (
    FLUX_DENSITY,
    PPFD_BAND,
    band_label,
    centimetres,
    percent_within,
    with_error,
)

if TYPE_CHECKING:
    import xarray as xr

    from canopysim.results import Result

SIDES = ("all sides", "up", "down", "right", "left", "back", "front")


def probe_tables(result: Result) -> list[Table]:
    """Tables for all lights together: the meters, their levelling, and light from all sides."""
    probes = result.probes
    if probes is None:
        return []
    return [*meter_tables(result), _side_table(probes)]


def meter_tables(result: Result) -> list[Table]:
    """Tell what meters read and, if any has a levelling error, what that does to its reading."""
    probes = result.probes
    if probes is None:
        return []
    leaning = [_leaning_table(probes)] if "leaning" in probes else []
    return [_meter_table(probes), *leaning]


def _place(probes: xr.Dataset, name: str) -> str:
    here = probes.sel(probe=name)
    at = ", ".join(centimetres(float(here[axis])) for axis in ("x_m", "y_m", "z_m"))
    return f"{name} ({at})"


def _meter_table(probes: xr.Dataset) -> Table:
    rows = []
    for name in probes["probe"].values:
        here = probes.sel(probe=name, group="all")
        true = here.sel(facing="normal")
        unit = "lx" if str(here["reading_unit"].values) == "lx" else FLUX_DENSITY
        ratio = float(here["over_true"])
        rows.append(
            (
                _place(probes, str(name)),
                *(
                    with_error(
                        float(true["pfd"].sel(band=band)), float(true["pfd_std_err"].sel(band=band))
                    )
                    for band in (PPFD_BAND, "400-750")
                ),
                f"{with_error(float(here['reading']), float(here['reading_std_err']))} {unit}",
                with_error(ratio, float(here["over_true_std_err"])),
            )
        )
    return Table(
        f"Meters: true flux densities on the sensor's face, {FLUX_DENSITY}, and what it reads; all "
        "lights",
        (
            "Probe (right, back, up in cm)",
            band_label(PPFD_BAND),
            band_label("400-750"),
            "Reading",
            f"Reading over true {band_label(PPFD_BAND)}",
        ),
        tuple(rows),
        "The ratio holds at that spot: far-red, walls and leaves change it from place to place. "
        "Each waveband is read as the photons of its lights were launched.",
    )


def _leaning_table(probes: xr.Dataset) -> Table:
    rows = []
    for name in probes["probe"].values:
        here = probes.sel(probe=name, group="all")
        if not math.isfinite(float(here["levelling_deg"])):
            continue
        changes = {
            change: _change(
                float(here["leaning"].sel(change=change)),
                float(here["leaning_std_err"].sel(change=change)),
            )
            for change in here["change"].values
        }
        rows.append(
            (
                str(name),
                f"{float(here['levelling_deg']):g}°",
                changes["lowest"],
                f"{float(here['leaning_lowest_turn']):.0f}°",
                changes["highest"],
                f"{float(here['leaning_highest_turn']):.0f}°",
                changes["rms"].removeprefix("+"),
            )
        )
    return Table(
        "What a meter's levelling error does to its reading, all lights",
        (
            "Probe",
            "Leans by",
            "Lowest reading",
            "leaning to",
            "Highest reading",
            "leaning to",
            "Root mean square",
        ),
        tuple(rows),
        "Shares of the reading of the face as it is meant to lie. Leaning to 0° is to the right, "
        "90° to the back; for a face that does not look up, 0° is where it leans already.",
    )


def _change(share: float, std_err: float) -> str:
    """Signed percents and their error."""
    told = percent_within(share, std_err, 2)
    return f"+{told}" if share > 0 and told[0].isdigit() else told


def _side_table(probes: xr.Dataset) -> Table:
    rows = []
    for name in probes["probe"].values:
        here = probes.sel(probe=name, group="all", band=PPFD_BAND)
        rows.append(
            (
                str(name),
                *(
                    with_error(
                        float(here["pfd"].sel(facing=side)),
                        float(here["pfd_std_err"].sel(facing=side)),
                    )
                    for side in SIDES
                ),
            )
        )
    return Table(
        f"Light from all sides at the probes, {FLUX_DENSITY}, {band_label(PPFD_BAND)}, all lights",
        ("Probe", "Fluence rate", *(f"Facing {side}" for side in SIDES[1:])),
        tuple(rows),
        "A level sensor does not see side light: compare the planes that face sideways.",
    )


def write_probes_csv(result: Result, path: Path) -> None:
    """Write every probe: one row for each group, facing and waveband.

    Parameters
    ----------
    result : Result
        With probes.
    path : Path
        File to write: probe, place, group, facing ("all sides" is the fluence rate), waveband, flux
        density and standard error; then, once for each probe and group, the meter's reading, and
        by what share it changes at worst when the meter leans by its levelling error.
    """
    probes = result.probes
    if probes is None:
        raise ValueError("this result has no probes")
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(
            ["probe", "x_m", "y_m", "z_m", "group", "what", "band_nm", "value", "std_err", "unit"]
        )
        for name in probes["probe"].values:
            here = probes.sel(probe=name)
            place = [number(float(here[axis])) for axis in ("x_m", "y_m", "z_m")]
            for group in probes["group"].values:
                first = [str(name), *place, plain_text(str(group))]
                of = here.sel(group=group)
                for facing in probes["facing"].values:
                    for band in probes["band"].values:
                        cell = of.sel(facing=facing, band=band)
                        value, error = float(cell["pfd"]), float(cell["pfd_std_err"])
                        writer.writerow(
                            [*first, facing, band, number(value), number(error), "umol_m2_s"]
                        )
                unit = str(here["reading_unit"].values)
                for what, unit_of in (("reading", unit), ("over_true", "1")):
                    value, error = float(of[what]), float(of[f"{what}_std_err"])
                    writer.writerow([*first, what, "", number(value), number(error), unit_of])
                if "leaning" in probes and math.isfinite(float(of["levelling_deg"])):
                    for change in of["change"].values:
                        cell = of.sel(change=change)
                        value, error = float(cell["leaning"]), float(cell["leaning_std_err"])
                        what = f"leaning, {change}"
                        writer.writerow([*first, what, "", number(value), number(error), "1"])
