"""Whole histories: canopysim against what one writes with embreex and numpy, batch by batch.

Both trace the same scene with the same physics (five bands on one path, two-sided leaves, diffuse
walls, roulette), the same tallies (absorbed by layer, side and band, by wall, two planes with
grids, up and down) and the same number of packets. The wavefront keeps its photons in arrays,
drops the dead ones, works in single precision, sorts nothing, and hands Embree as many rays at a
time as serve it best.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from benchmarks.canopies import BOX_M, FRESH_SEED, SIZES, canopy, walls
from benchmarks.measure import Job, interleave, ratio_text
from benchmarks.one_thread import OneThread

if TYPE_CHECKING:
    from canopysim.world.compile import World

F = np.float32
LEAF_R = np.array([0.042, 0.092, 0.047, 0.314, 0.471], F)
LEAF_T = np.array([0.001, 0.069, 0.020, 0.308, 0.470], F)
WALL_R = np.array([0.85, 0.85, 0.85, 0.85, 0.85], F)
SHARES = np.array([0.18, 0.30, 0.46, 0.04, 0.02], F)
N_LAYER, N_CELL = 8, (24, 20)
BATCH = 160_000
SCENE = """
title: Blades anywhere in a closed box
enclosure: {{width: {x} m, depth: {y} m, height: {z} m, lining: white}}
surfaces: {{white: {{diffuse: 85 %}}}}
leaves:
  leaf:
    reflectance:
      {{400-500: 4.2 %, 500-600: 9.2 %, 600-700: 4.7 %, 700-750: 31.4 %, 750-800: 47.1 %}}
    transmittance:
      {{400-500: 0.1 %, 500-600: 6.9 %, 600-700: 2 %, 700-750: 30.8 %, 750-800: 47 %}}
plants:
  any: {{leaf: leaf, stem: white, nodes: 1, internode: 1 cm, petiole_length: 1 cm,
         petiole_angle: 60 deg, blade_length: 3 cm, blade_width: 2 cm}}
canopy: {{layers: {layers}, plantings: [{{plant: any, columns: 1, rows: 1}}]}}
fixtures:
  panel:
    photon_flux: 100 umol/s
    spectrum: {{400-500: 18 %, 500-600: 30 %, 600-700: 46 %, 700-750: 4 %, 750-800: 2 %}}
    strips: [{{length: 1 m, width: 80 cm, lens: lambertian}}]
lights: [{{fixture: panel, at: [60 cm, 50 cm], height: 1.8 m}}]
planes:
  - {{name: top, height: 1 m, cell: 5 cm}}
  - {{name: inside, height: 50 cm, cell: 5 cm}}
