"""What tallies are told apart by: the rows of each split, their names, and the memory they take."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.transport.arrays import (
    DIFFUSE,
    FIRST_FLIGHT,
    LAST_SURFACE,
    LAUNCH_CELLS,
    LINING_MEETINGS,
    N_FACING,
    SPECULAR,
    SURFACE,
    TRANSMIT,
    Splits,
    WorldArrays,
)

if TYPE_CHECKING:
    from canopysim.matter.parts import Part
    from canopysim.scene.schema import Scene
    from canopysim.world.canopy_box import CanopyPlan
    from canopysim.world.optics import OpticsTable
    from canopysim.world.sinks import Places

LINING, FLIGHT, LAST, CELLS = "lining meetings", "first flight", "last surface", "launch cells"
SENSITIVITIES = "sensitivities"


@dataclass(frozen=True)
class Split:
    """One way of telling light apart.

    Attributes
    ----------
    name : str
        LINING, FLIGHT, LAST, CELLS or SENSITIVITIES.
    first : int
        Its first row.
    rows : tuple of str
        What each row holds.
    """

    name: str
    first: int
    rows: tuple[str, ...]


@dataclass(frozen=True)
class SplitPlan:
    """All that the kernels need to tell light apart, and what the rows are called.

    Attributes
    ----------
    splits : tuple of Split
        In the order of their rows; the sensitivities last.
    kind, place_lining, place_last, cells, turn_edge
        As in `Splits`.
    ways : tuple of int
        Rows of the sensitivities among all ways of all surfaces that have a name.
    n_way : int
        Rows that the sensitivities take; 0 where they are off.
    n_facet : int
        Triangles of plants; 0 where facets are off.
    on_cells : bool
        Whether planes keep their cells.
    probe, probe_response, probe_lean
        As in `Splits`.
    canopy : CanopyPlan or None
        The box around the canopy and its plants, where they are asked for.
    looks : bool
        Whether small balls are looked for; else only what passes them counts.
    """

    splits: tuple[Split, ...]
    kind: NDArray[np.int32]
    place_lining: NDArray[np.int32]
    place_last: NDArray[np.int64]
    cells: NDArray[np.int64]
    turn_edge: NDArray[np.float32]
    n_way: int
    n_facet: int
    on_cells: bool
    probe: NDArray[np.float32]
    probe_response: NDArray[np.float32]
    probe_lean: NDArray[np.float32]
    looks: bool = True
    canopy: CanopyPlan | None = None

    @property
    def n_row(self) -> int:
        """Rows of all splits."""
        return sum(len(s.rows) for s in self.splits)

    def shapes(self, world: WorldArrays) -> tuple[tuple[int, ...], ...]:
        """Shapes of `absorbed`, `crossed`, `facet`, `probed` and of what the canopy counts."""
        n_channel, n_sink, n_band, n_bin = (int(n) for n in world.sizes)
        n_column = n_bin if self.on_cells else 2 * len(world.plane)
        return (
            (n_channel, self.n_row, n_sink, n_band),
            (n_channel, self.n_row, n_column, n_band),
            (self.n_facet, 2, n_channel, n_band),
            (n_channel, len(self.probe), N_FACING + self.probe_lean.shape[1], n_band),
            (n_channel, 0 if self.canopy is None else self.canopy.first[-1], n_band),
        )

    def open(self, world: WorldArrays) -> Splits:
        """Empty tallies for one thread."""
        absorbed, crossed, facet, probed = (
            np.zeros(shape, np.int64) for shape in self.shapes(world)[:4]
        )
        n_channel, _, n_band, _ = (int(n) for n in world.sizes)
        timed = [s for s in self.splits if s.name != SENSITIVITIES]
        return Splits(
            kind=self.kind,
            first=np.array([s.first for s in timed], np.int64),
            n_row=np.array([len(s.rows) for s in timed], np.int64),
            cells=self.cells,
            turn_edge=self.turn_edge,
            place_lining=self.place_lining,
            place_last=self.place_last,
            on_cells=np.array([self.on_cells], np.int64),
            absorbed=absorbed,
            crossed=crossed,
            facet=facet,
            probe=self.probe,
            probe_response=self.probe_response,
            probe_lean=self.probe_lean,
            looks=np.array([self.looks], np.int64),
            probed=probed,
            at=np.zeros(len(timed), np.int64),
            passed=np.zeros(self.n_way, np.int64),
            amounts=np.zeros(absorbed.shape[-1], np.int64),
            canopy=None if self.canopy is None else self.canopy.open(n_channel, n_band),
        )


def split_plan(
    scene: Scene,
    places: Places,
    optics: OpticsTable,
    plants: list[Part],
    n_strip: int,
    probes: tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]],
    canopy: CanopyPlan | None = None,
) -> SplitPlan | None:
    """Settle what a scene asks to be told apart; None where it asks for nothing.

    Parameters
    ----------
    scene : Scene
        Its `also_count` says what.
    places : Places
        All places of the world.
    optics : OpticsTable
        All its optics.
    plants : list of Part
        Their triangles are the first of the world.
    n_strip : int
        Strips that launch.
    probes : tuple of numpy.ndarray
        `probe`, `probe_response` and `probe_lean` of `Splits`.
    canopy : CanopyPlan, optional
        What is counted of the canopy as a body.
    """
    asked = scene.also_count
    splits: list[Split] = []
    kinds: list[int] = []

    def add(name: str, kind: int | None, rows: list[str]) -> None:
        splits.append(Split(name, sum(len(s.rows) for s in splits), tuple(rows)))
        if kind is not None:
            kinds.append(kind)

    last_names = ["the lamps themselves", *dict.fromkeys(places.name)]
    if asked.first_flight:
        add(FLIGHT, FIRST_FLIGHT, ["first flight", "later"])
    if asked.last_surface:
        add(LAST, LAST_SURFACE, last_names)
    if asked.lining_meetings is not None:
        n = asked.lining_meetings
        add(LINING, LINING_MEETINGS, [*(str(k) for k in range(n)), f"{n} or more"])
    cells, edges = np.ones(3, np.int64), np.zeros(1, np.float32)
    if asked.launch_cells is not None:
        cells = np.array(
            [asked.launch_cells.along, asked.launch_cells.polar, asked.launch_cells.around],
            np.int64,
        )
        edges = turn_edges(int(cells[2]))
        add(CELLS, LAUNCH_CELLS, [str(k) for k in range(n_strip * int(cells.prod()))])
    n_way = 0
    if asked.sensitivities:
        names = [f"{name}: {_way_name(name, way)}" for name in optics.names for way in range(3)]
        n_way = len(names)
        add(SENSITIVITIES, None, names)
    n_facet = sum(len(p.faces) for p in plants) if asked.leaf_facets else 0
    if not splits and not n_facet and not len(probes[0]) and canopy is None:
        return None
    lining = optics.surface(scene.enclosure.lining)
    return SplitPlan(
        splits=tuple(splits),
        kind=np.array(kinds, np.int32),
        place_lining=np.array(
            [
                int(kind == SURFACE and face != "" and surface == lining)
                for kind, face, surface in zip(
                    places.kind, places.face, places.surface, strict=True
                )
            ],
            np.int32,
        ),
        place_last=np.array([last_names.index(name) for name in places.name], np.int64),
        cells=cells,
        turn_edge=edges,
        n_way=n_way,
        n_facet=n_facet,
        on_cells=asked.on_cells,
        probe=probes[0],
        probe_response=probes[1],
        probe_lean=probes[2],
        canopy=canopy,
    )


def _way_name(material: str, way: int) -> str:
    """Name a way as the scene file does."""
    if way == DIFFUSE:
        return "reflectance" if material.startswith("leaf ") else "diffuse"
    return {SPECULAR: "specular", TRANSMIT: "transmittance"}[way]


def turn_edges(n: int) -> NDArray[np.float32]:
    """Where each of n equal turns begins, as the way around the diamond |x| + |y| = 1, 0 to 4."""
    angle = 2 * np.pi * np.arange(n) / n
    x, y = np.cos(angle), np.sin(angle)
    way = y / (np.abs(x) + np.abs(y))
    # Second and third quadrant, then the fourth, as the kernel counts them.
    way = np.where(x < -1e-9, 2 - way, np.where(way < -1e-9, 4 + way, way))
    return np.asarray(way, np.float32)
