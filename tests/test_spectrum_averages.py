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
from canopysim.light.spectrum.averages import band_means, five_band_cost
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


def test_a_step_in_a_band_costs_what_two_halves_differ():
    """Absorptance 1 on 400-450, 0 on 450-500: the wide band has one half of level light."""
    step = Pieces.from_ranges([(400, 450, 1.0), (450, 500, 0.0), (500, 600, 0.25)])
    cost = five_band_cost(from_shares([(400, 600, 1)]), step, (400, 500, 600))
    np.testing.assert_allclose(cost.absorptance, [0.5, 0.25], rtol=1e-14)
    np.testing.assert_allclose(np.abs(cost.difference), [0.5] * 10 + [0] * 10, atol=1e-14)
    assert cost.mean == pytest.approx(0.25, rel=1e-13)
    assert cost.largest == pytest.approx(0.5, rel=1e-13)
    np.testing.assert_allclose(cost.mean_by_band, [0.5, 0], atol=1e-14)
    # Half of the light goes on; wide bands take half of it, yet the step lets it all pass again.
    assert cost.second_meeting == pytest.approx(0.5 * 0.25, rel=1e-13)
    assert cost.outside == 0


@pytest.mark.parametrize("name", ["thin_pale_lettuce", "pepper", "thick_dark"])
def test_one_meeting_is_right_and_the_second_overstated_by_the_variance(name):
    for light in (named_spectrum("white_4000"), gaussian(730, 30), LEVEL):
        cost = five_band_cost(light, absorptance(name), BANDS)
        signed = np.bincount(cost.wide, cost.narrow_share * cost.difference, 5)
        np.testing.assert_allclose(signed, 0, atol=1e-14)
        variance = cost.narrow_share @ cost.difference**2
        assert cost.second_meeting == pytest.approx(variance, rel=1e-10)
        assert 0 < cost.mean < cost.largest < 1
        assert cost.narrow_share.sum() == pytest.approx(1, abs=1e-14)


def test_far_red_is_where_wide_bands_cost_most():
    """Leaf absorptance falls from 0.8 to 0.1 inside 700-750 nm."""
    cost = five_band_cost(named_spectrum("white_4000"), absorptance("pepper"), BANDS)
    assert int(np.nanargmax(cost.mean_by_band)) == 3
    assert 700 <= cost.largest_span[0] < cost.largest_span[1] <= 750
    worst = cost.narrow_edges.index(cost.largest_span[0])
    assert cost.largest == abs(cost.difference[worst])
    assert len(cost.narrow_edges) == 41


def test_narrow_bands_keep_the_edges_and_leave_faint_tails_out():
    light = gaussian(706, 4)
    share = Pieces.from_points((400, 700, 702, 800), (1, 1, 0, 0))
    cost = five_band_cost(light, share, (655.5, 706.0, 750.0))
    assert cost.narrow_edges == (655.5, 660, 670, 680, 690, 700, 706, 710, 720, 730, 740, 750)
    assert cost.wide.tolist() == [0] * 6 + [1] * 5
    # Below 700 nm lies 0.02 % of the light, so unlike the band's mean that it would lead.
    assert cost.narrow_share[4] == pytest.approx(2.1e-4, rel=0.1)
    assert np.abs(cost.difference).max() > 0.9
    assert cost.largest < 0.1
    assert five_band_cost(light, share, (655.5, 706.0, 750.0), 100).narrow_edges == (
        655.5,
        700,
        706,
        750,
    )


def test_the_same_bands_twice_cost_nothing_and_bands_without_light_are_unknown():
    edges = np.arange(400.0, 801, 10).tolist()
    cost = five_band_cost(named_spectrum("deep_red_660"), absorptance("basil"), edges)
    assert cost.mean == cost.largest == cost.second_meeting == 0
    assert np.isnan(cost.mean_by_band[0])
    assert cost.mean_by_band[26] == 0


def test_light_outside_the_edges_is_told():
    cost = five_band_cost(gaussian(730, 30), absorptance("basil"), (700, 750))
    assert cost.outside == pytest.approx(1 - 0.9325, abs=1e-4)


@pytest.mark.parametrize(
    ("light", "step", "message"),
    [
        (LEVEL, 0.5, "allowed is 1 to 100 nm"),
        (LEVEL, math.nan, "allowed is 1 to 100 nm"),
        (gaussian(940, 20), 10, "no photons in 400-800 nm"),
    ],
)
def test_unfit_comparisons_are_refused(light, step, message):
    with pytest.raises(ValueError, match=message):
        five_band_cost(light, absorptance("basil"), BANDS, step)
