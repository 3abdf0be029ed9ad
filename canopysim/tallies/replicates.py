"""Batches in replicate canopies: one small batch in each, added up, and what each had by itself."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import numpy as np

from canopysim.tallies.books import Batch, add_up
from canopysim.tallies.driver import BatchTracer

if TYPE_CHECKING:
    from canopysim.world.compile import World


class ReplicateTracer:
    """Traces a batch in every replicate in turn, on one pool of threads.

    Parameters
    ----------
    world : World
        With replicates, or without: then it is the only one.
    seed, threads
        As for `BatchTracer`.

    Notes
    -----
    Replicate r of N takes the batches r, r + N, r + 2 N ... of the seed: no two share a random
    number, and without replicates batches are what they always were.
    """

    def __init__(self, world: World, *, seed: int, threads: int) -> None:
        self._pool = ThreadPoolExecutor(threads, thread_name_prefix="trace")
        self._tracers = [
            BatchTracer(
                one.arrays, one.strip_first, one.depth, seed=seed, threads=threads,
                splits=one.splits, pool=self._pool,
            )
            for one in world.replicates or (world,)
        ]  # fmt: skip

    def warm_up(self) -> None:
        """Compile the kernels, or load them."""
        self._tracers[0].warm_up()

    def batches(
        self, first: int = 0, asked_to_stop: Callable[[], bool] = bool
    ) -> Iterator[list[Batch]]:
        """Batches of all replicates, in order; each is valid until the next is asked for.

        Parameters
        ----------
        first : int
            Number of the first batch of the run.
        asked_to_stop : callable
            As in `BatchTracer.batches`.
        """
        n = len(self._tracers)
        under_way = [
            tracer.batches(first * n + r, asked_to_stop, step=n)
            for r, tracer in enumerate(self._tracers)
        ]
        while True:
            parts = []
            for one in under_way:
                part = next(one, None)
                if part is None:
                    return
                parts.append(part)
            yield parts

    def close(self) -> None:
        """Drop what is under way and end the threads."""
        for tracer in self._tracers:
            tracer.close()
        self._pool.shutdown(wait=True, cancel_futures=True)


def join(parts: list[Batch]) -> Batch:
    """Add up the batches of all replicates; the first one's splits take up those of all.

    Leaf triangles are not added up: they follow each other, replicate by replicate.
    """
    if len(parts) == 1:
        return parts[0]
    splits = [part.splits for part in parts if part.splits is not None]
    books = add_up([part.books for part in parts])
    if not splits:
        return Batch(books, None)
    total = splits[0]._replace(facet=np.concatenate([s.facet for s in splits]))
    for other in splits[1:]:
        total.absorbed[:] += other.absorbed
        total.crossed[:] += other.crossed
        total.probed[:] += other.probed
        if total.canopy is not None and other.canopy is not None:
            total.canopy.counted[:] += other.canopy.counted
    return Batch(books, total)
