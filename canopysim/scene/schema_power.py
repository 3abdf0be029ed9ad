"""What a light draws, weighs and needs from its socket: entries of a fixture, all optional."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import PlainValidator, WithJsonSchema

from canopysim.scene.fields import (
    Frozen,
    as_text,
    default,
    found,
    measured,
    parse_decimal,
    refuse,
)
from canopysim.units import parse_share, shown
from canopysim.units_power import (
    parse_current,
    parse_efficacy,
    parse_mass,
    parse_power,
    parse_voltages,
)

MOST_POINTS = 100
POWER_PATTERN = r"^\s*[0-9.]+\s*k?W\s*$"
VOLTS_PATTERN = r"^\s*[0-9.]+\s*(V?\s*(-|–|to)\s*[0-9.]+\s*)?V\s*$"
CURRENT_PATTERN = r"^\s*[0-9.]+\s*A\s*$"
_SHARE_KEY = r"^\s*[0-9.]+\s*%\s*$"

_read_power, _power = measured(parse_power, "105 W", POWER_PATTERN, more_than="0 W")
_read_idle, _idle = measured(parse_power, "0.5 W", POWER_PATTERN)
_read_volts, _volts = measured(parse_voltages, "100-277 V", VOLTS_PATTERN)
_read_current, _current = measured(parse_current, "30 A", CURRENT_PATTERN, more_than="0 A")
_read_mass, _mass = measured(parse_mass, "2.4 kg", r"^\s*[0-9.]+\s*(kg|g|lb)\s*$", more_than="0 kg")
_read_factor, _ = measured(parse_decimal, "0.95", "", more_than="0", most="1")

_read_efficacy, _efficacy = measured(
    parse_efficacy, "2.7 umol/J", r"^\s*[0-9.]+\s*[uµμ]mol.*$", more_than="0 umol/J"
)

Efficacy = Annotated[float, _read_efficacy, _efficacy]
InputPower = Annotated[float, _read_power, _power]
IdlePower = Annotated[float, _read_idle, _idle]
Voltages = Annotated[tuple[float, float], _read_volts, _volts]
Inrush = Annotated[float, _read_current, _current]
Mass = Annotated[float, _read_mass, _mass]
PowerFactor = Annotated[
    float,
    _read_factor,
    WithJsonSchema({"type": "number", "exclusiveMinimum": 0, "maximum": 1}),
]


@dataclass(frozen=True)
class DriverPoint:
    """What a light draws at one share of full output.

    Attributes
    ----------
    key : str
        The output as written, by which the entry is found in its file.
    output : float
        Share of full output, above 0, at most 1.
    amount : float
        Input power: W, or a share of the input power at full output.
    is_share : bool
        Which of the two.
    """

    key: str
    output: float
    amount: float
    is_share: bool


@dataclass(frozen=True)
class Driver:
    """Input power over output, as points that are joined by straight lines.

    Parameters
    ----------
    points : tuple of DriverPoint
        At least one, ascending in output.
    """

    points: tuple[DriverPoint, ...]


def _read_point(key: str, entry: object) -> DriverPoint:
    """Read one point; `ValueError` for what is none."""
    output = parse_share(key)
    if output <= 0:
        raise ValueError(
            "at 0 % the light is off; write what it draws then as 'standby', beside 'driver'"
        )
    text = as_text(entry, "'54 W'")
    is_share = text.strip().endswith("%")
    amount = parse_share(text) if is_share else parse_power(text)
    if amount <= 0:
        raise ValueError(f"{shown(text)} is too small; a light that shines draws more than 0 W")
    return DriverPoint(key, output, amount, is_share)


def read_driver(value: object) -> Driver:
    """Read a mapping of outputs to input powers, in W or as shares of that at full output."""
    if isinstance(value, Driver):
        return value
    example = "{100 %: 105 W, 50 %: 54 W, 10 %: 14 W}"
    if not isinstance(value, dict):
        raise ValueError(f"{found(value)}; write a mapping of outputs to watts, as in {example}")
    if not value:
        raise ValueError(f"the mapping is empty; write for example {example}")
    if len(value) > MOST_POINTS:
        raise ValueError(f"{len(value)} points are too many; at most {MOST_POINTS}")
    points: dict[float, DriverPoint] = {}
    for key, entry in value.items():
        try:
            point = _read_point(str(key), entry)
        except ValueError as error:
            refuse(str(error), key)
        if point.output in points:
            refuse(f"is the same output as {shown(points[point.output].key)}; write it once", key)
        points[point.output] = point
    return Driver(tuple(points[output] for output in sorted(points)))


_AMOUNT: dict[str, Any] = {"type": "string", "pattern": r"^\s*[0-9.]+\s*(k?W|%)\s*$"}
DriverCurve = Annotated[
    Driver,
    PlainValidator(read_driver, json_schema_input_type=Any),
    WithJsonSchema(
        {
            "type": "object",
            "patternProperties": {_SHARE_KEY: _AMOUNT},
            "additionalProperties": False,
            "minProperties": 1,
        }
    ),
]


def driver_watts(
    driver: Driver | None, full_w: float | None
) -> Iterator[tuple[DriverPoint, float]]:
    """Go through the points of a driver's curve, each with its input power in W.

    Nothing comes where the curve is missing, or holds shares of a power that is not stated.
    """
    for point in driver.points if driver is not None else ():
        if not point.is_share:
            yield point, point.amount
        elif full_w is not None:
            yield point, point.amount * full_w


class Powered(Frozen):
    """What a fixture states of electricity and weight; each light of a row draws and weighs it."""

    input_power: InputPower | None = default(
        None, "Electrical power that it draws from its supply at full output."
    )
    driver: DriverCurve | None = default(
        None,
        "Input power at shares of full output, in W or as shares of that at full output, as in "
        "{100 %: 105 W, 50 %: 54 W, 10 %: 14 W}; in proportion to the output if left out.",
    )
    ppe: Efficacy | None = default(
        None,
        "Photosynthetic photon efficacy as the data sheet claims it, 400-700 nm per input watt at "
        "full output; held against photons and watts, which are what counts.",
    )
    standby: IdlePower | None = default(
        None, "Electrical power that it draws while it is off but connected."
    )
    supply: Voltages | None = default(
        None, "Voltages that it runs on, as in 100-277 V, or one voltage."
    )
    power_factor: PowerFactor | None = default(
        None, "Input watts over volts times amperes, at full output."
    )
    inrush: Inrush | None = default(None, "Greatest current in the moment of switching on.")
    mass: Mass | None = default(None, "Mass that hangs from its hooks.")

    @property
    def full_power(self) -> float | None:
        """Input power at full output, W; None where none is stated."""
        if self.input_power is not None or self.driver is None:
            return self.input_power
        last = self.driver.points[-1]
        return None if last.is_share or last.output < 1 else last.amount

    def watts(self) -> Iterator[tuple[DriverPoint, float]]:
        """Go through the points of the driver's curve, each with its input power in W."""
        return driver_watts(self.driver, self.full_power)

    @property
    def power_curve(self) -> tuple[tuple[float, float], ...]:
        """Outputs and input powers, W, ascending to full output; () where no power is stated."""
        full = self.full_power
        if full is None:
            return ()
        below = [(point.output, watts) for point, watts in self.watts() if point.output < 1]
        return (*below, (1.0, full))
