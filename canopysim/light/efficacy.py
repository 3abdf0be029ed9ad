"""How many photons a light makes of its watts, and how many physics would let it make at most."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from canopysim.bands import within
from canopysim.light.fluxes import strip_fluxes

if TYPE_CHECKING:
    from canopysim.scene.schema_light import Fixture

Edges = tuple[float, ...]


@dataclass(frozen=True)
class EfficacyBound:
    """What the photons of a light carry, and how many of them a joule can make at most.

    "even": photons are spread evenly over each range of wavelengths that the scene states.
    "utmost": each of them has the longest wavelength, thus the least energy, of its range; no light
    with these shares can do with less, whatever its spectrum within the ranges. Of a table of
    wavelengths both are what it holds.

    Attributes
    ----------
    ppf_umol_s : float
        Photosynthetic photon flux, 400-700 nm, at full output.
    even_w, least_w : float
        Radiant power of all photons, even and utmost; also of those outside the scene's bands,
        which a light cannot but make.
    """

    ppf_umol_s: float
    even_w: float
    least_w: float

    @property
    def even(self) -> float:
        """Photons of 400-700 nm per joule, if they are spread evenly, µmol J⁻¹."""
        return self.ppf_umol_s / self.even_w

    @property
    def utmost(self) -> float:
        """Most photons of 400-700 nm per joule, µmol J⁻¹."""
        return self.ppf_umol_s / self.least_w


def full_ppf(fixture: Fixture, edges: Edges, channel: str | None = None) -> float:
    """Photosynthetic photon flux, 400-700 nm, at full output, µmol s⁻¹.

    Parameters
    ----------
    fixture : Fixture
        A checked fixture.
    edges : tuple of float
        Edges of the scene's bands, nm.
    channel : str, optional
        Of this channel only.
    """
    par = within(edges)
    return sum(
        flux * float(shares[par].sum())
        for strip, (flux, shares) in zip(fixture.strips, strip_fluxes(fixture, edges), strict=True)
        if channel is None or strip.channel == channel
    )


def efficacy_bound(fixture: Fixture, edges: Edges, channel: str | None = None) -> EfficacyBound:
    """Find what the photons of a fixture or a channel carry, which no input power can be below.

    Parameters
    ----------
    fixture : Fixture
        A checked fixture.
    edges : tuple of float
        Edges of the scene's bands, nm.
    channel : str, optional
        Of this channel only.

    Returns
    -------
    EfficacyBound
        Over all strips. Energies of photons: N_A h c over the wavelength.
    """
    even = least = 0.0
    for strip, (flux, _) in zip(fixture.strips, strip_fluxes(fixture, edges), strict=True):
        if channel is None or strip.channel == channel:
            spectrum = fixture.spectrum_of(strip)
            even += flux / spectrum.photons_per_joule(edges)
            least += flux / spectrum.most_photons_per_joule(edges)
    return EfficacyBound(full_ppf(fixture, edges, channel), even, least)
