"""Leaves: a film that mirrors grazing light over a leaf that scatters."""

from __future__ import annotations

from typing import Any

import numpy as np

from canopysim.book.case import Case, Exact
from canopysim.book.cases.drawn import BAY, MARGIN, bay_with_mesh, beams
from canopysim.book.exact.films import one_meeting
from canopysim.book.exact.leaves import Side
from canopysim.book.exact.tiles import level_leaf, obj_of
from canopysim.book.readings import AtLevels, LayerSides, PlaneMean, Reading, Share
from canopysim.book.scenes import ONE_BAND, box, panel, percent, scene

INDEX = 1.45
COVER = (BAY[0] - 2 * MARGIN) * (BAY[1] - 2 * MARGIN) / (BAY[0] * BAY[1])
LEAF = obj_of(level_leaf(MARGIN, BAY[0] - MARGIN, MARGIN, BAY[1] - MARGIN, 450)[None])
ESCAPED = "escaped through the ceiling"
SLANTS = {"steep": 12.0, "mid": 48.0, "low": 70.0, "grazing": 83.0}
# The program's own mean of Fresnel's law, by 2^18 directions, is that near to the integral.
MEAN_OFF = 2e-5


def _film(upper: Side, lower: Side, spread: str) -> dict[str, Any]:
    return {
        "reflectance": percent(upper[0]), "transmittance": percent(upper[1]),
        "lower": {"reflectance": percent(lower[0]), "transmittance": percent(lower[1])},
        "cuticle": {"index": str(INDEX), "spread": spread},
    }  # fmt: skip


def _beams(upper: Side, lower: Side, name: str) -> Case:
    """Parallel light on one level leaf: from above at four slants, from below at one."""

    def exact() -> Exact:
        found: dict[str, Any] = {}
        for light, slant in SLANTS.items():
            of = one_meeting(slant, *upper, INDEX)
            found[f"sides, {light}"] = np.array([[COVER * of.kept, 0.0]])
            found[f"floor, {light}"] = 1 - COVER + COVER * of.through
            found[f"back, {light}"] = COVER * of.back
        of = one_meeting(60.0, *lower, INDEX)
        # The pencil from below stays off the slits.
        found |= {"sides, below": np.array([[0.0, of.kept]]), "floor, below": of.back,
                  "back, below": of.through}  # fmt: skip
        return found

    figures: dict[str, Reading] = {}
    for light in (*SLANTS, "below"):
        figures[f"sides, {light}"] = LayerSides(light)
        figures[f"floor, {light}"] = Share("floor", light)
        figures[f"back, {light}"] = Share(ESCAPED, light)
    return Case(
        name=f"a film under beams, {name}",
        chapter="leaves",
        shows="A film mirrors as Fresnel's equations say, the more the lower the light; the leaf "
        "below it scatters the rest so that the totals under even light are those stated.",
        source="Fresnel's sine and tangent laws; their mean by Lambert's law by midpoints.",
        fails_if="One polarisation were left out, the angle were taken to the leaf's plane, the "
        "mirrored share did not go off the rest, or the sides shared one film's share.",
        scene=bay_with_mesh(
            _film(upper, lower, "0 deg"), ["40 cm", "50 cm"],
            daylight=beams(**{n: (s, 35.0) for n, s in SLANTS.items()}),
            fixtures={"pencil": panel("10 cm", "4 cm", "parallel")},
            lights=[{"fixture": "pencil", "group": "below", "at": ["50 cm", "40 cm"],
                     "height": "35 cm", "pitch": "180 deg", "tilt": "60 deg"}],
        ),
        files={"leaves.obj": LEAF},
        figures=figures,
        exact=exact,
        exact_err=dict.fromkeys(figures, MEAN_OFF),
        packets=3 << 19,
        scale=1.0,
    )  # fmt: skip


def _even(spread: str, upper: Side) -> Case:
    """Put one level leaf under a sky."""
    rho, tau = upper
    return Case(
        name=f"a film under a sky, spread {spread}, {percent(rho)} and {percent(tau)}",
        chapter="leaves",
        shows="Whatever the film, the leaf's totals under even light are those stated.",
        source="By definition; the leaf stops short of the bay's sides by 2 mm.",
        fails_if="The split between film and leaf were wrong, light from inside were weighed by "
        "the film without its mean, or facets sent light through the leaf.",
        scene=bay_with_mesh(
            _film(upper, (0.5, 0.1), spread), ["40 cm", "50 cm"],
            daylight=[{"group": "sky", "ppfd": "100 umol/m2/s", "spectrum": ONE_BAND}],
        ),
        files={"leaves.obj": LEAF},
        figures={"sides": LayerSides(), "floor": Share("floor"), "back": Share(ESCAPED)},
        exact=lambda: {
            "sides": np.array([[COVER * (1 - rho - tau), 0.0]]),
            "floor": 1 - COVER + COVER * tau,
            "back": COVER * rho,
        },
        # Stepping through 2^18 facets and directions in the program, not all of them.
        exact_err=dict.fromkeys(("sides", "floor", "back"), 5e-5),
        packets=1 << 19,
        scale=1.0,
    )  # fmt: skip


