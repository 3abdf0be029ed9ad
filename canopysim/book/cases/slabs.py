"""Leaves: endless slabs that fill a volume, black ones and level ones."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from scipy import special

from canopysim.book.case import Case, Exact, Scene
from canopysim.book.dark_rooms import FLUX
from canopysim.book.exact.leaves import (
    DENSITY,
    Density,
    Side,
    beam_through,
    classes,
    ellipsoid,
    shares_of_area,
    shown,
    two_streams,
)
from canopysim.book.readings import AtLevels, LayerDensity, Layers, LayerSides, Reading, Share
from canopysim.book.scenes import box, panel, percent, scene

SLANTS = (0, 35, 62)
# The bay's ground.
GROUND_M2 = 0.8
# Leaf area by height, from the bottom up, and the cuts between layers.
BY_HEIGHT = (0.2, 1.0, 0.6)
CUTS_CM = (10, 30, 45, 64, 80)
# Leaf area in four classes of inclination, from level to upright.
IN_CLASSES = (0.5, 0.0, 0.2, 0.3)
CUTS = [(z - 10) / 70 for z in CUTS_CM]
BLACK = {"reflectance": "0 %", "transmittance": "0 %"}


def sides_of(upper: Side, lower: Side) -> dict[str, Any]:
    """Write a leaf of unlike sides."""
    names = ("reflectance", "transmittance")
    one, other = (dict(zip(names, map(percent, side), strict=True)) for side in (upper, lower))
    return one | {"lower": other}


def pencils(*slants: int) -> list[dict[str, Any]]:
    """Parallel light at slants, each a group of its own, to unlike points of the compass."""
    return [
        {"fixture": "pencil", "group": f"from-{slant}", "at": ["50 cm", "40 cm"],
         "height": "95 cm", "tilt": f"{slant} deg", "turn": f"{17 + slant} deg"}
        for slant in slants
    ]  # fmt: skip


PANEL = [{"fixture": "panel", "at": ["60 cm", "40 cm"], "height": "95 cm"}]


def slab_scene(
    leaf: Mapping[str, Any], *volumes: Mapping[str, Any], lights: list[dict[str, Any]],
    layers: Any = None, rho_floor: float = 0.0, mirrors: bool = False, **canopy: Any,
) -> Scene:  # fmt: skip
    """Give a bay of 100 x 80 x 100 cm without end, with leaves from 10 to 80 cm above a floor."""
    room = box("1 m", "80 cm", "1 m", floor="floor")
    if mirrors:
        room["faces"] |= dict.fromkeys(("left", "right", "front", "back"), "mirror")
    else:
        room["repeat"] = ["width", "depth"]
    whole = {"shape": "slab", "leaf": "leaf", "bottom": "10 cm", "top": "80 cm",
             "by_height": [percent(x) for x in BY_HEIGHT]}  # fmt: skip
    return scene(
        "An endless slab of leaves",
        enclosure=room,
        surfaces={"floor": {"diffuse": percent(rho_floor)}, "mirror": {"specular": "100 %"}},
        leaves={"leaf": dict(leaf)},
        canopy={"layers": layers or [f"{z} cm" for z in CUTS_CM],
                "volumes": [whole | dict(v) for v in volumes]} | canopy,
        fixtures={"pencil": panel("10 cm", "1 cm", "parallel"), "panel": panel("50 cm", "40 cm")},
        lights=lights,
    )  # fmt: skip


def _black(name: str, density: Density, angles: Any) -> Case:
    lai = 0.8

    def exact() -> Exact:
        found: dict[str, Any] = {}
        for slant in SLANTS:
            mu = np.cos(np.radians(slant))
            layers, floor = beam_through(
                shown(density, mu) / mu, lai * shares_of_area(BY_HEIGHT, CUTS)
            )
            found |= {f"layers, {slant} deg": layers, f"floor, {slant} deg": floor}
            by_ground = layers * FLUX / GROUND_M2
            found[f"per ground, {slant} deg"] = by_ground
            left = 1 - np.insert(np.cumsum(layers), 0, 0.0)
            found[f"net at levels, {slant} deg"] = left * FLUX / GROUND_M2
            found[f"per leaf, {slant} deg"] = by_ground / (lai * shares_of_area(BY_HEIGHT, CUTS))
        return found

    figures: dict[str, Reading] = {}
    for slant in SLANTS:
        group = f"from-{slant}"
        figures[f"layers, {slant} deg"] = Layers(group)
        figures[f"floor, {slant} deg"] = Share("floor", group)
        figures[f"per ground, {slant} deg"] = LayerDensity("ground", group)
        figures[f"per leaf, {slant} deg"] = LayerDensity("leaf", group)
        figures[f"net at levels, {slant} deg"] = AtLevels("net", group)
    level = FLUX / GROUND_M2
    thinnest = lai * float(shares_of_area(BY_HEIGHT, CUTS).min())
    sizes = {"per ground": level, "net at levels": level, "per leaf": level / thinnest}
    return Case(
        name=f"black leaves, {name}",
        chapter="leaves",
        shows="Parallel light at three slants falls as an exponential of the leaf area that it "
        "meets, wherever that lies.",
        source="Beer's law, exp(-G LAI / cos); G by quadrature over inclination and compass. "
        "Densities by de Wit (1965) and Campbell (1990).",
        fails_if="Inclinations were drawn from another law, a meeting were taken without |n.d| or "
        "with that of another normal, density by height were not followed, or a flight's length "
        "were measured upright.",
        scene=slab_scene(BLACK, {"leaf_area_index": str(lai), "angles": angles},
                         lights=pencils(*SLANTS)),
        figures=figures,
        exact=exact,
        packets=6 << 20,
        quick=1 / 48,
        # Whole quanta, where no chance is left.
        exact_err={n: 1e-6 * level for n in figures if n.startswith("net")},
        # All light, on the ground or on the leaves of the thinnest layer.
        scale={n: sizes.get(n.split(",")[0], 1.0) for n in figures},
    )  # fmt: skip


def _level(upper: Side, lower: Side, rho_floor: float, clumping: float = 1.0) -> Case:
    lai = 2.4

    def exact() -> Exact:
        absorbed, up, down = two_streams(
            lai * clumping * shares_of_area(BY_HEIGHT, CUTS), upper, lower, rho_floor
        )
        return {"sides": absorbed, "ceiling": up, "floor": down * (1 - rho_floor)}

    leaf = " and ".join(dict.fromkeys(f"{percent(r)}/{percent(t)}" for r, t in (upper, lower)))
    clumped = "" if clumping == 1.0 else f", clumped {clumping}"
    return Case(
        name=f"level leaves of {leaf} over {percent(rho_floor)}{clumped}",
        chapter="leaves",
        shows="What the upper and the lower sides of each layer absorb among leaves that scatter"
        + ("; tufts make light meet less of them." if clumped else "."),
        source="Two streams are exact for level leaves, whatever the slant (Kubelka and Munk "
        "1931); solved by the matrix exponential.",
        fails_if="Reflected and transmitted light were exchanged, or the two sides, or light left "
        "a leaf on the wrong side; clumping were taken at scattered flights only.",
        scene=slab_scene(
            sides_of(upper, lower),
            {"leaf_area_index": str(lai), "angles": "level", "clumping": str(clumping)},
            lights=PANEL, rho_floor=rho_floor,
        ),
        figures={"sides": LayerSides(), "ceiling": Share("ceiling"), "floor": Share("floor")},
        exact=exact,
        packets=1 << 22,
        quick=1 / 64,
        scale=1.0,
    )  # fmt: skip


def _conservative(lai: float, rho: float) -> Case:
    return Case(
        name=f"level leaves that lose nothing, {percent(rho)} back, LAI {lai}",
        chapter="leaves",
        shows="Leaves that absorb nothing over a black floor send rho L / (1 + rho L) back.",
        source="The two streams for rho + tau = 1: both fluxes are straight in L.",
        fails_if="Scattering made or lost light, or roulette were biased on long paths.",
        scene=slab_scene(
            sides_of((rho, 1 - rho), (rho, 1 - rho)),
            {"leaf_area_index": str(lai), "angles": "level"},
            lights=PANEL,
        ),
        figures={"back": Share("ceiling"), "through": Share("floor"), "leaves": Share("leaves")},
        exact=lambda: {
            "back": rho * lai / (1 + rho * lai),
            "through": 1 / (1 + rho * lai),
            "leaves": 0.0,
        },
        packets=1 << 22,
        quick=1 / 64,
        scale=1.0,
    )


def _from_below() -> Case:
    upper, lower, rho_ceiling, lai = (0.08, 0.12), (0.40, 0.25), 0.35, 1.9
    volume = {"leaf_area_index": str(lai), "angles": "level"}

    def exact() -> Exact:
        # Upside down: the lower sides and the lowest layer come first.
        shares = shares_of_area(BY_HEIGHT, CUTS)[::-1]
        absorbed, down, up = two_streams(lai * shares, lower, upper, rho_ceiling)
        return {"sides": absorbed[::-1, ::-1], "floor": down, "ceiling": up * (1 - rho_ceiling)}

    upward = {"fixture": "panel", "at": ["40 cm", "30 cm"], "height": "5 cm", "pitch": "180 deg"}
    data = dict(slab_scene(sides_of(upper, lower), volume, lights=[upward]))
    room = data["enclosure"]
    data["enclosure"] = room | {"faces": {"ceiling": "pale"}}
    data["surfaces"] = data["surfaces"] | {"pale": {"diffuse": percent(rho_ceiling)}}
    return Case(
        name="level leaves under light from below",
        chapter="leaves",
        shows="Leaf sides are told apart when the light comes from below.",
        source="The two streams, upside down.",
        fails_if="The side of a leaf followed the light and not the leaf, or layers were counted "
        "from the wrong end.",
        scene=data,
        figures={"sides": LayerSides(), "floor": Share("floor"), "ceiling": Share("ceiling")},
        exact=exact,
        packets=1 << 19,
        scale=1.0,
    )


def _diffuse() -> Case:
    lai = 1.1

    def exact() -> Exact:
        depth = np.concatenate([[0.0], np.cumsum(lai * shares_of_area(BY_HEIGHT, CUTS))])
        left = 2 * special.expn(3, depth / 2)
        return {"layers": left[:-1] - left[1:], "floor": left[-1]}

    return Case(
        name="black spherical leaves under diffuse light",
        chapter="leaves",
        shows="Light from all slants at once falls as an exponential integral.",
        source="2 E3(LAI / 2): Beer's law with G = 1/2, over a Lambertian sky.",
        fails_if="A panel's light were not Lambertian, or slanting light met too few leaves.",
        scene=slab_scene(BLACK, {"leaf_area_index": str(lai), "angles": "spherical"}, lights=PANEL),
        figures={"layers": Layers(), "floor": Share("floor")},
        exact=exact,
        packets=1 << 19,
        scale=1.0,
    )


def _equal_area() -> Case:
    lai, n, slant = 1.6, 5, 30
    mu = np.cos(np.radians(slant))

    def exact() -> Exact:
        k = shown(DENSITY["plagiophile"], mu) / mu
        layers, floor = beam_through(k, np.full(n, lai / n))
        return {"layers": layers, "floor": floor}

    return Case(
        name="layers of equal leaf area",
        chapter="leaves",
        shows="Cuts by leaf area: each layer takes the same share of what reaches it.",
        source="Beer's law with the n-th part of the leaf area in each layer.",
        fails_if="The cuts were at equal heights, or meetings were booked in a neighbouring layer.",
        scene=slab_scene(
            BLACK, {"leaf_area_index": str(lai), "angles": "plagiophile"},
            lights=pencils(slant), layers={"equal_leaf_area": str(n)},
        ),
        figures={"layers": Layers(), "floor": Share("floor")},
        exact=exact,
        packets=1 << 19,
        scale=1.0,
    )  # fmt: skip


CASES = (
    *(_black(name, density, name) for name, density in DENSITY.items()),
    _black("Campbell's ellipsoid of 2.2", ellipsoid(2.2), {"ellipsoid": "2.2"}),
    _black("in classes of inclination", classes(IN_CLASSES), [percent(x) for x in IN_CLASSES]),
    _level((0.10, 0.05), (0.10, 0.05), 0.2),
    _level((0.45, 0.45), (0.45, 0.45), 0.1),
    _level((0.50, 0.30), (0.50, 0.30), 0.0),
    _level((0.05, 0.60), (0.05, 0.60), 0.6),
    _level((0.08, 0.04), (0.35, 0.25), 0.5),
    _level((0.12, 0.30), (0.30, 0.20), 0.3, clumping=0.6),
    _conservative(1.0, 0.3),
    _conservative(2.0, 0.5),
    _conservative(5.0, 0.2),
    _from_below(),
    _diffuse(),
    _equal_area(),
)
