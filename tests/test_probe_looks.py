"""Looking for small balls gives what waiting for flights to pass them gives, only far sooner."""

from dataclasses import replace

import numpy as np
import pytest
from build import WHITE, plain_box, trace, world_of
from conftest import P_FAIL
from numba import njit
from oracles import rotation
from photometric_files import cosine_power, front_lopsided, lm63, long_bar
from scipy.stats import chi2
from scipy.stats import t as student
from test_lenses import launches

from canopysim.transport.launch import launch_density
from canopysim.transport.real import log_of_cosine, turn_of
from canopysim.world.compile import World

F = np.float32
# On the meter's normal, from all sides, facing left and facing down.
FACINGS = (0, 2, 4, 7)
BAR = {
    "body": {"length": "40 cm", "width": "6 cm", "height": "4 cm", "surface": "board"},
    "ppf": "80 umol/s",
    "spectrum": WHITE,
    "strips": [{"length": "38 cm", "width": "1 cm",
                "lens": {"beam": {"along": "110 deg", "across": "50 deg"}}}],
}  # fmt: skip
WHOLE = {
    "body": {"length": "12 cm", "width": "6 cm", "height": "4 cm", "surface": "board"},
    "photometry": {
        "table": lm63(front_lopsided, h=range(0, 361, 15), size=(0.05, 0.1, 0.0)),
        "intensity": "candela",
    },
    "ppf": "60 umol/s",
    "spectrum": {"like": "white_4000"},
}
PROBES = [
    {"name": "open", "at": ["50 cm", "50 cm"], "height": "45 cm", "radius": "3 cm"},
    {"name": "corner", "at": ["8 cm", "90 cm"], "height": "10 cm", "radius": "4 cm",
     "tilt": "60 deg", "turn": "30 deg"},
    # Nearer to the light than two radii, and cut by the lamp's body.
    {"name": "lamp", "at": ["60 cm", "50 cm"], "height": "77 cm", "radius": "6 cm",
     "tilt": "90 deg"},
    {"name": "leaves", "at": ["45 cm", "45 cm"], "height": "22 cm", "radius": "3 cm",
     "tilt": "150 deg"},
]  # fmt: skip


def room(fixture: dict, **changes) -> dict:
    data = plain_box(
        surfaces={"black": {"diffuse": "60 %"}, "board": {"diffuse": "70 %"},
                  "mirror": {"specular": "80 %"}, "haze": {"specular": "60 %", "diffuse": "20 %",
                                                           "spread": "15 deg"}},
        leaves={"leaf": {"like": "basil"}},
        plants={
            "herb": {"leaf": "leaf", "stem": "board", "nodes": "5", "internode": "6 cm",
                     "petiole_length": "3 cm", "petiole_angle": "55 deg",
                     "blade_length": "12 cm", "blade_width": "7 cm"},
        },
        canopy={
            "layers": "2", "leaf_area_index": "0.4", "seed": "4",
            "plantings": [{"plant": "herb", "columns": "3", "rows": "3", "base": "10 cm"}],
        },
        fixtures={"light": fixture},
        lights=[{"fixture": "light", "at": ["50 cm", "50 cm"], "height": "80 cm",
                 "turn": "25 deg", "tilt": "15 deg", "pitch": "-10 deg"}],
        probes=PROBES,
        tracing={"batch": "5000"},
    )  # fmt: skip
    data["enclosure"] |= changes
    return data


def strip_lens(lens, spectrum=WHITE) -> dict:
    return BAR | {"strips": [BAR["strips"][0] | {"lens": lens}], "spectrum": spectrum}


ROOMS = {
    "beam": room(BAR),
    "Lambertian": room(strip_lens("lambertian"), faces={"right": "mirror", "floor": "haze"}),
    "table": room(strip_lens({"table": lm63(long_bar, h=range(0, 361, 30))})),
    "whole fixture": room(WHOLE),
    "parallel": room(strip_lens("parallel")),
    "endless": room(BAR, repeat=["width"]),
    "open": room(BAR, faces={"front": "open"}),
}


