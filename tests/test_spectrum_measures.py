"""Figures of a spectrum against closed forms, published figures and independent sums."""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad

from canopysim.light.spectrum import measures
from canopysim.light.spectrum.making import from_shares, gaussian, mixed
from canopysim.light.spectrum.named import named_spectrum
from canopysim.light.spectrum.pieces import Pieces, integrate
from canopysim.light.spectrum.spectrum import Spectrum
from canopysim.light.spectrum.weights import photopic, quantum_yield

ENERGY = 6.62607015e-34 * 299792458 * 6.02214076e23 * 1e3
# Photons level from 400 to 800 nm, 400 umol/s in all.
LEVEL = from_shares([(400, 800, 1)]).with_photons(400)


def line(nm: float) -> Spectrum:
    """Light of practically one wavelength: 1 umol/s within a hundredth of a nm."""
    return Spectrum.of_photons((nm - 0.005, nm, nm + 0.005), (0, 1, 0)).with_photons(1)


@pytest.mark.parametrize(
    ("nm", "umol_per_joule"),
    [
        (450, 3.7617),
        (530, 4.4305),
        (555, 4.6394),
        (660, 5.5172),
        (700, 5.8515),
        (730, 6.1023),
        (780, 6.5203),
    ],
)
def test_photons_per_joule_of_one_wavelength(nm, umol_per_joule):
    assert measures.photon_energy(nm) == pytest.approx(umol_per_joule, abs=5e-5)
    assert measures.photons_per_joule(line(nm)) == pytest.approx(nm / ENERGY, rel=1e-9)


def test_a_level_spectrum_in_closed_form():
    assert measures.photon_flux(LEVEL) == pytest.approx(300, rel=1e-14)
    assert measures.photon_flux(LEVEL, (400, 750)) == pytest.approx(350, rel=1e-14)
    assert measures.photon_flux(LEVEL, measures.TO_800) == pytest.approx(400, rel=1e-14)
    assert measures.blue_share(LEVEL) == pytest.approx(1 / 3, rel=1e-14)
    assert measures.red_to_far_red_wide(LEVEL) == pytest.approx(1, rel=1e-14)
    assert measures.red_to_far_red_narrow(LEVEL) == pytest.approx(1, rel=1e-14)
    # 1 umol/s/nm: its power is the constant times ln 2.
    bound = 300 / (ENERGY * math.log(2))
    assert measures.ppe_bound(LEVEL) == pytest.approx(bound, rel=1e-14)
    assert measures.photons_per_joule(LEVEL) == pytest.approx(bound * 4 / 3, rel=1e-14)
    assert measures.photons_per_joule(LEVEL, (700, 800)) == pytest.approx(bound / 3, rel=1e-14)


def test_the_two_ratios_of_red_to_far_red_see_different_bands():
    light = from_shares([(600, 655, 2.0), (655, 665, 1.0), (725, 735, 0.5), (735, 800, 7.5)])
    assert measures.red_to_far_red_narrow(light) == pytest.approx(2, rel=1e-14)
    assert measures.red_to_far_red_wide(light) == pytest.approx(3 / 8, rel=1e-14)


def test_no_spectrum_passes_the_bound_of_its_longest_photon():
    for name in ("white_3000", "white_4000", "deep_red_660", "far_red_730"):
        spectrum = named_spectrum(name)
        low, high = spectrum.span
        assert low / ENERGY < measures.photons_per_joule(spectrum) < high / ENERGY
        assert 0 < measures.ppe_bound(spectrum) < 700 / ENERGY


def test_the_eye():
    assert integrate(photopic().at, (380, 780), photopic().nodes)[0] == pytest.approx(
        106.857, abs=1e-3
    )
    assert photopic().at(555) == 1
    assert measures.luminous_flux(line(555)) == pytest.approx(683 * ENERGY / 555, rel=1e-4)
    assert measures.luminous_flux(line(790)) == 0
    # A lobe of the published fit of y-bar by Wyman, Sloan and Shirley 2013, JCGT 2(2):1.
    x = np.arange(420, 701)

    def lobe(height, centre, left, right):
        return height * np.exp(-0.5 * ((x - centre) / np.where(x < centre, left, right)) ** 2)

    fit = lobe(0.821, 568.8, 46.9, 40.5) + lobe(0.286, 530.9, 16.3, 31.1)
    np.testing.assert_allclose(photopic().at(x), fit, atol=0.02)


@pytest.mark.parametrize("make", [Spectrum.of_power, Spectrum.of_photons])
def test_lumens_by_another_sum(make):
    nm, value = (420.0, 505.5, 640.0, 660.0), (0.3, 2.0, 0.0, 4.0)
    spectrum = make(nm, value, "umol/s")
    eye = photopic()

    def seen(x):
        watts = np.interp(x, nm, value) * (1 if make == Spectrum.of_power else ENERGY / x)
        return 683 * np.interp(x, eye.nodes, np.append(eye.ends[:, 0], eye.ends[-1, 1])) * watts

    bends = np.union1d(nm, np.arange(420, 661, 5.0))
    expected = sum(quad(seen, a, b)[0] for a, b in pairwise(bends))
    assert measures.luminous_flux(spectrum) == pytest.approx(expected, rel=1e-11)
    klm = measures.umol_per_klm(spectrum)
    assert klm == pytest.approx(1000 * spectrum.photons(400, 700) / expected, rel=1e-11)
    assert measures.lumens_per_umol(spectrum) == pytest.approx(1000 / klm, rel=1e-14)


