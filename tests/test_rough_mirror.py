"""Rough mirrors: density, samples and power agree; reciprocal; energy kept; the flat limit."""

import numpy as np
import pytest
from build import plain_box, trace, world_of
from conftest import P_FAIL
from numba import njit
from scipy.integrate import dblquad, quad
from scipy.stats import chi2, norm
from scipy.stats import t as student

from canopysim.matter.rough import returned_share
from canopysim.transport.mirror import rough_direction, seen_facet

F = np.float32
NORMALS = ([0, 0, 1], [0, 0, -1], [1, 0, 0], [0, -1, 0], [0.48, -0.6, 0.64], [-0.6, 0.48, -0.64])


@njit
def _reflect(n, d, roughness, uv, out, kept):
    for i in range(uv.shape[0]):
        x, y, z, k = rough_direction(
            n[0], n[1], n[2], d[0], d[1], d[2], roughness, uv[i, 0], uv[i, 1]
        )
        out[i, 0], out[i, 1], out[i, 2], kept[i] = x, y, z, k


@njit
def _facets(i, roughness, uv, out):
    for k in range(uv.shape[0]):
        out[k, 0], out[k, 1], out[k, 2] = seen_facet(
            i[0], i[1], i[2], roughness, uv[k, 0], uv[k, 1]
        )


def uniforms(n, seed):
    rng = np.random.default_rng(seed)
    return ((rng.integers(0, 2**23, (n, 2)) + 0.5) / 2**23).astype(F)


def frame(n):
    """Two tangents of a unit normal, by any cross product."""
    n = np.asarray(n, float)
    t = np.cross(n, [0, 0, 1] if abs(n[2]) < 0.9 else [1, 0, 0])
    t /= np.linalg.norm(t)
    return t, np.cross(n, t)


# The references: the textbook's terms in double precision.
def slopes(cosine, a):
    """Facet area per solid angle of normals, with respect to the area seen from above."""
    c2 = cosine**2
    return a**2 / (np.pi * (c2 * (a**2 - 1) + 1) ** 2)


def lambda_of(cosine, a):
    return (np.sqrt(1 + (a**2) * (1 / cosine**2 - 1)) - 1) / 2


def brdf(wi, wo, a):
    """Reflectance distribution of perfect facets, per steradian."""
    h = wi + wo
    h = h / np.linalg.norm(h, axis=-1, keepdims=True)
    g2 = 1 / (1 + lambda_of(wi[..., 2], a) + lambda_of(wo[..., 2], a))
    return slopes(h[..., 2], a) * g2 / (4 * wi[..., 2] * wo[..., 2])


def direction(theta, phi):
    theta, phi = np.broadcast_arrays(theta, phi)
    return np.stack([np.sin(theta) * np.cos(phi), np.sin(theta) * np.sin(phi), np.cos(theta)], -1)


def albedo(theta_in, a):
    """Share that comes back of light from one direction, by quadrature."""
    wi = direction(theta_in, 0.0)
    theta = (np.arange(1500) + 0.5) / 1500 * np.pi / 2
    phi = (np.arange(1500) + 0.5) / 1500 * np.pi
    wo = direction(theta[:, None], phi[None, :])
    f = brdf(wi, wo, a) * wo[..., 2] * np.sin(theta)[:, None]
    return float(f.sum() * (np.pi / 2 / 1500) * (2 * np.pi / 1500))


@pytest.mark.parametrize("spread_deg", [2.0, 12.0, 45.0])
def test_half_of_the_facets_are_tilted_less_than_the_spread(spread_deg):
    """By projected area, which is what a ray from straight above draws from."""
    a = np.tan(np.deg2rad(spread_deg))
    out = np.empty((200_000, 3), F)
    _facets(np.array([0, 0, 1], F), F(a), uniforms(200_000, 1), out)
    below = (out[:, 2] > np.cos(np.deg2rad(spread_deg))).sum()
    assert abs(below - 100_000) < norm.isf(P_FAIL / 3 / 2) * np.sqrt(50_000)
    assert np.linalg.norm(out, axis=1) == pytest.approx(1.0, abs=1e-6)
    # The same by the density.
    share = quad(lambda t: slopes(np.cos(t), a) * np.cos(t) * 2 * np.pi * np.sin(t), 0,
                 np.deg2rad(spread_deg))[0]  # fmt: skip
    assert share == pytest.approx(0.5, rel=1e-9)


