"""Counting planes of a scene: heights, rectangles, grids, bins."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.errors import SceneError
from canopysim.matter.section import area_in_cells, cut_room

if TYPE_CHECKING:
    from canopysim.matter.room import Room
    from canopysim.scene.schema import Scene
    from canopysim.world.layers import LayerTable

LEAST_OPEN = 0.01
"""Share of a cell that has to lie in a drawn room for the cell to have a figure of its own."""
# No plane of a scene has a blank in its name.
LEVEL = "level "


@dataclass(frozen=True, eq=False)
class PlaneTable:
    """One counting plane: its height, rectangle and grid."""

    name: str
    height: float
    low: tuple[float, float]
    high: tuple[float, float]
    cells: tuple[int, int]
    first_bin: int
    open_m2: NDArray[np.float64] | None = None
    """Area of each cell (n_y, n_x) that lies in a drawn room, m2; None where all of it does."""

    @property
    def is_level(self) -> bool:
        """Whether it parts two layers, or ends them, rather than being asked for by name."""
        return self.name.startswith(LEVEL)

    @property
    def cell_m2(self) -> NDArray[np.float64] | float:
        """Area of a cell, or of each, that light can pass, m2; NaN where hardly any can."""
        whole = self.cell_m[0] * self.cell_m[1]
        if self.open_m2 is None:
            return whole
        return np.where(self.open_m2 >= LEAST_OPEN * whole, self.open_m2, np.nan)

    @property
    def area_m2(self) -> float:
        """Area that light can pass, m2."""
        if self.open_m2 is not None:
            return float(self.open_m2.sum())
        return self.cell_m[0] * self.cell_m[1] * self.cells[0] * self.cells[1]

    @property
    def cell_m(self) -> tuple[float, float]:
        """Extent of a cell in x and y, m."""
        return (
            (self.high[0] - self.low[0]) / self.cells[0],
            (self.high[1] - self.low[1]) / self.cells[1],
        )


def plane_tables(scene: Scene, canopy_top: float) -> list[PlaneTable]:
    """Settle counting planes: heights, rectangles and bins."""
    tables, first = [], 0
    width, depth, _ = scene.enclosure.size
    for plane in scene.planes:
        height = plane.height
        if height is None:
            height = canopy_top + (plane.above_canopy or 0.0)
        corner, opposite = plane.corner or (0.0, 0.0), plane.opposite or (width, depth)
        low = (min(corner[0], opposite[0]), min(corner[1], opposite[1]))
        high = (max(corner[0], opposite[0]), max(corner[1], opposite[1]))
        nx = max(1, round((high[0] - low[0]) / plane.cell))
        ny = max(1, round((high[1] - low[1]) / plane.cell))
        table = PlaneTable(plane.name, height, low, high, (nx, ny), first)
        tables.append(_clipped(table, scene.enclosure.room))
        first += 2 * nx * ny
    return tables


def _clipped(plane: PlaneTable, room: Room | None) -> PlaneTable:
    """Measure what of each cell lies in a drawn room."""
    if room is None:
        return plane
    # As `plane_arrays` has it: a plane in the ceiling is counted just below it.
    height = min(plane.height, float(np.nextafter(np.float32(room.size[2]), np.float32(0))))
    edges = [
        np.linspace(low, high, n + 1)
        for low, high, n in zip(plane.low, plane.high, plane.cells, strict=True)
    ]
    return replace(plane, open_m2=area_in_cells(cut_room(room, height), edges[0], edges[1]))


def level_tables(scene: Scene, layers: LayerTable | None, first: int) -> list[PlaneTable]:
    """Planes of one cell at every boundary between layers, where the scene asks for the profile.

    Parameters
    ----------
    scene : Scene
        With ``canopy.profile``.
    layers : LayerTable or None
        Level 0 is the top of the first layer, level i the bottom of layer i.
    first : int
        First bin that is free.

    Returns
    -------
    list of PlaneTable
        They reach beyond the walls by a metre, so that rounding loses no crossing beside a wall.
        The lowest lies one float32 step under the lowest leaf: in it, it would not see that leaf.
    """
    if scene.canopy is None or not scene.canopy.profile or layers is None:
        return []
    width, depth, _ = scene.enclosure.size
    heights = [float(layers.z_top[0]), *(float(z) for z in layers.z_bottom)]
    heights[-1] = max(0.0, float(np.nextafter(np.float32(heights[-1]), np.float32(-1.0))))
    return [
        PlaneTable(
            f"{LEVEL}{i}", height, (-1.0, -1.0), (width + 1.0, depth + 1.0), (1, 1), first + 2 * i
        )
        for i, height in enumerate(heights)
    ]


def plane_arrays(
    planes: list[PlaneTable], size: tuple[float, float, float]
) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    """Rows for the kernels. Rims on a wall are closed, a plane in the ceiling reads what falls up.

    Crossing is half-open (above means strictly above), so a plane that lies in the ceiling is moved
    down by one float32 step.
    """
    rows, cells = [], []
    for plane in planes:
        height = np.float32(plane.height)
        if height >= np.float32(size[2]):
            height = np.nextafter(np.float32(size[2]), np.float32(0))
        ends = [
            np.nextafter(np.float32(h), np.float32(np.inf)) if np.float32(h) >= np.float32(s) else h
            for h, s in zip(plane.high, size, strict=False)
        ]
        cell = plane.cell_m
        rows.append([height, *plane.low, *ends, 1 / cell[0], 1 / cell[1]])
        cells.append([*plane.cells, plane.first_bin])
    return (
        np.array(rows, np.float32).reshape(-1, 7),
        np.array(cells, np.int64).reshape(-1, 3),
    )


def refuse_high_planes(scene: Scene, planes: list[PlaneTable]) -> None:
    """Raise for planes that lie outside the enclosure once the canopy's height is known."""
    problems = []
    for index, plane in enumerate(planes):
        whole = plane.cell_m[0] * plane.cell_m[1]
        if plane.open_m2 is not None and plane.open_m2.max() < LEAST_OPEN * whole:
            message = (
                f"lies outside of the drawn room at {plane.height * 100:.4g} cm above the floor; "
                "move it, or choose smaller cells"
            )
            problems.append(scene.problem(("planes", index), message))
        if not 0 <= plane.height <= scene.enclosure.height:
            message = (
                f"lies at {plane.height * 100:.4g} cm above the floor; allowed is 0 cm to "
                f"{scene.enclosure.height * 100:.4g} cm"
            )
            problems.append(scene.problem(("planes", index), message))
    if problems:
        raise SceneError(problems)
