"""The command line: run, check, schema."""

from __future__ import annotations

import os
import signal
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from canopysim.errors import CanopysimError

if TYPE_CHECKING:
    from rich.console import Console

    from canopysim.results import Result
    from canopysim.scene.schema import Scene
    from canopysim.world.compile import World

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Ray-traced canopy irradiance: how much light each leaf layer absorbs, with error bars.",
    epilog="Start with: canopysim run scenes/pepper-tent.yaml",
)

SceneFile = Annotated[Path, typer.Argument(help="Scene file (YAML).", show_default=False)]
AllowOutside = Annotated[
    bool,
    typer.Option(help="Let the scene refer to files outside its own folder."),
]
USER_ERROR, INTERRUPTED = 2, 130
MOST_THREADS = 1024
Value = TypeVar("Value")


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


@app.command()
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
    threads: Annotated[
        str | None, typer.Option(help="Threads; all cores if left out.", metavar="NUMBER")
    ] = None,
    max_packets: Annotated[
        str | None, typer.Option(help="Stop after so many packets: 2e8, '20 million'.")
    ] = None,
    max_time: Annotated[
        str | None, typer.Option(help="Stop after this time: '60 s', '5 min', '2 h'.")
    ] = None,
    target: Annotated[
        list[str] | None,
        typer.Option(
            help="Relative standard error at which to stop: '1 %' for every layer, or "
            "'planes: 0.5 %' for every plane's mean; may be given for both.",
        ),
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Write over the results in the folder of --out.")
    ] = False,
    allow_outside: AllowOutside = False,
) -> None:
    """Trace a scene and write its results: result.nc, tables, a picture and report.html."""
    from canopysim.scene.fields import parse_count, parse_packets
    from canopysim.scene.load import load_scene

    result = None
    try:
        loaded = load_scene(scene, allow_outside=allow_outside)
        limits: dict[str, object] = {
            "target": _targets(target, loaded),
            "max_packets": _option("--max-packets", max_packets, parse_packets),
            "max_time": _option("--max-time", max_time, _some_time),
            "seed": _option("--seed", seed, parse_count),
            "threads": _option("--threads", threads, lambda t: parse_count(t, 1, MOST_THREADS)),
        }
        with _result_folder(out, scene, replace) as folder:
            console = _steady_console()
            result, world = _trace(console, loaded, limits)
            _write(console, loaded, world, result, folder)
    except KeyboardInterrupt:
        where = "before a result was at hand: nothing was written"
        if result is not None:
            where = f"while the files were being written: {folder} may lack some"
        typer.echo(f"Interrupted {where}.", err=True)
        raise typer.Exit(INTERRUPTED) from None
    if result.partial:
        raise typer.Exit(INTERRUPTED)


@app.command()
def check(scene: SceneFile, allow_outside: AllowOutside = False) -> None:
    """Read a scene back without tracing: sizes, leaf area by layer, photons, defaults used."""
    from rich.console import Console

    from canopysim.report.readback import read_back
    from canopysim.scene.load import load_scene
    from canopysim.world.compile import compile_world

    loaded = load_scene(scene, allow_outside=allow_outside)
    Console().print(read_back(loaded, compile_world(loaded)))


@app.command()
def schema() -> None:
    """Print the JSON Schema of scene files, for editors that check while you type."""
    import json

    from canopysim.scene.load import schema_json

    typer.echo(json.dumps(schema_json(), indent=2, ensure_ascii=False))


def _option(name: str, text: str | None, parse: Callable[[str], Value]) -> Value | None:
    """Read the text of an option; what is wrong with it is told under the option's name."""
    if text is None:
        return None
    try:
        return parse(text)
    except ValueError as problem:
        raise CanopysimError(f"{name}: {problem}") from None


def _some_time(text: str) -> float:
    from canopysim.units import parse_time, shown

    if parse_time(text) == 0:
        raise ValueError(f"{shown(text)} is too short; allowed is more than 0 s")
    return parse_time(text)


def _some_share(text: str) -> float:
    from canopysim.units import parse_share, shown

    if parse_share(text) == 0:
        raise ValueError(f"{shown(text)} is never reached; allowed is more than 0 %")
    return parse_share(text)


