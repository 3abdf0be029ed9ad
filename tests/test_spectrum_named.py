"""The spectra that ship: what their files say they are, and nothing else."""

from importlib.resources import files

import numpy as np
import pytest

from canopysim.light.spectrum.named import SPECTRUM_NAMES, named_spectrum


def curve(x, peak, width):
    return 0.5 ** ((x - peak) / (width / 2)) ** 2


# Height, peak and full width at half maximum as the library's README has them.
WHITES = {
    "white_3000": (3000, [(0.48, 450, 20), (0.51, 535, 100), (1, 635, 110)]),
    "white_4000": (4000, [(1.25, 450, 20), (0.82, 535, 100), (1, 630, 110)]),
}


@pytest.mark.parametrize("name", WHITES)
def test_whites_are_a_chip_and_a_phosphor_of_two_curves(name):
    x = np.arange(380, 801, 2.0)
    expected = sum(height * curve(x, peak, width) for height, peak, width in WHITES[name][1])
    spectrum = named_spectrum(name)
    np.testing.assert_allclose(spectrum.power_per_nm(x), expected, atol=5.1e-7)
    assert spectrum.knots.tolist() == x.tolist()


@pytest.mark.parametrize(
    ("name", "peak", "width"), [("deep_red_660", 660, 20), ("far_red_730", 730, 30)]
)
def test_coloured_leds_are_one_curve_of_photons(name, peak, width):
    x = np.arange(peak - 3 * width, peak + 3 * width + 1.0)
    spectrum = named_spectrum(name)
    np.testing.assert_allclose(spectrum.photons_per_nm(x), curve(x, peak, width), atol=5.1e-7)
    assert spectrum.span == (x[0], x[-1])


@pytest.mark.parametrize("name", WHITES)
def test_whites_have_their_colour_temperature(name):
    """CIE 1931 by the fit of Wyman, Sloan and Shirley 2013; temperature by McCamy 1992."""
    x = np.arange(380, 801, 1.0)

    def lobe(height, centre, left, right):
        return height * np.exp(-0.5 * ((x - centre) / np.where(x < centre, left, right)) ** 2)

    eye = np.stack(
        [
            lobe(1.056, 599.8, 37.9, 31.0)
            + lobe(0.362, 442.0, 16.0, 26.7)
            - lobe(0.065, 501.1, 20.4, 26.2),
            lobe(0.821, 568.8, 46.9, 40.5) + lobe(0.286, 530.9, 16.3, 31.1),
            lobe(1.217, 437.0, 11.8, 36.0) + lobe(0.681, 459.0, 26.0, 13.8),
        ]
    )
    colour = eye @ named_spectrum(name).power_per_nm(x)
    red, green = colour[:2] / colour.sum()
    n = (red - 0.3320) / (0.1858 - green)
    kelvin = 449 * n**3 + 3525 * n**2 + 6823.3 * n + 5520.33
    assert kelvin == pytest.approx(WHITES[name][0], abs=100)


def test_every_file_has_a_name_and_says_that_it_is_invented():
    folder = files("canopysim.library").joinpath("spectra")
    tables = {file.name for file in folder.iterdir() if file.name.endswith(".csv")}
    assert tables == {f"{name}.csv" for name in SPECTRUM_NAMES}
    for table in tables:
        assert folder.joinpath(table).read_text("utf-8").startswith("# An invented ")


def test_an_unknown_name_is_refused_with_the_list():
    with pytest.raises(ValueError, match=r"'sun' is not a spectrum of the library; it has white_"):
        named_spectrum("sun")
    with pytest.raises(ValueError, match=r"far_red_730$"):
        named_spectrum("../weights/photopic_cie1924")


def test_shapes_are_shared_and_relative():
    assert named_spectrum("white_3000") is named_spectrum("white_3000")
    assert {named_spectrum(name).unit for name in SPECTRUM_NAMES} == {"relative"}
