"""The circuit that feeds the lights, the price of electricity, and the lights' hours of a day."""

from typing import Annotated

from pydantic import Field, WithJsonSchema

from canopysim.scene.fields import Frozen, Name, Share, default, measured, parse_decimal
from canopysim.scene.schema_power import CURRENT_PATTERN
from canopysim.units import parse_time
from canopysim.units_power import Price, parse_current, parse_hours, parse_price, parse_voltage

MOST_PERIODS = 200

_read_volts, _volts = measured(parse_voltage, "230 V", r"^\s*[0-9.]+\s*V\s*$", more_than="0 V")
_read_rating, _rating = measured(parse_current, "16 A", CURRENT_PATTERN, more_than="0 A")
_read_price, _price = measured(
    parse_price, "0.30 per kWh", r"^\s*\S*\s*[0-9.]+\s*\S*\s*(/|per)\s*kWh\s*$"
)
_read_photoperiod, _photoperiod = measured(
    parse_time, "14 h", r"^\s*[0-9.]+\s*(s|min|h)\s*$", more_than="0 h", most="24 h"
)
_read_hours, _hours = measured(
    parse_hours, "6:00 to 20:00", r"^\s*[0-9]+:[0-9]{2}\s*(-|–|to)\s*[0-9]+:[0-9]{2}\s*$"
)
_read_days, _ = measured(parse_decimal, "30", "", least="1", most="31")


class Period(Frozen):
    """Hours of every day in which lights are on; outside all periods they are off."""

    hours: Annotated[tuple[float, float], _read_hours, _hours] = Field(
        description="From when to when, as in 6:00 to 20:00; over midnight too, 20:00 to 6:00."
    )
    group: Name | None = default(None, "Group of lights; every group of lights if left out.")
    output: Share | None = default(
        None,
        "Share of full output of each light of the group in these hours, instead of the light's "
        "own 'output', which holds if this is left out.",
    )
    outputs: dict[Name, Share] = default(
        {},
        "Outputs of single channels by name in these hours, of all lights of the group that have "
        "them; other channels have 'output', or what their light is set to.",
    )


class Electricity(Frozen):
    """What the lights are fed from, what that costs, and when they shine."""

    supply: Annotated[float, _read_volts, _volts] | None = default(
        None, "Voltage of the circuit, single-phase."
    )
    circuit: Annotated[float, _read_rating, _rating] | None = default(
        None, "Current that the circuit's breaker or fuse is rated for."
    )
    price: Annotated[Price, _read_price, _price] | None = default(
        None, "Price of electricity, as in 0.30 per kWh or 0.30 EUR per kWh."
    )
    days_per_month: Annotated[
        float, _read_days, WithJsonSchema({"type": "number", "minimum": 1, "maximum": 31})
    ] = default("30", "Days that count as a month.")
    photoperiod: Annotated[float, _read_photoperiod, _photoperiod] | None = default(
        None, "Hours a day in which all lights are on at their own 'output'; or write 'schedule'."
    )
    schedule: Annotated[tuple[Period, ...], Field(max_length=MOST_PERIODS)] = default(
        (), "Hours of the day by group of lights, with their outputs; instead of 'photoperiod'."
    )
