"""EULUMDAT: all symmetries, the same fixture as in LM-63, damaged files, what is doubtful."""

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from photometric_files import eulumdat, front_lopsided, lambertian, lm63, long_bar, lopsided

from canopysim.errors import CanopysimError
from canopysim.light.photometry import (
    direction,
    flux,
    intensity_at,
    parse_eulumdat,
    parse_lm63,
    parse_photometric,
    peak,
)

ENDS = "\r\n"


def read(lines, **options):
    return parse_eulumdat(ENDS.join(lines).encode(), "bench.ldt", **options)


def exact(distribution, shine):
    return shine(direction(distribution.c_rad[:, None], distribution.gamma_rad))


@pytest.mark.parametrize("symmetry", [0, 2, 3, 4])
def test_every_symmetry_holds_the_same_light(symmetry):
    got = read(eulumdat(long_bar, symmetry=symmetry, lamp_flux=4900))
    assert got.warnings == ()
    assert np.allclose(np.degrees(got.c_rad), np.arange(0, 361, 15))
    assert np.allclose(got.intensity, exact(got, long_bar), rtol=1e-12)


def test_round_light():
    got = read(eulumdat(lambertian, symmetry=1, lamp_flux=3140))
    assert np.allclose(got.intensity, exact(got, lambertian))
    assert np.isclose(flux(got), 1000 * np.pi, rtol=1e-3)
    assert got.source == "EULUMDAT"
    assert got.warnings == ()
    assert read(eulumdat(lamp_flux=4000, ratio=78.5, down=100)).warnings == ()


@pytest.mark.parametrize(
    ("symmetry", "mirror"), [(2, [-1, 1, 1]), (3, [1, -1, 1])], ids=["C0-C180", "C90-C270"]
)
def test_half_a_turn_is_mirrored_in_the_plane_of_its_name(symmetry, mirror):
    """C0-C180 lies across the lamp: what it mirrors is along it, our x."""

    def shine(d):
        return lopsided(d) + lopsided(d * mirror)

    got = read(eulumdat(shine, symmetry=symmetry))
    assert np.allclose(got.intensity, exact(got, shine))


@pytest.mark.parametrize("shine", [lopsided, front_lopsided])
def test_a_fixture_without_symmetry_is_the_same_in_both_formats(shine):
    """LM-63 counts from along the lamp, EULUMDAT from across: the readers agree node by node."""
    turn = np.arange(0, 361, 15)
    here = read(eulumdat(shine, symmetry=0))
    there = parse_lm63(lm63(shine, h=turn).encode(), "bench.ies")
    assert np.allclose(here.c_rad, there.c_rad)
    assert np.array_equal(here.gamma_rad, there.gamma_rad)
    assert np.allclose(here.intensity, there.intensity, rtol=1e-9, atol=1e-9)
    assert np.allclose(here.intensity, exact(here, shine), atol=1e-9)
    assert here.opening == there.opening


def test_the_quarter_turn_and_its_sense():
    """C0 goes to +y, and C grows counter-clockwise seen from above: C90 to -x, C270 to +x."""
    for c, towards in ((0, [0, 1]), (90, [-1, 0]), (180, [0, -1]), (270, [1, 0])):
        planes = np.arange(0, 360, 90)
        table = 100.0 * ((planes == c)[:, None] & (np.arange(3) == 1))
        got = read(eulumdat(symmetry=0, planes=planes, gamma=[0, 90, 180], table=table))
        top = peak(got)
        assert np.allclose(direction(top.c_rad, top.gamma_rad)[:2], towards, atol=1e-9)


def test_candela_per_kilolumen():
    table = [[400.0, 0.0]]
    options = {"table": table, "gamma": [0, 90], "lamp_flux": 1500, "conversion": 1.5}
    assert np.isclose(read(eulumdat(**options)).intensity.max(), 400 * 1.5 * 1.5)
    two = read(eulumdat(**options, sets=2))
    assert np.isclose(two.intensity.max(), 400 * 3.0 * 1.5)
    assert two.watts == 120.0
    assert two.n_lamp == 2
    assert "2 lamp sets" in two.warnings[0]


def test_what_the_head_says():
    got = read(eulumdat(long_bar, symmetry=4, heights=(10, 30, 10, 30)), unit="umol s-1 sr-1")
    assert got.unit == "umol s-1 sr-1"
    assert got.watts == 60.0
    assert got.stated_flux == 2500.0
    opening = got.opening
    assert opening.shape == "box"
    assert np.allclose([opening.length_m, opening.width_m, opening.height_m], [1.1, 0.04, 0.03])
    assert got.labels[:2] == (("COMPANY", "Nobody"), ("LUMINAIRE", "bench light"))
    for area, heights, shape in (
        ((300, 0), (0, 0, 0, 0), "circle"),
        ((300, 0), (50, 50, 50, 50), "vertical cylinder"),
        ((300, 200), (0, 0, 0, 0), "rectangle"),
        ((0, 0), (0, 0, 0, 0), "point"),
    ):
        assert read(eulumdat(area=area, heights=heights)).opening.shape == shape


