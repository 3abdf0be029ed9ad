"""Sums and ratios over the rows of a result's books, so that what varies together is counted so."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.bands import PAR

if TYPE_CHECKING:
    from canopysim.results import Result

Span = tuple[float, float]


@dataclass(frozen=True)
class Estimate:
    """A number and its standard error, NaN where that is unknown."""

    value: float
    std_err: float


UNKNOWN = Estimate(float("nan"), float("nan"))


def traced_edges(result: Result) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lower and upper edges of the traced bands, nm, each (n_band,)."""
    # Thousands of figures ask for them: plain arrays, since choosing labels costs a millisecond.
    coords = result.launched.coords.variables
    names = coords["band"].values.tolist()
    rows = [names.index(name) for name in result.band_names]
    low, high = (np.asarray(coords[c].values, np.float64)[rows] for c in ("low_nm", "high_nm"))
    return low, high


def is_traced(result: Result, span: Span) -> bool:
    """Whether a range of wavelengths, nm, is made up of whole traced bands."""
    low, high = traced_edges(result)
    return bool((low == span[0]).any() and (high == span[1]).any())


def in_span(result: Result, span: Span) -> NDArray[np.bool_]:
    """Which traced bands lie inside a range.

    Parameters
    ----------
    result : Result
        Any.
    span : (low, high)
        Wavelengths, nm.

    Returns
    -------
    (n_band,) bool

    Raises
    ------
    ValueError
        If the range cuts through a traced band, or reaches beyond the traced ones.
    """
    if not is_traced(result, span):
        raise ValueError(
            f"{span[0]:g} to {span[1]:g} nm is no range of whole traced bands; traced are "
            + ", ".join(f"{name} nm" for name in result.band_names)
        )
    low, high = traced_edges(result)
    return (low >= span[0]) & (high <= span[1])


def launched(result: Result, *, span: Span = PAR, group: str = "all") -> float:
    """Photon flux that a group of lights launches in a range of whole traced bands, µmol s⁻¹."""
    coords = result.launched.coords.variables
    names, groups = (coords[c].values.tolist() for c in ("band", "group"))
    bands = np.array(result.band_names)[in_span(result, span)].tolist()
    row = result.launched.variable.transpose("group", "band").values[groups.index(group)]
    return float(row[[names.index(band) for band in bands]].sum())


def absorbed_per_batch(
    result: Result,
    sink_share: NDArray[np.float64],
    *,
    span: Span = PAR,
    group: str = "all",
) -> NDArray[np.float64]:
    """Absorbed flux of each batch, summed over rows of the books.

    Parameters
    ----------
    result : Result
        With its `rows`.
    sink_share : (n_sink,) float64
        How much of each row of the books counts, 0 to 1.
    span : (low, high)
        Range of whole traced bands, nm.
    group : str
        Group of lights, or "all".

    Returns
    -------
    (n_batch,) float64, µmol s⁻¹
        Their mean is the answer, their spread its error.
    """
    shares = np.asarray(sink_share, np.float64)[None]
    return absorbed_in_parts(result, shares, span=span, group=group)[:, 0]


def absorbed_in_parts(
    result: Result,
    sink_shares: NDArray[np.float64],
    *,
    span: Span = PAR,
    group: str = "all",
) -> NDArray[np.float64]:
    """Absorbed flux of each batch in several parts, such as layers, in one go.

    Parameters
    ----------
    result : Result
        With its `rows`.
    sink_shares : (n_part, n_sink) float64
        How much of each row of the books counts in each part, 0 to 1.
    span : (low, high)
        Range of whole traced bands, nm.
    group : str
        Group of lights, or "all".

    Returns
    -------
    (n_batch, n_part) float64, µmol s⁻¹
    """
    bands = np.flatnonzero(in_span(result, span))
    sinks = np.flatnonzero(sink_shares.any(axis=0))
    quanta = result.rows["absorbed"].variable.transpose("batch", "channel", "sink", "traced_band")
    chosen = quanta.values[:, :, sinks][..., bands].sum(axis=-1, dtype=np.float64)
    flux = np.einsum("bcs,c->bs", chosen, channel_scale(result, group))
    return np.asarray(flux @ sink_shares[:, sinks].T, np.float64)


def crossed_per_batch(
    result: Result,
    plane: str,
    *,
    span: Span = PAR,
    group: str = "all",
    direction: str = "down",
) -> NDArray[np.float64]:
    """Photon flux through a whole plane in each batch.

    Parameters
    ----------
    result : Result
        With its `rows`, whose planes are in the order of `planes`.
    plane : str
        Name of the plane.
    span : (low, high)
        Range of whole traced bands, nm.
    group : str
        Group of lights, or "all".
    direction : str
        "down" or "up", the way the photons travel.

    Returns
    -------
    (n_batch,) float64, µmol s⁻¹
    """
    bands = np.flatnonzero(in_span(result, span))
    at = {
        "plane": list(result.planes).index(plane),
        "direction": result.planes[plane]["direction"].values.tolist().index(direction),
    }
    quanta = result.rows["crossed_sum"].isel(at).transpose("batch", "channel", "traced_band").values
    chosen = quanta[..., bands].sum(axis=-1, dtype=np.float64)
    return np.asarray(chosen @ channel_scale(result, group), np.float64)


def channel_scale(result: Result, group: str) -> NDArray[np.float64]:
    """µmol s⁻¹ that a quantum of each channel stands for, (n_channel,); 0 outside the group."""
    scale = np.array(result.rows["channel_umol_s_per_quantum"], np.float64)
    if group != "all":
        scale *= np.asarray(result.rows["channel_group"], object) == group
    return scale


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
        the mean of `whole` (the first-order or delta method). NaN where `whole` is nothing.
    """
    total = float(whole.sum())
    if not total > 0.0:
        return UNKNOWN
    value = float(part.sum()) / total
    n = len(whole)
    if n < 2:
        return Estimate(value, float("nan"))
    left = part - value * whole
    return Estimate(value, float(np.sqrt(left @ left / (n - 1) / n) / (total / n)))
