"""What is known of a fixture, and how: stated in the scene, derived from that, or assumed."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Literal

from canopysim.bands import EPAR, range_label, within
from canopysim.light.colours import colours_of
from canopysim.light.efficacy import EfficacyBound, efficacy_bound, full_ppf
from canopysim.light.fluxes import photometric_flux, strip_fluxes
from canopysim.units import format_share
from canopysim.units_power import format_power, format_voltages
from canopysim.units_text import plain_number

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene
    from canopysim.scene.schema_channel import ChannelLoad
    from canopysim.scene.schema_light import Fixture
    from canopysim.scene.schema_power import Powered

How = Literal["stated", "derived", "assumed", "not stated"]
Edges = tuple[float, ...]
FLUX = "µmol s⁻¹"
EFFICACY = "µmol J⁻¹"
FILE_AGREES = 0.1
"""Photometers and integrating spheres of good laboratories differ by some percent."""
LEAST_PAR = 0.02
"""Share of its photons in 400-700 nm below which a light's blue share says nothing."""
MOST_RADIANT = 0.8
"""Share of its input power that a light hardly ever sends out as light: the best single LEDs come
near it, but a fixture also loses in its driver, its lenses and by warmth. A rule of thumb."""


@dataclass(frozen=True)
class Fact:
    """One line of what is known of a fixture.

    Attributes
    ----------
    what : str
        Such as "input power at full output".
    value : str
        With its unit; "" where nothing is known.
    how : str
        "stated", "derived", "assumed" or "not stated".
    why : str
        From what it is derived, or what was assumed; "" where that is plain.
    """

    what: str
    value: str
    how: How
    why: str = ""


def fixture_facts(scene: Scene) -> list[dict[str, Any]]:
    """Gather what is known of every fixture that hangs in a scene, as plain values.

    Parameters
    ----------
    scene : Scene
        A checked scene.

    Returns
    -------
    list of dict
        ``fixture``: its name; ``facts``: list of `Fact` as dicts; ``doubts``: list of sentences.
    """
    found = []
    for name in dict.fromkeys(light.fixture for light in scene.lights):
        fixture = scene.fixtures[name]
        bound = efficacy_bound(fixture, scene.bands)
        facts = [*_photons(fixture, scene.bands), *_power(fixture, bound), *_mains(fixture)]
        found.append(
            {
                "fixture": name,
                "facts": [asdict(fact) for fact in facts],
                "doubts": [*_flux_doubts(fixture, scene.bands), *_doubts(fixture, bound)],
            }
        )
    return found


def _photons(fixture: Fixture, edges: Edges) -> Iterator[Fact]:
    """Photons of the whole fixture at full output."""
    of_channels = "sum of its channels"
    if fixture.channels_state_flux:
        ppf_from = flux_from = of_channels
        ppf_stated = flux_stated = False
    else:
        ppf_stated, flux_stated = fixture.ppf is not None, fixture.photon_flux is not None
        ppf_from, flux_from = "photon_flux and spectrum", "ppf and spectrum"
        if not ppf_stated and not flux_stated and fixture.photometry is not None:
            ppf_from = flux_from = f"{fixture.photometry.distribution.name} and spectrum"
    fluxes = strip_fluxes(fixture, edges)
    epar = sum(flux * float(shares[within(edges, EPAR)].sum()) for flux, shares in fluxes)
    rows = (
        ("PPF, 400–700 nm", full_ppf(fixture, edges), ppf_stated, ppf_from),
        ("photon flux, 400–750 nm (ePAR)", epar, False, "photons and spectrum"),
        (
            f"photon flux, {range_label(edges[0], edges[-1]).replace('-', '–')} nm",
            sum(flux for flux, _ in fluxes),
            flux_stated,
            flux_from,
        ),
    )
    for what, value, stated, source in rows:
        text = f"{plain_number(value)} {FLUX}"
        yield Fact(what, text, "stated") if stated else Fact(what, text, "derived", source)
    by_file = _ppf_by_file(fixture, edges)
    if by_file is not None:
        assert fixture.photometry is not None
        yield Fact(
            "PPF by its photometric file", f"{plain_number(by_file)} {FLUX}", "derived",
            f"{fixture.photometry.distribution.name} and spectrum; not used, as it is stated",
        )  # fmt: skip
    for name in fixture.channels:
        yield from _colours(fixture, edges, name)
    yield from _colours(fixture, edges, None)
    named = {
        spectrum.library_name: None
        for spectrum in (fixture.spectrum_of(strip) for strip in fixture.strips)
    }
    library = [name for name in named if name]
    text = ", ".join(library) + (" and others" if library and None in named else "")
    yield Fact(
        "spectrum",
        text or "as written",
        "assumed" if library else "stated",
        "a spectrum of the library stands in for the light's own" if library else "",
    )
    laws = {strip.lens.kind: None for strip in fixture.strips}
    files = dict.fromkeys(
        strip.lens.distribution.name for strip in fixture.strips if strip.lens.distribution
    )
    yield Fact(
        "spread of its light",
        ", ".join([*(law for law in laws if law != "table"), *files]),
        "stated",
        "a law by its widths; a measured file says more" if "beam" in laws else "",
    )


