"""Watts, volts, amperes, weights, prices and hours as text: exact values and clear refusals."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from canopysim import units_power as units
from canopysim.units_power import Price

PARSERS = [
    units.parse_power,
    units.parse_voltage,
    units.parse_voltages,
    units.parse_current,
    units.parse_mass,
    units.parse_price,
    units.parse_hours,
]


@pytest.mark.parametrize(
    ("parse", "text", "value"),
    [
        (units.parse_power, "105 W", 105.0),
        (units.parse_power, "0.6 kW", 600.0),
        (units.parse_power, "0 W", 0.0),
        (units.parse_voltage, "230V", 230.0),
        (units.parse_voltages, "230 V", (230.0, 230.0)),
        (units.parse_voltages, "100-277 V", (100.0, 277.0)),
        (units.parse_voltages, "100 V to 277 V", (100.0, 277.0)),
        (units.parse_voltages, "100–240 V", (100.0, 240.0)),
        (units.parse_current, "16 A", 16.0),
        (units.parse_mass, "2.4 kg", 2.4),
        (units.parse_mass, "800 g", 0.8),
        (units.parse_mass, "10 lb", 4.5359237),
        (units.parse_price, "0.30 per kWh", Price(0.3, "")),
        (units.parse_price, "0.30 EUR per kWh", Price(0.3, "EUR")),
        (units.parse_price, "30 ct/kWh", Price(30.0, "ct")),
        (units.parse_price, "$0.30/kWh", Price(0.3, "$")),
        (units.parse_price, "EUR 0.3 per kWh", Price(0.3, "EUR")),
        (units.parse_hours, "6:00 to 20:00", (21600.0, 72000.0)),
        (units.parse_hours, "06:30-20:15", (23400.0, 72900.0)),
        (units.parse_hours, "20:00 to 6:00", (72000.0, 21600.0)),
        (units.parse_hours, "0:00 to 24:00", (0.0, 86400.0)),
        (units.parse_hours, "24:00 to 6:00", (0.0, 21600.0)),
        (units.parse_hours, "18:00 to 0:00", (64800.0, 86400.0)),
    ],
)
def test_values_are_correctly_rounded(parse, text, value):
    assert parse(text) == value


@pytest.mark.parametrize(
    ("parse", "text", "message"),
    [
        (units.parse_power, "105", "'105' has no unit; write for example '105 W'"),
        (
            units.parse_power,
            "105 watts",
            "'105 watts': 'watts' is not a unit of power; did you mean 'W'? allowed: W, kW",
        ),
        (
            units.parse_power,
            "110 VA",
            "'110 VA': volt-amperes are not watts; look for the input power in W, and write the "
            "power factor beside it",
        ),
        (units.parse_power, "-5 W", "'-5 W' is negative; a power is at least 0 W"),
        (units.parse_power, "2e6 W", "'2e6 W' is out of range; at most 1000000 W"),
        (
            units.parse_voltages,
            "277-100 V",
            "'277-100 V' does not ascend; write the lower voltage first",
        ),
        (
            units.parse_current,
            "16 mA",
            "'16 mA': 'mA' is not a unit of current; allowed: A",
        ),
        (
            units.parse_mass,
            "5 LBS",
            "'5 LBS': 'LBS' is not a unit of mass; did you mean 'lb'? allowed: kg, g, lb",
        ),
        (
            units.parse_price,
            "0.30",
            "'0.30' is not a price of electricity; write for example '0.30 per kWh' or "
            "'0.30 EUR per kWh'",
        ),
        (
            units.parse_hours,
            "6 to 20",
            "'6 to 20' are not hours of a day; write for example '6:00 to 20:00'",
        ),
        (
            units.parse_hours,
            "6:00 to 25:00",
            "'6:00 to 25:00': a day has the times 0:00 to 24:00; write for example '6:00 to 20:00'",
        ),
        (
            units.parse_hours,
            "6:00 to 6:00",
            "'6:00 to 6:00' lasts no time; for the whole day write '0:00 to 24:00'",
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
        "0.3 EUR EUR per kWh",
        "EUR 0.3 EUR/kWh",
        "-1 per kWh",
        "0,3 per kWh",
        "3e5 per kWh",
        "0.3 per Wh",
        "per kWh",
        "0.3 a1 per kWh",
        "0.3 <b> per kWh",
        "\x00 0.3/kWh",
        "1" * 99,
    ],
)
def test_odd_prices_are_refused(text):
    with pytest.raises(ValueError) as caught:
        units.parse_price(text)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 200


TOKENS = r"[0-9.:eE€$/ +-]{0,12} ?(W|kW|V|A|kg|lb|to|per kWh|/kWh|EUR per kWh)?[0-9: -]{0,6}V?"


@given(st.text(max_size=80) | st.from_regex(TOKENS, fullmatch=True))
def test_any_text_is_a_bounded_value_or_a_value_error(text):
    for parse in PARSERS:
        try:
            found = parse(text)
        except ValueError as error:
            assert str(error).isprintable()
            continue
        if isinstance(found, Price):
            assert found.currency == "" or found.currency.isalpha() or len(found.currency) == 1
            found = found.per_kwh
        for value in found if isinstance(found, tuple) else (found,):
            assert math.isfinite(value)
            assert 0 <= value <= 1e6


@given(st.integers(0, 1439), st.integers(0, 1440))
def test_hours_read_back_as_they_are_written(start, end):
    assume(start != end)
    text = f"{units.format_clock(start * 60)} to {units.format_clock(end * 60)}"
    assert units.parse_hours(text) == (start * 60.0, (end or 1440) * 60.0)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (units.format_power(105.0), "105 W"),
        (units.format_voltages(100.0, 277.0), "100-277 V"),
        (units.format_voltages(230.0, 230.0), "230 V"),
        (units.format_clock(23400.0), "6:30"),
        (units.format_clock(86400.0), "24:00"),
    ],
)
def test_formatting(text, expected):
    assert text == expected
