"""A day of a traced result: light of a schedule from one trace, hand sums, facts that are kept."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from build import panel, plain_box, scene_of
from fake_result import GROUND, fake_result
from test_electricity import facts, light, shift

from canopysim.analysis import electricity as el
from canopysim.analysis import light_day as day
from canopysim.analysis.books import mean
from canopysim.analysis.planes import plane_mean
from canopysim.light.power import LightPower
from canopysim.results import Result
from canopysim.tracing import run


def with_day(*lights: LightPower, **changes: Any) -> Result:
    return fake_result(meta={"electricity": facts(*lights, **changes)})


def test_a_photoperiod_gives_the_mean_times_its_seconds():
    result = with_day(light(), light(number=2, group="side bars"))
    for plane in result.planes:
        for group in ("all", "top bars", "side bars"):
            now = plane_mean(result, plane, group=group)
            found = day.daily_light(result, plane, group=group)
            wanted = el.daily_light_integral(now.value, 14.0)
            assert found.value == pytest.approx(wanted, rel=1e-12)
            assert found.std_err == pytest.approx(now.std_err * 14 * 3600 / 1e6, rel=1e-9)
    # Everything is as before where it is asked for as before.
    assert plane_mean(result, "canopy-top").value == pytest.approx(
        float(result.planes["canopy-top"]["mean"].sel(group="all", band="400-700").values[0])
    )


def test_a_schedule_keeps_the_covariance_of_batches():
    """The sum over groups is formed batch by batch, from the books themselves."""
    schedule = [shift(0.0, 10.0, 0.5, "top bars"), shift(4.0, 8.0, None, "side bars")]
    lights = (light(), light(number=2, group="side bars", output=0.25))
    result = with_day(*lights, photoperiod_h=None, schedule=schedule)
    quanta = result.rows["crossed_sum"].values[:, :, 0, 0, :3].sum(-1)
    per_batch = quanta @ np.array([5.0, 1.0]) * 2.0**-20 * 3600 / GROUND / 1e6
    wanted = mean(per_batch)
    found = day.daily_light(result, "canopy-top")
    assert (found.value, found.std_err) == pytest.approx((wanted.value, wanted.std_err), rel=1e-12)
    leaves = (result.rows["sink_kind"].values == "leaf").astype(float)
    taken = result.rows["absorbed"].values[..., :3].sum(-1) @ leaves
    wanted = mean(taken @ np.array([5.0, 1.0]) * 2.0**-20 * 3600 / 1e6)
    found = day.daily_absorbed(result)
    assert (found.value, found.std_err) == pytest.approx((wanted.value, wanted.std_err), rel=1e-12)


def traced(*outputs: str, schedule: list[dict] | None = None, daylight: bool = False) -> Result:
    """Two panels of two groups at these outputs; equal photons whatever the outputs are."""
    data = plain_box(
        fixtures={"panel": panel("20 cm", "4 cm"), "bar": panel("30 cm", "2 cm", "parallel")},
        lights=[
            {"fixture": kind, "at": [x, "50 cm"], "height": "80 cm", "output": output, **more}
            for kind, x, output, more in (
                ("panel", "30 cm", outputs[0], {"group": "one"}),
                ("bar", "60 cm", outputs[1], {"group": "two"}),
                ("panel", "70 cm", outputs[2], {"group": "two"}),
            )
        ],
        planes=[{"name": "low", "height": "20 cm", "cell": "20 cm"}],
        electricity={"schedule": schedule} if schedule else {"photoperiod": "10 h"},
        tracing={"batch": "4096"},
    )
    if daylight:
        data["enclosure"]["faces"] = {"ceiling": "open"}
        sky = {"ppfd": "50 umol/m2/s", "spectrum": {"400-500": "100 %"}}
        data["daylight"] = [sky, sky]
    return run(scene_of(data), max_packets=4 * 4200, threads=1)


HOURS = [
    {"hours": "22:00 to 4:00", "group": "one", "output": "60 %"},
    {"hours": "6:00 to 9:00", "output": "100 %"},
]


def test_a_schedule_needs_no_new_trace():
    """One trace answers for every output, even of lights that were off in it."""
    full = traced("100 %", "100 %", "100 %", schedule=HOURS)
    off = traced("35 %", "0 %", "80 %", schedule=HOURS)
    for group in ("all", "one", "two"):
        found, wanted = (day.daily_light(each, "low", group=group) for each in (off, full))
        assert found.value == pytest.approx(wanted.value, rel=1e-12)
        assert found.std_err == pytest.approx(wanted.std_err, rel=1e-9)
    one, two = (
        el.daily_light_integral(plane_mean(full, "low", group=group).value, hours)
        for group, hours in (("one", 6 * 0.6 + 3), ("two", 3.0))
    )
    assert day.daily_light(full, "low").value == pytest.approx(one + two, rel=1e-12)


def test_daylight_has_no_hours_of_its_own():
    with_sky, without = (
        traced("100 %", "50 %", "100 %", daylight=daylight) for daylight in (True, False)
    )
    assert with_sky.meta["electricity"]["channel_light"] == [1, 2, 3, 0, 0]
    assert without.meta["electricity"]["channel_light"] == [1, 2, 3]
    assert day.daily_light(with_sky, "low", group="daylight").value == 0.0
    lamps = [day.daily_light(with_sky, "low", group=group).value for group in ("one", "two")]
    assert day.daily_light(with_sky, "low").value == pytest.approx(sum(lamps), rel=1e-12)


def test_facts_outlive_the_scene(tmp_path):
    result = traced("100 %", "50 %", "100 %", schedule=HOURS)
    stated = el.facts_of(result)
    assert json.loads(json.dumps(stated)) == stated
    result.save(tmp_path)
    again = Result.load(tmp_path)
    assert el.facts_of(again) == stated
    assert el.lights_of(el.facts_of(again)) == el.lights_of(stated)
    assert day.daily_light(again, "low") == day.daily_light(result, "low")


def test_results_that_state_nothing_stay_readable():
    for meta in ({}, {"electricity": {}}, {"electricity": None}):
        result = fake_result(meta=meta)
        assert el.facts_of(result) == {}
        assert el.lights_of({}) == []
