"""Colours of lights together: blue share, red to far-red, photons as leaves use them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from canopysim.bands import PAR
from canopysim.light.spectrum.measures import BLUE, FAR_RED_WIDE, RED_WIDE, yield_photon_flux
from canopysim.light.spectrum.spectrum import Spectrum


@dataclass(frozen=True)
class Colours:
    """Figures of lights that shine together; NaN where there is nothing to divide by.

    Attributes
    ----------
    blue_share : float
        Photons of 400-500 nm over those of 400-700 nm.
    red_to_far_red : float
        Photons of 600-700 nm over those of 700-800 nm.
    par_share : float
        Photons of 400-700 nm over those of all bands.
    ypf_umol_s : float
        Yield photon flux: photons weighed by the mean relative quantum yield of leaves.
    """

    blue_share: float
    red_to_far_red: float
    par_share: float
    ypf_umol_s: float


def colours_of(lights: Sequence[tuple[Spectrum, float]], edges: Sequence[float]) -> Colours:
    """Add lights up by their photons.

    Parameters
    ----------
    lights : sequence of (Spectrum, float)
        Each with its photon flux in all bands, µmol s⁻¹.
    edges : sequence of float, nm
        Edges of the bands.
    """
    scaled = []
    for light, flux in lights:
        inside = light.divide(edges).shares.sum()
        scaled.append(light.with_photons(flux / float(inside)))
    blue, par, red, far_red, total = (
        sum(light.photons(*span) for light in scaled)
        for span in (BLUE, PAR, RED_WIDE, FAR_RED_WIDE, (edges[0], edges[-1]))
    )
    return Colours(
        blue_share=_ratio(blue, par),
        red_to_far_red=_ratio(red, far_red),
        par_share=_ratio(par, total),
        ypf_umol_s=sum(yield_photon_flux(light) for light in scaled),
    )


def _ratio(above: float, below: float) -> float:
    return above / below if below > 0 else float("nan")