@pytest.mark.parametrize("normal", NORMALS)
@pytest.mark.parametrize(("spread_deg", "theta_deg"), [(12, 5), (12, 60), (30, 40), (40, 80)])
def test_samples_follow_the_density_and_power_is_its_integral(normal, spread_deg, theta_deg):
    a, theta_in = np.tan(np.deg2rad(spread_deg)), np.deg2rad(theta_deg)
    n = np.asarray(normal, float)
    t, b = frame(n)
    wi_world = np.sin(theta_in) * t + np.cos(theta_in) * n
    count = 400_000
    out, kept = np.empty((count, 3), F), np.empty(count, F)
    _reflect(n.astype(F), (-wi_world).astype(F), F(a), uniforms(count, 5), out, kept)
    assert ((kept >= 0) & (kept <= 1)).all()
    assert np.linalg.norm(out, axis=1) == pytest.approx(1.0, abs=2e-6)
    up = out @ n
    assert (up[kept > 0] > 0).all()
    tests = len(NORMALS) * 4 * 2
    # Power: what is kept, on the average.
    mean, error = kept.mean(dtype=float), kept.std(dtype=float) / np.sqrt(count)
    assert abs(mean - albedo(theta_in, a)) < norm.isf(P_FAIL / tests / 2) * error + 2e-5
    # Density: weighted samples in cells of the outgoing direction.
    x, y = out @ t, out @ b
    phi = np.arctan2(y, x)
    rings, sectors = np.linspace(0, 1, 7), np.linspace(-np.pi, np.pi, 9)
    expected = np.zeros((6, 8))
    m = 60
    wi = direction(theta_in, 0.0)
    for i in range(6):
        for j in range(8):
            z = rings[i] + (np.arange(m) + 0.5) / m * (rings[i + 1] - rings[i])
            p = sectors[j] + (np.arange(m) + 0.5) / m * (sectors[j + 1] - sectors[j])
            wo = direction(np.arccos(z)[:, None], p[None, :])
            f = brdf(wi, wo, a) * wo[..., 2]
            expected[i, j] = f.mean() * (rings[1] - rings[0]) * (sectors[1] - sectors[0])
    ring = np.clip((up * 6).astype(int), 0, 5)
    sector = np.clip(((phi + np.pi) / (2 * np.pi) * 8).astype(int), 0, 7)
    alive = kept > 0
    cell = (ring * 8 + sector)[alive]
    weight = kept[alive].astype(float)
    found = np.bincount(cell, weight, 48) / count
    square = np.bincount(cell, weight**2, 48) / count
    variance = (square - found**2) / count
    flat = expected.ravel()
    busy = flat * count > 50
    statistic = ((found - flat)[busy] ** 2 / variance[busy]).sum()
    limits = chi2.ppf([P_FAIL / tests / 2, 1 - P_FAIL / tests / 2], busy.sum())
    # Cells are integrated by the midpoint rule: a peak inside one costs a little.
    assert statistic < limits[1] * 1.2
    assert busy.sum() > 8


def test_the_references_are_reciprocal_and_normalised():
    a = np.tan(np.deg2rad(20))
    one, other = direction(0.4, 0.3), direction(1.1, 2.0)
    assert brdf(one, other, a) == pytest.approx(brdf(other, one, a), rel=1e-12)
    whole = dblquad(
        lambda theta, phi: slopes(np.cos(theta), a) * np.cos(theta) * np.sin(theta),
        0, 2 * np.pi, 0, np.pi / 2,
    )[0]  # fmt: skip
    assert whole == pytest.approx(1.0, rel=1e-6)


