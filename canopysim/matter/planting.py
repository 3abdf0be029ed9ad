"""Where plants stand, and the random numbers that belong to each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene
    from canopysim.scene.schema_enclosure import Enclosure
    from canopysim.scene.schema_matter import Canopy

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Site:
    """One plant's place.

    Parameters
    ----------
    planting, index : int
        Which planting of the canopy, and which plant of that planting: columns run fastest.
    name : str
        Plant kind and running number, such as ``pepper-03``.
    kind : str
        Name in ``scene.plants``.
    x, y, z : float, m
        Foot of the stem, world frame.
    pruned_below : float, m
        Height above the foot below which nothing leaves the stem.
    """

    planting: int
    index: int
    name: str
    kind: str
    x: float
    y: float
    z: float
    pruned_below: float = 0.0


def ground_area(canopy: Canopy, enclosure: Enclosure) -> float:
    """Area that a canopy stands on, m2: the planted area, or else the whole floor."""
    return enclosure.floor_area if canopy.planted is None else canopy.planted.size_m2


def sites(scene: Scene) -> list[Site]:
    """Place of every plant of a scene.

    Parameters
    ----------
    scene : Scene
        With a canopy.

    Returns
    -------
    list of Site
        In the order of the plantings. Plants in columns and rows stand in the middle of equal cells
        of their area, from the front-left cell along x first; with offset rows a quarter of a cell
        to the left and to the right of it in turn.
    """
    assert scene.canopy is not None
    found: list[Site] = []
    count: dict[str, int] = {}
    for number, planting in enumerate(scene.canopy.plantings):
        if planting.positions is not None:
            spots = [(float(x), float(y)) for x, y in planting.positions]
        else:
            assert planting.columns is not None and planting.rows is not None
            area = planting.area or scene.canopy.planted
            floor = (0.0, 0.0, scene.enclosure.width, scene.enclosure.depth)
            x0, y0, x1, y1 = floor if area is None else area.bounds
            across = (np.arange(planting.columns) + 0.5) / planting.columns
            deep = (np.arange(planting.rows) + 0.5) / planting.rows
            # Rows take turns in moving a quarter of a cell to the left and to the right, so that
            # all stand inside and neighbours in the next row stand half-way between.
            shift = 0.25 / planting.columns if planting.offset_rows else 0.0
            moved = shift * np.where(np.arange(planting.rows) % 2 == 0, -1.0, 1.0)
            spots = [
                (float(x0 + (x1 - x0) * (u + s)), float(y0 + (y1 - y0) * v))
                for v, s in zip(deep, moved, strict=True)
                for u in across
            ]
        for index, (x, y) in enumerate(spots):
            count[planting.plant] = count.get(planting.plant, 0) + 1
            name = f"{planting.plant}-{count[planting.plant]:02d}"
            pruned = float(planting.pruned_below or 0.0)
            base = float(planting.base)
            found.append(Site(number, index, name, planting.plant, x, y, base, pruned))
    return found


def draws(seed: int, site: Site, stem: int, n_row: int, n_column: int) -> Floats:
    """Uniform numbers that belong to one stem of one plant.

    Parameters
    ----------
    seed : int
        The canopy's seed.
    site : Site
        The plant; only the numbers of its planting and of itself count, not where it stands.
    stem : int
        0 for what the whole plant shares, then 1, 2, ... for its main stems.
    n_row, n_column : int
        Rows are leaves from the bottom up.

    Returns
    -------
    (n_row, n_column) ndarray in [0, 1)
        A pure function of the address (seed, planting, plant, stem, leaf, column): another
        plant, or another leaf higher up, changes nothing here.
    """
    # The raw stream of this counter-based generator is fixed across versions of numpy; floats are
    # made here, as numpy's own way of making them may change.
    key = np.array([seed % 2**64, (site.planting << 32) | site.index], dtype=np.uint64)
    stream = np.random.Philox(key=key, counter=np.array([0, 0, stem, 0], dtype=np.uint64))
    raw = stream.random_raw(n_row * n_column)
    return (raw >> np.uint64(11)).astype(np.float64).reshape(n_row, n_column) * 2.0**-53
