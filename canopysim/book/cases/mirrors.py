"""Rooms: mirrors and endless bays, beside the images of what hangs in them."""

from __future__ import annotations

import numpy as np

from canopysim.book.case import Case, Exact
from canopysim.book.exact import mirror_walls
from canopysim.book.exact.frames import rotation
from canopysim.book.exact.images import Strip, endless, mirrored
from canopysim.book.readings import PlaneCells, Share
from canopysim.book.scenes import WALLS, Data, box, panel, percent, scene

FLUX = 100.0
SIZE, CELLS = (0.6, 0.4), (3, 2)
CELL = SIZE[0] * SIZE[1] / CELLS[0] / CELLS[1]
CENTRE, TURN, PITCH = (0.25, 0.18, 0.7), 25.0, 10.0


def _strip(along: float, across: float, tilt: float) -> tuple[Strip, Data]:
    """Give a strip that hangs askew, for the reference and for the scene."""
    strip = Strip(np.array(CENTRE), rotation(TURN, PITCH, tilt), 0.3, 0.02, along, across)
    lens = {"beam": {"along": f"{along} deg", "across": f"{across} deg"}}
    return strip, {
        "fixtures": {"strip": panel("30 cm", "2 cm", lens)},
        "lights": [{"fixture": "strip", "at": [f"{CENTRE[0]} m", f"{CENTRE[1]} m"],
                    "height": f"{CENTRE[2]} m", "turn": f"{TURN} deg", "pitch": f"{PITCH} deg",
                    "tilt": f"{tilt} deg"}],
        "planes": [{"name": "floor", "height": "0 cm", "cell": "20 cm"}],
    }  # fmt: skip


def _mirrors(name: str, rho: dict[str, float]) -> Case:
    strip, hung = _strip(110.0, 40.0, 50.0)

    perfect = min(rho.values()) == 1.0

    def exact() -> Exact:
        floor = mirrored(strip, SIZE, CELLS, rho, 30)
        rest = {"ceiling": 1.0 - strip.downwards()} if perfect else {}
        return rest | {"floor": float(floor.sum()), "PFD on the floor": floor * FLUX / CELL}

    return Case(
        name=name, chapter="rooms",
        shows="What mirrors show: images of an oblique strip, each turned round its own way.",
        source="Sum over the images of a strip with the beam cos^m, in Gauss points of strip and "
        "cells; perfect mirrors even out what flies far.",
        fails_if="A mirror turned the wrong component, took its share twice or never, or a turn, "
        "pitch or tilt of the strip had the wrong sign.",
        scene=scene(
            "A black floor between mirrors",
            enclosure=box("60 cm", "40 cm", "1 m", **{w: w for w in WALLS}),
            surfaces={w: {"specular": percent(rho[w])} for w in WALLS},
            **hung,
        ),
        figures=({"ceiling": Share("ceiling")} if perfect else {})
        | {"floor": Share("floor"), "PFD on the floor": PlaneCells("floor")},
        exact=exact,
        packets=1 << (22 if perfect else 21),
        precision=5e-4,
        scale={"ceiling": 1.0, "floor": 1.0, "PFD on the floor": FLUX / CELL},
        exact_err={"PFD on the floor": np.float64(1e-6 * FLUX / CELL),
                   "floor": np.float64(1e-6)},
    )  # fmt: skip


def _bays() -> Case:
    strip, hung = _strip(70.0, 30.0, 20.0)
    return Case(
        name="an endless array of oblique strips", chapter="rooms",
        shows="Sides that repeat: strips of all bays, moved and not turned round.",
        source="Sum over the bays of a strip with the beam cos^m, in Gauss points of strip and "
        "cells; the little that flies beyond falls evenly.",
        fails_if="A side let light in at another place than opposite, turned it round, or bays "
        "were skipped.",
        scene=scene(
            "Endless bays",
            enclosure=box("60 cm", "40 cm", "1 m") | {"repeat": ["width", "depth"]},
            **hung,
        ),
        figures={"PFD on the floor": PlaneCells("floor")},
        exact=lambda: {"PFD on the floor": endless(strip, SIZE, CELLS, 24) * FLUX / CELL},
        packets=1 << 23,
        precision=5e-4,
        scale=FLUX / CELL,
        exact_err={"PFD on the floor": np.float64(1e-6 * FLUX / CELL)},
    )  # fmt: skip


