"""Rooms: parallel plates, whose light is a geometric series."""

from __future__ import annotations

from canopysim.book.case import Case, Exact, Scene
from canopysim.book.exact.plates import plates
from canopysim.book.readings import PlaneMean, Share
from canopysim.book.scenes import WALLS, box, panel, percent, scene

AREA = 0.8 * 0.5
FLUX = 100.0


def _scene(rho_floor: float, rho_ceiling: float, *, mirrors: bool) -> Scene:
    """Give a bay of 80 x 50 cm under a ceiling that emits, its sides mirrors or repeating."""
    room = box("80 cm", "50 cm", "1 m", floor="floor", ceiling="ceiling")
    if mirrors:
        room["faces"] |= dict.fromkeys(WALLS, "mirror")
    else:
        room["repeat"] = ["width", "depth"]
    return scene(
        "Parallel plates",
        enclosure=room,
        surfaces={"mirror": {"specular": "100 %"}, "floor": {"diffuse": percent(rho_floor)},
                  "ceiling": {"diffuse": percent(rho_ceiling)}},
        fixtures={"ceiling": panel("80 cm", "50 cm")},
        lights=[{"fixture": "ceiling", "at": ["40 cm", "25 cm"], "height": "1 m"}],
        planes=[{"name": "mid", "height": "37 cm", "cell": "1 m"}],
    )  # fmt: skip


def _case(rho_floor: float, rho_ceiling: float, *, mirrors: bool) -> Case:
    def exact() -> Exact:
        found = plates(rho_floor, rho_ceiling)
        return {
            "floor keeps": found["floor"], "ceiling keeps": found["ceiling"],
            "PFD down": found["falls"] * FLUX / AREA, "PFD up": found["rises"] * FLUX / AREA,
        }  # fmt: skip

    sides = "between perfect mirrors" if mirrors else "by repeating sides"
    return Case(
        name=f"plates of {percent(rho_floor)} and {percent(rho_ceiling)}, {sides}",
        chapter="rooms",
        shows="Diffuse reflection to and fro, without end; what a plane between counts each way.",
        source="Geometric series, by hand.",
        fails_if="Reflection kept or lost too much, diffuse light left the surface on its wrong "
        "side, roulette were biased, mirrors or repeating sides lost photons, or planes missed "
        "crossings.",
        scene=_scene(rho_floor, rho_ceiling, mirrors=mirrors),
        figures={"floor keeps": Share("floor"), "ceiling keeps": Share("ceiling"),
                 "PFD down": PlaneMean("mid"), "PFD up": PlaneMean("mid", "up")},
        exact=exact,
        packets=1 << 18,
    )  # fmt: skip


CASES = (
    _case(0.3, 0.8, mirrors=True),
    _case(0.9, 0.95, mirrors=True),
    _case(0.3, 0.8, mirrors=False),
)
