"""Watts, amperes, heat, energy and light of a day, against hand sums and a minute-by-minute day."""

from __future__ import annotations

from dataclasses import asdict
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canopysim.analysis import electricity as el
from canopysim.analysis import light_day as day
from canopysim.analysis.books import Estimate
from canopysim.light.power import LightPower

CURVE = [[0.1, 14.0], [0.5, 54.0], [1.0, 105.0]]


def light(**changes: Any) -> LightPower:
    """A light of 105 W and 300 µmol/s that states everything."""
    stated = {
        "number": 1,
        "fixture": "bar",
        "group": "top bars",
        "count": 1,
        "output": 1.0,
        "ppf_umol_s": 300.0,
        "even_bound_umol_j": 4.6,
        "utmost_bound_umol_j": 5.0,
        "curve_w": CURVE,
        "standby_w": 0.0,
        "supply_v": None,
        "power_factor": 1.0,
        "inrush_a": 30.0,
        "mass_kg": 2.5,
    }
    return LightPower(**{**stated, **changes})


def facts(*lights: LightPower, **changes: Any) -> dict[str, Any]:
    """What a scene with these lights states."""
    stated: dict[str, Any] = {
        "lights": [asdict(each) for each in lights],
        "supply_v": 230.0,
        "circuit_a": 16.0,
        "price_per_kwh": 0.3,
        "currency": "",
        "days_per_month": 30.0,
        "photoperiod_h": 14.0,
        "schedule": [],
        "channel_light": [each.number for each in lights],
        "channel_full_umol_s_per_quantum": [2.0**-20] * len(lights),
    }
    return {**stated, **changes}


def shift(start_h: float, end_h: float, output: float | None = None, group: str | None = None):
    return {"group": group, "start_h": start_h, "end_h": end_h, "output": output}


# Power ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("circuit", "volts", "current", "watts"),
    [(15.0, 120.0, 12.0, 1440.0), (20.0, 120.0, 16.0, 1920.0), (16.0, 230.0, 12.8, 2944.0)],
)
def test_a_continuous_load_takes_four_fifths_of_a_circuit(circuit, volts, current, watts):
    assert el.continuous_current(circuit) == pytest.approx(current, rel=1e-15)
    assert el.continuous_watts(circuit, volts) == pytest.approx(watts, rel=1e-15)
    # The same as a breaker of 125 % of the load.
    assert 1.25 * el.amperes(watts, volts) == pytest.approx(circuit, rel=1e-15)


def test_heat_and_light_of_a_day_have_their_factors():
    assert el.btu_per_hour(1.0) == pytest.approx(3.412142, abs=5e-7)
    assert el.daily_light_integral(500.0, 12.0) == pytest.approx(21.6, rel=1e-15)
    assert el.daily_light_integral(500.0, 18.0) == pytest.approx(32.4, rel=1e-15)
    assert el.amperes(460.0, 230.0, 0.8) == pytest.approx(2.5, rel=1e-15)


def test_a_drivers_curve_is_straight_between_its_points():
    for output, watts in CURVE:
        assert el.watts_at(CURVE, output) == watts
    assert el.watts_at(CURVE, 0.3) == pytest.approx(34.0, rel=1e-14)
    assert el.watts_at(CURVE, 0.75) == pytest.approx(79.5, rel=1e-14)
    # Below its lowest point a driver draws what it draws there; at 0 the light is off.
    assert el.watts_at(CURVE, 0.01, 0.5) == 14.0
    assert el.watts_at(CURVE, 0.0, 0.5) == 0.5
    # Without a curve: in proportion.
    assert el.watts_at([[1.0, 105.0]], 0.4) == pytest.approx(42.0, rel=1e-14)


@given(
    st.lists(st.floats(0.01, 0.99), min_size=1, max_size=6, unique=True),
    st.lists(st.floats(0.0, 50.0), min_size=7, max_size=7),
    st.lists(st.floats(0.001, 1.0), min_size=2, max_size=8),
)
def test_more_light_never_takes_less_power(outputs, steps, asked):
    curve = [
        [output, 1.0 + sum(steps[: n + 1])] for n, output in enumerate([*sorted(outputs), 1.0])
    ]
    watts = [el.watts_at(curve, output) for output in sorted(asked)]
    assert all(lower <= higher for lower, higher in pairwise(watts))
    assert curve[0][1] <= min(watts)
    assert max(watts) <= curve[-1][1]


def test_loads_add_up_over_lights_and_rows():
    lights = [
        light(count=2, output=0.5, power_factor=0.9),
        light(number=2, curve_w=[[1.0, 40.0]], output=0.25, power_factor=None, mass_kg=None),
        light(number=3, curve_w=[], inrush_a=None),
        light(number=4, output=0.0, standby_w=0.5, power_factor=0.5),
    ]
    now = el.set_load(lights, 100.0)
    assert now.watts == pytest.approx(2 * 54 + 10 + 0.5, rel=1e-14)
    # A power factor that is not stated is taken as 1.
    assert now.amperes == pytest.approx(2 * 54 / 90 + 10 / 100 + 0.5 / 50, rel=1e-14)
    full = el.full_load(lights)
    assert (full.watts, full.amperes) == (2 * 105 + 40 + 105, None)
    assert el.total(lights, "mass_kg") == el.Sum(10.0, 4, 5)
    assert el.total(lights, "inrush_a") == el.Sum(120.0, 4, 5)
    assert el.set_ppf(lights) == pytest.approx(2 * 0.5 * 300 + 0.25 * 300 + 300, rel=1e-14)
    assert not el.all_state_power(lights)
    assert el.all_state_power(lights[:2])
    assert not el.all_state_power([])


