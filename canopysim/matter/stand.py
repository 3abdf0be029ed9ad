"""What stands and hangs among plants: pots filled with soil, and level nets of flat threads."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.errors import SceneError
from canopysim.matter.main_stems import LIFT
from canopysim.matter.parts import Part
from canopysim.matter.planting import sites
from canopysim.matter.solids import frustum
from canopysim.units import format_length

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene
    from canopysim.scene.schema_stand import Net

Floats = NDArray[np.float64]
Faces = NDArray[np.int32]

POT_SIDES = 16
CLEARANCE = 1e-3
"""m; kept between the threads of a net and walls that do not repeat."""
SLACK_M = 1e-9


def place_pots(scene: Scene) -> list[Part]:
    """All pots of a scene.

    Parameters
    ----------
    scene : Scene
        With a canopy.

    Returns
    -------
    list of Part
        For each plant in a pot the wall with the bottom, such as ``pepper-03-pot``, and the soil
        that closes it, ``pepper-03-soil``: together one closed frustum. Stems stand in the soil,
        so both are shells.

    Raises
    ------
    SceneError
        If a pot does not stand inside the enclosure.
    """
    assert scene.canopy is not None
    room = (scene.enclosure.width, scene.enclosure.depth)
    parts: list[Part] = []
    problems: list[str] = []
    for site in sites(scene):
        pot = scene.canopy.plantings[site.planting].pot
        if pot is None:
            continue
        radius = 0.5 * max(pot.diameter, pot.bottom)
        to_walls = [
            gap
            for side, at, size in zip(("width", "depth"), (site.x, site.y), room, strict=True)
            if not (scene.canopy.wrap and side in scene.enclosure.repeat)
            for gap in (at, size - at)
        ]
        free = min(to_walls, default=np.inf) - radius
        if free < CLEARANCE - SLACK_M:
            text = (
                f"the pot of {site.name} at {format_length(site.x)}, {format_length(site.y)} "
                f"needs {format_length(radius + CLEARANCE)} to every wall; move it inwards or "
                "write a smaller 'diameter'"
            )
            problems.append(scene.problem(("canopy", "plantings", site.planting, "pot"), text))
            continue
        low = max(site.z - pot.height, LIFT)
        vertices, faces = frustum(
            site.x, site.y, low, max(site.z, 2 * LIFT), 0.5 * pot.bottom, 0.5 * pot.diameter,
            POT_SIDES,
        )  # fmt: skip
        for what, its, surface in (
            ("pot", faces[:-POT_SIDES], pot.surface),
            ("soil", faces[-POT_SIDES:], pot.soil),
        ):
            used, corner = np.unique(its, return_inverse=True)
            mesh = corner.reshape(-1, 3).astype(np.int32)
            parts.append(Part(f"{site.name}-{what}", "pot", vertices[used], mesh, surface, False))
    if problems:
        raise SceneError(problems)
    return parts


def stretch_nets(scene: Scene) -> list[Part]:
    """All nets of a scene.

    Parameters
    ----------
    scene : Scene
        With a canopy.

    Returns
    -------
    list of Part
        ``net-1``, ``net-2``, ...: threads along x, and between them threads along y, so that no two
        of them cover each other.
    """
    assert scene.canopy is not None
    parts = []
    for number, net in enumerate(scene.canopy.nets, 1):
        vertices, faces = _net(net, *_extent(scene, net))
        parts.append(Part(f"net-{number}", "net", vertices, faces, net.surface, False))
    return parts


def _extent(scene: Scene, net: Net) -> tuple[tuple[float, float], tuple[float, float]]:
    """From where to where a net reaches along x and along y, m."""
    sides = []
    for axis, (name, size) in enumerate(
        (("width", scene.enclosure.width), ("depth", scene.enclosure.depth))
    ):
        gap = 0.0 if name in scene.enclosure.repeat else CLEARANCE
        low, high = gap, size - gap
        if net.corner is not None and net.opposite is not None:
            ends = sorted((net.corner[axis], net.opposite[axis]))
            low, high = max(low, ends[0]), min(high, ends[1])
        sides.append((low, high))
    return sides[0], sides[1]


def _net(
    net: Net, along_x: tuple[float, float], along_y: tuple[float, float]
) -> tuple[Floats, Faces]:
    """Threads in the middle of equal meshes, so that where the room repeats the net does too."""
    (x0, x1), (y0, y1) = along_x, along_y
    n_x = max(1, round((x1 - x0) / net.mesh))
    n_y = max(1, round((y1 - y0) / net.mesh))
    x = x0 + (np.arange(n_x) + 0.5) * (x1 - x0) / n_x
    y = y0 + (np.arange(n_y) + 0.5) * (y1 - y0) / n_y
    half = 0.5 * net.thread
    rectangles = [(x0, x1, mid - half, mid + half) for mid in y]
    edges = np.concatenate(([y0], np.repeat(y, 2) + np.tile([-half, half], n_y), [y1]))
    for mid in x:
        rectangles += [
            (mid - half, mid + half, low, high)
            for low, high in zip(edges[::2], edges[1::2], strict=True)
        ]
    corners = np.array(
        [[[a, c], [b, c], [b, d], [a, d]] for a, b, c, d in rectangles], dtype=np.float64
    )
    vertices = np.concatenate((corners, np.full((*corners.shape[:2], 1), net.height)), axis=2)
    first = 4 * np.arange(len(rectangles), dtype=np.int32)[:, None, None]
    faces = first + np.array([[0, 1, 2], [0, 2, 3]], dtype=np.int32)
    return vertices.reshape(-1, 3), faces.reshape(-1, 3)