def test_photons_per_klm_are_those_of_the_trade():
    """Whites from 4000 to 3000 K: some 14.5 to 20 umol/s of 400-700 nm per klm."""
    assert 14.5 < measures.umol_per_klm(named_spectrum("white_4000")) < 16
    assert 16 < measures.umol_per_klm(named_spectrum("white_3000")) < 20
    # Warmer light has more photons per lumen; far-red adds photons that no lumen tells of.
    mixture = mixed([(named_spectrum("white_4000"), 1), (named_spectrum("far_red_730"), 0.2)])
    more = measures.umol_per_klm(mixture, None) / measures.umol_per_klm(mixture)
    assert more == pytest.approx(mixture.photons() / mixture.photons(400, 700), rel=1e-12)


def test_yield_photons_of_one_wavelength_are_those_of_the_curve():
    for nm, weight in ((350, 0.2), (450, 0.71), (600, 1), (612.5, 1), (687.5, 0.69), (726, 0)):
        curve = float(quantum_yield().at(nm))
        assert curve == pytest.approx(weight, abs=1e-12)
        assert measures.yield_photon_flux(line(nm + 0.01)) == pytest.approx(curve, abs=5e-3)


def test_yield_photons_of_level_light_are_the_mean_of_the_curve():
    weights = [0.45, 0.68, 0.71, 0.67, 0.69, 0.74, 0.86, 0.94, 1, 1, 0.95, 0.93, 0.45]
    mean = (sum(weights) - (weights[0] + weights[-1]) / 2) / 12
    level = from_shares([(400, 700, 1)]).with_photons(60)
    assert measures.yield_photon_flux(level) == pytest.approx(60 * mean, rel=1e-13)
    assert measures.yield_per_par_photon(level) == pytest.approx(mean, rel=1e-13)
    halved = Pieces.from_ranges([(300, 800, 0.5)])
    assert measures.yield_photon_flux(level, halved) == pytest.approx(30, rel=1e-13)
    assert measures.yield_per_par_photon(level, halved) == pytest.approx(0.5, rel=1e-13)
    # A jump inside a cell of the light's own table.
    cut = Pieces.from_ranges([(300, 555.5, 1.0), (555.5, 800, 0.0)])
    assert measures.yield_per_par_photon(level, cut) == pytest.approx(155.5 / 300, rel=1e-13)


def test_the_quantum_yield_has_the_shape_that_was_published():
    """Broad maxima near 440 and 620 nm, a shoulder at 670 nm, then a steep fall (McCree 1972)."""
    at = {nm: float(quantum_yield().at(nm)) for nm in range(350, 726, 25)}
    assert max(at.values()) == 1 == at[600] == at[625]
    assert at[450] == max(at[nm] for nm in range(350, 501, 25))
    assert 0.6 < at[450] < 0.8
    assert at[675] > 0.85
    assert at[700] < 0.6
    assert at[725] < 0.2


def test_figures_scale_as_they_should():
    mixture = mixed([(named_spectrum("white_3000"), 1), (gaussian(730, 30), 5)])
    light, twice = mixture.with_photons(100), mixture.with_photons(200)
    for flux in (
        measures.photon_flux,
        measures.yield_photon_flux,
        measures.luminous_flux,
    ):
        assert flux(twice) == pytest.approx(2 * flux(light), rel=1e-13)
    for ratio in (
        measures.blue_share,
        measures.red_to_far_red_wide,
        measures.red_to_far_red_narrow,
        measures.ppe_bound,
        measures.lumens_per_umol,
        measures.umol_per_klm,
        measures.yield_per_par_photon,
    ):
        assert ratio(mixture) == pytest.approx(ratio(light), rel=1e-13)


def test_a_shape_has_no_fluxes():
    shape = gaussian(660, 20)
    for flux in (
        measures.photon_flux,
        measures.yield_photon_flux,
        measures.luminous_flux,
    ):
        with pytest.raises(ValueError, match="a relative spectrum does not tell"):
            flux(shape)


def test_ratios_over_nothing_are_unknown():
    infrared = gaussian(940, 30)
    for ratio in (
        measures.blue_share,
        measures.red_to_far_red_wide,
        measures.red_to_far_red_narrow,
        measures.lumens_per_umol,
        measures.umol_per_klm,
        measures.yield_per_par_photon,
    ):
        assert math.isnan(ratio(infrared))
    assert measures.ppe_bound(infrared) == 0


def test_red_to_far_red_of_a_light_without_far_red_is_not_a_figure():
    from canopysim.report.words import colour_ratio

    assert colour_ratio(609_027.0, 3725.0) == "over 1000"
    assert colour_ratio(11.689, 0.002) == "11.6890 ± 0.0020"
