"""The command line: run, check, schema."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

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
        int | None, typer.Option(help="Seed of the photons.", min=0, max=2**32 - 1)
    ] = None,
    threads: Annotated[
        int | None, typer.Option(help="Threads; all cores if left out.", min=1)
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
    from rich.console import Console

    from canopysim.scene.load import load_scene

    console = Console(stderr=False)
    loaded = load_scene(scene, allow_outside=allow_outside)
    limits: dict[str, object] = {
        "target": _targets(target, loaded),
        "max_packets": _option("--max-packets", max_packets),
        "max_time": _option("--max-time", max_time),
        "seed": seed,
        "threads": threads,
    }
    folder = _result_folder(out, scene, replace)
    result, world = _trace(console, loaded, limits)
    _write(console, loaded, world, result, folder)
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


def _option(name: str, text: str | None) -> float | None:
    """Read the text of an option that carries a unit or a multiplier."""
    from canopysim.scene.fields import parse_packets
    from canopysim.units import parse_time

    if text is None:
        return None
    try:
        return parse_packets(text) if name == "--max-packets" else parse_time(text)
    except ValueError as problem:
        raise CanopysimError(f"{name}: {problem}") from None


def _targets(texts: list[str] | None, scene: Scene) -> dict[str, str | float] | None:
    """Read --target: a share alone is meant for the layers, or for planes without a canopy."""
    if not texts:
        return None
    targets: dict[str, str | float] = {}
    for text in texts:
        name, colon, value = text.partition(":")
        if not colon:
            name, value = "layers" if scene.canopy is not None else "planes", text
        targets[name.strip()] = value.strip()
    return targets


def _result_folder(out: Path | None, scene: Path, replace: bool) -> Path:
    """Settle and make the folder before any tracing, so that no work is lost to a typing error."""
    from canopysim.results import FILE_NAME

    if out is None:
        folder, number = Path("results") / scene.stem, 1
        while folder.exists():
            number += 1
            folder = Path("results") / f"{scene.stem}-{number}"
    else:
        folder = out
        if (folder / FILE_NAME).exists() and not replace:
            raise CanopysimError(
                f"{folder}: holds results already; choose another --out, or add --replace"
            )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / ".writable"
        probe.touch()
        probe.unlink()
    except OSError as problem:
        raise CanopysimError(
            f"{folder}: cannot be written to ({problem.strerror}); choose another folder with --out"
        ) from None
    return folder


def _trace(console: Console, scene: Scene, limits: dict[str, object]) -> tuple[Result, World]:
    """Compile and trace with a progress display."""
    from canopysim.report.progress import RunDisplay
    from canopysim.run import run as run_scene
    from canopysim.transport.cache import compiled_before
    from canopysim.world.compile import compile_world

    if not compiled_before():
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

    result.save(folder)
    write_tables(result, folder)
    picture = folder / "scene.png"
    used = draw_scene(
        world.parts,
        scene.enclosure.size,
        None,
        picture,
        strips=luminous_rectangles(world.strips),
    )
    write_report(result, folder, picture)
    console.print(summary_text(result, folder))
    console.print(f"({renderer_note(used)})", style="dim", markup=False)


def main() -> None:
    """Run the command line; errors that a user can mend are one line each and exit code 2."""
    try:
        app()
    except CanopysimError as problem:
        print(problem, file=sys.stderr)
        sys.exit(USER_ERROR)
    except KeyboardInterrupt:
        print("Interrupted before the first batch was complete: nothing to keep.", file=sys.stderr)
        sys.exit(INTERRUPTED)
    except BrokenPipeError:
        # The reader of our output has left, as `head` does.
        sys.stderr.close()
        sys.exit(1)
