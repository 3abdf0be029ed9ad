"""Rooms: rough mirrors send back what their facets do not hide, and are reciprocal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from canopysim.book.case import Case, Exact
from canopysim.book.exact.facets import on_faces, returned, returned_even, roughness
from canopysim.book.outcome import Outcome
from canopysim.book.readings import PlaneMean, Share
from canopysim.book.scenes import Data, box, panel, percent, scene

if TYPE_CHECKING:
    from canopysim.book.bench import Bench

FLUX = 100.0
SIZE = np.array([0.9, 0.7, 0.6])
LAW = "Facets by the law of Trowbridge and Reitz, masked by Smith's (Walter et al. 2007), "


def _beam(spread: float, zenith: float, height: float) -> Case:
    """Give a thin parallel beam that falls aslant on a rough floor, in a black box."""
    at, turn = (0.35, 0.2), 30.0

    def exact() -> Exact:
        a, t, c = roughness(spread), np.radians(zenith), np.radians(turn)
        ahead = np.array([-np.sin(t) * np.sin(c), np.sin(t) * np.cos(c), -np.cos(t)])
        spot = np.array([*at, height]) + ahead * height / np.cos(t)
        kept = 1.0 - returned(t, a)
        return {"floor": kept} | on_faces(spot, SIZE, -ahead, a)

    names = ("floor", "left", "right", "front", "back", "ceiling")
    return Case(
        name=f"a beam at {zenith:g} deg on a rough mirror of {spread:g} deg", chapter="rooms",
        shows="How much a rough mirror sends back of a slanting beam, and to which side.",
        source=LAW + "integrated over the faces that it lights, in Gauss points.",
        fails_if="Facets were drawn by another law than that of the visible ones, masking were "
        "left out or taken twice, or the lobe turned the wrong way.",
        scene=scene(
            "A beam on a rough mirror",
            enclosure=box(*(f"{v} m" for v in SIZE), floor="film"),
            surfaces={"film": {"specular": "100 %", "spread": f"{spread} deg"}},
            # So thin that all of it starts from one spot.
            fixtures={"beam": panel("1 mm", "1 mm", "parallel")},
            lights=[{"fixture": "beam", "at": [f"{v} m" for v in at], "height": f"{height} m",
                     "turn": f"{turn} deg", "tilt": f"{zenith} deg"}],
        ),
        figures={name: Share(name) for name in names},
        exact=exact,
        packets=1 << 21,
        precision=5e-4,
        scale=1.0,
        exact_err={name: np.float64(2e-6) for name in names},
    )  # fmt: skip


def _even(spread: float, diffuse: float, specular: float) -> Case:
    """Give light of all directions on a rough floor of endless bays."""

    def exact() -> Exact:
        back = diffuse + specular * returned_even(roughness(spread))
        return {"floor": 1.0 - back, "PFD up": FLUX / 0.4 * back}

    mixed = f", {percent(diffuse)} of it matt" if diffuse else ""
    return Case(
        name=f"even light on a rough mirror of {spread:g} deg{mixed}", chapter="rooms",
        shows="What a rough mirror keeps of light from all sides, though its facets keep nothing.",
        source=LAW + "averaged over the hemisphere by the cosine.",
        fails_if="What facets hide were sent on, or the two kinds of reflection mixed wrongly.",
        scene=scene(
            "Even light on a rough mirror",
            enclosure=box("80 cm", "50 cm", "30 cm", floor="film") | {"repeat": ["width", "depth"]},
            surfaces={"film": {"diffuse": percent(diffuse), "specular": percent(specular),
                               "spread": f"{spread} deg"}},
            fixtures={"ceiling": panel("80 cm", "50 cm")},
            lights=[{"fixture": "ceiling", "at": ["40 cm", "25 cm"], "height": "30 cm"}],
            planes=[{"name": "mid", "height": "11 cm", "cell": "1 m"}],
        ),
        figures={"floor": Share("floor"), "PFD up": PlaneMean("mid", "up")},
        exact=exact,
        packets=1 << 21,
        precision=5e-4,
        scale={"floor": 1.0, "PFD up": FLUX / 0.4},
        exact_err={"floor": np.float64(2e-6), "PFD up": np.float64(1e-3)},
    )  # fmt: skip


def _swap(bench: Bench, case: Case) -> Sequence[Outcome]:
    """Hold light from one place to another beside light back the other way."""
    found = []
    # Corner, opposite corner and height of two unlike rectangles, cm.
    places = ((8, 12, 50, 42, 25), (45, 25, 80, 65, 40))
    for (x0, y0, x1, y1, z), (p, q, r, s, t) in (places, places[::-1]):
        lit = dict(case.scene) | {
            "fixtures": {"panel": panel(f"{x1 - x0} cm", f"{y1 - y0} cm")},
            "lights": [{"fixture": "panel", "at": [f"{(x0 + x1) / 2} cm", f"{(y0 + y1) / 2} cm"],
                        "height": f"{z} cm", "tilt": "180 deg"}],
            "planes": [{"name": "there", "height": f"{t} cm", "cell": "1 m",
                        "corner": [f"{p} cm", f"{q} cm"], "opposite": [f"{r} cm", f"{s} cm"]}],
        }  # fmt: skip
        result = bench.trace(lit, case.packets // 2)
        there = PlaneMean("there").read(result)
        found.append((float(there.value), float(there.std_err), there.n_row))
    (one, error, n_row), (other, other_error, _) = found
    # Student's law for the difference of two means with as many rows each.
    whole = float(np.hypot(error, other_error))
    return [Outcome("PFD there less PFD here", 0.0, one - other, whole, 2 * n_row - 1,
                    scale=(one + other) / 2)]  # fmt: skip


def _reciprocal(name: str, room: Data, surfaces: Data) -> Case:
    return Case(
        name=name, chapter="two ways",
        shows="Source and receiver change places: the same PFD, by the same paths backwards.",
        source="Helmholtz reciprocity: between two Lambertian rectangles, area times share is the "
        "same both ways, so that equal fluxes give equal PFD.",
        fails_if="A rough mirror had a density unlike its samples, or hid light from one side.",
        scene=scene("There and back", enclosure=room, surfaces=surfaces),
        packets=1 << 22,
        precision=2.5e-3,
        why_rough="A small rectangle catches few of the paths; one figure, twice traced.",
        measure=_swap,
    )  # fmt: skip


CASES = (
    _beam(15.0, 40.0, 0.4),
    _beam(35.0, 70.0, 0.1),
    _even(15.0, 0.0, 1.0),
    _even(40.0, 0.0, 1.0),
    _even(30.0, 0.2, 0.7),
    _reciprocal(
        "there and back in a room of rough mirrors",
        box("90 cm", "70 cm", "60 cm", left="film", right="foil", front="foil", back="film",
            ceiling="film", floor="tray"),
        {"film": {"specular": "95 %", "spread": "25 deg"},
         "foil": {"diffuse": "20 %", "specular": "75 %", "spread": "8 deg"},
         "tray": {"diffuse": "40 %"}},
    ),
)  # fmt: skip