def _targets(texts: list[str] | None, scene: Scene) -> dict[str, float] | None:
    """Read --target: a share alone is meant for the layers, or for planes without a canopy."""
    from canopysim.units import shown

    if not texts:
        return None
    there = {"layers": scene.canopy is not None, "planes": bool(scene.planes)}
    targets: dict[str, float] = {}
    for text in texts:
        before, colon, after = text.partition(":")
        name = before.strip() if colon else "layers" if there["layers"] else "planes"
        if name not in there:
            raise CanopysimError(
                f"--target: {shown(name)} is not known; allowed are layers and planes"
            )
        if not there[name]:
            raise CanopysimError(f"--target: {shown(text)}: the scene has no {name}")
        share = _option("--target", after if colon else text, _some_share)
        assert share is not None
        targets[name] = share
    return targets


@contextmanager
def _result_folder(out: Path | None, scene: Path, replace: bool) -> Iterator[Path]:
    """Make the folder before any tracing, so that no work is lost to a typing error.

    It is taken away again where the work fails before anything lies in it.
    """
    from canopysim.results import FILE_NAME

    folder, number = out or Path("results") / scene.stem, 1
    try:
        if out is not None and (out / FILE_NAME).exists() and not replace:
            raise CanopysimError(
                f"{folder}: holds results already; choose another --out, or add --replace"
            )
        made = [place for place in folder.parents if not place.exists()]
        while True:
            try:
                # Making it tells whether it is free, also to a run that starts at this moment.
                folder.mkdir(parents=True)
                made.insert(0, folder)
                break
            except FileExistsError:
                if out is not None:
                    break
            number += 1
            folder = Path("results") / f"{scene.stem}-{number}"
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as problem:
        raise CanopysimError(
            f"{folder}: cannot be written to ({problem.strerror}); choose another folder with --out"
        ) from None
    try:
        yield folder
    except BaseException:
        with suppress(OSError):
            for place in made:
                place.rmdir()
        raise


def _steady_console() -> Console:
    """Make a console that goes on in silence where its reader leaves, as `head` does."""
    from rich.console import Console

    class SteadyConsole(Console):
        def on_broken_pipe(self) -> None:
            self.quiet = True
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())

    return SteadyConsole()


def _trace(console: Console, scene: Scene, limits: dict[str, object]) -> tuple[Result, World]:
    """Compile and trace with a progress display."""
    from canopysim.report.progress import RunDisplay
    from canopysim.tracing import run as run_scene
    from canopysim.transport.cache import choose_cache_folder, compiled_before
    from canopysim.world.compile import compile_world

    if choose_cache_folder() is None:
        console.print(
            "No folder can keep the compiled photon kernels: compiling them for this run, about "
            "half a minute. Set CANOPYSIM_CACHE_DIR to a folder that you may write to.",
            style="dim",
        )
    elif not compiled_before():
        console.print(
            "First run on this machine: compiling the photon kernels, about half a minute, once.",
            style="dim",
        )
    world = compile_world(scene)
    with RunDisplay(console) as display:
        result = run_scene(scene, world=world, progress=display, **limits)  # type: ignore[arg-type]
    return result, world


def _write(console: Console, scene: Scene, world: World, result: Result, folder: Path) -> None:
    """Write all files of a run, the books first, and say what was found."""
    from canopysim.report.page import write_report
    from canopysim.report.scene_picture import draw_scene, renderer_note
    from canopysim.report.shading import luminous_rectangles
    from canopysim.report.summary import summary_text
    from canopysim.report.tables import write_tables
    from canopysim.results import FILE_NAME

    replacing = (folder / FILE_NAME).exists()
    result.save(folder)
    try:
        if replacing:
            _remove_companions(folder)
        write_tables(result, folder)
        try:
            used = draw_scene(
                world.parts,
                scene.enclosure.size,
                None,
                folder / "scene.png",
                strips=luminous_rectangles(world.strips),
            )
        except CanopysimError:
            # A picture that cannot be had costs nothing else.
            write_report(result, folder, None)
            raise
        write_report(result, folder, folder / "scene.png")
    except OSError as problem:
        raise CanopysimError(
            f"{problem.filename or folder}: cannot be written ({problem.strerror or problem}); "
            f"the result itself is in {folder / FILE_NAME}"
        ) from None
    console.print(summary_text(result, folder))
    console.print(f"({renderer_note(used)})", style="dim", markup=False)


def _remove_companions(folder: Path) -> None:
    """Remove what an earlier result wrote beside its file: a new one may write fewer tables."""
    for name in ("layers.csv", "map-*.csv", "scene.png", "report.html"):
        for old in folder.glob(name):
            old.unlink()


def main() -> None:
    """Run the command line; errors that a user can mend are one line each and exit code 2."""
    # Whoever asks the program to end is answered as Ctrl-C is: what was traced is kept.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        app()
    except CanopysimError as problem:
        print(problem, file=sys.stderr)
        sys.exit(USER_ERROR)
