"""A day of the lights: hours and outputs, energy, daily light integral, photons that leaves get."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from canopysim.analysis.books import Estimate, absorbed_per_batch, mean
from canopysim.analysis.electricity import Load, facts_of, light_watts, lights_of, load
from canopysim.analysis.ends import is_leaf, sink_mask
from canopysim.analysis.planes import plane_mean
from canopysim.light.power import LightPower

if TYPE_CHECKING:
    from canopysim.results import Result

DAY_H = 24.0
UMOL_PER_MOL = 1e6


@dataclass(frozen=True)
class Shift:
    """Hours of every day in which lights are on.

    Attributes
    ----------
    group : str or None
        Group of lights; None for all of them.
    start_h, end_h : float
        Hours after midnight; an end below the start is that of the next day.
    output : float or None
        Share of full output; None for what each light is set to.
    outputs : dict of str to float
        Shares of full output of single channels, which go before `output`.
    """

    group: str | None
    start_h: float
    end_h: float
    output: float | None
    outputs: dict[str, float] = field(default_factory=dict)

    @property
    def hours(self) -> float:
        """How long it lasts, h."""
        return self.end_h - self.start_h + (DAY_H if self.end_h < self.start_h else 0.0)

    def concerns(self, light: LightPower) -> bool:
        """Whether a light is on in it."""
        return self.group is None or self.group == light.group

    def covers(self, time_h: float) -> bool:
        """Whether it is on at a time of the day, or from then on."""
        if self.end_h < self.start_h:
            return time_h >= self.start_h or time_h < self.end_h
        return self.start_h <= time_h < self.end_h

    def outputs_of(self, light: LightPower) -> tuple[float, ...]:
        """Shares of full output at which a light's channels shine in it; one without channels."""
        names = [channel.name for channel in light.channels] or [""]
        return tuple(
            self.outputs.get(name, as_set if self.output is None else self.output)
            for name, as_set in zip(names, light.outputs, strict=True)
        )


def shifts_of(facts: dict[str, Any]) -> list[Shift]:
    """Read the schedule, or the photoperiod as one shift of all lights; empty without either."""
    if facts.get("photoperiod_h") is not None:
        return [Shift(None, 0.0, float(facts["photoperiod_h"]), None)]
    return [Shift(**shift) for shift in facts.get("schedule", ())]


def full_hours(light: LightPower, shifts: Sequence[Shift]) -> tuple[float, ...]:
    """Hours at full output that would launch the photons of a light's day, of each channel."""
    hours = np.zeros(len(light.outputs))
    for shift in shifts:
        if shift.concerns(light):
            hours += shift.hours * np.array(shift.outputs_of(light))
    return tuple(hours.tolist())


def daily_energy(lights: Sequence[LightPower], shifts: Sequence[Shift]) -> float:
    """Energy that lights take in a day, kWh, with standby in the hours in which they are off."""
    watt_hours = 0.0
    for light in lights:
        if light.curve_w:
            on = [(s.hours, s.outputs_of(light)) for s in shifts if s.concerns(light)]
            off_h = DAY_H - sum(hours for hours, _ in on)
            spent = sum(h * light_watts(light, o) for h, o in on)
            watt_hours += light.count * (spent + off_h * light.standby_w)
    return watt_hours / 1000.0


def busiest(
    lights: Sequence[LightPower], shifts: Sequence[Shift], volts: float | None = None
) -> Load:
    """Greatest load of the day: it begins where some shift begins.

    Parameters
    ----------
    lights, shifts : sequence of LightPower, of Shift
        At least one shift.
    volts : float or None
        Of the circuit, V.
    """
    loads = []
    for time in (shift.start_h for shift in shifts):
        now = [shift for shift in shifts if shift.covers(time)]
        # Of one light no two shifts overlap; without one it is off.
        outputs = [
            next((s.outputs_of(light) for s in now if s.concerns(light)), (0.0,) * len(light.ppfs))
            for light in lights
        ]
        loads.append(load(lights, outputs, volts))
    return max(loads, key=lambda each: each.watts)


def daily_launch(lights: Sequence[LightPower], shifts: Sequence[Shift]) -> float:
    """Photons of 400-700 nm that lights launch in a day, mol d⁻¹."""
    return sum(
        light.count * float(np.dot(light.ppfs, full_hours(light, shifts))) * 3600.0 / UMOL_PER_MOL
        for light in lights
    )


def books_of_a_day(result: Result) -> Result:
    """Weigh the books of a result by the hours and outputs of a day.

    Parameters
    ----------
    result : Result
        With a photoperiod or a schedule among its facts.

    Returns
    -------
    Result
        The same rows, in which a quantum stands for µmol a day. A light's flux is linear in its
        output, so every batch is what it would have been: what varies together does so still.
        Daylight counts nothing: its course over the day is not known.
    """
    facts = facts_of(result)
    lights, shifts = lights_of(facts), shifts_of(facts)
    scale = np.array(facts["channel_full_umol_s_per_quantum"], np.float64)
    numbers = facts["channel_light"]
    names = facts.get("channel_name", [""] * len(numbers))
    hours = np.array(
        [
            _hours_of(lights[number - 1], name, shifts) if number > 0 else 0.0
            for number, name in zip(numbers, names, strict=True)
        ]
    )
    rows = result.rows.assign(channel_umol_s_per_quantum=("channel", scale * hours * 3600.0))
    return replace(result, rows=rows)


def _hours_of(light: LightPower, channel: str, shifts: Sequence[Shift]) -> float:
    """Hours at full output of one channel of a light, or of a light without any."""
    names = [each.name for each in light.channels] or [""]
    return full_hours(light, shifts)[names.index(channel)]


def daily_light(result: Result, plane: str, *, group: str = "all") -> Estimate:
    """Mean daily light integral (DLI) of a plane, 400-700 nm, travelling down.

    Parameters
    ----------
    result : Result
        With a photoperiod or a schedule among its facts.
    plane : str
        Name of the plane.
    group : str
        Group of lights, or "all" for all lights; daylight counts nothing.

    Returns
    -------
    Estimate
        mol m⁻² d⁻¹.
    """
    found = plane_mean(books_of_a_day(result), plane, group=group)
    return Estimate(found.value / UMOL_PER_MOL, found.std_err / UMOL_PER_MOL)


def daily_absorbed(result: Result, *, group: str = "all") -> Estimate:
    """Photons of 400-700 nm that all leaves absorb in a day, mol d⁻¹; see `daily_light`."""
    leaves = sink_mask(result, is_leaf)
    found = mean(absorbed_per_batch(books_of_a_day(result), leaves, group=group))
    return Estimate(found.value / UMOL_PER_MOL, found.std_err / UMOL_PER_MOL)


def per_mole(amount: float, moles: Estimate) -> Estimate:
    """Divide what is known exactly by moles that are not; NaN where there are none."""
    if not moles.value > 0.0:
        return Estimate(float("nan"), float("nan"))
    value = amount / moles.value
    return Estimate(value, value * moles.std_err / moles.value)
