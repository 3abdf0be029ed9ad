"""Checks of channels: names, photons and watts of each, and the outputs that they are set to."""

from collections.abc import Iterable, Iterator

from canopysim.light.efficacy import full_ppf
from canopysim.light.fluxes import strip_fluxes
from canopysim.scene.document import EntryPath
from canopysim.scene.draft import Draft, Problem
from canopysim.scene.messages import instead
from canopysim.scene.schema_electricity import Period
from canopysim.scene.schema_light import Fixture, Light
from canopysim.units import format_share, shown
from canopysim.units_power import format_power

# A data sheet rounds photons to three digits, watts and shares to a few in a thousand.
FLUX_AGREES = 0.01
POWER_AGREES = 0.005


def check_channels(draft: Draft, path: EntryPath, fixture: Fixture) -> Iterator[Problem]:
    """Check that strips and channels belong together, and that all channels state alike.

    Parameters
    ----------
    draft : Draft
        What is sound of the scene.
    path : tuple of str and int
        The fixture.
    fixture : Fixture
        Of sound values.
    """
    names = fixture.channels
    if names and fixture.photometry is not None:
        yield (
            (*path, "channels"),
            "cannot be told apart in 'photometry', which is of the whole fixture; write 'strips'",
        )
        return
    lost = False
    for index, strip in enumerate(fixture.strips):
        at = (*path, "strips", index)
        lost = lost or strip.channel not in names
        if strip.channel is None and names:
            yield at, f"belongs to no channel; write 'channel', one of {', '.join(names)}"
        elif strip.channel is not None and strip.channel not in names:
            options = instead(strip.channel, names, "name it under 'channels' beside 'strips'")
            yield (
                (*at, "channel"),
                f"{shown(strip.channel)} is no channel of this fixture; {options}",
            )
    for name, channel in names.items():
        at = (*path, "channels", name)
        if not lost and not fixture.strips_of(name):
            yield at, f"has no strip; write 'channel: {name}' at one, or leave the channel out"
        if channel.ppf is not None and channel.photon_flux is not None:
            yield (*at, "photon_flux"), "stands beside 'ppf'; write one of the two"
    with_flux = [n for n, c in names.items() if c.ppf is not None or c.photon_flux is not None]
    yield from _all_or_none(path, names, with_flux, "photons", "'ppf' or 'photon_flux'")
    with_power = [n for n, c in names.items() if c.input_power is not None or c.driver is not None]
    yield from _all_or_none(path, names, with_power, "watts", "'input_power'")


def _all_or_none(
    path: EntryPath, names: Iterable[str], stating: list[str], what: str, entry: str
) -> Iterator[Problem]:
    for name in names:
        if stating and name not in stating:
            yield (
                (*path, "channels", name),
                f"states no {what}, but {shown(stating[0])} does; write {entry} at all channels "
                "or at none",
            )


def check_channel_fluxes(draft: Draft, path: EntryPath, fixture: Fixture) -> Iterator[Problem]:
    """Hold the photons that a fixture states against the sum of its channels'."""
    if not fixture.channels_state_flux:
        return
    edges = draft.scene.bands
    sums = {
        "ppf": (fixture.ppf, full_ppf(fixture, edges), "400-700 nm"),
        "photon_flux": (
            fixture.photon_flux,
            sum(flux for flux, _ in strip_fluxes(fixture, edges)),
            "all bands",
        ),
    }
    for entry, (stated, found, band) in sums.items():
        if stated is not None and abs(found - stated) > FLUX_AGREES * stated:
            yield (
                (*path, entry),
                f"{stated:.4g} umol/s is not what the channels make together, {found:.4g} umol/s "
                f"of {band}; write the same, or leave it out",
            )


def check_channel_power(draft: Draft, path: EntryPath, fixture: Fixture) -> Iterator[Problem]:
    """Hold the watts of channels against those of their fixture."""
    loads = fixture.channel_loads
    stated = fixture.input_power
    for name, channel in fixture.channels.items():
        at = (*path, "channels", name)
        share = channel.input_power is not None and channel.input_power.is_share
        if share and loads[name].full_power is None:
            yield (
                (*at, "input_power"),
                "is a share of the fixture's input_power, which is not stated; write it, or watts",
            )
            return
        if channel.driver is not None and fixture.driver is not None:
            yield (*at, "driver"), "stands beside the fixture's 'driver'; write one of the two"
            return
    parts = [load.full_power for load in loads.values()]
    whole = fixture.full_power
    if not parts or None in parts or whole is None:
        return
    total = sum(part for part in parts if part is not None)
    if abs(total - whole) > POWER_AGREES * whole:
        at = (*path, "input_power") if stated is not None else (*path, "driver")
        yield (
            at,
            f"{format_power(whole)} is not what the channels draw together, "
            f"{format_power(total)} ({format_share(round(total / whole, 4))} of it); write the "
            "same, or leave it out",
        )


def check_light_outputs(draft: Draft, path: EntryPath, light: Light) -> Iterator[Problem]:
    """Refuse outputs of channels that the light's fixture does not have."""
    fixture = draft.scene.fixtures.get(light.fixture)
    if fixture is None:
        return
    for name in light.outputs:
        if name not in fixture.channels:
            options = instead(name, fixture.channels, "it has none; write 'output' instead")
            yield (
                (*path, "outputs", name),
                f"{shown(name)} is no channel of the fixture {shown(light.fixture)}; {options}",
            )


def check_period_outputs(draft: Draft, path: EntryPath, period: Period) -> Iterator[Problem]:
    """Refuse outputs of channels that no light of the period's group has."""
    scene = draft.scene
    known: dict[str, None] = {}
    for light in scene.lights:
        fixture = scene.fixtures.get(light.fixture)
        if period.group in (None, light.group) and fixture is None:
            return  # a light whose fixture is wrong may have the channel
        if period.group in (None, light.group) and fixture is not None:
            known.update(dict.fromkeys(fixture.channels))
    whose = f"the lights of {shown(period.group)}" if period.group else "the lights"
    for name in period.outputs:
        if name not in known:
            options = instead(name, known, "they have none; write 'output' instead")
            yield (*path, "outputs", name), f"{shown(name)} is no channel of {whose}; {options}"
