"""What `check` says of lights that come from tables: flux, spectrum, and what is doubtful."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from canopysim.bands import EPAR, PAR, within
from canopysim.light.fluxes import strip_fluxes
from canopysim.light.photometry import flux
from canopysim.light.spectrum.measures import blue_share, red_to_far_red_wide
from canopysim.report.words import FLUX, colour_ratio, percent, significant, span_label
from canopysim.scene.light_spectrum import TableSpectrum

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene
    from canopysim.scene.schema_light import Fixture

# Photons beyond the bands that are worth a word.
LEAST_OUTSIDE = 0.001


def measured_lines(scene: Scene) -> list[str]:
    """Tell, for every fixture with a photometric file or a spectrum of its own, what was read.

    Parameters
    ----------
    scene : Scene
        A checked scene.

    Returns
    -------
    list of str
        Sentences; empty where all lights are shares and laws.
    """
    lines = []
    for name, fixture in scene.fixtures.items():
        lines += [f"{name}: {line}" for line in _of_fixture(fixture, scene.bands)]
    return lines


def _of_fixture(fixture: Fixture, edges: tuple[float, ...]) -> list[str]:
    lines = []
    if fixture.photometry is not None:
        found = fixture.photometry.distribution
        unit = "lm" if fixture.photometry.intensity == "candela" else FLUX
        par, epar = (
            sum(
                total * float(shares[within(edges, span)].sum())
                for total, shares in strip_fluxes(fixture, edges)
            )
            for span in (PAR, EPAR)
        )
        lines.append(
            f"{found.name} ({found.source}) holds {significant(flux(found), 4)} {unit}; as used "
            f"{significant(par, 4)} {FLUX} in {span_label(PAR)} (PPF), {significant(epar, 4)} "
            f"{FLUX} in {span_label(EPAR)}."
        )
        lines += [f"doubt: {warning}" for warning in found.warnings]
    shapes = [] if fixture.photometry else [strip.lens.distribution for strip in fixture.strips]
    # One file may shape many strips; what is doubtful in it is said once.
    told = Counter((s.name, s.source, s.warnings) for s in shapes if s is not None)
    for (file, source, warnings), count in told.items():
        strips = "a strip has" if count == 1 else f"{count} strips have"
        lines.append(f"{strips} the shape of {file} ({source}).")
        lines += [f"doubt: {warning}" for warning in warnings]
    spectra = [fixture.spectrum_of(strip) for strip in fixture.strips]
    for spectrum in dict.fromkeys(s for s in spectra if isinstance(s, TableSpectrum)):
        blue = percent(blue_share(spectrum.light))
        text = f"spectrum {spectrum.name}: blue share {blue} (400–500 of 400–700 nm)"
        ratio = red_to_far_red_wide(spectrum.light)
        if ratio == ratio:
            text += f", red:far-red {colour_ratio(ratio)} (600–700 over 700–800 nm)"
        outside = spectrum.outside(edges)
        if outside >= LEAST_OUTSIDE:
            text += f"; {percent(outside)} of its photons lie in no waveband and are left out"
        lines.append(f"{text}.")
    return lines
