"""What five bands on one path cost and gain, against runs of one band each."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchmarks.demo import changed_demo
from benchmarks.measure import Job, interleave, ratio_text
from benchmarks.one_thread import OneThread

BANDS = ("400-500", "500-600", "600-700", "700-750", "750-800")
MIXES = {
    "five equal bands": dict.fromkeys(BANDS, "20 %"),
    "the demo's white": dict(zip(BANDS, ("18 %", "28 %", "50 %", "3.5 %", "0.5 %"), strict=True)),
}
BATCH = 16_384


def _job(spectrum: dict[str, str], rows: list[NDArray[np.int64]]) -> Job:
    """Trace batches of the demo under a spectrum; each leaves a row (n_layer, 5) of absorption."""
    world = changed_demo(spectrum, batch=BATCH)
    leaves = [i for i, s in enumerate(world.sinks) if s.kind == "leaf"]
    tracer = OneThread(world)

    def trace(number: int) -> None:
        tracer.trace(number)
        rows.append(tracer.books.absorbed[:, leaves].sum(0).reshape(-1, 2, len(BANDS)).sum(1))

    return trace


def _relative_variance(rows: list[NDArray[np.int64]]) -> NDArray[np.float64]:
    """Variance of a batch's absorption over its squared mean, mean over the layers, (5,)."""
    series = np.array(rows, float)
    with np.errstate(invalid="ignore"):
        variance: NDArray[np.float64] = (series.var(0, ddof=1) / series.mean(0) ** 2).mean(0)
    return variance


def main(rounds: int) -> None:
    """Figure of merit 1 / (relative variance x CPU time), mean over the demo's layers."""
    print("five bands on one path, demo scene: cost, and figure of merit over one-band runs that")
    print("share the same time")
    spectra = {band: {band: "100 %"} for band in BANDS} | MIXES
    rows: dict[str, list[NDArray[np.int64]]] = {name: [] for name in spectra}
    jobs = {name: _job(spectrum, rows[name]) for name, spectrum in spectra.items()}
    cpu = {name: t.cpu for name, t in interleave(jobs, max(24, 4 * rounds)).items()}
    variance = {name: _relative_variance(rows[name]) for name in spectra}
    for name in MIXES:
        print(
            f"  {name}: {ratio_text(cpu[name], cpu[BANDS[-1]])} times the CPU time of {BANDS[-1]}"
        )
        for number, band in enumerate(BANDS):
            gain = variance[band][number] * np.sum(cpu[band]) * len(BANDS)
            gain /= variance[name][number] * np.sum(cpu[name])
            print(f"    {band} nm: {gain:.2f}")
