"""The demo scene: packets per second, one thread and all in turn; and the demo with changes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import yaml

if TYPE_CHECKING:
    from canopysim.world.compile import World

SCENE = Path(__file__).parent.parent / "scenes" / "pepper-tent.yaml"


class _Plain(yaml.SafeDumper):
    """Writes every value out: scene files know no aliases."""

    def ignore_aliases(self, data: object) -> bool:
        return True


def changed_demo(
    spectrum: dict[str, str], *, batch: int, bands: Sequence[float] | None = None
) -> World:
    """Compile the demo with another spectrum on all lights.

    Parameters
    ----------
    spectrum : dict of str to str
        Range in nm, such as ``400-500``, to its share of the photons.
    batch : int
        Packets in a batch.
    bands : sequence of float, optional
        Edges, nm; the usual ones if left out.
    """
    from canopysim.scene.load import load_scene_text
    from canopysim.world.compile import compile_world

    data = yaml.load(SCENE.read_text("utf-8"), yaml.BaseLoader)
    for fixture in data["fixtures"].values():
        fixture.pop("ppf")
        fixture |= {"photon_flux": "100 umol/s", "spectrum": spectrum}
    data["tracing"] = {"batch": str(batch)}
    if bands is not None:
        data["bands"] = [f"{edge:g}" for edge in bands]
    return compile_world(load_scene_text(yaml.dump(data, Dumper=_Plain)))


def main(rounds: int) -> None:
    """Measure and print, by wall clock and by CPU time."""
    from benchmarks.thread_cost import time_threads
    from canopysim.scene.load import load_scene
    from canopysim.world.compile import compile_world

    world = compile_world(load_scene(SCENE))
    print(f"demo: {world.n_triangle} triangles, batches of {world.batch_packets} packets")
    time_threads(world, rounds)
