"""The command `plant`: grow one plant of the library, and write its mesh and its picture."""

from __future__ import annotations

import math
import os
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from canopysim.errors import CanopysimError, SceneError
from canopysim.library.plants import library_plant
from canopysim.sealed import replace_synced
from canopysim.units import in_centimetres, parse_length

if TYPE_CHECKING:
    from canopysim.matter.parts import Part
    from canopysim.scene.schema import Scene

ENDINGS = (".ply", ".glb")
# The leaf of the leaf library that each plant has.
LEAF_OF = {
    "basil": "basil",
    "leaf-lettuce": "thin_pale_lettuce",
    "pepper": "pepper",
    "strawberry": "thick_dark",
    "tomato": "tomato",
}
ROOM_M = 20.0
"""Side of the room in which the plant stands alone: no wall turns a leaf."""
MARGIN_M = 0.02
PICTURE_PX = 900


@dataclass(frozen=True)
class Grown:
    """One plant alone.

    Parameters
    ----------
    scene : Scene
        The room that it grew in.
    parts : list of Part
        Its meshes, moved so that the stem's foot is the origin (of a plant in a pot: the foot of
        the pot), m, z up; called leaf, stem, ...
    """

    scene: Scene
    parts: list[Part]


def grow_one(
    species: str,
    *,
    stage: str | None = None,
    leaf_area: str | None = None,
    pot: tuple[str, str] | None = None,
    seed: str = "1",
) -> Grown:
    """Grow one plant of the library.

    Parameters
    ----------
    species : str
        Name in the plant library.
    stage, leaf_area, seed : str
        As a scene would have them.
    pot : (str, str), optional
        Diameter and height of its pot.

    Returns
    -------
    Grown

    Raises
    ------
    CanopysimError
        For an unknown plant, or text that a scene would not take either.
    """
    from canopysim.matter.plants import grow_canopy

    middle = f"{ROOM_M / 2:g} m"
    plant = {"like": species, "leaf": "leaf", "stem": "green-stem"}
    planting: dict[str, Any] = {"plant": "plant", "positions": [[middle, middle]]}
    if stage is not None:
        plant["stage"] = stage
    if leaf_area is not None:
        planting["leaf_area"] = leaf_area
    planting |= {"base": "2 cm"} if pot is None else {}
    if pot is not None:
        planting["pot"] = {"diameter": pot[0], "height": pot[1]}
    scene = _scene(
        {
            "title": f"One plant: {species}",
            "enclosure": {"lining": "ground"} | dict.fromkeys(
                ("width", "depth", "height"), f"{ROOM_M:g} m"
            ),
            "surfaces": {"ground": {"diffuse": "20 %"}},
            "leaves": {"leaf": {"like": LEAF_OF[species]}},
            "plants": {"plant": plant},
            "canopy": {"layers": "1", "seed": seed, "plantings": [planting]},
        }
    )  # fmt: skip
    parts = grow_canopy(scene)
    foot = np.array([ROOM_M / 2, ROOM_M / 2, 0.02 if pot is None else 0.0])
    short = {"plant-01": "leaf"}
    return Grown(
        scene,
        [
            replace(
                part,
                name=short.get(part.name, part.name.removeprefix("plant-01-")),
                vertices=part.vertices - foot,
            )
            for part in parts
        ],
    )


def _scene(data: dict[str, Any]) -> Scene:
    """Check a scene from options; what is wrong is told under the option's name."""
    from pydantic import ValidationError

    from canopysim.scene.messages import explain
    from canopysim.scene.schema import Scene

    options = {"stage": "--stage", "leaf_area": "--leaf-area", "seed": "--seed", "pot": "--pot"}
    try:
        return Scene.model_validate(data)
    except ValidationError as error:
        lines = []
        for path, message in explain(error, Scene):
            option = next((options[str(key)] for key in path if str(key) in options), "plant")
            lines.append(f"{option}: {message}")
        raise SceneError(lines) from None


