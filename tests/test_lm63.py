"""LM-63: one fixture in every edition, type and symmetry; the numbers of the head; openings."""

import re

import numpy as np
import pytest
from photometric_files import (
    VERSION,
    cosine_power,
    front_lopsided,
    goniometer,
    lm63,
    long_bar,
    lopsided,
    same,
)

from canopysim.light.photometry import direction, flux, intensity_at, parse_lm63, peak
from canopysim.light.placing import rotation

QUARTER = np.arange(0, 91, 15)
HALF = np.arange(0, 181, 15)
TURN = np.arange(0, 361, 15)


def read(text, name="bench.ies", **options):
    data = text if isinstance(text, bytes) else text.encode()
    return parse_lm63(data, name, **options)


# One fixture, written in many ways.


@pytest.mark.parametrize("edition", VERSION)
def test_every_edition_holds_the_same_light(edition):
    got = read(lm63(lopsided, edition=edition, h=TURN))
    same(got, read(lm63(lopsided, h=TURN)))
    assert got.source == f"LM-63-{edition}, type C"
    assert got.warnings == ()
    assert np.allclose(got.intensity, lopsided(direction(got.c_rad[:, None], got.gamma_rad)))


@pytest.mark.parametrize(
    "h", [QUARTER, HALF, HALF + 90, TURN], ids=["quadrant", "about 0-180", "about 90-270", "full"]
)
def test_every_symmetry_holds_the_same_light(h):
    got = read(lm63(long_bar, h=h))
    assert got.warnings == ()
    assert np.allclose(np.degrees(got.c_rad), TURN)
    assert np.allclose(got.intensity, long_bar(direction(got.c_rad[:, None], got.gamma_rad)))


def test_a_single_plane_is_round():
    got = read(lm63(cosine_power(3)))
    assert np.allclose(got.intensity, cosine_power(3)(direction(got.c_rad[:, None], got.gamma_rad)))


@pytest.mark.parametrize(
    ("h", "mirror"), [(HALF, [1, -1, 1]), (HALF + 90, [-1, 1, 1])], ids=["0-180", "90-270"]
)
def test_half_a_turn_is_mirrored_in_the_plane_of_its_name(h, mirror):
    """A fixture with one plane of symmetry: light is equal on both sides of that plane only."""

    def shine(d):
        return lopsided(d) + lopsided(d * mirror)

    got = read(lm63(shine, h=h))
    assert np.allclose(got.intensity, shine(direction(got.c_rad[:, None], got.gamma_rad)))


def test_counter_clockwise_seen_from_above():
    """Light in the plane H = 90 goes to +y: up x along."""
    spot = np.zeros((5, 3))
    spot[1, 1] = 100.0
    got = read(lm63(table=spot, h=[0, 90, 180, 270, 360], v=[0, 45, 90]))
    top = peak(got)
    towards = direction(top.c_rad, top.gamma_rad)
    outward = np.cross([0, 0, 1], [1, 0, 0])
    assert np.allclose(towards, np.add(outward, [0, 0, -1]) / np.sqrt(2))


@pytest.mark.parametrize("kind", ["A", "B"])
def test_types_a_and_b_hold_the_same_light_as_type_c(kind):
    steps = np.arange(-90, 91, 3)
    got = read(lm63(front_lopsided, kind=kind, h=steps, v=steps))
    exact = front_lopsided(direction(got.c_rad[:, None], got.gamma_rad))
    assert np.abs(got.intensity - exact).max() < 0.01 * exact.max()
    by_c = read(lm63(front_lopsided, h=np.arange(0, 361, 2), v=np.arange(0, 91, 1)))
    assert np.isclose(flux(got), flux(by_c), rtol=5e-3)
    assert abs(got.resampling_error) < 1e-4
    assert got.warnings == ()


@pytest.mark.parametrize("kind", ["A", "B"])
def test_flux_of_types_a_and_b_is_that_of_their_own_table(kind):
    """Even light makes 2 pi; a ramp in the polar angle tells the two solid angles apart."""
    steps = np.arange(-90, 91, 10)
    ones = np.ones((19, 19))
    even = read(lm63(table=ones, kind=kind, h=steps, v=steps))
    assert np.isclose(flux(even), 2 * np.pi, rtol=1e-12)
    polar = np.abs(np.radians(steps))[:, None] * ones
    got = read(lm63(table=polar.T if kind == "A" else polar, kind=kind, h=steps, v=steps))
    # pi times the integral of |x| cos x over -90..90 degrees.
    assert np.isclose(flux(got), 2 * np.pi * (np.pi / 2 - 1), rtol=1e-12)


@pytest.mark.parametrize("kind", ["A", "B"])
def test_up_and_right_of_types_a_and_b(kind):
    """Tilted up towards its +x end, V > 0 is up and H > 0 right of one who looks along the beam."""
    level = rotation(0.0, -np.pi / 2, 0.0)
    beam = level @ [0, 0, -1]
    for v, h, sideways in ((30, 0, [0, 0, 1]), (0, 30, np.cross(beam, [0, 0, 1]))):
        steps = np.arange(-90, 91, 15)
        spot = 100.0 * ((steps == h)[:, None] & (steps == v))
        top = peak(read(lm63(table=spot, kind=kind, h=steps, v=steps)))
        towards = level @ direction(top.c_rad, top.gamma_rad)
        assert np.allclose(towards, np.cos(np.pi / 6) * beam + np.array(sideways) / 2, atol=1e-6)


