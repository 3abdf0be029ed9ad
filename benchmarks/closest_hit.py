"""Closest hit, ray by ray, on one thread: our walk against Embree's batch and single-ray calls."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from benchmarks.canopies import BOX_M, CANOPY_M, FRESH_SEED, SIZES, bars, canopy, walls
from benchmarks.measure import interleave, ratio_text
from benchmarks.recorded import FAR, LEAF, materials, record_rays
from benchmarks.unlike import Judge
from canopysim.transport.arrays import Soup
from canopysim.transport.build import build_tree
from canopysim.transport.walk import nearest_triangle

N_TIMED, N_JUDGED = 100_000, 1_000_000
MOST_UNLIKE = 1e-5
# From origins and directions to the triangle that each ray meets first.
Trace = Callable[[NDArray[np.float32], NDArray[np.float32]], NDArray[np.int64]]


@njit(nogil=True, error_model="numpy")
def _walk(soup, need, origins, directions, found, distance):
    stack, lanes = np.empty(need, np.uint64), np.empty(8, np.float32)
    for i in range(origins.shape[0]):
        o, d = origins[i], directions[i]
        slot, t = nearest_triangle(soup, o[0], o[1], o[2], d[0], d[1], d[2], FAR, -1, stack, lanes)
        found[i] = soup.triangle_id[slot] if slot >= 0 else -1
        distance[i] = t


def plant_soup(triangles: NDArray[np.float32]) -> tuple[Soup, int]:
    """Our tree over triangles, and the stack that it needs."""
    nodes, blocks, slots, need = build_tree(triangles.ravel(), max(BOX_M))
    return Soup(nodes, nodes.view(np.uint32), blocks, slots.astype(np.int32)), need


def embreex_batch(triangles: NDArray[np.float32], *, robust: bool) -> Trace:
    """The call that embreex offers: all rays at once, in the form that gives the triangles only."""
    from embreex.mesh_construction import TriangleMesh
    from embreex.rtcore_scene import EmbreeScene

    scene = EmbreeScene(robust=robust)
    TriangleMesh(scene, triangles)
    call: Trace = scene.run
    return call


def measure(n_triangle: int, seed: int, rounds: int, name: str, **options: Any) -> int:
    """Print one canopy: rates, ratios in interleaved rounds, and every unlike hit explained.

    Returns
    -------
    int
        Unlike hits that are not explained.
    """
    from benchmarks.embree import MODES, EmbreeScene, Mesh, library, ray_record, single_ray_loop

    leaves, lamps = canopy(n_triangle, seed, **options), bars()
    triangles = np.concatenate([leaves, walls(), lamps])
    soup, need = plant_soup(triangles)
    lib, mesh = library(), Mesh(triangles)
    loop, (record, words) = single_ray_loop(lib), ray_record()
    scenes = {mode: EmbreeScene(lib, mesh, robust=mode == "robust") for mode in MODES}
    # Memory that the calls write their answers to is there before the clock starts.
    found, distance = np.zeros(N_JUDGED, np.int64), np.zeros(N_JUDGED, np.float32)

    def ours(o: NDArray[np.float32], d: NDArray[np.float32]) -> NDArray[np.int64]:
        _walk(soup, need, o, d, found, distance)
        return found[: len(o)]

    def single(mode: str) -> Trace:
        def trace(o: NDArray[np.float32], d: NDArray[np.float32]) -> NDArray[np.int64]:
            loop(scenes[mode].handle, record, words, o, d, found, distance)
            return found[: len(o)]

        return trace

    peers: dict[str, Trace] = {f"{mode} ray": single(mode) for mode in MODES}
    peers |= {f"{mode} batch": embreex_batch(triangles, robust=mode == "robust") for mode in MODES}
    kinds = materials(len(leaves), len(lamps))
    o, d = record_rays(soup, need, kinds, N_JUDGED, seed + 1)
    low = np.flatnonzero(o[:, 2] < CANOPY_M[1])
    mine = ours(o, d).copy()
    times = []
    for rows in (np.arange(N_TIMED), low[:N_TIMED]):
        some = np.ascontiguousarray(o[rows]), np.ascontiguousarray(d[rows])
        jobs = {k: (lambda _, c=c, s=some: c(*s)) for k, c in {"ours": ours, **peers}.items()}
        times.append({k: t.cpu for k, t in interleave(jobs, rounds).items()})
    rates = [len(rows) / np.median(t["ours"]) / 1e6 for t in times]
    print(
        f"  {len(triangles)} triangles, {name}, seed {seed}: {rates[0]:.2f} million rays per "
        f"CPU-second, {rates[1]:.2f} from the canopy\n"
        f"    ({len(low) / len(o):.0%} of the rays start below the canopy's top, "
        f"{(kinds[mine] == LEAF).mean():.0%} end on leaves)"
    )
    judge, unexplained = Judge(triangles), 0
    for peer, call in peers.items():
        verdicts = judge.verdicts(o, d, mine, call(o, d))
        unexplained += verdicts.kinds["unexplained"]
        missed = "; MISSED" if verdicts.kinds.total() >= MOST_UNLIKE * N_JUDGED else ""
        ratios = [ratio_text(t[peer], t["ours"]) for t in times]
        print(f"    over {peer:14s}{ratios[0]}  from the canopy {ratios[1]}")
        print(f"         hits: {verdicts.text(N_JUDGED)}{missed}")
    return unexplained


def main(rounds: int) -> int:
    """Measure canopies of three sizes, fine blades and needles, and three of a fresh seed.

    Returns
    -------
    int
        Unlike hits that are not explained.
    """
    print("closest hit, rays of photon histories, one thread: times as fast as Embree's single-ray")
    print("call and as embreex's batch call (robust, unless asked), in both modes of Embree")
    print(f"(target: fewer than {MOST_UNLIKE:g} of the hits unlike, every one of them explained)")
    unexplained = sum(measure(n, 1, rounds, "blades") for n in SIZES)
    unexplained += measure(1_000_000, 1, rounds, "blades cut fine", n_along=16)
    unexplained += measure(200_000, 1, rounds, "needles", needles=True)
    unexplained += sum(measure(n, FRESH_SEED, rounds, "blades") for n in SIZES)
    return unexplained
