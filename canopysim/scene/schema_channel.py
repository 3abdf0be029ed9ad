"""Channels of a fixture: strips that are set together, with photons and watts of their own."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import PlainValidator, WithJsonSchema

from canopysim.scene.fields import Frozen, PositiveFlux, as_text, default
from canopysim.scene.light_spectrum import LightSpectrumField
from canopysim.scene.schema_power import Driver, DriverCurve, DriverPoint, driver_watts
from canopysim.units import parse_share, shown
from canopysim.units_power import parse_power

MOST_CHANNELS = 24
_SHARE = re.compile(r".*%\s*")


@dataclass(frozen=True)
class Amount:
    """Input power of a channel at its full output.

    Attributes
    ----------
    value : float
        W, or a share of the fixture's input power.
    is_share : bool
        Which of the two.
    """

    value: float
    is_share: bool


def read_amount(value: object) -> Amount:
    """Read watts or a share, both above zero."""
    if isinstance(value, Amount):
        return value
    text = as_text(value, "'62 W'")
    is_share = _SHARE.fullmatch(text) is not None
    amount = parse_share(text) if is_share else parse_power(text)
    if amount <= 0:
        raise ValueError(f"{shown(text)} is too small; allowed is more than 0")
    return Amount(amount, is_share)


class Channel(Frozen):
    """Strips of a fixture that are set together, apart from its other strips."""

    ppf: PositiveFlux | None = default(
        None, "Photons of 400-700 nm that leave the channel's strips at its full output."
    )
    photon_flux: PositiveFlux | None = default(
        None, "Photons of all bands of the scene leaving them; instead of ppf, as for far-red."
    )
    spectrum: LightSpectrumField | None = default(
        None, "Make-up of the channel's photons; the fixture's if left out."
    )
    input_power: (
        Annotated[
            Amount,
            PlainValidator(read_amount, json_schema_input_type=Any),
            WithJsonSchema({"type": "string", "pattern": r"^\s*[0-9.]+\s*(k?W|%)\s*$"}),
        ]
        | None
    ) = default(
        None,
        "Electrical power that the channel draws at its full output, in W or as a share of the "
        "fixture's input_power.",
    )
    driver: DriverCurve | None = default(
        None,
        "Input power at shares of the channel's full output, in W or as shares of that at full "
        "output; in proportion to the output if neither channel nor fixture has a curve.",
    )


@dataclass(frozen=True)
class ChannelLoad:
    """What a channel draws, in W.

    Attributes
    ----------
    driver : Driver or None
        Its own curve.
    full_power : float or None
        At its full output, W; None where that is not stated.
    """

    driver: Driver | None
    full_power: float | None

    def watts(self) -> Iterator[tuple[DriverPoint, float]]:
        """Go through the points of its own curve, each with its input power in W."""
        return driver_watts(self.driver, self.full_power)

    @property
    def power_curve(self) -> tuple[tuple[float, float], ...]:
        """Outputs and input powers, W, ascending to full output; () where none is stated."""
        if self.full_power is None:
            return ()
        below = [(point.output, watts) for point, watts in self.watts() if point.output < 1]
        return (*below, (1.0, self.full_power))


def channel_load(channel: Channel, fixture_w: float | None) -> ChannelLoad:
    """Find what a channel draws of its fixture's input power, W, where that is stated."""
    stated = channel.input_power
    if stated is None:
        last = channel.driver.points[-1] if channel.driver is not None else None
        whole = last is not None and last.output == 1 and not last.is_share
        return ChannelLoad(channel.driver, last.amount if last is not None and whole else None)
    if not stated.is_share:
        return ChannelLoad(channel.driver, stated.value)
    return ChannelLoad(channel.driver, None if fixture_w is None else stated.value * fixture_w)
