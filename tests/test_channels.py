"""Channels of a fixture: set apart, answered for by arithmetic, and never in a photon's path."""

from __future__ import annotations

import copy
from pathlib import Path

import numpy as np
import pytest
from build import panel, plain_box, scene_of
from test_scene_file import REPOSITORY

from canopysim.analysis import channels as chan
from canopysim.analysis import electricity as el
from canopysim.analysis import light_day as day
from canopysim.analysis.planes import plane_mean
from canopysim.errors import SceneError
from canopysim.light.efficacy import efficacy_bound, full_ppf
from canopysim.light.power import power_facts
from canopysim.report.channels import channel_light_table
from canopysim.results import Result
from canopysim.scene import load_scene
from canopysim.tracing import run
from canopysim.world.compile import compile_world

STRIP = {"length": "30 cm", "width": "1 cm", "lens": "lambertian"}
# µmol J⁻¹ of a photon of 1 nm: one over N_A h c, from the constants of the SI.
PER_NM = 1e6 / (6.02214076e23 * 6.62607015e-34 * 299792458.0) * 1e-9


def trio(**changes: object) -> dict:
    """A bar of three channels; white has two strips."""
    fixture = {
        "strips": [
            {**STRIP, "channel": "white", "at": ["0 cm", "-2 cm"]},
            {**STRIP, "channel": "white", "at": ["0 cm", "-1 cm"], "share": "75 %"},
            {**STRIP, "channel": "red", "at": ["0 cm", "1 cm"]},
            {**STRIP, "channel": "far", "at": ["0 cm", "2 cm"]},
        ],
        "channels": {
            "white": {
                "ppf": "80 umol/s",
                "spectrum": {"400-500": "25 %", "500-700": "70 %", "700-750": "5 %"},
                "input_power": "40 W",
                "driver": {"50 %": "19 W", "10 %": "6 W"},
            },
            "red": {"ppf": "30 umol/s", "spectrum": {"600-700": "100 %"}, "input_power": "12 W"},
            "far": {
                "photon_flux": "20 umol/s",
                "spectrum": {"700-750": "100 %"},
                "input_power": "8 W",
            },
        },
        "standby": "0.5 W",
    }
    fixture.update(copy.deepcopy(changes))
    return fixture


def lit(light: dict | None = None, fixture: dict | None = None, **more: object) -> dict:
    """The trio and a panel over a plane."""
    place = {"at": ["50 cm", "50 cm"], "height": "80 cm"}
    return plain_box(
        surfaces={"black": {"diffuse": "50 %"}},
        fixtures={"bar": fixture or trio(), "panel": panel("20 cm", "4 cm")},
        lights=[
            {"fixture": "bar", "group": "top", **place, **(light or {})},
            {"fixture": "panel", **place, "height": "90 cm"},
        ],
        planes=[{"name": "low", "height": "20 cm", "cell": "20 cm"}],
        tracing={"batch": "4096"},
        **more,
    )


def traced(light: dict | None = None, **more: object) -> Result:
    return run(scene_of(lit(light, **more)), max_packets=4 * 4200, threads=1)


def problems(data: dict) -> list[str]:
    with pytest.raises(SceneError) as caught:
        scene_of(data)
    return [line.split("  ", 1)[1] for line in caught.value.problems]


# Photons --------------------------------------------------------------------------------------


def test_photons_of_channels_are_shared_out_over_their_strips():
    world = compile_world(scene_of(lit()))
    white, red, far = 80 / 0.95, 30.0, 20.0
    assert [s.channel for s in world.strips] == ["white", "white", "red", "far", ""]
    wanted = [0.25 * white, 0.75 * white, red, far, 100.0]
    assert [s.flux_umol_s for s in world.strips] == pytest.approx(wanted, rel=1e-14)
    bar = scene_of(lit()).fixtures["bar"]
    edges = (400.0, 500.0, 600.0, 700.0, 750.0, 800.0)
    assert [full_ppf(bar, edges, c) for c in bar.channels] == pytest.approx([80, 30, 0], abs=1e-12)
    assert full_ppf(bar, edges) == pytest.approx(110.0)


def test_channels_may_share_out_the_photons_of_their_fixture():
    """Strips' shares are then those of the fixture, as without channels."""
    fixture = trio(ppf="100 umol/s", spectrum={"400-700": "100 %"}, channels={n: {} for n in (
        "white", "red", "far")})  # fmt: skip
    for strip, share in zip(fixture["strips"], ("10 %", "20 %", "30 %", "40 %"), strict=True):
        strip["share"] = share
    bare = copy.deepcopy(fixture)
    del bare["channels"]
    for strip in bare["strips"]:
        del strip["channel"]
    with_names, without = (compile_world(scene_of(lit(fixture=f))) for f in (fixture, bare))
    assert [s.flux_umol_s for s in with_names.strips] == [s.flux_umol_s for s in without.strips]
    assert with_names.digest == without.digest


