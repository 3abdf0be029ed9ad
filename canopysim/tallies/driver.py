"""All cores at work: batches cut into chunks, traced by threads, handed back in order."""

from __future__ import annotations

import os
import threading
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_EXCEPTION, Future, ThreadPoolExecutor, wait

import numpy as np
from numpy.typing import NDArray

from canopysim.tallies.books import BookShelf, add_up
from canopysim.transport.arrays import Books, WorldArrays
from canopysim.transport.history import trace_range

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
    ) -> None:
        self._world = world
        self._strip_first = strip_first
        self._depth = depth
        self._key = (np.uint32(seed & 0xFFFFFFFF), np.uint32(seed >> 32))
        self._chunk = chunk
        self._shelf = BookShelf(world)
        self._lock = threading.Lock()
        self._pool = ThreadPoolExecutor(threads, thread_name_prefix="trace")
        self._stopped = False

    def warm_up(self) -> None:
        """Compile the kernels, or load them, before the clock starts: trace no packet."""
        books = self._shelf.take()
        trace_range(self._world, books, self._strip_first, *self._key, 0, 0, 0, self._depth)
        self._shelf.give_back(books)

    def _trace(self, idle: list[Books], batch: int, first: int, last: int) -> None:
        """Trace one chunk into books that no other chunk of the batch is using."""
        if self._stopped:
            return
        with self._lock:
            books = idle.pop() if idle else self._shelf.take()
        trace_range(
            self._world, books, self._strip_first, *self._key, batch, first, last, self._depth
        )
        with self._lock:
            idle.append(books)

    def _submit(self, batch: int) -> tuple[list[Future[None]], list[Books]]:
        """Queue all chunks of a batch; their books come together in the list."""
        total = int(self._strip_first[-1])
        idle: list[Books] = []
        tasks = [
            self._pool.submit(self._trace, idle, batch, first, min(first + self._chunk, total))
            for first in range(0, total, self._chunk)
        ]
        return tasks, idle

    def batches(
        self, first: int = 0, asked_to_stop: Callable[[], bool] = bool, ahead: int = 2
    ) -> Iterator[Books]:
        """Batches in order, until asked to stop; the next is traced while one is looked at.

        Parameters
        ----------
        first : int
            Number of the first batch.
        asked_to_stop : callable
            Asked a few times a second; a batch that is not complete by then is dropped.
        ahead : int
            Batches under way at a time, so that no thread waits for the last chunk of one.
        """
        under_way: deque[tuple[list[Future[None]], list[Books]]] = deque()
        batch = first
        while True:
            while len(under_way) < ahead:
                under_way.append(self._submit(batch))
                batch += 1
            tasks, parts = under_way.popleft()
            waiting: set[Future[None]] = set(tasks)
            while waiting:
                done, waiting = wait(waiting, timeout=0.2, return_when=FIRST_EXCEPTION)
                for task in done:
                    task.result()
                if asked_to_stop():
                    return
            total = add_up(parts)
            for part in parts:
                self._shelf.give_back(part)
            yield total

    def close(self) -> None:
        """Drop what is under way and end the threads."""
        self._stopped = True
        self._pool.shutdown(wait=True, cancel_futures=True)
