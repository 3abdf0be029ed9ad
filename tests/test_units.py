"""Text with units: exact values, clear refusals, and no text that hangs or slips through."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canopysim import units

PARSERS = [
    units.parse_length,
    units.parse_angle,
    units.parse_share,
    units.parse_flux,
    units.parse_flux_density,
    units.parse_time,
]


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("45 cm", 0.45),
        ("45cm", 0.45),
        ("  1.2 m ", 1.2),
        ("110 cm", 1.1),
        ("12 mm", 0.012),
        ("20 in", 0.508),
        ("7 ft", 2.1336),
        ("6 ft 3 in", 1.905),
        ("6ft 3.5in", 1.9177),
        ("-2 cm", -0.02),
        ("−2 cm", -0.02),
        (".5 m", 0.5),
        ("1e2 cm", 1.0),
        ("45\u00a0cm", 0.45),
    ],
)
def test_lengths_are_correctly_rounded(text, metres):
    assert units.parse_length(text) == metres


@pytest.mark.parametrize(
    ("parse", "text", "value"),
    [
        (units.parse_angle, "180 deg", math.pi),
        (units.parse_angle, "-0.5 rad", -0.5),
        (units.parse_share, "12 %", 0.12),
        (units.parse_share, "0.5%", 0.005),
        (units.parse_share, "100 %", 1.0),
        (units.parse_flux, "480 umol/s", 480.0),
        (units.parse_flux, "480 µmol/s", 480.0),
        (units.parse_flux, "480 μmol s⁻¹", 480.0),
        (units.parse_flux, "480 umol s^-1", 480.0),
        (units.parse_flux_density, "600 umol/m2/s", 600.0),
        (units.parse_flux_density, "600 µmol/m²/s", 600.0),
        (units.parse_flux_density, "600 µmol m⁻² s⁻¹", 600.0),
        (units.parse_flux_density, "600 µmol·m⁻²·s⁻¹", 600.0),
        (units.parse_flux_density, "600 umol/(m2 s)", 600.0),
        (units.parse_time, "60 s", 60.0),
        (units.parse_time, "5 min", 300.0),
        (units.parse_time, "2 h", 7200.0),
    ],
)
def test_other_units(parse, text, value):
    assert parse(text) == value


@pytest.mark.parametrize(
    ("parse", "text", "message"),
    [
        (units.parse_length, "45", "'45' has no unit; write for example '45 cm'"),
        (
            units.parse_length,
            "7'",
            "\"7'\": \"'\" is not a unit of length; did you mean 'ft'? allowed: cm, mm, m, in, ft",
        ),
        (
            units.parse_length,
            "45 CM",
            "'45 CM': 'CM' is not a unit of length; did you mean 'cm'? allowed: cm, mm, m, in, ft",
        ),
        (
            units.parse_length,
            "1,5 m",
            "'1,5 m' has a comma; write the number with a point, as in '1.5'",
        ),
        (
            units.parse_length,
            "6 ft 13 in",
            "'6 ft 13 in' is not feet and inches; write whole feet and less than 12 in, "
            "as in '6 ft 3 in'",
        ),
        (
            units.parse_length,
            "tall",
            "'tall' is not a number with a unit; write for example '45 cm'",
        ),
        (units.parse_length, "1e9 m", "'1e9 m' is out of range; at most 1000 m"),
        (units.parse_length, "", "nothing is written here; write for example '45 cm'"),
        (units.parse_angle, "30", "'30' has no unit; write for example '30 deg'"),
        (
            units.parse_angle,
            "30°",
            "'30°': '°' is not a unit of angle; did you mean 'deg'? allowed: deg, rad",
        ),
        (
            units.parse_share,
            "0.12",
            "'0.12' has no % sign; write shares in per cent, as in '12 %'",
        ),
        (units.parse_share, "112 %", "'112 %' is not a share; allowed is 0 % to 100 %"),
        (units.parse_share, "-1 %", "'-1 %' is not a share; allowed is 0 % to 100 %"),
        (
            units.parse_flux,
            "480 umol",
            "'480 umol': 'umol' is not a unit of photon flux; allowed: umol/s, umol s-1",
        ),
        (units.parse_length, "3'3\"", "\"3'3\"\": write '3 ft 3 in'"),
        (units.parse_length, "6 feet 3.5", "'6 feet 3.5': write '6 ft 3.5 in'"),
        (units.parse_length, "6ft3in", "'6ft3in': write '6 ft 3 in'"),
        (
            units.parse_flux,
            "60 W",
            "'60 W': watts are not a photon flux; look in the data sheet for the PPF, in umol/s",
        ),
        (
            units.parse_flux,
            "9000 lm",
            "'9000 lm': lumens are not a photon flux; look in the data sheet for the PPF, in "
            "umol/s",
        ),
        (
            units.parse_flux_density,
            "400 W/m²",
            "'400 W/m²': watts per area are not a photon flux density; look in the data sheet "
            "for the PPFD, in umol/m2/s",
        ),
        (
            units.parse_flux_density,
            "600",
            "'600' has no unit; write for example '600 umol/m2/s'",
        ),
        (
            units.parse_flux_density,
            "-1 umol/m2/s",
            "'-1 umol/m2/s' is negative; a photon flux density is at least 0 umol/m2/s",
        ),
        (
            units.parse_flux,
            "-1 umol/s",
            "'-1 umol/s' is negative; a photon flux is at least 0 umol/s",
        ),
        (
            units.parse_time,
            "5 minutes",
            "'5 minutes': 'minutes' is not a unit of time; did you mean 'min'? allowed: s, min, h",
        ),
    ],
)
def test_refusals_say_what_to_write(parse, text, message):
    with pytest.raises(ValueError) as caught:
        parse(text)
    assert str(caught.value) == message


@pytest.mark.parametrize(
    "text",
    [
        "10**10**9 m",
        "1e999 m",
        "1e99 cm",
        "nan m",
        "inf cm",
        "0x10 cm",
        "1_000 mm",
        "٤٥ cm",
        "4 5 cm",
        "45 cm 2 mm",
        "45 cm; rm",
        "1" * 10_000 + " cm",
        "6 ft -3 in",
        "1.5 ft 3 in",
        "45 c m",
        "cm",
        "+ cm",
        ". cm",
        "\x00",
    ],
)
def test_odd_lengths_are_refused(text):
    with pytest.raises(ValueError) as caught:
        units.parse_length(text)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 300


@settings(deadline=None)
@given(st.text(max_size=100) | st.from_regex(r"[0-9.eE+-]{1,12} ?(cm|m|deg|%|umol/s|s|h)"))
def test_any_text_is_a_bounded_number_or_a_value_error(text):
    for parse in PARSERS:
        try:
            value = parse(text)
        except ValueError as error:
            assert str(error).isprintable()
        else:
            assert math.isfinite(value)
            assert abs(value) <= 1e9


@settings(deadline=None)
@given(st.floats(min_value=-900, max_value=900))
def test_formatted_lengths_read_back(metres):
    assert units.parse_length(units.format_length(metres)) == pytest.approx(
        metres, rel=6e-4, abs=1e-9
    )


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (units.format_length(0.0), "0 cm"),
        (units.format_length(0.002), "2 mm"),
        (units.format_length(1.5), "150 cm"),
        (units.format_length(-0.02), "-2 cm"),
        (units.format_length(12.5), "12.5 m"),
        (units.format_length(-4e-17), "0 cm"),
        (units.in_centimetres(1.275), "127.5"),
        (units.in_centimetres(0.002), "0.2"),
        (units.in_centimetres(-4e-17), "0"),
        (units.format_angle(math.radians(137.5)), "137.5 deg"),
        (units.format_share(0.12), "12 %"),
        (units.format_share(0.0001), "0.01 %"),
        (units.format_share(0.0), "0 %"),
        (units.format_flux(480.0), "480 µmol/s"),
        (units.format_flux(123456.0), "123500 µmol/s"),
        (units.format_flux_density(612.34), "612.3 µmol/m²/s"),
        (units.format_time(60), "60 s"),
        (units.format_time(300), "5 min"),
        (units.format_time(86400), "24 h"),
    ],
)
def test_formatting(text, expected):
    assert text == expected


def test_shown_is_short_and_printable():
    assert units.shown("tall\n") == r"'tall\n'"
    assert units.shown("\x1b[31mred") == r"'\x1b[31mred'"
    assert len(units.shown("x" * 1000)) <= units.LONGEST_TEXT + 2
