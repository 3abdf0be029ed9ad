"""Where light would leak out of a mesh that should be closed: places, and what meets there.

Closed means that every edge belongs to two faces, whose corners there are the same two corners.
A corner that lies on an edge between its ends (a T-junction) does not close it: rounded to float32
it lies beside the edge, and photons find the slit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.edges import WELD_M, Edges, Indices, hang_together
from canopysim.units import format_length, in_centimetres, shown

Floats = NDArray[np.float64]

GAP_M = 0.02
"""Edges that run beside each other within this were meant to meet."""
MOST_EDGES = 3000
"""Open edges that are held against each other; of more, each loop is told as it is."""
MOST_LOOPS = 200
"""Loops of open edges that are told of a mesh with more than `MOST_EDGES` of them."""
# A gap lies across the edges at both its sides, to within 30 degrees; what lies along them goes on.
_ALONG = 0.5


@dataclass(frozen=True)
class Leak:
    """Something that is not closed.

    Parameters
    ----------
    place : (3,) ndarray, m
        Where to look.
    parts : tuple of str
        Names of the parts of the file that meet, or end, there.
    what : str
        What is wrong and what to do, after 'at PLACE: '.
    size : float
        Largest extent, m, or the width of a gap.
    """

    place: Floats
    parts: tuple[str, ...]
    what: str
    size: float

    @property
    def text(self) -> str:
        """One sentence."""
        return f"at {place_text(self.place)}: {self.what}"


def place_text(place: Floats) -> str:
    """Write a place for people: ``x 1.2 m, y 0.6 m, z 2 m``."""
    return ", ".join(
        f"{axis} {round(float(v), 4) + 0.0:g} m" for axis, v in zip("xyz", place, strict=True)
    )


def named(parts: tuple[str, ...], most: int = 4) -> str:
    """List names of parts."""
    more = f" and {len(parts) - most} more" if len(parts) > most else ""
    return ", ".join(shown(part) for part in parts[:most]) + more


def find_leaks(vertices: Floats, edges: Edges, part_of_face: list[str]) -> list[Leak]:
    """Find everything that keeps a mesh from being closed.

    Parameters
    ----------
    vertices : (n, 3) ndarray, m
        As the edges number them.
    edges : Edges
        All edges.
    part_of_face : list of str
        Name of the part that each face belongs to.

    Returns
    -------
    list of Leak
        The largest first; none for a closed mesh.
    """
    found = _crowded(vertices, edges, part_of_face)
    found += _open(vertices, edges, part_of_face)
    return sorted(found, key=lambda leak: -leak.size)


def _crowded(vertices: Floats, edges: Edges, part_of_face: list[str]) -> list[Leak]:
    """Edges in which more than two faces meet."""
    leaks = []
    crowd = np.flatnonzero(edges.uses > 2)
    for group in _groups(edges.ends[crowd])[:MOST_LOOPS]:
        chosen = crowd[group]
        ends = vertices[edges.ends[chosen]]
        long = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
        longest = chosen[long.argmax()]
        faces = np.flatnonzero((edges.of_half == longest).any(axis=0))
        parts = tuple(dict.fromkeys(part_of_face[face] for face in faces))
        others = f" (and in {len(chosen) - 1} more with it)" if len(chosen) > 1 else ""
        what = (
            f"{int(edges.uses[longest])} faces of {named(parts)} meet in one edge{others}; a room "
            "has two at every edge: delete what is drawn twice, and draw what stands in it as a "
            "closed body of its own"
        )
        leaks.append(Leak(ends[long.argmax()].mean(axis=0), parts, what, float(long.max())))
    return leaks


def _open(vertices: Floats, edges: Edges, part_of_face: list[str]) -> list[Leak]:
    """Edges that belong to one face only, loop by loop."""
    lone = np.flatnonzero(edges.uses == 1)
    if not len(lone):
        return []
    owner = [part_of_face[face] for face in edges.owner(lone)]
    groups = _groups(edges.ends[lone])
    if len(lone) > MOST_EDGES:
        return [
            _hole(vertices, edges.ends[lone[group]], [owner[k] for k in group])
            for group in groups[:MOST_LOOPS]
        ]
    loop = np.empty(len(lone), dtype=np.intp)
    for number, group in enumerate(groups):
        loop[group] = number
    near = _near_misses(vertices, edges.ends[lone])
    # Loops that nearly meet are one leak.
    joined = hang_together(len(groups), loop[near.edges])
    leaks = []
    for number in np.unique(joined):
        members = np.flatnonzero(joined[loop] == number)
        own = np.isin(near.edges[:, 0], members)
        if own.any():
            leaks.append(_gap(near.chosen(own), owner))
        else:
            leaks.append(_hole(vertices, edges.ends[lone[members]], [owner[k] for k in members]))
    return leaks


def _groups(ends: Indices) -> list[Indices]:
    """Edges that hang together by their vertices: indices into them."""
    if not len(ends):
        return []
    _, corner = np.unique(ends, return_inverse=True)
    corner = corner.reshape(-1, 2)
    label = hang_together(int(corner.max()) + 1, corner)[corner[:, 0]]
    order = np.argsort(label, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(label[order])) + 1)


@dataclass(frozen=True, eq=False)
class _Near:
    """Corners of open edges that nearly meet another open edge: a row each."""

    edges: Indices  # (n, 2): an edge with that corner, and the other one
    distance: Floats  # (n,) m
    place: Floats  # (n, 3) m

    def chosen(self, rows: NDArray[np.bool_]) -> _Near:
        return _Near(self.edges[rows], self.distance[rows], self.place[rows])


def _near_misses(vertices: Floats, ends: Indices) -> _Near:
    """Find for each end of each open edge the nearest edge that runs beside it within `GAP_M`."""
    start, end = vertices[ends[:, 0]], vertices[ends[:, 1]]
    along = end - start
    length = np.linalg.norm(along, axis=1)
    unit = along / length[:, None]
    edges, distances, places = [], [], []
    for edge, corner in ((e, c) for e in range(len(ends)) for c in ends[e]):
        point = vertices[corner]
        t = np.clip(((point - start) * unit).sum(axis=1), 0.0, length)
        foot = start + t[:, None] * unit
        away = foot - point
        distance = np.linalg.norm(away, axis=1)
        apart = (ends != corner).all(axis=1) & (distance <= GAP_M)
        across = np.abs((away * unit).sum(axis=1)) <= _ALONG * distance
        across &= np.abs(away @ unit[edge]) <= _ALONG * distance
        # A corner on an edge between its ends, whatever way it comes.
        on = (distance <= WELD_M) & (t > WELD_M) & (t < length - WELD_M)
        fit = np.flatnonzero(apart & (across | on))
        if len(fit):
            other = fit[distance[fit].argmin()]
            edges.append((edge, other))
            distances.append(distance[other])
            places.append((foot[other] + point) / 2)
    return _Near(
        np.array(edges, dtype=np.intp).reshape(-1, 2),
        np.array(distances, dtype=np.float64),
        np.array(places, dtype=np.float64).reshape(-1, 3),
    )


def _gap(near: _Near, owner: list[str]) -> Leak:
    """Tell of a slit, at its widest place, or of corners that lie on edges."""
    widest = int(near.distance.argmax())
    parts = tuple(dict.fromkeys(owner[edge] for edge in near.edges[widest]))
    width = float(near.distance[widest])
    both = named(parts) if len(parts) > 1 else f"two edges of {named(parts)}"
    if width <= WELD_M:
        what = (
            f"a corner of {shown(owner[near.edges[widest, 0]])} lies on an edge of "
            f"{shown(owner[near.edges[widest, 1]])} between its ends; give that edge a corner there"
        )
        spots = len(np.unique(np.round(near.place / WELD_M), axis=0))
        what += f" ({spots} such places)" if spots > 1 else ""
    else:
        what = (
            f"{both} leave a gap of {format_length(width)} and do not meet; "
            "move their corners to the same places"
        )
    return Leak(near.place[widest], parts, what, width)


def _hole(vertices: Floats, ends: Indices, owner: list[str]) -> Leak:
    """Tell of a hole, in its middle."""
    points = vertices[ends]
    length = np.linalg.norm(points[:, 1] - points[:, 0], axis=1)
    middle = (points.mean(axis=1) * length[:, None]).sum(axis=0) / length.sum()
    extent = np.ptp(points.reshape(-1, 3), axis=0)
    parts = tuple(dict.fromkeys(owner))
    size = " x ".join(in_centimetres(float(v)) for v in extent)
    edges = "1 open edge" if len(ends) == 1 else f"{len(ends)} open edges"
    what = (
        f"a hole of {size} cm (x, y, z) with {edges} of {named(parts)}; close it with faces "
        "(of a part that is 'open', if photons are to leave)"
    )
    return Leak(middle, parts, what, float(extent.max()))
