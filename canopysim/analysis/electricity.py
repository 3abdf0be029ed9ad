"""Watts, amperes, heat and weight of the lights: arithmetic on what the scene states of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from canopysim.light.power import ChannelPower, LightPower

if TYPE_CHECKING:
    from canopysim.results import Result

Outputs = Sequence[float]
BTU_PER_WH = 3600.0 / 1055.05585262
"""Heat, BTU (International Table) in a watt-hour: 3.412."""
CONTINUOUS_SHARE = 0.8
"""Share of a circuit's rating that a load of three hours and more may take by a common rule.

As in the US National Electrical Code, 210.19 and 210.20: a breaker of at least 125 % of such a
load. Other countries and other breakers have other rules.
"""


def watts_at(curve: Sequence[Sequence[float]], output: float, standby_w: float = 0.0) -> float:
    """Input power of a light at a share of full output.

    Parameters
    ----------
    curve : sequence of (output, W)
        Ascending to full output, 1.
    output : float
        Share of full output, 0 to 1.
    standby_w : float
        What it draws while it is off, W.

    Returns
    -------
    float
        W. At 0 the light is off. Between points the curve is straight. Below its lowest point a
        driver is taken to draw what it draws there; one point alone, full output, stands for a
        light without a stated curve, whose power is taken in proportion to its output.
    """
    if output <= 0.0:
        return standby_w
    if len(curve) == 1:
        return curve[0][1] * output
    outputs, watts = zip(*curve, strict=True)
    return float(np.interp(output, outputs, watts))


def light_watts(light: LightPower, outputs: Outputs) -> float:
    """Input power of one fixture of a light, W.

    Parameters
    ----------
    light : LightPower
        With a stated input power.
    outputs : sequence of float
        Share of full output of each of its channels, or one share for a light without any.

    Returns
    -------
    float
        W. Channels with curves of their own add up. Where one driver feeds all, it draws what its
        curve says at the mean output, each channel weighed by its share of the input power. With
        all channels off the light is in standby.
    """
    if not any(output > 0.0 for output in outputs):
        return light.standby_w
    if not light.channels:
        return watts_at(light.curve_w, outputs[0])
    if all(channel.curve_w for channel in light.channels):
        return sum(
            watts_at(channel.curve_w, output)
            for channel, output in zip(light.channels, outputs, strict=True)
        )
    mean = sum(c.power_share * o for c, o in zip(light.channels, outputs, strict=True))
    return watts_at(light.curve_w, mean)


def amperes(watts: float, volts: float, power_factor: float = 1.0) -> float:
    """Give the current of a load on a single-phase supply, A: W over V times power factor."""
    return watts / (volts * power_factor)


def continuous_current(circuit_a: float) -> float:
    """Give the current, A, that a continuous load may draw from a circuit by the rule of 80 %."""
    return CONTINUOUS_SHARE * circuit_a


def continuous_watts(circuit_a: float, volts: float, power_factor: float = 1.0) -> float:
    """Give the continuous load, W, that a single-phase circuit may feed by the rule of 80 %."""
    return continuous_current(circuit_a) * volts * power_factor


def btu_per_hour(watts: float) -> float:
    """Heat of an electrical load, BTU h⁻¹."""
    return BTU_PER_WH * watts


def daily_light_integral(ppfd_umol_m2_s: float, hours: float) -> float:
    """Daily light integral (DLI), mol m⁻² d⁻¹, of a steady photon flux density, µmol m⁻² s⁻¹."""
    return ppfd_umol_m2_s * 3600.0 * hours / 1e6


@dataclass(frozen=True)
class Load:
    """What lights take from their circuit together.

    Attributes
    ----------
    watts : float
        Input power, W, which all becomes heat in the end.
    amperes : float or None
        Sum of the currents, A, which is exact if all power factors are alike and too high if not;
        None without a voltage.
    """

    watts: float
    amperes: float | None


def set_load(lights: Sequence[LightPower], volts: float | None = None) -> Load:
    """Add up what lights draw at the outputs that they are set to; see `load`."""
    return load(lights, [light.outputs for light in lights], volts)


def full_load(lights: Sequence[LightPower], volts: float | None = None) -> Load:
    """Add up what lights draw at full output; see `load`."""
    return load(lights, [[1.0] * len(light.outputs) for light in lights], volts)


def set_ppf(lights: Sequence[LightPower]) -> float:
    """Photosynthetic photon flux, 400-700 nm, of all lights as they are set, µmol s⁻¹."""
    return sum(light.count * float(np.dot(light.outputs, light.ppfs)) for light in lights)


def load(
    lights: Sequence[LightPower], outputs: Sequence[Outputs], volts: float | None = None
) -> Load:
    """Add up the input power and current of lights.

    Parameters
    ----------
    lights : sequence of LightPower
        Those that state no input power add nothing.
    outputs : sequence of sequence of float
        Shares of full output of each; see `light_watts`.
    volts : float or None
        Of the circuit, V.

    Returns
    -------
    Load
        A power factor that is not stated is taken as 1, so that the true current may be greater.
    """
    watts, current = 0.0, 0.0
    for light, output in zip(lights, outputs, strict=True):
        if light.curve_w:
            mine = light.count * light_watts(light, output)
            watts += mine
            if volts is not None:
                current += amperes(mine, volts, light.power_factor or 1.0)
    return Load(watts, current if volts is not None else None)


@dataclass(frozen=True)
class Sum:
    """A total over those fixtures that state a figure.

    Attributes
    ----------
    value : float
        The total.
    n_stated, n_all : int
        Fixtures that state it, and all.
    """

    value: float
    n_stated: int
    n_all: int


def total(lights: Sequence[LightPower], name: str) -> Sum:
    """Add up "mass_kg" or "inrush_a" over all fixtures that state it."""
    stated = [
        (light.count, float(value))
        for light in lights
        if (value := getattr(light, name)) is not None
    ]
    return Sum(
        sum(count * value for count, value in stated),
        sum(count for count, _ in stated),
        sum(light.count for light in lights),
    )


def facts_of(result: Result) -> dict[str, Any]:
    """Give what the scene of a result stated of electricity; empty if it stated nothing."""
    return dict(result.meta.get("electricity") or {})


def lights_of(facts: dict[str, Any]) -> list[LightPower]:
    """Read the lights from the facts of `canopysim.light.power.power_facts`."""
    return [
        LightPower(
            **{**light, "channels": [ChannelPower(**each) for each in light.get("channels", ())]}
        )
        for light in facts.get("lights", ())
    ]


def all_state_power(lights: Sequence[LightPower]) -> bool:
    """Whether there are lights and each of them states its input power."""
    return bool(lights) and all(light.curve_w for light in lights)
