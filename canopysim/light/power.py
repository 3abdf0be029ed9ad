"""What the lights of a scene draw, weigh and launch, as plain values that outlive the scene."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

from canopysim.light.efficacy import efficacy_bound, full_ppf
from canopysim.light.fluxes import strip_fluxes

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene
    from canopysim.scene.schema_light import Fixture, Light


@dataclass(frozen=True)
class ChannelPower:
    """A channel of one fixture.

    Attributes
    ----------
    name : str
        In the fixture.
    output : float
        Share of the channel's full output as set.
    ppf_umol_s, flux_umol_s : float
        Photons at its full output: of 400-700 nm, and of all bands; µmol s⁻¹.
    power_share : float
        Its share of the fixture's input power while all channels are at full output; without
        stated watts, its share of the power that the photons carry.
    curve_w : list of [float, float]
        Its own curve, as that of `LightPower`; none where the fixture's driver feeds all.
    """

    name: str
    output: float
    ppf_umol_s: float
    flux_umol_s: float
    power_share: float
    curve_w: list[list[float]]


@dataclass(frozen=True)
class LightPower:
    """A light, or a row of equal ones; figures are those of one fixture unless they say otherwise.

    Attributes
    ----------
    number : int
        Of the light in its scene, from 1.
    fixture, group : str
        Names.
    count : int
        Fixtures in the row, or 1.
    output : float
        Share of full output as set, of a light without channels.
    ppf_umol_s : float
        Photons of 400-700 nm at full output, µmol s⁻¹.
    even_bound_umol_j, utmost_bound_umol_j : float
        Most photons of 400-700 nm per joule that its spectrum allows; see `EfficacyBound`.
    curve_w : list of [float, float]
        Output, ascending to 1, and input power, W; one point without a driver's curve, none where
        no power is stated.
    standby_w : float
        Input power while off, W; 0 if it is not stated.
    supply_v : list of float or None
        Lowest and highest voltage.
    power_factor, inrush_a, mass_kg : float or None
        As stated; A, kg.
    channels : list of ChannelPower
        What is set apart from each other; none where the fixture has no channels.
    channel_watts_stated : bool
        Whether the channels' shares of the input power are stated, rather than assumed.
    """

    number: int
    fixture: str
    group: str
    count: int
    output: float
    ppf_umol_s: float
    even_bound_umol_j: float
    utmost_bound_umol_j: float
    curve_w: list[list[float]]
    standby_w: float
    supply_v: list[float] | None
    power_factor: float | None
    inrush_a: float | None
    mass_kg: float | None
    channels: list[ChannelPower] = field(default_factory=list)
    channel_watts_stated: bool = False

    @property
    def outputs(self) -> tuple[float, ...]:
        """Shares of full output as set: one for each channel, or one for a light without any."""
        return tuple(channel.output for channel in self.channels) or (self.output,)

    @property
    def ppfs(self) -> tuple[float, ...]:
        """Photons of 400-700 nm at full output of what `outputs` has, µmol s⁻¹."""
        return tuple(channel.ppf_umol_s for channel in self.channels) or (self.ppf_umol_s,)

    @property
    def full_w(self) -> float | None:
        """Input power at full output, W."""
        return self.curve_w[-1][1] if self.curve_w else None

    @property
    def ppe_umol_j(self) -> float | None:
        """Photosynthetic photon efficacy at full output, 400-700 nm per input watt, µmol J⁻¹."""
        return self.ppf_umol_s / self.full_w if self.full_w is not None else None


def power_facts(scene: Scene) -> dict[str, Any]:
    """Gather what a scene states of electricity, weight and hours.

    Parameters
    ----------
    scene : Scene
        A checked scene.

    Returns
    -------
    dict
        Plain values: ``lights``, as `LightPower` has them; ``supply_v``, ``circuit_a``,
        ``price_per_kwh``, ``currency``, ``days_per_month``; ``photoperiod_h``, and ``schedule``
        with group, start_h, end_h, output and outputs of each period. Empty where nothing is
        stated.
    """
    from canopysim.scene.schema_power import Powered

    used = [scene.fixtures[light.fixture] for light in scene.lights]
    stated = scene.electricity
    if stated is None and not any(
        fixture.full_power is not None
        or any(getattr(fixture, name) is not None for name in Powered.model_fields)
        for fixture in used
    ):
        return {}
    price = stated.price if stated is not None else None
    photoperiod = stated.photoperiod if stated is not None else None
    return {
        "lights": [
            asdict(_light_power(number, light, fixture, scene.bands))
            for number, (light, fixture) in enumerate(zip(scene.lights, used, strict=True), 1)
        ],
        "supply_v": stated.supply if stated is not None else None,
        "circuit_a": stated.circuit if stated is not None else None,
        "price_per_kwh": price.per_kwh if price is not None else None,
        "currency": price.currency if price is not None else "",
        "days_per_month": stated.days_per_month if stated is not None else None,
        "photoperiod_h": photoperiod / 3600 if photoperiod is not None else None,
        "schedule": [
            {
                "group": period.group,
                "start_h": period.hours[0] / 3600,
                "end_h": period.hours[1] / 3600,
                "output": period.output,
                "outputs": dict(period.outputs),
            }
            for period in (stated.schedule if stated is not None else ())
        ],
    }


def _light_power(
    number: int, light: Light, fixture: Fixture, edges: tuple[float, ...]
) -> LightPower:
    bound = efficacy_bound(fixture, edges)
    return LightPower(
        number=number,
        fixture=light.fixture,
        group=light.group,
        count=light.row.count if light.row is not None else 1,
        output=light.output,
        ppf_umol_s=full_ppf(fixture, edges),
        even_bound_umol_j=bound.even,
        utmost_bound_umol_j=bound.utmost,
        curve_w=[list(point) for point in fixture.power_curve],
        standby_w=fixture.standby or 0.0,
        supply_v=list(fixture.supply) if fixture.supply is not None else None,
        power_factor=fixture.power_factor,
        inrush_a=fixture.inrush,
        mass_kg=fixture.mass,
        channels=_channels(light, fixture, edges),
        channel_watts_stated=any(c.full_power is not None for c in fixture.channel_loads.values()),
    )


def _channels(light: Light, fixture: Fixture, edges: tuple[float, ...]) -> list[ChannelPower]:
    loads = fixture.channel_loads
    watts = {name: load.full_power for name, load in loads.items()}
    stated = all(value is not None for value in watts.values())
    carried = {
        name: watts[name] or 0.0 if stated else efficacy_bound(fixture, edges, name).even_w
        for name in loads
    }
    fluxes = [flux for flux, _ in strip_fluxes(fixture, edges)]
    return [
        ChannelPower(
            name=name,
            output=light.output_of(name),
            ppf_umol_s=full_ppf(fixture, edges, name),
            flux_umol_s=sum(
                flux
                for strip, flux in zip(fixture.strips, fluxes, strict=True)
                if strip.channel == name
            ),
            power_share=carried[name] / sum(carried.values()),
            curve_w=[]
            if fixture.driver is not None
            else [list(point) for point in load.power_curve],
        )
        for name, load in loads.items()
    ]
