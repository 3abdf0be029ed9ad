"""The kinds of value that a scene file holds: each from plain text, each with its limits.

Every scalar reaches these types as text. A bare number where a unit belongs, a list where one
value belongs, or nothing at all gives a sentence that says what to write instead.
"""

import re
from collections.abc import Callable
from typing import Annotated, Any, NoReturn

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from canopysim import units
from canopysim.units import shown

LENGTH_PATTERN = r"^\s*[+-]?[0-9.]+\s*(mm|cm|m|in|ft)\s*$|^\s*[0-9]+\s*ft\s+[0-9.]+\s*in\s*$"
NAME = re.compile(r"[^\W_][\w-]{0,39}")
FILE_SAFE_NAME = re.compile(r"[a-z0-9]([a-z0-9-]{0,38}[a-z0-9])?")
_COUNT = re.compile(r"0|[1-9][0-9]{0,18}")
_DECIMAL = re.compile(r"[0-9]{1,12}(\.[0-9]{1,12})?")
_PACKETS = re.compile(
    r"([0-9]{1,15}(?:\.[0-9]{1,9})?)(?:[eE]\+?([0-9]{1,2})|\s+(thousand|million))?"
)
_YES_NO = {"true": True, "yes": True, "false": False, "no": False}


class Frozen(BaseModel):
    """Base of every scene model: unchangeable, no unknown keys, defaults checked like input."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True)


def default(value: Any, description: str) -> Any:
    """Declare a field that may be left out; the default is written as the user would write it."""
    return Field(default=value, description=description)


def refuse(message: str, *at: str | int) -> NoReturn:
    """Raise a problem found at a place below the value that is being read."""
    raise PydanticCustomError("scene_problem", "{text}", {"text": message, "at": list(at)})


def found(value: object) -> str:
    """Name what stands where something of another shape should."""
    if isinstance(value, dict):
        return "a mapping stands here"
    if isinstance(value, list | tuple):
        return "a list stands here"
    if isinstance(value, str):
        return f"{shown(value)} is a single value" if value.strip() else "nothing is written here"
    return f"{value!r} is not text"


def as_text(value: object, example: str) -> str:
    """Return a scalar's text, or say what should be written."""
    if not isinstance(value, str):
        raise ValueError(f"{found(value)}; write one value such as {example}")
    if not value.strip():
        raise ValueError(f"nothing is written here; write for example {example}")
    return value


def _scalar(parse: Callable[[str], Any], example: str) -> PlainValidator:
    """Validate one text by a parser."""

    def check(value: object) -> Any:
        return parse(as_text(value, example))

    return PlainValidator(check, json_schema_input_type=Any)


def _limited(
    parse: Callable[[str], float],
    least: str | None = None,
    most: str | None = None,
    more_than: str | None = None,
    less_than: str | None = None,
) -> Callable[[str], float]:
    """Add limits, written as the user would write them, to a parser."""

    def check(text: str) -> float:
        value = parse(text)
        if least is not None and value < parse(least):
            raise ValueError(f"{shown(text)} is too small; allowed is {least} or more")
        if more_than is not None and value <= parse(more_than):
            raise ValueError(f"{shown(text)} is too small; allowed is more than {more_than}")
        if most is not None and value > parse(most):
            raise ValueError(f"{shown(text)} is too large; allowed is {most} or less")
        if less_than is not None and value >= parse(less_than):
            raise ValueError(f"{shown(text)} is too large; allowed is less than {less_than}")
        return value

    return check


def parse_count(text: str, least: int = 0, most: int = 2**32 - 1) -> int:
    """Read a bare whole number; no sign, no separators, no exponent, no leading zero."""
    if _COUNT.fullmatch(text.strip()) is None:
        raise ValueError(f"{shown(text)} is not a whole number; write digits only, as in '8'")
    value = int(text)
    if not least <= value <= most:
        raise ValueError(f"{shown(text)} is out of range; allowed is {least} to {most}")
    return value


def parse_decimal(text: str) -> float:
    """Read a bare decimal number, which only quantities without a unit may be."""
    if _DECIMAL.fullmatch(text.strip()) is None:
        raise ValueError(f"{shown(text)} is not a plain decimal number; write for example '3.0'")
    return float(text)