def test_strips_alike_stay_apart_where_their_channels_differ():
    """Equal spectrum and flux: one tally row without channels, two with them."""
    fixture = {
        "strips": [
            {**STRIP, "channel": "left", "at": ["0 cm", "-2 cm"]},
            {**STRIP, "channel": "right", "at": ["0 cm", "2 cm"]},
        ],
        "channels": {"left": {}, "right": {}},
        "photon_flux": "40 umol/s",
        "spectrum": {"400-500": "100 %"},
    }
    world = compile_world(scene_of(lit({"outputs": {"left": "30 %"}}, fixture)))
    assert [(c.name, c.output) for c in world.channels] == [
        ("left", 0.3), ("right", 1.0), ("", 1.0)
    ]  # fmt: skip


def test_outputs_change_no_history():
    """Every array and every quantum stays; the labelled figures are those of the arithmetic."""
    full = traced()
    data = {"output": "50 %", "outputs": {"white": "80 %", "far": "0 %"}}
    dimmed = traced(data)
    assert full.digest == dimmed.digest
    for name in ("absorbed", "crossed_sum", "met"):
        assert full.rows[name].identical(dimmed.rows[name])
    names = list(full.rows["channel_name"].values)
    assert names == ["white", "white", "red", "far", ""]
    scale = full.rows["channel_umol_s_per_quantum"].values
    set_to = np.array([0.8, 0.8, 0.5, 0.0, 1.0])
    assert dimmed.rows["channel_umol_s_per_quantum"].values == pytest.approx(scale * set_to)
    launched = dimmed.launched.sel(group="top")
    assert float(launched.sel(band="400-700")) == pytest.approx(0.8 * 80 + 0.5 * 30)
    assert float(launched.sel(band="700-750")) == pytest.approx(0.8 * 80 / 0.95 * 0.05)
    # What falls on the plane, from the books of the undimmed run.
    quanta = full.rows["crossed_sum"].values[:, :, 0, 0, :3].sum((0, -1)) / full.n_batch
    by_hand = float(quanta @ (scale * set_to))  # of a plane of 1 m²
    assert plane_mean(dimmed, "low").value == pytest.approx(by_hand, rel=1e-12)


# Watts and hours -------------------------------------------------------------------------------


def watts_of(data: dict) -> float:
    return el.set_load(el.lights_of(power_facts(scene_of(data)))[:1]).watts


def test_channels_with_curves_of_their_own_add_up():
    whole = lit()
    (bar, _) = el.lights_of(power_facts(scene_of(whole)))
    assert (bar.full_w, bar.ppf_umol_s) == (60.0, pytest.approx(110.0))
    assert watts_of(whole) == pytest.approx(60.0)
    # 30 % of white lies halfway between its points of 10 and 50 %; red has no curve.
    outputs = {"white": "30 %", "red": "25 %", "far": "0 %"}
    assert watts_of(lit({"outputs": outputs})) == pytest.approx(12.5 + 3.0)
    assert watts_of(lit({"output": "0 %", "outputs": {"far": "100 %"}})) == pytest.approx(8.0)
    assert watts_of(lit({"output": "0 %"})) == 0.5
    (facts, _) = el.lights_of(power_facts(scene_of(lit({"outputs": outputs}))))
    assert el.set_ppf([facts]) == pytest.approx(0.3 * 80 + 0.25 * 30)


def test_one_driver_is_asked_at_the_mean_output():
    """Shares of 60, 30 and 10 % of the input power; a curve that is straight above its knee."""
    channels = trio()["channels"]
    for name, share in (("white", "60 %"), ("red", "30 %"), ("far", "10 %")):
        channels[name] |= {"input_power": share}
        channels[name].pop("driver", None)
    fixture = trio(channels=channels, input_power="70 W", driver={"50 %": "40 W", "20 %": "22 W"})
    assert watts_of(lit(fixture=fixture)) == 70.0
    for level, watts in (("50 %", 40.0), ("20 %", 22.0), ("80 %", 58.0)):
        assert watts_of(lit({"output": level}, fixture)) == pytest.approx(watts)
    outputs = {"white": "50 %", "red": "100 %", "far": "0 %"}  # 0.30 + 0.30 + 0 = 60 %
    assert watts_of(lit({"outputs": outputs}, fixture)) == pytest.approx(40 + 30 * 0.1 / 0.5)


