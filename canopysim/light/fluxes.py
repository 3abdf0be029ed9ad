"""How many photons each strip of a fixture launches: stated figures shared out over its strips."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.bands import within
from canopysim.light.photometry import flux as light_of
from canopysim.light.spectrum.measures import umol_per_klm

if TYPE_CHECKING:
    from canopysim.scene.schema_light import Fixture, Strip

Array = NDArray[np.float64]
Flux = tuple[float, Array]


def strip_fluxes(fixture: Fixture, edges: tuple[float, ...]) -> list[Flux]:
    """Photon flux over all bands, and the share of each band, for each strip at full output.

    A stated PPF counts 400-700 nm only, so the flux over all bands is larger by the inverse of
    the spectrum's share in 400-700 nm. Where channels state their photons, a strip's share is one
    of its channel's; else one of the fixture's.
    """
    spectra = [np.asarray(fixture.spectrum_of(s).values(edges)) for s in fixture.strips]
    if fixture.channels_state_flux:
        found: dict[int, Flux] = {}
        for name, channel in fixture.channels.items():
            mine = [i for i, strip in enumerate(fixture.strips) if strip.channel == name]
            strips = [fixture.strips[i] for i in mine]
            shared = _shared_out(
                channel.ppf, channel.photon_flux, strips, [spectra[i] for i in mine], edges
            )
            found.update(zip(mine, shared, strict=True))
        return [found[i] for i in range(len(spectra))]
    if fixture.ppf is None and fixture.photon_flux is None and fixture.photometry is not None:
        return [(photometric_flux(fixture, edges), spectra[0])]
    return _shared_out(fixture.ppf, fixture.photon_flux, fixture.strips, spectra, edges)


def _shared_out(
    ppf: float | None,
    photon_flux: float | None,
    strips: Sequence[Strip],
    spectra: list[Array],
    edges: tuple[float, ...],
) -> list[Flux]:
    """Share a stated flux out over strips."""
    given = [s.share for s in strips]
    rest = 1.0 - sum(g for g in given if g is not None)
    n_free = sum(g is None for g in given)
    parts = [g if g is not None else rest / n_free for g in given]
    if photon_flux is not None:
        return [(photon_flux * p, s) for p, s in zip(parts, spectra, strict=True)]
    # One common factor, so that the strips' PPF adds up to what is stated.
    par = within(edges)
    par_share = sum(p * float(s[par].sum()) for p, s in zip(parts, spectra, strict=True))
    total = (ppf or 0.0) / par_share
    return [(total * p, s) for p, s in zip(parts, spectra, strict=True)]


def photometric_flux(fixture: Fixture, edges: tuple[float, ...]) -> float:
    """Photon flux in all bands that a fixture's own photometric file tells, µmol s⁻¹.

    Photon intensities are integrated. Candela are integrated to lumens, and turned into photons by
    the spectrum: lumens per µmol s⁻¹ are those of its light, 683 lm W⁻¹ times V(lambda).
    """
    assert fixture.photometry is not None
    whole = light_of(fixture.photometry.distribution)
    light = fixture.spectrum_of(fixture.strips[0]).light
    inside = float(light.divide(edges).shares.sum())
    if fixture.photometry.intensity == "photons":
        return whole * inside
    return whole * umol_per_klm(light, span=None) / 1000 * inside
