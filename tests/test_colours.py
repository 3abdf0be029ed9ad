"""Colours of lights and of what arrives: closed forms, sums over the books, a meter beside it."""

from __future__ import annotations

from importlib.resources import files
from itertools import pairwise

import numpy as np
import pytest
from build import panel, plain_box, scene_of
from scipy.integrate import quad

import canopysim
from canopysim.analysis.colours import at_probe, on_plane
from canopysim.analysis.far_red import red_to_far_red
from canopysim.light.colours import colours_of
from canopysim.light.spectrum.making import from_shares
from canopysim.report.colours import colour_table
from canopysim.report.page import page_text
from canopysim.results import Result

EDGES = (400.0, 500.0, 600.0, 700.0, 750.0, 800.0)


def leaf_yield(low: float, high: float) -> float:
    """Mean of the shipped curve over a range, by general quadrature."""
    path = files("canopysim.library").joinpath("weights", "quantum_yield_mccree1972.csv")
    rows = [row for row in path.read_text("utf-8").splitlines() if not row.startswith("#")][1:]
    nm, value = np.array([[float(cell) for cell in row.split(",")] for row in rows]).T

    def at(x: float) -> float:
        return float(np.interp(x, nm, value, right=0.0))

    inside = [x for x in nm if low < x < high]
    return quad(at, low, high, points=inside or None, limit=200)[0] / (high - low)


def test_lights_add_up_by_their_photons():
    """60 µmol/s, a third of them blue and the rest red; 40 µmol/s level over 700-800 nm."""
    mixed = from_shares([(400, 500, 1.0), (600, 700, 2.0)])
    far = from_shares([(700, 800, 1.0)])
    found = colours_of([(mixed, 60.0), (far, 40.0)], EDGES)
    assert found.blue_share == pytest.approx(1 / 3, rel=1e-13)
    assert found.red_to_far_red == pytest.approx(1.0, rel=1e-13)
    assert found.par_share == pytest.approx(0.6, rel=1e-13)
    wanted = 20 * leaf_yield(400, 500) + 40 * leaf_yield(600, 700) + 40 * leaf_yield(700, 800)
    assert found.ypf_umol_s == pytest.approx(wanted, rel=1e-6)
    only_far = colours_of([(far, 40.0)], EDGES)
    assert np.isnan(only_far.blue_share)
    # Photons outside the bands belong to the light, but not to the flux that bands hold.
    wide = from_shares([(300, 400, 1.0), (400, 500, 1.0)])
    assert colours_of([(wide, 10.0)], (400.0, 500.0)).par_share == pytest.approx(1.0)


def traced() -> Result:
    """Two panels of other colours over a white floor, and a probe with a yield meter."""
    panels = {
        "cool": panel("30 cm", "30 cm")
        | {"spectrum": {"400-500": "50 %", "500-600": "30 %", "700-800": "20 %"}},
        "warm": panel("10 cm", "10 cm", flux="60 umol/s")
        | {"spectrum": {"500-600": "20 %", "600-700": "70 %", "700-750": "10 %"}},
    }
    data = plain_box(
        surfaces={"black": {}, "white": {"diffuse": {"400-700": "80 %", "700-800": "40 %"}}},
        enclosure={"width": "1 m", "depth": "1 m", "height": "1 m", "lining": "black",
                   "faces": {"floor": "white", "left": "white"}},
        fixtures=panels,
        lights=[
            {"fixture": "cool", "at": ["30 cm", "50 cm"], "height": "80 cm", "output": "70 %"},
            {"fixture": "warm", "at": ["70 cm", "50 cm"], "height": "60 cm"},
        ],
        planes=[{"name": "low", "height": "10 cm", "cell": "25 cm"}],
        meters={"leafy": {"response": "ypf"}},
        probes=[{"name": "mid", "at": ["50 cm", "40 cm"], "height": "30 cm", "radius": "5 cm",
                 "meter": "leafy", "tilt": "30 deg"}],
        tracing={"batch": "4096", "max_packets": "262144"},
    )  # fmt: skip
    return canopysim.run(scene_of(data), threads=2)


@pytest.fixture(scope="module")
def result() -> Result:
    return traced()


@pytest.mark.parametrize("group", ["all", "cool", "warm"])
@pytest.mark.parametrize("direction", ["down", "up"])
def test_planes_have_the_colours_of_their_bands(result, group, direction):
    """Each light is level over its ranges, so the yield of a band is the curve's mean over it."""
    found = on_plane(result, "low", group=group, direction=direction)
    mean = result.planes["low"]["mean"].sel(group=group, direction=direction)
    pfd = {band: float(mean.sel(band=band)) for band in mean["band"].values}
    wanted = sum(pfd[f"{a:g}-{b:g}"] * leaf_yield(a, b) for a, b in pairwise(EDGES))
    assert found.ypfd.value == pytest.approx(wanted, rel=1e-6)
    assert found.ypf_per_par.value == pytest.approx(wanted / pfd["400-700"], rel=1e-6)
    assert found.blue_share.value == pytest.approx(pfd["400-500"] / pfd["400-700"], rel=1e-12)
    theirs = red_to_far_red(result, "low", group=group, direction=direction)
    assert found.red_to_far_red.value == pytest.approx(theirs.value, rel=1e-12)
    assert found.red_to_far_red.std_err == pytest.approx(theirs.std_err, rel=1e-9)


def test_errors_are_those_of_leaving_batches_out(result):
    """The delta method beside a jackknife over the batches, which knows nothing of it."""
    quanta = result.rows["crossed_sum"].values[:, :, 0, 0, :].astype(float)
    scale = result.rows["channel_umol_s_per_quantum"].values
    bands = np.einsum("ncb,c->nb", quanta, scale)
    n = len(bands)
    left_out = bands.sum(0) - bands
    ratios = left_out[:, 0] / left_out[:, :3].sum(1)
    error = np.sqrt((n - 1) / n * ((ratios - ratios.mean()) ** 2).sum())
    found = on_plane(result, "low").blue_share
    assert found.std_err == pytest.approx(error, rel=0.02)
    assert 0 < found.std_err < 0.01


def test_a_yield_meter_reads_the_yield(result):
    """The probe's meter has an ideal cosine: both see the same flights."""
    here = result.probes.sel(probe="mid", group="all")
    found = at_probe(result, "mid")
    assert found.ypfd.value == pytest.approx(float(here["reading"]), rel=1e-6)
    assert found.ypfd.std_err == pytest.approx(float(here["reading_std_err"]), rel=1e-4)
    assert found.ypf_per_par.value == pytest.approx(float(here["over_true"]), rel=1e-6)
    pfd = here["pfd"].sel(facing="normal")
    blue = float(pfd.sel(band="400-500")) / float(pfd.sel(band="400-700"))
    assert found.blue_share.value == pytest.approx(blue, rel=1e-9)


def test_the_page_shows_them_and_old_results_stay_readable(result, tmp_path):
    table = colour_table(result)
    assert [row[0].split(",")[0] for row in table.rows] == ["low"] * 3 + ["probe mid"]
    assert "Colours of the light" in page_text(result)
    result.save(tmp_path)
    again = Result.load(tmp_path)
    assert colour_table(again) == table
    del again.meta["channel_yield"]
    assert colour_table(again) is None
    with pytest.raises(ValueError, match="trace it again"):
        on_plane(again, "low")
