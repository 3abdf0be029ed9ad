"""The command line: run, resume, check, simplify, beam, plant, follow, schema."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from canopysim.commands.options import (
    MaxPackets,
    MaxTime,
    Replicates,
    Targets,
    Threads,
)
from canopysim.commands.options import read_limits as _limits
from canopysim.commands.options import read_option as _option
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
SVG, XLINK = "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"


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
        number = _option("--replicates", replicates, lambda t: parse_count(t, 1, MOST_REPLICATES))
        loaded = with_replicates(loaded, number)
        limits = _limits(loaded, target, max_packets, max_time, threads)
        limits["seed"] = _option("--seed", seed, parse_count)
        with result_folder(out, scene, replace) as folder:
            console = _steady_console()
            _say_what_compiles(console, loaded)
            world = compile_world(loaded)
            for caution in cautions(loaded, world):
                console.print(f"Caution: {caution}", style="yellow", markup=False, highlight=False)
            with RunDisplay(console) as display:
                result = run_scene(
                    loaded, world=world, progress=display, checkpoint=folder, **limits
                )
            _finish(console, loaded, world, result, folder)
    except KeyboardInterrupt:
        _interrupted(result, folder)
    if result is not None and result.partial:
        raise typer.Exit(INTERRUPTED)


@app.command()
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
        limits = _limits(old.scene, target, max_packets, max_time, threads)
        console = _steady_console()
        _say_what_compiles(console, old.scene)
        with RunDisplay(console) as display:
            result = resume_run(old, result_folder, progress=display, **limits)
        _finish(console, old.scene, old.world, result, result_folder)
    except KeyboardInterrupt:
        _interrupted(result, result_folder)
    if result is not None and result.partial:
        raise typer.Exit(INTERRUPTED)


@app.command()
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


@app.command()
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
        limits = _limits(loaded, target, max_packets, max_time, threads)
        limits["seed"] = _option("--seed", seed, parse_count)
        both = simplify_scenes(loaded, "slab" if how == "slab" else "crowns",
                               allow_outside=allow_outside)  # fmt: skip
        with result_folder(out, scene.with_name(f"{scene.stem}-as-{how}.yaml"), replace) as folder:
            console = _steady_console()
            _say_what_compiles(console, loaded)
            for each, name in zip(both, ("as-drawn", f"as-{how}"), strict=True):
                console.print(f"Leaves {name.replace('-', ' ')}:", markup=False)
                world = compile_world(each)
                with RunDisplay(console) as display:
                    result = run_scene(each, world=world, progress=display, **limits)
                if result.partial:
                    raise KeyboardInterrupt
                (folder / name).mkdir(exist_ok=True)
                _write(each, world, result, folder / name)
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


@app.command()
def beam(
    file: Annotated[
        Path,
        typer.Argument(help="Photometric file: ANSI/IES LM-63 or EULUMDAT.", show_default=False),
    ],
    spectrum: Annotated[
        str | None,
        typer.Option(help="Spectrum of the light: a name of the library, or a CSV file."),
    ] = None,
    photons: Annotated[
        bool, typer.Option("--photons", help="The numbers are µmol s⁻¹ sr⁻¹, not candela.")
    ] = False,
    plot: Annotated[
        Path | None, typer.Option(help="Write a polar plot there (SVG).", show_default=False)
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Write over the file of --plot.")
    ] = False,
) -> None:
    """Read a photometric file back: flux, beam and field widths, shares in cones, doubts."""
    from rich.console import Console

    from canopysim.light.photometry import (
        CANDELA,
        PHOTON_INTENSITY,
        flux,
        polar_plot,
        read_photometric,
    )
    from canopysim.light.spectrum.named import SPECTRUM_NAMES, named_spectrum
    from canopysim.light.spectrum.table import read_spectrum
    from canopysim.report.beam import beam_text

    if plot is not None and plot.exists() and not replace:
        raise CanopysimError(f"{plot}: exists already; choose another --plot, or add --replace")
    light = None
    if spectrum is not None and photons:
        raise CanopysimError("--spectrum: photon intensities need none; leave it out")
    if spectrum is not None:
        known = spectrum in SPECTRUM_NAMES
        if not known and not Path(spectrum).exists():
            raise CanopysimError(
                f"--spectrum: {spectrum!r} is neither a file nor a spectrum of the library, which "
                f"has {', '.join(SPECTRUM_NAMES)}"
            )
        light = named_spectrum(spectrum) if known else read_spectrum(Path(spectrum))
    found = read_photometric(file, unit=PHOTON_INTENSITY if photons else CANDELA)
    if not flux(found) > 0:
        raise CanopysimError(f"{file}: holds no light; there is nothing to show")
    console = Console()
    console.print(beam_text(found, light))
    if plot is not None:
        try:
            # Inside a page the namespaces are understood; a file has to name them.
            names = f'<svg xmlns="{SVG}" xmlns:xlink="{XLINK}" width="662" height="430" '
            plot.write_text(polar_plot(found).replace("<svg ", names, 1), "utf-8")
        except OSError as problem:
            raise CanopysimError(f"{plot}: cannot be written ({problem.strerror})") from None
        console.print(f"Polar plot in {plot}", markup=False, highlight=False)


@app.command()
def plant(
    species: Annotated[
        str,
        typer.Argument(
            help="A plant of the library: basil, leaf-lettuce, pepper, strawberry, tomato.",
            show_default=False,
        ),
    ],
    stage: Annotated[
        str | None,
        typer.Option(help="How far it has grown: '80 %' or '30 days'; full grown if left out."),
    ] = None,
    leaf_area: Annotated[
        str | None,
        typer.Option(help="One-sided leaf area that it must have: '0.35 m2'.", metavar="AREA"),
    ] = None,
    pot: Annotated[
        str | None,
        typer.Option(help="Diameter and height of a pot to stand in: '20 cm x 18 cm'."),
    ] = None,
    seed: Annotated[str, typer.Option(help="Seed of the plant.", metavar="NUMBER")] = "1",
    out: Annotated[
        Path | None,
        typer.Option(help="Mesh file, .glb or .ply; SPECIES.glb if left out.", show_default=False),
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(help="Picture (PNG); beside the mesh if left out.", show_default=False),
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Write over files that exist.")
    ] = False,
) -> None:
    """Grow one plant of the library and look at it: a mesh (GLB or PLY) and a picture."""
    from rich.console import Console

    from canopysim.plant_command import plant_command

    lines = plant_command(
        species, stage=stage, leaf_area=leaf_area, pot=pot, seed=seed, out=out, picture=picture,
        replace_files=replace,
    )  # fmt: skip
    for line in lines:
        Console().print(line, markup=False, highlight=False)


@app.command()
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


@app.command()
def schema() -> None:
    """Print the JSON Schema of scene files, for editors that check while you type."""
    import json

    from canopysim.scene.load import schema_json

    typer.echo(json.dumps(schema_json(), indent=2, ensure_ascii=False))


def _steady_console() -> Console:
    """Make a console that goes on in silence where its reader leaves, as `head` does."""
    from rich.console import Console

    class SteadyConsole(Console):
        def on_broken_pipe(self) -> None:
            self.quiet = True
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())

    return SteadyConsole()


def _say_what_compiles(console: Console, scene: Scene) -> None:
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


def _finish(console: Console, scene: Scene, world: World, result: Result, folder: Path) -> None:
    """Write all files of a run and say what was found."""
    from canopysim.output import write_files
    from canopysim.report.scene_picture import renderer_note
    from canopysim.report.summary import summary_text

    used = write_files(scene, world, result, folder)
    console.print(summary_text(result, folder))
    console.print(f"({renderer_note(used)})", style="dim", markup=False)


def _write(scene: Scene, world: World, result: Result, folder: Path) -> None:
    """Write all files of a run and say nothing."""
    from canopysim.output import write_files

    write_files(scene, world, result, folder)


def _interrupted(result: Result | None, folder: Path | None) -> NoReturn:
    """Say what an interruption left, and end."""
    where = "before a result was at hand: nothing was written"
    if result is not None:
        where = f"while the files were being written: {folder} may lack some"
    typer.echo(f"Interrupted {where}.", err=True)
    raise typer.Exit(INTERRUPTED) from None


def main() -> None:
    """Run the command line; errors that a user can mend are one line each and exit code 2."""
    # Whoever asks the program to end is answered as Ctrl-C is: what was traced is kept.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        app()
    except CanopysimError as problem:
        print(problem, file=sys.stderr)
        sys.exit(USER_ERROR)
