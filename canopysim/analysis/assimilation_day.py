"""Net photosynthesis of a day: over the outputs that the lights have hour by hour, and the night.

A leaf's answer to light is curved, so a day at half output for twice the hours is no day at full
output. Every stretch of the day with the same outputs is summed over the same leaves as in
`assimilation`, with the noise of the trace taken out of all of them together; in the dark leaves
respire. Photons of daylight count nothing: their course over the day is not known.
"""

from __future__ import annotations

import itertools
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.assimilation import relative_capacity
from canopysim.analysis.books import UNKNOWN, Estimate
from canopysim.analysis.electricity import all_state_power, facts_of, lights_of
from canopysim.analysis.leaf_light import LeafLight, leaf_light
from canopysim.analysis.leaf_response import LeafResponse, net, useful_far_red
from canopysim.analysis.light_day import (
    DAY_H,
    UMOL_PER_MOL,
    Shift,
    books_of_a_day,
    daily_energy,
    shifts_of,
)
from canopysim.analysis.noise_free import noise_free
from canopysim.errors import CanopysimError
from canopysim.library.crops import Crop, library_crop

if TYPE_CHECKING:
    from canopysim.results import Result

Array = NDArray[np.float64]
SECONDS_PER_HOUR = 3600.0


@dataclass(frozen=True)
class Stretch:
    """A part of the day with the same lights at the same outputs.

    Attributes
    ----------
    start_h, hours : float
        When it begins and how long it lasts, h.
    shifts : tuple of Shift
        Which are on; none at night.
    """

    start_h: float
    hours: float
    shifts: tuple[Shift, ...]


@dataclass(frozen=True)
class AssimilationDay:
    """A day's net photosynthesis of a canopy.

    Attributes
    ----------
    crop : Crop
        Whose leaves were meant.
    layers : tuple of Estimate
        Of each layer that has leaves, top first, mol CO2 d⁻¹.
    net : Estimate
        Of all leaves, lit hours and dark ones, mol CO2 d⁻¹.
    night : float
        What dark hours take from it, mol CO2 d⁻¹: below zero.
    far_red : Estimate
        What 700–750 nm would add if it worked like 400–700 nm beside it, mol CO2 d⁻¹.
    lit_h : float
        Hours in which some light is on.
    per_kwh : Estimate
        mol CO2 per kWh of the day, standby included; NaN where a light does not state its watts.
    """

    crop: Crop
    layers: tuple[Estimate, ...]
    net: Estimate
    night: float
    far_red: Estimate
    lit_h: float
    per_kwh: Estimate


def stretches(shifts: list[Shift]) -> list[Stretch]:
    """Cut a day at every hour at which a light goes on, off or to another output."""
    cuts = {0.0, DAY_H}
    for shift in shifts:
        cuts |= {shift.start_h % DAY_H, shift.end_h % DAY_H}
    ordered = sorted(cuts)
    return [
        Stretch(start, end - start, tuple(s for s in shifts if s.covers(start)))
        for start, end in itertools.pairwise(ordered)
        if end > start
    ]


def at_outputs(result: Result, shifts: tuple[Shift, ...]) -> Result:
    """Give the result with the lights as some shifts have them, in µmol s⁻¹."""
    hour = [{**asdict(shift), "start_h": 0.0, "end_h": 1.0} for shift in shifts]
    facts = {**facts_of(result), "photoperiod_h": None, "schedule": hour}
    day = books_of_a_day(replace(result, meta={**result.meta, "electricity": facts}))
    scale = day.rows["channel_umol_s_per_quantum"] / SECONDS_PER_HOUR
    return replace(result, rows=day.rows.assign(channel_umol_s_per_quantum=scale))


def assimilation_day(
    result: Result, crop: str | Crop, *, acclimation: float = 0.0
) -> AssimilationDay:
    """Net photosynthesis of a day.

    Parameters
    ----------
    result : Result
        With a photoperiod or a schedule among its facts.
    crop, acclimation
        As for `canopysim.analysis.assimilation.assimilation`; leaves acclimate to the day's light.

    Raises
    ------
    CanopysimError
        Without a canopy, or without hours in which lights are on.
    """
    facts = facts_of(result)
    shifts = shifts_of(facts)
    if result.layers is None or not shifts:
        raise CanopysimError(
            "a day's photosynthesis needs a canopy, and a 'photoperiod' or 'schedule' under "
            "'electricity'"
        )
    crop = library_crop(crop) if isinstance(crop, str) else crop
    day = [s for s in stretches(shifts) if s.shifts]
    lit_h = sum(s.hours for s in day)
    lights = [leaf_light(at_outputs(result, s.shifts)) for s in day]
    hours = np.array([s.hours for s in day])
    means = [leaves.layer_means() for leaves in lights]
    daily = sum(h * m.rows[:, 0].sum(axis=0) for h, m in zip(hours, means, strict=True))
    capacity = relative_capacity(np.asarray(daily), acclimation)
    sums = _DaySums(crop, capacity, lights[0], hours)
    rows = np.concatenate([leaves.rows for leaves in lights], axis=1)
    found = noise_free(sums, rows, lights[0].batches)
    per = SECONDS_PER_HOUR / UMOL_PER_MOL
    rd = crop.rd.value * float(means[0].area @ capacity)
    night_of = -(DAY_H - lit_h) * per * crop.rd.value * means[0].area * capacity
    night = -(DAY_H - lit_h) * per * rd
    n = len(capacity)
    values, errors = found.value * per, found.std_err * per
    total = Estimate(float(values[n] + night), float(errors[n]))
    powered = lights_of(facts)
    per_kwh = UNKNOWN
    if all_state_power(powered):
        energy = daily_energy(powered, shifts)
        per_kwh = Estimate(total.value / energy, total.std_err / energy)
    return AssimilationDay(
        crop=crop,
        layers=tuple(
            Estimate(float(v + dark), float(e))
            for v, e, dark in zip(values[:n], errors[:n], night_of, strict=True)
        ),
        net=total,
        night=night,
        far_red=Estimate(float(values[n + 1]), float(errors[n + 1])),
        lit_h=lit_h,
        per_kwh=per_kwh,
    )


@dataclass(frozen=True)
class _DaySums:
    """From light (2 n_stretch, n_piece) to sums over lit hours: layers, all, far-red."""

    crop: Crop
    capacity: Array
    leaves: LeafLight
    hours: Array

    def __call__(self, light: Array) -> Array:
        """Sum net photosynthesis by layer and in all, and what far-red would add."""
        area, where = self.leaves.area, self.leaves.where
        leaf = LeafResponse.of(self.crop, self.capacity[where])
        total, more = np.zeros(len(area)), np.zeros(len(area))
        for k, hours in enumerate(self.hours):
            par, far_red = light[2 * k], light[2 * k + 1]
            here = net(par, leaf)
            total += hours * here
            more += hours * (net(par + useful_far_red(par, far_red), leaf) - here)
        layers = np.bincount(where, area * total, len(self.capacity))
        return np.array([*layers, layers.sum(), float(area @ more)])
