"""Light on single leaf triangles: its true spread within a layer, with the noise taken out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.books import Span, in_span
from canopysim.bands import PAR
from canopysim.errors import CanopysimError
from canopysim.tallies.rows import mean_and_error

if TYPE_CHECKING:
    from canopysim.results import Result

Array = NDArray[np.float64]


@dataclass(frozen=True)
class FacetLight:
    """What each leaf triangle absorbs.

    Attributes
    ----------
    pfd, std_err : numpy.ndarray (n_facet,)
        Absorbed per one-sided area, both sides together, µmol m⁻² s⁻¹.
    area : numpy.ndarray (n_facet,)
        m².
    layer : numpy.ndarray (n_facet,)
        Layer of the centroid, 1 at the top.
    """

    pfd: Array
    std_err: Array
    area: Array
    layer: NDArray[np.int64]


@dataclass(frozen=True)
class LayerSpread:
    """How unevenly the leaves of a layer are lit.

    Attributes
    ----------
    layer : int
        From 1 at the top.
    mean : float
        Area-weighted, µmol m⁻² s⁻¹.
    spread : float
        Standard deviation between triangles over the mean, noise of the trace taken out.
    noise : float
        The same of that noise: where it is much larger than `spread`, trace longer.
    """

    layer: int
    mean: float
    spread: float
    noise: float


@dataclass(frozen=True)
class FacetRows:
    """What each leaf triangle absorbs, for rows of batches.

    Attributes
    ----------
    pfd : numpy.ndarray (n_fold, n_facet)
        Sums over the batches of a fold, absorbed per one-sided area, µmol m⁻² s⁻¹ per batch.
    batches : numpy.ndarray (n_fold,)
        Batches in each fold.
    area, layer : numpy.ndarray (n_facet,)
        As in `FacetLight`.
    """

    pfd: Array
    batches: Array
    area: Array
    layer: NDArray[np.int64]


def facet_light(result: Result, *, span: Span = PAR, group: str = "all") -> FacetLight:
    """Absorbed PFD of every leaf triangle.

    Parameters
    ----------
    result, span, group
        As for `facet_rows`.
    """
    rows = facet_rows(result, span=span, group=group)
    mean, error = mean_and_error(rows.pfd, rows.batches)
    return FacetLight(mean, error, rows.area, rows.layer)


def has_facets(result: Result) -> bool:
    """Whether single leaf triangles were counted."""
    return bool(result.meta.get("told_apart", {}).get("facets"))


def facet_rows(result: Result, *, span: Span = PAR, group: str = "all") -> FacetRows:
    """Absorbed PFD of every leaf triangle, fold by fold.

    Parameters
    ----------
    result : Result
        Of a scene with ``also_count: {leaf_facets: true}``.
    span : (low, high)
        Range of whole traced bands, nm.
    group : str
        Group of lights, or "all".

    Raises
    ------
    CanopysimError
        Where facets were not counted.
    """
    if not has_facets(result):
        raise CanopysimError(
            "the result does not hold single leaf triangles; set 'leaf_facets: true' under "
            "'also_count' in the scene and trace again"
        )
    bands = np.flatnonzero(in_span(result, span))
    scale = np.array(result.rows["channel_umol_s_per_quantum"], np.float64)
    if group != "all":
        scale *= np.asarray(result.rows["channel_group"], object) == group
    layer = result.rows["facet_layer"].values
    leaf = layer > 0
    counts = result.rows["facet_absorbed"].values[:, leaf]
    flux = np.einsum("nfscb,c->nf", counts[..., bands].astype(np.float64), scale)
    area = result.rows["facet_area_m2"].values[leaf]
    n_fold = len(flux)
    batches = np.bincount(np.arange(result.n_batch) % n_fold, minlength=n_fold).astype(np.float64)
    return FacetRows(flux / area, batches, area, layer[leaf])


def layer_spreads(light: FacetLight) -> list[LayerSpread]:
    """Spread of light over the leaf area of each layer.

    The variance between triangles, weighed by area, is that of their true light plus that of the
    trace's noise, which the standard errors tell: it is taken off. A triangle that no packet hit
    has no error of its own; its noise is that of the layer's mean arriving in single packets, so
    it is left out of the noise, which errs by little where most were hit.
    """
    spreads = []
    for layer in np.unique(light.layer):
        here = light.layer == layer
        share = light.area[here] / light.area[here].sum()
        pfd = light.pfd[here]
        mean = float(share @ pfd)
        total = float(share @ (pfd - mean) ** 2)
        noise = float(share @ np.nan_to_num(light.std_err[here]) ** 2)
        if mean > 0:
            spreads.append(
                LayerSpread(
                    int(layer), mean, np.sqrt(max(total - noise, 0.0)) / mean, np.sqrt(noise) / mean
                )
            )
    return spreads
