"""What a scene states of watts, weight and hours: read, held against physics, no photon changed."""

import copy
import math

import pytest
from build import plain_box, scene_of
from test_scene_file import SHIPPED

from canopysim.errors import SceneError
from canopysim.light.efficacy import efficacy_bound, full_ppf
from canopysim.light.power import LightPower, power_facts
from canopysim.scene import load_scene
from canopysim.scene.schema_power import Powered
from canopysim.world.compile import compile_world

# µmol J⁻¹ of a photon of 1 nm: one over N_A h c, from the constants of the SI.
PER_NM = 1e6 / (6.02214076e23 * 6.62607015e-34 * 299792458.0) * 1e-9


def lit(electricity: dict | None = None, **power: object) -> dict:
    """A box with one panel of 100 umol/s in 400-500 nm, with entries of power."""
    data = plain_box()
    data["fixtures"]["panel"].update(power)
    return data if electricity is None else {**data, "electricity": electricity}


def panel_of(**power: object) -> Powered:
    return scene_of(lit(**power)).fixtures["panel"]


def problem(data: dict) -> str:
    with pytest.raises(SceneError) as caught:
        scene_of(data)
    (line,) = caught.value.problems
    return line.split("  ", 1)[1]


def test_values_are_si_and_nothing_is_needed():
    scene = scene_of(
        lit(
            input_power="0.105 kW",
            driver={"50 %": "54 W", "10 %": "14 W"},
            standby="0.5 W",
            supply="100-277 V",
            power_factor="0.95",
            inrush="30 A",
            mass="10 lb",
            electricity={
                "supply": "230 V",
                "circuit": "16 A",
                "price": "0.30 EUR per kWh",
                "days_per_month": "30.4",
                "schedule": [{"hours": "20:00 to 6:00", "group": "panel", "output": "50 %"}],
            },
        )
    )
    panel = scene.fixtures["panel"]
    assert panel.power_curve == ((0.1, 14.0), (0.5, 54.0), (1.0, 105.0))
    assert (panel.full_power, panel.standby, panel.supply) == (105.0, 0.5, (100.0, 277.0))
    assert (panel.power_factor, panel.inrush, panel.mass) == (0.95, 30.0, 4.5359237)
    fed = scene.electricity
    assert (fed.supply, fed.circuit, fed.days_per_month) == (230.0, 16.0, 30.4)
    assert (fed.price.per_kwh, fed.price.currency) == (0.3, "EUR")
    assert fed.photoperiod is None
    assert (fed.schedule[0].hours, fed.schedule[0].output) == ((72000.0, 21600.0), 0.5)
    bare = scene_of(lit())
    assert bare.electricity is None
    assert bare.fixtures["panel"].power_curve == ()
    assert power_facts(bare) == {}
    assert scene_of(lit({"photoperiod": "90 min"})).electricity.photoperiod == 5400.0


def test_shares_of_full_power_are_watts():
    watts = panel_of(driver={"100 %": "80 W", "50 %": "44 W", "20 %": "20 W"})
    shares = panel_of(input_power="80 W", driver={"20 %": "25 %", "100 %": "100 %", "50 %": "55 %"})
    mixed = panel_of(driver={"50 %": "55 %", "100 %": "80 W", "20 %": "20 W"})
    assert watts.power_curve == ((0.2, 20.0), (0.5, 44.0), (1.0, 80.0))
    assert shares.power_curve == mixed.power_curve == watts.power_curve
    # Without a curve full output is the only point.
    assert panel_of(input_power="80 W").power_curve == ((1.0, 80.0),)
    assert panel_of(driver={"100 %": "80 W"}).power_curve == ((1.0, 80.0),)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_electricity_changes_no_photon(path):
    """The world of a scene is that of the same scene without any of it, to the last bit."""
    scene = load_scene(path)
    bare = scene.model_copy(
        update={
            "electricity": None,
            "fixtures": {
                name: fixture.model_copy(
                    update={
                        **dict.fromkeys(Powered.model_fields),
                        "channels": {
                            key: channel.model_copy(update={"input_power": None, "driver": None})
                            for key, channel in fixture.channels.items()
                        },
                    }
                )
                for name, fixture in scene.fixtures.items()
            },
        }
    )
    assert power_facts(bare) == {}
    assert compile_world(scene).digest == compile_world(bare).digest