def parse_packets(text: str) -> int:
    """Read a number of packets: ``200000``, ``2e8`` or ``200 million``."""
    match = _PACKETS.fullmatch(text.strip())
    most = 10**13
    if match is not None:
        scale: int = {"thousand": 3, "million": 6}.get(match[3] or "", int(match[2] or 0))
        whole, _, part = match[1].partition(".")
        part = part.rstrip("0")
        # Exact in integers: 1.5e6 is a whole number of packets, 1.5 is not.
        if len(part) <= scale <= 30:
            value = int(f"{whole}{part}{'0' * (scale - len(part))}")
            if 1 <= value <= most:
                return value
            raise ValueError(f"{shown(text)} is out of range; allowed is 1 to 1e13 packets")
    raise ValueError(
        f"{shown(text)} is not a number of packets; write for example '2e8' or '200 million'"
    )


def parse_yes_no(text: str) -> bool:
    """Read true, false, yes or no."""
    if text.strip() not in _YES_NO:
        raise ValueError(f"{shown(text)} is neither true nor false; write 'true' or 'false'")
    return _YES_NO[text.strip()]


def parse_name(text: str) -> str:
    """Read the name of a thing in the scene."""
    if NAME.fullmatch(text) is None:
        raise ValueError(
            f"{shown(text)} cannot be a name; use letters, digits, '-' and '_', at most 40, "
            "beginning with a letter or digit"
        )
    return text


def parse_file_safe_name(text: str) -> str:
    """Read a name that also names a file."""
    if FILE_SAFE_NAME.fullmatch(text) is None:
        raise ValueError(
            f"{shown(text)} cannot be a name, as files are named by it too; use small letters "
            "a-z, digits and '-' between them, at most 40"
        )
    return text


def parse_line(text: str) -> str:
    """Read one line of free text."""
    line = " ".join(text.split())
    if len(line) > 200 or not line.isprintable():
        raise ValueError(f"{shown(text)} is not a line of text; at most 200 printable characters")
    return line


def counted(least: int, most: int) -> Any:
    """Make the validator of a bare whole number from `least` to `most`."""
    return _scalar(lambda text: parse_count(text, least, most), f"'{max(least, 1)}'")


def whole(least: int, most: int) -> Any:
    """Make the JSON Schema of a bare whole number from `least` to `most`."""
    return WithJsonSchema({"type": "integer", "minimum": least, "maximum": most})


def _unit_schema(example: str, pattern: str) -> WithJsonSchema:
    """Make the JSON Schema of a text with a unit."""
    return WithJsonSchema({"type": "string", "pattern": pattern, "examples": [example]})


def measured(
    parse: Callable[[str], Any], example: str, pattern: str, **limits: str
) -> tuple[PlainValidator, WithJsonSchema]:
    """Make validator and JSON Schema of a text with a unit that a parser of another module reads.

    `limits` are those of `_limited`: least, most, more_than, less_than, as a user would write them.
    """
    check = _limited(parse, **limits) if limits else parse
    return _scalar(check, f"'{example}'"), _unit_schema(example, pattern)


_LENGTH = _unit_schema("45 cm", LENGTH_PATTERN)
_ANGLE = _unit_schema("30 deg", r"^\s*[+-]?[0-9.]+\s*(deg|rad)\s*$")
_SHARE = _unit_schema("12 %", r"^\s*[0-9.]+\s*%\s*$")
_FLUX = _unit_schema("480 umol/s", r"^\s*[0-9.]+\s*[uµμ]mol(/s| s-1| s⁻¹)\s*$")
_FLUX_DENSITY = _unit_schema("600 umol/m2/s", r"^\s*[0-9.]+\s*[uµμ]mol.*s(-1|⁻¹)?\)?\s*$")
_TIME = _unit_schema("5 min", r"^\s*[0-9.]+\s*(s|min|h)\s*$")

