"""Distributions against analytic values: flux, widths, cones, frame; and their polar plot."""

import re
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from itertools import pairwise

import numpy as np
import pytest
from photometric_files import cosine_power, front_lopsided, lambertian, lm63, long_bar, lopsided

from canopysim.light.photometry import (
    CANDELA,
    PHOTON_INTENSITY,
    Distribution,
    Opening,
    cone_share,
    direction,
    flux,
    intensity_at,
    parse_lm63,
    peak,
    polar_plot,
    summarise,
    width,
)
from canopysim.report.svg import PALETTE

FINE = np.linspace(0, 180, 1441)
TURN = np.linspace(0, 360, 73)


def made(shine, h=TURN, v=FINE, unit=CANDELA):
    return parse_lm63(lm63(shine, h=h, v=v).encode(), "made.ies", unit=unit)


def plain(c, gamma, intensity):
    """A distribution straight from a table."""
    point = Opening("point", 0.0, 0.0, 0.0)
    return Distribution("made", "table", CANDELA, c, gamma, intensity, point, None, None, 1)


@pytest.fixture(scope="module")
def rough():
    """A random table on an uneven, coarse grid."""
    rng = np.random.default_rng(20)
    c = np.array([0.0, 0.3, 1.9, 2.0, 4.4, 2 * np.pi])
    gamma = np.array([0.0, 0.05, 0.8, 1.3, 1.300001, 2.9, np.pi])
    table = rng.uniform(0.0, 100.0, (6, 7))
    table[-1] = table[0]
    return plain(c, gamma, table)


def gauss_flux(distribution, upper):
    """Flux below the polar angle `upper`, by Gauss-Legendre quadrature in every cell."""
    x, w = np.polynomial.legendre.leggauss(24)
    cuts = np.append(distribution.gamma_rad[distribution.gamma_rad < upper], upper)
    total = 0.0
    for low_c, high_c in pairwise(distribution.c_rad):
        for low, high in pairwise(cuts):
            c = (low_c + high_c + (high_c - low_c) * x) / 2
            gamma = (low + high + (high - low) * x) / 2
            values = intensity_at(distribution, c[:, None], gamma) * np.sin(gamma)
            total += w @ values @ w * (high - low) * (high_c - low_c) / 4
    return total


def test_flux_is_the_integral_of_the_bilinear_table(rough):
    assert np.isclose(flux(rough), gauss_flux(rough, np.pi), rtol=1e-12)


@pytest.mark.parametrize("upper", [0.02, 0.8, 1.1, 1.3000005, 2.0, np.pi])
def test_cones_are_cut_exactly(rough, upper):
    share = gauss_flux(rough, upper) / gauss_flux(rough, np.pi)
    assert np.isclose(cone_share(rough, upper), share, rtol=1e-11)


def test_no_cone_and_the_whole_sphere(rough):
    assert cone_share(rough, 0.0) == 0.0
    assert np.isclose(cone_share(rough, np.pi), 1.0, rtol=1e-14)
    for angle in (-0.1, 3.2, np.nan):
        with pytest.raises(ValueError, match="half angle"):
            cone_share(rough, angle)


def test_lambertian_flux():
    """1000 cd straight down make pi times 1000 lm; linear pieces lose (step^2)/12 of it."""
    got = flux(made(lambertian, h=[0]))
    assert np.isclose(got, 3141.59, atol=0.01)
    step = np.radians(0.125)
    assert np.isclose(got / (1000 * np.pi), 1 - step**2 / 12, rtol=1e-9, atol=0)


@pytest.mark.parametrize("n", [1, 2, 5, 30])
def test_flux_of_a_cosine_power(n):
    assert np.isclose(flux(made(cosine_power(n), h=[0])), 2000 * np.pi / (n + 1), rtol=2e-5)


def test_flux_of_even_light_is_exact():
    assert np.isclose(
        flux(made(lambda d: np.full(d.shape[:-1], 3.0), h=[0], v=[0, 10, 180])), 12 * np.pi
    )


@pytest.mark.parametrize("degrees", [20, 60, 120])
def test_full_width_at_half_maximum(degrees):
    n = np.log(0.5) / np.log(np.cos(np.radians(degrees / 2)))
    light = made(cosine_power(n), h=[0])
    for c in (0.0, np.pi / 2):
        beam = width(light, c, 0.5)
        assert np.isclose(np.degrees(beam.full_rad), degrees, atol=1e-3)
        assert np.isclose(beam.low_rad, -beam.high_rad)
    field = 2 * np.arccos(0.1 ** (1 / n))
    assert np.isclose(width(light, 0.0, 0.1).full_rad, field, atol=1e-4)


def test_widths_of_two_planes_differ_and_lean():
    """60 by 120 degrees; and a beam that is squeezed to one side."""

    def uneven(d):
        c2 = d[..., 0] ** 2 / np.maximum(1 - d[..., 2] ** 2, 1e-12)
        along, across = (np.log(0.5) / np.log(np.cos(np.radians(w / 2))) for w in (60, 120))
        return 10.0 * np.clip(-d[..., 2], 1e-12, None) ** (along * c2 + across * (1 - c2))

    summary = summarise(made(uneven))
    assert np.allclose([np.degrees(w.full_rad) for w in summary.beam], [60, 120], atol=1e-2)

    def leaning(d):
        angle = np.degrees(np.arctan2(d[..., 1], -d[..., 2]))
        return np.clip(100 - np.abs(angle - 20) * np.where(angle > 20, 5, 2), 0, None)

    beam = width(made(leaning, h=[0, 90, 180, 270, 360]), np.pi / 2, 0.5)
    assert np.allclose(np.degrees([beam.low_rad, beam.high_rad]), [20 - 25, 20 + 10], atol=1e-9)


