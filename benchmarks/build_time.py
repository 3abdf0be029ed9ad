"""Tree build on one thread, against Embree's build of middle quality.

The seconds are CPU seconds of the thread that builds: Embree's library keeps a second thread that
waits for work by spinning, although it is told to use one, and that would be charged to Embree.
"""

from __future__ import annotations

import numpy as np

from benchmarks.canopies import BOX_M, SIZES, bars, canopy, walls
from benchmarks.measure import Job, interleave, ratio_text, spread


def measure(n_triangle: int, rounds: int) -> None:
    """Print one canopy: seconds of both, and their ratio in interleaved rounds."""
    from benchmarks.embree import MODES, EmbreeScene, Mesh, library
    from canopysim.transport.build import build_tree

    triangles = np.concatenate([canopy(n_triangle, 1), walls(), bars()])
    corners, mesh, lib = triangles.ravel(), Mesh(triangles), library()

    def embree(mode: str) -> Job:
        return lambda _: EmbreeScene(lib, mesh, robust=mode == "robust")

    jobs: dict[str, Job] = {"ours": lambda _: build_tree(corners, max(BOX_M))}
    jobs |= {mode: embree(mode) for mode in MODES}
    times = {name: t.cpu for name, t in interleave(jobs, rounds).items()}
    print(f"  {len(triangles):8d} triangles   seconds {spread(times['ours'])}")
    for mode in MODES:
        ratio = ratio_text(times[mode], times["ours"])
        print(f"    Embree {mode:8s}     seconds {spread(times[mode])}; as fast as it {ratio}")


def main(rounds: int) -> None:
    """Measure three sizes."""
    print("tree build, one thread: times as fast as Embree's")
    for n_triangle in SIZES:
        measure(n_triangle, rounds)
