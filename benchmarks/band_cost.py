"""What five bands on one path cost and gain, against runs of one band each."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import yaml

SCENE = Path(__file__).parent.parent / "scenes" / "pepper-tent.yaml"
BANDS = ("400-500", "500-600", "600-700", "700-750", "750-800")
MIXES = {
    "five equal bands": dict.fromkeys(BANDS, "20 %"),
    "the demo's white": dict(zip(BANDS, ("18 %", "28 %", "50 %", "3.5 %", "0.5 %"), strict=True)),
}


class _Plain(yaml.SafeDumper):
    def ignore_aliases(self, data: object) -> bool:
        return True


def _trace(spectrum: dict[str, str], n_batch: int) -> tuple[np.ndarray, float]:
    """Relative variance of each layer and band's absorption (n_layer, 5), and CPU seconds."""
    from canopysim.scene.load import load_scene_text
    from canopysim.tallies.books import open_books
    from canopysim.transport.history import trace_range
    from canopysim.world.compile import compile_world

    data = yaml.load(SCENE.read_text("utf-8"), yaml.BaseLoader)
    for fixture in data["fixtures"].values():
        fixture.pop("ppf")
        fixture |= {"photon_flux": "100 umol/s", "spectrum": spectrum}
    data["tracing"] = {"batch": "16384"}
    world = compile_world(load_scene_text(yaml.dump(data, Dumper=_Plain)))
    leaves = [i for i, s in enumerate(world.sinks) if s.kind == "leaf"]
    rows = []
    books = open_books(world.arrays)
    seconds = 0.0
    for batch in range(-1, n_batch):
        for array in books:
            array[:] = 0
        start = time.process_time()
        trace_range(
            world.arrays, books, None, world.strip_first, np.uint32(1), np.uint32(0), max(batch, 0), 0,
            0 if batch < 0 else world.batch_packets, world.depth,
        )  # fmt: skip
        if batch >= 0:
            seconds += time.process_time() - start
            rows.append(books.absorbed[:, leaves].sum(0).reshape(-1, 2, 5).sum(1))
    series = np.array(rows, float)
    with np.errstate(invalid="ignore"):
        return series.var(0, ddof=1) / n_batch / series.mean(0) ** 2, seconds


def main(rounds: int) -> None:
    """Figure of merit 1 / (relative variance x CPU time), mean over the demo's layers."""
    n_batch = max(24, 4 * rounds)
    print("five bands on one path, demo scene: cost, and figure of merit over one-band runs that")
    print("share the same time")
    alone = {band: _trace({band: "100 %"}, n_batch) for band in BANDS}
    for name, spectrum in MIXES.items():
        variance, seconds = _trace(spectrum, n_batch)
        print(
            f"  {name}: {seconds / alone[BANDS[-1]][1]:.2f} times the CPU time of 750–800 nm alone"
        )
        for number, band in enumerate(BANDS):
            one, one_seconds = alone[band]
            ratio = np.mean(one[:, number]) * one_seconds * len(BANDS)
            ratio /= np.mean(variance[:, number]) * seconds
            print(f"    {band} nm: {ratio:.2f}")
