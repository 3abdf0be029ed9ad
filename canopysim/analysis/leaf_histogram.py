"""How much leaf area is how brightly lit: a histogram per layer, the trace's noise taken out.

Single triangles are noisy, and noise spreads a histogram. The same batches in halves and quarters
show that spread two and four times as large, so it can be taken out of the area of every bin
(`noise_free`), as it is for the shares of leaf area beyond a limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.books import Estimate, Span
from canopysim.analysis.facets import FacetRows, facet_rows
from canopysim.analysis.noise_free import noise_free
from canopysim.bands import PAR

if TYPE_CHECKING:
    from canopysim.results import Result

Array = NDArray[np.float64]
# Upper ends of the bins, µmol m⁻² s⁻¹ absorbed per leaf area: each twice the one before.
FIRST_EDGE = 12.5


@dataclass(frozen=True)
class LeafHistogram:
    """Leaf area by the light that it absorbs.

    Attributes
    ----------
    edges : numpy.ndarray (n_bin + 1,)
        Absorbed PFD, µmol m⁻² s⁻¹ of one-sided leaf area; the last bin is open-ended.
    layers : numpy.ndarray (n_layer,)
        Layers that have leaf triangles.
    share : list of list of Estimate
        Share of each layer's leaf area in each bin; last those of all leaves. Chance may bring a
        share a little below zero.
    """

    edges: Array
    layers: NDArray[np.int64]
    share: list[list[Estimate]]


def leaf_histogram(
    result: Result, *, edges: Array | None = None, span: Span = PAR, group: str = "all"
) -> LeafHistogram:
    """Sort the leaf area of every layer by the light that it absorbs.

    Parameters
    ----------
    result : Result
        Of a scene with ``also_count: {leaf_facets: true}``.
    edges : numpy.ndarray (n_bin + 1,), optional
        Ascending from 0; doubling from 12.5 µmol m⁻² s⁻¹ up to the brightest if left out.
    span, group
        As for `facet_rows`.
    """
    rows = facet_rows(result, span=span, group=group)
    if edges is None:
        edges = _doubling(rows)
    numbers, where = np.unique(rows.layer, return_inverse=True)
    inner = np.asarray(edges, np.float64)[1:-1]
    n_bin, n_layer = len(inner) + 1, len(numbers)
    area = np.bincount(where, rows.area, n_layer)

    def sums(light: Array) -> Array:
        at = where * n_bin + np.searchsorted(inner, light, side="right")
        by_layer = np.bincount(at, rows.area, n_layer * n_bin).reshape(n_layer, n_bin)
        whole = by_layer.sum(0) / area.sum()
        return np.concatenate([(by_layer / area[:, None]).ravel(), whole])

    found = noise_free(sums, rows.pfd, rows.batches)
    share = [
        [Estimate(float(v), float(e)) for v, e in zip(values, errors, strict=True)]
        for values, errors in zip(
            found.value.reshape(-1, n_bin), found.std_err.reshape(-1, n_bin), strict=True
        )
    ]
    return LeafHistogram(np.asarray(edges, np.float64), numbers, share)


def _doubling(rows: FacetRows) -> Array:
    """Edges that double up to the light of the brightest thousandth of leaf area."""
    light = rows.pfd.sum(0) / rows.batches.sum()
    order = np.argsort(light)
    share = np.cumsum(rows.area[order]) / rows.area.sum()
    bright = float(light[order[min(int(np.searchsorted(share, 0.999)), len(order) - 1)]])
    n = max(1, int(np.ceil(np.log2(max(bright, FIRST_EDGE) / FIRST_EDGE))))
    return np.array([0.0, *(FIRST_EDGE * 2.0**k for k in range(n)), np.inf])
