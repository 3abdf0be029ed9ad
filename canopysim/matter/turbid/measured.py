"""The turbid equivalent of leaf meshes: as many leaves at each height, inclined as they are.

What it leaves out is how leaves stand to each other: no leaf has a size, so nothing shades a whole
neighbour, and no leaf lies beside its neighbours' gap rather than over it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.errors import SceneError
from canopysim.matter.layers import area_by_layer
from canopysim.matter.turbid.heights import N_HEIGHT, even_heights
from canopysim.matter.turbid.inclination import measured_angles
from canopysim.matter.turbid.volume import Kind, Volume, area_below

if TYPE_CHECKING:
    from canopysim.matter.parts import Part
    from canopysim.scene.schema import Scene

Floats = NDArray[np.float64]
N_BIN = 64
"""Slices in which a slab's leaf area is measured."""
N_CROWN_BIN = 16
"""The same for a crown, whose ends are small: finer slices would hold very dense leaves."""
ROUNDS = 2000
CLOSE = 1e-9


@dataclass(frozen=True, eq=False)
class MeasuredLeaves:
    """What is known of leaf meshes once they are taken as turbid.

    Attributes
    ----------
    low, high : float, m
        Heights of the lowest and the highest leaf point.
    areas : (n_bin,) ndarray, m2
        One-sided leaf area in equally high slices from the lowest upwards, triangles clipped.
    angles : (n_step + 1,) ndarray
        Quantiles of the cosine of inclination, see `inclination`.
    middle : (2,) ndarray, m
        Mean place of the leaf area, x and y.
    spread : (2,) ndarray, m
        Standard deviation of the leaf area in x and in y.
    """

    low: float
    high: float
    areas: Floats
    angles: Floats
    middle: Floats
    spread: Floats


def measure_leaves(parts: Sequence[Part], n_bin: int = N_BIN) -> MeasuredLeaves:
    """Measure leaf meshes.

    Parameters
    ----------
    parts : sequence of Part
        At least one triangle with an area.
    n_bin : int
        Slices of equal height.

    Returns
    -------
    MeasuredLeaves

    Raises
    ------
    ValueError
        If all leaves lie at one height: then they fill no volume.
    """
    corners = np.concatenate([part.vertices[part.faces] for part in parts])
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    twice = np.linalg.norm(normal, axis=1)
    kept = twice > 0
    corners, normal, twice = corners[kept], normal[kept], twice[kept]
    low, high = float(corners[..., 2].min()), float(corners[..., 2].max())
    if not high > low:
        raise ValueError(f"leaves that all lie at {low:g} m fill no volume")
    vertices = corners.reshape(-1, 3)
    faces = np.arange(len(vertices), dtype=np.int32).reshape(-1, 3)
    edges = np.linspace(low, high, n_bin + 1)
    area = twice / 2
    xy = corners[..., :2]
    middle = np.asarray((xy.mean(axis=1) * area[:, None]).sum(axis=0) / area.sum())
    # The mean square over a triangle: a twelfth of its corners' squares and of their sum's.
    off = xy - middle
    square = ((off**2).sum(axis=1) + off.sum(axis=1) ** 2) / 12
    spread = np.sqrt((square * area[:, None]).sum(axis=0) / area.sum())
    return MeasuredLeaves(
        low, high, area_by_layer(vertices, faces, edges)[::-1],
        measured_angles(normal[:, 2] / twice, area), middle, np.asarray(spread),
    )  # fmt: skip


