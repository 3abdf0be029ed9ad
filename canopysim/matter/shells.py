"""The closed skins of a room: which is the room, which are bodies in it, where the inside is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.edges import Edges, Indices, hang_together, pairs_of_faces

Floats = NDArray[np.float64]

MOST_SHELLS = 500
MOST_LOOKS = 9
"""Faces of a skin from which it is told whether it lies in others."""


class ShellProblemError(ValueError):
    """A mesh without leaks that is yet no room; its text says why."""


@dataclass(frozen=True, eq=False)
class Shells:
    """How the faces of a closed mesh have to be turned so that their normals point into the room.

    Parameters
    ----------
    turned : (m,) bool ndarray
        Faces whose corners have to be taken the other way round.
    n_body : int
        Closed bodies that stand in the room.
    volume : float
        Of the room without them, m3.
    """

    turned: NDArray[np.bool_]
    n_body: int
    volume: float


@dataclass(frozen=True, eq=False)
class Skins:
    """The parts of a closed mesh that hang together.

    Parameters
    ----------
    number : (m,) int ndarray
        Skin of each face.
    turned : (m,) bool ndarray
        Faces that have to be taken the other way round for those of their skin to agree.
    volume : (n,) ndarray, m3
        Of each skin, positive where its normals then point out of it.
    """

    number: Indices
    turned: NDArray[np.bool_]
    volume: Floats


def turn_inwards(vertices: Floats, faces: Indices, edges: Edges) -> Shells:
    """Settle which way every face of a closed mesh looks.

    Parameters
    ----------
    vertices, faces : (n, 3) ndarray, m, and (m, 3) int ndarray
        A mesh in whose every edge two faces meet.
    edges : Edges
        Its edges.

    Raises
    ------
    ShellProblemError
        For a skin without an inside, several rooms, bodies within bodies, and no volume.

    Notes
    -----
    Which side of a skin is its inside is told by its signed volume.
    """
    skins = skins_of(vertices, faces, edges)
    number, turned, volume = skins.number, skins.turned, skins.volume
    depth = _depths(vertices, faces, number, np.where(turned, -1.0, 1.0) * np.sign(volume)[number])
    outer = np.flatnonzero(depth == 0)
    if len(outer) > 1:
        spots = [vertices[faces[number == k]].reshape(-1, 3).mean(axis=0) for k in outer[:3]]
        where = " and ".join(f"({', '.join(f'{v:.3g} m' for v in spot)})" for spot in spots)
        raise ShellProblemError(
            f"holds {len(outer)} rooms beside each other, about {where}; draw one room: bodies in "
            "it must lie inside it, and passages between rooms must be drawn"
        )
    if (depth > 1).any():
        where = vertices[faces[number == int(depth.argmax())]].reshape(-1, 3).mean(axis=0)
        raise ShellProblemError(
            f"holds a body within a body at {', '.join(f'{v:.3g} m' for v in where)}; light never "
            "comes there: delete it"
        )
    # Out of a skin by its volume: the room's own normals point into it, those of bodies out of
    # them, which is into the room too.
    wanted = np.where(depth == 0, -1.0, 1.0)
    turned = turned ^ (np.sign(volume) != wanted)[number]
    free = float(np.abs(volume[outer]).sum() - np.abs(volume[depth == 1]).sum())
    return Shells(turned, len(volume) - 1, free)


def skins_of(vertices: Floats, faces: Indices, edges: Edges) -> Skins:
    """Find the skins of a closed mesh, and which of their faces have to be turned round.

    Raises
    ------
    ShellProblemError
        For a skin without an inside, too many of them, and no volume.

    Notes
    -----
    Neighbours agree where they go along their common edge in opposite ways. Every face is put into
    a graph twice, as drawn and turned, so that what hangs together agrees; a skin in which a face
    hangs together with its own turned twin (a Moebius strip) has no inside.
    """
    n = len(faces)
    pairs, alike = pairs_of_faces(edges)
    one, other = pairs[:, 0], pairs[:, 1]
    twin = np.where(alike, n, 0)
    links = np.concatenate(
        [np.stack((one, other + twin), axis=1), np.stack((one + n, other + n - twin), axis=1)]
    )
    label = hang_together(2 * n, links)
    if (label[:n] == label[n:]).any():
        raise ShellProblemError(
            "has a skin with one side only (a Moebius strip); it has no inside, draw it anew"
        )
    shell, turned = np.minimum(label[:n], label[n:]), label[:n] > label[n:]
    names, number = np.unique(shell, return_inverse=True)
    if len(names) > MOST_SHELLS:
        raise ShellProblemError(
            f"is made of {len(names)} closed bodies; at most {MOST_SHELLS}: join their faces"
        )
    # Volumes about the middle, where they round least.
    corner = (vertices - vertices[faces].reshape(-1, 3).mean(axis=0))[faces]
    sixth = np.einsum("ij,ij->i", corner[:, 0], np.cross(corner[:, 1], corner[:, 2])) / 6
    volume: Floats = np.bincount(
        number, np.where(turned, -sixth, sixth), minlength=len(names)
    ).astype(np.float64)
    if (np.abs(volume) < 1e-9).any():
        flat = faces[number == int(np.abs(volume).argmin())]
        where = vertices[flat].reshape(-1, 3).mean(axis=0)
        raise ShellProblemError(
            f"encloses nothing at {', '.join(f'{v:.4g} m' for v in where)}: faces lie on each "
            "other there; delete them"
        )
    return Skins(number, turned, volume)


def _depths(vertices: Floats, faces: Indices, number: Indices, sign: Floats) -> Indices:
    """Count for every skin the others that it lies in, (n_shell,)."""
    n_shell = int(number.max()) + 1
    depth = np.zeros(n_shell, dtype=np.intp)
    if n_shell == 1:
        return depth
    for shell in range(n_shell):
        inner = faces[number == shell]
        # Some of its faces, since one may touch another skin.
        some = inner[:: max(1, len(inner) // MOST_LOOKS)][:MOST_LOOKS]
        angles = [solid_angles(vertices[f].mean(axis=0), vertices[faces]) * sign for f in some]
        around = np.bincount(number, np.mean(angles, axis=0), minlength=n_shell) / (4 * np.pi)
        around[shell] = 0.0
        depth[shell] = int((around > 0.5).sum())
    return depth


def solid_angles(point: Floats, corners: Floats) -> Floats:
    """Solid angles of triangles (n, 3, 3) seen from a point, positive from behind, sr.

    Notes
    -----
    Van Oosterom and Strackee 1983, IEEE Trans. Biomed. Eng. 30:125.
    """
    a, b, c = (corners[:, k] - point for k in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    triple = np.einsum("ij,ij->i", a, np.cross(b, c))
    dots = [np.einsum("ij,ij->i", p, q) for p, q in ((a, b), (b, c), (c, a))]
    below = la * lb * lc + dots[0] * lc + dots[1] * la + dots[2] * lb
    angle: Floats = 2 * np.arctan2(triple, below)
    return angle
