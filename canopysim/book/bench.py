"""Where the cases are traced: scenes from mappings, seeds by name, packets and seconds counted."""

from __future__ import annotations

import tempfile
import time
import zlib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import yaml
from numpy.typing import NDArray

if TYPE_CHECKING:
    from canopysim.results import Result
    from canopysim.scene.schema import Scene

Edition = Literal["quick", "full"]
# A stop at an error would make errors and means depend on each other: the budget alone ends a run.
NEVER = 1e-9
MIN_BATCH = 32


class PlainDumper(yaml.SafeDumper):
    """Writes shared values out in full: scene files have no anchors."""

    def ignore_aliases(self, data: Any) -> bool:
        """Say that nothing is an alias."""
        return True


class Bench:
    """Traces the scenes of one case.

    Parameters
    ----------
    name : str
        The case's; its seeds follow from it, so that no two cases share their photons.
    seed : int
        The book's.
    share : float
        How much of the full edition's packets is traced.
    threads : int or None
        All cores if None.
    on_progress : callable, optional
        Called with the packets traced so far and those wanted.
    """

    def __init__(
        self,
        name: str,
        *,
        seed: int = 1,
        share: float = 1.0,
        threads: int | None = None,
        on_progress: Callable[[int, int], None] | None = None,
    ) -> None:
        self.name, self.seed, self.share, self.threads = name, seed, share, threads
        self.on_progress = on_progress
        self.packets = 0
        self.seconds = 0.0
        self.seeds: list[int] = []

    def next_seed(self) -> int:
        """Give the next seed of this case."""
        seed = zlib.crc32(f"{self.seed}/{self.name}/{len(self.seeds)}".encode())
        self.seeds.append(seed)
        return seed

    def trace(
        self,
        scene: Mapping[str, Any],
        packets: int,
        *,
        files: Mapping[str, bytes] | None = None,
        options: Mapping[str, Any] | None = None,
        seed: int | None = None,
        n_batch: int = 2 * MIN_BATCH,
    ) -> Result:
        """Trace a scene with so many packets (of the full edition).

        Parameters
        ----------
        scene : mapping
            As a scene file would be; without ``tracing``.
        packets : int
            Of the full edition; the edition's share of them is traced.
        files : mapping of str to bytes
            Beside the scene.
        options : mapping
            For `compile_world`.
        seed : int, optional
            The case's next one if left out.
        n_batch : int
            Batches, in any edition.
        """
        import canopysim
        from canopysim.world.compile import compile_world

        batch = max(int(packets * self.share) // n_batch, 16)
        wanted = batch * n_batch
        loaded = load(dict(scene) | {"tracing": {"batch": str(batch)}}, files or {})
        world = compile_world(loaded, **(options or {}))
        main = "layers" if loaded.canopy is not None else "planes"
        target: dict[str, str | float] = {main: NEVER}
        if main == "planes" and not loaded.planes:
            target = {}
        start = time.perf_counter()
        result = canopysim.run(
            loaded, world=world, target=target, max_packets=wanted, threads=self.threads,
            seed=self.next_seed() if seed is None else seed,
            progress=None if self.on_progress is None else (
                lambda now: self.on_progress(now.n_packet, wanted)  # type: ignore[misc]
            ),
        )  # fmt: skip
        self.seconds += time.perf_counter() - start
        self.packets += result.n_packet
        if result.partial:
            raise KeyboardInterrupt
        return result

    def leaf_shares(
        self, scene: Mapping[str, Any], packets: int, n_batch: int
    ) -> NDArray[np.float64]:
        """Trace many small batches and give what the leaves take of each batch, (n_batch,).

        Without a result: thousands of batches need no stop rule and no labels.
        """
        from canopysim.tallies.driver import BatchTracer, available_threads
        from canopysim.world.compile import compile_world

        batch = max(int(packets * self.share) // n_batch, 16)
        world = compile_world(load(dict(scene) | {"tracing": {"batch": str(batch)}}, {}))
        leaves = np.array([sink.end == "leaves" for sink in world.sinks])
        shares = np.empty(n_batch)
        tracer = BatchTracer(
            world.arrays, world.strip_first, world.depth, seed=self.next_seed(),
            threads=self.threads or available_threads(),
        )  # fmt: skip
        try:
            for number, found in zip(range(n_batch), tracer.batches(), strict=False):
                absorbed = found.books.absorbed.sum((0, 2))
                shares[number] = absorbed[leaves].sum() / absorbed.sum()
                self.packets += world.batch_packets
                if self.on_progress is not None:
                    self.on_progress(self.packets, batch * n_batch)
        finally:
            tracer.close()
        return shares

    def told(self, result: Result, number: int, of: int) -> None:
        """Take in one of many short runs."""
        if result.partial:
            raise KeyboardInterrupt
        self.packets += result.n_packet
        if self.on_progress is not None:
            self.on_progress(self.packets, result.n_packet * of)


def load(scene: Mapping[str, Any], files: Mapping[str, bytes]) -> Scene:
    """Load a mapping as the scene file that it would be, with files beside it."""
    from canopysim.scene.load import load_scene, load_scene_text

    text = yaml.dump(dict(scene), sort_keys=False, Dumper=PlainDumper)
    if not files:
        return load_scene_text(text)
    with tempfile.TemporaryDirectory() as folder:
        for name, data in files.items():
            (Path(folder) / name).write_bytes(data)
        path = Path(folder) / "scene.yaml"
        path.write_text(text, "utf-8")
        return load_scene(path)