def test_types_a_and_b_differ_off_the_axes():
    """At V = H = 60: type A is at sin V up, type B at sin H right."""
    steps = np.arange(-90, 91, 15)
    spot = 100.0 * ((steps == 60)[:, None] & (steps == 60))
    for kind, axis, sign in (("A", 0, 1), ("B", 1, -1)):
        top = peak(read(lm63(table=spot, kind=kind, h=steps, v=steps)))
        towards = direction(top.c_rad, top.gamma_rad)
        assert np.isclose(towards[axis], sign * np.sin(np.radians(60)), atol=0.01)
        assert np.allclose(towards, goniometer(kind, [60], [60])[0, 0], atol=0.02)


@pytest.mark.parametrize("kind", ["A", "B"])
def test_sides_that_types_a_and_b_leave_out_are_equal(kind):
    def even(d):
        return 50.0 + 200.0 * np.clip(-d[..., 2], 0, None) ** 3 * (1 + d[..., 0] ** 2)

    whole, half = np.arange(-90, 91, 5), np.arange(0, 91, 5)
    full = read(lm63(even, kind=kind, h=whole, v=whole))
    right = read(lm63(even, kind=kind, h=half, v=whole))
    assert right.warnings == ()
    same(full, right)
    quarter = read(lm63(even, kind=kind, h=half, v=half))
    same(full, quarter)
    assert "lower half is taken as equal" in quarter.warnings[0]


@pytest.mark.parametrize("kind", ["A", "B"])
@pytest.mark.parametrize("v", [np.arange(0, 91, 5), np.arange(-90, 91, 5)])
def test_a_single_h_of_types_a_and_b_is_a_round_beam(kind, v):
    got = read(lm63(cosine_power(4), kind=kind, h=[0], v=v))
    same(got, read(lm63(cosine_power(4), v=np.arange(0, 91, 5))))
    assert "round about its axis" in got.warnings[0]


@pytest.mark.parametrize("turned", [1, -1])
def test_a_side_that_ends_while_lit_ends_there(turned):
    """What the longer side has beyond is half of its light, not a ramp from both."""
    v = np.sort(turned * np.array([-20.0, -10.0, 0.0, 10.0, 20.0, 40.0, 60.0]))
    table = np.where(np.abs(v) < 50, 100.0, 0.0)
    got = read(lm63(kind="B", h=[0], v=v, table=[table.tolist()]))
    seen = np.interp(np.radians([0, 15, 20, 20.001, 30, 40, 50]), got.gamma_rad, got.intensity[0])
    assert np.allclose(seen, [100, 100, 100, 50, 50, 50, 25], rtol=1e-9)


def test_type_b_may_shine_behind():
    v, h = np.arange(-180, 181, 5), np.arange(-90, 91, 5)
    got = read(lm63(lopsided, kind="B", h=h, v=v))
    exact = lopsided(direction(got.c_rad[:, None], got.gamma_rad))
    assert np.abs(got.intensity - exact).max() < 0.01 * exact.max()


# Numbers of the head.


@pytest.mark.parametrize("edition", VERSION)
def test_factors_of_every_edition(edition):
    """Up to 1995 the second factor multiplies; a file-generation code never does."""
    text = lm63(edition=edition, table=[[10, 0]], v=[0, 90], multiplier=3, ballast=0.5, second=1.1)
    got = read(text)
    assert np.isclose(got.intensity.max(), 10 * 3 * 0.5 * (1.1 if edition <= 1995 else 1.0))


def test_codes_of_the_2019_edition():
    def codes(second):
        return [w for w in read(lm63(edition=2019, second=second)).warnings if "code" in w]

    assert codes("1.00000") == codes("1.10000") == []
    assert "is computed, not measured" in codes("1.00010")[0]
    assert "partly interpolated and scaled;" in codes("1.11100")[0]
    assert "of unknown origin" in codes("1.00001")[0]
    for value in ("0.95", "1.2", "1.00002", "0"):
        assert f"{float(value):g} is not a file-generation code" in codes(value)[0]


def test_what_the_head_says():
    got = read(lm63(lamps=24, watts=60, unit=1, size=(1, 4, 0.5)))
    assert got.n_lamp == 24
    assert got.watts == 60.0
    assert got.stated_flux is None
    assert got.opening.shape == "box"
    assert np.allclose(
        [got.opening.length_m, got.opening.width_m, got.opening.height_m],
        [4 * 0.3048, 0.3048, 0.1524],
    )
    assert got.labels == (("TEST", "seed bank 7 pepper bench"), ("MANUFAC", "nobody"))
    assert read(lm63(edition=1986, labels=["peppers, bench 3"])).labels == (
        ("", "peppers, bench 3"),
    )
    assert read(lm63(lumens=1600, lamps=2)).stated_flux == 3200.0


