"""Books: the integer tallies of one batch, added up from the parts that threads kept."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from canopysim.transport.arrays import N_LOST, Books, Splits, WorldArrays

if TYPE_CHECKING:
    from canopysim.world.compile import World
    from canopysim.world.splits import SplitPlan


class Batch(NamedTuple):
    """All that was counted of a batch, or of one thread's part of it."""

    books: Books
    splits: Splits | None

    @property
    def tallies(self) -> tuple[NDArray[np.int64], ...]:
        """Every array that is counted in."""
        if self.splits is None:
            return tuple(self.books)
        s = self.splits
        canopy = () if s.canopy is None else (s.canopy.counted,)
        return (*self.books, s.absorbed, s.crossed, s.facet, s.probed, *canopy)


def open_books(world: WorldArrays) -> Books:
    """Empty books of the right shape for a world."""
    n_channel, n_sink, n_band, n_bin = (int(n) for n in world.sizes)
    return Books(
        absorbed=np.zeros((n_channel, n_sink, n_band), np.int64),
        crossed=np.zeros((n_channel, n_bin, n_band), np.int64),
        met=np.zeros((n_channel, n_sink), np.int64),
        counters=np.zeros(4, np.int64),
        lost=np.zeros((N_LOST, 5), np.int64),
    )


def launched_quanta(world: World) -> NDArray[np.int64]:
    """Quanta that a batch launches, (n_channel, n_band)."""
    arrays = world.arrays
    total = np.zeros((len(world.channels), arrays.strip_quanta.shape[1]), np.int64)
    packets = np.diff(world.strip_first)[:, None]
    np.add.at(total, arrays.strip_channel, packets * arrays.strip_quanta)
    return total


def lost_addresses(books: Books) -> NDArray[np.int64]:
    """Addresses of untraced photons that were kept: strip, photon, event, place, why."""
    return books.lost[: min(int(books.counters[2]), N_LOST)]


def add_batches(parts: Sequence[Batch]) -> Batch:
    """Sum of the parts of a batch; the first part takes up the splits of all."""
    splits = parts[0].splits
    if splits is not None:
        for part in parts[1:]:
            assert part.splits is not None
            splits.absorbed[:] += part.splits.absorbed
            splits.crossed[:] += part.splits.crossed
            splits.facet[:] += part.splits.facet
            splits.probed[:] += part.splits.probed
            if splits.canopy is not None and part.splits.canopy is not None:
                splits.canopy.counted[:] += part.splits.canopy.counted
    return Batch(add_up([p.books for p in parts]), splits)


def add_up(parts: Sequence[Books]) -> Books:
    """Sum of books; integers, so the order of the parts does not matter."""
    total = Books(*(np.zeros_like(a) for a in parts[0]))
    for part in parts:
        total.absorbed[:] += part.absorbed
        total.crossed[:] += part.crossed
        total.met[:] += part.met
        total.counters[:3] += part.counters[:3]
        total.counters[3] = max(total.counters[3], part.counters[3])
    lost = np.concatenate([lost_addresses(p) for p in parts])
    kept = lost[np.lexsort(lost.T[::-1])][:N_LOST]
    total.lost[: len(kept)] = kept
    return total


def imbalance(absorbed: NDArray[np.int64], launched: NDArray[np.int64]) -> NDArray[np.int64]:
    """Subtract everything booked from what was launched: zero to the last quantum in every run.

    Parameters
    ----------
    absorbed : numpy.ndarray of int64 (n_channel, n_sink, n_band)
        Of any number of whole batches.
    launched : numpy.ndarray of int64 (n_channel, n_band)
        Quanta launched in them.

    Returns
    -------
    numpy.ndarray of int64 (n_channel, n_band)
        The sinks roulette and choice hold what was taken, so all sinks add up to the launch.
    """
    difference: NDArray[np.int64] = launched - absorbed.sum(1)
    return difference


class BookShelf:
    """Books to lend to threads, reused from batch to batch.

    Parameters
    ----------
    world : WorldArrays
        Its sizes shape the books.
    splits : SplitPlan or None
        What tallies are told apart by.
    """

    def __init__(self, world: WorldArrays, splits: SplitPlan | None) -> None:
        self._world = world
        self._splits = splits
        self._spare: list[Batch] = []
        self._lock = threading.Lock()

    def take(self) -> Batch:
        """Empty books."""
        with self._lock:
            if self._spare:
                return self._spare.pop()
        splits = None if self._splits is None else self._splits.open(self._world)
        return Batch(open_books(self._world), splits)

    def give_back(self, batch: Batch) -> None:
        """Empty books and keep them for the next batch."""
        for array in batch.tallies:
            array[:] = 0
        with self._lock:
            self._spare.append(batch)