def plant_command(
    species: str,
    *,
    stage: str | None,
    leaf_area: str | None,
    pot: str | None,
    seed: str,
    out: Path | None,
    picture: Path | None,
    replace_files: bool,
) -> list[str]:
    """Grow one plant, write its mesh and its picture.

    Parameters
    ----------
    species : str
        Name in the plant library.
    stage, leaf_area, seed : str
        As a scene would have them.
    pot : str, optional
        Diameter and height, as in "20 cm x 18 cm".
    out : Path, optional
        Mesh file (.glb or .ply); SPECIES.glb if left out.
    picture : Path, optional
        PNG file; beside the mesh if left out.
    replace_files : bool
        Whether files that exist are written over.

    Returns
    -------
    list of str
        What was grown and written, for the terminal.

    Raises
    ------
    CanopysimError
        For what cannot be grown or written.
    """
    import io

    from canopysim.matter.mesh_write import glb_bytes, ply_bytes
    from canopysim.report.scene_picture import draw_scene, renderer_note
    from canopysim.report.shading import COLOURS, rgb

    library_plant(species)
    mesh_file = Path(f"{species}.glb") if out is None else out
    picture_file = mesh_file.with_suffix(".png") if picture is None else picture
    _refuse_names(mesh_file, picture_file, replace_files)
    grown = grow_one(species, stage=stage, leaf_area=leaf_area, pot=_pot(pot), seed=seed)
    colours = {p.name: rgb(COLOURS.get(p.surface, COLOURS[p.kind])) for p in grown.parts}
    at = f"stage {stage}" if stage is not None else "full grown"
    comment = f"{species}, {at}, seed {seed}"
    write = ply_bytes if mesh_file.suffix.lower() == ".ply" else glb_bytes

    low = np.min([part.vertices.min(axis=0) for part in grown.parts], axis=0) - MARGIN_M
    high = np.max([part.vertices.max(axis=0) for part in grown.parts], axis=0) + MARGIN_M
    low[2] = 0.0
    moved = [replace(part, vertices=part.vertices - low) for part in grown.parts]
    size = (float(high[0] - low[0]), float(high[1] - low[1]), float(high[2]))
    png = io.BytesIO()
    used = draw_scene(moved, size, None, png, PICTURE_PX, walls=False)
    for file, data in (
        (mesh_file, write(grown.parts, colours, comment)),
        (picture_file, png.getvalue()),
    ):
        try:
            _write(file, data)
        except OSError as problem:
            raise CanopysimError(f"{file}: cannot be written ({problem.strerror})") from None
    return [*_told(grown, species, at), f"Mesh in {mesh_file}, picture in {picture_file} "
            f"({renderer_note(used)})."]  # fmt: skip


def _refuse_names(mesh_file: Path, picture_file: Path, replace_files: bool) -> None:
    """Refuse files before any work: endings that say nothing, and what would be lost."""
    if mesh_file.suffix.lower() not in ENDINGS:
        raise CanopysimError(
            f"--out: {mesh_file.name!r} is no mesh file; allowed endings: {', '.join(ENDINGS)}"
        )
    if picture_file.suffix.lower() != ".png":
        raise CanopysimError(f"--picture: {picture_file.name!r} must end in .png")
    for option, file in (("--out", mesh_file), ("--picture", picture_file)):
        if file.exists() and not replace_files:
            raise CanopysimError(
                f"{file}: exists already; choose another {option}, or add --replace"
            )
        if not file.parent.is_dir():
            raise CanopysimError(f"{option}: there is no folder {file.parent}; make it first")


def _write(file: Path, data: bytes) -> None:
    """Write a file whole or not at all."""
    handle, aside = tempfile.mkstemp(prefix=".plant-", suffix=".part", dir=file.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        replace_synced(Path(aside), file)
    except BaseException:
        Path(aside).unlink(missing_ok=True)
        raise


def _pot(text: str | None) -> tuple[str, str] | None:
    """Read diameter and height of a pot."""
    if text is None:
        return None
    pieces = text.split(" x ")
    if len(pieces) != 2:
        raise CanopysimError(
            f"--pot: {text[:60]!r} is not a pot; write diameter and height, as in '20 cm x 18 cm'"
        )
    for piece in pieces:
        try:
            parse_length(piece)
        except ValueError as problem:
            raise CanopysimError(f"--pot: {problem}") from None
    return pieces[0], pieces[1]


def _told(grown: Grown, species: str, at: str) -> list[str]:
    """Tell what came out: size, leaves, area, angle, what it bears."""
    stock = library_plant(species)
    leaf = next(part for part in grown.parts if part.kind == "leaf")
    a, b, c = (leaf.vertices[leaf.faces[:, k]] for k in range(3))
    double = np.cross(b - a, c - a)
    area = np.linalg.norm(double, axis=1)
    angle = math.degrees(float((np.arccos(np.abs(double[:, 2]) / area) * area).sum() / area.sum()))
    planted = [part for part in grown.parts if part.kind in ("leaf", "stem", "fruit")]
    low = np.min([part.vertices.min(axis=0) for part in planted], axis=0)
    high = np.max([part.vertices.max(axis=0) for part in planted], axis=0)
    width, depth = (in_centimetres(round(float(v), 3)) for v in (high - low)[:2])
    foot = min(float(part.vertices[:, 2].min()) for part in planted if part.kind == "stem")
    height = in_centimetres(round(float(high[2]) - foot, 3))
    assumed = sum(source.startswith("assumed") for source in stock.sources.values())
    borne = [part.surface for part in grown.parts if part.kind == "fruit"]
    lines = [
        f"{stock.title}, {at}. {stock.conditions}",
        f"{height} cm high, {width} x {depth} cm wide; one-sided leaf area "
        f"{0.5 * area.sum():.4g} m², mean leaf inclination {angle:.0f} deg; "
        f"{len(leaf.faces)} leaf triangles.",
    ]
    if borne:
        lines.append(f"Bears {', '.join(borne)}.")
    lines.append(
        f"{assumed} of {len(stock.sources)} entries of this plant are assumed: put in what you "
        "have measured."
    )
    return lines
