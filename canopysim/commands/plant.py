"""plant: grow one and look at it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


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
