"""What a packet costs on one thread and on all, in worlds of three sizes."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import numpy as np

from benchmarks.measure import Job, interleave, ratio_text, spread

if TYPE_CHECKING:
    from canopysim.world.compile import World

BATCH = 65_536


def time_threads(world: World, rounds: int) -> None:
    """Print rates on one thread and on all, and the ratio of the CPU time that a packet takes."""
    from canopysim.tallies.driver import BatchTracer, available_threads

    counts = sorted({1, 2, available_threads()})
    tracers = {
        n: BatchTracer(world.arrays, world.strip_first, world.depth, seed=1, threads=n)
        for n in counts
    }
    meetings = 0.0

    def job(tracer: BatchTracer) -> Job:
        def trace(number: int) -> None:
            nonlocal meetings
            # One batch at a time: nothing of the next may run on this one's clock.
            counters = next(tracer.batches(number, ahead=1)).books.counters
            meetings = counters[1] / counters[0]

        return trace

    times = interleave(
        {str(n): job(t) for n, t in tracers.items()}, rounds, clock=time.process_time
    )
    for tracer in tracers.values():
        tracer.close()
    thousands = world.batch_packets / 1000
    print(f"  {meetings:.2f} meetings a packet")
    for n in counts:
        cpu, wall = times[str(n)]
        threads = "1 thread " if n == 1 else f"{n} threads"
        print(f"  {threads}: thousand packets a second {spread(thousands / np.array(wall))}")
        print(f"             the same per CPU-second   {spread(thousands / np.array(cpu))}")
    for n in counts[1:]:
        cost = ratio_text(times[str(n)].cpu, times["1"].cpu)
        gain = ratio_text(times["1"].wall, times[str(n)].wall)
        print(f"  {n} threads over one: CPU time of a packet {cost}; as fast by the clock {gain}")


def main(rounds: int) -> None:
    """Measure worlds of leaves of three sizes."""
    from benchmarks.canopies import SIZES
    from benchmarks.wavefront import leaf_world

    print(f"threads: leaves in a closed room, batches of {BATCH} packets")
    for n_triangle in SIZES:
        print(f"  {n_triangle} triangles")
        time_threads(leaf_world(n_triangle, 1, BATCH), rounds)
