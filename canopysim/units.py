"""Text with a unit to SI numbers and back, from a small table of our own.

Only one plain decimal number and one known unit pass (and ``6 ft 3 in``), see `units_text`.
All parsers return SI floats (m, rad, s, µmol s⁻¹, µmol m⁻² s⁻¹, shares 0..1), correctly rounded,
and raise `ValueError` whose text says what is wrong; what is allowed. What belongs to electricity
and weight is in `units_power`.
"""

import math
import re
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

__all__ = [
    "format_angle",
    "format_flux",
    "format_flux_density",
    "format_length",
    "format_share",
    "format_time",
    "in_centimetres",
    "parse_angle",
    "parse_flux",
    "parse_flux_density",
    "parse_length",
    "parse_share",
    "parse_time",
    "shown",
]

LENGTH_UNITS_M = {
    "mm": Decimal("0.001"),
    "cm": Decimal("0.01"),
    "m": Decimal(1),
    "in": Decimal("0.0254"),
    "ft": Decimal("0.3048"),
}
TIME_UNITS_S = {"s": Decimal(1), "min": Decimal(60), "h": Decimal(3600)}
FLUX_UNITS = frozenset({"umol/s", "umol s-1"})
FLUX_DENSITY_UNITS = frozenset({"umol/m2/s", "umol/(m2 s)", "umol m-2 s-1"})

# The greatest sizes keep every later product finite.
LENGTH_LIMIT_M = 1000.0
ANGLE_LIMIT_DEG = 3600.0
FLUX_LIMIT = 1e9
TIME_LIMIT_S = 30 * 24 * 3600.0
# Below a nanometre it is rounding, not a length.
NO_LENGTH_M = 1e-9

_FEET_AND_INCHES = re.compile(rf"({NUMBER})\s*ft\s+({NUMBER})\s*in")
_FEET_AND_INCH_MARKS = re.compile(
    r"([0-9]{1,4})\s*(?:ft|foot|feet|'|′)\s*([0-9]{1,2}(?:\.[0-9]{1,4})?)\s*(?:in|inch|inches|\"|″|'')?"
)
# What lamps are also sold by, and what that is.
_NOT_PHOTONS = {"w": "watts", "watt": "watts", "watts": "watts", "kw": "watts"}
_NOT_PHOTONS |= {"lm": "lumens", "lumen": "lumens", "lumens": "lumens", "lx": "lux", "lux": "lux"}
_NOT_PHOTONS |= {"w/m2": "watts per area", "w m-2": "watts per area"}
_SOLD_AS = {"photon flux": "PPF, in umol/s", "photon flux density": "PPFD, in umol/m2/s"}
_EXAMPLE_NUMBER = {"photon flux": 480, "photon flux density": 600}


def parse_length(text: str) -> float:
    """Read a length such as ``45 cm``, ``1.2 m``, ``20 in`` or ``6 ft 3 in``.

    Parameters
    ----------
    text : str
        One number with one of mm, cm, m, in, ft; or feet followed by inches.

    Returns
    -------
    float
        Length in m, of either sign, at most 1 km.

    Raises
    ------
    ValueError
        If the text is anything else.
    """
    example = "'45 cm'"
    if len(text) <= LONGEST_TEXT:
        both = _FEET_AND_INCHES.fullmatch(text.translate(SPELLINGS).strip())
        if both is not None:
            feet, inches = Decimal(both[1]), Decimal(both[2])
            if both[2][0] in "+-" or inches >= 12 or feet != feet.to_integral_value():
                raise ValueError(
                    f"{shown(text)} is not feet and inches; write whole feet and less than 12 in, "
                    "as in '6 ft 3 in'"
                )
            total = abs(feet) * LENGTH_UNITS_M["ft"] + inches * LENGTH_UNITS_M["in"]
            signed = -total if both[1].startswith("-") else total
            return bounded(signed, LENGTH_LIMIT_M, text, "1000 m")
        marks = _FEET_AND_INCH_MARKS.fullmatch(text.strip())
        if marks is not None:
            raise ValueError(f"{shown(text)}: write '{marks[1]} ft {marks[2]} in'")
    number, unit = number_and_unit(text, example)
    if unit not in LENGTH_UNITS_M:
        order = ["cm", "mm", "m", "in", "ft"]
        raise refuse_unit(text, unit, "length", order, example)
    return bounded(number * LENGTH_UNITS_M[unit], LENGTH_LIMIT_M, text, "1000 m")


def parse_angle(text: str) -> float:
    """Read an angle such as ``30 deg`` or ``0.5 rad``.

    Parameters
    ----------
    text : str
        One number with deg or rad.

    Returns
    -------
    float
        Angle in rad, of either sign, at most ten turns.

    Raises
    ------
    ValueError
        If the text is anything else.
    """
    number, unit = number_and_unit(text, "'30 deg'")
    if unit == "deg":
        return math.radians(bounded(number, ANGLE_LIMIT_DEG, text, "3600 deg"))
    if unit == "rad":
        return bounded(number, math.radians(ANGLE_LIMIT_DEG), text, "62.8 rad")
    raise refuse_unit(text, unit, "angle", ["deg", "rad"], "'30 deg'")


