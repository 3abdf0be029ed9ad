"""Figures of a spectrum, each with its waveband and unit: photons, ratios, lumens, bounds.

Photon fluxes are in µmol s⁻¹; for a spectrum per area ("umol/m2/s") all of them are per m².
A ratio whose lower part is zero is NaN.
"""

from __future__ import annotations

import math

import numpy as np

from canopysim.bands import PAR, range_label
from canopysim.light.spectrum.pieces import FloatArray, Pieces, integrate
from canopysim.light.spectrum.spectrum import JOULE_NM_PER_UMOL, Span, Spectrum
from canopysim.light.spectrum.weights import LUMENS_PER_WATT, photopic, quantum_yield

TO_800: Span = (400.0, 800.0)
BLUE: Span = (400.0, 500.0)
RED_WIDE: Span = (600.0, 700.0)
FAR_RED_WIDE: Span = (700.0, 800.0)
RED_NARROW: Span = (655.0, 665.0)
FAR_RED_NARROW: Span = (725.0, 735.0)


def photon_flux(spectrum: Spectrum, span: Span = PAR) -> float:
    """Photon flux within a range, µmol s⁻¹.

    Parameters
    ----------
    spectrum : Spectrum
        Not relative.
    span : (low, high), nm
        The photosynthetic photon flux, PPF, by default: 400-700 nm (ANSI/ASABE S640). `EPAR`,
        400-750 nm, is that of Zhen, van Iersel and Bugbee 2021; `TO_800` ends at 800 nm.

    Raises
    ------
    ValueError
        If the spectrum is relative.
    """
    _refuse_relative(spectrum, f"a photon flux {range_label(*span)} nm")
    return spectrum.photons(*span)


def yield_photon_flux(spectrum: Spectrum, weight: Pieces | None = None) -> float:
    """Yield photon flux YPF, µmol s⁻¹: photons weighed by the relative quantum yield of leaves.

    Parameters
    ----------
    spectrum : Spectrum
        Not relative.
    weight : Pieces, optional
        Relative quantum yield over wavelength; `weights.quantum_yield` (McCree 1972, approximate
        digits) by default.

    Raises
    ------
    ValueError
        If the spectrum is relative.
    """
    _refuse_relative(spectrum, "a yield photon flux")
    return _weighed_photons(spectrum, quantum_yield() if weight is None else weight)


def yield_per_par_photon(spectrum: Spectrum, weight: Pieces | None = None) -> float:
    """Yield photon flux over photon flux of 400-700 nm; the spectrum may be relative."""
    weighed = _weighed_photons(spectrum, quantum_yield() if weight is None else weight)
    return _ratio(weighed, spectrum.photons(*PAR))


def blue_share(spectrum: Spectrum) -> float:
    """Share of blue, 400-500 nm, in the photons of 400-700 nm."""
    return _ratio(spectrum.photons(*BLUE), spectrum.photons(*PAR))


def red_to_far_red_wide(spectrum: Spectrum) -> float:
    """Ratio of the photons of 600-700 nm to those of 700-800 nm."""
    return _ratio(spectrum.photons(*RED_WIDE), spectrum.photons(*FAR_RED_WIDE))


def red_to_far_red_narrow(spectrum: Spectrum) -> float:
    """Ratio of the photons of 655-665 nm to those of 725-735 nm.

    Studies of phytochrome use it (Smith 1982, Annu. Rev. Plant Physiol. 33:481). Under LEDs of few
    colours it says little: it sees only 10 nm round 660 and 730 nm.
    """
    return _ratio(spectrum.photons(*RED_NARROW), spectrum.photons(*FAR_RED_NARROW))


def photons_per_joule(spectrum: Spectrum, span: Span | None = None) -> float:
    """Photons per radiant energy, µmol J⁻¹; the spectrum may be relative.

    Parameters
    ----------
    spectrum : Spectrum
        Any.
    span : (low, high), nm
        Whose photons count; all of them by default. The energy is always that of all wavelengths.
    """
    low, high = span or spectrum.span
    return _ratio(spectrum.photons(low, high), spectrum.power())


def ppe_bound(spectrum: Spectrum) -> float:
    """Upper bound of the photosynthetic photon efficacy, 400-700 nm, µmol J⁻¹.

    What a fixture with this spectrum would reach if every watt that it draws left it as light. A
    data sheet that claims more is wrong, or belongs to another spectrum.
    """
    return photons_per_joule(spectrum, PAR)


def luminous_flux(spectrum: Spectrum) -> float:
    """Luminous flux, lm; for a spectrum per area the illuminance, lx.

    Raises
    ------
    ValueError
        If the spectrum is relative.
    """
    _refuse_relative(spectrum, "lumens")
    return _lumens(spectrum)


def lumens_per_umol(spectrum: Spectrum, span: Span | None = PAR) -> float:
    """Lumens per photon flux, lm per µmol s⁻¹: equally, lux per µmol m⁻² s⁻¹.

    Parameters
    ----------
    spectrum : Spectrum
        Any, relative too.
    span : (low, high), nm, or None
        Whose photons count: 400-700 nm by default, all of them for None.
    """
    low, high = span or spectrum.span
    return _ratio(_lumens(spectrum), spectrum.photons(low, high))


def umol_per_klm(spectrum: Spectrum, span: Span | None = PAR) -> float:
    """Photon flux per thousand lumens, µmol s⁻¹ klm⁻¹, as photometric files need it.

    Parameters
    ----------
    spectrum : Spectrum
        Any, relative too; NaN where the eye sees nothing of it (beyond 380-780 nm).
    span : (low, high), nm, or None
        Whose photons count: 400-700 nm by default, all of them for None.
    """
    low, high = span or spectrum.span
    return _ratio(1000.0 * spectrum.photons(low, high), _lumens(spectrum))


def photon_energy(wavelength_nm: float) -> float:
    """Photons per energy at one wavelength, µmol J⁻¹: the wavelength in nm over 119.6266."""
    return wavelength_nm / JOULE_NM_PER_UMOL


def _lumens(spectrum: Spectrum) -> float:
    eye = photopic()

    def seen(x: FloatArray) -> FloatArray:
        return eye.at(x) * spectrum.power_per_nm(x)

    knots = np.union1d(eye.nodes, spectrum.knots)
    return LUMENS_PER_WATT * float(integrate(seen, (eye.nodes[0], eye.nodes[-1]), knots)[0])


def _weighed_photons(spectrum: Spectrum, weight: Pieces) -> float:
    def weighed(x: FloatArray) -> FloatArray:
        return weight.at(x) * spectrum.photons_per_nm(x)

    knots = np.union1d(weight.nodes, spectrum.knots)
    return float(integrate(weighed, spectrum.span, knots)[0])


def _refuse_relative(spectrum: Spectrum, what: str) -> None:
    if spectrum.unit == "relative":
        raise ValueError(
            f"a relative spectrum does not tell {what}; give it its photons with with_photons"
        )


def _ratio(above: float, below: float) -> float:
    return above / below if below > 0 else math.nan