def test_shipped_lights_are_as_good_as_lights_are():
    """Invented figures stay plausible: 2 to 3 µmol/J, also where they are dimmed to a half."""
    for path in SHIPPED:
        for light in power_facts(load_scene(path)).get("lights", ()):
            power = LightPower(**light)
            assert 2.0 < power.ppe_umol_j < 3.0, path
            for output, watts in power.curve_w:
                assert output < 0.5 or 2.0 < output * power.ppf_umol_s / watts < 3.0, path


def bound_of(shares: dict[str, str], **changes: object):
    data = lit(spectrum=shares, **changes)
    scene = scene_of(data)
    return efficacy_bound(scene.fixtures["panel"], scene.bands)


def test_bound_of_one_range_is_its_mean_energy():
    """Photons even over 600-700 nm have the mean of 1/wavelength, ln(700/600)/100, as energy."""
    bound = bound_of({"600-700": "100 %"})
    assert bound.even == pytest.approx(100 / math.log(7 / 6) * PER_NM, rel=1e-12)
    assert bound.utmost == pytest.approx(700 * PER_NM, rel=1e-12)
    # A photon of 660 nm carries 5.517 µmol/J (1/119.6266 µmol/J per nm).
    deep_red = 660 * PER_NM
    assert deep_red == pytest.approx(5.5172, abs=5e-5)
    assert bound.even < deep_red < bound.utmost


def test_far_red_takes_energy_and_gives_no_ppf():
    bound = bound_of({"600-700": "80 %", "700-750": "20 %"})
    energy = 0.8 * math.log(7 / 6) / 100 + 0.2 * math.log(75 / 70) / 50
    assert bound.even == pytest.approx(0.8 / energy * PER_NM, rel=1e-12)
    assert bound.utmost == pytest.approx(0.8 / (0.8 / 700 + 0.2 / 750) * PER_NM, rel=1e-12)


def test_light_outside_the_bands_takes_energy_too():
    """As many photons in 900-1000 nm as in 600-700 nm: a light cannot but make them."""
    table = "nm, relative photons\n600, 1\n700, 1\n700.001, 0\n900, 0\n900.001, 1\n1000, 1\n"
    bound = bound_of({"table": table})
    energy = math.log(7 / 6) / 100 + math.log(10 / 9) / 100
    assert bound.even == pytest.approx(PER_NM / energy, rel=2e-5)
    assert bound.utmost == bound.even


def test_strips_of_other_spectra_are_mixed_by_their_photons():
    strip = {"length": "20 cm", "width": "4 cm", "lens": "lambertian"}
    red = {**strip, "spectrum": {"600-700": "100 %"}, "share": "25 %"}
    data = lit(strips=[strip, red])
    data["fixtures"]["panel"]["strips"][0]["at"] = ["0 cm", "10 cm"]
    scene = scene_of(data)
    bound = efficacy_bound(scene.fixtures["panel"], scene.bands)
    blue, far = math.log(5 / 4) / 100, math.log(7 / 6) / 100
    assert bound.even == pytest.approx(PER_NM / (0.75 * blue + 0.25 * far), rel=1e-12)
    assert bound.utmost == pytest.approx(PER_NM / (0.75 / 500 + 0.25 / 700), rel=1e-12)
    assert full_ppf(scene.fixtures["panel"], scene.bands) == pytest.approx(100.0, rel=1e-12)


