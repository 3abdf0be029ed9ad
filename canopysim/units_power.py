"""Text with a unit, for electricity, weight and time of day: watts, volts, prices, hours.

As in `units`: parsers return SI floats (W, V, A, kg; times of day in s after midnight), correctly
rounded, and raise `ValueError` whose text says what is wrong; what is allowed.
"""

import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal

from canopysim.units_text import (
    LONGEST_TEXT,
    NUMBER,
    SPELLINGS,
    bounded,
    number_and_unit,
    plain_number,
    refuse_unit,
    shown,
)

POWER_UNITS_W = {"W": Decimal(1), "kW": Decimal(1000)}
VOLTAGE_UNITS_V = {"V": Decimal(1)}
CURRENT_UNITS_A = {"A": Decimal(1)}
EFFICACY_UNITS = {
    "umol/J": Decimal(1),
    "umol J-1": Decimal(1),
    "umol/(s W)": Decimal(1),
    "umol/s/W": Decimal(1),
}
# The international pound of 1959.
MASS_UNITS_KG = {"kg": Decimal(1), "g": Decimal("0.001"), "lb": Decimal("0.45359237")}

POWER_LIMIT_W = 1e6
VOLTAGE_LIMIT_V = 1000.0
CURRENT_LIMIT_A = 10_000.0
MASS_LIMIT_KG = 10_000.0
# No photon of a wavelength that a spectrum may hold has so little energy.
EFFICACY_LIMIT = 40.0
PRICE_LIMIT = 1e6
DAY_S = 24 * 3600.0

_APPARENT = frozenset({"va", "kva"})
_RANGE = re.compile(rf"({NUMBER})\s*V?\s*(?:-|–|to)\s*({NUMBER})\s*V")
_PRICE = re.compile(
    r"(?P<before>[^\s0-9.,/+-]{1,12})?\s*(?P<number>[0-9]{1,9}(?:\.[0-9]{1,9})?)\s*"
    r"(?P<after>[^\s0-9.,/+-]{1,12})?\s*(?:/|(?<![a-z])per\s)\s*kWh"
)
_HOURS = re.compile(r"([0-9]{1,2}):([0-9]{2})\s*(?:-|–|to)\s*([0-9]{1,2}):([0-9]{2})")


@dataclass(frozen=True)
class Price:
    """What a kilowatt-hour costs.

    Attributes
    ----------
    per_kwh : float
        0 or more, in `currency`.
    currency : str
        Word or sign as written; "" if none was.
    """

    per_kwh: float
    currency: str


def _parse_measure(
    text: str, kind: str, units: dict[str, Decimal], limit: float, example: str
) -> float:
    """Read one number, not negative, with one of some units; the first serves in messages."""
    quoted = f"'{example}'"
    number, unit = number_and_unit(text, quoted)
    first = next(iter(units))
    if unit not in units:
        raise refuse_unit(text, unit, kind, list(units), quoted)
    if number < 0:
        raise ValueError(f"{shown(text)} is negative; a {kind} is at least 0 {first}")
    return bounded(number * units[unit], limit, text, f"{plain_number(limit)} {first}")


def parse_power(text: str) -> float:
    """Read an electrical power such as ``105 W`` or ``0.6 kW``.

    Parameters
    ----------
    text : str
        One number, not negative, with W or kW.

    Returns
    -------
    float
        Power in W, at most 1 MW.

    Raises
    ------
    ValueError
        If the text is anything else.
    """
    unit = number_and_unit(text, "'105 W'")[1]
    if unit.lower() in _APPARENT:
        raise ValueError(
            f"{shown(text)}: volt-amperes are not watts; look for the input power in W, and write "
            "the power factor beside it"
        )
    return _parse_measure(text, "power", POWER_UNITS_W, POWER_LIMIT_W, "105 W")


def parse_efficacy(text: str) -> float:
    """Read a photon efficacy such as ``2.7 umol/J``: µmol J⁻¹; `ValueError` for anything else."""
    return _parse_measure(text, "photon efficacy", EFFICACY_UNITS, EFFICACY_LIMIT, "2.7 umol/J")


def parse_voltage(text: str) -> float:
    """Read a voltage such as ``230 V``: in V, at most 1000 V; `ValueError` for anything else."""
    return _parse_measure(text, "voltage", VOLTAGE_UNITS_V, VOLTAGE_LIMIT_V, "230 V")


