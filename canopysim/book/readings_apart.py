"""Which numbers of what is told apart a case looks at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.book.readings import GRID_ROWS, PAR, Found

if TYPE_CHECKING:
    from canopysim.results import Result


@dataclass(frozen=True)
class RowsOf:
    """Share of the launched light that rows of a split hold of one tally: (n_row,)."""

    split: str
    tally: str
    rows: tuple[str, ...]
    group: str = "all"

    def read(self, result: Result) -> Found:
        """Read them off."""
        from canopysim.analysis.told_apart import tell_apart
        from canopysim.tallies.rows import mean_and_error

        told = tell_apart(result, self.split, group=self.group)
        chosen = [told.rows.index(name) for name in self.rows]
        flux = told.flux[:, chosen, told.tallies.index(self.tally)]
        mean, error = mean_and_error(flux, told.batches)
        whole = float(result.launched.sel(group=self.group, band=PAR))
        return Found(np.asarray(mean / whole), np.asarray(error / whole), GRID_ROWS)


@dataclass(frozen=True)
class Parts:
    """Shares of the launched light, for rows of batches.

    Attributes
    ----------
    shares : float64 (n_row, n)
        Sums over the batches of a row.
    batches : float64 (n_row,)
        Batches in each.
    """

    shares: NDArray[np.float64]
    batches: NDArray[np.float64]

    def found(self) -> Found:
        """Mean and error of each, (n,)."""
        from canopysim.tallies.rows import mean_and_error

        mean, error = mean_and_error(self.shares, self.batches)
        return Found(np.asarray(mean), np.asarray(error), len(self.batches))

    def merged(self, few: NDArray[np.bool_]) -> Parts:
        """Put those that hardly any packet comes to together, at the end: (n - few + 1,)."""
        rest = self.shares[:, few].sum(1, keepdims=True)
        return Parts(np.concatenate([self.shares[:, ~few], rest], 1), self.batches)


def launched_in(result: Result, split: str) -> Parts:
    """Share of the launched light in each row of a split, whatever becomes of it."""
    from canopysim.analysis.told_apart import tell_apart

    told = tell_apart(result, split)
    ends = [told.tallies.index(str(end)) for end in result.ends["end"].values]
    whole = float(result.launched.sel(group="all", band=PAR))
    return Parts(told.flux[:, :, ends].sum(-1) / whole, told.batches)


def on_leaves(result: Result, group: str = "all", of: int = 2) -> Parts:
    """Share that each side of each leaf of so many triangles absorbs: upper, lower, ..."""
    scale = np.array(result.rows["channel_umol_s_per_quantum"], np.float64)
    if group != "all":
        scale = scale * (np.asarray(result.rows["channel_group"], object) == group)
    counted = result.rows["facet_absorbed"].values.astype(np.float64).sum(-1)
    flux = np.einsum("nfsc,c->nfs", counted, scale)
    n = len(flux)
    leaves = flux.reshape(n, -1, of, 2).sum(2)
    batches = np.bincount(np.arange(result.n_batch) % n, minlength=n).astype(np.float64)
    whole = float(result.launched.sel(group=group, band=PAR))
    return Parts(leaves.reshape(n, -1) / whole, batches)
