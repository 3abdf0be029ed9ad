"""The command line: run, resume, check, simplify, beam, plant, follow, selftest, schema."""

from __future__ import annotations

import signal
import sys
from typing import Annotated

import typer

from canopysim.commands.beam import beam
from canopysim.commands.check import check
from canopysim.commands.follow import follow
from canopysim.commands.plant import plant
from canopysim.commands.resume import resume
from canopysim.commands.run import run
from canopysim.commands.schema import schema
from canopysim.commands.selftest import selftest
from canopysim.commands.simplify import simplify
from canopysim.errors import CanopysimError

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Ray-traced canopy irradiance: how much light each leaf layer absorbs, with error bars.",
    epilog="Start with: canopysim run scenes/pepper-tent.yaml",
)

USER_ERROR = 2


def _version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        typer.echo(f"canopysim {version('canopysim')}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Take the options that stand before a command."""


for command in (run, resume, check, simplify, beam, plant, follow, selftest, schema):
    app.command()(command)


def main() -> None:
    """Run the command line; errors that a user can mend are one line each and exit code 2."""
    # Whoever asks the program to end is answered as Ctrl-C is: what was traced is kept.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        app()
    except CanopysimError as problem:
        print(problem, file=sys.stderr)
        sys.exit(USER_ERROR)
