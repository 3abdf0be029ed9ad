"""Rooms for tests: boxes and gables as named polygons, written as OBJ, and scenes round them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import yaml
from build import PlainDumper, plain_box

from canopysim.scene import load_scene
from canopysim.scene.schema import Scene

# Each part is a list of polygons, each polygon a list of points x, y, z.
Parts = dict[str, list[list[tuple[float, float, float]]]]


def box_parts(w: float = 2.0, d: float = 1.0, h: float = 1.5) -> Parts:
    """A box of six named faces, in any order of corners."""
    a, b, c, e = (0, 0, 0), (w, 0, 0), (w, d, 0), (0, d, 0)
    f, g, i, j = (0, 0, h), (w, 0, h), (w, d, h), (0, d, h)
    return {
        "left": [[a, e, j, f]],
        "right": [[b, c, i, g]],
        "front": [[a, b, g, f]],
        "back": [[e, c, i, j]],
        "floor": [[a, b, c, e]],
        "roof": [[f, g, i, j]],
    }


def gable_parts(w: float = 2.0, d: float = 1.0, eaves: float = 1.0, ridge: float = 1.6) -> Parts:
    """A tent with a gable roof whose ridge runs from front to back."""
    low = {(x, y): (x * w, y * d, 0.0) for x in (0, 1) for y in (0, 1)}
    high = {key: (x, y, eaves) for key, (x, y, _) in low.items()}
    front, back = (w / 2, 0.0, ridge), (w / 2, d, ridge)
    return {
        "floor": [[low[0, 0], low[1, 0], low[1, 1], low[0, 1]]],
        "left": [[low[0, 0], low[0, 1], high[0, 1], high[0, 0]]],
        "right": [[low[1, 0], low[1, 1], high[1, 1], high[1, 0]]],
        "gable-front": [[low[0, 0], low[1, 0], high[1, 0], front, high[0, 0]]],
        "gable-back": [[low[0, 1], low[1, 1], high[1, 1], back, high[0, 1]]],
        "roof-left": [[high[0, 0], high[0, 1], back, front]],
        "roof-right": [[high[1, 0], high[1, 1], back, front]],
    }


def obj_of(parts: Parts) -> str:
    """Write polygons with corners of their own, in m."""
    lines, n = [], 0
    for name, polygons in parts.items():
        lines.append(f"o {name}")
        for polygon in polygons:
            lines += [f"v {float(x)!r} {float(y)!r} {float(z)!r}" for x, y, z in polygon]
            lines.append("f " + " ".join(str(n + k + 1) for k in range(len(polygon))))
            n += len(polygon)
    return "\n".join(lines) + "\n"


def obj_of_meshes(meshes: dict[str, tuple[Any, Any]]) -> str:
    """Write named meshes (vertices, faces), in m."""
    return obj_of(
        {
            name: [[tuple(map(float, p)) for p in np.asarray(vertices)[face]] for face in faces]
            for name, (vertices, faces) in meshes.items()
        }
    )


BLACK = {"floor": {"floor": "black"}, "roof*": {"ceiling": "black"}, "*": {"wall": "black"}}


def room_data(mesh: dict[str, Any] | None = None, **changes: Any) -> dict[str, Any]:
    """A scene in the room of ``room.obj``, black unless its parts say otherwise."""
    whole = {"file": "room.obj", "unit": "m", "parts": BLACK, **(mesh or {})}
    light = {"fixture": "panel", "at": ["1 m", "50 cm"], "height": "80 cm"}
    scene = plain_box(enclosure={"lining": "black", "mesh": whole}, lights=[light])
    return {**scene, **changes}


def load_room(folder: Path, obj: str, data: dict[str, Any]) -> Scene:
    """Load a scene beside its room."""
    (folder / "room.obj").write_text(obj, "utf-8")
    path = folder / "scene.yaml"
    path.write_text(yaml.dump(data, sort_keys=False, Dumper=PlainDumper), "utf-8")
    return load_scene(path)
