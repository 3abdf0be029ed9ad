"""Light absorbed by pieces of leaf, fold by fold: triangles where they were counted, or layers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.books import absorbed_in_parts
from canopysim.analysis.ends import is_leaf, sink_mask
from canopysim.analysis.facets import facet_rows, has_facets
from canopysim.bands import EPAR, PAR
from canopysim.tallies.split_rows import FOLD

if TYPE_CHECKING:
    from canopysim.results import Result

Array = NDArray[np.float64]
FAR_RED_USED = (PAR[1], EPAR[1])


@dataclass(frozen=True)
class LeafLight:
    """Absorbed light of pieces of leaf.

    Attributes
    ----------
    rows : numpy.ndarray (n_row, 2, n_piece)
        400–700 and 700–750 nm, µmol m⁻² s⁻¹ of leaf area, summed over a row's batches.
    batches : numpy.ndarray (n_row,)
        Batches of each row.
    area : numpy.ndarray (n_piece,)
        m².
    where : numpy.ndarray (n_piece,)
        Index of its layer in `numbers`.
    numbers : numpy.ndarray (n_layer,)
        Layers that have leaves, ascending.
    """

    rows: Array
    batches: Array
    area: Array
    where: NDArray[np.int64]
    numbers: NDArray[np.int64]

    def layer_means(self) -> LeafLight:
        """Each layer as one piece of even light."""
        n = len(self.numbers)
        member = (self.where == np.arange(n)[:, None]) * self.area
        area = member.sum(axis=1)
        return LeafLight(
            self.rows @ member.T / area, self.batches, area, np.arange(n), self.numbers
        )


def leaf_light(result: Result) -> LeafLight:
    """Light of single leaf triangles where they were counted, otherwise of whole layers.

    Parameters
    ----------
    result : Result
        With layers.

    Returns
    -------
    LeafLight
        All lights together.
    """
    return _by_triangle(result) if has_facets(result) else _by_layer(result)


def _by_triangle(result: Result) -> LeafLight:
    par, far_red = (facet_rows(result, span=span) for span in (PAR, FAR_RED_USED))
    numbers, where = np.unique(par.layer, return_inverse=True)
    rows = np.stack([par.pfd, far_red.pfd], axis=1)
    return LeafLight(rows, par.batches, par.area, where, numbers)


def _by_layer(result: Result) -> LeafLight:
    """Layers as they are booked, their batches folded into as many rows as triangles have."""
    assert result.layers is not None
    area = np.asarray(result.layers["leaf_area_m2"], np.float64)
    numbers = np.asarray(result.layers["layer"], np.int64)[area > 0.0]
    area = area[area > 0.0]
    layer = np.asarray(result.rows["sink_layer"], np.int64)
    shares = sink_mask(result, is_leaf) * (layer == numbers[:, None])
    flux = np.stack([absorbed_in_parts(result, shares, span=s).T for s in (PAR, FAR_RED_USED)])
    n_batch = flux.shape[-1]
    n_row = min(FOLD, n_batch)
    folded = np.stack([flux[..., row::n_row].sum(axis=-1) for row in range(n_row)])
    batches = np.bincount(np.arange(n_batch) % n_row, minlength=n_row).astype(np.float64)
    return LeafLight(folded / area, batches, area, np.arange(len(numbers)), numbers)
