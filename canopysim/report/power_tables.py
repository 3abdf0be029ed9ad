"""Tables of what a scene states of electricity and weight: lights, load, hours, a day's energy.

They need no trace: `check` shows the same as the report.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from canopysim.analysis.books import Estimate
from canopysim.analysis.electricity import (
    all_state_power,
    btu_per_hour,
    lights_of,
    set_load,
)
from canopysim.analysis.light_day import (
    Shift,
    daily_energy,
    daily_launch,
    per_mole,
    shifts_of,
)
from canopysim.light.power import LightPower
from canopysim.report.channels import channel_table, outputs_text, shift_text
from canopysim.report.power_notes import (
    cases_of,
    light_notes,
    load_notes,
    standby_notes,
    unstated_notes,
)
from canopysim.report.rows import Table
from canopysim.report.words import (
    FLUX,
    PPFD_BAND,
    band_label,
    count,
    percent,
    significant,
    with_error,
)
from canopysim.units_power import format_clock
from canopysim.units_text import plain_number

EFFICACY = "µmol J⁻¹"


def power_tables(facts: dict[str, Any], absorbed: Estimate | None = None) -> list[Table]:
    """Make the tables that a scene's own statements answer.

    Parameters
    ----------
    facts : dict
        Of `canopysim.light.power.power_facts`; may be empty.
    absorbed : Estimate or None
        Photons of 400-700 nm that leaves absorb in a day, mol d⁻¹, where a trace tells.

    Returns
    -------
    list of Table
        Only of what is stated.
    """
    lights, shifts = lights_of(facts), shifts_of(facts)
    powered = any(light.curve_w for light in lights)
    tables = []
    if powered or any(light.mass_kg is not None for light in lights):
        tables.append(_light_table(lights))
    channels = channel_table(lights, shifts)
    if channels is not None:
        tables.append(channels)
    if powered:
        tables.append(_load_table(facts))
    if facts.get("schedule"):
        tables.append(_hours_table(shifts))
    if shifts and lights:
        tables.append(_day_table(facts, lights, shifts, absorbed))
    return tables


def _stated(value: float | None, write: Callable[[float], str] = plain_number) -> str:
    return "not stated" if value is None else write(value)


def _light_table(lights: list[LightPower]) -> Table:
    """One row for each light of the scene; figures of one fixture."""
    rows = tuple(
        (
            f"{light.number} {light.fixture}, {light.group}",
            count(light.count),
            outputs_text(light),
            _stated(set_load([light]).watts / light.count if light.curve_w else None),
            _stated(light.full_w),
            plain_number(light.ppf_umol_s),
            _stated(light.ppe_umol_j, significant),
            significant(light.even_bound_umol_j),
            _stated(light.mass_kg),
        )
        for light in lights
    )
    columns = (
        "Light, group",
        "Fixtures",
        "Output as set",
        "Input power as set, W",
        "Input power at full output, W",
        f"PPF at full output, {FLUX}",
        f"PPE at full output, {EFFICACY}",
        f"Physics allows, {EFFICACY}",
        "Mass, kg",
    )
    caption = f"The lights, figures of each fixture; photons of {band_label(PPFD_BAND)}"
    return Table(caption, columns, rows, " ".join(light_notes(lights)))


def _load_table(facts: dict[str, Any]) -> Table:
    """Power, heat, current and share of the circuit, as set and at full output."""
    volts, circuit = facts["supply_v"], facts["circuit_a"]
    cases = cases_of(facts)
    loads = list(cases.values())
    rows: list[tuple[str, ...]] = [
        ("Input power, and heat into the room, W", *(plain_number(e.watts) for e in loads)),
        ("The same heat, BTU/h", *(plain_number(btu_per_hour(e.watts)) for e in loads)),
    ]
    if volts is not None:
        currents = [each.amperes or 0.0 for each in loads]
        rows.append((f"Current at {volts:g} V, A", *(plain_number(c, 3) for c in currents)))
        if circuit is not None:
            shares = (percent(current / circuit) for current in currents)
            rows.append((f"Share of the circuit's {circuit:g} A", *shares))
    notes = " ".join(load_notes(facts))
    return Table("Electricity and heat, all lights", ("What", *cases), tuple(rows), notes)


def _hours_table(shifts: list[Shift]) -> Table:
    """Show the schedule as it is understood."""
    rows = tuple(
        (
            f"{format_clock(shift.start_h * 3600)} to {format_clock(shift.end_h * 3600)}",
            shift.group or "all lights",
            shift_text(shift),
        )
        for shift in shifts
    )
    note = "Off at all other times."
    return Table("Hours of the lights, every day", ("Hours", "Group", "Output"), rows, note)


def _day_table(
    facts: dict[str, Any],
    lights: list[LightPower],
    shifts: list[Shift],
    absorbed: Estimate | None,
) -> Table:
    """Energy, cost and photons of a day and a month."""
    days, price = facts["days_per_month"], facts["price_per_kwh"]
    energy, launched = daily_energy(lights, shifts), daily_launch(lights, shifts)
    rows: list[tuple[str, ...]] = []
    if any(light.curve_w for light in lights):
        rows.append(("Energy, kWh", significant(energy, 4), significant(days * energy, 4)))
        if price is not None:
            each_kwh = f"{plain_number(price)} {facts['currency']}".rstrip()
            paid = (f"{price * energy:.2f}", f"{price * energy * days:.2f}")
            rows.append((f"Cost at {each_kwh} per kWh", *paid))
    rows.append(("Photons launched, mol", plain_number(launched), plain_number(days * launched)))
    if absorbed is not None:
        each = (absorbed, Estimate(days * absorbed.value, days * absorbed.std_err))
        cells = (with_error(moles.value, moles.std_err) for moles in each)
        rows.append(("Photons absorbed by leaves, mol", *cells))
    notes = [f"A month has {days:g} days."]
    if facts["photoperiod_h"] is not None:
        notes.insert(0, f"All lights as set for {facts['photoperiod_h']:g} h a day.")
    if rows[0][0] == "Energy, kWh":
        notes += [*standby_notes(lights), *unstated_notes(lights)]
    if all_state_power(lights):
        notes += _per_mole_notes(facts, energy, launched, absorbed)
    return Table(
        f"A day and a month of the lights; photons of {band_label(PPFD_BAND)}",
        ("What", "Per day", "Per month"),
        tuple(rows),
        " ".join(notes),
    )


def _per_mole_notes(
    facts: dict[str, Any], energy_kwh: float, launched: float, absorbed: Estimate | None
) -> list[str]:
    """Say what a mole of photons takes and costs, launched and absorbed."""
    price, notes = facts["price_per_kwh"], []
    for what, moles in (("launched", Estimate(launched, 0.0)), ("that leaves absorb", absorbed)):
        if moles is None or not moles.value > 0.0:
            continue
        spent = per_mole(energy_kwh, moles)
        text = f"A mole {what} takes {_rated(spent)} kWh"
        if price is not None:
            text += f" and costs {_rated(per_mole(price * energy_kwh, moles))}"
            text += f" {facts['currency']}" * bool(facts["currency"])
        notes.append(f"{text}.")
    return notes


def _rated(found: Estimate) -> str:
    """Write with its error, or without one that is known to be none."""
    return (
        plain_number(found.value, 3)
        if found.std_err == 0
        else with_error(found.value, found.std_err)
    )
