"""Leaves: fields of small drawn leaves, which tend to a filled volume."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.book.case import Case, Scene
from canopysim.book.cases.drawn import BEAMS, beams
from canopysim.book.cases.slabs import BLACK, sides_of
from canopysim.book.exact.leaves import DENSITY
from canopysim.book.exact.ordinates import converged, sky
from canopysim.book.exact.tiles import squares_anyhow, with_copies
from canopysim.book.outcome import Outcome
from canopysim.book.readings import Share
from canopysim.book.scenes import ONE_BAND, Data, box, scene

if TYPE_CHECKING:
    from canopysim.book.bench import Bench

BAY, LOW, HIGH, LAI = (1.0, 0.8), 0.2, 0.7, 0.9
SKY = {"group": "sky", "ppfd": "100 umol/m2/s", "spectrum": ONE_BAND}
BACK = "escaped through the ceiling"


def _bay(leaf: Data, daylight: list[Data]) -> Scene:
    """Give a bay without end over black ground; the plant stands in for the mesh that is put in."""
    stand_in = {"leaf": "leaf", "stem": "black", "nodes": "1", "internode": "1 cm",
                "petiole_length": "1 cm", "petiole_angle": "60 deg", "blade_length": "3 cm",
                "blade_width": "2 cm"}  # fmt: skip
    room = box(f"{BAY[0]} m", f"{BAY[1]} m", "1 m", ceiling="open")
    return scene(
        "Small leaves",
        enclosure=room | {"repeat": ["width", "depth"]},
        leaves={"leaf": leaf},
        plants={"any": stand_in},
        canopy={"layers": [f"{LOW} m", f"{HIGH} m"],
                "plantings": [{"plant": "any", "columns": "1", "rows": "1"}]},
        fixtures={}, lights=[], daylight=daylight,
    )  # fmt: skip


def _meshes(bench: Bench) -> int:
    """Say how many meshes an edition has; they take longer than their light."""
    return 16 if bench.share == 1.0 else 6


def _fields(
    bench: Bench, case: Case, side: float, n_mesh: int, packets: int, read: dict[str, Share],
) -> NDArray[np.float64]:  # fmt: skip
    """Trace fields of square leaves anywhere and inclined anyhow: (n_mesh, len(read))."""
    from canopysim.matter.parts import Part

    found = []
    for _ in range(n_mesh):
        n = round(LAI * BAY[0] * BAY[1] / side**2)
        reach = side / 2**0.5
        corners = squares_anyhow(BAY, LOW + reach, HIGH - reach, side, n, bench.next_seed())
        corners = with_copies(corners, BAY)
        first = 4 * np.arange(len(corners))[:, None]
        faces = np.concatenate([first + np.array(c) for c in ((0, 1, 2), (0, 2, 3))])
        part = Part("leaves", "leaf", corners.reshape(-1, 3), faces.astype(np.int32), "leaf", False)
        result = bench.trace(case.scene, packets, options={"plants": [part]})
        found.append([float(share.read(result).value) for share in read.values()])
    return np.array(found)


def _black() -> Case:
    side = 0.012
    read = {f"floor, {name}": Share("floor", name) for name in BEAMS}

    def measure(bench: Bench, case: Case) -> list[Outcome]:
        n_mesh = _meshes(bench)
        found = _fields(bench, case, side, n_mesh, case.packets // n_mesh, read)
        n = round(LAI * BAY[0] * BAY[1] / side**2)
        outcomes = []
        for name, zenith, values in zip(read, (z for z, _ in BEAMS.values()), found.T, strict=True):
            mu = np.cos(np.radians(zenith))
            # Each leaf stands anywhere, by itself, and shows half of its area on the average.
            left = float((1 - side**2 / (2 * mu * BAY[0] * BAY[1])) ** n)
            error = float(values.std(ddof=1)) / n_mesh**0.5
            outcomes.append(Outcome(name, left, float(values.mean()), error, n_mesh, scale=1.0))
        return outcomes

    return Case(
        name="small drawn leaves against a filled volume",
        chapter="leaves",
        shows="Leaves drawn one by one, small and inclined anyhow, let as much through as a volume "
        "that they fill.",
        source="Beer's law with G = 1/2, of so many leaves as there are: the n-th power of what "
        "one lets through, for the mean over meshes, whose leaves stand anywhere.",
        fails_if="Small leaves, or such as light meets edge on, were missed or met beside them.",
        scene=_bay(BLACK, beams(**BEAMS)),
        packets=1 << 20,
        quick=1 / 4,
        precision=2e-3,
        why_rough="Sixteen meshes: the places of their leaves are most of the error.",
        measure=measure,
    )


# A field of leaves with a size differs from a volume by the first power of it: light that a leaf
# gives back finds the way clear by which it came. Two sizes take that out. The second power stays:
# 8e-5 at most because n leaves let through (1 - p)^n and not the exponential, and as much again.
SIDES_M, OFF = (0.03, 0.015), 2e-4
UPPER, LOWER = (0.15, 0.45), (0.40, 0.25)


def _pale() -> Case:
    slant = 20.0
    ends = {"leaves": "leaves", "floor": "floor", "back": BACK}
    read = {f"{name}, {light}": Share(end, light)
            for light in ("sky", "steep") for name, end in ends.items()}  # fmt: skip

    def measure(bench: Bench, case: Case) -> list[Outcome]:
        exact = []
        for light in (sky(), [(float(np.cos(np.radians(slant))), 1.0)]):
            of, off = converged(DENSITY["spherical"], [LAI], UPPER, LOWER, 0.0, light)
            assert off < 1e-6
            exact += [float(of.sides.sum()), float(of.down[-1]), float(of.up[0])]
        n_mesh = _meshes(bench)
        packets = case.packets // (2 * n_mesh)
        large, small = (_fields(bench, case, side, n_mesh, packets, read) for side in SIDES_M)
        value = 2 * small.mean(0) - large.mean(0)
        error = np.sqrt((4 * small.var(0, ddof=1) + large.var(0, ddof=1)) / n_mesh)
        return [
            Outcome(name, exact[k], float(value[k]), float(error[k]), n_mesh, OFF, 1.0)
            for k, name in enumerate(read)
        ]

    return Case(
        name="small drawn leaves that scatter against a filled volume",
        chapter="leaves",
        shows="Leaves of unlike sides drawn one by one, inclined anyhow, keep, let through and "
        "give back as much as a volume that they fill, as they become small.",
        source="Discrete ordinates; the mean over meshes of two sizes of leaves, extrapolated to "
        "none.",
        fails_if="What a drawn leaf scatters followed another law than that of a leaf met in a "
        "volume, or its sides were exchanged.",
        scene=_bay(sides_of(UPPER, LOWER), [SKY, *beams(steep=(slant, 35.0))]),
        packets=1 << 22,
        quick=1 / 8,
        precision=5e-3,
        why_rough="The places of leaves are most of the error, and the extrapolation doubles it.",
        measure=measure,
    )


CASES = (_black(), _pale())
