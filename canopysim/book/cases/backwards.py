"""Two ways: light followed forwards by the program and backwards by plain sums."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from canopysim.book.case import Case, Scene
from canopysim.book.cases.slabs import sides_of
from canopysim.book.exact.backward import Room, Sheet, flux_density, sheet
from canopysim.book.exact.tiles import obj_of
from canopysim.book.outcome import Outcome
from canopysim.book.readings import LayerSides, PlaneCells
from canopysim.book.scenes import box, panel, percent, scene

if TYPE_CHECKING:
    from canopysim.book.bench import Bench

SIZE = (1.2, 0.8, 0.9)
FACES = {"left": 0.6, "right": 0.2, "front": 0.5, "back": 0.75, "floor": 0.3, "ceiling": 0.7}
FLUX = 100.0
PANEL_AT, PANEL_TURNS = (0.45, 0.42, 0.78), (25.0, -8.0, 9.0)
UPPER, LOWER = (0.15, 0.40), (0.45, 0.20)
MATTER = {"reflect": (UPPER[0], LOWER[0]), "transmit": (UPPER[1], LOWER[1])}
# Each lies between two cuts of its own.
CUTS_CM = (8, 25, 43, 68)
LEAVES = (
    sheet((0.52, 0.45, 0.56), 0.50, 0.30, 40.0, 12.0, 20.0, **MATTER),
    sheet((0.30, 0.30, 0.34), 0.40, 0.34, -15.0, -14.0, 8.0, **MATTER),
    sheet((0.66, 0.52, 0.165), 0.44, 0.36, 70.0, 10.0, -9.0, **MATTER),
)
CELLS = {"front left": (0, 0), "back middle": (1, 1)}
# Paths for each figure in the full edition.
N_PATH = 700_000


def _room() -> Room:
    faces = np.array([[FACES["left"], FACES["right"]], [FACES["front"], FACES["back"]],
                      [FACES["floor"], FACES["ceiling"]]])  # fmt: skip
    return Room(SIZE, faces, LEAVES, sheet(PANEL_AT, 0.62, 0.48, *PANEL_TURNS), FLUX)


def _scene() -> Scene:
    turn, pitch, tilt = (f"{a} deg" for a in PANEL_TURNS)
    return scene(
        "Leaves between unlike walls",
        enclosure=box(*(f"{s} m" for s in SIZE), **{name: name for name in FACES}),
        surfaces={name: {"diffuse": percent(rho)} for name, rho in FACES.items()},
        leaves={"leaf": sides_of(UPPER, LOWER)},
        canopy={"layers": [f"{z} cm" for z in CUTS_CM], "meshes": [
            {"file": "leaves.obj", "unit": "m", "parts": {"*": {"leaf": "leaf"}},
             "positions": [["0 cm", "0 cm"]], "base": "0 cm"}]},
        fixtures={"panel": panel("62 cm", "48 cm")},
        lights=[{"fixture": "panel", "at": [f"{PANEL_AT[0]} m", f"{PANEL_AT[1]} m"],
                 "height": f"{PANEL_AT[2]} m", "turn": turn, "pitch": pitch, "tilt": tilt}],
        planes=[{"name": "floor", "height": "0 cm", "cell": "40 cm"}],
    )  # fmt: skip


def _measure(bench: Bench, case: Case) -> list[Outcome]:
    result = bench.trace(case.scene, case.packets, files=case.files)
    room, n = _room(), max(int(N_PATH * bench.share), 20_000)
    rng = np.random.default_rng(bench.next_seed())
    outcomes = []

    def both(name: str, target: Sheet, side: int, factor: float, value: float, err: float) -> None:
        back, back_err = flux_density(room, target, side, n, rng)
        error = float(np.hypot(err, back_err * factor))
        outcomes.append(Outcome(name, back * factor, value, error, result.n_batch))

    cells = PlaneCells("floor").read(result)
    for name, (iy, ix) in CELLS.items():
        cell = sheet((0.2 + 0.4 * ix, 0.2 + 0.4 * iy, 0.0), 0.4, 0.4, 0.0, 0.0, 0.0)
        both(f"PFD on the floor, {name}", cell, 0, 1.0,
             float(cells.value[iy, ix]), float(cells.std_err[iy, ix]))  # fmt: skip
    sides = LayerSides().read(result)
    for layer, leaf in enumerate(LEAVES):
        for side, name in enumerate(("upper", "lower")):
            kept = 1 - leaf.reflect[side] - leaf.transmit[side]
            both(f"leaf {layer + 1}, {name} side", leaf, side,
                 kept * leaf.length * leaf.width / FLUX,
                 float(sides.value[layer, side]), float(sides.std_err[layer, side]))  # fmt: skip
    return outcomes


CASES = (
    Case(
        name="forwards and backwards",
        chapter="two ways",
        shows="Flux density on two cells of the floor and what both sides of three leaves absorb, "
        "followed backwards from there to the panel.",
        source="Reciprocity: the light that falls on a spot is pi times the mean radiance over "
        "directions by Lambert's law; paths against the light in plain numpy, each with its error.",
        fails_if="Anything at all broke reciprocity: a leaf's ways or sides, a panel's turn, the "
        "choice of ways, roulette, a shadow, a face's reflectance on another face.",
        scene=_scene(),
        files={"leaves.obj": obj_of(np.array([leaf.corners for leaf in LEAVES]))},
        packets=1 << 20,
        quick=1 / 8,
        precision=6e-3,
        why_rough="Both ways are random, and each figure has its own backward paths.",
        measure=_measure,
    ),
)
