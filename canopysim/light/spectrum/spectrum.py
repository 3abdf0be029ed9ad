"""The spectrum of a light: photons and power per nm, and what lies in which band.

Between two rows of its table a spectrum is straight in what the table declares: photons, or power.
Where power is straight, photons are power × wavelength / (h c N_A). A mixture may hold both kinds,
so a spectrum is the sum of a photon part and a power part; sums and scalings stay exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from canopysim.bands import range_label
from canopysim.light.spectrum.pieces import FloatArray, Pieces, integrate, weighted_sum

Unit = Literal["umol/s", "umol/m2/s", "relative"]
"""What the photons of a spectrum are in: of a light, per area of a plane, or only a shape."""
Span = tuple[float, float]

# CODATA 2018, exact since the SI of 2019.
PLANCK_J_S = 6.62607015e-34
LIGHT_SPEED_M_S = 299792458.0
AVOGADRO_PER_MOL = 6.02214076e23
JOULE_NM_PER_UMOL = PLANCK_J_S * LIGHT_SPEED_M_S * AVOGADRO_PER_MOL * 1e9 / 1e6
"""Energy of a micromole of photons, J, times their wavelength, nm: 119.6266."""

WAVELENGTHS_NM = (100.0, 4000.0)
"""Wavelengths that a spectrum may hold, nm: from the ultraviolet to the end of sunlight."""


@dataclass(frozen=True)
class Division:
    """How the photons of a spectrum divide over bands, with what the bands leave out.

    Attributes
    ----------
    edges : tuple of float, nm
        The band edges.
    shares : (n_band,) array
        Share of all photons in each band.
    below, above : float
        Share of all photons at wavelengths shorter than the first edge, longer than the last.
    """

    edges: tuple[float, ...]
    shares: FloatArray
    below: float
    above: float

    @property
    def outside(self) -> float:
        """Share of all photons that lies in no band."""
        return self.below + self.above

    def scaled(self) -> FloatArray:
        """Shares of the photons inside the bands only, together 1.

        Raises
        ------
        ValueError
            If the bands hold none of the photons.
        """
        inside = float(self.shares.sum())
        if not inside > 0:
            label = range_label(self.edges[0], self.edges[-1])
            raise ValueError(f"the light has no photons in {label} nm")
        scaled: FloatArray = self.shares / inside
        return scaled


@dataclass(frozen=True)
class Spectrum:
    """Light over wavelength; zero outside its table.

    Make one with `of_photons`, `of_power`, `canopysim.light.spectrum.table` or
    `canopysim.light.spectrum.making`.

    Parameters
    ----------
    photon_part : Pieces
        Photons per nm that are straight over wavelength: µmol s⁻¹ nm⁻¹, or as `unit` says.
    power_part : Pieces
        Power per nm that is straight over wavelength: W nm⁻¹, W m⁻² nm⁻¹ with "umol/m2/s".
    unit : {"umol/s", "umol/m2/s", "relative"}
        Unit of the photons. "relative": only ratios mean something; photons per power, in
        µmol J⁻¹, are among them.

    Raises
    ------
    ValueError
        If a value is negative, a wavelength is beyond `WAVELENGTHS_NM`, or there is no light.
    """

    photon_part: Pieces
    power_part: Pieces
    unit: Unit

    def __post_init__(self) -> None:
        knots = self.knots
        if knots.size == 0:
            raise ValueError("a spectrum needs at least one range of wavelengths")
        if knots[0] < WAVELENGTHS_NM[0] or knots[-1] > WAVELENGTHS_NM[1]:
            raise ValueError(
                f"the spectrum covers {range_label(knots[0], knots[-1])} nm; allowed is "
                f"{range_label(*WAVELENGTHS_NM)} nm"
            )
        if min(self.photon_part.ends.min(initial=0.0), self.power_part.ends.min(initial=0.0)) < 0:
            raise ValueError("a spectrum has no negative photons")
        if not self.photons() > 0:
            raise ValueError("the spectrum holds no light")

    @classmethod
    def of_photons(
        cls, wavelength_nm: npt.ArrayLike, per_nm: npt.ArrayLike, unit: Unit = "relative"
    ) -> Spectrum:
        """Join points of photons per nm, (n,) arrays, by straight lines."""
        return cls(Pieces.from_points(wavelength_nm, per_nm), Pieces.nothing(), unit)

    @classmethod
    def of_power(
        cls, wavelength_nm: npt.ArrayLike, per_nm: npt.ArrayLike, unit: Unit = "relative"
    ) -> Spectrum:
        """Join points of power per nm (W, or W m⁻² with "umol/m2/s") by straight lines."""
        return cls(Pieces.nothing(), Pieces.from_points(wavelength_nm, per_nm), unit)

    @property
    def knots(self) -> FloatArray:
        """Wavelengths at which the spectrum bends or jumps, nm, ascending."""
        return np.union1d(self.photon_part.nodes, self.power_part.nodes)

    @property
    def span(self) -> Span:
        """First and last wavelength of the table, nm."""
        knots = self.knots
        return float(knots[0]), float(knots[-1])

    def photons_per_nm(self, wavelength_nm: npt.ArrayLike) -> FloatArray:
        """Photons per nm at wavelengths of any shape, nm; in `unit` per nm."""
        x = np.asarray(wavelength_nm, dtype=np.float64)
        return self.photon_part.at(x) + self.power_part.at(x) * (x / JOULE_NM_PER_UMOL)

    def power_per_nm(self, wavelength_nm: npt.ArrayLike) -> FloatArray:
        """Power per nm at wavelengths of any shape above zero, nm; W, or W m⁻², per nm."""
        x = np.asarray(wavelength_nm, dtype=np.float64)
        return self.power_part.at(x) + self.photon_part.at(x) * (JOULE_NM_PER_UMOL / x)

    def photons(self, low_nm: float = 0.0, high_nm: float = np.inf) -> float:
        """Photons between two wavelengths (all, if not given), in `unit`."""
        low, high = self._clipped(low_nm, high_nm)
        return float(self.per_band((low, high))[0]) if low < high else 0.0

    def power(self, low_nm: float = 0.0, high_nm: float = np.inf) -> float:
        """Radiant power between two wavelengths, W (W m⁻² with "umol/m2/s")."""
        low, high = self._clipped(low_nm, high_nm)
        if not low < high:
            return 0.0
        return float(integrate(self.power_per_nm, (low, high), self.knots)[0])

    def per_band(self, edges: npt.ArrayLike) -> FloatArray:
        """Photons in bands, exactly.

        Parameters
        ----------
        edges : (n_band + 1,) array, nm
            Ascending, finite; they need not be rows of the table nor cover it.

        Returns
        -------
        (n_band,) array
            In `unit`; what lies outside the edges is in no band, see `divide`.
        """
        return integrate(self.photons_per_nm, _ascending(edges), self.knots)

    def divide(self, edges: Sequence[float]) -> Division:
        """Divide all photons over bands and what is beyond them.

        Parameters
        ----------
        edges : sequence of float, nm
            Ascending band edges, ``n_band + 1``.

        Returns
        -------
        Division
            Its shares, `below` and `above` add up to 1.
        """
        bounds = _ascending(edges)
        inside = self.per_band(bounds)
        below = self.photons(high_nm=float(bounds[0]))
        above = self.photons(low_nm=float(bounds[-1]))
        total = float(inside.sum()) + below + above
        return Division(tuple(bounds.tolist()), inside / total, below / total, above / total)

    def cumulative(self, wavelength_nm: npt.ArrayLike) -> FloatArray:
        """Share of all photons at wavelengths up to each of those given, in any order and shape."""
        x = np.clip(np.asarray(wavelength_nm, dtype=np.float64), *self.span)
        bounds = np.union1d(x.ravel(), self.span)
        sums = np.concatenate([[0.0], np.cumsum(self.per_band(bounds))])
        shares: FloatArray = sums[np.searchsorted(bounds, x)] / sums[-1]
        return shares

    def scaled(self, factor: float) -> Spectrum:
        """Multiply by a factor above zero; the unit stays."""
        return Spectrum(
            weighted_sum([(self.photon_part, factor)]),
            weighted_sum([(self.power_part, factor)]),
            self.unit,
        )

    def with_photons(
        self, amount: float, span: Span | None = None, unit: Unit = "umol/s"
    ) -> Spectrum:
        """Scale to a stated number of photons; so a shape becomes a light.

        Parameters
        ----------
        amount : float
            Photons, above zero, in `unit`.
        span : (low, high), nm
            Wavelengths that the amount counts, such as `canopysim.bands.PAR` for a PPF; all of them
            by default.
        unit : {"umol/s", "umol/m2/s", "relative"}
            Unit of the amount and of the spectrum that is returned.

        Raises
        ------
        ValueError
            If the spectrum has no photons in the span.
        """
        low, high = span or self.span
        held = self.photons(low, high)
        if not held > 0:
            raise ValueError(f"the light has no photons in {range_label(low, high)} nm")
        scaled = self.scaled(amount / held)
        return Spectrum(scaled.photon_part, scaled.power_part, unit)

    def _clipped(self, low_nm: float, high_nm: float) -> Span:
        first, last = self.span
        return max(low_nm, first), min(high_nm, last)


def _ascending(edges: npt.ArrayLike) -> FloatArray:
    """Band edges as an array, refused where they would give wrong sums."""
    bounds = np.asarray(edges, dtype=np.float64)
    if bounds.ndim != 1 or bounds.size < 2 or not np.all(np.diff(bounds) > 0):
        raise ValueError("band edges must ascend, two or more of them")
    if not (np.isfinite(bounds).all() and bounds[0] >= 0):
        raise ValueError("band edges must be finite wavelengths in nm")
    return bounds
