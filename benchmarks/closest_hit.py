"""Closest hit, ray by ray, on one thread: our walk against Embree's single-ray call."""

from __future__ import annotations

import time

import numpy as np
from numba import njit

from benchmarks.canopies import BOX_M, bars, canopy, walls
from benchmarks.measure import ratio_text
from benchmarks.recorded import FAR, materials, record_rays
from canopysim.transport.arrays import Soup
from canopysim.transport.build import build_tree
from canopysim.transport.walk import nearest_triangle


@njit(nogil=True, error_model="numpy")
def _walk(soup, need, origins, directions, found, distance):
    stack, lanes = np.empty(need, np.uint64), np.empty(8, np.float32)
    for i in range(origins.shape[0]):
        o, d = origins[i], directions[i]
        slot, t = nearest_triangle(soup, o[0], o[1], o[2], d[0], d[1], d[2], FAR, -1, stack, lanes)
        found[i] = soup.triangle_id[slot] if slot >= 0 else -1
        distance[i] = t


def measure(n_triangle: int, seed: int, rounds: int, n_ray: int = 100_000, **options) -> None:
    """Print one canopy: rates and ratios in interleaved rounds, and how many hits differ."""
    from benchmarks.embree import EmbreeScene, library, ray_record, single_ray_loop

    leaves, lamps = canopy(n_triangle, seed, **options), bars()
    triangles = np.concatenate([leaves, walls(), lamps])
    start = time.process_time()
    nodes, blocks, slots, need = build_tree(triangles.ravel(), max(BOX_M))
    built = time.process_time() - start
    soup = Soup(nodes, nodes.view(np.uint32), blocks, slots.astype(np.int32))
    lib = library()
    loop = single_ray_loop(lib)
    record, words = ray_record()
    scenes = {}
    for mode in ("robust", "default"):
        start = time.process_time()
        scenes[mode] = EmbreeScene(lib, triangles, robust=mode == "robust")
        scenes[mode].seconds = time.process_time() - start
    kinds = materials(len(leaves), len(lamps))
    origins, directions = record_rays(soup, need, kinds, n_ray, seed + 1)
    found = {k: np.empty(n_ray, np.int64) for k in ("ours", *scenes)}
    distance = {k: np.empty(n_ray, np.float32) for k in ("ours", *scenes)}

    def ours() -> None:
        _walk(soup, need, origins, directions, found["ours"], distance["ours"])

    def embree(mode: str) -> None:
        loop(scenes[mode].handle, record, words, origins, directions, found[mode], distance[mode])

    runs = {"ours": ours} | {mode: (lambda m=mode: embree(m)) for mode in scenes}
    seconds: dict[str, list[float]] = {k: [] for k in runs}
    for number in range(rounds + 1):
        for name, call in runs.items():
            start = time.process_time()
            call()
            if number:
                seconds[name].append(time.process_time() - start)
    print(
        f"  {len(triangles):8d} triangles, seed {seed}: "
        f"{n_ray / np.median(seconds['ours']) / 1e6:.2f} million rays per CPU-second; "
        f"tree in {built:.2f} s (Embree {scenes['robust'].seconds:.2f} s)"
    )
    for mode in scenes:
        unlike = int((found["ours"] != found[mode]).sum())
        close = np.isclose(distance["ours"], distance[mode], rtol=1e-4, atol=1e-5)
        near = int((~close & (found["ours"] != found[mode])).sum())
        print(
            f"    over Embree {mode:8s} {ratio_text(seconds[mode], seconds['ours'])}; "
            f"{unlike} hits unlike of {n_ray}, {near} of them not at the same distance"
        )


def main(rounds: int) -> None:
    """Measure canopies of three sizes, fine blades and needles, and one from a fresh seed."""
    print("closest hit, rays between leaves, one thread: times as fast as Embree's single-ray call")
    for n_triangle in (20_000, 200_000, 1_000_000):
        measure(n_triangle, 1, rounds)
    measure(1_000_000, 1, rounds, n_along=16)
    measure(200_000, 1, rounds, needles=True)
    for n_triangle in (20_000, 200_000, 1_000_000):
        measure(n_triangle, 20261124, rounds)
