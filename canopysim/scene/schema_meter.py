"""Meters and where they lie: what a reading would be, and what is truly there."""

import math
from typing import Annotated, Any

from pydantic import AfterValidator, Field, PlainValidator, WithJsonSchema

from canopysim.errors import CanopysimError
from canopysim.light.meter import RESPONSES, Response, response_table
from canopysim.scene.fields import (
    Angle,
    FileSafeName,
    Frozen,
    LengthFromZero,
    Name,
    Point,
    PositiveLength,
    default,
    refuse,
)
from canopysim.units import parse_angle, parse_share, shown


def _read_response(value: object) -> Response:
    """Read the name of an ideal response, or a table of one."""
    if isinstance(value, Response):
        return value
    if isinstance(value, str) and value in RESPONSES:
        return RESPONSES[value]
    if isinstance(value, dict) and ("file" in value or "table" in value):
        for key in value:
            if key not in ("file", "table"):
                refuse("cannot stand beside 'file'; leave it out", key)
        if "table" not in value:
            raise ValueError("the table of its file could not be read")
        try:
            return response_table(str(value["table"]), str(value.get("file", "table")))
        except CanopysimError as error:
            raise ValueError(str(error)) from None
    raise ValueError(
        f"{shown(str(value))} is not a response; write {', '.join(RESPONSES)}, or {{file: ...}} "
        "with a table of nm and share counted of each photon"
    )


def _read_cosine(value: object) -> tuple[tuple[float, float], ...]:
    """Read shares of the cosine law by angle of incidence, rad; between them a straight line."""
    if value == "ideal":
        return ()
    if not isinstance(value, dict) or not value:
        raise ValueError(
            "write 'ideal', or shares by angle such as {45 deg: 98 %, 75 deg: 95 %, 85 deg: 80 %}"
        )
    found = []
    for key, share in value.items():
        try:
            angle, part = parse_angle(str(key)), parse_share(str(share))
        except ValueError as error:
            refuse(str(error), key)
        if not 0 <= angle <= parse_angle("90 deg"):
            refuse(f"{shown(str(key))} is out of range; allowed is 0 deg to 90 deg", key)
        found.append((angle, part))
    return tuple(sorted(found))


def _small_angle(angle: float) -> float:
    if not 0.0 <= angle <= parse_angle("20 deg"):
        raise ValueError(
            f"{math.degrees(angle):g} deg is out of range; allowed is 0 deg to 20 deg, and more is "
            "the 'tilt' of a probe"
        )
    return angle


class Meter(Frozen):
    """A light meter: what it counts of which photon, from which direction."""

    response: Annotated[
        Response, PlainValidator(_read_response), WithJsonSchema({"type": ["string", "object"]})
    ] = default(
        "par",
        "What it counts: 'par' (ideal, 400-700 nm), 'epar' (400-750 nm), 'lux', 'ypf' (photons as "
        "leaves use them), or {file: sensor.csv} with nm and share counted of each photon.",
    )
    cosine: Annotated[
        tuple[tuple[float, float], ...],
        PlainValidator(_read_cosine),
        WithJsonSchema({"type": ["string", "object"]}),
    ] = default("ideal", "'ideal', or what it reads of slanting light: {75 deg: 95 %, ...}.")
    factor: Annotated[float, PlainValidator(lambda v: _read_factor(v))] = default(
        "1", "Calibration factor by which its reading is multiplied."
    )
    levelling: Annotated[Angle, AfterValidator(_small_angle)] = default(
        "0 deg",
        "By how much it may lean unawares, to any side; the result tells what that does to its "
        "reading.",
    )


def _read_factor(value: Any) -> float:
    from canopysim.scene.fields import as_text, parse_decimal

    factor = parse_decimal(as_text(value, "'1.03'").strip())
    if not 0.01 <= factor <= 100:
        raise ValueError(f"{shown(str(value))} is out of range; allowed is 0.01 to 100")
    return factor


class Probe(Frozen):
    """A place at which light is told from all sides, and what a meter would read there."""

    name: FileSafeName = Field(description="Name: small letters, digits, '-'.")
    at: Point = Field(description="Place [x, y] of the sensor.")
    height: LengthFromZero | None = default(None, "Height above the floor; or write above_canopy.")
    above_canopy: LengthFromZero | None = default(
        None, "Height above the canopy's top; instead of height."
    )
    tilt: Angle = default("0 deg", "How far the sensor's face leans from facing up.")
    turn: Angle = default(
        "0 deg", "Where it leans to: 0 deg towards +x (right), 90 deg towards +y (back)."
    )
    radius: PositiveLength = default(
        "2 cm", "Radius of the ball over which light is averaged; smaller needs more packets."
    )
    meter: Name | None = default(
        None, "A name under 'meters'; an ideal 400-700 nm sensor if left out."
    )
