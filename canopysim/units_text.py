"""What all texts with a unit share: one number, one unit, and the sentences that refuse others.

A pattern gates every text before any arithmetic: only one plain decimal number and one known
unit pass, so no text can hang, overflow or be read as something else.
"""

import math
import re
from decimal import Decimal

# Longer texts are refused unread.
LONGEST_TEXT = 60

NUMBER = r"[+-]?(?:[0-9]{1,20}(?:\.[0-9]{0,20})?|\.[0-9]{1,20})(?:[eE][+-]?[0-9]{1,2})?"
_NUMBER_AND_UNIT = re.compile(rf"({NUMBER})\s*(.*)")
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")
_OTHER_WORDS = {
    "inch": "in",
    "inches": "in",
    '"': "in",
    "″": "in",
    "''": "in",
    "foot": "ft",
    "feet": "ft",
    "'": "ft",
    "′": "ft",
    "metre": "m",
    "meter": "m",
    "metres": "m",
    "meters": "m",
    "°": "deg",
    "º": "deg",
    "degree": "deg",
    "degrees": "deg",
    "radian": "rad",
    "radians": "rad",
    "sec": "s",
    "second": "s",
    "seconds": "s",
    "minute": "min",
    "minutes": "min",
    "hour": "h",
    "hours": "h",
    "percent": "%",
    "watt": "W",
    "watts": "W",
    "kilowatt": "kW",
    "kilowatts": "kW",
    "volt": "V",
    "volts": "V",
    "amp": "A",
    "amps": "A",
    "ampere": "A",
    "amperes": "A",
    "kilo": "kg",
    "kilos": "kg",
    "kilogram": "kg",
    "kilograms": "kg",
    "lbs": "lb",
    "pound": "lb",
    "pounds": "lb",
}
# One spelling for what people paste: no-break blanks, the true minus sign, both micro signs,
# superscripts and the middle dot.
SPELLINGS = str.maketrans(
    {
        "\u00a0": " ",
        "\u2009": " ",
        "\u202f": " ",
        "\u2212": "-",
        "\u00b5": "u",
        "\u03bc": "u",
        "⁻": "-",
        "¹": "1",
        "²": "2",
        "·": " ",
        "⋅": " ",
        "^": "",
    }
)


def shown(text: str, longest: int = LONGEST_TEXT) -> str:
    """Quote a user's text for a one-line message: shortened, nothing unprintable.

    Parameters
    ----------
    text : str
        Any text.
    longest : int
        Greatest number of characters that are kept.

    Returns
    -------
    str
        The text between single quotes, or double ones if it holds a single one.
    """
    cut = text if len(text) <= longest else text[: longest - 1] + "…"
    clean = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in cut)
    return f'"{clean}"' if "'" in clean else f"'{clean}'"


def number_and_unit(text: str, example: str) -> tuple[Decimal, str]:
    """Split a text into its number and its unit as written (may be empty)."""
    if len(text) > LONGEST_TEXT:
        raise ValueError(f"{shown(text)} is too long for a number with a unit; write {example}")
    plain = text.translate(SPELLINGS).strip()
    if not plain:
        raise ValueError(f"nothing is written here; write for example {example}")
    if _DECIMAL_COMMA.match(plain):
        raise ValueError(f"{shown(text)} has a comma; write the number with a point, as in '1.5'")
    found = _NUMBER_AND_UNIT.fullmatch(plain)
    if found is None:
        raise ValueError(f"{shown(text)} is not a number with a unit; write for example {example}")
    return Decimal(found[1]), " ".join(found[2].split())


def refuse_unit(text: str, unit: str, kind: str, allowed: list[str], example: str) -> ValueError:
    """Make the error for a missing or unknown unit."""
    if not unit:
        number = text.strip()
        sample = f"{number} {allowed[0]}" if len(number) <= 12 else example.strip("'")
        return ValueError(f"{shown(text)} has no unit; write for example '{sample}'")
    meant = _OTHER_WORDS.get(unit.lower(), unit).lower()
    known = [word for word in allowed if word.lower() == meant]
    hint = f"did you mean '{known[0]}'? " if known else ""
    return ValueError(
        f"{shown(text)}: {shown(unit)} is not a unit of {kind}; {hint}allowed: {', '.join(allowed)}"
    )


def bounded(value: Decimal, limit: float, text: str, most: str) -> float:
    """Return a finite float of bounded size, or refuse."""
    number = float(value)
    if not math.isfinite(number) or abs(number) > limit:
        raise ValueError(f"{shown(text)} is out of range; at most {most}")
    return number


def plain_number(value: float, digits: int = 4) -> str:
    """Write a number with so many significant digits, without an exponent where it reads well."""
    if value == 0 or not math.isfinite(value):
        return f"{value:g}".lstrip("-") if value == 0 else f"{value:g}"
    exponent = math.floor(math.log10(abs(value)))
    if -6 <= exponent < 9:
        text = f"{round(value, digits - 1 - exponent):.{max(digits - 1 - exponent, 0)}f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    return f"{value:.{digits}g}"
