"""Checks of what shines: fixtures, lights, daylight, and that anything shines at all."""

import math
from collections.abc import Iterator

from canopysim.bands import PAR, within
from canopysim.scene.check_power import check_fixture_power
from canopysim.scene.check_space import check_either_height, check_name, check_point
from canopysim.scene.document import EntryPath
from canopysim.scene.draft import Draft, Problem
from canopysim.scene.light_spectrum import LightSpectrum, TableSpectrum
from canopysim.scene.schema_light import Body, Daylight, Fixture, Strip
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
    if fixture.ppf is None and fixture.photon_flux is None and not _tells_its_flux(fixture):
        yield path, "has no photon flux; write 'ppf' (400-700 nm) or 'photon_flux' (all bands)"
    if fixture.ppf is not None and fixture.photon_flux is not None:
        yield (*path, "photon_flux"), "stands beside 'ppf'; write one of the two"
    if fixture.body is not None:
        yield from check_name(draft, (*path, "body", "surface"), fixture.body.surface, "surfaces")
    spectra = [((*path, "spectrum"), fixture.spectrum)]
    for index, strip in enumerate(fixture.strips):
        at = (*path, "strips", index)
        if strip.spectrum is not None:
            spectra.append(((*at, "spectrum"), strip.spectrum))
        if fixture.body is not None and fixture.body.mesh is None:
            yield from _check_proud(draft, at, strip, fixture.body)
    misfits = [found for at, each in spectra for found in _check_spectrum(draft, at, each)]
    yield from misfits
    yield from _check_strip_shares(draft, path, fixture)
    if fixture.ppf is not None and not misfits and draft.sound("bands"):
        used = [strip.spectrum or fixture.spectrum for strip in fixture.strips]
        if max(_visible_share(draft, each) for each in used) == 0:
            yield (
                (*path, "ppf"),
                "counts 400-700 nm, where the spectrum has no photons; write 'photon_flux'",
            )


def _tells_its_flux(fixture: Fixture) -> bool:
    """Whether a photometric file gives photons: as such, or as candela of a known spectrum."""
    return fixture.photometry is not None and (
        fixture.photometry.intensity == "photons" or isinstance(fixture.spectrum, TableSpectrum)
    )


def _check_strip_shares(draft: Draft, path: EntryPath, fixture: Fixture) -> Iterator[Problem]:
    given = [strip.share for strip in fixture.strips if strip.share is not None]
    total = sum(given)
    if len(given) == len(fixture.strips):
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
    if written == ["lights"] and all_sound and all(light.output == 0 for light in lights):
        yield ("lights",), "every light has an output of 0 %; at least one must shine"
