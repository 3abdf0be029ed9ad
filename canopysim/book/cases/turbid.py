"""Leaves: drawn leaves taken as filling a volume: a slab of all, or a crown of each plant."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from canopysim.book.bench import load
from canopysim.book.case import Case, Exact
from canopysim.book.cases.drawn import BEAMS, bay_with_mesh, beams
from canopysim.book.cases.slabs import BLACK
from canopysim.book.exact.leaves import beam_through, shown_by
from canopysim.book.exact.tiles import obj_of
from canopysim.book.facts import Fact, fact_case
from canopysim.book.readings import Layers, Reading, Share
from canopysim.book.scenes import Data

Array = NDArray[np.float64]
LOW, SOME, HIGH, GROUND = 0.15, 0.525, 0.65, 1.0 * 0.8
# The step of leaf area where some end lies inside a layer.
CUTS = (LOW, 0.25, 0.45, HIGH)


@dataclass(frozen=True)
class Leaf:
    """A rectangle that leans and rises from the bottom, with equally much area at each height.

    Attributes
    ----------
    slope, way : float
        Inclination and the way that it rises, degrees.
    middle : (x, y)
        m.
    area, top : float
        m2, m.
    """

    slope: float
    way: float
    middle: tuple[float, float]
    area: float
    top: float

    @property
    def edges(self) -> Array:
        """Two of its edges, level and rising, (2, 3) m."""
        a, w, rise = np.radians(self.slope), np.radians(self.way), self.top - LOW
        along = self.area * np.sin(a) / rise * np.array([np.sin(w), -np.cos(w), 0.0])
        up = rise * np.array([np.cos(w) / np.tan(a), np.sin(w) / np.tan(a), 1.0])
        return np.array([along, up])

    @property
    def corners(self) -> Array:
        """Its corners (4, 3), its upper side up."""
        along, up = self.edges
        first = np.array([*self.middle, (LOW + self.top) / 2]) - (up + along) / 2
        return np.array([first, first + along, first + along + up, first + up])


# Three eighths of the area are flatter, but two leaves of four.
FLAT, STEEP, SHARE_FLAT = 58.0, 75.0, 3 / 8
LEAVES = (
    Leaf(STEEP, 20.0, (0.30, 0.40), 0.30, HIGH), Leaf(FLAT, 130.0, (0.55, 0.35), 0.16, HIGH),
    Leaf(STEEP, -95.0, (0.70, 0.45), 0.10, SOME), Leaf(FLAT, 205.0, (0.45, 0.50), 0.08, SOME),
)  # fmt: skip
AREA = sum(leaf.area for leaf in LEAVES)


def _below(z: Array) -> Array:
    """Leaf area below heights, m2."""
    parts = [leaf.area * np.clip((z - LOW) / (leaf.top - LOW), 0, 1) for leaf in LEAVES]
    return np.asarray(np.sum(parts, 0))


def _scene(how: str) -> Data:
    """Give the bay, its leaves taken as a slab or as crowns."""
    data = bay_with_mesh(BLACK, [f"{z} m" for z in CUTS], unit="m", daylight=beams(**BEAMS))
    return dict(data) | {"canopy": data["canopy"] | {"as_volume": how}}


FILES = {"leaves.obj": obj_of(np.array([leaf.corners for leaf in LEAVES]))}


def _slab() -> Case:
    figures: dict[str, Reading] = {}
    for name in BEAMS:
        figures |= {f"layers, {name}": Layers(name), f"floor, {name}": Share("floor", name)}

    def exact() -> Exact:
        lai = np.diff(_below(np.array(CUTS)))[::-1] / GROUND
        inclined = np.radians([FLAT, STEEP]), np.array([SHARE_FLAT, 1 - SHARE_FLAT])
        found: dict[str, Any] = {}
        for name, (zenith, _) in BEAMS.items():
            mu = np.cos(np.radians(zenith))
            k = shown_by(*inclined, mu, 100_000) / mu
            found[f"layers, {name}"], found[f"floor, {name}"] = beam_through(k, lai)
        return found

    return Case(
        name="drawn leaves taken as a slab",
        chapter="leaves",
        shows="Four large black leaves that lean, some not as high as others, taken as a slab of "
        "as much leaf area at each height, inclined as they are, under three beams.",
        source="Beer's law with the mean over the compass of what two inclinations show.",
        fails_if="Leaves were counted twice or not at all, by number or upside down, or kept "
        "their places or the way they lean.",
        scene=_scene("slab"),
        files=FILES,
        figures=figures,
        exact=exact,
        # Inclinations are held in 1024 steps; in two of them they run from one to the other.
        exact_err=dict.fromkeys(figures, 2e-5),
        packets=1 << 20,
        scale=1.0,
    )


def _moments(leaf: Leaf) -> tuple[Array, Array]:
    """Mean of x and y over a leaf, and of their squares."""
    middle = np.array(leaf.middle)
    return middle, middle**2 + (leaf.edges[:, :2] ** 2).sum(0) / 12


def _crown() -> Iterator[Fact]:
    """Ask what the crown is: nothing is traced."""
    from canopysim.matter.turbid.volume import area_below
    from canopysim.world.compile import compile_world

    (crown,) = compile_world(load(_scene("crowns"), FILES)).volumes
    weights = np.array([leaf.area for leaf in LEAVES]) / AREA
    middle, square = (weights @ np.array(each) for each in zip(*map(_moments, LEAVES), strict=True))
    # At the height t of -1 to 1 an ellipse of half axis a sqrt(1 - t²) has the mean square
    # a² (1 - t²) / 4. That of t² of leaves that rise to t is (t³ + 1) / (t + 1) / 3.
    tops = 2 * (np.array([leaf.top for leaf in LEAVES]) - LOW) / (HIGH - LOW) - 1
    half = 2 * np.sqrt((square - middle**2) / (1 - weights @ ((tops**3 + 1) / (tops + 1) / 3)))
    yield "middle", [*middle, (LOW + HIGH) / 2], crown.centre, 1e-6
    yield "half axes", [*half, (HIGH - LOW) / 2], crown.half, 1e-6
    yield "leaf area", AREA, crown.leaf_area, 1e-6
    at = np.linspace(LOW, HIGH, 5)
    yield "leaf area below", _below(at), area_below(crown, at), 1e-3
    cosine = np.cos(np.radians([FLAT, STEEP]))
    n = len(crown.angles) - 1
    # Three eighths are flat, not half.
    yield "cosines of inclination", cosine, crown.angles[[n // 4, 7 * n // 16]], 1e-6


CASES = (
    _slab(),
    fact_case(
        "drawn leaves taken as a crown", "leaves",
        "The ellipsoid that four large leaves of a plant are taken as: where it is, how wide and "
        "how high, how much leaf area it holds up to each height, and inclined how.",
        "Mean place and mean square of rectangles; those of an ellipsoid's level sections.",
        "An axis, a height or an area were another, or leaves counted by number.",
        _crown,
    ),
)  # fmt: skip
