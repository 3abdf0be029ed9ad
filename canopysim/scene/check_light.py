"""Checks of what shines: fixtures, lights, daylight, and that anything shines at all."""

import math
from collections.abc import Iterator, Sequence

from canopysim.bands import PAR, within
from canopysim.scene.check_channels import (
    check_channel_fluxes,
    check_channels,
    check_light_outputs,
)
from canopysim.scene.check_power import check_fixture_power
from canopysim.scene.check_space import check_either_height, check_name, check_point
from canopysim.scene.document import EntryPath
from canopysim.scene.draft import Draft, Problem
from canopysim.scene.light_spectrum import LightSpectrum, TableSpectrum
from canopysim.scene.schema_daylight import Daylight
from canopysim.scene.schema_light import Body, Fixture, Light, Strip
from canopysim.scene.spectral import SUM_TOLERANCE
from canopysim.units import format_angle, format_length, format_share, shown

# Results hold the sum over all groups under this name.
RESERVED_GROUP = "all"


def check_lights(draft: Draft) -> Iterator[Problem]:
    """Check fixtures, lights and daylight."""
    for name, fixture in draft.scene.fixtures.items():
        wrong = list(_check_fixture(draft, ("fixtures", name), fixture))
        yield from wrong
        yield from check_fixture_power(draft, ("fixtures", name), fixture, light_is_sound=not wrong)
    for path, light in draft.listed("lights"):
        yield from check_name(draft, (*path, "fixture"), light.fixture, "fixtures")
        yield from _check_group(path, light.group)
        yield from check_either_height(draft, path, light.height, light.above_canopy)
        yield from check_point(draft, (*path, "at"), light.at)
        yield from check_light_outputs(draft, path, light)
    for path, daylight in draft.listed("daylight"):
        yield from _check_group(path, daylight.group)
        yield from _check_daylight(draft, path, daylight)
    yield from _check_anything_shines(draft)


def _check_group(path: EntryPath, group: str) -> Iterator[Problem]:
    if group == RESERVED_GROUP:
        yield (*path, "group"), "'all' names the sum over all groups; write another name"


def _check_spectrum(draft: Draft, path: EntryPath, spectrum: LightSpectrum) -> Iterator[Problem]:
    misfit = spectrum.misfit(draft.scene.bands) if draft.sound("bands") else None
    if misfit is not None and isinstance(spectrum, TableSpectrum):
        yield path, f"{shown(spectrum.name)} has no photons in the bands, {misfit} nm"
    elif misfit is not None:
        edges = ", ".join(f"{edge:g}" for edge in draft.scene.bands)
        yield path, f"{misfit} nm does not begin and end at edges of the bands; edges are {edges}"


def _visible_share(draft: Draft, spectrum: LightSpectrum) -> float:
    """Share of the photons within 400-700 nm."""
    bands = draft.scene.bands
    return float(spectrum.values(bands)[within(bands, PAR)].sum())


def _check_fixture(draft: Draft, path: EntryPath, fixture: Fixture) -> Iterator[Problem]:
    if fixture.photometry is not None and fixture.own_strips:
        yield (*path, "strips"), "stand beside 'photometry'; write one of the two"
    if not fixture.strips:
        yield path, "has no light; write 'strips', or 'photometry' with a photometric file"
        return
    wrong = list(check_channels(draft, path, fixture))
    yield from wrong
    if wrong:
        return
    without = [
        index for index, strip in enumerate(fixture.strips) if not fixture.spectrum_stated(strip)
    ]
    if without:
        yield path, _no_spectrum(fixture, without)
        return
    unstated = fixture.ppf is None and fixture.photon_flux is None
    if unstated and not fixture.channels_state_flux and not _tells_its_flux(fixture):
        yield path, "has no photon flux; write 'ppf' (400-700 nm) or 'photon_flux' (all bands)"
    if fixture.ppf is not None and fixture.photon_flux is not None:
        yield (*path, "photon_flux"), "stands beside 'ppf'; write one of the two"
    if fixture.body is not None:
        yield from check_name(draft, (*path, "body", "surface"), fixture.body.surface, "surfaces")
    spectra = [((*path, "spectrum"), fixture.spectrum)]
    spectra += [
        ((*path, "channels", name, "spectrum"), channel.spectrum)
        for name, channel in fixture.channels.items()
    ]
    for index, strip in enumerate(fixture.strips):
        at = (*path, "strips", index)
        spectra.append(((*at, "spectrum"), strip.spectrum))
        if fixture.body is not None and fixture.body.mesh is None:
            yield from _check_proud(draft, at, strip, fixture.body)
    misfits = [
        found
        for at, each in spectra
        if each is not None
        for found in _check_spectrum(draft, at, each)
    ]
    yield from misfits
    sharing = (
        [fixture.strips_of(name) for name in fixture.channels]
        if fixture.channels_state_flux
        else [fixture.strips]
    )
    shares = [found for strips in sharing for found in _check_strip_shares(path, strips)]
    yield from shares
    if misfits or not draft.sound("bands"):
        return
    stated = [(path, fixture.ppf, fixture.strips)]
    stated += [
        ((*path, "channels", name), channel.ppf, fixture.strips_of(name))
        for name, channel in fixture.channels.items()
    ]
    for at, ppf, strips in stated:
        used = [fixture.spectrum_of(strip) for strip in strips]
        if ppf is not None and max(_visible_share(draft, each) for each in used) == 0:
            yield (
                (*at, "ppf"),
                "counts 400-700 nm, where the spectrum has no photons; write 'photon_flux'",
            )
            return
    if not shares:
        yield from check_channel_fluxes(draft, path, fixture)


