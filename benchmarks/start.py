"""Start: from a command to its end, from a run to its first progress line, and a first compile."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence

from benchmarks.demo import SCENE
from benchmarks.measure import spread

COLD_S, WARM_S = 25.0, 1.5
WAIT_S = 300.0
# Compile or load what a run needs and say how long that took, imports left out.
KERNELS = """
import sys, time
from canopysim.scene.load import load_scene
from canopysim.tallies.driver import BatchTracer
from canopysim.world.compile import compile_world

scene = load_scene(sys.argv[1])
start, used = time.perf_counter(), time.process_time()
world = compile_world(scene)
tracer = BatchTracer(world.arrays, world.strip_first, world.depth, seed=1, threads=1)
tracer.warm_up()
print(time.perf_counter() - start, time.process_time() - used)
tracer.close()
"""


def whole_commands(rounds: int) -> None:
    """Print seconds from a command to its end."""
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
        print(f"  {name:34s} {spread(seconds)}")


def seconds_until(
    command: Sequence[str], text: bytes, folder: str, environment: Mapping[str, str]
) -> tuple[float, float]:
    """Start a command on a terminal of its own, wait until it shows a text, end it.

    Parameters
    ----------
    command : sequence of str
        Program and arguments.
    text : bytes
        What to wait for.
    folder : str
        Where it runs.
    environment : mapping
        Its variables; those of a terminal are added.

    Returns
    -------
    clock_s, cpu_s : float
        Seconds by the clock, and CPU time of all its threads.
    """
    # Terminals of this kind are not everywhere; the rest of the program is.
    import pty
    import select

    ours, theirs = pty.openpty()
    environment = {**environment, "TERM": "xterm", "COLUMNS": "120", "LINES": "40"}
    start = time.perf_counter()
    child = subprocess.Popen(
        command, cwd=folder, env=environment, stdin=theirs, stdout=theirs, stderr=theirs
    )
    os.close(theirs)
    shown = b""
    try:
        while text not in shown:
            left = start + WAIT_S - time.perf_counter()
            if left <= 0 or not select.select([ours], [], [], left)[0]:
                raise TimeoutError(f"{command} did not show {text!r} in {WAIT_S:g} s")
            try:
                shown += os.read(ours, 65536)
            except OSError:
                raise RuntimeError(f"{command} ended early:\n{shown.decode()}") from None
        clock_s = time.perf_counter() - start
    finally:
        child.kill()
        _, child.returncode, used = os.wait4(child.pid, 0)
        os.close(ours)
    return clock_s, used.ru_utime + used.ru_stime


def first_progress(cache: str | None = None) -> tuple[float, float]:
    """Clock and CPU seconds until a run of the demo shows its first progress.

    Kernels come from a cache folder if one is given, else from where they usually lie.
    """
    environment = dict(os.environ) | ({"CANOPYSIM_CACHE_DIR": cache} if cache else {})
    command = [sys.executable, "-m", "canopysim", "run", str(SCENE)]
    with tempfile.TemporaryDirectory() as folder:
        return seconds_until(command, b"packets,", folder, environment)


def kernel_seconds(cache: str) -> tuple[float, float]:
    """Clock and CPU seconds until the kernels of a run are there, from a cache folder."""
    done = subprocess.run(
        [sys.executable, "-c", KERNELS, str(SCENE)],
        env={**os.environ, "CANOPYSIM_CACHE_DIR": cache},
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    wall, cpu = (float(x) for x in done.stdout.split())
    return wall, cpu


def show(what: str, seconds: Sequence[tuple[float, float]], target_s: float | None = None) -> None:
    """Print clock and CPU seconds, and whether a target for the clock is kept."""
    clock, cpu = ([pair[k] for pair in seconds] for k in (0, 1))
    kept = ""
    if target_s is not None:
        missed = statistics.median(clock) >= target_s
        kept = f"; target below {target_s:g} s{': MISSED' if missed else ''}"
    print(f"  {what:34s} {spread(clock)}; CPU time {spread(cpu).strip()}{kept}")


def main(rounds: int) -> None:
    """Print all of it; each compile takes its time, so there are few of them."""
    print("start: the demo, from the command on, seconds by the clock")
    whole_commands(max(2, rounds // 3))
    warm = [first_progress() for _ in range(max(5, rounds // 3) + 1)][1:]
    show("warm: until the first progress", warm, WARM_S)
    compiled, first = [], []
    for _ in range(max(2, rounds // 5)):
        with tempfile.TemporaryDirectory() as cache:
            cold, load = kernel_seconds(cache), kernel_seconds(cache)
        compiled.append((cold[0] - load[0], cold[1] - load[1]))
        with tempfile.TemporaryDirectory() as cache:
            first.append(first_progress(cache))
    show("cold: compile the kernels of a run", compiled, COLD_S)
    show("cold: until the first progress", first)