def test_without_watts_of_channels_their_photons_energy_shares_out():
    """Photons that are even over a range have the mean of 1/wavelength as energy."""
    channels = trio()["channels"]
    for channel in channels.values():
        channel.pop("input_power")
        channel.pop("driver", None)
    fixture = trio(channels=channels, input_power="70 W")
    (light, _) = el.lights_of(power_facts(scene_of(lit(fixture=fixture))))
    white = (
        80
        / 0.95
        * (0.25 * np.log(5 / 4) / 100 + 0.70 * np.log(7 / 5) / 200 + 0.05 * np.log(75 / 70) / 50)
    )
    carried = np.array([white, 30 * np.log(7 / 6) / 100, 20 * np.log(75 / 70) / 50]) / PER_NM
    shares = [channel.power_share for channel in light.channels]
    assert shares == pytest.approx(carried / carried.sum(), rel=1e-12)
    assert not light.channel_watts_stated
    only_red = watts_of(lit({"output": "0 %", "outputs": {"red": "100 %"}}, fixture))
    assert only_red == pytest.approx(70 * shares[1])


SCHEDULE = [
    {"hours": "6:00 to 18:00", "group": "top", "outputs": {"red": "50 %"}},
    {"hours": "18:00 to 18:30", "group": "top", "output": "0 %", "outputs": {"far": "100 %"}},
    {"hours": "20:00 to 4:00", "group": "panel", "output": "25 %"},
]


def test_a_day_of_channels_against_sums_by_hand():
    light = {"output": "80 %", "outputs": {"far": "0 %"}}
    result = traced(light, electricity={"schedule": SCHEDULE})
    facts = el.facts_of(result)
    lights, shifts = el.lights_of(facts), day.shifts_of(facts)
    # White as the light is set, red as the hours say, far-red only at the end of the day.
    hours = {"white": 12 * 0.8, "red": 12 * 0.5, "far": 0.5, "": 8 * 0.25}
    assert day.full_hours(lights[0], shifts) == pytest.approx((9.6, 6.0, 0.5))
    assert day.full_hours(lights[1], shifts) == pytest.approx((2.0,))
    white_w = 19 + (40 - 19) * (0.8 - 0.5) / 0.5
    energy = 12 * (white_w + 6.0) + 0.5 * 8.0 + 11.5 * 0.5
    assert day.daily_energy(lights, shifts) == pytest.approx(energy / 1000, rel=1e-12)
    assert day.busiest(lights, shifts).watts == pytest.approx(white_w + 6.0, rel=1e-12)
    launched = (80 * 9.6 + 30 * 6.0) * 3600 / 1e6
    assert day.daily_launch(lights[:1], shifts) == pytest.approx(launched, rel=1e-12)
    # The daily light integral, from the quanta of each channel.
    full = np.array(facts["channel_full_umol_s_per_quantum"])
    quanta = result.rows["crossed_sum"].values[:, :, 0, 0, :3].sum((0, -1)) / result.n_batch
    each = np.array([hours[name] for name in facts["channel_name"]])
    by_hand = float(quanta @ (full * each)) * 3600 / 1e6
    assert day.daily_light(result, "low").value == pytest.approx(by_hand, rel=1e-12)


def test_facts_of_channels_outlive_the_scene(tmp_path):
    result = traced({"outputs": {"red": "40 %"}}, electricity={"schedule": SCHEDULE})
    result.save(tmp_path)
    again = Result.load(tmp_path)
    assert el.lights_of(el.facts_of(again)) == el.lights_of(el.facts_of(result))
    assert list(again.rows["channel_name"].values) == list(result.rows["channel_name"].values)
    assert day.daily_light(again, "low") == day.daily_light(result, "low")


# Physics and refusals --------------------------------------------------------------------------


def test_far_red_alone_cannot_carry_more_than_its_watts():
    """It makes no photons of 400-700 nm, yet what it makes carries energy."""
    least = 20 / (750 * PER_NM)
    for watts, sound in ((least * 1.001, True), (least * 0.999, False)):
        fixture = trio()
        fixture["channels"]["far"]["input_power"] = f"{watts:.9f} W"
        if sound:
            scene = scene_of(lit(fixture=fixture))
            assert efficacy_bound(scene.fixtures["bar"], scene.bands, "far").least_w < watts
            continue
        (line,) = problems(lit(fixture=fixture))
        assert line == (
            "fixtures.bar.channels.far.input_power: 3.187 W is less than the 3.19 W that the "
            "photons of this spectrum carry; look both up again"
        )