def parse_share(text: str) -> float:
    """Read a share such as ``12 %``.

    Parameters
    ----------
    text : str
        One number from 0 to 100 with the percent sign.

    Returns
    -------
    float
        Share between 0 and 1.

    Raises
    ------
    ValueError
        If the text is anything else; a bare ``0.12`` too.
    """
    number, unit = number_and_unit(text, "'12 %'")
    if unit != "%":
        if unit:
            raise refuse_unit(text, unit, "a share", ["%"], "'12 %'")
        raise ValueError(f"{shown(text)} has no % sign; write shares in per cent, as in '12 %'")
    if not 0 <= number <= 100:
        raise ValueError(f"{shown(text)} is not a share; allowed is 0 % to 100 %")
    return float(number / 100)


def _parse_photons(text: str, kind: str, units: frozenset[str], allowed: list[str]) -> float:
    """Read a quantity of photons, not negative; the first unit allowed serves in examples."""
    example = f"'{_EXAMPLE_NUMBER[kind]} {allowed[0]}'"
    number, unit = number_and_unit(text, example)
    if unit not in units:
        other = _NOT_PHOTONS.get(unit.lower())
        if other is not None:
            raise ValueError(
                f"{shown(text)}: {other} are not a {kind}; look in the data sheet for the "
                f"{_SOLD_AS[kind]}"
            )
        raise refuse_unit(text, unit, kind, allowed, example)
    if number < 0:
        raise ValueError(f"{shown(text)} is negative; a {kind} is at least 0 {allowed[0]}")
    return bounded(number, FLUX_LIMIT, text, f"1e9 {allowed[0]}")


def parse_flux(text: str) -> float:
    """Read a photon flux such as ``480 umol/s`` or ``480 µmol s⁻¹``.

    Parameters
    ----------
    text : str
        One number, not negative, with the unit.

    Returns
    -------
    float
        Photon flux in µmol s⁻¹.

    Raises
    ------
    ValueError
        If the text is anything else.
    """
    return _parse_photons(text, "photon flux", FLUX_UNITS, ["umol/s", "umol s-1"])


def parse_flux_density(text: str) -> float:
    """Read a photon flux density such as ``600 umol/m2/s`` or ``600 µmol m⁻² s⁻¹``.

    Parameters
    ----------
    text : str
        One number, not negative, with the unit.

    Returns
    -------
    float
        Photon flux density in µmol m⁻² s⁻¹.

    Raises
    ------
    ValueError
        If the text is anything else.
    """
    allowed = ["umol/m2/s", "umol m-2 s-1"]
    return _parse_photons(text, "photon flux density", FLUX_DENSITY_UNITS, allowed)


def parse_time(text: str) -> float:
    """Read a duration such as ``60 s``, ``5 min`` or ``2 h``.

    Parameters
    ----------
    text : str
        One number, not negative, with s, min or h.

    Returns
    -------
    float
        Duration in s, at most 30 days.

    Raises
    ------
    ValueError
        If the text is anything else.
    """
    number, unit = number_and_unit(text, "'5 min'")
    if unit not in TIME_UNITS_S:
        raise refuse_unit(text, unit, "time", ["s", "min", "h"], "'5 min'")
    if number < 0:
        raise ValueError(f"{shown(text)} is negative; a time is at least 0 s")
    return bounded(number * TIME_UNITS_S[unit], TIME_LIMIT_S, text, "720 h")


def format_length(length_m: float) -> str:
    """Write a length in m as metric text: mm below 1 cm, cm below 3 m, else m."""
    size = abs(length_m)
    if NO_LENGTH_M <= size < 0.01:
        return f"{plain_number(length_m * 1000)} mm"
    if size < 3:
        return f"{in_centimetres(length_m)} cm"
    return f"{plain_number(length_m)} m"


def in_centimetres(length_m: float) -> str:
    """Write a length in m as a bare number of cm, for a column or list that names the unit."""
    return plain_number(length_m * 100) if abs(length_m) >= NO_LENGTH_M else "0"


def format_angle(angle_rad: float) -> str:
    """Write an angle in rad as text in degrees."""
    return f"{plain_number(math.degrees(angle_rad))} deg"


def format_share(share: float) -> str:
    """Write a share as text in per cent."""
    return f"{plain_number(share * 100)} %"


def format_flux(flux_umol_s: float) -> str:
    """Write a photon flux in µmol s⁻¹ as text."""
    return f"{plain_number(flux_umol_s)} µmol/s"


def format_flux_density(flux_density: float) -> str:
    """Write a photon flux density in µmol m⁻² s⁻¹ as text."""
    return f"{plain_number(flux_density)} µmol/m²/s"


def format_time(time_s: float) -> str:
    """Write a duration in s as text: s below 2 min, min below 2 h, else h."""
    if time_s < 120:
        return f"{plain_number(time_s, 3)} s"
    if time_s < 7200:
        return f"{plain_number(time_s / 60, 3)} min"
    return f"{plain_number(time_s / 3600, 3)} h"