tracing: {{batch: {batch}}}
"""


class Wavefront:
    """Photons in arrays: one Embree call for all, then numpy for what happens to them."""

    def __init__(self, triangles: np.ndarray, edges: np.ndarray) -> None:
        from embreex.mesh_construction import TriangleMesh
        from embreex.rtcore_scene import EmbreeScene

        from canopysim.transport.arrays import PACKET_QUANTA
        from canopysim.transport.scatter import ROULETTE_BELOW

        corners = np.concatenate([triangles, walls()])
        self.n_leaf = len(triangles)
        self.scene = EmbreeScene()
        TriangleMesh(self.scene, corners)
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        self.normal = (normal / np.linalg.norm(normal, axis=1)[:, None]).astype(F)
        self.inner = edges[1:-1].astype(F)
        # Both end faint packets at the same weight: another one would be another amount of work.
        self.least = F(ROULETTE_BELOW / PACKET_QUANTA)

    def trace(self, n: int, size: int, rng: np.random.Generator) -> dict[str, np.ndarray]:
        """Trace n packets, `size` at a time."""
        books = {
            "leaf": np.zeros((N_LAYER * 2, 5)),
            "wall": np.zeros((6, 5)),
            "plane": np.zeros((2, 2, N_CELL[0] * N_CELL[1], 5)),
            "counters": np.zeros(2, np.int64),  # meetings, lost
        }
        for first in range(0, n, size):
            self._some(min(size, n - first), rng, books)
        return books

    def _some(self, n: int, rng: np.random.Generator, books: dict[str, np.ndarray]) -> None:
        o = np.empty((n, 3), F)
        o[:, 0] = F(0.1) + rng.random(n, F)
        o[:, 1] = F(0.1) + F(0.8) * rng.random(n, F)
        o[:, 2] = F(1.8)
        d = _cosine(np.broadcast_to(np.array([0, 0, -1], F), (n, 3)), rng)
        w = np.broadcast_to(SHARES, (n, 5)).copy()
        start_z = o[:, 2].copy()
        while n:
            hit = self.scene.run(o, d, output=True)
            prim = hit["primID"]
            t = hit["tfar"].astype(F)
            if prim.min() < 0:
                # A start within rounding of a wall that the photon did not leave may lie outside.
                met = np.flatnonzero(prim >= 0)
                books["counters"][1] += n - len(met)
                n, prim, t = len(met), prim[met], t[met]
                o, d, w, start_z = o[met], d[met], w[met], start_z[met]
            books["counters"][0] += n
            p = o + t[:, None] * d
            self._planes(o, d, start_z, p[:, 2], w, books)
            leaf = prim < self.n_leaf
            normal = self.normal[prim]
            away = np.einsum("ij,ij->i", normal, d) > 0
            normal[away] *= -1
            # Absorb.
            lost = np.where(leaf[:, None], 1 - LEAF_R - LEAF_T, 1 - WALL_R) * w
            layer = N_LAYER - 1 - np.searchsorted(self.inner, p[:, 2], side="left")
            where = np.where(leaf, 2 * layer + away, 2 * N_LAYER + (prim - self.n_leaf) // 2)
            for band in range(5):
                taken = np.bincount(where, lost[:, band], 2 * N_LAYER + 6)
                books["leaf"][:, band] += taken[: 2 * N_LAYER]
                books["wall"][:, band] += taken[2 * N_LAYER :]
            w -= lost
            # Roulette.
            least = self.least
            left = w.sum(1)
            u = rng.random((n, 2), F)
            alive = (left >= least) | (u[:, 0] * least < left)
            gain = np.where(left < least, least / np.maximum(left, F(1e-30)), F(1))
            keep = np.flatnonzero(alive)
            w, p, normal, leaf, u = w[keep], p[keep], normal[keep], leaf[keep], u[keep, 1]
            w *= gain[keep, None]
            # Reflect or transmit, all bands together.
            back = LEAF_R / (LEAF_R + LEAF_T)
            reflected = np.einsum("ij,j->i", w, back) / np.maximum(w.sum(1), F(1e-30))
            through = leaf & (u >= reflected)
            factor = np.where(
                through[:, None],
                (1 - back) / np.maximum(1 - reflected, F(1e-9))[:, None],
                back / np.maximum(reflected, F(1e-9))[:, None],
            )
            w = np.where(leaf[:, None], w * factor, w)
            normal[through] *= -1
            d = _cosine(normal, rng)
            o = p + F(1e-5) * normal
            start_z = p[:, 2]
            n = len(o)

    def _planes(self, o, d, from_z, to_z, w, books) -> None:
        for plane, height in enumerate((F(1.0), F(0.5))):
            crosses = np.flatnonzero((from_z > height) != (to_z > height))
            s = (height - o[crosses, 2]) / d[crosses, 2]
            x = o[crosses, 0] + s * d[crosses, 0]
            y = o[crosses, 1] + s * d[crosses, 1]
            ix = np.clip((x * F(N_CELL[0] / BOX_M[0])).astype(np.int64), 0, N_CELL[0] - 1)
            iy = np.clip((y * F(N_CELL[1] / BOX_M[1])).astype(np.int64), 0, N_CELL[1] - 1)
            up = (to_z[crosses] > from_z[crosses]).astype(np.int64)
            cell = (up * N_CELL[1] + iy) * N_CELL[0] + ix
            for band in range(5):
                n_bin = 2 * N_CELL[0] * N_CELL[1]
                count = np.bincount(cell, w[crosses, band], n_bin)
                books["plane"][plane, :, :, band] += count.reshape(2, -1)


def _cosine(normal: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Directions about normals by the law of Lambert: a point of the sphere on the normal's tip."""
    n = len(normal)
    z = 2 * rng.random(n, F) - 1
    turn = F(2 * np.pi) * rng.random(n, F)
    r = np.sqrt(np.maximum(1 - z * z, 0))
    d = np.empty((n, 3), F)
    d[:, 0] = normal[:, 0] + r * np.cos(turn)
    d[:, 1] = normal[:, 1] + r * np.sin(turn)
    d[:, 2] = normal[:, 2] + z
    d /= np.sqrt(np.einsum("ij,ij->i", d, d))[:, None] + F(1e-12)
    return d