def changed(*path: str | int, to: object = None) -> dict:
    """The trio with one entry written or, for None, left out."""
    fixture = trio()
    *way, last = path
    at = fixture
    for step in way:
        at = at[step]
    if to is None:
        del at[last]
    else:
        at[last] = to
    return lit(fixture=fixture)


BAR = "fixtures.bar."


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (
            changed("strips", 2, "channel", to="rde"),
            BAR + "strips[3].channel: 'rde' is no channel of this fixture; did you mean 'red'?",
        ),
        (
            changed("strips", 0, "channel"),
            BAR + "strips[1]: belongs to no channel; write 'channel', one of white, red, far",
        ),
        (
            changed("channels", "blue", to={"ppf": "5 umol/s", "input_power": "3 W"}),
            BAR + "channels.blue: has no strip; write 'channel: blue' at one, or leave the",
        ),
        (
            changed("channels", "red", "ppf"),
            BAR + "channels.red: states no photons, but 'white' does; write 'ppf' or 'photon_flux'",
        ),
        (
            changed("channels", "red", "input_power"),
            BAR + "channels.red: states no watts, but 'white' does; write 'input_power' at all",
        ),
        (
            changed("channels", "red", "photon_flux", to="30 umol/s"),
            BAR + "channels.red.photon_flux: stands beside 'ppf'; write one of the two",
        ),
        (
            changed("channels", "far", "spectrum"),
            BAR[:-1] + ": has no spectrum for its strip 4; write 'spectrum', as in",
        ),
        (
            changed("channels", "far", "ppf", to="1 umol/s"),
            BAR + "channels.far.photon_flux: stands beside 'ppf'",
        ),
        (
            changed("channels", "red", "spectrum", to={"700-750": "100 %"}),
            BAR + "channels.red.ppf: counts 400-700 nm, where the spectrum has no photons; write",
        ),
        (
            changed("ppf", to="140 umol/s"),
            BAR + "ppf: 140 umol/s is not what the channels make together, 110 umol/s of 400-700",
        ),
        (
            changed("photon_flux", to="110 umol/s"),
            BAR + "photon_flux: 110 umol/s is not what the channels make together, 134.2 umol/s of",
        ),
        (
            changed("input_power", to="70 W"),
            BAR + "input_power: 70 W is not what the channels draw together, 60 W (85.71 % of it)",
        ),
        (
            changed("channels", "red", "input_power", to="20 %"),
            BAR + "channels.red.input_power: is a share of the fixture's input_power, which is not",
        ),
        (
            changed("driver", to={"100 %": "60 W"}),
            BAR + "channels.white.driver: stands beside the fixture's 'driver'; write one of",
        ),
        (
            changed("channels", "white", "driver", to={"50 %": "45 W"}),
            BAR + "channels.white.driver.50 %: 45 W is more than the 40 W of full output; less",
        ),
        (
            changed("channels", "red", "input_power", to="4 W"),
            BAR + "channels.red.input_power: 4 W for 30 umol/s of 400-700 nm makes 7.50 umol/J",
        ),
        (
            changed("channels", "red", "input_power", to="0 W"),
            BAR + "channels.red.input_power: '0 W' is too small; allowed is more than 0",
        ),
        (
            changed("standby", to="7 W"),
            BAR + "standby: 7 W is not less than the 6 W that the light draws while it shines",
        ),
        (
            changed("strips", 1, "share", to="100 %"),
            BAR + "strips: the shares make 100 % and leave nothing for the strips without one",
        ),
        (
            lit({"outputs": {"farr": "20 %"}}),
            "lights[1].outputs.farr: 'farr' is no channel of the fixture 'bar'; did you mean 'far'",
        ),
        (
            lit({"fixture": "panel", "outputs": {"far": "20 %"}}),
            "lights[1].outputs.far: 'far' is no channel of the fixture 'panel'; it has none; write",
        ),
        (
            lit({"outputs": {"far": "120 %"}}),
            "lights[1].outputs.far: '120 %' is",
        ),
        (
            lit(electricity={"schedule": [{"hours": "1:00 to 2:00", "outputs": {"blue": "5 %"}}]}),
            "electricity.schedule[1].outputs.blue: 'blue' is no channel of the lights; allowed: ",
        ),
        (
            lit(
                electricity={
                    "schedule": [
                        {"hours": "1:00 to 2:00", "group": "panel", "outputs": {"far": "5 %"}}
                    ]
                }
            ),
            "electricity.schedule[1].outputs.far: 'far' is no channel of the lights of 'panel'; "
            "they have none; write 'output' instead",
        ),
    ],
)
def test_contradictions(data, words):
    found = problems(data)
    assert len(found) == 1, found
    assert found[0].startswith(words)


