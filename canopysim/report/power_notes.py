"""Sentences beside the tables of electricity: what was assumed, what a circuit bears, cautions."""

from __future__ import annotations

from typing import Any

from canopysim.analysis.electricity import (
    CONTINUOUS_SHARE,
    Load,
    Sum,
    continuous_current,
    continuous_watts,
    full_load,
    lights_of,
    set_load,
    total,
)
from canopysim.analysis.light_day import Shift, busiest, shifts_of
from canopysim.light.power import LightPower
from canopysim.report.words import percent
from canopysim.units import format_share
from canopysim.units_text import plain_number

CAUTIONS = (
    "These are estimates from data sheets, not an electrical, structural or eye-safety "
    "assessment. Local code decides; wiring is for a licensed electrician.",
    "Circuit: fans, pumps, heaters and all else on it count too, and so do the ratings of plugs "
    "and cords. Lights that are switched on together can trip a breaker by their inrush.",
    "Heat: practically all input power ends as heat in the room, light included; ventilate for it, "
    "and keep the makers' clearances, as linings can burn.",
    "Weight: filters, fans and nets hang from the same poles. Use hangers rated for the load and a "
    "second line for safety, and hang nothing by its cord.",
)


def cases_of(facts: dict[str, Any]) -> dict[str, Load]:
    """Add up the load as set, at full output, and in the busiest hours of a schedule.

    Parameters
    ----------
    facts : dict
        Of `canopysim.light.power.power_facts`, not empty.
    """
    lights, volts = lights_of(facts), facts["supply_v"]
    cases = {"As set": set_load(lights, volts), "At full output": full_load(lights, volts)}
    if facts["schedule"]:
        busy = busiest(lights, shifts_of(facts), volts)
        cases["In the busiest hours of the schedule"] = busy
    return cases


def overload_notes(facts: dict[str, Any]) -> list[str]:
    """Say in which cases the lights draw more than their circuit should carry.

    Parameters
    ----------
    facts : dict
        Of `canopysim.light.power.power_facts`; may be empty.
    """
    circuit = facts.get("circuit_a")
    if circuit is None:
        return []
    notes = []
    for case, load in cases_of(facts).items():
        if load.amperes is None or load.amperes <= continuous_current(circuit):
            continue
        most = f"the {format_share(CONTINUOUS_SHARE)} of it that a common rule allows for long"
        if load.amperes > circuit:
            most = "it is rated for"
        notes.append(
            f"{case} the lights draw {plain_number(load.amperes, 3)} A, "
            f"{percent(load.amperes / circuit)} of the circuit's {circuit:g} A: more than {most}. "
            "Use more circuits or fewer lights; ask a licensed electrician."
        )
    return notes


def load_notes(facts: dict[str, Any]) -> list[str]:
    """Say what was assumed of power and current, and what the circuit may carry."""
    lights, shifts = lights_of(facts), shifts_of(facts)
    powered = [light for light in lights if light.curve_w]
    notes = [*unstated_notes(lights), *_curve_notes(powered, shifts)]
    volts, circuit = facts["supply_v"], facts["circuit_a"]
    if volts is None:
        return notes
    silent = [light.fixture for light in powered if light.power_factor is None]
    if silent:
        notes.append(
            f"The power factor of {_names(silent)} is not stated and taken as 1; the true current "
            "is greater."
        )
    if len(silent) < len(powered):
        notes.append("Power factors hold at full output; dimmed lights have lower ones.")
    inrush = total(lights, "inrush_a")
    if inrush.n_stated:
        notes.append(
            f"All lights{_of_those(inrush)} switched on at once: inrush of "
            f"{plain_number(inrush.value, 3)} A at most, for an instant."
        )
    if circuit is not None:
        notes.append(
            "By a common rule a load of three hours and more takes at most "
            f"{format_share(CONTINUOUS_SHARE)} of a circuit's rating: here "
            f"{plain_number(continuous_current(circuit), 3)} A, or "
            f"{plain_number(continuous_watts(circuit, volts))} W at a power factor of 1."
        )
    return notes


def light_notes(lights: list[LightPower]) -> list[str]:
    """Say what the columns of the lights mean, and what they add up to."""
    notes = []
    mass = total(lights, "mass_kg")
    if mass.n_stated:
        notes.append(f"All lights{_of_those(mass)} hang {plain_number(mass.value, 3)} kg.")
    notes.append(
        "PPF is the photosynthetic photon flux; PPE, the photosynthetic photon efficacy, is PPF "
        "over input power. Physics allows what a light makes that loses no watt, with its photons "
        "spread evenly over the stated wavebands."
    )
    over = [light.fixture for light in lights if (light.ppe_umol_j or 0) > light.even_bound_umol_j]
    if over:
        notes.append(f"{_names(over)}: more than that; look up input power and PPF again.")
    return notes


def unstated_notes(lights: list[LightPower]) -> list[str]:
    """Name the lights that sums of power leave out."""
    silent = [light.fixture for light in lights if not light.curve_w]
    return [f"Without {_names(silent)}, whose input power is not stated."] if silent else []


def _curve_notes(powered: list[LightPower], shifts: list[Shift]) -> list[str]:
    """Say what was assumed of lights that are dimmed."""
    assumed, below = [], []
    for light in powered:
        shown = [shift.outputs_of(light) for shift in shifts if shift.concerns(light)]
        for curve, outputs in _driven(light, [light.outputs, *shown]):
            dimmed = [output for output in outputs if 0.0 < output < 1.0]
            if dimmed and len(curve) == 1:
                assumed.append(light.fixture)
            elif dimmed and min(dimmed) < curve[0][0]:
                below.append(light.fixture)
    notes = []
    if assumed:
        notes.append(
            f"No driver's curve is stated for {_names(assumed)}: dimmed, its input power is taken "
            "in proportion to its output; real drivers draw more."
        )
    if below:
        notes.append(
            f"Below its lowest stated point the driver of {_names(below)} is taken to draw what it "
            "draws there."
        )
    return notes


def _driven(
    light: LightPower, states: list[tuple[float, ...]]
) -> list[tuple[list[list[float]], list[float]]]:
    """Curves of a light's drivers, each with the outputs at which it is asked."""
    if light.channels and all(channel.curve_w for channel in light.channels):
        each = zip(light.channels, zip(*states, strict=True), strict=True)
        return [(channel.curve_w, list(outputs)) for channel, outputs in each]
    shares = [channel.power_share for channel in light.channels] or [1.0]
    means = [sum(s * o for s, o in zip(shares, state, strict=True)) for state in states]
    return [(light.curve_w, means)]


def standby_notes(lights: list[LightPower]) -> list[str]:
    """Say that lights which are off are counted, where they draw anything then."""
    on = any(light.standby_w > 0.0 for light in lights if light.curve_w)
    return ["While off they draw their standby power."] if on else []


def _names(fixtures: list[str]) -> str:
    return ", ".join(dict.fromkeys(fixtures))


def _of_those(found: Sum) -> str:
    """Limit "all lights" to those that state a figure, where not all do."""
    return "" if found.n_stated == found.n_all else f" of the {found.n_stated} that state it"
