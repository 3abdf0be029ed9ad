"""What `check` says of meshes: size, so that a wrong unit is seen, areas, and what is doubtful."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canopysim.matter.user_mesh import Drawn, draw_mesh
from canopysim.report.words import count
from canopysim.units import in_centimetres, shown

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene
    from canopysim.scene.schema_mesh import MeshPlanting

MOST_NAMED = 4


def mesh_lines(scene: Scene) -> list[str]:
    """Tell, for every mesh of the canopy, what was read and what may be wrong with it.

    Parameters
    ----------
    scene : Scene
        A checked scene.

    Returns
    -------
    list of str
        Sentences; empty without meshes.
    """
    if scene.canopy is None:
        return []
    lines = []
    for index, mesh in enumerate(scene.canopy.meshes):
        lines += [f"{mesh.file}: {line}" for line in _of_mesh(mesh, draw_mesh(scene, index))]
    return lines


def _of_mesh(mesh: MeshPlanting, drawn: Drawn) -> list[str]:
    size = " x ".join(in_centimetres(float(v)) for v in drawn.size)
    scale = f", enlarged {mesh.scale:g} times," if mesh.scale != 1 else ""
    n_place = len(mesh.positions)
    places = "1 place" if n_place == 1 else f"{n_place} places"
    lines = [
        f"1 of the file taken as 1 {mesh.unit} and {mesh.up} as up{scale} it is {size} cm large "
        f"(x, y, height); it stands in {places}."
    ]
    for part in drawn.parts:
        named = ", ".join(shown(name) for name in part.names[:MOST_NAMED])
        more = len(part.names) - MOST_NAMED
        named += f" and {more} more" if more > 0 else ""
        what = f"{part.word} {part.surface}"
        if part.word not in ("leaf", "surface"):
            what = f"{part.word} (surface {part.surface})"
        sided = "one-sided area" if part.word == "leaf" else "area"
        lines.append(
            f"{shown(part.pattern)} is {what}: {named}; {_faces(len(part.faces))}, {sided} "
            f"{part.area * 1e4:.5g} cm² in each place."
        )
    edges = "1 edge belongs" if drawn.n_boundary == 1 else f"{count(drawn.n_boundary)} edges belong"
    lines.append(f"{edges} to one face only, as around leaves; a closed mesh has none.")
    if drawn.n_degenerate:
        lines.append(f"doubt: {_faces(drawn.n_degenerate)} without area, left out.")
    if drawn.n_duplicate:
        lines.append(
            f"doubt: {_faces(drawn.n_duplicate)} lying exactly on others; leaves that are drawn "
            "from both sides count twice: delete one side."
        )
    lines += [f"doubt: the pattern {shown(pattern)} fits nothing in it." for pattern in drawn.idle]
    return lines


def _faces(n: int) -> str:
    return "1 triangle" if n == 1 else f"{count(n)} triangles"