# A day ----------------------------------------------------------------------------------------


def test_a_photoperiod_is_one_shift_of_all_lights_as_they_are_set():
    lights = [light(count=2, output=0.5, standby_w=0.4), light(number=2, group="side bars")]
    shifts = day.shifts_of(facts(*lights))
    assert [day.full_hours(each, shifts) for each in lights] == [(7.0,), (14.0,)]
    hand = 2 * (54 * 14 + 0.4 * 10) + 105 * 14
    assert day.daily_energy(lights, shifts) == pytest.approx(hand / 1000, rel=1e-14)
    launched = (2 * 150 + 300) * 14 * 3600 / 1e6
    assert day.daily_launch(lights, shifts) == pytest.approx(launched, rel=1e-14)
    assert day.shifts_of({}) == []


def test_a_schedule_against_sums_by_hand():
    lights = [
        light(output=0.8, standby_w=1.0),
        light(number=2, group="side bars", curve_w=[[1.0, 40.0]], count=3),
    ]
    schedule = [
        shift(20.0, 6.0, 0.3, "side bars"),
        shift(6.0, 8.0, 0.5),
        shift(8.0, 18.0, None, "top bars"),
    ]
    shifts = day.shifts_of(facts(*lights, photoperiod_h=None, schedule=schedule))
    top, side = lights
    assert day.full_hours(top, shifts) == pytest.approx((2 * 0.5 + 10 * 0.8,), rel=1e-14)
    assert day.full_hours(side, shifts) == pytest.approx((10 * 0.3 + 2 * 0.5,), rel=1e-14)
    top_wh = 2 * 54 + 10 * (54 + 51 * 0.6) + 12 * 1.0
    side_wh = 3 * (10 * 12 + 2 * 20)
    assert day.daily_energy(lights, shifts) == pytest.approx((top_wh + side_wh) / 1e3, rel=1e-14)
    busy = day.busiest(lights, shifts, 230.0)
    assert busy.watts == pytest.approx(54 + 3 * 20, rel=1e-14)
    assert busy.amperes == pytest.approx(114 / 230, rel=1e-14)


def test_busiest_hours_may_lie_after_midnight():
    lights = [light(), light(number=2, group="side bars", curve_w=[[1.0, 40.0]])]
    schedule = [shift(20.0, 6.0, None, "side bars"), shift(3.0, 4.0, None, "top bars")]
    shifts = day.shifts_of(facts(*lights, photoperiod_h=None, schedule=schedule))
    assert day.busiest(lights, shifts).watts == 145.0
    # They do not meet where one ends before the other begins.
    schedule[1] = shift(6.0, 20.0, None, "top bars")
    shifts = day.shifts_of(facts(*lights, photoperiod_h=None, schedule=schedule))
    assert day.busiest(lights, shifts).watts == 105.0


TIMES = st.lists(st.integers(0, 95), min_size=2, max_size=6, unique=True)
OUTPUTS = st.none() | st.sampled_from([0.0, 0.05, 0.3, 0.5, 1.0])


@settings(max_examples=60)
@given(TIMES, TIMES, st.lists(OUTPUTS, min_size=12, max_size=12), st.booleans())
def test_a_day_is_that_of_a_clock(top, side, outputs, over_midnight):
    """Every quarter of an hour is looked at by itself, with its own rule for who is on."""
    schedule = []
    for group, times in (("top bars", sorted(top)), ("side bars", sorted(side))):
        ring = [*pairwise(times), (times[-1], times[0])] if over_midnight else [*pairwise(times)]
        schedule += [shift(a / 4, b / 4, outputs.pop(), group) for a, b in ring]
    lights = [
        light(output=0.7, standby_w=0.5, count=2),
        light(number=2, group="side bars", curve_w=[[1.0, 40.0]]),
    ]
    shifts = day.shifts_of(facts(*lights, photoperiod_h=None, schedule=schedule))

    spent, sent, most = 0.0, 0.0, 0.0
    for quarter in range(96):
        now = [0.0, 0.0]
        for entry in schedule:
            length = (4 * entry["end_h"] - 4 * entry["start_h"]) % 96
            if (quarter - 4 * entry["start_h"]) % 96 < length:
                number = ["top bars", "side bars"].index(entry["group"])
                set_to = lights[number].output
                now[number] = set_to if entry["output"] is None else entry["output"]
        watts = 2 * el.watts_at(CURVE, now[0], 0.5) + 40.0 * now[1]
        spent += watts / 4
        sent += (2 * now[0] + now[1]) * 300 * 900 / 1e6
        most = max(most, watts)
    assert day.daily_energy(lights, shifts) == pytest.approx(spent / 1000, rel=1e-12)
    assert day.daily_launch(lights, shifts) == pytest.approx(sent, rel=1e-12, abs=1e-12)
    assert day.busiest(lights, shifts).watts == pytest.approx(most, rel=1e-12)


def test_what_a_mole_takes_carries_the_error_of_the_moles():
    assert day.per_mole(3.0, Estimate(12.0, 0.12)) == Estimate(0.25, pytest.approx(0.0025))
    assert np.isnan(day.per_mole(3.0, Estimate(0.0, float("nan"))).value)
