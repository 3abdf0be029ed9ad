"""Named meshes as one soup of triangles, after a look at what they are made of."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.errors import CanopysimError
from canopysim.matter.parts import Part

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene

FARTHEST_M = 1e4


def check_parts(scene: Scene, parts: list[Part]) -> None:
    """Refuse meshes that cannot be traced, with their name and what is wrong.

    Parameters
    ----------
    scene : Scene
        Its leaves and surfaces are what parts may be made of.
    parts : list of Part
        Any.

    Raises
    ------
    CanopysimError
        For vertices that are not finite or absurdly far, faces that name no vertex, and surfaces
        that the scene does not have.
    """
    for part in parts:
        if part.vertices.ndim != 2 or part.vertices.shape[1:] != (3,):
            raise CanopysimError(f"the mesh of {part.name}: vertices must be an array (n, 3)")
        if not np.isfinite(part.vertices).all():
            raise CanopysimError(
                f"the mesh of {part.name} has a vertex that is not a finite number"
            )
        if np.abs(part.vertices).max(initial=0.0) > FARTHEST_M:
            raise CanopysimError(
                f"the mesh of {part.name} reaches {np.abs(part.vertices).max():.3g} m from the "
                f"origin; allowed are {FARTHEST_M:g} m: is its unit right?"
            )
        if part.faces.size and not 0 <= part.faces.min() <= part.faces.max() < len(part.vertices):
            raise CanopysimError(
                f"the mesh of {part.name} has a face that names vertex "
                f"{part.faces.max() if part.faces.min() >= 0 else part.faces.min()}; it has "
                f"{len(part.vertices)}, counted from 0"
            )
        known = scene.leaves if part.kind == "leaf" else scene.surfaces
        if part.surface not in known:
            raise CanopysimError(
                f"the mesh of {part.name} is made of {part.surface!r}; the scene has "
                f"{', '.join(known) or 'none of its kind'}"
            )


def soup(parts: list[Part], place_of: list[int]) -> tuple[NDArray[np.float32], NDArray[np.int32]]:
    """Corners of all triangles (9 n,) and the place of each; degenerate ones carry no area."""
    corners = [p.vertices[p.faces].reshape(-1, 9).astype(np.float32) for p in parts]
    places = [np.full(len(p.faces), n, np.int32) for p, n in zip(parts, place_of, strict=True)]
    if not corners:
        return np.zeros((0, 9), np.float32), np.zeros(0, np.int32)
    flat = np.concatenate(corners)
    return flat, np.concatenate(places)


def has_area(flat: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Mark triangles whose normal can be computed in float32."""
    # Components first, so that each is one long array.
    a, b, c = np.ascontiguousarray(flat.T).reshape(3, 3, -1)
    (ux, uy, uz), (vx, vy, vz) = b - a, c - a
    x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    keep: NDArray[np.bool_] = x * x + y * y + z * z > np.finfo(np.float32).tiny
    return keep


def by_slot(values: NDArray[np.int32], slots: NDArray[np.int64]) -> NDArray[np.int32]:
    """Values of triangles in the order of their slots; -1 in empty lanes."""
    return np.where(slots >= 0, np.append(values, np.int32(-1))[slots], np.int32(-1))
