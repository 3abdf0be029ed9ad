"""What a levelling error does to a reading: by trigonometry, by quadrature, in even light."""

import numpy as np
import pytest
from build import panel, plain_box, scene_of, world_of
from conftest import P_FAIL
from scipy.stats import t as student
from test_probes import N_BATCH, from_panel, run, sunny

from canopysim.errors import SceneError
from canopysim.report.probes import meter_tables

SIDES = np.arange(0, 360, 5.0)


def leaning(result, probe="p", group="all"):
    """Changes by name, their errors, and the sides of the lowest and the highest reading."""
    here = result.probes.sel(probe=probe, group=group)
    names = here["change"].values.tolist()
    found = dict(zip(names, here["leaning"].values.tolist(), strict=True))
    errors = dict(zip(names, here["leaning_std_err"].values.tolist(), strict=True))
    sides = float(here["leaning_lowest_turn"]), float(here["leaning_highest_turn"])
    return found, errors, sides


def at(name="p", meter="m", **more):
    place = {"at": ["70 cm", "50 cm"], "height": "60 cm", "radius": "5 cm"}
    return {"name": name, "meter": meter} | place | more


def test_in_a_beam_it_is_trigonometry():
    """Leaning away by d from light at zenith z: cos(z + d) over cos z; 1 deg at 60 deg is 3 %."""
    for zenith, lean in ((40, 2), (60, 1)):
        data = sunny(meters={"m": {"levelling": f"{lean} deg"}}, probes=[at()])
        data["daylight"][0]["beam"]["zenith"] = f"{zenith} deg"
        data["enclosure"]["height"] = "70 cm"
        found, errors, sides = leaning(run(data, 4))
        z, d = np.radians([zenith, lean])
        # Light from the left (it flies to +x): leaning to the right is away from it.
        assert found["lowest"] == pytest.approx(np.cos(z + d) / np.cos(z) - 1, abs=1e-6)
        assert found["highest"] == pytest.approx(np.cos(z - d) / np.cos(z) - 1, abs=1e-6)
        rms = np.hypot(np.cos(d) - 1, np.sin(d) * np.tan(z) / np.sqrt(2))
        assert found["rms"] == pytest.approx(rms, abs=1e-6)
        assert sides == (0, 180)
        assert max(errors.values()) < 1e-6
    assert found["lowest"] == pytest.approx(-0.0304, abs=1e-4)


def test_a_face_that_leans_already_leans_on():
    """Tilted 30 deg towards the light at 40 deg zenith: light meets it at 10 deg."""
    data = sunny(meters={"m": {"levelling": "5 deg"}}, probes=[at(tilt="30 deg", turn="180 deg")])
    found, _, sides = leaning(run(data, 4))
    c = np.cos(np.radians([10, 5, 15]))
    assert found["highest"] == pytest.approx(c[1] / c[0] - 1, abs=1e-6)
    assert found["lowest"] == pytest.approx(c[2] / c[0] - 1, abs=1e-6)
    assert sides == (180, 0)


def test_the_cosine_response_is_that_of_the_leaning_face():
    """Between 30 and 50 deg the share falls from 99 to 95 %: leaning meets both effects."""
    meter = {"cosine": {"30 deg": "99 %", "50 deg": "95 %"}, "factor": "1.1", "levelling": "4 deg"}
    found, _, _ = leaning(run(sunny(meters={"m": meter}, probes=[at()]), 4))
    read = {a: np.cos(np.radians(a)) * (0.99 - 0.002 * (a - 30)) for a in (36, 40, 44)}
    assert found["highest"] == pytest.approx(read[36] / read[40] - 1, abs=2e-4)
    assert found["lowest"] == pytest.approx(read[44] / read[40] - 1, abs=2e-4)


def test_grazing_light_is_lost_but_no_more_than_all_of_it():
    data = sunny(meters={"m": {"levelling": "15 deg"}}, probes=[at(tilt="40 deg")])
    # Light at 40 deg from the left meets a face that leans 40 deg to the right at 80 deg.
    found, _, sides = leaning(run(data, 4))
    assert found["lowest"] == -1
    assert found["highest"] == pytest.approx(np.cos(np.radians(65)) / np.cos(np.radians(80)) - 1)
    assert sides[1] == 180


