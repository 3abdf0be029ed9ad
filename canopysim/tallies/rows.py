"""One row per batch, and the standard errors that follow from rows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.errors import CanopysimError
from canopysim.tallies.split_rows import FOLD, FULL, SplitRows

if TYPE_CHECKING:
    import xarray as xr

    from canopysim.tallies.books import Batch
    from canopysim.world.compile import World

Array = NDArray[np.float64]


def mean_and_error(rows: Array, counts: Array | None = None) -> tuple[Array, Array]:
    """Mean over batches and its standard error.

    Parameters
    ----------
    rows : numpy.ndarray (n_row, ...)
        Sums over the batches of a row.
    counts : numpy.ndarray (n_row,), optional
        Batches in each row; one if left out. Empty rows are ignored.

    Returns
    -------
    mean, std_err : numpy.ndarray (...)
        Per batch. The variance of one batch is the spread of row means, each weighed by its
        batches, over the rows less one. NaN with fewer than two rows, and where nothing but
        zeros was seen: no packet seen is not an error of zero.
    """
    if counts is None:
        counts = np.ones(len(rows))
    used = counts > 0
    rows, counts = rows[used], counts[used]
    total = counts.sum()
    shape = (-1,) + (1,) * (rows.ndim - 1)
    if total == 0:
        nothing = np.full(rows.shape[1:], np.nan)
        return nothing, nothing
    mean = rows.sum(0) / total
    if len(rows) < 2:
        return mean, np.full_like(mean, np.nan)
    weight = counts.reshape(shape)
    spread = (weight * (rows / weight - mean) ** 2).sum(0) / (len(rows) - 1)
    error = np.sqrt(spread / total)
    return mean, np.where((rows != 0).any(0), error, np.nan)


@dataclass
class BatchRows:
    """Tallies of a run, row by row.

    Attributes
    ----------
    plane_cells : tuple of (int, int)
        Cells in x and y of each plane.
    absorbed : list of numpy.ndarray of int64 (n_channel, n_sink, n_band)
        One per batch, quanta.
    crossed : numpy.ndarray of int64 (FOLD, n_channel, n_bin, n_band)
        Batch b in row b mod FOLD.
    crossed_sum : list of numpy.ndarray of int64 (n_channel, n_plane, 2, n_band)
        Sum over the cells of each plane and direction, one per batch: cells of one map share
        packets, so the error of their mean cannot be told from theirs.
    met : numpy.ndarray of int64 (n_channel, n_sink)
        Meetings that left something.
    counters : numpy.ndarray of int64 (4,)
        Packets, meetings, untraced, deepest event.
    lost : list of numpy.ndarray of int64 (n, 6)
        Addresses of untraced photons, batch first.
    splits : SplitRows or None
        What is told apart.
    replicate_absorbed : list of numpy.ndarray of int64 (n_replicate, n_channel, n_sink, n_band)
        What `absorbed` is the sum of; empty without replicate canopies.
    replicate_crossed : list of numpy.ndarray of int64 (n_replicate, n_channel, n_plane, 2, n_band)
        What `crossed_sum` is the sum of.
    """

    plane_cells: tuple[tuple[int, int], ...]
    absorbed: list[NDArray[np.int64]] = field(default_factory=list)
    crossed: NDArray[np.int64] | None = None
    crossed_sum: list[NDArray[np.int64]] = field(default_factory=list)
    met: NDArray[np.int64] | None = None
    counters: NDArray[np.int64] = field(default_factory=lambda: np.zeros(4, np.int64))
    lost: list[NDArray[np.int64]] = field(default_factory=list)
    splits: SplitRows | None = None
    replicate_absorbed: list[NDArray[np.int64]] = field(default_factory=list)
    replicate_crossed: list[NDArray[np.int64]] = field(default_factory=list)

    @classmethod
    def empty(cls, world: World) -> BatchRows:
        """Rows before the first batch."""
        splits = None if world.splits is None else SplitRows.empty(world.splits, world.arrays)
        return cls(plane_cells=tuple(p.cells for p in world.planes), splits=splits)

    @property
    def n_batch(self) -> int:
        """Batches so far."""
        return len(self.absorbed)

    @property
    def fold_counts(self) -> Array:
        """Batches in each row of `crossed`."""
        return np.bincount(np.arange(self.n_batch) % FOLD, minlength=FOLD).astype(np.float64)

    def append(self, counted: Batch, parts: Sequence[Batch] = ()) -> None:
        """Add the next batch, in order.

        Parameters
        ----------
        counted : Batch
            The sum over all replicates, if there are several.
        parts : sequence of Batch
            The replicates; empty, or one, for a canopy alone.
        """
        books, batch = counted.books, self.n_batch
        parts = parts or (counted,)
        if len(parts) > 1:
            self.replicate_absorbed.append(np.stack([p.books.absorbed for p in parts]))
            self.replicate_crossed.append(
                np.stack([self.sum_planes(p.books.crossed) for p in parts])
            )
        if self.crossed is None or self.met is None:
            self.crossed = np.zeros((FOLD, *books.crossed.shape), np.int64)
            self.met = np.zeros_like(books.met)
        row = self.crossed[batch % FOLD]
        # Two numbers below 2^62 cannot run over; a row nears that after some 10^10 packets.
        if max(row.max(initial=0), books.crossed.max(initial=0)) >= FULL:
            raise CanopysimError(
                "a counting plane is full: its tally nears the largest integer; trace with smaller "
                "cells, or several runs with other seeds"
            )
        if self.splits is not None and counted.splits is not None:
            self.splits.append(counted.splits, batch)
        row += books.crossed
        self.crossed_sum.append(self.sum_planes(books.crossed))
        self.absorbed.append(books.absorbed.copy())
        self.met += books.met
        self.counters[:3] += books.counters[:3]
        self.counters[3] = max(self.counters[3], books.counters[3])
        for replicate, part in enumerate(parts):
            n = min(int(part.books.counters[2]), len(part.books.lost))
            if n:
                number = np.full(n, batch * len(parts) + replicate)
                self.lost.append(np.column_stack([number, part.books.lost[:n]]))

    def sum_planes(self, crossed: NDArray[np.int64]) -> NDArray[np.int64]:
        """Sum the cells of each plane and direction: (n_channel, n_plane, 2, n_band)."""
        n_channel, _, n_band = crossed.shape
        sums, first = [], 0
        for nx, ny in self.plane_cells:
            block = crossed[:, first : first + 2 * nx * ny]
            sums.append(block.reshape(n_channel, 2, nx * ny, n_band).sum(2))
            first += 2 * nx * ny
        if not sums:
            return np.zeros((n_channel, 0, 2, n_band), np.int64)
        return np.stack(sums, 1)

    def dataset(self) -> xr.Dataset:
        """Give everything as arrays of integers, from which `of_dataset` comes back."""
        import xarray as xr

        lost = np.concatenate(self.lost) if self.lost else np.zeros((0, 6), np.int64)
        return xr.Dataset(
            {
                "absorbed": (("batch", "channel", "sink", "traced_band"), np.array(self.absorbed)),
                "crossed": (("row", "channel", "bin", "traced_band"), self.crossed),
                "crossed_sum": (
                    ("batch", "channel", "plane", "direction", "traced_band"),
                    np.array(self.crossed_sum),
                ),
                "row_batches": ("row", self.fold_counts.astype(np.int64)),
                "met": (("channel", "sink"), self.met),
                "counters": ("counter", self.counters),
                "lost": (("photon", "part"), lost),
                **({} if self.splits is None else self.splits.arrays()),
                **self._replicate_arrays(),
            },
            coords={
                "counter": ["packets", "meetings", "untraced", "deepest"],
                "part": ["batch", "strip", "photon", "meeting", "place", "why"],
            },
            attrs={"units": "quanta of 2^-32 packet"},
        )

    def _replicate_arrays(self) -> dict[str, tuple[tuple[str, ...], NDArray[np.int64]]]:
        """Rows of single replicates, where there are several."""
        if not self.replicate_absorbed:
            return {}
        return {
            "replicate_absorbed": (
                ("batch", "replicate", "channel", "sink", "traced_band"),
                np.array(self.replicate_absorbed),
            ),
            "replicate_crossed": (
                ("batch", "replicate", "channel", "plane", "direction", "traced_band"),
                np.array(self.replicate_crossed),
            ),
        }

    @classmethod
    def of_dataset(cls, data: xr.Dataset, plane_cells: tuple[tuple[int, int], ...]) -> BatchRows:
        """Take up rows that `dataset` gave."""
        lost = np.array(data["lost"].values)
        return cls(
            plane_cells=plane_cells,
            absorbed=list(np.array(data["absorbed"].values)),
            crossed=np.array(data["crossed"].values),
            crossed_sum=list(np.array(data["crossed_sum"].values)),
            met=np.array(data["met"].values),
            counters=np.array(data["counters"].values),
            lost=[lost] if len(lost) else [],
            splits=SplitRows.of_dataset(data),
            **{
                name: list(np.array(data[name].values))
                for name in ("replicate_absorbed", "replicate_crossed")
                if name in data
            },
        )