@pytest.mark.parametrize(
    ("size", "shape", "metres"),
    [
        ((0, 0, 0), "point", (0, 0, 0)),
        ((0.2, 0.9, 0), "rectangle", (0.9, 0.2, 0)),
        ((0.2, 0.9, 0.1), "box", (0.9, 0.2, 0.1)),
        ((-0.3, 0, 0), "circle", (0.3, 0.3, 0)),
        ((-0.3, -0.3, 0), "circle", (0.3, 0.3, 0)),
        ((-0.3, -0.5, 0), "ellipse", (0.5, 0.3, 0)),
        ((-0.3, 0.5, 0), "ellipse", (0.5, 0.3, 0)),
        ((-0.3, 0, 0.7), "vertical cylinder", (0.3, 0.3, 0.7)),
        ((-0.3, -0.3, 0.7), "vertical cylinder", (0.3, 0.3, 0.7)),
        ((-0.3, 0, -0.3), "sphere", (0.3, 0.3, 0.3)),
        ((-0.3, -0.3, -0.3), "sphere", (0.3, 0.3, 0.3)),
        ((-0.3, -0.4, -0.5), "ellipsoid", (0.4, 0.3, 0.5)),
        ((-0.1, 1.2, -0.1), "horizontal cylinder along x", (1.2, 0.1, 0.1)),
        ((0, 1.2, -0.1), "horizontal cylinder along x", (1.2, 0.1, 0.1)),
        ((1.2, -0.1, -0.1), "horizontal cylinder along y", (0.1, 1.2, 0.1)),
        ((1.2, 0, -0.1), "horizontal cylinder along y", (0.1, 1.2, 0.1)),
    ],
)
def test_luminous_openings(size, shape, metres):
    got = read(lm63(size=size))
    assert got.warnings == ()
    assert got.opening.shape == shape
    opening = got.opening
    assert np.allclose([opening.length_m, opening.width_m, opening.height_m], metres)


def test_tilt_block_is_read_past_however_it_wraps():
    plain = read(lm63(h=TURN))
    for block in (["1", "3", "0 45 90", "1 .98 .95"], ["1 3 0", "45", "90 1 .98", ".95"]):
        same(plain, read(lm63(h=TURN, tilt=["TILT=INCLUDE", *block])))
    doubtful = read(lm63(tilt=["TILT=INCLUDE", "1 2", "0 90", "0.9 1"]))
    assert doubtful.warnings == (
        "bench.ies:8: the factor for no tilt is 0.9, not 1, and is not used; multiply the flux by "
        "it if the lamp loses light even when it hangs level",
    )


# Hemispheres and turns that a file leaves out.


def test_the_missing_hemisphere_is_dark():
    below = read(lm63(lambda d: np.full(d.shape[:-1], 100.0), v=np.arange(0, 91, 10)))
    above = read(lm63(lambda d: np.full(d.shape[:-1], 100.0), v=np.arange(90, 181, 10)))
    for light, lit, dark in ((below, 89.9, 90.1), (above, 90.1, 89.9)):
        assert np.isclose(flux(light), 200 * np.pi, rtol=1e-6)
        assert np.isclose(intensity_at(light, 1.0, np.radians(lit)), 100.0)
        assert intensity_at(light, 1.0, np.radians(dark)) == 0.0
        # Rounded to the kernels' float32 the angles still ascend.
        assert (np.diff(light.gamma_rad.astype(np.float32)) > 0).all()
        assert light.warnings == ()


@pytest.mark.parametrize(("step", "last"), [(15, 345), (10, 350), (5, 355)])
def test_a_turn_that_stops_one_step_early_goes_on_evenly(step, last):
    h = np.arange(0, last + 1, step)
    got = read(lm63(lopsided, h=h))
    same(got, read(lm63(lopsided, h=np.append(h, 360))))
    assert re.search(rf"^bench.ies:\d+: the planes end at {last} deg, one even", got.warnings[0])


def test_planes_counted_from_minus_180():
    got = read(lm63(lopsided, h=np.arange(-180, 181, 15)))
    same(got, read(lm63(lopsided, h=TURN)))
    assert got.warnings == ()


def test_planes_off_zero_are_met_between():
    """The plane at 0 is the mean of those at 5 and 355 degrees."""
    got = read(lm63(lopsided, h=np.arange(5, 356, 10)))
    beside = lopsided(goniometer("C", [5, 355], np.degrees(got.gamma_rad)))
    assert np.allclose(got.intensity[[0, -1]], beside.mean(0), rtol=1e-12)
    assert np.isclose(np.degrees(got.c_rad[1]), 5)


def test_unusual_halves_are_mirrored_with_a_warning():
    for h in (np.arange(-90, 91, 15), np.arange(180, 361, 15), np.arange(90, 181, 15)):
        got = read(lm63(long_bar, h=h))
        same(got, read(lm63(long_bar, h=TURN)))
        assert "not among those of the standard" in got.warnings[0]
