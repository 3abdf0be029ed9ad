"""Exact values of the book's chapter of colours, each held beside a slower or plainer way."""

import numpy as np
import pytest

from canopysim.book.exact import spectra

NM, VALUES = np.array([395.0, 452.0, 540.0, 660.0, 801.0]), np.array([0.1, 3.0, 0.5, 4.0, 0.0])
EDGES = (400.0, 500.0, 600.0, 700.0, 750.0, 800.0)
FINE = np.linspace(400, 800, 400001)


@pytest.mark.parametrize("kind", ["watts", "photons"])
def test_bands_and_means_by_a_fine_sum(kind):
    make = spectra.photons_of_watts if kind == "watts" else spectra.photons_of_rows
    curve = make(NM, VALUES)
    paint_nm = np.arange(400.0, 801.0, 10.0)
    paint = spectra.steps(paint_nm, np.linspace(0.05, 0.9, 40) ** 2)
    bends = np.concatenate([NM, paint_nm])
    shares = spectra.band_shares(curve, EDGES, bends)
    middle = (FINE[1:] + FINE[:-1]) / 2
    photons, met = curve(middle), curve(middle) * paint(middle)
    for share, low, high in zip(shares, EDGES, EDGES[1:], strict=False):
        inside = (middle > low) & (middle < high)
        assert share == pytest.approx(photons[inside].sum() / photons.sum(), rel=1e-6)
        mean = spectra.band_mean(curve, paint, low, high, bends)
        assert mean == pytest.approx(met[inside].sum() / photons[inside].sum(), rel=1e-6)


def test_watts_make_more_photons_at_long_waves():
    curve = spectra.photons_of_watts(np.array([400.0, 800.0]), np.array([1.0, 1.0]))
    assert curve(np.array([700.0])) / curve(np.array([500.0])) == pytest.approx(1.4)


def test_steps_are_level_between_their_edges():
    curve = spectra.steps(np.array([0.0, 1.0, 3.0]), np.array([5.0, 7.0]))
    assert curve(np.array([0.5, 1.5, 2.9])).tolist() == [5.0, 7.0, 7.0]
