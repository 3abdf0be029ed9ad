"""One leaf in light, and the crops of the library: values by hand, roots, ranges, refusals."""

from __future__ import annotations

import itertools
from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest
from scipy import optimize

from canopysim.analysis.leaf_response import (
    LeafResponse,
    compensation_point,
    gross,
    net,
    useful_far_red,
)
from canopysim.errors import CanopysimError
from canopysim.library.crops import CROP_NAMES, UNITS, library_crop, read_crop

LEAF = LeafResponse(pm=25.0, phi=0.05, theta=0.7, rd=1.0)
LIGHT = np.array([50.0, 200.0, 500.0, 1000.0, 2000.0])


def test_leaf_values_by_hand():
    """Pm 25, φ 0.05, θ 0.7: five values worked out apart."""
    assert gross(LIGHT, LEAF) == pytest.approx(
        [2.4221, 8.6337, 16.1528, 20.6445, 22.9494], abs=5e-5
    )
    assert net(LIGHT, LEAF) == pytest.approx(gross(LIGHT, LEAF) - 1.0)
    assert gross(0.0, LEAF) == 0.0


@pytest.mark.parametrize("theta", [0.0, 1e-9, 0.3, 0.7, 0.95, 1.0])
def test_the_response_is_the_lower_root_of_its_quadratic(theta):
    leaf = replace(LEAF, theta=theta)
    light = np.geomspace(0.01, 5000, 60)
    p = gross(light, leaf)
    supply = 0.05 * light
    assert theta * p**2 - (supply + 25) * p + supply * 25 == pytest.approx(0, abs=1e-9)
    assert (p <= np.minimum(supply, 25.0) * (1 + 1e-12)).all()
    assert (np.diff(p) >= -1e-12).all()
    if theta < 1e-6:
        assert p == pytest.approx(supply * 25 / (supply + 25), rel=1e-6)
    if theta == 1.0:
        assert p == pytest.approx(np.minimum(supply, 25.0), rel=1e-9)


def test_a_leaf_breaks_even_at_its_compensation_point():
    for rd, theta in itertools.product((0.5, 1.0, 3.0, 20.0), (0.0, 0.5, 0.7, 1.0)):
        leaf = LeafResponse(25.0, 0.05, theta, rd)
        at = float(compensation_point(leaf))
        assert float(net(at, leaf)) == pytest.approx(0.0, abs=1e-9)
        root = optimize.brentq(lambda x, leaf=leaf: float(net(x, leaf)), 0.0, 1e5)
        assert at == pytest.approx(root, rel=1e-6)
    assert np.isinf(compensation_point(LeafResponse(25.0, 0.05, 0.7, 25.0)))
    # A leaf without capacity and without light gives nothing, rather than an error.
    assert gross(0.0, LeafResponse(0.0, 0.05, 0.7, 0.0)) == 0.0


def test_far_red_counts_at_most_three_tenths_of_both():
    assert useful_far_red([0.0, 70.0, 70.0], [10.0, 20.0, 90.0]) == pytest.approx([0.0, 20.0, 30.0])


def test_every_crop_of_the_library_is_whole():
    folder = files("canopysim.library").joinpath("crops")
    names = {p.name.removesuffix(".yaml") for p in folder.iterdir() if p.name.endswith(".yaml")}
    assert names == set(CROP_NAMES)
    for name in CROP_NAMES:
        crop = library_crop(name)
        at = float(compensation_point(LeafResponse.of(crop)))
        assert 10.0 < at < 50.0
        assert all(getattr(crop, key).source for key in UNITS)


def test_an_unknown_crop_is_named_with_the_list():
    with pytest.raises(CanopysimError, match=r"did you mean 'pepper'\? allowed: basil, leaf-lett"):
        library_crop("peper")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("value: 20", "value: 30", "pm is 30; allowed is more than 0, and its own range 15 to 25"),
        ("value: 20", "value: many", "cannot be read"),
        ("unit: mol mol-1", "unit: g", "phi is in 'g'; allowed is 'mol mol-1'"),
        ("high: 0.95", "high: 1.2", "theta reaches 1.2; at most 1"),
        ("parameters:", "parameter:", "cannot be read"),
        ("value: 20\n    low: 15", "value: 1\n    low: 1", "rd is not below pm"),
        ("title:", "- title:", "cannot be read"),
    ],
)
def test_a_crop_file_that_cannot_be_is_refused(old, new, message):
    text = files("canopysim.library").joinpath("crops", "pepper.yaml").read_text("utf-8")
    assert old in text
    with pytest.raises(CanopysimError, match=message):
        read_crop("mine", text.replace(old, new))
    assert read_crop("mine", text).pm == library_crop("pepper").pm
