"""Packets per second and start-up of the demo on this machine: ``python -m benchmarks``."""

from __future__ import annotations

import argparse
import os
import platform
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from benchmarks.measure import spread

SCENE = Path(__file__).parent.parent / "scenes" / "pepper-tent.yaml"


def trace_rates(rounds: int) -> None:
    """CPU and wall time per packet, one thread and all in turn, so that noise meets both alike."""
    from canopysim.scene.load import load_scene
    from canopysim.tallies.driver import BatchTracer, available_threads
    from canopysim.world.compile import compile_world

    world = compile_world(load_scene(SCENE))
    n = world.batch_packets
    counts = sorted({1, available_threads()})
    tracers = {
        threads: BatchTracer(world.arrays, world.strip_first, world.depth, seed=1, threads=threads)
        for threads in counts
    }
    cpu: dict[int, list[float]] = {t: [] for t in counts}
    wall: dict[int, list[float]] = {t: [] for t in counts}
    meetings = 0.0
    for tracer in tracers.values():
        tracer.warm_up()
    for number in range(rounds):
        for threads, tracer in tracers.items():
            start, used = time.perf_counter(), time.process_time()
            # One batch at a time: nothing of the next may run on this one's clock.
            books = next(tracer.batches(number, ahead=1)).books
            wall[threads].append(n / (time.perf_counter() - start) / 1000)
            cpu[threads].append(n / (time.process_time() - used) / 1000)
            meetings = books.counters[1] / books.counters[0]
    for tracer in tracers.values():
        tracer.close()
    triangles = world.n_triangle
    print(f"demo: {triangles} triangles, {meetings:.2f} meetings a packet, batch {n}")
    for threads in counts:
        print(f"  {threads} threads: thousand packets a second  {spread(wall[threads])}")
        print(f"  {threads} threads: the same per CPU-second    {spread(cpu[threads])}")
    if len(counts) > 1:
        ratio = [a / b for a, b in zip(cpu[counts[0]], cpu[counts[-1]], strict=True)]
        print(f"  CPU time per packet, {counts[-1]} threads over one  {spread(ratio)}")


def start_times(rounds: int) -> None:
    """Seconds from the command to its end: help, read-back, and a run of one batch."""
    commands = {
        "canopysim --help": ["--help"],
        "canopysim check demo": ["check", str(SCENE)],
        "canopysim run demo, one batch": ["run", str(SCENE), "--max-packets", "1"],
    }
    for name, arguments in commands.items():
        seconds = []
        for _ in range(rounds):
            with tempfile.TemporaryDirectory() as folder:
                start = time.perf_counter()
                subprocess.run(
                    [sys.executable, "-m", "canopysim", *arguments],
                    cwd=folder, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                )  # fmt: skip
                seconds.append(time.perf_counter() - start)
        print(f"  {name:32s} seconds  {spread(seconds)}")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="benchmarks", description=__doc__)
    parser.add_argument("--rounds", type=int, default=15, help="rounds of each measurement")
    parser.add_argument(
        "--only", choices=("demo", "start", "hits", "histories", "bands"), help="one part only"
    )
    asked = parser.parse_args()
    rounds = max(2, asked.rounds)
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}")
    print("medians with quartiles")
    if asked.only in (None, "demo"):
        trace_rates(rounds)
    if asked.only in (None, "start"):
        start_times(max(2, rounds // 3))
    if asked.only in (None, "hits"):
        from benchmarks.closest_hit import main as closest_hits

        closest_hits(rounds)
    if asked.only in (None, "histories"):
        from benchmarks.wavefront import main as histories

        histories(rounds)
    if asked.only in (None, "bands"):
        from benchmarks.band_cost import main as bands

        bands(rounds)


if __name__ == "__main__":
    main()
