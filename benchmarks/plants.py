"""A million leaf triangles of every plant of the library: seconds to grow and to compile, memory.

Each plant stands in a square grid whose number is the least that makes a million leaf triangles;
what it bears, its stems and its leaf stalks come on top. Growth and compilation run on one thread.
"""

from __future__ import annotations

import subprocess
import sys
import time

from benchmarks.memory import peak_mib

N_TRIANGLE = 1_000_000
# Distance between plants, m: as they are spaced by growers, about.
SPACING_M = {
    "basil": 0.2,
    "leaf-lettuce": 0.25,
    "pepper": 0.4,
    "strawberry": 0.3,
    "tomato": 0.55,
}
MARGIN_M = 0.5
LIMIT_S, LIMIT_MIB = 10.0, 2048.0


def stand(species: str, n_triangle: int = N_TRIANGLE) -> str:
    """Text of a scene with a square stand of one species under a panel."""
    from canopysim.plant_command import LEAF_OF, grow_one

    leaf = next(part for part in grow_one(species).parts if part.kind == "leaf")
    side = 1
    while side * side * len(leaf.faces) < n_triangle:
        side += 1
    size = side * SPACING_M[species] + 2 * MARGIN_M
    ends = f"corner: [{MARGIN_M} m, {MARGIN_M} m]"
    ends += f", opposite: [{size - MARGIN_M:.2f} m, {size - MARGIN_M:.2f} m]"
    return f"""\
title: A stand of {species}
enclosure: {{width: {size:.2f} m, depth: {size:.2f} m, height: 3 m, lining: white}}
surfaces: {{white: {{diffuse: 85 %}}}}
leaves: {{leaf: {{like: {LEAF_OF[species]}}}}}
plants: {{plant: {{like: {species}, leaf: leaf, stem: green-stem}}}}
canopy:
  layers: 8
  plantings:
    - {{plant: plant, columns: {side}, rows: {side}, base: 5 cm, area: {{{ends}}}}}
fixtures:
  panel:
    strips: [{{length: {size - 0.02:.2f} m, width: {size - 0.02:.2f} m, lens: lambertian}}]
    ppf: 1000 umol/s
    spectrum: {{400-500: 20 %, 500-600: 30 %, 600-700: 50 %}}
lights: [{{fixture: panel, at: [{size / 2:.3f} m, {size / 2:.3f} m], height: 2.9 m}}]
"""


def build(species: str, n_triangle: int = N_TRIANGLE) -> tuple[int, int, float, float]:
    """Grow and compile a stand.

    Returns
    -------
    n_leaf, n_all : int
        Leaf triangles, and all that are traced.
    grow_s, compile_s : float
        Thread seconds.
    """
    from canopysim.matter.plants import grow_canopy
    from canopysim.scene.load import load_scene_text
    from canopysim.world.compile import compile_world

    scene = load_scene_text(stand(species, n_triangle))
    start = time.thread_time()
    parts = grow_canopy(scene)
    grown = time.thread_time()
    world = compile_world(scene, plants=parts)
    done = time.thread_time()
    n_leaf = sum(len(part.faces) for part in parts if part.kind == "leaf")
    return n_leaf, world.n_triangle, grown - start, done - grown


def one(species: str) -> None:
    """Print the figures of one stand, the second time that it is built (kernels are loaded)."""
    build(species, 1000)
    print(*build(species))


def trace(species: str) -> None:
    """Build a stand and trace one batch of it on all cores."""
    from canopysim.scene.load import load_scene_text
    from canopysim.tallies.driver import BatchTracer, available_threads
    from canopysim.world.compile import compile_world

    world = compile_world(load_scene_text(stand(species)))
    tracer = BatchTracer(
        world.arrays, world.strip_first, world.depth, seed=1, threads=available_threads()
    )
    next(tracer.batches(ahead=1))
    tracer.close()


def main(rounds: int) -> None:
    """Print a line for each species."""
    from benchmarks.memory import ROOT

    print(f"a million leaf triangles: thread seconds to build (limit {LIMIT_S:g}), peak memory of")
    print(f"a process that builds and traces a batch, MiB (limit {LIMIT_MIB:g})")
    print("  species       leaf triangles  all triangles   grow  compile    sum     peak")
    for species in SPACING_M:
        code = f"from benchmarks.plants import one; one({species!r})"
        seconds = []
        for _ in range(min(rounds, 3)):
            done = subprocess.run(
                [sys.executable, "-c", code], cwd=ROOT, check=True, capture_output=True, text=True
            )
            n_leaf, n_all, *both = done.stdout.split()
            seconds.append([float(value) for value in both])
        grow, compiled = sorted(seconds, key=sum)[len(seconds) // 2]
        peak = peak_mib("-c", f"from benchmarks.plants import trace; trace({species!r})")
        over = " OVER" if grow + compiled > LIMIT_S or peak > LIMIT_MIB else ""
        print(
            f"  {species:13s} {n_leaf:>14s} {n_all:>14s} {grow:6.2f} {compiled:8.2f} "
            f"{grow + compiled:6.2f} {peak:8.0f}{over}"
        )
