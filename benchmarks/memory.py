"""Memory: the most that a run holds, and what a triangle takes in the tree.

Each figure comes from a process of its own. A child counts the memory of the process that starts
it as its own until it loads its program, so a small process stands between it and this one.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from benchmarks.demo import SCENE

ROOT = Path(__file__).parent.parent
N_TRIANGLE = 1_000_000
BETWEEN = """
import resource, subprocess, sys

subprocess.run(sys.argv[1:], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
"""
IMPORTS = "import benchmarks.wavefront, canopysim.tallies.driver, canopysim.world.compile"
RUN = f"""
import canopysim
canopysim.run(canopysim.load({str(SCENE)!r}), max_packets=1)
"""
WORLD = f"from benchmarks.memory import trace_one_batch; trace_one_batch({N_TRIANGLE})"


def trace_one_batch(n_triangle: int) -> None:
    """Compile a world of leaves and trace one batch of it on all cores."""
    from benchmarks.thread_cost import BATCH
    from benchmarks.wavefront import leaf_world
    from canopysim.tallies.driver import BatchTracer, available_threads

    world = leaf_world(n_triangle, 1, BATCH)
    tracer = BatchTracer(
        world.arrays, world.strip_first, world.depth, seed=1, threads=available_threads()
    )
    next(tracer.batches(ahead=1))
    tracer.close()


def peak_mib(*arguments: str) -> float:
    """Greatest resident memory of a Python process, MiB; where it starts others, of the largest."""
    done = subprocess.run(
        [sys.executable, "-c", BETWEEN, sys.executable, *arguments],
        cwd=ROOT, check=True, capture_output=True, text=True,
    )  # fmt: skip
    return int(done.stdout) / (2**20 if sys.platform == "darwin" else 2**10)


def main(rounds: int) -> None:
    """Print peaks, and bytes of what is kept for each triangle."""
    from benchmarks.wavefront import leaf_world

    print("memory: greatest resident set of a process, MiB")
    with tempfile.TemporaryDirectory() as folder:
        out = ["--max-packets", "1", "--out", str(Path(folder) / "result")]
        demo = peak_mib("-m", "canopysim", "run", str(SCENE), *out)
    for what, peak in (
        ("imports alone", peak_mib("-c", IMPORTS)),
        ("demo, one batch traced", peak_mib("-c", RUN)),
        ("the same as a command, with its report", demo),
        (f"{N_TRIANGLE} triangles, one batch traced", peak_mib("-c", WORLD)),
    ):
        print(f"  {what:40s} {peak:6.0f}")
    arrays = leaf_world(N_TRIANGLE, 1, 1).arrays
    tree, corners = arrays.nodes.nbytes, arrays.triangles.nbytes
    rest = arrays.triangle_id.nbytes + arrays.triangle_place.nbytes
    each = [f"{part / N_TRIANGLE:.0f}" for part in (tree, corners, rest)]
    print(
        f"  bytes a triangle: tree {each[0]}, corners {each[1]}, number and place {each[2]}; "
        f"together {(tree + corners + rest) / N_TRIANGLE:.0f}"
    )