def means(world: World, looks: bool, n_batch: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Mean and variance of the mean of what the probes book, over all bands."""
    assert world.splits is not None
    rows = trace(
        replace(world, splits=replace(world.splits, looks=looks)), n_batch, seed=seed
    )  # fmt: skip
    book = np.array(rows.splits.probed, np.float64).sum((1, -1))[:, :, FACINGS]
    return book.mean(0), book.var(0, ddof=1) / n_batch


@pytest.mark.parametrize("name", ROOMS)
def test_looking_and_passing_agree(name):
    n_batch = 32
    world = world_of(ROOMS[name])
    looked, var_looked = means(world, True, n_batch, seed=11)
    passed, var_passed = means(world, False, n_batch, seed=12)
    error = np.sqrt(var_looked + var_passed)
    limit = student.isf(P_FAIL / 2 / len(ROOMS) / looked.size, n_batch - 1)
    assert (np.abs(looked - passed) <= limit * error).all(), (looked - passed) / error
    # The comparison could tell a tenth of most figures.
    assert np.median(error / passed) < 0.05


def test_small_balls_no_longer_starve():
    """At the same number of packets, in a tent of matte walls: what the errors become."""
    small = [p | {"radius": "5 mm"} for p in PROBES if p["name"] != "lamp"]
    world = world_of(room(BAR) | {"probes": small})
    looked, var_looked = means(world, True, 32, seed=3)
    _, var_passed = means(world, False, 32, seed=4)
    assert (np.sqrt(var_looked) / looked)[:, 1].max() < 0.02
    # A packet that looks costs at most some three times one that does not.
    assert np.median(var_passed / var_looked) > 30


@njit
def densities(frame, lens, tables, numbers, d):
    out = np.empty(len(d), F)
    for i in range(len(d)):
        out[i] = launch_density(frame, lens, tables, numbers, 0, d[i, 0], d[i, 1], d[i, 2])
    return out


LENSES = {
    "beam": {"beam": {"along": "120 deg", "across": "12 deg"}},
    "lambertian": "lambertian",
    "narrow": {"table": lm63(cosine_power(300), v=np.arange(0, 91, 1.0))},
    "bar": {"table": lm63(long_bar, h=range(0, 361, 30))},
    "flood": {"table": lm63(front_lopsided, h=range(0, 361, 10))},
}


@pytest.mark.parametrize("name", LENSES)
def test_the_density_of_a_lens_is_that_of_its_samples(name):
    """It integrates to 1, and what samples fall into a cell is its integral over the cell."""
    turn = (35.0, -20.0, 70.0)
    data = room(strip_lens(LENSES[name]))
    keys = ("turn", "pitch", "tilt")
    data["lights"][0] |= {k: f"{a} deg" for k, a in zip(keys, turn, strict=True)}
    a = world_of(data).arrays
    to_world = rotation(*np.radians(turn)).T
    # Midpoints, finer towards straight ahead; several to each cell of the comparison.
    n_g, n_c, coarse = 1440, 720, (24, 12)
    edge = np.pi * np.linspace(0, 1, n_g + 1) ** 2
    g, c = (edge[1:] + edge[:-1]) / 2, (np.arange(n_c) + 0.5) / n_c * 2 * np.pi
    g, c = (x.ravel() for x in np.meshgrid(g, c, indexing="ij"))
    local = np.stack([np.sin(g) * np.cos(c), np.sin(g) * np.sin(c), -np.cos(g)], 1)
    solid = np.repeat(np.cos(edge[:-1]) - np.cos(edge[1:]), n_c) * 2 * np.pi / n_c
    light = densities(
        a.strip, a.strip_lens, a.strip_table, a.lens_numbers, (local @ to_world).astype(F)
    )
    share = light.astype(np.float64) * solid
    assert share.sum() == pytest.approx(1, abs=2e-3)
    n = 100_000
    sample = launches(a, n)[:, 3:].astype(np.float64) @ to_world.T
    gamma = np.arccos(np.clip(-sample[:, 2], -1, 1))
    around = np.arctan2(sample[:, 1], sample[:, 0]) % (2 * np.pi)
    found, *_ = np.histogram2d(
        gamma, around, [edge[:: n_g // coarse[0]], np.linspace(0, 2 * np.pi, coarse[1] + 1)]
    )
    wanted = share.reshape(coarse[0], n_g // coarse[0], coarse[1], -1).sum((1, 3)) * n
    # Samples are spread more evenly than at random: their chi-squared can only be smaller.
    enough = wanted > 20
    off = ((found - wanted)[enough] ** 2 / wanted[enough]).sum()
    assert off < chi2.isf(P_FAIL / len(LENSES), enough.sum())
    assert found[~enough].sum() == pytest.approx(wanted[~enough].sum(), abs=60)


@njit
def turns(x, y):
    out = np.empty_like(x)
    for i in range(len(x)):
        out[i] = turn_of(x[i], y[i])
    return out


@njit
def logs(sine_squared, cosine):
    out = np.empty_like(cosine)
    for i in range(len(out)):
        out[i] = log_of_cosine(sine_squared[i], cosine[i])
    return out


def test_turn_of_a_vector():
    angle = np.linspace(0, 2 * np.pi, 400_001)
    x, y = np.cos(angle).astype(F), np.sin(angle).astype(F)
    exact = np.arctan2(y.astype(np.float64), x.astype(np.float64)) / (2 * np.pi) % 1
    off = np.abs(turns(x, y) - exact)
    assert np.minimum(off, 1 - off).max() < 2e-7
    assert turn_of(F(0), F(0)) == 0


def test_logarithm_of_a_cosine_keeps_its_digits():
    angle = np.geomspace(1e-6, 1.57, 200_001)
    found = logs((np.sin(angle) ** 2).astype(F), np.cos(angle).astype(F))
    exact = np.log1p(-(np.sin(angle) ** 2)) / 2
    # Towards grazing directions the cosine itself is known to its own last place only.
    assert (np.abs(found / exact - 1) < 1e-6 + 1e-7 / np.cos(angle) / np.abs(exact)).all()
