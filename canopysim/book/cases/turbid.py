"""Leaves: drawn leaves taken as filling a volume: a slab of all, or a crown of each plant."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from canopysim.book.bench import load
from canopysim.book.case import Case, Exact
from canopysim.book.cases.drawn import BEAMS, bay_with_mesh, beams
from canopysim.book.cases.slabs import BLACK
from canopysim.book.exact.leaves import beam_through
from canopysim.book.exact.tiles import obj_of
from canopysim.book.facts import Fact, told
from canopysim.book.outcome import Outcome
from canopysim.book.readings import Layers, Reading, Share
from canopysim.book.scenes import Data

if TYPE_CHECKING:
    from canopysim.book.bench import Bench

Array = NDArray[np.float64]
LOW, HIGH, GROUND = 0.15, 0.65, 1.0 * 0.8
CUTS = (0.15, 0.25, 0.45, 0.65)
# Leaves that rise from the bottom to the top, so that each slice holds the same area: inclination
# and the way they lean, degrees; middle, m. Two steps of inclination, half of the area each.
LEAVES: tuple[tuple[float, float, tuple[float, float]], ...] = (
    (75.0, 20.0, (0.30, 0.40)), (58.0, 130.0, (0.55, 0.35)),
    (75.0, -95.0, (0.70, 0.45)), (58.0, 205.0, (0.45, 0.50)),
)  # fmt: skip
AREA_EACH = 0.17


def _corners(slope: float, way: float, middle: tuple[float, float]) -> Array:
    """Corners (4, 3) of a rectangle between two heights that leans one way, its upper side up."""
    a, w, rise = np.radians(slope), np.radians(way), HIGH - LOW
    up = rise * np.array([np.cos(w) / np.tan(a), np.sin(w) / np.tan(a), 1.0])
    along = AREA_EACH * np.sin(a) / rise * np.array([np.sin(w), -np.cos(w), 0.0])
    first = np.array([*middle, (LOW + HIGH) / 2]) - (up + along) / 2
    return np.array([first, first + along, first + along + up, first + up])


def _shown(zenith: float) -> float:
    """Show how much of unit leaf area faces a beam: the mean over the compass, by midpoints."""
    turn = 2 * np.pi * (np.arange(100_000) + 0.5) / 100_000
    t = np.radians(zenith)
    slopes = np.radians([slope for slope, _, _ in LEAVES])
    return float(np.mean([
        np.abs(np.cos(t) * np.cos(a) + np.sin(t) * np.sin(a) * np.cos(turn)).mean() for a in slopes
    ]))  # fmt: skip


def _scene(how: str) -> Data:
    """Give the bay, its leaves taken as a slab or as crowns."""
    data = bay_with_mesh(BLACK, [f"{z} m" for z in CUTS], unit="m", daylight=beams(**BEAMS))
    return dict(data) | {"canopy": data["canopy"] | {"as_volume": how}}


FILES = {"leaves.obj": obj_of(np.array([_corners(*leaf) for leaf in LEAVES]))}


def _slab() -> Case:
    figures: dict[str, Reading] = {}
    for name in BEAMS:
        figures |= {f"layers, {name}": Layers(name), f"floor, {name}": Share("floor", name)}

    def exact() -> Exact:
        lai = len(LEAVES) * AREA_EACH / GROUND * -np.diff(CUTS[::-1]) / (HIGH - LOW)
        found: dict[str, Any] = {}
        for name, (zenith, _) in BEAMS.items():
            k = _shown(zenith) / np.cos(np.radians(zenith))
            found[f"layers, {name}"], found[f"floor, {name}"] = beam_through(k, lai)
        return found

    return Case(
        name="drawn leaves taken as a slab",
        chapter="leaves",
        shows="Four large black leaves that lean, taken as a slab of as much leaf area, inclined "
        "as they are, under three beams.",
        source="Beer's law with the mean over the compass of what leaves of two inclinations show.",
        fails_if="Leaves were counted twice or not at all, by another height, or kept their places "
        "or the way they lean.",
        scene=_scene("slab"),
        files=FILES,
        figures=figures,
        exact=exact,
        # Inclinations are held in 1024 steps, and those of the middle two lie between the two.
        exact_err=dict.fromkeys(figures, 2e-5),
        packets=1 << 20,
        scale=1.0,
    )


def _crowns(bench: Bench, case: Case) -> list[Outcome]:
    """Compile and ask what the crown is: nothing is traced."""
    from canopysim.matter.turbid.volume import area_below
    from canopysim.world.compile import compile_world

    (crown,) = compile_world(load(case.scene, case.files or {})).volumes

    def facts() -> Iterator[Fact]:
        middle, square = np.zeros(2), np.zeros(2)
        for leaf in LEAVES:
            corners = _corners(*leaf)
            edges = np.array([corners[1] - corners[0], corners[3] - corners[0]])
            own = corners.mean(0)[:2]
            middle += own / len(LEAVES)
            square += (own**2 + (edges[:, :2] ** 2).sum(0) / 12) / len(LEAVES)
        # Evenly many leaves at each height t of -1 to 1: half axes a have the mean square
        # a² (1 - t²) / 4, a sixth of a² in the mean over t.
        half = np.sqrt(6 * (square - middle**2))
        yield "middle", [*middle, (LOW + HIGH) / 2], crown.centre, 1e-6
        yield "half axes", [*half, (HIGH - LOW) / 2], crown.half, 1e-6
        whole = len(LEAVES) * AREA_EACH
        yield "leaf area", whole, crown.leaf_area, 1e-6
        at = np.linspace(LOW, HIGH, 5)
        yield "leaf area below", whole * (at - LOW) / (HIGH - LOW), area_below(crown, at), 1e-3
        cosine = np.cos(np.radians([58.0, 75.0]))
        n = len(crown.angles) - 1
        yield "cosines of inclination", cosine, crown.angles[[n // 4, 3 * n // 4]], 1e-6

    return [outcome for fact in facts() for outcome in told(*fact)]


CASES = (
    _slab(),
    Case(
        name="drawn leaves taken as a crown",
        chapter="leaves",
        shows="The ellipsoid that four large leaves of a plant are taken as: where it is, how wide "
        "and how high, how much leaf area it holds up to each height, and inclined how.",
        source="Mean place and mean square of rectangles; those of an ellipsoid's level sections.",
        fails_if="An axis, a height or an area were another, or leaves counted by number.",
        scene=_scene("crowns"),
        files=FILES,
        measure=_crowns,
        packets=1,
    ),
)
