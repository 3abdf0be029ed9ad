"""Probes: light from all sides at a point against quadrature, and what meters make of it."""

import csv
import subprocess
import sys

import numpy as np
import pytest
import yaml
from build import PlainDumper, panel, plain_box, scene_of, trace, world_of
from conftest import P_FAIL
from scipy.stats import t as student
from torture import told_apart, torture

import canopysim
from canopysim.errors import SceneError
from canopysim.tallies.label_probes import FACINGS
from canopysim.world.compile import compile_world

N_BATCH = 32


def run(data: dict, n_batch: int = N_BATCH) -> canopysim.Result:
    batch = float(data.get("tracing", {}).get("batch", 20000))
    budget = str(int(1.01 * n_batch * batch))
    data = data | {"tracing": {"batch": str(int(batch)), "max_packets": budget}}
    return canopysim.run(scene_of(data))


def agrees(found: float, error: float, wanted: float, n_tests: int, rel: float = 0.0) -> bool:
    """Two-sided, by the spread of 32 batches; `rel` is what the ball's extent changes."""
    return abs(found - wanted) < student.isf(P_FAIL / n_tests / 2, 31) * error + rel * abs(wanted)


def from_panel(point, normal, size, height, centre=(0.5, 0.5), flux=100.0):
    """PFD on a plane and fluence rate below a Lambertian square, by a fine sum over it."""
    x, y = (c + (np.arange(400) + 0.5) / 400 * size - size / 2 for c in centre)
    x, y = np.meshgrid(x, y)
    d = np.stack([x - point[0], y - point[1], np.full_like(x, height - point[2])], -1)
    r2 = (d**2).sum(-1)
    to = d / np.sqrt(r2)[..., None]
    # Radiance of photons: flux / (pi area); solid angle of a piece: cos dA / r^2.
    rate = flux / (np.pi * size**2) * to[..., 2] / r2 * (size / 400) ** 2
    return float((rate * np.maximum(to @ np.asarray(normal), 0)).sum()), float(rate.sum())


def test_light_below_a_panel_is_its_integral():
    """Black walls: level, tilted, sideways and from all sides, for four places."""
    places = [(0.5, 0.5, 0.2), (0.26, 0.6, 0.4), (0.74, 0.2, 0.1), (0.9, 0.9, 0.3)]
    tilt, turn = 35.0, 70.0
    data = plain_box(
        fixtures={"panel": panel("40 cm", "40 cm")},
        probes=[
            {"name": f"p{k}", "at": [f"{x} m", f"{y} m"], "height": f"{z} m", "radius": "2 cm",
             "tilt": f"{tilt} deg", "turn": f"{turn} deg"}
            for k, (x, y, z) in enumerate(places)
        ],
        tracing={"batch": "40000"},
    )  # fmt: skip
    result = run(data)
    t, r = np.deg2rad(tilt), np.deg2rad(turn)
    faces = {
        "normal": (np.sin(t) * np.cos(r), np.sin(t) * np.sin(r), np.cos(t)),
        "up": (0, 0, 1), "right": (1, 0, 0), "left": (-1, 0, 0), "back": (0, 1, 0),
        "front": (0, -1, 0),
    }  # fmt: skip
    (height,) = [s.centre[2] for s in compile_world(scene_of(data)).strips]
    n_tests = len(places) * (len(faces) + 1)
    for k, place in enumerate(places):
        here = result.probes.sel(probe=f"p{k}", group="all", band="400-500")
        for name, face in faces.items():
            wanted, fluence = from_panel(place, face, 0.4, height)
            found = here.sel(facing=name)
            value, error = float(found["pfd"]), float(found["pfd_std_err"])
            if wanted == 0:
                assert value == 0
                continue
            assert agrees(value, error, wanted, n_tests, rel=0.01), (place, name)
        found = here.sel(facing="all sides")
        assert agrees(float(found["pfd"]), float(found["pfd_std_err"]), fluence, n_tests, rel=0.01)
        assert float(here["pfd"].sel(facing="down")) == 0


