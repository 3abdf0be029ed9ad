"""The spectrum type: exact integrals, division over bands, LEDs, shares and mixtures."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from canopysim.bands import EPAR, PAR
from canopysim.light.spectrum.making import from_shares, gaussian, mixed
from canopysim.light.spectrum.spectrum import JOULE_NM_PER_UMOL, Spectrum
from canopysim.scene.spectral import BandShares

BANDS = (400.0, 500.0, 600.0, 700.0, 750.0, 800.0)
# Uneven steps, a zero stretch, a first and a last value that are not zero.
NM = (380.0, 402.5, 450.0, 451.0, 555.0, 640.0, 700.0, 733.0, 821.0)
VALUE = (0.2, 0.0, 1.7, 0.4, 0.0, 0.0, 2.5, 0.9, 0.1)
# J nm per umol, from h, c and N_A of the SI.
ENERGY = 6.62607015e-34 * 299792458 * 6.02214076e23 * 1e3


def reference(function, low, high):
    """Adaptive quadrature of a function that bends at the rows of the table."""
    inside = [x for x in NM if low < x < high]
    value, _ = quad(function, low, high, points=inside or None, limit=400, epsabs=0, epsrel=1e-12)
    return value


def table(x):
    return float(np.interp(x, NM, VALUE, left=0.0, right=0.0))


SPANS = [(380.0, 821.0), (400.0, 700.0), (449.3, 450.2), (449.3, 452.0), (590.0, 689.9), (820, 821)]


@pytest.mark.parametrize(("low", "high"), SPANS)
def test_photons_and_power_of_a_table_in_photons(low, high):
    spectrum = Spectrum.of_photons(NM, VALUE, "umol/s")
    assert spectrum.photons(low, high) == pytest.approx(reference(table, low, high), rel=1e-10)
    watts = reference(lambda x: table(x) * ENERGY / x, low, high)
    assert spectrum.power(low, high) == pytest.approx(watts, rel=1e-10)


@pytest.mark.parametrize(("low", "high"), SPANS)
def test_photons_and_power_of_a_table_in_watts(low, high):
    spectrum = Spectrum.of_power(NM, VALUE, "umol/s")
    assert spectrum.power(low, high) == pytest.approx(reference(table, low, high), rel=1e-10)
    umol = reference(lambda x: table(x) * x / ENERGY, low, high)
    assert spectrum.photons(low, high) == pytest.approx(umol, rel=1e-10)


def test_level_and_sloping_tables_in_closed_form():
    level = Spectrum.of_photons((400, 700), (2, 2), "umol/s")
    assert level.photons() == pytest.approx(600, rel=1e-15)
    assert level.power() == pytest.approx(2 * ENERGY * math.log(7 / 4), rel=1e-14)
    watts = Spectrum.of_power((400, 700), (3, 3), "umol/s")
    assert watts.photons() == pytest.approx(3 * (700**2 - 400**2) / 2 / ENERGY, rel=1e-15)
    slope = Spectrum.of_power((200, 1200), (0, 1000), "umol/s")
    # Integral of (x - 200) x from 200 to 1200.
    exact = (1200**3 - 200**3) / 3 - 100 * (1200**2 - 200**2)
    assert slope.photons() == pytest.approx(exact / ENERGY, rel=1e-15)
    # The widest piece allowed, photons level: a logarithm over a factor of forty.
    wide = Spectrum.of_photons((100, 4000), (1, 1))
    assert wide.power() == pytest.approx(ENERGY * math.log(40), rel=1e-14)


def test_the_constant_is_that_of_the_si():
    assert pytest.approx(ENERGY, rel=1e-15) == JOULE_NM_PER_UMOL
    assert pytest.approx(119.6266, abs=5e-5) == JOULE_NM_PER_UMOL


def test_values_at_wavelengths_follow_the_rows_and_end_at_the_table():
    spectrum = Spectrum.of_power(NM, VALUE)
    x = np.array([[379.9, 380.0, 390.0], [700.0, 821.0, 821.1]])
    expected = np.interp(x, NM, VALUE, left=0.0, right=0.0)
    np.testing.assert_allclose(spectrum.power_per_nm(x), expected, rtol=1e-15)
    np.testing.assert_allclose(spectrum.photons_per_nm(x), expected * x / ENERGY, rtol=1e-14)


def test_nothing_is_dropped_in_silence():
    division = Spectrum.of_photons(NM, VALUE).divide(BANDS)
    total = reference(table, 380, 821)
    assert division.below == pytest.approx(reference(table, 380, 400) / total, rel=1e-10)
    assert division.above == pytest.approx(reference(table, 800, 821) / total, rel=1e-10)
    assert division.outside == division.below + division.above > 0
    assert division.shares.sum() + division.outside == pytest.approx(1, abs=1e-15)
    assert division.scaled().sum() == pytest.approx(1, abs=1e-15)
    np.testing.assert_allclose(
        division.scaled() * (1 - division.outside), division.shares, rtol=1e-14
    )


def test_a_light_outside_all_bands_is_told():
    division = gaussian(940, 30).divide(BANDS)
    assert (division.shares == 0).all()
    assert (division.below, division.above) == (0, pytest.approx(1, abs=1e-15))
    with pytest.raises(ValueError, match="no photons in 400-800 nm"):
        division.scaled()


@given(st.lists(st.floats(0, 1000), min_size=2, max_size=8, unique=True).map(sorted))
def test_any_edges_add_up(edges):
    if min(np.diff(edges)) < 1e-6:
        return
    spectrum = Spectrum.of_power(NM, VALUE)
    division = spectrum.divide(edges)
    assert division.shares.sum() + division.outside == pytest.approx(1, abs=1e-14)
    assert division.shares.min() >= 0
    steps = np.diff(spectrum.cumulative(edges))
    np.testing.assert_allclose(steps, division.shares, atol=1e-14)


def test_cumulative_goes_from_zero_to_one_in_any_order_and_shape():
    spectrum = Spectrum.of_photons(NM, VALUE)
    shares = spectrum.cumulative([[900.0, 380.0], [555.0, 640.0]])
    assert shares[0].tolist() == [1.0, 0.0]
    assert shares[1, 0] == pytest.approx(shares[1, 1], rel=1e-15)
    middle = reference(table, 380, 555) / reference(table, 380, 821)
    assert shares[1, 0] == pytest.approx(middle, rel=1e-10)


def test_spans_without_table_or_width_hold_nothing():
    spectrum = Spectrum.of_photons(NM, VALUE)
    for low, high in ((821, 900), (100, 380), (500, 500), (600, 500), (560, 630)):
        assert spectrum.photons(low, high) == spectrum.power(low, high) == 0.0


@pytest.mark.parametrize(
    ("peak", "width"), [(720, 25), (730, 30), (735, 30), (740, 30), (450, 20), (660, 17)]
)
def test_an_led_is_a_normal_curve_of_photons(peak, width):
    curve = norm(peak, width / (2 * math.sqrt(2 * math.log(2))))
    division = gaussian(peak, width).divide((400, 655, 665, 700, 725, 735, 750, 780, 800))
    expected = np.diff(curve.cdf(division.edges))
    # The table's straight lines misplace 3e-6 at most, at either edge of a band.
    np.testing.assert_allclose(division.shares, expected, atol=6e-6)
    assert division.below == pytest.approx(curve.cdf(400), abs=3e-6)
    assert gaussian(peak, width).photons() == pytest.approx(1, rel=1e-14)


def test_far_red_leds_in_the_bands_of_the_trade():
    led = gaussian(730, 30)
    for high, share in ((750, 93.25), (780, 99.07), (800, 99.07)):
        assert 100 * led.photons(700, high) == pytest.approx(share, abs=0.006)
    # What a meter of 400-700 nm sees of them, %, and one of 400-750 nm.
    leds = [gaussian(720, 25), led, gaussian(735, 30), gaussian(740, 30)]
    assert [round(100 * s.photons(*PAR), 1) for s in leds] == [3.0, 0.9, 0.3, 0.1]
    for s, share in zip(leds, (99.8, 94.1, 88.0, 78.3), strict=True):
        assert 100 * s.photons(*EPAR) == pytest.approx(share, abs=0.12)


def test_a_light_with_far_red_on_ideal_meters():
    white = from_shares([(400, 700, 1)])
    light = mixed([(white, 0.85), (gaussian(730, 30), 0.15)])
    total = light.photons(400, 800)
    assert light.photons(*PAR) / total == pytest.approx(0.851, abs=5e-4)
    assert light.photons(*EPAR) / total == pytest.approx(0.991, abs=5e-4)


@pytest.mark.parametrize(
    ("peak", "width", "message"),
    [
        (660, 0, "a width above 0"),
        (660, math.nan, "a width above 0"),
        (660, 200, "reaches beyond 100-4000 nm"),
    ],
)
def test_impossible_leds_are_refused(peak, width, message):
    with pytest.raises(ValueError, match=message):
        gaussian(peak, width)


def test_shares_of_bands_divide_as_in_a_scene():
    pieces = ((400.0, 500.0, 0.2), (500.0, 700.0, 0.55), (750.0, 800.0, 0.25))
    division = from_shares(pieces).divide(BANDS)
    np.testing.assert_allclose(division.shares, BandShares(pieces).values(BANDS), atol=1e-15)
    assert division.outside == 0
    # Off the pieces' edges they are split by width.
    assert from_shares(pieces).photons(450, 550) == pytest.approx(0.1 + 0.1375, rel=1e-14)


@pytest.mark.parametrize(
    ("pieces", "message"),
    [
        ((), "needs ranges"),
        (((500, 400, 1.0),), "from low to high"),
        (((400, 500, 0.5), (450, 600, 0.5)), "overlaps"),
        (((400, 500, 0.0),), "holds no light"),
        (((400, 500, -0.5), (500, 600, 1.5)), "no negative photons"),
    ],
)
def test_unfit_shares_are_refused(pieces, message):
    with pytest.raises(ValueError, match=message):
        from_shares(pieces)


def test_a_mixture_is_the_sum_everywhere_and_in_every_band():
    white = Spectrum.of_power(NM, VALUE, "umol/s")
    red = gaussian(660, 20).with_photons(80)
    shares = from_shares([(400, 500, 0.5), (700, 800, 0.5)]).with_photons(20)
    light = mixed([(white, 0.7), (red, 1.0), (shares, 0.3), (white, 0.0)])
    x = np.random.default_rng(5).uniform(370, 830, 500)
    for measure in ("photons_per_nm", "power_per_nm"):
        parts = [getattr(s, measure)(x) * f for s, f in ((white, 0.7), (red, 1), (shares, 0.3))]
        np.testing.assert_allclose(getattr(light, measure)(x), sum(parts), rtol=1e-12, atol=1e-15)
    in_bands = 0.7 * white.per_band(BANDS) + red.per_band(BANDS) + 0.3 * shares.per_band(BANDS)
    np.testing.assert_allclose(light.per_band(BANDS), in_bands, rtol=1e-13)
    assert light.power() == pytest.approx(
        0.7 * white.power() + red.power() + 0.3 * shares.power(), rel=1e-13
    )
    assert light.unit == "umol/s"


def test_mixtures_of_unlike_units_or_scales_are_refused():
    shape = gaussian(660, 20)
    with pytest.raises(ValueError, match="relative and umol/s cannot be added"):
        mixed([(shape, 1), (shape.with_photons(5), 1)])
    for scales, message in (((1, -1), "0 or more"), ((math.nan,), "0 or more"), ((0,), "no light")):
        with pytest.raises(ValueError, match=message):
            mixed([(shape, scale) for scale in scales])
    with pytest.raises(ValueError, match="at least one"):
        mixed([])


def test_a_shape_becomes_a_light_by_its_photons():
    white = Spectrum.of_power(NM, VALUE).with_photons(480, PAR)
    assert white.photons(*PAR) == pytest.approx(480, rel=1e-14)
    assert white.photons() > 480
    assert white.unit == "umol/s"
    sky = white.with_photons(600, PAR, "umol/m2/s")
    assert (sky.unit, sky.photons(*PAR)) == ("umol/m2/s", pytest.approx(600, rel=1e-14))
    with pytest.raises(ValueError, match="no photons in 400-700 nm"):
        gaussian(850, 20).with_photons(5, PAR)


@pytest.mark.parametrize(
    ("nm", "value", "message"),
    [
        ((400, 500), (0, 0), "no light"),
        ((400, 500), (1, -1e-9), "no negative"),
        ((400, 500, 500), (1, 1, 1), "must ascend"),
        ((90, 500), (1, 1), "allowed is 100-4000 nm"),
        ((400, 500), (1, math.nan), "finite"),
        ((400,), (1,), "do not fit"),
        ((400, 500, 600), (1, 1), "do not fit"),
    ],
)
def test_unphysical_tables_are_refused(nm, value, message):
    with pytest.raises(ValueError, match=message):
        Spectrum.of_photons(nm, value)


@pytest.mark.parametrize("edges", [(400,), (500, 400), (400, 400), (400, math.inf), (-1, 500)])
def test_unfit_edges_are_refused(edges):
    with pytest.raises(ValueError, match="band edges must"):
        Spectrum.of_photons(NM, VALUE).divide(edges)


def test_equal_spectra_are_one_key_and_cannot_be_changed():
    one, two = (Spectrum.of_photons(NM, VALUE) for _ in range(2))
    assert one == two
    assert hash(one) == hash(two)
    for other in (
        Spectrum.of_power(NM, VALUE),
        Spectrum.of_photons(NM, VALUE, "umol/s"),
        one.scaled(2),
    ):
        assert other != one
    assert one.photon_part != "a curve"
    with pytest.raises(ValueError, match="read-only"):
        one.photon_part.ends[0, 0] = 3
