"""Cuticles: totals hold, grazing light is mirrored as Fresnel has it, the leaf stays reciprocal."""

import numpy as np
import pytest
from build import ends, launched_quanta, panel, plain_box, trace, world_of
from conftest import P_FAIL
from scipy.stats import t as student

from canopysim.errors import SceneError
from canopysim.matter.cuticle import below_cuticle, fresnel, mean_reflectance
from canopysim.transport import cuticle as kernel

N_BATCH = 32
INDEX = 1.45


def agrees(found, error, wanted, n_tests):
    limit = student.isf(P_FAIL / n_tests / 2, N_BATCH - 1)
    return abs(found - wanted) <= limit * error


def fresnel_by_angles(angle):
    """Half the sum of Fresnel's sine and tangent formulas."""
    inside = np.arcsin(np.sin(angle) / INDEX)
    s = (np.sin(angle - inside) / np.sin(angle + inside)) ** 2
    p = (np.tan(angle - inside) / np.tan(angle + inside)) ** 2
    return (s + p) / 2


def test_fresnel_is_the_textbooks():
    angle = np.radians([1, 20, 45, 60, 75, 85, 89])
    wanted = fresnel_by_angles(angle)
    assert fresnel(np.cos(angle), INDEX) == pytest.approx(wanted, rel=1e-9)
    assert float(fresnel(1.0, INDEX)) == pytest.approx(((INDEX - 1) / (INDEX + 1)) ** 2, rel=1e-12)
    f = [float(kernel.fresnel(np.float32(np.cos(a)), np.float32(INDEX))) for a in angle]
    assert f == pytest.approx(wanted, rel=3e-5)
    mu = (np.arange(100_000) + 0.5) / 100_000
    mean = float((2 * mu * fresnel_by_angles(np.arccos(mu))).mean())
    assert mean_reflectance(INDEX, 0.0) == pytest.approx(mean, rel=1e-3)
    assert 0 < mean_reflectance(INDEX, np.radians(20)) < mean


def test_what_is_below_a_cuticle_adds_up():
    totals = np.array([[[0.3, 0.02], [0.4, 0.1]], [[0.2, 0.5], [0.6, 0.2]]])
    inside, kept = below_cuticle(totals, 0.08)
    r = 0.08 * kept
    assert r + (1 - r) * inside[:, 0] == pytest.approx(totals[:, 0])
    assert (1 - r) * inside[:, 1] == pytest.approx(totals[:, 1])
    assert kept.tolist() == [[1, 0.25], [1, 1]] and inside[0, 0, 1] == 0


def leaf(rho, tau, spread, **more):
    return {
        "reflectance": rho, "transmittance": tau,
        "cuticle": {"index": str(INDEX), "spread": spread},
    } | more  # fmt: skip


def sheet(leaf_optics, light: dict, **changes) -> dict:
    """A black box, its sides repeating, with a slab of level leaves."""
    data = plain_box(
        leaves={"sheet": leaf_optics},
        canopy={"layers": "1", "volumes": [
            {"shape": "slab", "leaf": "sheet", "bottom": "40 cm", "top": "60 cm",
             "angles": "level", "leaf_area_index": "1"}]},
        **changes,
    )  # fmt: skip
    data["enclosure"]["repeat"] = ["width", "depth"]
    return data | light


def sun(zenith: float) -> dict:
    return {
        "fixtures": {}, "lights": [],
        "daylight": [{"ppfd": "100 umol/m2/s", "spectrum": {"400-500": "60 %", "600-700": "40 %"},
                      "beam": {"zenith": f"{zenith} deg", "azimuth": "25 deg"}}],
    }  # fmt: skip


SKY = {
    "fixtures": {}, "lights": [],
    "daylight": [{"ppfd": "100 umol/m2/s", "spectrum": {"400-500": "60 %", "600-700": "40 %"}}],
}  # fmt: skip


def first_meeting(zenith, rho, tau):
    """Of light that meets one level leaf: absorbed there. By the law of the film alone."""
    mean = mean_reflectance(INDEX, 0.0)
    c = min(1.0, rho / mean)
    f = c * fresnel_by_angles(np.radians(zenith))
    return (1 - f) * (1 - (rho - c * mean) / (1 - c * mean) - tau / (1 - c * mean))


@pytest.mark.parametrize("zenith", [20.0, 60.0, 80.0])
def test_grazing_light_is_mirrored(zenith):
    """A thin slab of flat films: at once absorbed, out through the top, or met again."""
    lai = 0.01
    data = sheet(leaf("30 %", "0 %", "0 deg"), sun(zenith), tracing={"batch": "60000"})
    data["canopy"]["volumes"][0]["leaf_area_index"] = str(lai)
    data["enclosure"]["faces"] = {"ceiling": "open"}
    world = world_of(data)
    found = ends(world, trace(world, N_BATCH))
    # What has met one leaf meets a second with a probability of some LAI.
    once = 100 * (1 - np.exp(-lai)) * first_meeting(zenith, 0.3, 0.0)
    value, error = found["leaves"]
    assert abs(value - once) < 3 * lai * once + student.isf(P_FAIL / 6, N_BATCH - 1) * error


