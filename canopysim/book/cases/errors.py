"""Errors: standard errors mean what they say, and the true error falls as 1/sqrt(N)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import stats

from canopysim.book.bench import Bench, load
from canopysim.book.case import Case, Scene
from canopysim.book.exact.leaves import two_streams
from canopysim.book.outcome import Outcome
from canopysim.book.readings import AtProbe, Layers, PlaneCells, PlaneMean, Reading, Share
from canopysim.book.scenes import box, panel, percent, scene

RHO, TAU, RHO_FLOOR, LAI = 0.3, 0.25, 0.4, 1.2
FLUX, AREA = 100.0, 0.5 * 0.4
# Short runs: so many, of so many batches with so many packets each; more batches than grids have
# rows, so that rows hold several.
N_RUN, N_BATCH, PACKETS = 2048, 64, 64
CONFIDENCE = 0.95
# Batches of the long trace that is cut into groups.
N_GROUPED = 32_768


def _scene() -> Scene:
    """Give level leaves between a ceiling that emits and a grey floor, endless to all sides."""
    room = box("50 cm", "40 cm", "1 m", floor="floor") | {"repeat": ["width", "depth"]}
    return scene(
        "Level leaves between plates",
        enclosure=room,
        surfaces={"floor": {"diffuse": percent(RHO_FLOOR)}},
        leaves={"leaf": {"reflectance": percent(RHO), "transmittance": percent(TAU)}},
        canopy={"layers": "2", "volumes": [
            {"shape": "slab", "leaf": "leaf", "bottom": "20 cm", "top": "60 cm",
             "leaf_area_index": str(LAI), "angles": "level"}]},
        fixtures={"ceiling": panel("50 cm", "40 cm")},
        lights=[{"fixture": "ceiling", "at": ["25 cm", "20 cm"], "height": "1 m"}],
        planes=[{"name": "floor", "height": "0 cm", "cell": "25 cm"}],
        probes=[{"name": "above", "at": ["20 cm", "15 cm"], "height": "75 cm",
                 "radius": "8 cm"}],
    )  # fmt: skip


READINGS: dict[str, Reading] = {
    "ends": Share("floor"),
    "layers": Layers(),
    "planes": PlaneMean("floor"),
    "cells of planes": PlaneCells("floor"),
    "probes": AtProbe("above"),
}


def exact() -> dict[str, np.ndarray]:
    """Two streams: layers, the floor, and above the leaves 2 (D + U) from all sides.

    Level leaves keep the light of a Lambertian ceiling alike from all directions of a hemisphere,
    so that its fluence rate is twice its flux density, down and up.
    """
    absorbed, up, down = two_streams(np.full(2, LAI / 2), (RHO, TAU), (RHO, TAU), RHO_FLOOR)
    density = FLUX / AREA
    return {
        "ends": np.array(down * (1 - RHO_FLOOR)),
        "layers": absorbed.sum(1),
        "planes": np.array(down * density),
        "cells of planes": np.full((2, 2), down * density),
        "probes": np.array(2 * (1 + up) * density),
    }


def coverage(bench: Bench, case: Case) -> Sequence[Outcome]:
    """Count how many intervals of short runs hold the exact value."""
    import canopysim
    from canopysim.world.compile import compile_world

    n_run = max(int(N_RUN * bench.share), 64)
    loaded = load(dict(_scene()) | {"tracing": {"batch": str(PACKETS)}}, {})
    world = compile_world(loaded)
    wanted = exact()
    held: dict[str, list[float]] = {name: [] for name in READINGS}
    for number in range(n_run):
        result = canopysim.run(loaded, world=world, seed=bench.next_seed(), threads=bench.threads,
                               target={"layers": 1e-9}, max_packets=N_BATCH * PACKETS)  # fmt: skip
        bench.told(result, number, n_run)
        for name, reading in READINGS.items():
            found = reading.read(result)
            half = stats.t.isf((1 - CONFIDENCE) / 2, found.n_row - 1)
            inside = np.abs(found.value - wanted[name]) <= half * found.std_err
            # Figures of one run depend on each other: the first stands for all.
            held[name].append(float(inside.ravel()[0]))
    error = float(np.sqrt(CONFIDENCE * (1 - CONFIDENCE) / n_run))
    law = stats.binom(n_run, CONFIDENCE)
    return [
        Outcome(f"{name}: share of intervals that hold it", CONFIDENCE, float(np.mean(x)), error,
                scale=1.0, law=(float(law.cdf(sum(x))), float(law.sf(sum(x) - 1))))
        for name, x in held.items()
    ]  # fmt: skip


def falling(bench: Bench, case: Case) -> Sequence[Outcome]:
    """Cut one long trace into groups of batches, ten times longer each time.

    For g groups of n batches each, the sum of squared errors over their expectation s^2 / n is chi
    squared with g degrees of freedom.
    """
    n_batch = max(int(N_GROUPED * bench.share), 4096)
    share = bench.leaf_shares(_scene(), case.packets, n_batch)
    off = share - float(exact()["layers"].sum())
    spread = share.var(ddof=1)
    outcomes = []
    for size in (1, 10, 100, 1000, 10_000):
        g = len(off) // size
        if g < 1:
            continue
        mean = off[: g * size].reshape(g, size).mean(1)
        squares = float((mean**2).sum() / (spread / size))
        packets = size * bench.packets // n_batch
        law = stats.chi2(g)
        outcomes.append(
            Outcome(f"mean square error times N over that of single batches, N = {packets}", 1.0,
                    squares / g, float(np.sqrt(2 / g)),
                    law=(float(law.cdf(squares)), float(law.sf(squares))))
        )  # fmt: skip
    return outcomes


CASES = (
    Case(
        name="intervals hold what they should",
        chapter="errors",
        shows=f"Of many short runs, {CONFIDENCE:.0%} of the confidence intervals hold the exact "
        "value: of ends, layers, planes, their cells, probes.",
        source="Two-stream solution for level leaves; Student's t for the mean of few batches; the "
        "number of intervals that hold is binomial.",
        fails_if="Standard errors were too small or too large, batches depended on each other, or "
        "a tally were biased by as much as its error.",
        packets=N_RUN * N_BATCH * PACKETS,
        quick=1 / 16,
        precision=0.0055,
        why_rough="It is a share of runs: 2048 of them tell it to 0.5 %.",
        measure=coverage,
    ),
    Case(
        name="the true error falls as one over the root of N",
        chapter="errors",
        shows="Distances from the exact value, in groups of ten to ten thousand batches.",
        source="Two-stream solution; a sum of squared normal errors is chi squared.",
        fails_if="Batches depended on each other, or a bias showed as the error falls.",
        packets=1 << 23,
        quick=1 / 16,
        precision=0.9,
        why_rough="The longest groups are few, and tell the size of their errors only roughly.",
        measure=falling,
    ),
)
