"""Leaf reflectance and transmittance by band: the library, own values, both sides."""

from itertools import pairwise
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canopysim.library.leaves import LEAF_NAMES, LEAF_RANGE, leaf_table, library_spectrum
from canopysim.light.spectrum.spectrum import Spectrum
from canopysim.matter import optics
from canopysim.matter.optics import LOWER, RHO, TAU, UPPER

FLAT_LIGHT = Spectrum.of_photons([300, 1100], [1, 1])


def leaf_values(leaf, edges):
    """Band means under light with as many photons at every wavelength."""
    return optics.leaf_values(leaf, edges, FLAT_LIGHT)


BANDS = (400.0, 500.0, 600.0, 700.0, 750.0, 800.0)
# Rounded flat means (R, T) over 400-500, 500-600, 600-700, 700-750, 750-800 and 400-700 nm.
TABLE = {
    "thin_pale_lettuce": (
        (0.047, 0.167, 0.089, 0.352, 0.433, 0.101),
        (0.024, 0.216, 0.118, 0.446, 0.540, 0.119),
    ),
    "basil": (
        (0.044, 0.134, 0.067, 0.338, 0.447, 0.082),
        (0.009, 0.150, 0.067, 0.395, 0.515, 0.075),
    ),
    "tomato": (
        (0.042, 0.103, 0.052, 0.319, 0.458, 0.065),
        (0.002, 0.094, 0.033, 0.342, 0.490, 0.043),
    ),
    "pepper": (
        (0.042, 0.092, 0.047, 0.314, 0.471, 0.060),
        (0.001, 0.069, 0.020, 0.308, 0.470, 0.030),
    ),
    "thick_dark": (
        (0.041, 0.083, 0.044, 0.309, 0.488, 0.056),
        (0.000, 0.041, 0.010, 0.257, 0.428, 0.017),
    ),
}


def like(name: str) -> Any:
    return SimpleNamespace(like=name, reflectance=None, transmittance=None, lower=None)


class Flat:
    """Band values as the schema gives them: here one share for all bands."""

    def __init__(self, share: float) -> None:
        self.share = share

    def means(self, light: Spectrum, edges: tuple[float, ...]) -> np.ndarray:
        return np.full(len(edges) - 1, self.share)


@pytest.mark.parametrize("name", TABLE)
def test_library_means_match_the_published_table(name):
    upper = leaf_values(like(name), BANDS)[UPPER]
    whole = leaf_values(like(name), (400.0, 700.0))[UPPER]
    for quantity in (RHO, TAU):
        means = np.append(upper[quantity], whole[quantity])
        # The table is rounded to three decimals, from spectra rounded to four.
        np.testing.assert_allclose(means, TABLE[name][quantity], atol=0.00055)


def test_names_and_range_are_those_of_the_table():
    wavelength = leaf_table()["wavelength_nm"]
    assert (wavelength[0], wavelength[-1]) == LEAF_RANGE
    columns = {f"{name}_{quantity}" for name in LEAF_NAMES for quantity in "RT"}
    assert leaf_table().keys() == columns | {"wavelength_nm"}


@pytest.mark.parametrize("name", LEAF_NAMES)
def test_library_leaves_are_physical_and_alike_on_both_sides(name):
    values = leaf_values(like(name), BANDS)
    assert values.shape == (2, 2, 5)
    assert np.all(values >= 0.0)
    assert np.all(values.sum(axis=1) <= 1.0)
    np.testing.assert_array_equal(values[UPPER], values[LOWER])


@settings(deadline=None)
@given(st.lists(st.floats(401.0, 799.0), min_size=1, max_size=6, unique=True))
def test_bands_off_the_grid_add_up_to_the_whole(inner):
    edges = [400.0, *sorted(inner), 800.0]
    if min(b - a for a, b in pairwise(edges)) < 1e-6:
        return
    parts = leaf_values(like("basil"), edges)
    whole = leaf_values(like("basil"), (400.0, 800.0))
    np.testing.assert_allclose(parts @ np.diff(edges) / 400.0, whole[..., 0], rtol=1e-12)


def test_a_band_inside_one_grid_step_is_read_off_the_straight_line():
    wavelength, share = library_spectrum("pepper", "T")
    middle = np.interp(714.5, wavelength, share)
    assert leaf_values(like("pepper"), (713.0, 716.0))[LOWER, TAU, 0] == pytest.approx(
        middle, rel=1e-12
    )


def test_own_values_serve_both_sides_unless_the_lower_is_given():
    leaf = SimpleNamespace(like=None, reflectance=Flat(0.1), transmittance=Flat(0.2), lower=None)
    values = leaf_values(leaf, BANDS)
    np.testing.assert_array_equal(values[:, RHO], 0.1)
    np.testing.assert_array_equal(values[:, TAU], 0.2)

    leaf.lower = SimpleNamespace(reflectance=Flat(0.3), transmittance=Flat(0.25))
    values = leaf_values(leaf, BANDS)
    np.testing.assert_array_equal(values[UPPER], [[0.1] * 5, [0.2] * 5])
    np.testing.assert_array_equal(values[LOWER], [[0.3] * 5, [0.25] * 5])


@pytest.mark.parametrize("edges", [(380.0, 500.0), (700.0, 750.0, 850.0)])
def test_bands_beyond_the_library_are_refused(edges):
    with pytest.raises(ValueError, match="400-800 nm; give the leaf's own reflectance"):
        leaf_values(like("pepper"), edges)


def test_an_unknown_leaf_is_refused_with_the_list():
    with pytest.raises(ValueError, match=r"'cabbage' is not a leaf of the library; it has .*basil"):
        leaf_values(like("cabbage"), BANDS)


def test_library_values_cannot_be_changed_by_a_caller():
    _, share = library_spectrum("pepper", "R")
    with pytest.raises(ValueError, match="read-only"):
        share[0] = 1.0