def _ppf_by_file(fixture: Fixture, edges: Edges) -> float | None:
    """PPF that a photometric file tells beside a stated flux, µmol s⁻¹; None where it cannot."""
    if fixture.photometry is None or (fixture.ppf is None and fixture.photon_flux is None):
        return None
    spectrum = fixture.spectrum_of(fixture.strips[0])
    if fixture.photometry.intensity == "candela" and not spectrum.tells_lumens:
        return None
    par = float(spectrum.values(edges)[within(edges)].sum())
    return photometric_flux(fixture, edges) * par


def _colours(fixture: Fixture, edges: Edges, channel: str | None) -> Iterator[Fact]:
    """Colours of a channel at its full output, or of the whole fixture."""
    found = colours_of(
        [
            (fixture.spectrum_of(strip).light, flux)
            for strip, (flux, _) in zip(fixture.strips, strip_fluxes(fixture, edges), strict=True)
            if channel is None or strip.channel == channel
        ],
        edges,
    )
    whose = "" if channel is None else f" of {channel}"
    if not math.isnan(found.blue_share) and found.par_share > LEAST_PAR:
        yield Fact(
            f"blue share{whose} (400–500 of 400–700 nm)",
            format_share(round(found.blue_share, 4)), "derived", "spectrum",
        )  # fmt: skip
    ratio = found.red_to_far_red
    if not math.isnan(ratio):
        yield Fact(
            f"red:far-red{whose} (600–700 over 700–800 nm)",
            "over 1000" if ratio > 1000 else plain_number(ratio, 3), "derived", "spectrum",
        )  # fmt: skip
    yield Fact(
        f"yield photon flux (YPF){whose}", f"{plain_number(found.ypf_umol_s)} {FLUX}", "derived",
        "photons weighed by the mean quantum yield of leaves (McCree 1972)",
    )  # fmt: skip


def _limits(bound: EfficacyBound) -> Iterator[Fact]:
    """Photosynthetic photon efficacies of a light that loses no watt."""
    yield Fact(
        "PPE without any loss", f"{bound.even:.3g} {EFFICACY}", "derived",
        "its photons spread evenly over the stated wavebands",
    )  # fmt: skip
    yield Fact(
        "PPE that no such light exceeds", f"{bound.utmost:.3g} {EFFICACY}", "derived",
        "every photon at the long end of its waveband",
    )  # fmt: skip


