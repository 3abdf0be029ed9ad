"""Interleaved rounds; medians, spreads and ratios with bootstrap bounds."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Job = Callable[[int], object]


class Times(NamedTuple):
    """Seconds of one job, a value for each round."""

    cpu: list[float]
    wall: list[float]


def interleave(
    jobs: Mapping[str, Job], rounds: int, *, clock: Callable[[], float] = time.thread_time
) -> dict[str, Times]:
    """Do all jobs in every round, so that noise meets all alike, each time in another order.

    Parameters
    ----------
    jobs : mapping of str to callable
        Called with the number of the round.
    rounds : int
        Rounds that count; one before them, which compiles and fills caches, does not.
    clock : callable
        CPU seconds: of the calling thread, which leaves out threads of a library that only wait
        for work; `time.process_time` where the jobs have threads that do work.

    Returns
    -------
    dict of str to Times
        For each job.
    """
    rng = np.random.default_rng(0)
    names = list(jobs)
    times = {name: Times([], []) for name in names}
    for number in range(rounds + 1):
        for k in rng.permutation(len(names)):
            job, kept = jobs[names[k]], times[names[k]]
            start, start_cpu = time.perf_counter(), clock()
            result = job(number)
            cpu_s, wall_s = clock() - start_cpu, time.perf_counter() - start
            # What the job made is freed only now, off the clock.
            del result
            if number:
                kept.cpu.append(cpu_s)
                kept.wall.append(wall_s)
    return times


def spread(values: Sequence[float] | NDArray[np.float64]) -> str:
    """Median with the quartiles around it."""
    low, middle, high = statistics.quantiles(values, n=4)
    return f"{middle:9.3g}  ({low:.3g} – {high:.3g})"


def ratio_text(above: Sequence[float], below: Sequence[float]) -> str:
    """Median of the ratios of paired rounds, with the 95 % bounds of a bootstrap."""
    ratio = np.asarray(above) / np.asarray(below)
    rng = np.random.default_rng(0)
    draws = np.median(rng.choice(ratio, (4000, len(ratio))), axis=1)
    low, high = np.quantile(draws, [0.025, 0.975])
    return f"{np.median(ratio):.3f}  [{low:.3f}, {high:.3f}]"