def test_a_flat_mirror_keeps_everything_and_a_nearly_flat_one_reflects_alike():
    uv = uniforms(1000, 3)
    out, kept = np.empty((1000, 3), F), np.empty(1000, F)
    d = np.array([0.6, 0.0, -0.8], F)
    n = np.array([0, 0, 1], F)
    _reflect(n, d, F(0), uv, out, kept)
    assert (kept == 1).all()
    assert out == pytest.approx(np.tile([0.6, 0.0, 0.8], (1000, 1)), abs=1e-6)
    _reflect(n, d, F(1e-4), uv, out, kept)
    assert np.median(np.abs(out - [0.6, 0.0, 0.8]).max(1)) < 5e-4
    assert kept.min() > 0.99


def room(**surface) -> dict:
    """A closed room whose walls are rough mirrors, with a panel and a plane."""
    data = plain_box(
        surfaces={"film": surface, "tray": {"diffuse": "20 %"}},
        planes=[{"name": "p", "height": "30 cm", "cell": "50 cm"}],
        tracing={"batch": "20000"},
    )
    data["enclosure"] |= {"lining": "film", "faces": {"floor": "tray"}}
    return data


def test_what_check_tells_of_a_rough_lining_is_its_mean_albedo():
    """Walls that emit evenly: what a rough mirror gives back is the mean of its albedo."""
    spread = 30.0
    a = np.tan(np.deg2rad(spread))
    mean = quad(lambda t: 2 * albedo(t, a) * np.sin(t) * np.cos(t), 0, np.pi / 2, epsrel=1e-4)[0]
    assert returned_share(np.deg2rad(spread)) == pytest.approx(mean, abs=1e-4)
    assert returned_share(0.0) == 1.0


def test_light_that_facets_stop_is_told_apart_with_the_rest():
    """Rows of splits still add up to the books, and the books still balance."""
    data = room(diffuse="20 %", specular="70 %", spread="35 deg")
    data["also_count"] = {"first_flight": "true", "lining_meetings": "5"}
    world = world_of(data)
    rows = trace(world, 2)
    for split in world.splits.splits:
        part = rows.splits.absorbed[:, :, split.first : split.first + len(split.rows)]
        assert (part.sum((0, 2)) == np.array(rows.absorbed).sum(0)).all()
    launched = world.batch_packets * world.arrays.strip_quanta[0]
    assert (np.array(rows.absorbed).sum((1, 2)) == launched).all()


def test_grazing_light_does_not_fly_for_ever():
    """Rough mirrors in an endless room send next to nothing along it: that ends by roulette."""
    data = plain_box(
        surfaces={"film": {"diffuse": "14 %", "specular": "70 %", "spread": "30 deg"},
                  "white": {"diffuse": "85 %"}},
        tracing={"batch": "100000"},
    )  # fmt: skip
    data["enclosure"] = {
        "width": "1 m", "depth": "1 m", "height": "2 m", "lining": "film",
        "faces": {"floor": "white"}, "repeat": ["width", "depth"],
    }  # fmt: skip
    world = world_of(data)
    rows = trace(world, 15)
    assert rows.counters[0] > 1_400_000
    assert rows.counters[2] == 0
    absorbed = np.array(rows.absorbed)
    roulette = absorbed[:, 0, [s.end for s in world.sinks].index("roulette"), 0].astype(float)
    assert abs(roulette.mean()) < student.isf(P_FAIL / 2, 14) * roulette.std(ddof=1) / np.sqrt(15)


def test_bands_that_agree_are_not_corrected():
    """All bands alike, many meetings: the shared choice has nothing to add or take."""
    data = plain_box(
        surfaces={"black": {"diffuse": "69.93 %", "specular": "29.97 %"}}, tracing={"batch": "2000"}
    )
    world = world_of(data)
    rows = trace(world, 2)
    choice = np.array(rows.absorbed)[:, 0, [s.end for s in world.sinks].index("choice")]
    launched = world.batch_packets * 2.0**32
    assert np.abs(choice).max() / launched < 1e-8