def test_absolute_photometry_has_a_negative_number_of_lamps():
    got = read(eulumdat(lambertian, lamps=-1, lamp_flux=3140))
    assert got.warnings == ()
    assert got.n_lamp == 1
    lower = read(eulumdat(lambertian, lamps=-1, lamp_flux=3700)).warnings
    assert "84.9% of the 3700 that lamps and light output ratio make" in lower[0]


PLAIN = eulumdat(lopsided, symmetry=0, lamp_flux=6283)


@pytest.mark.parametrize(
    "data",
    [
        "\n".join(PLAIN).encode(),
        "\r".join(PLAIN).encode(),
        ("\r\n".join(PLAIN[:40]) + "\n" + "\r".join(PLAIN[40:])).encode(),
        b"\xef\xbb\xbf" + ENDS.join(PLAIN).encode(),
        ENDS.join(PLAIN).encode() + b"\x1a" + b"\0" * 30,
        ENDS.join(["N\u00e4mand", *PLAIN[1:]]).encode("cp1252"),
        ENDS.join(eulumdat(lopsided, symmetry=0, lamp_flux=6283, comma=True)).encode(),
        ENDS.join(f" {line}\t" for line in PLAIN).encode(),
        ENDS.join([*PLAIN, "", "END"]).encode(),
        ENDS.join([*PLAIN[:42], "", *PLAIN[42:]]).encode(),
        ENDS.join([*PLAIN[:42], " ".join(PLAIN[42:66]), ";".join(PLAIN[66:])]).encode(),
    ],
    ids=[
        *("LF", "CR", "mixed ends", "mark", "Ctrl-Z and NUL", "Windows-1252", "decimal commas"),
        *("blanks", "trailing text", "blank line", "several a line"),
    ],
)
def test_ways_of_writing_change_nothing(data):
    got = parse_photometric(data, "bench.ldt")
    assert np.allclose(got.intensity, read(PLAIN).intensity, rtol=1e-12)
    assert got.warnings == ()


def test_a_full_turn_may_name_360_too():
    planes = np.arange(0, 361, 15)
    whole = eulumdat(lopsided, symmetry=0, planes=planes, table=per_kilolumen(lopsided, planes))
    assert np.allclose(read(whole).intensity, read(eulumdat(lopsided, symmetry=0)).intensity)
    for symmetry in (2, 3, 4):
        lines = eulumdat(long_bar, symmetry=symmetry, planes=planes, table=None)
        if symmetry == 3:
            # The writer repeats 360 as 0; a file holds it once.
            at = 42 + 25 + 37 + 7 * 37
            del lines[at : at + 37]
        got = read(lines)
        assert np.allclose(got.intensity, exact(got, long_bar))


def per_kilolumen(shine, planes, flux_lm=2500.0):
    gamma = np.radians(np.arange(0, 181, 5))
    return shine(direction(np.radians(planes + 90.0)[:, None], gamma)) * 1000.0 / flux_lm


def test_uneven_planes():
    planes = np.array([0, 10, 45, 90, 180, 200, 315])
    got = read(eulumdat(lopsided, symmetry=0, planes=planes))
    value = intensity_at(got, np.radians(45 + 90), np.radians(60))
    assert np.isclose(value, lopsided(direction(np.radians(135), np.radians(60))))


def test_the_missing_hemisphere_is_dark():
    got = read(eulumdat(lambda d: np.full(d.shape[:-1], 100.0), gamma=range(0, 91, 10)))
    assert np.isclose(flux(got), 200 * np.pi, rtol=1e-6)


def edited(line, text, **options):
    """A small file with one line of its head, counted from 1, replaced."""
    lines = eulumdat(**({"gamma": range(0, 91, 15), "symmetry": 4} | options))
    lines[line - 1] = text
    return lines