MIXED = (
    mirror_walls.Between((0.6, 0.4, 0.5), (0.1, 0.25), (0.22, 0.34), 0.4,
                         {"left": 0.95, "right": 0.7, "front": 0.85, "back": 0.9, "floor": 0.4,
                          "ceiling": 0.8}),
    mirror_walls.Between((0.6, 0.4, 0.3), (0.4, 0.55), (0.05, 0.15), 0.3,
                         {"left": 0.6, "right": 0.97, "front": 0.92, "back": 0.75, "floor": 0.85,
                          "ceiling": 0.95}),
)  # fmt: skip
# What `mirror_walls.converged` says of itself, as a share of all light; held by a test.
OFF = 2e-5


def _mixed(name: str, room: mirror_walls.Between) -> Case:
    x, y = room.lamp_x, room.lamp_y

    def exact() -> Exact:
        floor, ceiling, _ = mirror_walls.converged(room, CELLS)
        return {
            "floor": float(floor.sum()) * (1.0 - room.rho["floor"]),
            "ceiling": float(ceiling.sum()) * (1.0 - room.rho["ceiling"]),
            "PFD on the floor": floor * FLUX / CELL, "PFD on the ceiling": ceiling * FLUX / CELL,
        }  # fmt: skip

    return Case(
        name=name, chapter="rooms",
        shows="Diffuse reflection below and above, four unlike mirrors at the sides, together.",
        source="Radiosity of floor and ceiling in which every patch also sees the images of every "
        "other, less what the mirrors between take; extrapolated in the size of patches.",
        fails_if="A surface answered with the other kind of reflection, two walls were taken for "
        "each other, or mirrored light came back to a plane's wrong side.",
        scene=scene(
            "Diffuse floor and ceiling between mirrors",
            enclosure=box(*(f"{v} m" for v in room.size), **{f: f for f in room.rho}),
            surfaces={f: {"diffuse" if f in ("floor", "ceiling") else "specular": percent(r)}
                      for f, r in room.rho.items()},
            fixtures={"lamp": panel(f"{x[1] - x[0]:.6g} m", f"{y[1] - y[0]:.6g} m")},
            lights=[{"fixture": "lamp", "at": [f"{sum(x) / 2:.6g} m", f"{sum(y) / 2:.6g} m"],
                     "height": f"{room.lamp_height} m"}],
            planes=[{"name": "floor", "height": "0 cm", "cell": "20 cm"},
                    {"name": "ceiling", "height": f"{room.size[2]} m", "cell": "20 cm"}],
        ),
        figures={"floor": Share("floor"), "ceiling": Share("ceiling"),
                 "PFD on the floor": PlaneCells("floor"),
                 "PFD on the ceiling": PlaneCells("ceiling", "up")},
        exact=exact,
        packets=1 << 21,
        precision=5e-4,
        scale={"floor": 1.0, "ceiling": 1.0, "PFD on the floor": FLUX / CELL,
               "PFD on the ceiling": FLUX / CELL},
        exact_err={"floor": np.float64(OFF), "ceiling": np.float64(OFF),
                   "PFD on the floor": np.float64(OFF * FLUX / CELL),
                   "PFD on the ceiling": np.float64(OFF * FLUX / CELL)},
    )  # fmt: skip


CASES = (
    _mirrors("an oblique strip between perfect mirrors", dict.fromkeys(WALLS, 1.0)),
    _mirrors("an oblique strip between mirrors of 85 %", dict.fromkeys(WALLS, 0.85)),
    _mirrors("an oblique strip between four unlike mirrors",
             {"left": 0.95, "right": 0.6, "front": 0.75, "back": 0.9}),
    _bays(),
    _mixed("a diffuse floor and ceiling between unlike mirrors", MIXED[0]),
    _mixed("a low pale room between unlike mirrors", MIXED[1]),
)  # fmt: skip
