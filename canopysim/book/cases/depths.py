"""Told apart: light at the levels of a canopy, counted there or told by what is below."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from canopysim.book.case import Case
from canopysim.book.cases.slabs import BLACK, BY_HEIGHT, CUTS, pencils, slab_scene
from canopysim.book.exact.leaves import shares_of_area
from canopysim.book.outcome import Outcome
from canopysim.book.scenes import Data, box, panel, scene

if TYPE_CHECKING:
    from canopysim.book.bench import Bench

LAI, TAU, RED, FAR_RED = 2.0, 0.45, 0.6, 0.4
COLOURED = {"600-700": f"{100 * RED:g} %", "700-800": f"{100 * FAR_RED:g} %"}


def _ratios(bench: Bench, case: Case) -> Sequence[Outcome]:
    """Red over far-red at every level; red leaves are black, and far-red only goes on down."""
    from canopysim.analysis.profile import red_to_far_red_by_depth

    result = bench.trace(case.scene, case.packets)
    above = np.insert(np.cumsum(LAI * shares_of_area(BY_HEIGHT, CUTS)), 0, 0.0)
    # What level leaves let through they do not turn: it is as if there were so much less of them.
    exact = RED / FAR_RED * np.exp(-above) / np.exp(-above * (1 - TAU))
    told = red_to_far_red_by_depth(result, group="from-20")
    return [
        Outcome(f"at level {k}", float(one), told[k].value, told[k].std_err, result.n_batch,
                1e-6, float(exact[0]))
        for k, one in enumerate(exact)
    ]  # fmt: skip


def bay(canopy: Data, height: str = "95 cm", **enclosure: Any) -> Data:
    """Give a bay with a canopy and one panel at some height."""
    return scene(
        "A bay",
        enclosure=box("1 m", "80 cm", "1 m") | enclosure,
        leaves={"leaf": BLACK},
        plants={"herb": {"leaf": "leaf", "stem": "black", "nodes": "4", "internode": "7 cm",
                         "petiole_length": "3 cm", "petiole_angle": "60 deg",
                         "blade_length": "11 cm", "blade_width": "6 cm"}},
        canopy=canopy,
        fixtures={"panel": panel("20 cm", "10 cm")},
        lights=[{"fixture": "panel", "at": ["50 cm", "40 cm"], "height": height}],
    )  # fmt: skip


ENDLESS: Data = {"repeat": ["width", "depth"]}
SLAB: Data = {"layers": "2", "volumes": [{"shape": "slab", "leaf": "leaf", "angles": "spherical",
              "bottom": "10 cm", "top": "60 cm", "leaf_area_index": "1"}]}  # fmt: skip
PLANTING: Data = {"plant": "herb", "columns": "2", "rows": "1"}
POT: Data = {"height": "9 cm", "diameter": "10 cm", "surface": "black", "soil": "black"}


def _known(bench: Bench, case: Case) -> Sequence[Outcome]:
    """Ask in which scenes light at levels is known without being counted."""
    from canopysim.analysis.profile import knows_profile, profile

    found = []
    for name, data, known, above in (
        ("an endless slab", bay(SLAB, **ENDLESS), True, True),
        ("walls", bay(SLAB), False, True),
        ("walls, counted", bay(SLAB | {"profile": "true"}), True, True),
        ("a light among leaves", bay(SLAB, "40 cm", **ENDLESS), False, False),
        ("a light among leaves, counted",
         bay(SLAB | {"profile": "true"}, "40 cm", **ENDLESS), True, False),
        ("plants", bay({"layers": "2", "plantings": [PLANTING]}, **ENDLESS), True, True),
        ("plants in pots", bay({"layers": "2", "plantings": [PLANTING | {"pot": POT}]}, **ENDLESS),
         False, True),
    ):  # fmt: skip
        result = bench.trace(data, case.packets // 8, n_batch=8)
        found.append(Outcome(f"{name}: known", float(known), float(knows_profile(result)), 0.0,
                             identity=True))  # fmt: skip
        if known:
            of = profile(result)
            found.append(Outcome(f"{name}: from above", float(above), float(of.from_above), 0.0,
                                 identity=True))  # fmt: skip
            # Under the lowest leaf stems go on, and take light that is booked above.
            lost = float(np.isnan(of.net[:, -1]).all())
            found.append(Outcome(f"{name}: unknown at the lowest level", float(name == "plants"),
                                 lost, 0.0, identity=True))  # fmt: skip
    return found


CASES = (
    Case(
        name="red to far-red by depth among level leaves",
        chapter="told apart",
        shows="The ratio at every level where leaves take all red and let far-red through.",
        source="Beer's law for either: level leaves that only let through do not turn light.",
        fails_if="A level were another, light up were counted, or either range had another edge.",
        scene=dict(slab_scene(
            {"reflectance": "0 %",
             "transmittance": {"400-700": "0 %", "700-800": f"{100 * TAU} %"}},
            {"leaf_area_index": str(LAI), "angles": "level"},
            lights=pencils(20), profile="true",
        ))
        | {"fixtures": {"pencil": panel("10 cm", "1 cm", "parallel", spectrum=COLOURED)}},
        measure=_ratios,
        packets=1 << 20,
        precision=3e-3,
        why_rough="Little red comes to the lowest levels.",
    ),
    Case(
        name="where light at levels is known",
        chapter="told apart",
        shows="Without being counted, light at the levels of a canopy is known where nothing but "
        "leaves and the floor take any below them.",
        source="By definition: walls, pots and lights among leaves are not booked by height.",
        fails_if="A number were told where none is known, or none where one is.",
        scene=bay(SLAB),
        measure=_known,
        packets=1 << 15,
    ),
)  # fmt: skip