@pytest.mark.parametrize(
    ("lines", "line", "words"),
    [
        (edited(3, "5"), 3, "symmetry is 5; allowed: 0, 1, 2, 3 and 4"),
        (edited(3, "-1"), 3, "symmetry is -1"),
        (edited(3, "two"), 3, "'two' stands where the symmetry is expected"),
        (edited(4, "0"), 4, "number of C planes is 0"),
        (edited(4, "1.5"), 4, "number of C planes is 1.5"),
        (edited(6, "1"), 6, "number of angles in a plane is 1"),
        (edited(6, "900000"), 122, "ends after 56 of 900000 gamma angles"),
        (edited(24, "0"), 24, "conversion factor is 0"),
        (edited(26, "0"), 26, "number of lamp sets is 0"),
        (edited(26, "900"), 26, "900 lamp sets of 6 lines do not fit"),
        (edited(29, "0"), 29, "lamps' flux is 0 lm"),
        (edited(29, "-5"), 29, "lamps' flux is -5 lm"),
        (edited(29, ""), 29, "'' stands where the flux of the lamps is expected"),
        (edited(16, "wide"), 16, "'wide' stands where the size of the luminous area"),
        (edited(18, "1e999"), 18, "'1e999' stands where the luminous height"),
        (edited(44, "0"), 44, "C angle 0 stands twice"),
        (edited(44, "40"), 45, "C angle 30 follows 40"),
        (edited(49, "91"), 43, "stores the planes from C0 to C90, but these are not both listed"),
        (edited(67, "5"), 67, "vertical angles begin at 5"),
        (edited(75, "-4"), 75, "intensity -4 is negative"),
        (edited(75, "NaN"), 75, "'NaN' stands where intensity value"),
        (edited(75, "1.000,5"), 75, "'1.000,5' stands where intensity value"),
        (edited(75, "1e300"), 74, "more than any fixture gives"),
        (eulumdat(table=np.zeros((1, 37))), 104, "there is no light"),
        (PLAIN[:25], 25, "ends after 25 lines"),
        (PLAIN[:-5], len(PLAIN) - 5, "intensity values; it is cut off"),
    ],
)
def test_refusals_name_line_value_and_remedy(lines, line, words):
    with pytest.raises(CanopysimError) as caught:
        read(lines)
    message = str(caught.value)
    assert words in message
    assert message.startswith(f"bench.ldt:{line}: ")
    assert message.isprintable()
    assert re.search(r"[;,(]", message.split(": ", 1)[1])


@pytest.mark.parametrize(
    ("lines", "line", "words"),
    [
        # A Lambertian of 3140 lm, if nothing else is said.
        (eulumdat(lamp_flux=3000), 29, "104.7% of the 3000 stated for the lamps, and no fixture"),
        (eulumdat(lamp_flux=5000), 29, "62.8% of the 5000 stated for the lamps; that is right if"),
        (eulumdat(lamp_flux=4000, ratio=85), 23, "92.3% of the 3400 that lamps and light output"),
        (eulumdat(lamp_flux=4000, ratio=78.5, down=90), 22, "100.0% of its light down, but 90.0%"),
        (eulumdat(lamp_flux=3140, watts=4), 32, "785 lm/W, which no lamp gives"),
        (eulumdat(lamp_flux=3140, watts=0), 32, "input power is 0 W; taken as unknown"),
        (eulumdat(lamp_flux=3140, tilt=15), 25, "tilted by 15 deg while measured"),
        (eulumdat(lamp_flux=3140, area=(9000, 40)), 16, "9 m large"),
        (
            [*eulumdat(lamp_flux=3140), "7", "8"],
            141,
            "2 more numbers than the 1 x 37 of symmetry 1",
        ),
        (eulumdat(lamp_flux=3140, ratio=99, gamma=range(0, 81, 10)), 75, "end at 80 deg"),
    ],
)
def test_doubts_name_line_value_and_remedy(lines, line, words):
    got = read(lines)
    assert len(got.warnings) == 1, got.warnings
    assert words in got.warnings[0]
    assert got.warnings[0].startswith(f"bench.ldt:{line}: ")


def accept_or_refuse(data):
    for reader in (parse_eulumdat, parse_photometric):
        try:
            got = reader(data, "bench.ldt")
        except CanopysimError as error:
            assert re.match(r"bench\.ldt:\d+: ", str(error))
            assert str(error).isprintable()
        else:
            assert np.isfinite(flux(got))
            assert flux(got) > 0.0
            for line in got.warnings:
                assert re.match(r"bench\.ldt:\d+: ", line)
                assert line.isprintable()


@settings(max_examples=150)
@given(st.binary(max_size=400), st.integers(0, 40))
def test_any_bytes(data, n_line):
    accept_or_refuse(data)
    accept_or_refuse(b"\n1\n0\n" + b"1\n" * n_line + data)


SMALL = [
    eulumdat(long_bar, symmetry=s, planes=[0, 90, 180, 270], gamma=[0, 45, 90, 180], down=60)
    for s in range(5)
]
WORDS = [
    *("", "0", "-1", "1", "2", "3", "4", "90", "180", "360", "450", "1e300", "1e-300", "1e308"),
    *("-0", "0,5", "1,5,2", "89.9999999", "90.0000001", "nan", "99999999999", "\x1a", "\0", "ü"),
]


@settings(max_examples=400)
@given(st.data())
def test_damaged_files(data):
    """Lines of sound files are exchanged, dropped and put in at random."""
    lines = list(data.draw(st.sampled_from(SMALL)))
    for _ in range(data.draw(st.integers(1, 5))):
        at = data.draw(st.integers(0, len(lines) - 1))
        word = data.draw(st.sampled_from(WORDS) | st.sampled_from(lines) | st.text(max_size=6))
        how = data.draw(st.sampled_from(["replace", "replace", "insert", "drop"]))
        lines[at : at + (how != "insert")] = [] if how == "drop" else [word]
    accept_or_refuse("\n".join(lines).encode("utf-8", "surrogatepass"))