def test_physics_is_the_border_of_what_is_read():
    """100 umol/s of 400-500 nm hold at least the energy of 500 nm photons."""
    least = 100 / (500 * PER_NM)
    assert panel_of(input_power=f"{least * 1.0001:.9f} W").full_power > least
    found = problem(lit(input_power=f"{least * 0.9999:.9f} W"))
    assert found.startswith("fixtures.panel.input_power: 23.92 W for 100 umol/s of 400-700 nm")
    assert "allows 4.18 umol/J at most" in found
    # Where the photons themselves are wrong, that is all that is told.
    wrong = lit(input_power="1 W", spectrum={"400-550": "100 %"})
    assert problem(wrong).startswith("fixtures.panel.spectrum: 400-550 nm does not begin")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (
            lit(driver={"0 %": "1 W"}),
            "fixtures.panel.driver.0 %: at 0 % the light is off; write what it draws then as",
        ),
        (lit(driver={}), "fixtures.panel.driver: the mapping is empty; write for example {100 %"),
        (lit(driver="105 W"), "fixtures.panel.driver: '105 W' is a single value; write a mapping"),
        (
            lit(driver={"half": "5 W"}),
            "fixtures.panel.driver.half: 'half' is not a number with a unit; write for example",
        ),
        (
            lit(driver={"100 %": "0 W"}),
            "fixtures.panel.driver.100 %: '0 W' is too small; a light that shines draws more",
        ),
        (
            lit(driver={"100 %": ["5 W"]}),
            "fixtures.panel.driver.100 %: a list stands here; write one value such as '54 W'",
        ),
        (
            lit(driver={"50 %": "50 %"}),
            "fixtures.panel.driver: does not say what the light draws at full output; write",
        ),
        (
            lit(input_power="80 W", driver={"100 %": "90 %"}),
            "fixtures.panel.driver.100 %: 72 W at full output is not the input_power of 80 W",
        ),
        (
            lit(input_power="80 W", driver={"90 %": "85 W"}),
            "fixtures.panel.driver.90 %: 85 W is more than the 80 W of full output; less light",
        ),
        (
            lit(driver={f"{n / 2} %": "50 W" for n in range(1, 150)}),
            "fixtures.panel.driver: 149 points are too many; at most 100",
        ),
        (lit(input_power="0 W"), "fixtures.panel.input_power: '0 W' is too small; allowed is more"),
        (
            lit({"supply": "260 V"}, supply="230 V"),
            "electricity.supply: 260 V is not what the fixture 'panel' runs on; it states 230 V",
        ),
        (
            lit({"schedule": [{"hours": "1:00 to 2:00", "grup": "panel"}]}),
            "electricity.schedule[1].grup: is not known here; did you mean 'group'?",
        ),
        (
            lit({"schedule": [{"output": "50 %"}]}),
            "electricity.schedule[1].hours: is missing; needed is: From when to when",
        ),
        (
            lit({"schedule": [{"hours": "1:00 to 9:00"}, {"hours": "23:00 to 2:00"}]}),
            "electricity.schedule[2].hours: from 1:00 to 2:00 the lights have another output",
        ),
        (
            {**lit(), "price": "0.30 per kWh"},
            "price: is not known here; it belongs under 'electricity'",
        ),
    ],
)
def test_contradictions(data, words):
    assert problem(data).startswith(words)


def test_mains_may_vary_about_a_single_voltage():
    for supply, fed in (("230 V", "240 V"), ("230 V", "208 V"), ("100-240 V", "240 V")):
        assert scene_of(lit({"supply": fed}, supply=supply)).electricity is not None
    assert "runs on" in problem(lit({"supply": "241 V"}, supply="100-240 V"))


def test_daylight_cannot_be_switched():
    data = copy.deepcopy(lit({"schedule": [{"hours": "6:00 to 20:00", "group": "sky"}]}))
    data["enclosure"]["faces"] = {"ceiling": "open"}
    data["daylight"] = [{"group": "sky", "ppfd": "100 umol/m2/s", "spectrum": {"400-700": "100 %"}}]
    assert problem(data).startswith(
        "electricity.schedule[1].group: 'sky' is daylight; only lights can be switched"
    )


def test_hours_that_touch_or_belong_to_others_do_not_overlap():
    shifts = [
        {"hours": "6:00 to 8:00", "output": "50 %"},
        {"hours": "8:00 to 22:00", "group": "panel"},
        {"hours": "8:00 to 22:00", "group": "other"},
        {"hours": "22:00 to 6:00", "group": "panel", "output": "10 %"},
    ]
    data = lit({"schedule": shifts})
    data["lights"] = [*data["lights"], {**data["lights"][0], "at": ["20 cm", "20 cm"]}]
    data["lights"][1]["group"] = "other"
    assert len(scene_of(data).electricity.schedule) == 4


def test_facts_are_plain_values_of_what_is_stated():
    facts = power_facts(
        scene_of(lit({"price": "0.25 per kWh", "photoperiod": "14 h"}, mass="2 kg"))
    )
    (light,) = facts["lights"]
    power = LightPower(**light)
    assert (power.number, power.fixture, power.group, power.count) == (1, "panel", "panel", 1)
    assert power.ppf_umol_s == pytest.approx(100.0)
    assert (power.curve_w, power.full_w, power.ppe_umol_j, power.mass_kg) == ([], None, None, 2.0)
    assert (facts["price_per_kwh"], facts["currency"], facts["days_per_month"]) == (0.25, "", 30.0)
    assert (facts["photoperiod_h"], facts["schedule"]) == (14.0, [])
    assert (facts["supply_v"], facts["circuit_a"]) == (None, None)