TOTALS = [("4 %", "3 %", "0 deg"), ("30 %", "40 %", "0 deg"), ("30 %", "40 %", "20 deg")]


@pytest.mark.parametrize(("rho", "tau", "spread"), TOTALS)
def test_totals_hold_under_even_light(rho, tau, spread):
    """A thin slab of level leaves under a diffuse sky: sent back, let through, absorbed."""
    lai = 0.01
    data = sheet(leaf(rho, tau, spread), SKY, tracing={"batch": "60000"})
    data["canopy"]["volumes"][0]["leaf_area_index"] = str(lai)
    data["enclosure"]["faces"] = {"ceiling": "open"}
    data["planes"] = [{"name": "above", "height": "70 cm", "cell": "1 m"}]
    world = world_of(data)
    rows = trace(world, N_BATCH)
    met = 100 * (1 - np.exp(-lai))
    share = [float(x[:-2]) / 100 for x in (rho, tau)]
    value, error = ends(world, rows)["leaves"]
    wanted = met * (1 - sum(share))
    # Twice met light is some LAI of it.
    limit = student.isf(P_FAIL / 2 / 2 / len(TOTALS), N_BATCH - 1)
    assert abs(value - wanted) < 2 * lai * met + limit * error
    quanta = launched_quanta(world, N_BATCH).sum() / N_BATCH
    up = np.array(rows.crossed, np.float64)[:N_BATCH].sum((1, 3))[:, 1] / quanta * 100
    error = up.std(ddof=1) / np.sqrt(N_BATCH)
    assert abs(up.mean() - met * share[0]) < 2 * lai * met + limit * error


def furnace(spread: str) -> dict:
    """A closed white box, a panel, and white leaves with a cuticle: light has nowhere to end."""
    return plain_box(
        surfaces={"black": {"diffuse": "100 %"}, "probe": {}},
        leaves={"white": leaf("55 %", "45 %", spread)},
        canopy={"layers": "3", "volumes": [
            {"shape": "slab", "leaf": "white", "bottom": "20 cm", "top": "80 cm",
             "angles": "spherical", "leaf_area_index": "1.5"}]},
    )  # fmt: skip


@pytest.mark.parametrize("spread", ["0 deg", "20 deg"])
def test_walls_that_emit_see_what_they_emit(spread):
    """All six faces emit evenly and absorb all; leaves lose nothing: every plane sees the same.

    Leaves that were not reciprocal would make some directions brighter than others.
    """
    lights = [
        ({"height": "0 cm", "at": ["50 cm", "50 cm"], "pitch": "180 deg"}, "floor"),
        ({"height": "1 m", "at": ["50 cm", "50 cm"]}, "ceiling"),
        ({"height": "50 cm", "at": ["0 cm", "50 cm"], "pitch": "-90 deg"}, "left"),
        ({"height": "50 cm", "at": ["100 cm", "50 cm"], "pitch": "90 deg"}, "right"),
        ({"height": "50 cm", "at": ["50 cm", "0 cm"], "tilt": "90 deg"}, "front"),
        ({"height": "50 cm", "at": ["50 cm", "100 cm"], "tilt": "-90 deg"}, "back"),
    ]
    data = furnace(spread) | {
        "surfaces": {"black": {}},
        "fixtures": {"panel": panel("1 m", "1 m", flux="100 umol/s")},
        "lights": [{"fixture": "panel"} | light for light, _ in lights],
        "planes": [
            {"name": "low", "height": "30 cm", "cell": "1 m"},
            {"name": "high", "height": "70 cm", "cell": "1 m"},
        ],
        "tracing": {"batch": "30000"},
    }
    world = world_of(data)
    rows = trace(world, N_BATCH)
    found = ends(world, rows)
    for face in ("floor", "ceiling", "left", "right", "front", "back"):
        assert agrees(*found[face], 100, 10), (face, found[face])
    assert found["leaves"][0] < 1e-4
    quanta = launched_quanta(world, N_BATCH).sum() / N_BATCH
    crossed = np.array(rows.crossed, np.float64)[:N_BATCH].sum((1, 3))
    flux = crossed / quanta * 600
    mean, error = flux.mean(0), flux.std(0, ddof=1) / np.sqrt(N_BATCH)
    assert mean.shape == (4,)
    for value, sigma in zip(mean, error, strict=True):
        assert agrees(value, sigma, 100, 10)
        assert sigma < 0.2


@pytest.mark.parametrize(
    ("film", "message"),
    [
        ({"index": "0.9"}, "allowed is 1.01 or more"),
        ({"spread": "60 deg"}, "allowed is 45 deg or less"),
    ],
)
def test_what_is_no_cuticle_is_told(film, message):
    with pytest.raises(SceneError, match=message):
        world_of(plain_box(leaves={"x": {"like": "pepper", "cuticle": film}}))
