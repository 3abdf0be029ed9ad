"""What the layers share between them: absorption against leaf area from the top, the lower half."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.books import UNKNOWN, Estimate, Span, absorbed_per_batch, mean, ratio
from canopysim.analysis.ends import is_leaf, sink_mask
from canopysim.bands import PAR

if TYPE_CHECKING:
    import xarray as xr

    from canopysim.results import Result


@dataclass(frozen=True)
class CumulativeShare:
    """Absorbed share above a level, against the leaf area index above that level.

    Attributes
    ----------
    lai : (n_layer + 1,) float64
        Leaf area index above the level: 0 at the top, then at the bottom of each layer, m² m⁻².
    share : (n_layer + 1,) float64
        Share of all that leaves absorb which is absorbed above the level, 0 to 1.
    """

    lai: NDArray[np.float64]
    share: NDArray[np.float64]


def cumulative_share(
    layers: xr.Dataset, *, bands: Sequence[str] = ("400-700",), group: str = "all"
) -> CumulativeShare:
    """Add up the layers from the top.

    Parameters
    ----------
    layers : xarray.Dataset
        `absorbed_umol_s` over (group, layer, band, side), µmol s⁻¹, and `cumulative_lai` over
        layer, at the bottom of each layer; layer 1 is the top.
    bands : sequence of str
        Bands to take together; they do not overlap.
    group : str
        Group of lights, or "all".

    Returns
    -------
    CumulativeShare
        Shares are NaN if nothing was absorbed.
    """
    at = {"group": group, "band": list(bands), "side": "both"}
    absorbed = np.asarray(layers["absorbed_umol_s"].sel(at).sum("band"), np.float64)
    total = float(absorbed.sum())
    share = np.cumsum(absorbed) / total if total > 0.0 else np.full(len(absorbed), np.nan)
    lai = np.asarray(layers["cumulative_lai"], np.float64)
    return CumulativeShare(np.insert(lai, 0, 0.0), np.insert(share, 0, 0.0))


def lower_half_share(result: Result, *, span: Span = PAR, group: str = "all") -> Estimate:
    """Share absorbed below the level that halves the leaf area, of all that leaves absorb.

    Parameters
    ----------
    result : Result
        With layers.
    span : (low, high)
        Range of whole traced bands, nm.
    group : str
        Group of lights, or "all".

    Returns
    -------
    Estimate
        Share, 0 to 1. Inside the layer that holds the level, absorption is taken as even over its
        leaf area. NaN if there is no leaf area or nothing was absorbed.
    """
    lower = lower_half_sinks(result)
    if not lower.any():
        return UNKNOWN
    return ratio(
        absorbed_per_batch(result, lower, span=span, group=group),
        absorbed_per_batch(result, sink_mask(result, is_leaf), span=span, group=group),
    )


def lower_half_sinks(result: Result) -> NDArray[np.float64]:
    """How much of each row of the books belongs to the lower half of the leaf area, (n_sink,)."""
    if result.layers is None:
        raise ValueError("this result has no canopy, so it has no lower half")
    area = np.asarray(result.layers["leaf_area_m2"], np.float64)
    whole = float(area.sum())
    if not whole > 0.0:
        return np.zeros(result.rows.sizes["sink"])
    # Fraction of each layer's leaf area that lies below the level.
    below = (np.cumsum(area) - 0.5 * whole) / np.where(area > 0.0, area, 1.0)
    below = np.clip(below, 0.0, 1.0)
    leaf = sink_mask(result, is_leaf)
    layer = np.asarray(result.rows["sink_layer"], np.int64)
    return np.asarray(np.where(leaf > 0.0, below[np.maximum(layer, 1) - 1], 0.0), np.float64)


def layer_flux(result: Result, layer: int, *, span: Span = PAR, group: str = "all") -> Estimate:
    """Flux that the leaves of a layer absorb in any range of whole traced bands.

    Parameters
    ----------
    result : Result
        With layers.
    layer : int
        1 is the top.
    span : (low, high)
        Wavelengths, nm.
    group : str
        Group of lights, or "all".

    Returns
    -------
    Estimate
        µmol s⁻¹.
    """
    here = np.asarray(result.rows["sink_layer"], np.int64) == layer
    sinks = sink_mask(result, is_leaf) * here
    return mean(absorbed_per_batch(result, sinks, span=span, group=group))
