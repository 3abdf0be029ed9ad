"""All cores at work: batches cut into chunks, traced by threads, handed back in order."""

from __future__ import annotations

import os
import threading
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_EXCEPTION, Future, ThreadPoolExecutor, wait
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.tallies.books import Batch, BookShelf, add_batches
from canopysim.transport.arrays import WorldArrays
from canopysim.transport.cache import note_told_apart
from canopysim.transport.history import trace_range

if TYPE_CHECKING:
    from canopysim.world.splits import SplitPlan

CHUNK = 4096


def available_threads() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class BatchTracer:
    """Traces whole batches on a pool of threads; close it when done.

    Parameters
    ----------
    world : WorldArrays
        What photons meet.
    strip_first : numpy.ndarray of int64 (n_strip + 1,)
        First packet of each strip in a batch.
    depth : int
        Stack entries that a walk can need.
    seed : int
        Below 2^64.
    threads : int
        At least 1.
    chunk : int
        Packets per task; no choice of it can change a tally.
    splits : SplitPlan, optional
        What tallies are told apart by; nothing of it can change a photon.
    pool : ThreadPoolExecutor, optional
        Threads that several tracers share; its owner ends it.
    """

    def __init__(
        self,
        world: WorldArrays,
        strip_first: NDArray[np.int64],
        depth: int,
        *,
        seed: int,
        threads: int,
        chunk: int = CHUNK,
        splits: SplitPlan | None = None,
        pool: ThreadPoolExecutor | None = None,
    ) -> None:
        self._world = world
        self._strip_first = strip_first
        self._depth = depth
        self._key = (np.uint32(seed & 0xFFFFFFFF), np.uint32(seed >> 32))
        self._chunk = chunk
        self._shelf = BookShelf(world, splits)
        self._lock = threading.Lock()
        self._shared = pool is not None
        self._pool = pool or ThreadPoolExecutor(threads, thread_name_prefix="trace")
        self._stopped = False

    def warm_up(self) -> None:
        """Compile the kernels, or load them, before the clock starts: trace no packet."""
        part = self._shelf.take()
        trace_range(self._world, *part, self._strip_first, *self._key, 0, 0, 0, self._depth)
        self._shelf.give_back(part)
        if part.splits is not None:
            note_told_apart()

    def _trace(self, idle: list[Batch], batch: int, first: int, last: int) -> None:
        """Trace one chunk into books that no other chunk of the batch is using."""
        if self._stopped:
            return
        with self._lock:
            part = idle.pop() if idle else self._shelf.take()
        trace_range(
            self._world, *part, self._strip_first, *self._key, batch, first, last, self._depth
        )
        with self._lock:
            idle.append(part)

    def _submit(self, batch: int) -> tuple[list[Future[None]], list[Batch]]:
        """Queue all chunks of a batch; their books come together in the list."""
        total = int(self._strip_first[-1])
        idle: list[Batch] = []
        tasks = [
            self._pool.submit(self._trace, idle, batch, first, min(first + self._chunk, total))
            for first in range(0, total, self._chunk)
        ]
        return tasks, idle

    def batches(
        self,
        first: int = 0,
        asked_to_stop: Callable[[], bool] = bool,
        ahead: int = 2,
        step: int = 1,
    ) -> Iterator[Batch]:
        """Batches in order, until asked to stop; the next is traced while one is looked at.

        What is told apart in a batch is valid until the next one is asked for.

        Parameters
        ----------
        first : int
            Number of the first batch.
        asked_to_stop : callable
            Asked a few times a second; a batch that is not complete by then is dropped.
        ahead : int
            Batches under way at a time, so that no thread waits for the last chunk of one.
        step : int
            From the number of a batch to that of the next.
        """
        under_way: deque[tuple[list[Future[None]], list[Batch]]] = deque()
        batch = first
        while True:
            while len(under_way) < ahead:
                under_way.append(self._submit(batch))
                batch += step
            tasks, parts = under_way.popleft()
            waiting: set[Future[None]] = set(tasks)
            while waiting:
                done, waiting = wait(waiting, timeout=0.2, return_when=FIRST_EXCEPTION)
                for task in done:
                    task.result()
                if asked_to_stop():
                    return
            total = add_batches(parts)
            for part in parts[1:]:
                self._shelf.give_back(part)
            yield total
            # The first part holds what is told apart: its books are free only now.
            self._shelf.give_back(parts[0])

    def close(self) -> None:
        """Drop what is under way and end the threads."""
        self._stopped = True
        if not self._shared:
            self._pool.shutdown(wait=True, cancel_futures=True)
