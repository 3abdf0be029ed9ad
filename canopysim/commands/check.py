"""check: read a scene back."""

from __future__ import annotations

from canopysim.commands.options import AllowOutside, SceneFile


def check(scene: SceneFile, allow_outside: AllowOutside = False) -> None:
    """Read a scene back without tracing: sizes, leaf area by layer, photons, defaults used."""
    from rich.console import Console

    from canopysim.guards import refuse_large
    from canopysim.report.readback import read_back
    from canopysim.scene.load import load_scene
    from canopysim.tallies.driver import available_threads
    from canopysim.world.compile import compile_world

    loaded = load_scene(scene, allow_outside=allow_outside)
    world = compile_world(loaded)
    refuse_large(world, available_threads())
    Console().print(read_back(loaded, world))
