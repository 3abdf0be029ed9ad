"""How many photons a light makes of its watts, and how many physics would let it make at most."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from canopysim.bands import within
from canopysim.light.placing import strip_fluxes
from canopysim.light.spectrum.making import mixed
from canopysim.light.spectrum.measures import photon_energy, photons_per_joule, ppe_bound
from canopysim.light.spectrum.spectrum import Spectrum

if TYPE_CHECKING:
    from canopysim.scene.schema_light import Fixture

Edges = tuple[float, ...]


@dataclass(frozen=True)
class EfficacyBound:
    """Photons of 400-700 nm per joule that a spectrum allows, µmol J⁻¹.

    Attributes
    ----------
    even : float
        If the photons are spread evenly over each range of wavelengths that the scene states.
    utmost : float
        If each of them has the longest wavelength, thus the least energy, of its range. No light
        with these shares can do more, whatever its spectrum within the ranges.
    """

    even: float
    utmost: float


def full_ppf(fixture: Fixture, edges: Edges) -> float:
    """Photosynthetic photon flux, 400-700 nm, of a whole fixture at full output, µmol s⁻¹."""
    par = within(edges)
    return sum(flux * float(shares[par].sum()) for flux, shares in strip_fluxes(fixture, edges))


def efficacy_bound(fixture: Fixture, edges: Edges) -> EfficacyBound:
    """Find the upper bound of the photosynthetic photon efficacy (PPE) of a fixture.

    Parameters
    ----------
    fixture : Fixture
        A checked fixture.
    edges : tuple of float
        Edges of the scene's bands, nm.

    Returns
    -------
    EfficacyBound
        PPE of a light that turns every watt it draws into photons of the fixture's spectrum; the
        spectra of several strips are mixed by their photons. Energies of photons: N_A h c over the
        wavelength.
    """
    lights: list[tuple[Spectrum, float]] = []
    least_power = 0.0
    fluxes = strip_fluxes(fixture, edges)
    for strip, (flux, _) in zip(fixture.strips, fluxes, strict=True):
        spectrum = strip.spectrum or fixture.spectrum
        lights.append((spectrum.light.with_photons(flux), 1.0))
        pieces = getattr(spectrum, "pieces", None)
        if pieces is not None:
            total = sum(share for _, _, share in pieces)
            least_power += sum(
                flux * share / total / photon_energy(high) for _, high, share in pieces
            )
        else:
            least_power += flux / photons_per_joule(spectrum.light)
    return EfficacyBound(ppe_bound(mixed(lights)), full_ppf(fixture, edges) / least_power)