def test_below_a_panel_it_is_quadrature():
    """Black walls: the lowest, the highest and the mean square over all sides, at four places."""
    places = [(0.5, 0.5, 0.2), (0.26, 0.6, 0.4), (0.74, 0.2, 0.1), (0.9, 0.9, 0.3)]
    lean = 6.0
    data = plain_box(
        fixtures={"panel": panel("40 cm", "40 cm")},
        meters={"m": {"levelling": f"{lean} deg"}},
        probes=[
            {"name": f"p{k}", "at": [f"{x} m", f"{y} m"], "height": f"{z} m", "radius": "2 cm",
             "meter": "m"}
            for k, (x, y, z) in enumerate(places)
        ],
        tracing={"batch": "40000"},
    )  # fmt: skip
    result = run(data)
    (height,) = [strip.centre[2] for strip in world_of(data).strips]
    bound = student.isf(P_FAIL / len(places) / 3 / 2, N_BATCH - 1)
    d, side = np.radians(lean), np.radians(SIDES)
    normals = np.stack(
        [np.sin(d) * np.cos(side), np.sin(d) * np.sin(side), 0 * side + np.cos(d)], 1
    )
    for k, place in enumerate(places):
        level = from_panel(place, (0, 0, 1), 0.4, height)[0]
        change = np.array([from_panel(place, n, 0.4, height)[0] for n in normals]) / level - 1
        wanted = {
            "lowest": change.min(), "highest": change.max(), "rms": np.sqrt((change**2).mean())
        }  # fmt: skip
        found, errors, _ = leaning(result, f"p{k}")
        for name, value in wanted.items():
            # The ball's extent and sides between the tallied faces change little.
            assert abs(found[name] - value) < bound * errors[name] + 2e-4, (place, name)
            assert errors[name] < 2e-3
    assert change.max() > 0.1


def test_in_even_light_it_changes_nothing():
    """White even walls all round: no side is better, beyond what noise makes of it."""
    data = plain_box(
        surfaces={"black": {"diffuse": "99 %"}},
        meters={"m": {"levelling": "3 deg"}},
        probes=[{"name": "p", "at": ["50 cm", "50 cm"], "height": "30 cm", "radius": "8 cm",
                 "meter": "m"}],
    )  # fmt: skip
    data["tracing"] = {"batch": "250"}
    found, errors, _ = leaning(run(data))
    for name in ("lowest", "highest"):
        # Walls a metre off are not perfectly even: the probe's own planes differ by a percent.
        assert abs(found[name]) < 1e-3 + 5 * errors[name]
    assert found["rms"] < 1e-3 + 5 * errors["rms"]


def test_only_meters_with_a_levelling_error_tell_of_it():
    data = sunny(
        meters={"m": {"levelling": "2 deg"}, "n": {}}, probes=[at(), at("q", "n"), at("r")]
    )
    data["probes"][2].pop("meter")
    result = run(data, 2)
    for name in ("q", "r"):
        assert np.isnan(result.probes["leaning"].sel(probe=name)).all()
    # All four faces are tallied for all, so what the others read is as it was.
    (meters, told) = meter_tables(result)
    assert [row[0] for row in told.rows] == ["p"]
    assert told.rows[0][1:4] == ("2°", "\N{MINUS SIGN}2.99 %, ± under 0.01 %", "0°")
    assert told.rows[0][4].startswith("+2.87 %")
    assert len(meters.rows) == 3
    data["meters"]["m"] = {}
    plain = run(data, 2)
    assert "leaning" not in plain.probes
    assert len(meter_tables(plain)) == 1
    assert (plain.probes["pfd"] == result.probes["pfd"]).all()
    assert (plain.probes["reading"] == result.probes["reading"]).all()


@pytest.mark.parametrize("angle", ["25 deg", "-1 deg"])
def test_what_is_no_levelling_error_is_told(angle):
    with pytest.raises(SceneError, match=f"{angle} is out of range; allowed is 0 deg to 20 deg"):
        scene_of(plain_box(meters={"m": {"levelling": angle}}))
