"""What `check` says of a drawn room: its size, so that a wrong unit is seen, parts, and doubts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from canopysim.matter.leaks import named, place_text
from canopysim.report.words import count
from canopysim.units import in_centimetres, shown

if TYPE_CHECKING:
    from canopysim.matter.room import Room
    from canopysim.scene.schema import Scene

MOST_NAMED = 4


def room_lines(scene: Scene) -> list[str]:
    """Tell what was read of a drawn room and what may be wrong with it.

    Parameters
    ----------
    scene : Scene
        A checked scene.

    Returns
    -------
    list of str
        Sentences; empty for a box.
    """
    room, mesh = scene.enclosure.room, scene.enclosure.mesh
    if room is None or mesh is None:
        return []
    size = " x ".join(in_centimetres(v) for v in room.size)
    scale = f" enlarged {mesh.scale:g} times," if mesh.scale != 1 else ""
    lines = [
        f"with 1 of the file as 1 {mesh.unit} and {mesh.up} as up,{scale} the room is {size} cm "
        f"large (width, depth, height); it holds {room.volume:.4g} m³ over {room.floor_area:.4g} "
        "m² of floor, is closed, and its faces look inwards."
    ]
    if np.abs(room.moved).max() > 0:
        lines.append(
            f"it was moved by {place_text(room.moved)}, so that the front-left corner of the box "
            "round it, on the floor, is where places are measured from."
        )
    for walls in room.walls:
        what = "open" if walls.part.is_open else f"of {walls.part.surface}"
        area = f"{walls.area:.4g} m²"
        lines.append(
            f"{shown(walls.pattern)} is {walls.part.role}, {what}: "
            f"{named(walls.names, MOST_NAMED)}; {_faces(len(walls.faces))}, {area}."
        )
    if room.n_body:
        bodies = (
            "a closed body stands" if room.n_body == 1 else f"{room.n_body} closed bodies stand"
        )
        lines.append(f"{bodies} in it.")
    lines += _doubts(room)
    return [f"{mesh.file}: {line}" for line in lines]


def _doubts(room: Room) -> list[str]:
    """Tell what was put right, and what may be a mistake."""
    lines = []
    if room.n_turned:
        lines.append(f"{_faces(room.n_turned)} looked outwards and were turned round.")
    if room.n_welded:
        corners = "1 corner" if room.n_welded == 1 else f"{count(room.n_welded)} corners"
        lines.append(f"{corners} lay within 0.01 mm of others and were taken as the same.")
    if room.n_degenerate:
        lines.append(f"doubt: {_faces(room.n_degenerate)} without area, left out.")
    if room.n_duplicate:
        lines.append(f"doubt: {_faces(room.n_duplicate)} lying exactly on others, left out.")
    lines += [f"doubt: the pattern {shown(pattern)} fits nothing in it." for pattern in room.idle]
    return lines


def _faces(n: int) -> str:
    return "1 triangle" if n == 1 else f"{count(n)} triangles"