def test_a_dip_counts_as_inside_and_darkness_has_no_width():
    gamma = np.radians([0, 30, 60, 90, 180])
    table = np.zeros((5, 5))
    table[:, :4] = [10, 100, 0, 0]
    table[[1, 3]] = 0.0
    light = plain(np.radians([0, 90, 180, 270, 360]), gamma, table)
    assert np.isclose(np.degrees(width(light, 0.0, 0.5).full_rad), 90)
    assert np.isnan(width(light, np.pi / 2, 0.5).full_rad)


def test_even_light_is_a_full_turn_wide():
    light = made(lambda d: np.ones(d.shape[:-1]), h=[0])
    assert np.isclose(width(light, 0.0, 0.5).full_rad, 2 * np.pi)


def test_peak_and_shares():
    light = made(lambda d: 100 + 40 * (d @ direction(np.radians(235), np.radians(130))))
    top = peak(light)
    assert np.allclose(np.degrees([top.c_rad, top.gamma_rad]), [235, 130], atol=1e-9)
    assert np.isclose(top.intensity, 140)
    # Of 100 + 40 d.p, the hemisphere below gets 2 pi 100 + pi 40 cos(gamma of p).
    down = (200 + 40 * np.cos(np.radians(130))) / 400
    summary = summarise(light)
    assert np.isclose(summary.share_down, down, atol=1e-5)
    assert np.isclose(summary.share_up, 1 - down, atol=1e-5)
    assert peak(made(lambertian)).c_rad == peak(made(lambertian)).gamma_rad == 0.0


def test_cones_of_a_lambertian():
    for half, share in summarise(made(lambertian, h=[0])).cones:
        assert np.isclose(share, np.sin(half) ** 2, atol=1e-6)


def test_directions():
    assert np.allclose(direction(0.3, 0.0), [0, 0, -1])
    assert np.allclose(direction(0.0, np.pi / 2), [1, 0, 0])
    assert np.allclose(direction(np.pi / 2, np.pi / 2), [0, 1, 0])
    # Counter-clockwise seen from above: the thumb of the right hand points up.
    assert np.cross(direction(0.0, np.pi / 2), direction(0.1, np.pi / 2))[2] > 0
    assert direction(np.zeros((4, 1)), np.zeros(5)).shape == (4, 5, 3)


def test_interpolation_is_the_table_at_its_nodes_and_wraps(rough):
    c, gamma = np.meshgrid(rough.c_rad, rough.gamma_rad, indexing="ij")
    assert np.allclose(intensity_at(rough, c, gamma), rough.intensity, rtol=1e-13)
    assert np.allclose(intensity_at(rough, c - 4 * np.pi, gamma), rough.intensity, rtol=1e-9)


def bad(**changes):
    c, gamma = np.radians([0.0, 180.0, 360.0]), np.radians([0.0, 90.0, 180.0])
    return plain(**{"c": c, "gamma": gamma, "intensity": np.ones((3, 3)), **changes})


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"c": np.radians([0.0, 180.0, 350.0])}, "ascend"),
        ({"gamma": np.radians([0.0, 0.0, 180.0])}, "ascend"),
        ({"intensity": np.ones((2, 3))}, "row per C"),
        ({"intensity": np.full((3, 3), np.nan)}, "finite"),
        ({"intensity": -np.ones((3, 3))}, "negative"),
        ({"intensity": np.arange(9.0).reshape(3, 3)}, "one plane"),
    ],
)
def test_a_table_that_is_no_distribution_is_refused(changes, words):
    assert bad().intensity.shape == (3, 3)
    with pytest.raises(ValueError, match=words):
        bad(**changes)


def test_a_distribution_cannot_be_changed(rough):
    with pytest.raises(ValueError, match="read-only"):
        rough.intensity[0, 0] = 1.0
    with pytest.raises(ValueError, match="allowed: cd"):
        made(lambertian, unit="W/sr")


def curves(svg):
    """Stroke and dashes of every line in the palette's colours."""
    found = re.findall(r'style="([^"]*stroke: (#[0-9a-fA-F]{6})[^"]*)"', svg)
    palette = {colour.lower() for colour in PALETTE}
    return [
        (colour.lower(), (re.search(r"stroke-dasharray: ([^;]*)", style) or ["", "solid"])[1])
        for style, colour in found
        if colour.lower() in palette
    ]


def test_polar_plot_is_one_hue_in_different_lines():
    svg = polar_plot(made(long_bar), name="bench")
    ElementTree.fromstring(svg)
    drawn = set(curves(svg))
    assert {colour for colour, _ in drawn} == {PALETTE[0].lower()}
    assert len({dashes for _, dashes in drawn}) == 2
    assert "http" not in svg
    assert "luminous intensity (cd" in svg
    assert "0–180°" in svg
    assert "90–270°" in svg
    assert svg == polar_plot(made(long_bar), name="bench")
    assert all(name.startswith("bench-") for name in re.findall(r'\bid="([^"]*)"', svg))


def test_polar_plot_shows_the_plane_of_an_odd_peak_and_names_the_waveband():
    light = made(front_lopsided, unit=PHOTON_INTENSITY)
    svg = polar_plot(light, band="400–700 nm")
    assert len({dashes for _, dashes in curves(svg)}) == 3
    assert "of the peak" in svg
    assert "µmol s⁻¹ sr⁻¹, 400–700 nm" in svg
    assert "waveband not stated" in polar_plot(light)
    assert "150°" in polar_plot(made(lopsided))


def test_reading_files_imports_neither_kernels_nor_plots():
    code = (
        "import sys, canopysim.light.photometry;"
        "print([m for m in ('numba', 'matplotlib', 'xarray', 'canopysim.transport') "
        "if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
