"""simplify: a scene as drawn and as a turbid canopy."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from canopysim.commands.around_a_run import (
    INTERRUPTED,
    say_what_compiles,
    steady_console,
    write_quietly,
)
from canopysim.commands.options import (
    AllowOutside,
    MaxPackets,
    MaxTime,
    SceneFile,
    Targets,
    Threads,
    read_limits,
    read_option,
)
from canopysim.errors import CanopysimError

if TYPE_CHECKING:
    from canopysim.results import Result


def simplify(
    scene: SceneFile,
    how: Annotated[
        str, typer.Option("--as", help="What the leaves become: slab or crowns.", metavar="SHAPE")
    ] = "slab",
    out: Annotated[
        Path | None,
        typer.Option(
            help="Folder for the results; results/SCENE-as-SHAPE, or the next free name, if left "
            "out.",
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
    replace: Annotated[
        bool, typer.Option("--replace", help="Write over the results in the folder of --out.")
    ] = False,
    allow_outside: AllowOutside = False,
) -> None:
    """Trace a scene twice, its leaves as drawn and as a turbid canopy, and tell what that costs.

    A turbid canopy knows how many leaves are at each height and how they are inclined, and nothing
    of their size and place. Limits hold for each of the two traces.
    """
    from canopysim.output import result_folder
    from canopysim.report.fitted_table import FittedTable
    from canopysim.report.progress import RunDisplay
    from canopysim.report.simplify import simplify_sentence, simplify_table, write_simplify_csv
    from canopysim.scene.fields import parse_count
    from canopysim.scene.load import load_scene
    from canopysim.studies.simplify import simplify_scenes
    from canopysim.tracing import run as run_scene
    from canopysim.world.compile import compile_world

    if how not in ("slab", "crowns"):
        raise CanopysimError(f"--as: {how!r} is not known; allowed: slab, crowns")
    results: list[Result] = []
    try:
        loaded = load_scene(scene, allow_outside=allow_outside)
        limits = read_limits(loaded, target, max_packets, max_time, threads)
        limits["seed"] = read_option("--seed", seed, parse_count)
        both = simplify_scenes(loaded, "slab" if how == "slab" else "crowns",
                               allow_outside=allow_outside)  # fmt: skip
        with result_folder(out, scene.with_name(f"{scene.stem}-as-{how}.yaml"), replace) as folder:
            console = steady_console()
            say_what_compiles(console, loaded)
            for each, name in zip(both, ("as-drawn", f"as-{how}"), strict=True):
                console.print(f"Leaves {name.replace('-', ' ')}:", markup=False)
                world = compile_world(each)
                with RunDisplay(console) as display:
                    result = run_scene(each, world=world, progress=display, **limits)
                if result.partial:
                    raise KeyboardInterrupt
                (folder / name).mkdir(exist_ok=True)
                write_quietly(each, world, result, folder / name)
                results.append(result)
            drawn, turbid = results
            write_simplify_csv(drawn, turbid, folder / "simplify.csv")
            console.print(FittedTable(simplify_table(drawn, turbid, how)))
            console.print(simplify_sentence(drawn, turbid), markup=False, highlight=False)
            console.print(f"Figures in {folder / 'simplify.csv'}; pages of the two traces:",
                          markup=False, highlight=False)  # fmt: skip
            for name in ("as-drawn", f"as-{how}"):
                console.print(f"  {folder / name / 'report.html'}", style="bold")
    except KeyboardInterrupt:
        typer.echo("Interrupted: a comparison needs both traces whole.", err=True)
        raise typer.Exit(INTERRUPTED) from None