def _no_spectrum(fixture: Fixture, without: list[int]) -> str:
    """Say that a spectrum is missing, and for which strips where others have one."""
    some = len(without) < len(fixture.strips)
    numbers = ", ".join(str(index + 1) for index in without)
    return (
        "has no spectrum"
        + (f" for its strip{'s' * (len(without) > 1)} {numbers}" if some else "")
        + "; write 'spectrum', as in {400-500: 20 %, 500-600: 80 %} or {like: white_4000}"
    )


def _tells_its_flux(fixture: Fixture) -> bool:
    """Whether a photometric file gives photons: as such, or as candela of a known spectrum."""
    if fixture.photometry is None:
        return False
    spectrum = fixture.spectrum_of(fixture.strips[0])
    return fixture.photometry.intensity == "photons" or spectrum.tells_lumens


def _check_strip_shares(path: EntryPath, strips: Sequence[Strip]) -> Iterator[Problem]:
    given = [strip.share for strip in strips if strip.share is not None]
    total = sum(given)
    if len(given) == len(strips):
        if abs(total - 1) > SUM_TOLERANCE:
            yield (
                (*path, "strips"),
                f"the shares make {format_share(total)}; they must make 100 % (within 0.1 %), "
                "or leave one share out",
            )
    elif given and total >= 1:
        yield (
            (*path, "strips"),
            f"the shares make {format_share(total)} and leave nothing for the strips without "
            "one; lower them",
        )


def _check_proud(draft: Draft, path: EntryPath, strip: Strip, body: Body) -> Iterator[Problem]:
    """Check that no part of a strip lies within its body, which would swallow its light."""
    half_y = strip.width / 2 * abs(math.cos(strip.tilt))
    rise = strip.width / 2 * abs(math.sin(strip.tilt)) - strip.drop
    beside = (
        abs(strip.at[0]) - strip.length / 2 >= body.length / 2
        or abs(strip.at[1]) - half_y >= body.width / 2
    )
    if rise >= body.standoff and not beside:
        need = format_length(strip.drop + rise - body.standoff + 1e-4)
        yield (
            (*path, "tilt"),
            f"turns the strip's edge {format_length(rise - body.standoff)} into the body; "
            f"set the strip's 'drop' to at least {need}",
        )
    if math.cos(strip.tilt) <= 0 and not beside:
        text = draft.written((*path, "tilt"), strip.tilt, format_angle)
        yield (*path, "tilt"), f"{text} turns the light into its own body; less than 90 deg"


def _check_daylight(draft: Draft, path: EntryPath, daylight: Daylight) -> Iterator[Problem]:
    if draft.sound("enclosure") and not draft.scene.enclosure.face(daylight.through).open:
        at = (*path, "through") if draft.document.written((*path, "through")) else path
        if draft.scene.enclosure.mesh is not None:
            yield (
                at,
                "enters boxes only, no drawn rooms; leave it out, or describe a box",
            )
            return
        yield at, "comes through the ceiling, which is not open; write 'faces: {ceiling: open}'"
    misfits = list(_check_spectrum(draft, (*path, "spectrum"), daylight.spectrum))
    yield from misfits
    if draft.sound("bands") and not misfits and _visible_share(draft, daylight.spectrum) == 0:
        yield (
            (*path, "ppfd"),
            "counts 400-700 nm, where the spectrum has no photons; add some there",
        )


def _check_anything_shines(draft: Draft) -> Iterator[Problem]:
    """Refuse a dark scene; a light that is set aside for an error of its own counts."""
    if not draft.sound("lights", "daylight"):
        return
    written = [section for section in ("lights", "daylight") if draft.document.has((section, 0))]
    if not written:
        yield (), "nothing shines; write 'lights' or 'daylight'"
    lights = draft.scene.lights
    all_sound = not draft.document.has(("lights", len(lights)))
    if written == ["lights"] and all_sound and all(_is_dark(draft, each) for each in lights):
        yield ("lights",), "every light has an output of 0 %; at least one must shine"


def _is_dark(draft: Draft, light: Light) -> bool:
    """Whether neither the light nor any of its channels shines."""
    fixture = draft.scene.fixtures.get(light.fixture)
    if fixture is None or not fixture.channels:
        return light.output == 0
    return not any(light.output_of(channel) for channel in fixture.channels)
