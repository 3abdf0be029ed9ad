"""Batches of a world traced on the calling thread: without a pool, its CPU time is the batch's."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from canopysim.world.compile import World


class OneThread:
    """Traces one batch at a time.

    Parameters
    ----------
    world : World
        What photons meet.
    seed : int
        Below 2^32.

    Attributes
    ----------
    books : Books
        Of the last batch.
    """

    def __init__(self, world: World, seed: int = 1) -> None:
        from canopysim.tallies.books import open_books

        self._world, self._seed = world, np.uint32(seed)
        self.books = open_books(world.arrays)

    def trace(self, number: int) -> None:
        """Trace a batch into empty books."""
        from canopysim.transport.history import trace_range

        for array in self.books:
            array[:] = 0
        world = self._world
        trace_range(
            world.arrays, self.books, None, world.strip_first, self._seed, np.uint32(0), number,
            0, world.batch_packets, world.depth,
        )  # fmt: skip

    @property
    def meetings(self) -> float:
        """Meetings per packet in the last batch."""
        return float(self.books.counters[1] / self.books.counters[0])
