"""Rows of what is told apart: batch b in row b mod so many, so that errors follow from rows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.errors import CanopysimError

if TYPE_CHECKING:
    import xarray as xr

    from canopysim.transport.arrays import Splits, WorldArrays
    from canopysim.world.splits import SplitPlan

FOLD = 32
# A facet's own error is rough with these; that of their spread comes from all facets together.
FACET_FOLD = 8
FULL = 2**62
DIMS = {
    "split_absorbed": ("row", "channel", "split_row", "sink", "traced_band"),
    "split_crossed": ("row", "channel", "split_row", "split_column", "traced_band"),
    "facet_absorbed": ("facet_batch", "facet", "leaf_side", "channel", "traced_band"),
    "probed": ("row", "channel", "probe_number", "facing_number", "traced_band"),
    "canopy_counted": ("row", "channel", "canopy_bin", "traced_band"),
}


@dataclass
class SplitRows:
    """Tallies told apart, row by row.

    Attributes
    ----------
    absorbed : numpy.ndarray of int64 (FOLD, n_channel, n_row, n_sink, n_band)
        Quanta.
    crossed : numpy.ndarray of int64 (FOLD, n_channel, n_row, n_column, n_band)
        A column is a cell, or a plane and direction.
    facet : numpy.ndarray of int64 (FACET_FOLD, n_facet, 2, n_channel, n_band)
        By triangle and side.
    probed : numpy.ndarray of int64 (FOLD, n_channel, n_probe, N_FACING + n_lean, n_band)
        Flight length over the radius of the ball, times weight.
    canopy : numpy.ndarray of int64 (FOLD, n_channel, n_bin, n_band)
        What passes and stays in the box around the canopy, and what plants take; maybe no bins.
    """

    absorbed: NDArray[np.int64]
    crossed: NDArray[np.int64]
    facet: NDArray[np.int64]
    probed: NDArray[np.int64]
    canopy: NDArray[np.int64]

    @classmethod
    def empty(cls, plan: SplitPlan, world: WorldArrays) -> SplitRows:
        """Rows before the first batch."""
        absorbed, crossed, facet, probed, canopy = plan.shapes(world)
        return cls(
            np.zeros((FOLD, *absorbed), np.int64),
            np.zeros((FOLD, *crossed), np.int64),
            np.zeros((FACET_FOLD, *facet), np.int64),
            np.zeros((FOLD, *probed), np.int64),
            np.zeros((FOLD, *canopy), np.int64),
        )

    def append(self, splits: Splits, batch: int) -> None:
        """Add a batch.

        Raises
        ------
        CanopysimError
            Before a tally could run over.
        """
        pairs = [
            (self.absorbed[batch % FOLD], splits.absorbed),
            (self.crossed[batch % FOLD], splits.crossed),
            (self.facet[batch % FACET_FOLD], splits.facet),
            (self.probed[batch % FOLD], splits.probed),
        ]
        if splits.canopy is not None:
            pairs.append((self.canopy[batch % FOLD], splits.canopy.counted))
        for rows, new in pairs:
            # Two numbers below 2^62 cannot run over.
            for array in (rows, new):
                if array.size and max(int(array.max()), -int(array.min())) >= FULL:
                    raise CanopysimError(
                        "also_count: a tally nears the largest integer; trace several shorter runs "
                        "with other seeds"
                    )
            rows += new

    def arrays(self) -> dict[str, tuple[tuple[str, ...], NDArray[np.int64]]]:
        """Dimensions and values, by the names that a file has."""
        values = (self.absorbed, self.crossed, self.facet, self.probed, self.canopy)
        return {name: (dims, v) for (name, dims), v in zip(DIMS.items(), values, strict=True)}

    @classmethod
    def of_dataset(cls, data: xr.Dataset) -> SplitRows | None:
        """Take up what `arrays` gave; None where nothing was told apart."""
        if "split_absorbed" not in data:
            return None
        return cls(*(np.array(data[name].values) for name in DIMS))
