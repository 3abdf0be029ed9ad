"""Curves in straight pieces: values, jumps, gaps, sums and exact integrals."""

import math

import numpy as np
import pytest

from canopysim.light.spectrum.pieces import Pieces, integrate, weighted_sum
from canopysim.light.spectrum.spectrum import Spectrum

# J nm per umol, from h, c and N_A of the SI.
ENERGY = 6.62607015e-34 * 299792458 * 6.02214076e23 * 1e3


def test_curves_with_jumps_and_gaps():
    curve = Pieces.from_ranges([(400, 500, 2.0), (500, 600, 1.0), (650, 700, 3.0)])
    x = [399.9, 400, 499.9, 500, 600, 620, 650, 700, 700.1]
    np.testing.assert_array_equal(curve.at(x), [0, 2, 2, 1, 0, 0, 3, 3, 0])
    areas = integrate(curve.at, (300, 450, 500, 800), curve.nodes)
    np.testing.assert_allclose(areas, [100, 100, 250], rtol=1e-14)
    assert Pieces.nothing().at([1.0, 500.0]).tolist() == [0, 0]
    assert weighted_sum([(Pieces.nothing(), 1.0)]) == Pieces.nothing()
    doubled = weighted_sum([(curve, 1.0), (curve, 1.0), (Pieces.nothing(), 5.0)])
    np.testing.assert_array_equal(doubled.at(x), 2 * curve.at(x))


def test_one_share_for_all_wavelengths_is_a_curve_too():
    curve = Pieces.from_ranges([(0.0, math.inf, 0.85)])
    assert (curve.at([0.0, 555.5, 1e6]) == 0.85).all()


def test_products_of_straight_pieces_are_exact():
    """Cubic at most: photons of straight power times a straight share."""
    light = Spectrum.of_power((400, 500), (1, 3))
    share = Pieces.from_points((400, 500), (0.8, 0.2))
    product = integrate(
        lambda x: light.photons_per_nm(x) * share.at(x), (400, 500), np.array([400.0, 500.0])
    )
    # With t from 0 to 1: (1 + 2t)(400 + 100t)(0.8 - 0.6t) over 100 nm.
    power = np.polynomial.Polynomial([1, 2]) * [400, 100] * [0.8, -0.6]
    assert product[0] == pytest.approx(100 * power.integ()(1) / ENERGY, rel=1e-15)


@pytest.mark.parametrize(
    ("nodes", "ends", "message"),
    [
        ([400, 500], [[1, 2], [3, 4]], "do not fit"),
        ([400], np.empty((0, 2)), "do not fit"),
        ([400, 400], [[1, 2]], "must ascend"),
        ([400, 500], [[1, math.inf]], "must be finite"),
    ],
)
def test_curves_that_are_none_are_refused(nodes, ends, message):
    with pytest.raises(ValueError, match=message):
        Pieces(nodes, ends)


def test_a_sum_cuts_at_every_node():
    ramp = Pieces.from_points((400, 500), (0, 1))
    step = Pieces.from_ranges([(425, 475, 2.0)])
    both = weighted_sum([(ramp, 2.0), (step, 0.5)])
    assert both.nodes.tolist() == [400, 425, 475, 500]
    np.testing.assert_allclose(both.ends, [[0, 0.5], [1.5, 2.5], [1.5, 2]], rtol=1e-15)
    # Off its own nodes a curve is read from inside each cell, so both sides of a jump are kept.
    cells = np.array([390.0, 400.0, 425.0, 450.0, 475.0, 510.0])
    np.testing.assert_array_equal(step.on(cells), [[0, 0], [0, 0], [2, 2], [2, 2], [0, 0]])