def _power(fixture: Fixture, bound: EfficacyBound) -> Iterator[Fact]:
    """Watts and what they make."""
    full = fixture.full_power
    loads = fixture.channel_loads
    if full is None:
        yield Fact("input power at full output", "", "not stated")
        yield from _limits(bound)
        return
    stated = fixture.input_power is not None
    source = "driver's point at 100 %" if fixture.driver is not None else "sum of its channels"
    text = format_power(full)
    what = "input power at full output"
    yield Fact(what, text, "stated") if stated else Fact(what, text, "derived", source)
    if fixture.driver is not None:
        yield _curve("input power at reduced output", fixture)
    elif all(load.full_power is not None for load in loads.values()) and loads:
        for name, load in loads.items():
            yield _curve(f"input power of {name} at reduced output", load)
    else:
        yield Fact("input power at reduced output", "in proportion to output", "assumed")
    if loads:
        watts = all(load.full_power is not None for load in loads.values())
        yield Fact(
            "channels' shares of it",
            ", ".join(f"{n} {format_power(p.full_power or 0.0)}" for n, p in loads.items())
            if watts
            else "as the power of their photons",
            "stated" if watts else "assumed",
        )
    if fixture.ppe is not None:
        yield Fact("PPE as claimed, 400–700 nm", f"{fixture.ppe:.3g} {EFFICACY}", "stated")
    yield Fact(
        "PPE, 400–700 nm", f"{bound.ppf_umol_s / full:.3g} {EFFICACY}", "derived",
        "PPF over input power",
    )  # fmt: skip
    yield from _limits(bound)
    yield Fact(
        "share of input power that leaves as light", format_share(round(bound.even_w / full, 3)),
        "derived", "energy of its photons over input power",
    )  # fmt: skip


def _curve(what: str, load: Powered | ChannelLoad) -> Fact:
    points = [(output, watts) for output, watts in load.power_curve if output < 1]
    if not points:
        return Fact(what, "in proportion to output", "assumed")
    text = ", ".join(f"{format_share(o)} {format_power(w)}" for o, w in reversed(points))
    return Fact(what, text, "stated", "straight between points, level below the lowest")


def _mains(fixture: Fixture) -> Iterator[Fact]:
    """List what the socket and the hooks have to bear."""
    standby = fixture.standby
    yield (
        Fact("power while off", format_power(standby), "stated")
        if standby is not None
        else Fact("power while off", "0 W", "assumed")
    )
    factor = fixture.power_factor
    yield (
        Fact("power factor at full output", f"{factor:g}", "stated")
        if factor is not None
        else Fact("power factor", "1", "assumed", "the true current is greater")
    )
    for what, text in (
        ("supply", format_voltages(*fixture.supply) if fixture.supply else ""),
        ("inrush", f"{plain_number(fixture.inrush)} A" if fixture.inrush else ""),
        ("mass", f"{plain_number(fixture.mass)} kg" if fixture.mass else ""),
    ):
        yield Fact(what, text, "stated" if text else "not stated")


def _flux_doubts(fixture: Fixture, edges: Edges) -> Iterator[str]:
    """Say where stated photons are not those of the fixture's photometric file."""
    by_file, stated = _ppf_by_file(fixture, edges), full_ppf(fixture, edges)
    if by_file is not None and abs(by_file - stated) > FILE_AGREES * stated:
        yield (
            f"its photometric file and spectrum make {plain_number(by_file)} {FLUX} of "
            f"400–700 nm, but it is stated to launch {plain_number(stated)} {FLUX}; is the file, "
            "the spectrum or the intensity's unit that of another light"
        )


def _doubts(fixture: Fixture, bound: EfficacyBound) -> Iterator[str]:
    """Figures that are possible and yet worth a second look."""
    full = fixture.full_power
    if full is None:
        return
    if bound.even_w > MOST_RADIANT * full:
        yield (
            f"{format_share(round(bound.even_w / full, 3))} of its input power would leave as "
            f"light; more than {format_share(MOST_RADIANT)} is hardly ever reached; look up "
            "photons and watts again"
        )
    if not fixture.channels:
        for point, watts in fixture.watts():
            if point.output * bound.even_w > MOST_RADIANT * watts and point.output < 1:
                yield (
                    f"dimmed to {point.key.strip()} it would send out "
                    f"{format_share(round(point.output * bound.even_w / watts, 3))} of its input "
                    "power as light; look up its driver's curve again"
                )