def test_a_channel_without_the_section_is_told():
    fixture = panel("20 cm", "4 cm")
    fixture["strips"][0]["channel"] = "white"
    (line,) = problems(lit({"fixture": "panel"}, fixture=fixture))
    assert line == (
        "fixtures.bar.strips[1].channel: 'white' is no channel of this fixture; name it under "
        "'channels' beside 'strips'"
    )


def test_all_channels_off_is_dark():
    data = lit({"output": "0 %", "outputs": {"far": "1 %"}})
    data["lights"] = data["lights"][:1]
    assert scene_of(data)
    data["lights"][0]["outputs"] = {"far": "0 %"}
    (line,) = problems(data)
    assert line.startswith("lights: every light has an output of 0 %")


@pytest.mark.parametrize("outputs", [{}, {"white": "10 %"}, {"far-red": "100 %"}])
def test_shipped_bar_adds_up(outputs):
    """The shipped scene's figures, from its fixture's file as one reads it."""
    path = Path(REPOSITORY / "scenes" / "three-colours.yaml")
    text = path.read_text("utf-8")
    scene = load_scene(path)
    assert "outputs: {white: 80 %, far-red: 0 %}" in text
    light = scene.lights[0].model_copy(
        update={"output": 0.6, "outputs": {k: float(v[:-2]) / 100 for k, v in outputs.items()}}
    )
    changed_scene = scene.model_copy(update={"lights": (light,)})
    (facts,) = el.lights_of(power_facts(changed_scene))
    curves = {
        "white": ([0.1, 0.5, 1], [6.5, 24.5, 50]),
        "deep-red": ([0.1, 0.5, 1], [2.1, 7.6, 15]),
        "far-red": ([0.1, 0.5, 1], [1.1, 3.6, 7]),
    }
    hand = sum(np.interp(light.outputs.get(name, 0.6), *curve) for name, curve in curves.items())
    assert el.set_load([facts]).watts == pytest.approx(2 * hand, rel=1e-12)
    assert compile_world(changed_scene).digest == compile_world(scene).digest


def test_any_setting_is_a_sum_of_channels_at_full_output(tmp_path):
    """Launched, absorbed by nothing here, and on the plane: from one trace to every setting."""
    outputs = {"white": 0.35, "red": 0.8, "far": 0.1}
    one = traced()
    set_to = traced({"outputs": {name: f"{100 * o:g} %" for name, o in outputs.items()}})
    channels = chan.channels_of(one)
    assert [(c.light, c.fixture, c.group, c.name) for c in channels] == [
        (1, "bar", "top", "white"),
        (1, "bar", "top", "red"),
        (1, "bar", "top", "far"),
        (2, "panel", "panel", ""),
    ]
    plane, sent = 0.0, 0.0
    for channel in channels:
        alone = chan.at_full_output(one, channel)
        share = outputs.get(channel.name, 1.0)
        plane += share * chan.plane_at_full(alone, "low").value
        sent += share * chan.launched_at_full(alone, (700.0, 750.0))
    assert plane == pytest.approx(plane_mean(set_to, "low").value, rel=1e-12)
    launched = float(set_to.launched.sel(group="all", band="700-750"))
    assert sent == pytest.approx(launched, rel=1e-6)
    # The outputs that a run was set to are no matter to what its channels give.
    for a, b in zip(channels, chan.channels_of(set_to), strict=True):
        found = [
            chan.plane_at_full(chan.at_full_output(each, c), "low")
            for each, c in ((one, a), (set_to, b))
        ]
        assert found[0].value == pytest.approx(found[1].value, rel=1e-12)
        assert found[0].std_err == pytest.approx(found[1].std_err, rel=1e-9, nan_ok=True)
    set_to.save(tmp_path)
    table = channel_light_table(Result.load(tmp_path))
    assert [row[1] for row in table.rows] == ["35 %", "80 %", "10 %", "100 %"]
    assert [row[2] for row in table.rows] == ["80.00", "30.00", "0", "100.0"]
    assert all(len(row) == len(table.columns) for row in table.rows)


def test_lights_without_channels_have_no_such_table():
    data = lit()
    data["lights"] = data["lights"][1:]
    result = run(scene_of(data), max_packets=4096, threads=1)
    assert chan.channels_of(result) == []
    assert channel_light_table(result) is None
    result.meta.pop("channels")
    assert chan.channels_of(result) == []
