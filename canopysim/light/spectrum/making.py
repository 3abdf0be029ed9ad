"""Spectra that are made rather than read: an LED by peak and width, shares of bands, mixtures."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from canopysim.bands import range_label
from canopysim.light.spectrum.pieces import Pieces, weighted_sum
from canopysim.light.spectrum.spectrum import WAVELENGTHS_NM, Spectrum

# The table of a Gaussian reaches three full widths (7 standard deviations) to either side: beyond
# lie 2e-12 of its photons. Its 200 steps to a width misplace at most 3e-6 of them.
REACH_WIDTHS = 3.0
STEPS_PER_WIDTH = 200


def gaussian(peak_nm: float, fwhm_nm: float) -> Spectrum:
    """Model a coloured LED: photons per nm follow a normal curve over wavelength.

    Real LEDs have longer tails: where tails matter, as for the share of a far-red LED's photons
    that lies below 700 nm, a measured table is better.

    Parameters
    ----------
    peak_nm : float
        Wavelength of most photons per nm (not of most power: that peak lies a little lower), nm.
    fwhm_nm : float
        Full width at half maximum, nm; 2.3548 standard deviations.

    Returns
    -------
    Spectrum
        A table of 1201 points, straight in photons, relative, together 1.

    Raises
    ------
    ValueError
        If the width is not above 0 or the table would leave 100-4000 nm.
    """
    if not (math.isfinite(peak_nm) and math.isfinite(fwhm_nm) and fwhm_nm > 0):
        raise ValueError(f"an LED needs a peak and a width above 0 nm, not {peak_nm} and {fwhm_nm}")
    reach = REACH_WIDTHS * fwhm_nm
    if peak_nm - reach < WAVELENGTHS_NM[0] or peak_nm + reach > WAVELENGTHS_NM[1]:
        raise ValueError(
            f"an LED of {peak_nm:g} nm, {fwhm_nm:g} nm wide, reaches beyond "
            f"{range_label(*WAVELENGTHS_NM)} nm"
        )
    steps = round(REACH_WIDTHS * STEPS_PER_WIDTH)
    widths = np.arange(-steps, steps + 1) / STEPS_PER_WIDTH
    curve = np.exp2(-4.0 * widths**2)  # one half at half a width from the peak
    return Spectrum.of_photons(peak_nm + fwhm_nm * widths, curve).with_photons(1.0, unit="relative")


def from_shares(pieces: Sequence[tuple[float, float, float]]) -> Spectrum:
    """Spread shares of the photons evenly over ranges of wavelengths.

    Parameters
    ----------
    pieces : sequence of (low, high, share)
        nm, nm and share of the photons; ascending, not overlapping, gaps hold nothing. The pieces
        of `canopysim.scene.spectral.BandShares` are of this form.

    Returns
    -------
    Spectrum
        Photons per nm are level over each range; relative, together 1.

    Raises
    ------
    ValueError
        If ranges overlap or descend, or no share is above 0.
    """
    ranges = [(low, high, share / (high - low)) for low, high, share in pieces if high > low]
    if len(ranges) != len(pieces) or not ranges:
        raise ValueError("a spectrum by shares needs ranges of wavelengths, each from low to high")
    levels = Spectrum(Pieces.from_ranges(ranges), Pieces.nothing(), "relative")
    return levels.with_photons(1.0, unit="relative")


def mixed(parts: Sequence[tuple[Spectrum, float]]) -> Spectrum:
    """Add lights, as the channels of one fixture: white, deep red, far-red.

    Parameters
    ----------
    parts : sequence of (Spectrum, scale)
        At least one; each spectrum counts times its scale, 0 or more. All have the same unit. To
        mix shapes by photons, give each its own with `Spectrum.with_photons` first: the heights of
        two relative tables cannot be compared.

    Returns
    -------
    Spectrum
        The exact sum, in the unit of the parts.

    Raises
    ------
    ValueError
        If there is no part, the units differ, a scale is negative, or all are 0.
    """
    if not parts:
        raise ValueError("a mixture needs at least one light")
    units = sorted({spectrum.unit for spectrum, _ in parts})
    if len(units) > 1:
        raise ValueError(
            f"lights in {' and '.join(units)} cannot be added; give each its photon flux first"
        )
    if not all(math.isfinite(scale) and scale >= 0 for _, scale in parts):
        raise ValueError("the scale of a light in a mixture must be 0 or more")
    return Spectrum(
        weighted_sum([(spectrum.photon_part, scale) for spectrum, scale in parts]),
        weighted_sum([(spectrum.power_part, scale) for spectrum, scale in parts]),
        parts[0][0].unit,
    )
