"""Matter as a light sees it: means over bands, weighted by its photons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from canopysim.bands import range_label
from canopysim.light.spectrum.pieces import FloatArray, Pieces, cells_of_bands, integrate
from canopysim.light.spectrum.spectrum import Spectrum


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


def narrow_edges(edges: Sequence[float], step_nm: float = 10.0) -> FloatArray:
    """Cut bands into narrow ones.

    Parameters
    ----------
    edges : sequence of float, nm
        Ascending edges of the wide bands, such as 400, 500, 600, 700, 750, 800.
    step_nm : float
        Width of the narrow bands, nm, from 1 to 100; they begin at whole multiples of it, and an
        edge of a wide band cuts them.

    Returns
    -------
    (n_narrow + 1,) array
        Edges, nm.

    Raises
    ------
    ValueError
        If the step is unfit.
    """
    if not 1.0 <= step_nm <= 100.0:
        raise ValueError(f"narrow bands of {step_nm:g} nm are unfit; allowed is 1 to 100 nm")
    bounds = np.asarray(edges, dtype=np.float64)
    steps = np.arange(np.floor(bounds[0] / step_nm) + 1, bounds[-1] / step_nm) * step_nm
    inside = steps[(steps > bounds[0]) & (steps < bounds[-1])]
    return np.union1d(bounds, inside)
