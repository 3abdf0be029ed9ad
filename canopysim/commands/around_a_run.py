"""What commands that trace have in common: a console, the first compilation, the end."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from canopysim.results import Result
    from canopysim.scene.schema import Scene
    from canopysim.world.compile import World

INTERRUPTED = 130


def steady_console() -> Console:
    """Make a console that goes on in silence where its reader leaves, as `head` does."""
    from rich.console import Console

    class SteadyConsole(Console):
        def on_broken_pipe(self) -> None:
            self.quiet = True
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())

    return SteadyConsole()


def say_what_compiles(console: Console, scene: Scene) -> None:
    """Tell of the wait where the photon kernels have to be compiled first."""
    from canopysim.transport.cache import choose_cache_folder, compiled_before

    told_apart = scene.also_count.counts_anything or bool(scene.probes)
    if choose_cache_folder() is None:
        console.print(
            "No folder can keep the compiled photon kernels: compiling them for this run, about "
            "half a minute. Set CANOPYSIM_CACHE_DIR to a folder that you may write to.",
            style="dim",
        )
    elif not compiled_before(told_apart=told_apart):
        first = "First run that counts more than the books" if told_apart else "First run"
        console.print(
            f"{first} on this machine: compiling the photon kernels, about half a minute, once.",
            style="dim",
        )


def finish(console: Console, scene: Scene, world: World, result: Result, folder: Path) -> None:
    """Write all files of a run and say what was found."""
    from canopysim.output import write_files
    from canopysim.report.scene_picture import renderer_note
    from canopysim.report.summary import summary_text

    used = write_files(scene, world, result, folder)
    console.print(summary_text(result, folder))
    console.print(f"({renderer_note(used)})", style="dim", markup=False)


def write_quietly(scene: Scene, world: World, result: Result, folder: Path) -> None:
    """Write all files of a run and say nothing."""
    from canopysim.output import write_files

    write_files(scene, world, result, folder)


def interrupted(result: Result | None, folder: Path | None) -> NoReturn:
    """Say what an interruption left, and end."""
    where = "before a result was at hand: nothing was written"
    if result is not None:
        where = f"while the files were being written: {folder} may lack some"
    typer.echo(f"Interrupted {where}.", err=True)
    raise typer.Exit(INTERRUPTED) from None
