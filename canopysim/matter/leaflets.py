"""Compound leaves: pairs of leaflets along a straight rachis, and one more at its end.

Leaf frame as in `canopysim.matter.blade`. All leaflets are blades of one shape. The first pair
leaves the rachis at its base, the others follow at equal distances, the last leaflet ends it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.blade import BladeGrid, bend_blades
from canopysim.matter.stalks import repeat_faces

if TYPE_CHECKING:
    from canopysim.scene.schema_matter import Leaflets

Floats = NDArray[np.float64]

RACHIS_RADIUS = 0.8
"""Of the rachis, as a share of the petiole's radius (assumed)."""


def compound_grid(leaflet: BladeGrid, n_pair: int) -> BladeGrid:
    """Lay out a compound leaf.

    Parameters
    ----------
    leaflet : BladeGrid
        Layout of one leaflet.
    n_pair : int
        Pairs of leaflets beside the one at the end.

    Returns
    -------
    BladeGrid
        Of all leaflets: pair by pair from the leaf's base, the left one first, the end one last.
    """
    n_leaflet = 2 * n_pair + 1
    return BladeGrid(
        np.tile(leaflet.along, n_leaflet),
        np.tile(leaflet.across, n_leaflet),
        repeat_faces(leaflet.faces, n_leaflet, len(leaflet.along)),
        leaflet.n_segment,
    )


def bend_leaflets(
    leaflet: BladeGrid,
    leaflets: Leaflets,
    *,
    length: Floats,
    width: Floats,
    rachis: Floats,
    inclination: Floats,
    curvature: Floats,
    fold: float,
) -> tuple[Floats, Floats]:
    """Vertices of many compound leaves that share one layout.

    Parameters
    ----------
    leaflet : BladeGrid
        Layout of one leaflet.
    leaflets : Leaflets
        How many pairs, at which angle, of which size.
    length, width : (n_leaf,) ndarray, m
        Of the leaflet at the end.
    rachis : (n_leaf,) ndarray, m
        Length of the rachis.
    inclination : (n_leaf,) ndarray, rad
        Of the rachis, below the horizontal (+ droops).
    curvature : (n_leaf,) ndarray, rad
        Of every leaflet, away from the plane that the leaf's rachis and base span.
    fold : float, rad
        Of every leaflet.

    Returns
    -------
    vertices : (n_leaf, n_vertex, 3) ndarray, m
        In the order of `compound_grid`. Each leaflet is the one at the end, made smaller and
        turned, so areas add up to ``1 + 2 n_pair size**2`` times that one's.
    tip : (n_leaf, 3) ndarray, m
        End of the rachis.
    """
    level = np.zeros_like(inclination)
    end = bend_blades(
        leaflet, length=length, width=width, inclination=level, curvature=curvature, fold=fold
    )
    cos, sin = np.cos(leaflets.angle), np.sin(leaflets.angle)
    small = end * leaflets.size
    pieces = []
    for pair in range(leaflets.pairs):
        for side in (1.0, -1.0):
            x, y = small[..., 0], small[..., 1]
            turned = np.stack(
                (cos * x - side * sin * y, side * sin * x + cos * y, small[..., 2]), axis=-1
            )
            turned[..., 0] += (rachis * (pair / leaflets.pairs))[:, None]
            pieces.append(turned)
    end = end.copy()
    end[..., 0] += rachis[:, None]
    pieces.append(end)

    # The whole leaf leans as its rachis does.
    whole = np.concatenate(pieces, axis=1)
    cos_lean, sin_lean = np.cos(inclination)[:, None], np.sin(inclination)[:, None]
    x, z = whole[..., 0], whole[..., 2]
    leaning = (cos_lean * x + sin_lean * z, whole[..., 1], cos_lean * z - sin_lean * x)
    tip = rachis[:, None] * np.concatenate((cos_lean, 0.0 * cos_lean, -sin_lean), axis=1)
    return np.stack(leaning, axis=-1), tip
