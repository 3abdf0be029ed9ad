"""What a packet costs by the number of bands that it carries, on the demo scene."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from benchmarks.demo import changed_demo
from benchmarks.measure import interleave, ratio_text, spread
from benchmarks.one_thread import OneThread

if TYPE_CHECKING:
    from canopysim.world.compile import World

# Photons of the demo's overhead light in 400-700, 700-750 and 750-800 nm, %.
SHARES = {(400, 700): 96.0, (700, 750): 3.5, (750, 800): 0.5}
EDGES = {
    2: (400, 700, 750),
    5: (400, 500, 600, 700, 750, 800),
    10: (*range(400, 700, 50), *range(700, 801, 25)),
    40: tuple(range(400, 801, 10)),
}
USUAL = 5
BATCH = 65_536


def world_of(edges: tuple[int, ...]) -> World:
    """The demo with these bands; each of the shares is split over its bands by their widths."""
    bands = list(pairwise(edges))
    inside = {
        band: share * (band[1] - band[0]) / (high - low)
        for (low, high), share in SHARES.items()
        for band in bands
        if low <= band[0] and band[1] <= high
    }
    total = sum(inside.values())
    spectrum = {f"{a}-{b}": f"{100 * share / total:.10f} %" for (a, b), share in inside.items()}
    return changed_demo(spectrum, batch=BATCH, bands=edges)


def first_band_alone(world: World) -> World:
    """Cut everything but the first band off a world; no scene can say that."""
    arrays = world.arrays
    sizes = arrays.sizes.copy()
    sizes[2] = 1
    arrays = arrays._replace(
        absorb=np.ascontiguousarray(arrays.absorb[..., :1]),
        ways=np.ascontiguousarray(arrays.ways[..., :1]),
        strip_quanta=np.ascontiguousarray(arrays.strip_quanta[..., :1]),
        sizes=sizes,
    )
    return replace(world, arrays=arrays)


def main(rounds: int) -> None:
    """Measure one band (400-700 nm) and four numbers of bands; paths differ with the far-red."""
    print(f"number of bands, demo scene, one thread, batches of {BATCH} packets")
    worlds = {n: world_of(edges) for n, edges in EDGES.items()}
    tracers = {n: OneThread(w) for n, w in ({1: first_band_alone(worlds[2])} | worlds).items()}
    times = interleave({str(n): t.trace for n, t in tracers.items()}, rounds)
    for n, tracer in tracers.items():
        cpu = times[str(n)].cpu
        print(
            f"  {n:2d}: thousand packets per CPU-second {spread(BATCH / 1e3 / np.array(cpu))}; CPU "
            f"time over {USUAL} bands {ratio_text(cpu, times[str(USUAL)].cpu)}; "
            f"{tracer.meetings:.2f} meetings a packet"
        )