def parse_voltages(text: str) -> tuple[float, float]:
    """Read a range of voltages such as ``100-277 V``, or one voltage.

    Parameters
    ----------
    text : str
        Two numbers, the lower first, joined by ``-`` or ``to`` and followed by V; or one.

    Returns
    -------
    low, high : float
        V; equal where one voltage is written.

    Raises
    ------
    ValueError
        If the text is anything else.
    """
    found = (
        _RANGE.fullmatch(text.translate(SPELLINGS).strip()) if len(text) <= LONGEST_TEXT else None
    )
    if found is None:
        one = parse_voltage(text)
        return one, one
    low, high = (parse_voltage(f"{number} V") for number in found.groups())
    if low >= high:
        raise ValueError(f"{shown(text)} does not ascend; write the lower voltage first")
    return low, high


def parse_current(text: str) -> float:
    """Read a current such as ``16 A``: in A, at most 10 kA; `ValueError` for anything else."""
    return _parse_measure(text, "current", CURRENT_UNITS_A, CURRENT_LIMIT_A, "16 A")


def parse_mass(text: str) -> float:
    """Read a mass such as ``2.4 kg``, ``800 g`` or ``5 lb``.

    Parameters
    ----------
    text : str
        One number, not negative, with kg, g or lb.

    Returns
    -------
    float
        Mass in kg, at most 10 t.

    Raises
    ------
    ValueError
        If the text is anything else.
    """
    return _parse_measure(text, "mass", MASS_UNITS_KG, MASS_LIMIT_KG, "2.4 kg")


def parse_price(text: str) -> Price:
    """Read a price such as ``0.30 per kWh``, ``0.30 EUR per kWh`` or ``30 ct/kWh``.

    Parameters
    ----------
    text : str
        One number, not negative; a word or sign of a currency before or after it, or none; then
        ``per kWh`` or ``/kWh``.

    Returns
    -------
    Price
        The number and the word.

    Raises
    ------
    ValueError
        If the text is anything else.
    """
    plain = text.strip()
    found = _PRICE.fullmatch(plain) if len(plain) <= LONGEST_TEXT else None
    words = [word for word in (found["before"], found["after"]) if word] if found else []
    if found is None or len(words) > 1 or not all(map(_is_currency, words)):
        raise ValueError(
            f"{shown(text)} is not a price of electricity; write for example '0.30 per kWh' or "
            "'0.30 EUR per kWh'"
        )
    amount = bounded(Decimal(found["number"]), PRICE_LIMIT, text, f"{PRICE_LIMIT:g} per kWh")
    return Price(amount, words[0] if words else "")


def _is_currency(word: str) -> bool:
    """Tell whether all characters are letters, or one is a currency's sign."""
    return word.isalpha() or (len(word) == 1 and unicodedata.category(word) == "Sc")


def parse_hours(text: str) -> tuple[float, float]:
    """Read hours of the day such as ``6:00 to 20:00``; they may go on over midnight.

    Parameters
    ----------
    text : str
        Two times of a day of 24 hours, joined by ``to`` or ``-``.

    Returns
    -------
    start, end : float
        Seconds after midnight. The start is below 86400, the end above 0 and at most 86400; an end
        below the start is that of the next day.

    Raises
    ------
    ValueError
        If the text is anything else, or the two are the same time.
    """
    found = _HOURS.fullmatch(text.strip()) if len(text) <= LONGEST_TEXT else None
    if found is None:
        raise ValueError(f"{shown(text)} are not hours of a day; write for example '6:00 to 20:00'")
    hours, minutes, end_hours, end_minutes = (int(part) for part in found.groups())
    start, end = hours * 3600.0 + minutes * 60.0, end_hours * 3600.0 + end_minutes * 60.0
    if max(minutes, end_minutes) > 59 or max(start, end) > DAY_S:
        raise ValueError(
            f"{shown(text)}: a day has the times 0:00 to 24:00; write for example '6:00 to 20:00'"
        )
    start, end = start % DAY_S, end or DAY_S
    if start == end:
        raise ValueError(f"{shown(text)} lasts no time; for the whole day write '0:00 to 24:00'")
    return start, end


def format_power(power_w: float) -> str:
    """Write a power in W as text."""
    return f"{plain_number(power_w)} W"


def format_voltages(low_v: float, high_v: float) -> str:
    """Write one voltage, or a range of them, as text."""
    low, high = plain_number(low_v), plain_number(high_v)
    return f"{low} V" if low_v == high_v else f"{low}-{high} V"


def format_clock(time_s: float) -> str:
    """Write a time of day, s after midnight, as ``6:00``."""
    minutes = round(time_s / 60)
    return f"{minutes // 60}:{minutes % 60:02d}"
