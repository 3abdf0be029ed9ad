"""Each lens: power, density and sampler agree, in every orientation."""

import numpy as np
import pytest
from build import panel, plain_box, trace, world_of
from numba import njit
from oracles import beam_exponent, beam_intensity, rotation
from scipy import stats

from canopysim.transport.launch import launch
from canopysim.world.strips import exponent

LENSES = {
    "lambertian": "lambertian",
    "wide along": {"beam": {"along": "120 deg", "across": "40 deg"}},
    "wide across": {"beam": {"along": "25 deg", "across": "100 deg"}},
    "round": {"beam": {"along": "60 deg", "across": "60 deg"}},
    "batwing-broad": {"beam": {"along": "170 deg", "across": "150 deg"}},
    "narrow": {"beam": {"along": "4 deg", "across": "8 deg"}},
}
TURNS = [(0, 0, 0), (90, 0, 0), (30, 0, 40), (0, 90, 0), (0, -90, 0), (200, 35, -70), (0, 0, 180)]


@njit
def launches(world, n):
    out = np.empty((n, 6), np.float32)
    for photon in range(n):
        out[photon] = launch(
            world.strip, world.strip_lens, world.strip_table, world.lens_numbers, 0,
            np.uint32(11), np.uint32(0), 0, photon,
        )  # fmt: skip
    return out


def exponents(lens):
    if lens == "lambertian":
        return 1.0, 1.0
    return tuple(beam_exponent(np.radians(float(lens["beam"][k].split()[0])))
                 for k in ("along", "across"))  # fmt: skip


def sky_bins(m):
    """Bin edges in cos^(m+1) and C that make the bins about equally full."""
    return np.linspace(0, 1, 9), np.linspace(-np.pi, np.pi, 25)


@pytest.mark.parametrize("name", LENSES)
@pytest.mark.parametrize("turn", TURNS)
def test_sampler_follows_density(name, turn, p_fail):
    """chi^2 of directions, seen in the strip's frame, against the integral of the intensity."""
    lens = LENSES[name]
    scene = plain_box(fixtures={"panel": panel("10 cm", "4 cm", lens)})
    scene["lights"][0] |= dict(
        zip(("turn", "pitch", "tilt"), (f"{a} deg" for a in turn), strict=True), height="50 cm"
    )
    world = world_of(scene)
    n = 40_000
    sample = launches(world.arrays, n).astype(np.float64)
    axes = rotation(*np.radians(turn)).T
    local = sample[:, 3:] @ axes.T
    assert np.abs(np.linalg.norm(local, axis=1) - 1).max() < 1e-6
    m_along, m_across = exponents(lens)
    mean_m = min(m_along, m_across)
    to_x = lambda cosine: cosine ** (mean_m + 1)  # noqa: E731
    x_edges, c_edges = sky_bins(mean_m)
    cosine = np.clip(-local[:, 2], 0, 1)
    counts, *_ = np.histogram2d(
        to_x(cosine), np.arctan2(local[:, 1], local[:, 0]), bins=(x_edges, c_edges)
    )
    # Expected: integrate the intensity over every bin by Gauss-Legendre in x and C.
    u, w = np.polynomial.legendre.leggauss(40)
    expected = np.zeros_like(counts)
    for i in range(len(x_edges) - 1):
        x = (x_edges[i] + x_edges[i + 1]) / 2 + (x_edges[i + 1] - x_edges[i]) / 2 * u
        cosines = x ** (1 / (mean_m + 1))
        weight = w * (x_edges[i + 1] - x_edges[i]) / 2 / (mean_m + 1) / cosines**mean_m
        for j in range(len(c_edges) - 1):
            c = (c_edges[j] + c_edges[j + 1]) / 2 + (c_edges[j + 1] - c_edges[j]) / 2 * u
            sine = np.sqrt(1 - cosines**2)
            d = np.stack(
                np.broadcast_arrays(
                    sine[:, None] * np.cos(c), sine[:, None] * np.sin(c), -cosines[:, None]
                ),
                -1,
            )
            inner = beam_intensity(d, m_along, m_across) @ w * (c_edges[j + 1] - c_edges[j]) / 2
            expected[i, j] = weight @ inner
    # Density integrates to one: the power formula holds.
    assert abs(expected.sum() - 1) < 2e-3
    expected *= n / expected.sum()
    kept = expected > 20
    chi2 = ((counts - expected)[kept] ** 2 / expected[kept]).sum()
    p = stats.chi2.sf(chi2, kept.sum())
    assert p > p_fail / (len(LENSES) * len(TURNS)), f"{name} turned {turn}: p = {p:.2g}"
    # Points fill the strip evenly.
    inside = (sample[:, :3] - [0.5, 0.5, 0.5]) @ axes.T
    assert np.abs(inside[:, 2]).max() < 1e-6
    for axis, extent in ((0, 0.10), (1, 0.04)):
        p = stats.kstest(inside[:, axis] / extent + 0.5, "uniform").pvalue
        assert p > p_fail / (2 * len(LENSES) * len(TURNS))


def test_full_width_at_half_maximum_is_what_was_asked():
    for degrees in (1, 30, 120, 179):
        m = exponent(np.radians(degrees))
        assert np.isclose(np.cos(np.radians(degrees / 2)) ** m, 0.5, rtol=1e-9)


def test_parallel_light_goes_straight():
    scene = plain_box(fixtures={"panel": panel("10 cm", "4 cm", "parallel")})
    scene["lights"][0] |= {"tilt": "30 deg", "height": "50 cm"}
    sample = launches(world_of(scene).arrays, 100)
    # tilt > 0 swings the beam towards +y.
    assert np.allclose(sample[:, 3:], [0, 0.5, -np.sqrt(0.75)], atol=1e-6)
    scene["lights"][0] |= {"tilt": "0 deg", "pitch": "30 deg"}
    # pitch > 0 lowers the +x end, so the beam leans towards -x.
    sample = launches(world_of(scene).arrays, 100)
    assert np.allclose(sample[:, 3:], [-0.5, 0, -np.sqrt(0.75)], atol=1e-6)


def test_launched_power_is_the_stated_flux():
    world = world_of(plain_box())
    rows = trace(world, 2)
    total = sum(
        float(absorbed.sum()) * world.channels[0].umol_s_per_quantum for absorbed in rows.absorbed
    )
    assert np.isclose(total / 2, 100.0, rtol=1e-9)
