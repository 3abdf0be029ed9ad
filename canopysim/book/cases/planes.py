"""Meters: counting planes in a room, both ways, and what they must share with the books."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from canopysim.book.case import Case, Exact
from canopysim.book.cases.panels import LENGTH, WIDTH, D, W, X, Y, Z
from canopysim.book.dark_rooms import FLUX, SIZE, hung, lit, metres, room
from canopysim.book.exact.factors import level_rectangle, parallel, polygon
from canopysim.book.exact.frames import cells, rectangle
from canopysim.book.outcome import Outcome
from canopysim.book.readings import PlaneCells, PlaneMean, Share
from canopysim.book.scenes import panel, percent, scene

if TYPE_CHECKING:
    from canopysim.book.bench import Bench

PANEL = (X - LENGTH / 2, X + LENGTH / 2, Y - WIDTH / 2, Y + WIDTH / 2)
LOW, HIGH, LEVEL, SHAPE = (0.2, 0.1), (0.92, 0.58), 0.31, (3, 2)
RHO = 0.7


def _part() -> Exact:
    """Down from the panel straight; up from the floor, whose every point the panel lights."""
    points, weights = rectangle((0, 0, 0), (W, 0, 0), (0, D, 0), 8, 3)
    lamp = level_rectangle(PANEL, Z)
    area = LENGTH * WIDTH
    lit_floor = weights / area * [polygon(p, (0, 0, 1), lamp) for p in points]
    down, up = np.zeros(SHAPE[::-1]), np.zeros(SHAPE[::-1])
    for j, row in enumerate(cells(LOW, HIGH, SHAPE)):
        for i, cell in enumerate(row):
            size = (cell[1] - cell[0]) * (cell[3] - cell[2])
            over = level_rectangle(cell, LEVEL)
            down[j, i] = parallel(PANEL, cell, Z - LEVEL) / size
            seen = np.array([polygon(p, (0, 0, 1), over) for p in points])
            up[j, i] = RHO * float(lit_floor @ seen) / size
    return {
        "down": FLUX * down,
        "up": FLUX * up,
        "mean up": FLUX * float(up.mean()),
        "floor keeps": (1 - RHO) * parallel(PANEL, (0, W, 0, D), Z),
    }


def _identities(bench: Bench, case: Case) -> Sequence[Outcome]:
    """Planes on floor and ceiling hold, batch by batch, the very quanta that these take."""
    from canopysim.analysis.books import crossed_per_batch

    result = bench.trace(case.scene, case.packets)
    rows = result.rows
    found = []
    for plane, direction, face in (("ground", 0, "floor"), ("roof", 1, "ceiling")):
        crossed = rows["crossed_sum"].sel(plane=plane).isel(direction=direction)
        counted = crossed.sum(["channel", "traced_band"]).values
        mine = (rows["sink_end"] == face).values
        kept = rows["absorbed"].isel(sink=mine).sum(["channel", "sink", "traced_band"]).values
        assert kept.min() > 0
        # All lights of the scene are alike, and so are their quanta.
        each = np.unique(rows["channel_umol_s_per_quantum"].values)
        assert len(each) == 1
        told = crossed_per_batch(result, plane, direction=("down", "up")[direction])
        off = float(np.abs(told - counted * each[0]).max())
        found.append(Outcome(f"flux through the plane at the {face}, batch by batch", 0.0, off, 0.0,
                             exact_err=1e-9))  # fmt: skip
        found.append(
            Outcome(f"quanta through the plane at the {face}, less those that it takes, largest",
                    0.0, float(np.abs(counted - kept).max()), 0.0, identity=True)
        )  # fmt: skip
        turned = rows["crossed_sum"].sel(plane=plane).isel(direction=1 - direction)
        found.append(
            Outcome(f"quanta through that plane the other way ({face})", 0.0,
                    float(turned.sum()), 0.0, identity=True)
        )  # fmt: skip
    # In a black room a packet meets one wall, at its first event, and none is lost.
    packets, meetings, untraced, deepest = (float(k) for k in rows["counters"].values)
    for name, wanted, value in (("meetings", packets, meetings), ("lost packets", 0.0, untraced),
                                ("names of these", 0.0, float(len(rows["lost"]))),
                                ("events of a packet", 1.0, deepest)):  # fmt: skip
        found.append(Outcome(name, wanted, value, 0.0, identity=True))
    cell_sum = int(rows["crossed"].sum())
    found.append(
        Outcome("quanta of all cells, less those of their planes", 0.0,
                float(cell_sum - int(rows["crossed_sum"].sum())), 0.0, identity=True)
    )  # fmt: skip
    for axis, extent, n in (("x", SIZE[0], 11), ("y", SIZE[1], 7)):
        middles = extent * (np.arange(n) + 0.5) / n
        off = float(np.abs(result.planes["ground"][axis].values - middles).max())
        found.append(Outcome(f"middles of cells along {axis}, m", 0.0, off, 0.0, exact_err=1e-9))
    return found


CASES = (
    Case(
        name="part of a plane above a matt floor, both ways",
        chapter="meters",
        shows="Light down and light up through the cells of a part plane.",
        source="Howell's C-13 for the panel's light; for the floor's, quadrature over the floor of "
        "the panel's light on it times Lambert's polygon of each cell.",
        fails_if="directions were exchanged, a part plane's cells were misplaced, or crossings "
        "were weighed by the cosine once more.",
        scene=lit(
            "A plane over a matt floor", panel(metres(LENGTH), metres(WIDTH)), (X, Y, Z),
            enclosure=room(floor="board"), surfaces={"board": {"diffuse": percent(RHO)}},
            planes=[{"name": "part", "height": metres(LEVEL), "cell": "24 cm",
                     "corner": [metres(v) for v in LOW], "opposite": [metres(v) for v in HIGH]}],
        ),
        figures={"down": PlaneCells("part"), "up": PlaneCells("part", "up"),
                 "mean up": PlaneMean("part", "up"), "floor keeps": Share("floor")},
        exact=_part,
        packets=1 << 22,
        quick=1 / 8,
        scale={"down": FLUX / (W * D), "up": FLUX / (W * D), "mean up": FLUX / (W * D),
               "floor keeps": 1.0},
    ),
    Case(
        name="planes on floor and ceiling hold what these take",
        chapter="meters",
        shows="A plane that lies on a surface reads what falls on it, and nothing else.",
        source="Identity: in a black room each quantum on the floor crossed its plane once.",
        fails_if="planes on a face lost crossings at its rims, or counted some twice, or cells "
        "were said to lie elsewhere.",
        scene=scene(
            "Planes on faces", enclosure=room(),
            fixtures={"panel": panel("40 cm", "10 cm")},
            lights=[hung("panel", (0.5, 0.3, 0.6), (15, 10, 30)),
                    hung("panel", (0.6, 0.4, 0.5), (-30, 20, 170))],
            planes=[{"name": "ground", "height": "0 m", "cell": "10 cm"},
                    {"name": "roof", "height": metres(SIZE[2]), "cell": "7 cm"}],
        ),
        measure=_identities,
        packets=1 << 19,
    ),
)  # fmt: skip
