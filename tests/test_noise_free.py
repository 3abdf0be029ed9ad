"""Noise in a curved sum: taken out without bias, with errors that cover, or told."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from conftest import P_FAIL
from scipy import stats

from canopysim.analysis.leaf_response import LeafResponse, net
from canopysim.analysis.noise_free import noise_free

LEAF = LeafResponse(pm=25.0, phi=0.05, theta=0.7, rd=1.0)


def test_extrapolation_is_exact_for_cubics():
    """All outcomes of four rows: the mean over them is the function of the true light, exactly."""
    rows = np.array(list(itertools.product((0.0, 3.0), repeat=4)))
    for power, exact in ((1, True), (2, True), (3, True), (4, False)):
        found = [
            noise_free(lambda x, power=power: x**power, r[:, None], np.ones(4)).value[0]
            for r in rows
        ]
        raw = np.mean(rows.mean(axis=1) ** power)
        assert (abs(np.mean(found) / 1.5**power - 1) < 1e-12) == exact
        assert (abs(raw / 1.5**power - 1) < 1e-12) == (power == 1)
    # Two rows are enough for a square, and uneven rows too.
    pairs = np.array(list(itertools.product((0.0, 3.0), repeat=3)))
    uneven = [np.array([[a], [b + c]]) for a, b, c in pairs]
    found = [noise_free(lambda x: x**2, r, np.array([1.0, 2.0])) for r in uneven]
    assert np.mean([f.value[0] for f in found]) == pytest.approx(1.5**2)
    assert np.isnan([f.remainder[0] for f in found]).all()


N_LEAF = 3000


def noisy_leaves(rng: np.random.Generator, hits: float, n_row: int = 8) -> np.ndarray:
    """Rows of light on leaves of known mean, as noisy and skewed as `hits` packets a leaf are."""
    true = true_light()
    arrived = rng.gamma(hits / n_row * true / true.mean(), 1.0, (n_row, len(true)))
    return arrived * true.mean() * n_row / hits


def true_light() -> np.ndarray:
    """Light on leaves, from shade to bright, µmol m⁻² s⁻¹: even steps of a gamma distribution."""
    return stats.gamma.ppf((np.arange(N_LEAF) + 0.5) / N_LEAF, 1.5, scale=120.0)


def sums(light: np.ndarray) -> np.ndarray:
    """Mean rate, and share of leaves in less light than breaks even and in more than 300."""
    rate = net(light, LEAF).mean()
    return np.array([rate, (light < 60.0).mean(), (light > 300.0).mean()])


@pytest.mark.parametrize("hits", [60.0, 200.0])
def test_noise_is_taken_out_and_errors_cover(hits):
    """200 runs: no bias within their own spread, where the raw sums are far off.

    With 60 packets a leaf the noise is 13 %. With eight rows the error of a run is rough: its mean
    square is compared with the spread between runs.
    """
    rng = np.random.default_rng(int(hits))
    truth = sums(true_light())
    runs = [noise_free(sums, noisy_leaves(rng, hits), np.ones(8)) for _ in range(200)]
    values, raws = np.array([r.value for r in runs]), np.array([r.raw for r in runs])
    error = values.std(axis=0, ddof=1) / np.sqrt(200)
    z = (values.mean(axis=0) - truth) / error
    assert np.abs(z[0]) < stats.norm.isf(P_FAIL / 8), z
    # Steps have further terms; they stay within what the two orders tell.
    told = np.mean([r.remainder for r in runs], axis=0)
    assert (np.abs(values.mean(axis=0) - truth) < stats.norm.isf(P_FAIL / 8) * error + told).all()
    raw_z = (raws.mean(axis=0) - truth) / (raws.std(axis=0, ddof=1) / np.sqrt(200))
    assert raw_z[0] < -5  # a concave answer reads too low
    ratio = np.mean([r.std_err**2 for r in runs], axis=0) / values.var(axis=0, ddof=1)
    spread = stats.norm.isf(P_FAIL / 12) * np.sqrt(2 / 199 + 2 / 7 / 200)
    assert (ratio > 1 - spread).all(), ratio
    assert ratio[0] < 1 + spread, ratio
    # For steps it errs on the wide side, by about twice.
    assert (ratio[1:] < 3**2).all(), ratio


def test_too_few_packets_are_told_by_the_remainder():
    """With one packet in two leaves nothing can be told, and the remainder says so."""
    rng = np.random.default_rng(1)
    few = noise_free(sums, noisy_leaves(rng, 0.5), np.ones(8))
    many = noise_free(sums, noisy_leaves(rng, 200.0), np.ones(8))
    truth = sums(true_light())[0]
    assert few.remainder[0] > 0.02 * truth
    assert many.remainder[0] < 0.002 * truth
    assert abs(few.value[0] - truth) < 5 * few.remainder[0]


def test_one_row_and_empty_rows():
    rows = noisy_leaves(np.random.default_rng(2), 50.0)
    one = noise_free(sums, rows[:1], np.ones(1))
    assert (one.value == one.raw).all()
    assert np.isnan([one.std_err, one.remainder]).all()
    padded = np.concatenate([rows, np.zeros((3, rows.shape[1]))])
    same = noise_free(sums, padded, np.array([1.0] * 8 + [0.0] * 3))
    assert (same.value == noise_free(sums, rows, np.ones(8)).value).all()
