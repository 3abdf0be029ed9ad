"""Matter as a light sees it: band means weighted by its photons, and what wide bands cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from canopysim.bands import range_label
from canopysim.light.spectrum.pieces import FloatArray, Pieces, cells_of_bands, integrate
from canopysim.light.spectrum.spectrum import Span, Spectrum

# Narrow bands with less of the photons than this do not count for the largest difference: the tail
# of an LED meets matter unlike its peak, and nothing follows from it.
FAINT_SHARE = 1e-3


@dataclass(frozen=True)
class BandMeans:
    """A reflectance, transmittance or absorptance averaged over bands.

    Attributes
    ----------
    values : (n_band,) array
        Mean share of each band.
    flat : (n_band,) array of bool
        True where the light has no photons in the band, so that every wavelength counted alike.
    """

    values: FloatArray
    flat: npt.NDArray[np.bool_]


def band_means(spectrum: Spectrum, share: Pieces, edges: Sequence[float]) -> BandMeans:
    """Average a share over bands, weighted by the photons of a light; exact but for rounding.

    Parameters
    ----------
    spectrum : Spectrum
        The light, relative or not.
    share : Pieces
        Share over wavelength: points joined by straight lines (`Pieces.from_points`) or ranges
        (`Pieces.from_ranges`).
    edges : sequence of float, nm
        Ascending band edges, ``n_band + 1``, within what `share` covers.

    Returns
    -------
    BandMeans
        Each mean lies between the least and the greatest share of its band, to the last bit: a
        share that is level keeps its value.

    Raises
    ------
    ValueError
        If bands reach beyond the table of shares.
    """
    bounds = np.asarray(edges, dtype=np.float64)
    if share.nodes.size == 0 or bounds[0] < share.nodes[0] or bounds[-1] > share.nodes[-1]:
        covers = range_label(share.nodes[0], share.nodes[-1]) if share.nodes.size else "no"
        raise ValueError(
            f"bands {range_label(bounds[0], bounds[-1])} nm reach beyond the material's table, "
            f"which covers {covers} nm"
        )

    def met(x: FloatArray) -> FloatArray:
        return spectrum.photons_per_nm(x) * share.at(x)

    knots = np.union1d(spectrum.knots, share.nodes)
    photons = spectrum.per_band(bounds)
    flat = ~(photons > 0)
    values = integrate(share.at, bounds, share.nodes) / np.diff(bounds)
    np.divide(integrate(met, bounds, knots), photons, out=values, where=~flat)
    nodes, first = cells_of_bands(bounds, share.nodes)
    ends = share.on(nodes)
    low = np.minimum.reduceat(ends.min(1), first)
    high = np.maximum.reduceat(ends.max(1), first)
    return BandMeans(np.clip(values, low, high), flat)


@dataclass(frozen=True)
class BandCost:
    """What is lost by treating wide bands as if their optics were level.

    Attributes
    ----------
    edges : tuple of float, nm
        Edges of the wide bands.
    absorptance : (n_band,) array
        Of the wide bands, weighted by the light.
    narrow_edges : tuple of float, nm
        Edges of the narrow bands: those of the wide ones and whole steps between them.
    narrow_absorptance : (n_narrow,) array
        Of the narrow bands, weighted by the light.
    narrow_share : (n_narrow,) array
        Share of the light in each narrow band, of its photons within the edges.
    wide : (n_narrow,) array of int
        Wide band that each narrow one is part of.
    outside : float
        Share of all photons of the light that is beyond the edges and left out here.
    """

    edges: tuple[float, ...]
    absorptance: FloatArray
    narrow_edges: tuple[float, ...]
    narrow_absorptance: FloatArray
    narrow_share: FloatArray
    wide: npt.NDArray[np.int64]
    outside: float

    @property
    def difference(self) -> FloatArray:
        """Absorptance of the wide band less that of each narrow band in it, (n_narrow,)."""
        out: FloatArray = self.absorptance[self.wide] - self.narrow_absorptance
        return out

    @property
    def mean(self) -> float:
        """Mean size of the difference, each narrow band weighted by its photons."""
        return float(self.narrow_share @ np.abs(self.difference))

    @property
    def largest(self) -> float:
        """Greatest size of the difference among narrow bands with 0.1 % of the photons or more."""
        return float(self._sizes().max())

    @property
    def largest_span(self) -> Span:
        """Narrow band, nm, in which the difference is the largest."""
        worst = int(self._sizes().argmax())
        return self.narrow_edges[worst], self.narrow_edges[worst + 1]

    @property
    def mean_by_band(self) -> FloatArray:
        """Mean size of the difference within each wide band, (n_band,); NaN without photons."""
        n = len(self.absorptance)
        photons = np.bincount(self.wide, self.narrow_share, n)
        sizes = np.bincount(self.wide, self.narrow_share * np.abs(self.difference), n)
        means: FloatArray = np.full(n, np.nan)
        np.divide(sizes, photons, out=means, where=photons > 0)
        return means

    @property
    def second_meeting(self) -> float:
        """Share of the photons by which wide bands overstate what a second meeting absorbs.

        At the first meeting wide bands are right: both absorb the same photons in every wide band.
        What goes on is then poorer in what the leaf absorbs, which wide bands do not know. The sum
        of (1 - A) A over narrow bands falls short of that over wide ones by the variance of A
        within bands.
        """
        wide, narrow = self.absorptance[self.wide], self.narrow_absorptance
        return float(self.narrow_share @ ((1 - wide) * wide - (1 - narrow) * narrow))

    def _sizes(self) -> FloatArray:
        return np.where(self.narrow_share >= FAINT_SHARE, np.abs(self.difference), 0.0)


def five_band_cost(
    spectrum: Spectrum, absorptance: Pieces, edges: Sequence[float], step_nm: float = 10.0
) -> BandCost:
    """Compare absorptance averaged over wide bands with that over narrow ones; nothing is traced.

    Both are weighted by the light that has met nothing yet. So the signed difference, weighted by
    photons, is zero in every wide band by construction: what one meeting absorbs of the light is
    right. `BandCost` tells the size of the differences that cancel, and what a second meeting makes
    of them.

    Parameters
    ----------
    spectrum : Spectrum
        The light, relative or not; it holds photons within the edges.
    absorptance : Pieces
        Of the material for one meeting, over all wavelengths between the edges: for a leaf
        1 - reflectance - transmittance.
    edges : sequence of float, nm
        Ascending edges of the wide bands, such as 400, 500, 600, 700, 750, 800.
    step_nm : float
        Width of the narrow bands, nm, from 1 to 100; they begin at whole multiples of it, and an
        edge of a wide band cuts them.

    Returns
    -------
    BandCost

    Raises
    ------
    ValueError
        If bands reach beyond the table, the light has no photons in them, or the step is unfit.
    """
    if not 1.0 <= step_nm <= 100.0:
        raise ValueError(f"narrow bands of {step_nm:g} nm are unfit; allowed is 1 to 100 nm")
    bounds = np.asarray(edges, dtype=np.float64)
    wide_means = band_means(spectrum, absorptance, edges)
    steps = np.arange(np.floor(bounds[0] / step_nm) + 1, bounds[-1] / step_nm) * step_nm
    inside = steps[(steps > bounds[0]) & (steps < bounds[-1])]
    narrow = np.union1d(bounds, inside)
    division = spectrum.divide(narrow.tolist())
    wide: npt.NDArray[np.int64] = np.searchsorted(bounds, narrow[:-1], side="right") - 1
    return BandCost(
        edges=tuple(bounds.tolist()),
        absorptance=wide_means.values,
        narrow_edges=tuple(narrow.tolist()),
        narrow_absorptance=band_means(spectrum, absorptance, narrow.tolist()).values,
        narrow_share=division.scaled(),
        wide=wide,
        outside=division.outside,
    )