def sunny(**changes) -> dict:
    """A black box with an open ceiling under a parallel beam of 200 umol/m2/s, 40 deg slanting."""
    data = plain_box(**changes)
    data["enclosure"]["faces"] = {"ceiling": "open"}
    data["lights"] = []
    data["daylight"] = [
        {"ppfd": "200 umol/m2/s", "spectrum": {"400-500": "100 %"},
         "beam": {"zenith": "40 deg", "azimuth": "0 deg"}}
    ]  # fmt: skip
    return data


def test_a_parallel_beam_has_the_flux_densities_of_trigonometry():
    """Beyond its shadow a beam is even: fluence rate PFD / cos, side light PFD tan."""
    data = sunny(
        probes=[{"name": "p", "at": ["70 cm", "50 cm"], "height": "60 cm", "radius": "5 cm"}]
    )
    result = run(data)
    here = result.probes.sel(probe="p", group="all", band="400-700")
    z = np.deg2rad(40)
    wanted = {"up": 200, "all sides": 200 / np.cos(z), "left": 200 * np.tan(z)}
    for name, value in wanted.items():
        found = here.sel(facing=name)
        assert agrees(float(found["pfd"]), float(found["pfd_std_err"]), value, 3), name
    for name in ("right", "down"):
        assert float(here["pfd"].sel(facing=name)) == 0
    for name in ("front", "back"):
        assert float(here["pfd"].sel(facing=name)) < 1e-4


def test_a_meter_reads_by_its_cosine_and_its_factor():
    data = sunny(
        meters={
            "worn": {"cosine": {"30 deg": "99 %", "50 deg": "95 %", "85 deg": "70 %"},
                     "factor": "1.1"},
        },
        probes=[
            {"name": "p", "at": ["70 cm", "50 cm"], "height": "60 cm", "meter": "worn"},
            {"name": "q", "at": ["70 cm", "50 cm"], "height": "60 cm"},
        ],
    )  # fmt: skip
    result = run(data)
    both = result.probes.sel(group="all")
    # At 40 deg, halfway between 30 and 50 deg: 97 %; the table of cosines adds a little.
    assert float(both["over_true"].sel(probe="p")) == pytest.approx(1.1 * 0.97, abs=2e-3)
    assert float(both["over_true_std_err"].sel(probe="p")) < 1e-5
    assert float(both["over_true"].sel(probe="q")) == pytest.approx(1.0, abs=1e-7)
    true = float(both["pfd"].sel(probe="p", facing="normal", band="400-700"))
    assert float(both["reading"].sel(probe="p")) == pytest.approx(1.067 * true, rel=2e-3)


def test_one_batch_tells_no_error_of_a_ratio():
    data = sunny(probes=[{"name": "p", "at": ["70 cm", "50 cm"], "height": "60 cm"}])
    one, two = run(data, 1), run(data, 2)
    assert (one.n_batch, two.n_batch) == (1, 2)
    for result, known in ((one, False), (two, True)):
        error = result.probes["over_true_std_err"].sel(probe="p", group="all")
        assert np.isfinite(float(error)) == known


