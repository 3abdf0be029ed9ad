"""Two ways: one scene told in two ways, which must give the same light."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from canopysim.book.case import Case, Exact, Scene
from canopysim.book.cases.canopy_box import Plants
from canopysim.book.cases.slabs import sides_of
from canopysim.book.exact.backward import sheet
from canopysim.book.exact.leaves import DENSITY
from canopysim.book.exact.ordinates import converged, sky
from canopysim.book.exact.tiles import obj_of
from canopysim.book.outcome import Outcome
from canopysim.book.readings import AtProbe, LayerSides, PlaneCells, PlaneMean, Reading, Share
from canopysim.book.scenes import ONE_BAND, box, panel, percent, scene

if TYPE_CHECKING:
    from canopysim.book.bench import Bench

FLUX = 100.0
SIZE = (1.2, 0.7, 0.9)
MATTER = {
    "floor": {"diffuse": "25 %"}, "ceiling": {"diffuse": "60 %", "specular": "15 %"},
    "left": {"diffuse": "70 %"}, "right": {"specular": "80 %"}, "front": {"diffuse": "15 %"},
    "back": {"diffuse": "35 %", "specular": "40 %", "spread": "10 deg"},
}  # fmt: skip
# Faces as seen from those of the first scene.
SAME = {name: name for name in MATTER}
TURNED = SAME | {"left": "front", "front": "right", "right": "back", "back": "left"}
MIRRORED = SAME | {"left": "right", "right": "left"}
UPPER, LOWER = (0.12, 0.30), (0.40, 0.15)
# A drawn leaf about its own origin, and where that stands.
LEAF = sheet((0.0, 0.0, 0.30), 0.42, 0.26, 35.0, 14.0, -18.0).corners
LEAF_AT, CROWN_AT, LIGHT_AT = (0.38, 0.30), (0.80, 0.42), (0.45, 0.46)
LIGHT_TURN = 25.0


def odd_room(told: str = "as it is") -> tuple[Scene, Mapping[str, bytes]]:
    """Give a room in which nothing is alike: as it is, turned by a quarter, or mirrored in x."""
    w, d, h = SIZE
    faces, size, corners = SAME, (w, d), LEAF
    places = [LEAF_AT, CROWN_AT, LIGHT_AT]
    crown, turn, pitch, leaf_turn = (0.34, 0.22), LIGHT_TURN, 12.0, 0.0
    if told == "turned":
        # A quarter counter-clockwise: (x, y) goes to (d - y, x).
        faces, size, crown = TURNED, (d, w), (0.22, 0.34)
        places = [(d - y, x) for x, y in places]
        turn, leaf_turn = turn + 90.0, 90.0
    elif told == "mirrored":
        faces = MIRRORED
        places = [(w - x, y) for x, y in places]
        turn, pitch = -turn, -pitch
        # Mirrored corners run the other way round, so that the upper side stays the upper one.
        corners = (LEAF * np.array([-1.0, 1.0, 1.0]))[::-1]
    leaf, body, light = ([f"{x:.9g} m", f"{y:.9g} m"] for x, y in places)
    data = scene(
        "A room in which nothing is alike",
        enclosure=box(f"{size[0]} m", f"{size[1]} m", f"{h} m",
                      **{faces[name]: name for name in MATTER}),
        surfaces=MATTER,
        leaves={"leaf": sides_of(UPPER, LOWER)},
        canopy={
            "layers": ["15 cm", "30 cm", "45 cm", "60 cm"],
            "meshes": [{"file": "leaf.obj", "unit": "m", "parts": {"*": {"leaf": "leaf"}},
                        "positions": [leaf], "base": "0 cm", "turn": f"{leaf_turn} deg"}],
            "volumes": [{"shape": "ellipsoid", "leaf": "leaf", "bottom": "17 cm", "top": "58 cm",
                         "width": f"{crown[0]} m", "depth": f"{crown[1]} m", "positions": [body],
                         "leaf_area": "0.16 m2", "angles": "erectophile",
                         "by_height": ["30 %", "100 %"]}],
        },
        fixtures={"bar": panel("40 cm", "6 cm", {"beam": {"along": "120 deg",
                                                          "across": "60 deg"}})},
        lights=[{"fixture": "bar", "at": light, "height": "80 cm", "turn": f"{turn} deg",
                 "pitch": f"{pitch} deg", "tilt": "30 deg"}],
    )  # fmt: skip
    return data, {"leaf.obj": obj_of(corners[None])}


FIGURES: dict[str, Reading] = {
    **{name: Share(name) for name in MATTER},
    "leaves": Share("leaves"),
    "sides": LayerSides(),
}


def _hold(
    what: str, one: Any, other: Any, faces: Mapping[str, str] = SAME, extra: Sequence[Any] = ()
) -> list[Outcome]:
    """Hold the figures of two independent traces beside each other, with the errors of both."""
    outcomes = []
    pairs = [(n, r, Share(faces[n]) if n in faces else r) for n, r in FIGURES.items()]
    for name, reading, there in [*pairs, *extra]:
        a, b = reading.read(one), there.read(other)
        error = np.hypot(a.std_err, b.std_err)
        # All relative to all light: shares of it, flux densities to its mean over the floor.
        scale = FLUX / (SIZE[0] * SIZE[1]) if isinstance(reading, PlaneCells) else 1.0
        outcomes += [
            Outcome(f"{what}, {name} {list(at)}", float(a.value[at]), float(b.value[at]),
                    float(error[at]), min(a.n_row, b.n_row), scale=scale)
            for at in np.ndindex(a.value.shape)
        ]  # fmt: skip
    return outcomes


def _turned_and_mirrored(bench: Bench, case: Case) -> list[Outcome]:
    found = []
    for told in ("as it is", "turned", "mirrored"):
        data, files = odd_room(told)
        found.append(bench.trace(data, case.packets // 3, files=files))
    return [
        *_hold("turned", found[0], found[1], TURNED),
        *_hold("mirrored", found[0], found[2], MIRRORED),
    ]


def _twin(bench: Bench, case: Case) -> list[Outcome]:
    data, files = odd_room()
    cells = PlaneCells("low")
    data = dict(data) | {"planes": [{"name": "low", "height": "9 cm", "cell": "60 cm"}]}
    found = [
        bench.trace(data, case.packets // 2, files=files, options=options)
        for options in ({}, {"wall_triangles": 3000})
    ]
    return _hold("as triangles", found[0], found[1], extra=[("PFD", cells, cells)])


# A crown in the middle of a room, the same all around, and a leaf on each side of it.
AROUND_M, BESIDE = (0.9, 0.9, 0.8), sheet((-0.24, 0.05, 0.25), 0.20, 0.14, 10.0, 30.0, 15.0)
PALE = ((0.5, 0.45), (0.4, 0.5))


def _beside_crown() -> Scene:
    """Give two black leaves that hardly any light meets but what the crown scatters."""
    middle = [f"{AROUND_M[0] / 2} m", f"{AROUND_M[1] / 2} m"]
    mesh = {"file": "leaf.obj", "unit": "m", "parts": {"*": {"leaf": "black"}}, "base": "0 cm",
            "positions": [middle]}  # fmt: skip
    return scene(
        "Leaves beside a crown",
        enclosure=box(*(f"{extent} m" for extent in AROUND_M)),
        leaves={"black": sides_of((0.0, 0.0), (0.0, 0.0)), "pale": sides_of(*PALE)},
        canopy={
            "layers": "2",
            "meshes": [mesh, mesh | {"turn": "180 deg"}],
            "volumes": [{"shape": "ellipsoid", "leaf": "pale", "angles": "spherical",
                         "width": "26 cm", "depth": "26 cm", "bottom": "10 cm", "top": "50 cm",
                         "leaf_area": "0.2 m2", "positions": [middle]}],
        },
        fixtures={"panel": panel("20 cm", "12 cm", "parallel")},
        lights=[{"fixture": "panel", "at": middle, "height": "70 cm", "turn": "25 deg"}],
        also_count={"each_plant": "true"},
    )  # fmt: skip


def _both_sides(bench: Bench, case: Case) -> list[Outcome]:
    """Each leaf of one trace beside the other leaf of another: no chance is shared."""
    one, other = (
        Plants().read(bench.trace(case.scene, case.packets // 2, files=case.files))
        for _ in range(2)
    )
    return [
        Outcome(f"leaf {k} and leaf {1 - k}", float(one.value[k]), float(other.value[1 - k]),
                float(np.hypot(one.std_err[k], other.std_err[1 - k])),
                min(one.n_row, other.n_row), scale=1.0)
        for k in (0, 1)
    ]  # fmt: skip


# Where a crown stands in a bay without end: in the middle, over each side, over a corner.
FEET = {"in the middle": (0.45, 0.35), "over the left": (0.05, 0.35), "over the back": (0.45, 0.66),
        "over a corner": (0.83, 0.06)}  # fmt: skip
ENDLESS_M = (0.9, 0.7)


def _crown_in_a_bay(bench: Bench, case: Case) -> list[Outcome]:
    """Move the crown of an endless field within the bay that stands for it."""
    found = []
    for foot in FEET.values():
        data = dict(case.scene)
        volume = data["canopy"]["volumes"][0] | {"positions": [[f"{x} m" for x in foot]]}
        data["canopy"] = data["canopy"] | {"volumes": [volume]}
        result = bench.trace(data, case.packets // len(FEET))
        found.append({name: reading.read(result) for name, reading in CROWN_READ.items()})
    return [
        Outcome(f"{name} {list(at)}, {place}", float(found[0][name].value[at]),
                float(other[name].value[at]),
                float(np.hypot(found[0][name].std_err[at], other[name].std_err[at])),
                other[name].n_row, scale=1.0)
        for place, other in list(zip(FEET, found, strict=True))[1:]
        for name in CROWN_READ for at in np.ndindex(other[name].value.shape)
    ]  # fmt: skip


CROWN_READ: dict[str, Reading] = {"sides": LayerSides(), "floor": Share("floor")}
CROWN_SCENE = scene(
    "A field of crowns",
    enclosure=box(f"{ENDLESS_M[0]} m", f"{ENDLESS_M[1]} m", "1 m", ceiling="open")
    | {"repeat": ["width", "depth"]},
    leaves={"leaf": sides_of((0.15, 0.30), (0.35, 0.20))},
    canopy={"layers": "3", "volumes": [
        {"shape": "ellipsoid", "leaf": "leaf", "angles": "erectophile", "width": "52 cm",
         "depth": "44 cm", "bottom": "15 cm", "top": "75 cm", "leaf_area": "0.5 m2",
         "by_height": ["40 %", "100 %"], "positions": [["45 cm", "35 cm"]]}]},
    daylight=[{"ppfd": "100 umol/m2/s", "spectrum": ONE_BAND},
              {"ppfd": "50 umol/m2/s", "spectrum": ONE_BAND,
               "beam": {"zenith": "50 deg", "azimuth": "70 deg"}}],
)  # fmt: skip

BAY = (0.5, 0.4)
SIDEWAYS = ("left", "right", "front", "back")


# The reference's own error, of the light that enters.
NODES_OFF = 1e-4


def _probes() -> Case:
    """Probes above, in and below a slab in a bay so small that they catch much of its light."""
    lai, upper, lower, rho_floor = 1.4, (0.15, 0.40), (0.35, 0.20), 0.5
    area, low, high, radius = BAY[0] * BAY[1], 0.3, 0.7, 0.12
    places = {"over": 0.85, "inside": 0.5, "under": 0.15}
    # A probe in a slab tells the mean over its ball, by the area of the ball's level sections.
    node, weight = np.polynomial.legendre.leggauss(7)
    section = weight * 0.75 * (1 - node**2)
    heights = np.concatenate([[high], places["inside"] + radius * node[::-1], [low]])

    def exact() -> Exact:
        found: dict[str, float] = {}
        of, off = converged(
            DENSITY["planophile"], -np.diff(heights) / (high - low) * lai, upper, lower, rho_floor,
            sky(), n_node=16, judged=("down", "up", "around", "sideways"),
        )  # fmt: skip
        assert off < NODES_OFF
        for place, first, last, share in (
            ("over", 0, 1, np.ones(1)), ("inside", 1, -1, section), ("under", -1, None, np.ones(1))
        ):  # fmt: skip
            down, up, around, sideways = (
                float(x[first:last] @ share) * FLUX / area
                for x in (of.down, of.up, of.around, of.sideways)
            )
            found |= {f"{place}, facing up": down, f"{place}, facing down": up}
            found |= {f"{place}, facing {side}": sideways for side in SIDEWAYS}
            found[f"{place}, all sides"] = around
        for place, level in (("over", 0), ("inside", len(node) // 2 + 1), ("under", -1)):
            found[f"{place}, plane down"] = float(of.down[level]) * FLUX / area
            found[f"{place}, plane up"] = float(of.up[level]) * FLUX / area
        return found

    figures: dict[str, Reading] = {}
    for place in places:
        figures |= {
            f"{place}, plane {way}": PlaneMean(place, way) for way in ("down", "up")
        }  # fmt: skip
        figures |= {f"{place}, facing {s}": AtProbe(place, s) for s in ("up", "down", *SIDEWAYS)}
        figures[f"{place}, all sides"] = AtProbe(place)
    room = box(f"{BAY[0]} m", f"{BAY[1]} m", "1 m", floor="floor")
    return Case(
        name="probes and planes above, in and below leaves",
        chapter="two ways",
        shows="What probes say of all sides where light is the same everywhere on a level: as much "
        "as planes there, and as much as the radiance by slant makes, also among leaves.",
        source="Discrete ordinates: facing up and down the fluxes, on all sides the integral of "
        "radiance, sideways that of radiance times the sine over pi; in the slab the mean over the "
        "ball, by Gauss nodes of height.",
        fails_if="Flight in the ball were not divided by its volume, a face's cosine were another, "
        "leaves about a probe hid too little or too much, or flights through repeating sides were "
        "cut.",
        scene=scene(
            "Probes about a slab",
            enclosure=room | {"repeat": ["width", "depth"]},
            surfaces={"floor": {"diffuse": percent(rho_floor)}},
            leaves={"leaf": sides_of(upper, lower)},
            canopy={"layers": "1", "volumes": [
                {"shape": "slab", "leaf": "leaf", "bottom": f"{low} m", "top": f"{high} m",
                 "leaf_area_index": str(lai), "angles": "planophile"}]},
            fixtures={"panel": panel(f"{BAY[0]} m", f"{BAY[1]} m")},
            lights=[{"fixture": "panel", "at": [f"{BAY[0] / 2} m", f"{BAY[1] / 2} m"],
                     "height": "1 m"}],
            planes=[{"name": n, "height": f"{z} m", "cell": "1 m"} for n, z in places.items()],
            probes=[{"name": n, "at": ["26 cm", "18 cm"], "height": f"{z} m",
                     "radius": f"{radius} m"} for n, z in places.items()],
        ),
        figures=figures,
        exact=exact,
        exact_err=dict.fromkeys(figures, NODES_OFF * FLUX / area),
        packets=1 << 19,
        quick=1 / 8,
        precision=8e-3,
        scale=FLUX / area,
        why_rough="Few flights cross a ball, grazing ones weigh much, and probes cost time.",
    )  # fmt: skip


CASES = (
    Case(
        name="a room turned by a quarter, and mirrored",
        chapter="two ways",
        shows="A room in which nothing is alike gives the same light when all of it is turned, or "
        "mirrored from left to right.",
        source="Space has no preferred direction.",
        fails_if="An axis, a sign or the order of turns were wrong anywhere: in faces, lights, "
        "meshes, crowns, the leaf's sides.",
        packets=3 << 19,
        measure=_turned_and_mirrored,
    ),
    Case(
        name="a room whose walls are triangles",
        chapter="two ways",
        shows="The same room as six faces and as some three thousand triangles.",
        source="Two programs for one box: by its planes, and by the walk through a tree.",
        fails_if="Triangles let light through, or a face's normal or matter were another.",
        packets=1 << 20,
        precision=2e-3,
        why_rough="Both traces have errors.",
        measure=_twin,
    ),
    Case(
        name="two leaves beside a crown",
        chapter="two ways",
        shows="Two leaves that face each other across a crown get as much of what it scatters.",
        source="Half a turn about the crown's axis, which is also the light's, changes leaves.",
        fails_if="Light that leaves a crown passed a triangle, as if it had left that.",
        scene=_beside_crown(),
        files={"leaf.obj": obj_of(BESIDE.corners[None])},
        measure=_both_sides,
        packets=1 << 20,
        quick=1 / 4,
    ),
    Case(
        name="a field of crowns, wherever its bay begins",
        chapter="two ways",
        shows="A crown that reaches over a side of a bay without end, or over its corner, gets as "
        "much as one in the middle.",
        source="The field is the same.",
        fails_if="A part of a crown beyond a side were lost, counted twice or put elsewhere.",
        scene=CROWN_SCENE,
        measure=_crown_in_a_bay,
        packets=1 << 21,
        quick=1 / 8,
        precision=2e-3,
        why_rough="Both traces have errors.",
    ),
    _probes(),
)
