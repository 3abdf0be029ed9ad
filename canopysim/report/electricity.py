"""Electricity, heat, weight and time, as the page, the terminal and `check` tell them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from canopysim.analysis.electricity import (
    all_state_power,
    btu_per_hour,
    facts_of,
    lights_of,
    set_load,
    set_ppf,
    total,
)
from canopysim.analysis.light_day import (
    daily_absorbed,
    daily_energy,
    daily_light,
    full_hours,
    per_mole,
    shifts_of,
)
from canopysim.analysis.planes import plane_mean
from canopysim.report.markup import escape, prose, table_html
from canopysim.report.power_notes import CAUTIONS, overload_notes
from canopysim.report.power_tables import EFFICACY, power_tables
from canopysim.report.rows import Table, shown_value, top_plane
from canopysim.report.words import (
    FLUX,
    FLUX_DENSITY,
    PPFD_BAND,
    band_label,
    centimetres,
    group_label,
    percent,
    significant,
    with_error,
)
from canopysim.units_text import plain_number

if TYPE_CHECKING:
    from rich.console import RenderableType

    from canopysim.analysis.books import Estimate
    from canopysim.results import Result
    from canopysim.scene.schema import Scene

DAILY = "mol m⁻² d⁻¹"


def electricity_html(result: Result) -> str:
    """Make the section of the page; "" where the scene states nothing of it."""
    facts = facts_of(result)
    tables = power_tables(facts, _absorbed(result, facts))
    if result.planes and lights_of(facts) and shifts_of(facts):
        tables.insert(0, daily_light_table(result))
    if not tables:
        return ""
    warnings = "".join(
        f'<p class="warning"><strong>Circuit.</strong> {prose(note)}</p>\n'
        for note in overload_notes(facts)
    )
    cautions = "".join(f"<li>{prose(line)}</li>\n" for line in CAUTIONS)
    return (
        f"<h2>{escape('Electricity, heat, weight and time')}</h2>\n{warnings}"
        + "\n".join(table_html(table) for table in tables)
        + f"\n<ul>\n{cautions}</ul>"
    )


def daily_light_table(result: Result) -> Table:
    """Tell the daily light integral of every plane, by groups of lights.

    Parameters
    ----------
    result : Result
        With planes, and a photoperiod or a schedule among its facts.
    """
    facts = facts_of(result)
    groups = [group for group in result.groups if _shines(facts, group)]
    shown = ["all", *(groups if len(groups) > 1 else [])]
    rows = []
    for name, plane in result.planes.items():
        now = plane_mean(result, name)
        cells = [f"{name}, {centimetres(float(plane.attrs['height_m']))} cm up"]
        cells.append(shown_value(result, now.value, now.std_err, "all", PPFD_BAND))
        cells += [_daily(result, facts, name, group) for group in shown]
        rows.append(tuple(cells))
    notes = ["A light's photons are in proportion to its output, so nothing was traced again."]
    if any(number == 0 for number in facts["channel_light"]):
        notes.append("Without daylight, whose course over the day is not known.")
    return Table(
        f"Daily light integral (DLI) of the planes, travelling down, {band_label(PPFD_BAND)}",
        (
            "Plane",
            f"Mean as set, all lights, {FLUX_DENSITY}",
            *(f"DLI, {group_label(group)}, {DAILY}" for group in shown),
        ),
        tuple(rows),
        " ".join(notes),
    )


def summary_lines(result: Result) -> list[str]:
    """Sum up for the terminal: power and what it makes, then a day; [] where nothing is stated."""
    facts = facts_of(result)
    lights, shifts = lights_of(facts), shifts_of(facts)
    lines = []
    if all_state_power(lights):
        lines.append(_power_line(facts))
    parts = []
    if shifts and all_state_power(lights):
        energy, price = daily_energy(lights, shifts), facts["price_per_kwh"]
        parts.append(f"{significant(energy, 4)} kWh")
        if price is not None:
            currency = f" {facts['currency']}" if facts["currency"] else ""
            month = f"{price * energy * facts['days_per_month']:.2f}"
            parts.append(f"cost {price * energy:.2f}{currency} ({month}{currency} a month)")
        absorbed = _absorbed(result, facts)
        if absorbed is not None and absorbed.value > 0.0:
            spent = per_mole(energy, absorbed)
            parts.append(
                f"{with_error(spent.value, spent.std_err)} kWh per mole that leaves absorb"
            )
    top = top_plane(result)
    if shifts and lights and top is not None:
        parts.append(f"daily light integral (DLI) on {top} {_daily(result, facts, top)} {DAILY}")
    if parts:
        hours = facts["photoperiod_h"]
        day = f"A day of {hours:g} h" if hours is not None else "A day by the schedule"
        lines.append(f"{day}: {'; '.join(parts)}, {band_label(PPFD_BAND)}")
    return [*lines, *overload_notes(facts)]


def check_pieces(scene: Scene) -> list[RenderableType]:
    """Make what `check` shows; [] where the scene states nothing."""
    from rich.text import Text

    from canopysim.light.power import power_facts
    from canopysim.report.fitted_table import FittedTable

    facts = power_facts(scene)
    tables = power_tables(facts)
    if not tables:
        return []
    warnings = [Text(note, style="yellow") for note in overload_notes(facts)]
    return [*(FittedTable(table) for table in tables), *warnings, Text(CAUTIONS[0]), Text()]


def _absorbed(result: Result, facts: dict[str, Any]) -> Estimate | None:
    """Moles that leaves absorb in a day, where there are leaves, lights and hours."""
    if result.layers is None or not (lights_of(facts) and shifts_of(facts)):
        return None
    return daily_absorbed(result)


def _shines(facts: dict[str, Any], group: str) -> bool:
    """Whether any light of a group shines at any time of the day."""
    shifts = shifts_of(facts)
    return any(
        any(full_hours(light, shifts))
        for light in lights_of(facts)
        if group in ("all", light.group)
    )


def _daily(result: Result, facts: dict[str, Any], plane: str, group: str = "all") -> str:
    found = daily_light(result, plane, group=group)
    return with_error(found.value, found.std_err) if _shines(facts, group) else "0"


def _power_line(facts: dict[str, Any]) -> str:
    """Put all lights as they are set into one line."""
    lights, volts, circuit = lights_of(facts), facts["supply_v"], facts["circuit_a"]
    now, ppf = set_load(lights, volts), set_ppf(lights)
    text = f"The lights as set: {plain_number(now.watts)} W"
    if now.amperes is not None:
        text += f", {plain_number(now.amperes, 3)} A at {volts:g} V"
        if circuit is not None:
            text += f" ({percent(now.amperes / circuit)} of the circuit's {circuit:g} A)"
    text += f", {plain_number(btu_per_hour(now.watts))} BTU/h of heat"
    if now.watts > 0.0:
        text += (
            f"; photosynthetic photon flux (PPF) {plain_number(ppf)} {FLUX}, efficacy (PPE) "
            f"{significant(ppf / now.watts)} {EFFICACY}, {band_label(PPFD_BAND)}"
        )
    mass = total(lights, "mass_kg")
    if mass.n_stated == mass.n_all:
        text += f"; they hang {plain_number(mass.value, 3)} kg"
    return text