def test_meters_count_the_photons_that_they_see():
    """Far-red, part of a band, and lux: by integrals over the light's own spectrum."""
    table = "nm, share\n400, 0\n400.01, 1\n690, 1\n690.01, 0\n"
    data = plain_box(
        meters={"quantum": {}, "wide": {"response": "epar"}, "eye": {"response": "lux"},
                "short": {"response": {"table": table}}},
        probes=[
            {"name": name, "at": ["50 cm", "50 cm"], "height": "20 cm", "radius": "5 cm",
             "meter": name}
            for name in ("quantum", "wide", "eye", "short")
        ],
    )  # fmt: skip
    data["fixtures"]["panel"] |= {"spectrum": {"600-700": "80 %", "700-750": "20 %"}}
    result = run(data, 8)
    ratio = result.probes["over_true"].sel(group="all")
    assert float(ratio.sel(probe="quantum")) == pytest.approx(1, abs=1e-6)
    # In every direction both bands come alike: black walls.
    assert float(ratio.sel(probe="wide")) == pytest.approx(100 / 80, rel=1e-3)
    # Even light over 600-700 nm, of which the last tenth is not counted.
    assert float(ratio.sel(probe="short")) == pytest.approx(0.9, rel=1e-3)
    from canopysim.light.spectrum.weights import photopic

    nm = np.linspace(600, 750, 30001)
    share = np.where(nm < 700, 0.8 / 100, 0.2 / 50)
    lumens = np.trapezoid(share * 683 * photopic().at(nm) * 119.6266 / nm, nm)
    assert float(ratio.sel(probe="eye")) == pytest.approx(lumens / 0.8, rel=1e-3)
    assert str(result.probes["reading_unit"].sel(probe="eye").values) == "lx"


def test_probes_change_nothing_and_do_not_depend_on_threads():
    data = told_apart(torture(2000))
    del data["probes"]
    alone = trace(world_of(data), 2)
    full = world_of(told_apart(torture(2000)))
    one, other = trace(full, 2, threads=1, chunk=10**9), trace(full, 2, threads=2, chunk=77)
    assert (np.array(alone.absorbed) == np.array(one.absorbed)).all()
    assert (one.splits.probed == other.splits.probed).all()
    assert one.splits.probed.sum() > 0


def test_a_run_writes_and_reads_back_its_probes(tmp_path):
    data = torture(2000)
    (tmp_path / "t.yaml").write_text(yaml.dump(data, Dumper=PlainDumper))
    answer = subprocess.run(
        [sys.executable, "-m", "canopysim", "run", "t.yaml", "--out", "out", "--max-packets",
         "8000"], cwd=tmp_path, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert answer.returncode == 0, answer.stderr
    assert "Reading over true" in " ".join(answer.stdout.split())
    result = canopysim.Result.load(tmp_path / "out")
    assert result.probes["facing"].values.tolist() == list(FACINGS)
    with (tmp_path / "out" / "probes.csv").open(encoding="utf-8") as file:
        lines = list(csv.DictReader(file))
    for line in lines[::17]:
        if line["what"] in FACINGS:
            cell = result.probes.sel(
                probe=line["probe"], group=line["group"], facing=line["what"], band=line["band_nm"]
            )
            assert float(line["value"]) == pytest.approx(float(cell["pfd"]), rel=1e-8)
    assert "What meters would read" in (tmp_path / "out" / "report.html").read_text()


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"probes": [{"name": "p", "at": ["50 cm", "50 cm"], "height": "1 cm"}]},
         r"its ball reaches 1 cm out of the enclosure"),
        ({"probes": [{"name": "p", "at": ["50 cm", "50 cm"], "height": "9 cm", "meter": "x"}]},
         "'x' is not defined under 'meters'"),
        ({"probes": [{"name": "p", "at": ["50 cm", "50 cm"]}]}, "height"),
        ({"meters": {"m": {"response": "candles"}}}, "'candles' is not a response; write par"),
        ({"meters": {"m": {"response": {"table": "450, x"}}}}, "table:1: fewer than two rows"),
        ({"meters": {"m": {"cosine": {"95 deg": "90 %"}}}}, "allowed is 0 deg to 90 deg"),
        ({"meters": {"m": {"factor": "0"}}}, "allowed is 0.01 to 100"),
        ({"probes": [{"name": "p", "at": ["50 cm", "50 cm"], "height": "9 cm"}] * 2},
         "'p' names another probe"),
    ],
)  # fmt: skip
def test_what_is_no_probe_is_told(changes, message):
    with pytest.raises(SceneError, match=message):
        world_of(plain_box(**changes))
