"""A named triangle mesh in the world frame: what plants, fixtures and walls become."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

PartKind = Literal["leaf", "stem", "fruit", "pot", "net", "fixture", "wall"]
PLANTED: tuple[PartKind, ...] = ("leaf", "stem", "fruit", "pot", "net")
"""What a scene's canopy is made of, with what it stands in and is held by."""
CANOPY: tuple[PartKind, ...] = ("leaf", "stem", "fruit")
"""What is plant: the canopy's top is its highest vertex. Flowers are of kind fruit."""
IN_CANOPY: tuple[PartKind, ...] = ("leaf", "stem", "fruit", "net")
"""What is booked by canopy layer: with it, layers and planes between them add up."""


@dataclass(frozen=True, eq=False)
class Part:
    """One mesh with one name and one surface.

    Parameters
    ----------
    name : str
        What the ledger and the pictures call it, such as ``pepper-03`` or ``top-bar-1``.
    kind : {"leaf", "stem", "fruit", "pot", "net", "fixture", "wall"}
        What its absorbed photons are counted as.
    vertices : (n, 3) float64 ndarray, m
        World frame: x to the right, y to the back, z up, origin at the floor's front-left corner.
    faces : (m, 3) int32 ndarray
        Vertex indices, wound so that the right-handed normal points to a leaf's upper (adaxial)
        side, or out of a solid.
    surface : str
        A name in ``scene.leaves`` for leaves, else in ``scene.surfaces``.
    solid : bool
        True for a closed mesh whose inside no photon can reach.
    n_turned : int
        Leaves in it that were turned about their stem to clear the walls.
    """

    name: str
    kind: PartKind
    vertices: NDArray[np.float64]
    faces: NDArray[np.int32]
    surface: str
    solid: bool
    n_turned: int = 0
