"""run: trace a scene and write its results."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from canopysim.commands.around_a_run import (
    INTERRUPTED,
    finish,
    interrupted,
    say_what_compiles,
    steady_console,
)
from canopysim.commands.options import (
    AllowOutside,
    MaxPackets,
    MaxTime,
    Replicates,
    SceneFile,
    Targets,
    Threads,
    read_limits,
    read_option,
)


def run(
    scene: SceneFile,
    out: Annotated[
        Path | None,
        typer.Option(
            help="Folder for the results; results/SCENE, or the next free name, if left out.",
            show_default=False,
        ),
    ] = None,
    seed: Annotated[
        str | None, typer.Option(help="Seed of the photons, a whole number.", metavar="NUMBER")
    ] = None,
    threads: Threads = None,
    max_packets: MaxPackets = None,
    max_time: MaxTime = None,
    target: Targets = None,
    replicates: Replicates = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Write over the results in the folder of --out.")
    ] = False,
    allow_outside: AllowOutside = False,
) -> None:
    """Trace a scene and write its results: result.nc, tables, a picture and report.html."""
    from canopysim.output import result_folder
    from canopysim.report.progress import RunDisplay
    from canopysim.scene.fields import parse_count
    from canopysim.scene.load import load_scene
    from canopysim.tracing import run as run_scene
    from canopysim.world.cautions import cautions
    from canopysim.world.compile import compile_world
    from canopysim.world.replicates import MOST_REPLICATES, with_replicates

    result, folder = None, None
    try:
        loaded = load_scene(scene, allow_outside=allow_outside)
        number = read_option(
            "--replicates", replicates, lambda t: parse_count(t, 1, MOST_REPLICATES)
        )
        loaded = with_replicates(loaded, number)
        limits = read_limits(loaded, target, max_packets, max_time, threads)
        limits["seed"] = read_option("--seed", seed, parse_count)
        with result_folder(out, scene, replace) as folder:
            console = steady_console()
            say_what_compiles(console, loaded)
            world = compile_world(loaded)
            for caution in cautions(loaded, world):
                console.print(f"Caution: {caution}", style="yellow", markup=False, highlight=False)
            with RunDisplay(console) as display:
                result = run_scene(
                    loaded, world=world, progress=display, checkpoint=folder, **limits
                )
            finish(console, loaded, world, result, folder)
    except KeyboardInterrupt:
        interrupted(result, folder)
    if result is not None and result.partial:
        raise typer.Exit(INTERRUPTED)
