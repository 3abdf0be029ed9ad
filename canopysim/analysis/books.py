"""Sums and ratios over the rows of a result's books, so that what varies together is counted so."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from canopysim.results import Result


@dataclass(frozen=True)
class Estimate:
    """A number and its standard error, NaN where that is unknown."""

    value: float
    std_err: float


def in_band(names: list[str], band: str) -> NDArray[np.bool_]:
    """Which traced bands (n_band,) lie inside a range such as "400-700", nm."""
    low, high = (float(edge) for edge in band.split("-"))
    edges = [[float(edge) for edge in name.split("-")] for name in names]
    return np.array([low <= a and b <= high for a, b in edges], np.bool_)


def absorbed_per_batch(
    result: Result,
    sink_share: NDArray[np.float64],
    *,
    band: str = "400-700",
    group: str = "all",
) -> NDArray[np.float64]:
    """Absorbed flux of each batch, summed over rows of the books.

    Parameters
    ----------
    result : Result
        With its `rows`.
    sink_share : (n_sink,) float64
        How much of each row of the books counts, 0 to 1.
    band : str
        Range of wavelengths, nm, that is a union of traced bands.
    group : str
        Group of lights, or "all".

    Returns
    -------
    (n_batch,) float64, µmol s⁻¹
        Their mean is the answer, their spread its error.
    """
    rows = result.rows
    scale = np.asarray(rows["channel_umol_s_per_quantum"], np.float64)
    if group != "all":
        scale = scale * (np.asarray(rows["channel_group"], object) == group)
    bands = np.flatnonzero(in_band(result.band_names, band))
    sinks = np.flatnonzero(sink_share)
    quanta = rows["absorbed"].transpose("batch", "channel", "sink", "traced_band").values
    chosen = quanta[:, :, sinks][..., bands].sum(axis=-1, dtype=np.float64)
    return np.asarray(np.einsum("bcs,c,s->b", chosen, scale, sink_share[sinks]), np.float64)


def mean(values: NDArray[np.float64]) -> Estimate:
    """Mean of batches (n_batch,) and its standard error; NaN for one batch, or where all are 0."""
    n = len(values)
    if n < 2 or not values.any():
        return Estimate(float(values.mean()), float("nan"))
    return Estimate(float(values.mean()), float(values.std(ddof=1) / np.sqrt(n)))


def ratio(part: NDArray[np.float64], whole: NDArray[np.float64]) -> Estimate:
    """Ratio of two means over the same batches, with their covariance.

    Parameters
    ----------
    part, whole : (n_batch,) float64
        Values of each batch.

    Returns
    -------
    Estimate
        Sum of `part` over sum of `whole`; the standard error is that of part − ratio × whole, over
        the mean of `whole` (the first-order or delta method).
    """
    total = float(whole.sum())
    if not total > 0.0:
        return Estimate(float("nan"), float("nan"))
    value = float(part.sum()) / total
    n = len(whole)
    if n < 2:
        return Estimate(value, float("nan"))
    left = part - value * whole
    return Estimate(value, float(np.sqrt(left @ left / (n - 1) / n) / (total / n)))
