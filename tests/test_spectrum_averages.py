"""Matter averaged over a light's photons, and what wide bands cost against narrow ones."""

import math
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from canopysim.library.leaves import LEAF_NAMES, library_spectrum
from canopysim.light.spectrum.averages import band_means, narrow_edges
from canopysim.light.spectrum.making import from_shares, gaussian, mixed
from canopysim.light.spectrum.named import named_spectrum
from canopysim.light.spectrum.pieces import Pieces
from canopysim.light.spectrum.spectrum import Spectrum
from canopysim.matter.optics import RHO, TAU, UPPER, leaf_values

BANDS = (400.0, 500.0, 600.0, 700.0, 750.0, 800.0)
LEVEL = from_shares([(400, 800, 1)])


def leaf(name: str, quantity: str) -> Pieces:
    return Pieces.from_points(*library_spectrum(name, quantity))


def absorptance(name: str) -> Pieces:
    nm, reflected = library_spectrum(name, "R")
    return Pieces.from_points(nm, 1 - reflected - library_spectrum(name, "T")[1])


@pytest.mark.parametrize("kind", ["photons", "power", "both"])
@pytest.mark.parametrize("edges", [BANDS, (413.0, 455.0, 703.3, 711.1, 749.9)])
def test_means_by_adaptive_quadrature(kind, edges):
    nm, value = (395.0, 452.0, 540.0, 660.0, 707.7, 790.0, 801.0), (0.1, 3, 0.5, 4, 0.2, 1, 0)
    white = Spectrum.of_power(nm, value)
    red = Spectrum.of_photons((640.0, 662.0, 760.0), (0.0, 0.05, 0.0))
    light = {"photons": red, "power": white, "both": mixed([(white, 2), (red, 3)])}[kind]
    grid, share = library_spectrum("pepper", "R")
    constant = 6.62607015e-34 * 299792458 * 6.02214076e23 * 1e3

    def photons(x):
        power = np.interp(x, nm, value) * x / constant
        rest = np.interp(x, (640.0, 662.0, 760.0), (0.0, 0.05, 0.0))
        return {"photons": rest, "power": power, "both": 2 * power + 3 * rest}[kind]

    means = band_means(light, leaf("pepper", "R"), edges)
    for band, (low, high) in enumerate(pairwise(edges)):
        bends = np.unique([low, high, *grid, *nm, 640, 662, 760])
        cells = list(pairwise(bends[(bends >= low) & (bends <= high)]))
        met, lit = (
            sum(quad(f, a, b)[0] for a, b in cells)
            for f in (lambda x: photons(x) * np.interp(x, grid, share), photons)
        )
        assert means.flat[band] == (lit == 0)
        if lit > 0:
            assert means.values[band] == pytest.approx(met / lit, rel=1e-11)


@pytest.mark.parametrize("name", LEAF_NAMES)
def test_level_light_gives_the_flat_means_of_a_table(name):
    """The trapezoid rule on the table's own grid, on which the bands begin and end."""
    for quantity, row in (("R", RHO), ("T", TAU)):
        nm, share = library_spectrum(name, quantity)
        means = band_means(LEVEL, leaf(name, quantity), BANDS)
        flat = [
            np.trapezoid(share[inside], nm[inside]) / (high - low)
            for low, high in pairwise(BANDS)
            for inside in [(nm >= low) & (nm <= high)]
        ]
        np.testing.assert_allclose(means.values, flat, rtol=1e-12)
        scene = leaf_values(SimpleNamespace(like=name), BANDS, LEVEL)[UPPER]
        np.testing.assert_allclose(scene[row], flat, rtol=1e-12)
        assert not means.flat.any()


def test_bands_without_photons_count_every_wavelength_alike_and_say_so():
    light = gaussian(660, 20)
    means = band_means(light, leaf("basil", "R"), BANDS)
    level = band_means(LEVEL, leaf("basil", "R"), BANDS)
    assert means.flat.tolist() == [True, True, False, False, True]
    np.testing.assert_allclose(means.values[means.flat], level.values[means.flat], rtol=1e-13)
    assert means.values[2] != pytest.approx(level.values[2], rel=0.01)


def test_light_of_one_wavelength_reads_the_table_there():
    light = Spectrum.of_photons((714.4, 714.5, 714.6), (0, 1, 0))
    nm, share = library_spectrum("tomato", "T")
    means = band_means(light, leaf("tomato", "T"), (700, 750))
    assert means.values[0] == pytest.approx(np.interp(714.5, nm, share), rel=1e-12)


@pytest.mark.parametrize("share", [0.0, 0.1, 0.85, 1 / 3, 1.0])
def test_a_level_share_keeps_its_value_to_the_last_bit(share):
    for curve in (
        Pieces.from_ranges([(0.0, math.inf, share)]),
        Pieces.from_ranges([(400, 555, share), (555, 800, share)]),
        Pieces.from_points((300, 455, 900), (share, share, share)),
    ):
        for light in (named_spectrum("white_4000"), gaussian(660, 20)):
            assert band_means(light, curve, BANDS).values.tolist() == [share] * 5


def test_shares_by_ranges_are_weighted_by_the_light():
    light = from_shares([(400, 450, 0.3), (450, 500, 0.1), (500, 600, 0.6)])
    walls = Pieces.from_ranges([(400, 450, 0.5), (450, 600, 0.9)])
    means = band_means(light, walls, (400, 500, 600))
    np.testing.assert_allclose(means.values, [(0.3 * 0.5 + 0.1 * 0.9) / 0.4, 0.9], rtol=1e-13)


@given(
    st.dictionaries(st.integers(300, 900), st.integers(0, 1000), min_size=2),
    st.lists(st.integers(401, 799), max_size=5, unique=True),
)
def test_parts_of_a_band_average_to_the_whole_and_stay_inside_the_table(points, inner):
    nm, value = zip(*sorted(points.items()), strict=True)
    if max(value) == 0:
        return
    light = Spectrum.of_power(nm, value)
    share = leaf("soybean", "T")
    edges = [400, *sorted(inner), 800]
    parts, whole = band_means(light, share, edges), band_means(light, share, (400, 800))
    photons = light.per_band(edges)
    if photons.sum() > 0:
        mean = photons @ parts.values / photons.sum()
        assert mean == pytest.approx(whole.values[0], rel=1e-11)
    for value, (low, high) in zip(parts.values, pairwise(edges), strict=True):
        inside = share.at(np.linspace(low, high, 1000))
        assert inside.min() - 1e-3 <= value <= inside.max() + 1e-3


def test_bands_beyond_the_table_are_refused():
    with pytest.raises(ValueError, match=r"bands 380-800 nm reach beyond .* covers 400-800 nm"):
        band_means(LEVEL, leaf("basil", "R"), (380, 800))
    with pytest.raises(ValueError, match="covers no nm"):
        band_means(LEVEL, Pieces.nothing(), (400, 800))


def test_narrow_bands_keep_the_edges_of_wide_ones():
    assert narrow_edges((655.5, 706.0, 750.0)).tolist() == [
        655.5, 660, 670, 680, 690, 700, 706, 710, 720, 730, 740, 750
    ]  # fmt: skip
    assert narrow_edges((655.5, 706.0, 750.0), 100).tolist() == [655.5, 700, 706, 750]
    assert len(narrow_edges(BANDS)) == 41
    for step in (0.5, math.nan, 101.0):
        with pytest.raises(ValueError, match="allowed is 1 to 100 nm"):
            narrow_edges(BANDS, step)
