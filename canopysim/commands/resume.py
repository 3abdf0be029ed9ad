"""resume: take a run up again."""

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
from canopysim.commands.options import MaxPackets, MaxTime, Targets, Threads, read_limits


def resume(
    result_folder: Annotated[
        Path, typer.Argument(help="Folder of a run.", show_default=False, metavar="RESULT")
    ],
    threads: Threads = None,
    max_packets: MaxPackets = None,
    max_time: MaxTime = None,
    target: Targets = None,
) -> None:
    """Take up a run that was interrupted or killed, or extend a finished one.

    The tallies are those of a run that was never interrupted.
    """
    from canopysim.checkpoint import read_run
    from canopysim.report.progress import RunDisplay
    from canopysim.tracing import resume_run

    result = None
    try:
        old = read_run(result_folder)
        limits = read_limits(old.scene, target, max_packets, max_time, threads)
        console = steady_console()
        say_what_compiles(console, old.scene)
        with RunDisplay(console) as display:
            result = resume_run(old, result_folder, progress=display, **limits)
        finish(console, old.scene, old.world, result, result_folder)
    except KeyboardInterrupt:
        interrupted(result, result_folder)
    if result is not None and result.partial:
        raise typer.Exit(INTERRUPTED)