Length = Annotated[float, _scalar(units.parse_length, "'45 cm'"), _LENGTH]
LengthFromZero = Annotated[
    float, _scalar(_limited(units.parse_length, least="0 cm"), "'45 cm'"), _LENGTH
]
PositiveLength = Annotated[
    float, _scalar(_limited(units.parse_length, least="0.01 mm"), "'45 cm'"), _LENGTH
]
RoomLength = Annotated[
    float, _scalar(_limited(units.parse_length, least="1 mm", most="100 m"), "'150 cm'"), _LENGTH
]
Angle = Annotated[
    float, _scalar(_limited(units.parse_angle, "-360 deg", "360 deg"), "'30 deg'"), _ANGLE
]
BeamWidth = Annotated[
    float,
    _scalar(_limited(units.parse_angle, more_than="0 deg", less_than="180 deg"), "'120 deg'"),
    _ANGLE,
]
Zenith = Annotated[
    float, _scalar(_limited(units.parse_angle, "0 deg", less_than="90 deg"), "'60 deg'"), _ANGLE
]
Inclination = Annotated[
    float, _scalar(_limited(units.parse_angle, "-90 deg", "90 deg"), "'10 deg'"), _ANGLE
]
UprightAngle = Annotated[
    float, _scalar(_limited(units.parse_angle, "0 deg", "180 deg"), "'60 deg'"), _ANGLE
]
FacetAngle = Annotated[
    float, _scalar(_limited(units.parse_angle, "0 deg", "45 deg"), "'8 deg'"), _ANGLE
]
RefractiveIndex = Annotated[
    float,
    _scalar(_limited(parse_decimal, least="1.01", most="3"), "'1.45'"),
    WithJsonSchema({"type": "number", "minimum": 1.01, "maximum": 3}),
]
FoldAngle = Annotated[
    float, _scalar(_limited(units.parse_angle, "-60 deg", "80 deg"), "'10 deg'"), _ANGLE
]
Bend = Annotated[
    float, _scalar(_limited(units.parse_angle, "-180 deg", "180 deg"), "'40 deg'"), _ANGLE
]
BranchAngle = Annotated[
    float, _scalar(_limited(units.parse_angle, "0 deg", "80 deg"), "'25 deg'"), _ANGLE
]
Share = Annotated[float, _scalar(units.parse_share, "'12 %'"), _SHARE]
PositiveShare = Annotated[
    float, _scalar(_limited(units.parse_share, more_than="0 %"), "'12 %'"), _SHARE
]
HalfShare = Annotated[float, _scalar(_limited(units.parse_share, most="50 %"), "'10 %'"), _SHARE]
PositiveFlux = Annotated[
    float, _scalar(_limited(units.parse_flux, more_than="0 umol/s"), "'480 umol/s'"), _FLUX
]
PositiveFluxDensity = Annotated[
    float,
    _scalar(_limited(units.parse_flux_density, more_than="0 umol/m2/s"), "'600 umol/m2/s'"),
    _FLUX_DENSITY,
]
Duration = Annotated[float, _scalar(_limited(units.parse_time, least="1 s"), "'5 min'"), _TIME]
LeafAreaIndex = Annotated[
    float,
    _scalar(_limited(parse_decimal, least="0.01", most="20"), "'3.0'"),
    WithJsonSchema({"type": "number", "minimum": 0.01, "maximum": 20}),
]
Acclimation = Annotated[
    float,
    _scalar(_limited(parse_decimal, least="0", most="2"), "'0.5'"),
    WithJsonSchema({"type": "number", "minimum": 0, "maximum": 2}),
]
Seed = Annotated[int, counted(0, 2**32 - 1), whole(0, 2**32 - 1)]
Packets = Annotated[
    int,
    _scalar(parse_packets, "'2e8'"),
    WithJsonSchema({"type": ["integer", "number", "string"], "examples": ["200 million"]}),
]
YesNo = Annotated[bool, _scalar(parse_yes_no, "'true'"), WithJsonSchema({"type": "boolean"})]
Name = Annotated[
    str,
    _scalar(parse_name, "'lining'"),
    WithJsonSchema({"type": "string", "pattern": r"^[^\W_][\w-]{0,39}$"}),
]
FileSafeName = Annotated[
    str,
    _scalar(parse_file_safe_name, "'canopy-top'"),
    WithJsonSchema({"type": "string", "pattern": r"^[a-z0-9]([a-z0-9-]{0,38}[a-z0-9])?$"}),
]
Line = Annotated[
    str,
    _scalar(parse_line, "'Sweet peppers in a lined tent'"),
    WithJsonSchema({"type": "string", "minLength": 1, "maxLength": 200}),
]
Point = tuple[Length, Length]
