"""The body of a fixture from a mesh file: a solid where it is closed, else sheets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.blade import triangle_areas
from canopysim.matter.edges import Indices, edges_of, flat_faces, near_corners, same_corners
from canopysim.matter.shells import ShellProblemError, skins_of, solid_angles
from canopysim.units import format_length

if TYPE_CHECKING:
    from canopysim.matter.mesh_file import Piece
    from canopysim.scene.schema_mesh import MeshFile

Floats = NDArray[np.float64]

LARGEST_M = 20.0
MOST_TRIANGLES = 200_000


@dataclass(frozen=True, eq=False)
class DrawnBody:
    """The body of a fixture as it was understood.

    Parameters
    ----------
    vertices : (n, 3) float64 ndarray, m
        Fixture's frame: the file's origin is the middle of the luminous plane, z up.
    faces : (m, 3) int32 ndarray
        Normals out of the body where it is solid.
    solid : bool
        Whether it is closed; else light may come to both sides of its faces.
    n_open : int
        Edges that keep it from being closed.
    n_degenerate : int
        Faces without area, left out.
    area : float
        m2.
    """

    vertices: Floats
    faces: NDArray[np.int32]
    solid: bool
    n_open: int
    n_degenerate: int
    area: float

    def holds(self, point: Floats) -> bool:
        """Tell whether a point (3,), fixture's frame, lies in the solid: it is wound round it."""
        if not self.solid:
            return False
        return float(solid_angles(point, self.vertices[self.faces]).sum()) > 2 * np.pi

    @property
    def low(self) -> Floats:
        """Lowest corner of the box round it, (3,) m."""
        corner: Floats = self.vertices.min(axis=0)
        return corner

    @property
    def high(self) -> Floats:
        """Highest corner of the box round it, (3,) m."""
        corner: Floats = self.vertices.max(axis=0)
        return corner


def understand_body(mesh: MeshFile, pieces: list[Piece]) -> DrawnBody:
    """Make a body of the pieces of its file.

    Parameters
    ----------
    mesh : MeshFile
        Unit and axis, as the fixture states them.
    pieces : list of Piece
        What its file holds; all of it is the body.

    Raises
    ------
    ValueError
        For a wrong size, too many triangles, and a skin without an inside.
    """
    first = np.cumsum([0, *(len(piece.vertices) for piece in pieces[:-1])])
    vertices = np.concatenate([piece.vertices for piece in pieces]) * mesh.metres
    if mesh.up == "y":
        vertices = np.stack((vertices[:, 0], -vertices[:, 2], vertices[:, 1]), axis=1)
    faces: Indices = np.concatenate([p.faces + n for p, n in zip(pieces, first, strict=True)])
    reach = float(np.abs(vertices[faces]).max())
    if not 1e-3 <= reach <= LARGEST_M:
        raise ValueError(
            f"reaches {format_length(reach)} from its origin if 1 in it is 1 {mesh.unit}; allowed "
            f"is 1 mm to {format_length(LARGEST_M)}: mend 'unit' or 'scale'"
        )
    if len(faces) > MOST_TRIANGLES:
        raise ValueError(f"holds {len(faces)} triangles; at most {MOST_TRIANGLES} for a body")
    faces = same_corners(vertices)[faces]
    if (edges_of(faces).uses == 1).any():
        faces = near_corners(vertices)[faces]
    flat = flat_faces(vertices, faces)
    faces = faces[~flat]
    if not len(faces):
        raise ValueError("has no face with an area; export the body as a mesh with faces")
    edges = edges_of(faces)
    n_open = int((edges.uses != 2).sum())
    if not n_open:
        try:
            skins = skins_of(vertices, faces, edges)
        except ShellProblemError as problem:
            raise ValueError(str(problem)) from None
        # Out of every skin: its volume is positive.
        turned = skins.turned ^ (skins.volume < 0)[skins.number]
        faces = np.where(turned[:, None], faces[:, ::-1], faces)
    used, corner = np.unique(faces, return_inverse=True)
    kept = corner.reshape(-1, 3).astype(np.int32)
    area = float(triangle_areas(vertices[used], kept).sum())
    return DrawnBody(vertices[used], kept, n_open == 0, n_open, int(flat.sum()), area)