def _furnace(spread: str) -> Case:
    """All faces emit as much from every spot; leaves lose nothing and have films."""
    width, depth, height, exitance = 1.1, 0.7, 0.9, 100.0
    faces: dict[str, tuple[float, float, dict[str, Any]]] = {
        "floor": (width, depth, {"at": (0.5, 0.5), "height": 0.0, "pitch": "180 deg"}),
        "ceiling": (width, depth, {"at": (0.5, 0.5), "height": 1.0}),
        "left": (height, depth, {"at": (0.0, 0.5), "height": 0.5, "pitch": "-90 deg"}),
        "right": (height, depth, {"at": (1.0, 0.5), "height": 0.5, "pitch": "90 deg"}),
        "front": (width, height, {"at": (0.5, 0.0), "height": 0.5, "tilt": "90 deg"}),
        "back": (width, height, {"at": (0.5, 1.0), "height": 0.5, "tilt": "-90 deg"}),
    }  # fmt: skip
    fixtures, lights = {}, []
    for name, (length, across, hung) in faces.items():
        area = length * across
        fixtures[name] = panel(f"{length} m", f"{across} m", flux=f"{exitance * area:.9g} umol/s")
        x, y = hung["at"]
        lights.append({"fixture": name, **hung, "at": [f"{x * width:.9g} m", f"{y * depth:.9g} m"],
                       "height": f"{hung['height'] * height:.9g} m"})  # fmt: skip
    whole = sum(a * b for a, b, _ in faces.values())
    wanted: Exact = {name: a * b / whole for name, (a, b, _) in faces.items()}
    figures: dict[str, Reading] = {name: Share(name) for name in faces}
    figures |= {"down": AtLevels("down"), "up": AtLevels("up")}
    figures |= {"low, down": PlaneMean("low"), "low, up": PlaneMean("low", "up")}
    levels = np.full(4, exitance)
    wanted = dict(wanted) | {"down": levels, "up": levels, "low, down": exitance,
                             "low, up": exitance}  # fmt: skip
    return Case(
        name=f"films in a furnace, spread {spread}",
        chapter="leaves",
        shows="Leaves that lose nothing, with films, do not disturb a room whose walls all shine "
        "alike: every plane and face gets what a spot sends out.",
        source="Light in equilibrium is the same in all directions (Kirchhoff); it asks of a leaf "
        "that it is reciprocal.",
        fails_if="Light left the leaf by Lambert's law alone, by the film's share of the way in, "
        "or facets were drawn that the light does not see.",
        scene=scene(
            "A furnace with films",
            enclosure=box(f"{width} m", f"{depth} m", f"{height} m"),
            leaves={"white": {"reflectance": "55 %", "transmittance": "45 %",
                              "cuticle": {"index": str(INDEX), "spread": spread}}},
            canopy={"layers": "3", "profile": "true", "volumes": [
                {"shape": "box", "leaf": "white", "bottom": "20 cm", "top": "80 cm",
                 "width": "70 cm", "depth": "60 cm", "positions": [["50 cm", "35 cm"]],
                 "angles": "planophile", "leaf_area_index": "1.1"}]},
            fixtures=fixtures, lights=lights,
            planes=[{"name": "low", "height": "9 cm", "cell": "1 m"}],
        ),
        figures=figures,
        exact=lambda: wanted,
        packets=1 << 22,
        precision=1.3e-3,
        why_rough="Every packet crosses levels to and fro, and films weigh it anew each time.",
        scale=dict.fromkeys(figures, exitance) | dict.fromkeys(faces, 1.0),
    )  # fmt: skip


CASES = (
    _beams((0.30, 0.20), (0.12, 0.35), "strong leaf"),
    _beams((0.03, 0.10), (0.60, 0.05), "a leaf that reflects less than its film"),
    _even("0 deg", (0.30, 0.40)),
    _even("20 deg", (0.12, 0.25)),
    _furnace("0 deg"),
    _furnace("20 deg"),
)
