"""Small scenes for tests, from nested dictionaries, and short runs of them."""

from __future__ import annotations

import copy
from typing import Any

import numpy as np
import yaml

from canopysim.scene.load import load_scene_text
from canopysim.scene.schema import Scene
from canopysim.tallies.driver import BatchTracer
from canopysim.tallies.label import Labeller
from canopysim.tallies.rows import BatchRows, mean_and_error
from canopysim.world.compile import World, compile_world


class PlainDumper(yaml.SafeDumper):
    """Writes shared values out in full: scene files have no anchors."""

    def ignore_aliases(self, data: Any) -> bool:
        return True


FLAT = {"400-700": "100 %"}
# A white light of five bands.
WHITE = {
    "400-500": "20 %",
    "500-600": "35 %",
    "600-700": "38 %",
    "700-750": "4 %",
    "750-800": "3 %",
}


def panel(length: str, width: str, lens: Any = "lambertian", flux: str = "100 umol/s") -> dict:
    """A bare luminous rectangle."""
    return {
        "photon_flux": flux,
        "spectrum": {"400-500": "100 %"},
        "strips": [{"length": length, "width": width, "lens": lens}],
    }


def plain_box(**changes: Any) -> dict:
    """A black box of 1 m with one small panel looking down; keys may be replaced."""
    scene: dict[str, Any] = {
        "title": "A black box",
        "enclosure": {"width": "1 m", "depth": "1 m", "height": "1 m", "lining": "black"},
        "surfaces": {"black": {}},
        "fixtures": {"panel": panel("20 cm", "4 cm")},
        "lights": [{"fixture": "panel", "at": ["50 cm", "50 cm"], "height": "80 cm"}],
        "tracing": {"batch": "16384"},
    }
    scene.update(copy.deepcopy(changes))
    return scene


def scene_of(data: dict) -> Scene:
    """Load a dictionary as the scene file that it would be."""
    return load_scene_text(yaml.dump(data, sort_keys=False, Dumper=PlainDumper))


def world_of(data: dict, **options: Any) -> World:
    return compile_world(scene_of(data), **options)


def trace(
    world: World, n_batch: int, *, seed: int = 1, threads: int = 2, chunk: int = 4096
) -> BatchRows:
    """Trace whole batches."""
    rows = BatchRows.empty(world)
    tracer = BatchTracer(
        world.arrays, world.strip_first, world.depth, seed=seed, threads=threads, chunk=chunk,
        splits=world.splits,
    )  # fmt: skip
    try:
        for books in tracer.batches():
            rows.append(books)
            if rows.n_batch == n_batch:
                return rows
    finally:
        tracer.close()
    raise AssertionError("the tracer gave up")


def ends(world: World, rows: BatchRows, band: int | None = None) -> dict[str, tuple[float, float]]:
    """Mean and standard error of the flux at each end, µmol/s, one band or all."""
    labeller = Labeller(world)
    series: dict[str, list[float]] = {}
    n_band = len(world.edges) - 1
    for absorbed in rows.absorbed:
        flux = labeller.flux(absorbed)[-1][:, :n_band]
        value = flux.sum(1) if band is None else flux[:, band]
        sums: dict[str, float] = {}
        for sink, x in zip(world.sinks, value, strict=True):
            sums[sink.end] = sums.get(sink.end, 0.0) + float(x)
        for end, x in sums.items():
            series.setdefault(end, []).append(x)
    result = {}
    for end, values in series.items():
        mean, error = mean_and_error(np.array(values))
        result[end] = (float(mean), float(error))
    return result


def launched_quanta(world: World, n_batch: int) -> np.ndarray:
    """Quanta launched in whole batches, (channel, band)."""
    arrays = world.arrays
    quanta = np.zeros((len(world.channels), len(world.edges) - 1), np.int64)
    packets = np.diff(world.strip_first)
    for strip, channel in enumerate(arrays.strip_channel):
        quanta[channel] += packets[strip] * arrays.strip_quanta[strip] * n_batch
    return quanta


def plane_counts(world: World, rows: BatchRows, number: int, direction: int = 0) -> np.ndarray:
    """Quanta over all bands and channels that crossed each cell, (ny, nx)."""
    plane = world.planes[number]
    nx, ny = plane.cells
    assert rows.crossed is not None
    block = rows.crossed[:, :, plane.first_bin : plane.first_bin + 2 * nx * ny].sum((0, 1, 3))
    return block.reshape(2, ny, nx)[direction]