def with_areas(bare: Volume, areas: Floats) -> Volume:
    """Give a volume the densities with which its slices hold stated leaf areas.

    Parameters
    ----------
    bare : Volume
        Its density is of no account.
    areas : (n_bin,) ndarray, m2
        Leaf area in equally high slices from the bottom upwards.

    Returns
    -------
    Volume
        Densities are not negative and the sum of the areas is met exactly; the slices are met as
        far as densities that are straight between their heights can, mostly to rounding.

    Notes
    -----
    Each round multiplies every density by the mean, over the slices that it counts in, of wanted
    over present leaf area (Richardson 1972, J. Opt. Soc. Am. 62:55): smooth where slices alone do
    not settle the densities.
    """
    levels = np.linspace(bare.low[2], bare.high[2], len(areas) + 1)
    # Leaf area in each slice for a density of one at one height only.
    share = np.stack(
        [np.diff(area_below(replace(bare, density=row), levels)) for row in np.eye(N_HEIGHT)]
    )
    share = np.maximum(share, 0.0)
    reach = share.sum(axis=1)
    density = np.full(N_HEIGHT, areas.sum() / reach.sum())
    for _ in range(ROUNDS):
        # Sums of products, not matrix products: those may differ in their last bits by the number
        # of threads, and with them the world's digest.
        present = (density[:, None] * share).sum(axis=0)
        wanted = np.where(present > 0, areas / np.where(present > 0, present, 1.0), 0.0)
        density *= (share * wanted).sum(axis=1) / reach
        if np.abs(present - areas).max() < CLOSE * areas.sum():
            break
    found = replace(bare, density=density)
    return replace(found, density=density * (float(areas.sum()) / found.leaf_area))


def as_volumes(scene: Scene, parts: Sequence[Part]) -> list[Volume]:
    """Turn the leaves of a scene's plants into the volumes that it asks for.

    Parameters
    ----------
    scene : Scene
        Its canopy says ``as_volume``.
    parts : sequence of Part
        Leaf meshes; others are passed over.

    Returns
    -------
    list of Volume
        A slab for each kind of leaf, or a crown for each plant and kind.

    Raises
    ------
    SceneError
        If the leaves fill no volume.
    """
    assert scene.canopy is not None
    leaves = [part for part in parts if part.kind == "leaf" and len(part.faces)]
    try:
        if scene.canopy.as_volume == "crowns":
            return [_crown(scene, part) for part in leaves]
        kinds = dict.fromkeys(part.surface for part in leaves)
        return [_slab(scene, kind, [p for p in leaves if p.surface == kind]) for kind in kinds]
    except ValueError as problem:
        text = f"{problem}; leave it out"
        raise SceneError([scene.problem(("canopy", "as_volume"), text)]) from None


def _slab(scene: Scene, kind: str, parts: Sequence[Part]) -> Volume:
    """All leaves of a kind over the planted area."""
    assert scene.canopy is not None
    found = measure_leaves(parts)
    floor = (0.0, 0.0, scene.enclosure.width, scene.enclosure.depth)
    x0, y0, x1, y1 = floor if scene.canopy.planted is None else scene.canopy.planted.bounds
    middle, half = np.array([x0 + x1, y0 + y1]) / 2, np.array([x1 - x0, y1 - y0]) / 2
    return _filled(f"slab of {kind}", "box", middle, half, found, kind)


def _crown(scene: Scene, part: Part) -> Volume:
    """One plant's leaves as an ellipsoid that spreads as far as they do, as a root mean square."""
    found = measure_leaves([part], N_CROWN_BIN)
    # At the relative height t an ellipse of half axis a √(1-t²) has the mean square a² (1-t²) / 4.
    edges = np.linspace(-1.0, 1.0, N_CROWN_BIN + 1)
    mean_square = (edges[1:] ** 2 + edges[1:] * edges[:-1] + edges[:-1] ** 2) / 3
    narrowing = 1.0 - (found.areas * mean_square).sum() / found.areas.sum()
    half = np.maximum(2.0 * found.spread / np.sqrt(narrowing), 1e-4)
    middle = found.middle.copy()
    for axis, side in enumerate(("left", "front")):
        room = scene.enclosure.size[axis]
        half[axis] = min(half[axis], room / 2)
        if side not in scene.enclosure.repeating:
            # Leaves keep off the walls; a crown as wide as they spread is moved off them.
            middle[axis] = min(max(middle[axis], half[axis]), room - half[axis])
    return _filled(f"crown of {part.name}", "ellipsoid", middle, half, found, part.surface)


def _filled(
    name: str, kind: Kind, middle: Floats, half: Floats, found: MeasuredLeaves, leaf: str
) -> Volume:
    """Put measured leaves into a shape of their height."""
    bare = Volume(
        name, kind, np.array([*middle, (found.low + found.high) / 2]),
        np.array([*half, (found.high - found.low) / 2]), even_heights(), found.angles, leaf,
    )  # fmt: skip
    return with_areas(bare, found.areas)
