"""follow: one photon alone."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from canopysim.errors import CanopysimError


def follow(
    result_folder: Annotated[
        Path, typer.Argument(help="Folder of a run.", show_default=False, metavar="RESULT")
    ],
    address: Annotated[
        str, typer.Argument(help="strip:batch:photon, each from 0.", show_default=False)
    ],
) -> None:
    """Follow one photon of a run alone, and write its path beside the result as CSV."""
    from rich.console import Console

    from canopysim.checkpoint import read_run
    from canopysim.follow import Address, write_path
    from canopysim.follow import follow as follow_photon
    from canopysim.report.photon import path_table

    which = Address.parse(address)
    old = read_run(result_folder)
    path = follow_photon(old.world, old.seed, which)
    try:
        written = write_path(path, old.world.edges, result_folder)
    except OSError as problem:
        raise CanopysimError(
            f"{result_folder}: the path cannot be written there ({problem.strerror})"
        ) from None
    console = Console()
    console.print(path_table(path, old.world.edges))
    console.print(f"Path in {written}", markup=False, highlight=False)