def leaf_world(n_triangle: int, seed: int, batch: int) -> World:
    """Compile the scene with leaves of about so many triangles."""
    from canopysim.matter.parts import Part
    from canopysim.scene.load import load_scene_text
    from canopysim.world.compile import compile_world

    corners = canopy(n_triangle, seed).reshape(-1, 3).astype(np.float64)
    faces = np.arange(len(corners), dtype=np.int32).reshape(-1, 3)
    leaves = Part("blades", "leaf", corners, faces, "leaf", False)
    text = SCENE.format(x=BOX_M[0], y=BOX_M[1], z=BOX_M[2], layers=N_LAYER, batch=batch)
    return compile_world(load_scene_text(text), plants=[leaves])


def best_size(other: Wavefront) -> int:
    """Find the number of photons at a time that serves the wavefront best."""
    sizes = (10_000, 20_000, 40_000, 80_000, 160_000)

    def job(size: int) -> Job:
        return lambda _: other.trace(BATCH, size, np.random.default_rng(1))

    times = interleave({str(size): job(size) for size in sizes}, 3)
    return min(sizes, key=lambda n: np.median(times[str(n)].cpu))


def measure(n_triangle: int, seed: int, rounds: int) -> None:
    """Print packets per CPU-second of both, their ratio, and that they agree."""
    world = leaf_world(n_triangle, seed, BATCH)
    layers = world.layers
    assert layers is not None
    edges = np.append(layers.z_bottom[::-1], layers.z_top[0])
    other, tracer = Wavefront(canopy(n_triangle, seed), edges), OneThread(world, seed)
    size = best_size(other)
    sinks = [i for i, s in enumerate(world.sinks) if s.kind == "leaf"]
    absorbed: dict[str, list[np.ndarray]] = {"ours": [], "theirs": []}
    counters = {"ours": np.zeros(2, np.int64), "theirs": np.zeros(2, np.int64)}

    def ours(number: int) -> None:
        tracer.trace(number)
        absorbed["ours"].append(tracer.books.absorbed[0, sinks].sum(0) / 2.0**32)
        counters["ours"] += tracer.books.counters[1:3]

    def theirs(number: int) -> None:
        books = other.trace(BATCH, size, np.random.default_rng(number))
        absorbed["theirs"].append(books["leaf"].sum(0))
        counters["theirs"] += books["counters"]

    times = interleave({"ours": ours, "theirs": theirs}, rounds)
    n_packet = (rounds + 1) * BATCH
    met = [counters[who][0] / n_packet for who in ("ours", "theirs")]
    print(
        f"  {n_triangle:8d} triangles, seed {seed}: "
        f"{BATCH / np.median(times['ours'].cpu) / 1e3:.0f} thousand packets per CPU-second, "
        f"{ratio_text(times['theirs'].cpu, times['ours'].cpu)} times the wavefront of {size}\n"
        f"    absorbed by leaves, band by band: {agreement(*absorbed.values())}; "
        f"{met[0]:.2f} and {met[1]:.2f} meetings a packet; "
        f"{counters['ours'][1]} and {counters['theirs'][1]} of {n_packet} packets lost"
    )


def agreement(some: list[np.ndarray], others: list[np.ndarray]) -> str:
    """Say how far two series of batches (n_batch, n_band) are apart, in the worst band."""
    mine, theirs = np.array(some), np.array(others)
    apart = np.abs(mine.mean(0) - theirs.mean(0))
    std_err = np.sqrt((mine.var(0, ddof=1) + theirs.var(0, ddof=1)) / len(mine))
    share, errors = (apart / mine.mean(0)).max(), (apart / std_err).max()
    return f"{100 * share:.2f} % apart at most, {errors:.1f} standard errors"


def main(rounds: int) -> None:
    """Measure three sizes, and the same from a fresh seed."""
    print("whole histories, one thread: times the packets per CPU-second of embreex with numpy")
    for seed in (1, FRESH_SEED):
        for n_triangle in SIZES:
            measure(n_triangle, seed, rounds)
