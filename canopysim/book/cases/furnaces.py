"""Rooms: closed spaces in balance, in which every face and every plane sees the same."""

from __future__ import annotations

import math

import numpy as np

from canopysim.book.bright_rooms import IN_OFF, face_areas, shining_walls
from canopysim.book.case import Case, Exact
from canopysim.book.exact.radiosity import FACES
from canopysim.book.readings import AtProbe, PlaneCells, PlaneMean, Reading, Share
from canopysim.book.scenes import ONE_BAND, Data, box, panel, percent, scene

SIZE = W, D, H = 0.8, 0.5, 1.1
AREAS = face_areas(SIZE)
LEVEL = 100.0
HERBS: Data = {
    "leaves": {"leaf": {"reflectance": "60 %", "transmittance": "40 %"}},
    "plants": {"herb": {"leaf": "leaf", "stem": "pale", "nodes": "5", "internode": "9 cm",
                        "petiole_length": "3 cm", "petiole_angle": "60 deg",
                        "blade_length": "12 cm", "blade_width": "7 cm"}},
    "canopy": {"layers": "2", "leaf_area_index": "1.0",
               "plantings": [{"plant": "herb", "columns": "2", "rows": "1", "base": "12 cm"}]},
}  # fmt: skip


def _furnace(rho: float, triangles: int | None) -> Case:
    def exact() -> Exact:
        whole = sum(AREAS.values())
        found: dict[str, float] = {f: area / whole for f, area in AREAS.items()}
        return found | dict.fromkeys(planes, LEVEL)

    planes: dict[str, Reading] = {
        f"PFD {way}, {name}": PlaneMean(name, way) for name in ("low", "high")
        for way in ("down", "up")
    }  # fmt: skip
    shares: dict[str, Reading] = {f: Share(f) for f in FACES}
    walls = f"{triangles} triangles" if triangles else "a box"
    return Case(
        name=f"a furnace of {percent(rho)} with leaves in it, its walls {walls}",
        chapter="rooms",
        shows="Walls emit and reflect in balance: leaves that keep nothing change nothing.",
        source="Kirchhoff: if walls of reflectance rho emit (1 - rho) M, each face, each plane and "
        "each leaf sees M, whatever stands in the room.",
        fails_if="A leaf or wall kept or lost light, sent it by another law than the cosine's or "
        "to a wrong side, a plane missed crossings, or a panel shone askew.",
        scene=scene(
            "The furnace",
            enclosure=box(f"{W} m", f"{D} m", f"{H} m") | {"lining": "wall"},
            surfaces={"wall": {"diffuse": percent(rho)}, "pale": {"diffuse": "100 %"}},
            planes=[{"name": "low", "height": "20 cm", "cell": "1 m"},
                    {"name": "high", "height": "90 cm", "cell": "1 m"}],
            **shining_walls(SIZE, LEVEL * (1.0 - rho)),
            **HERBS,
        ),
        figures=shares | planes,
        exact=exact,
        packets=1 << (20 if rho > 0.5 else 21),
        precision=2e-3,
        why_rough="Few packets cross leaves and planes often: fluxes through planes are noisy.",
        scale=dict.fromkeys(FACES, 1.0) | dict.fromkeys(planes, LEVEL),
        exact_err=dict.fromkeys(FACES, IN_OFF)
        | dict.fromkeys(planes, IN_OFF * LEVEL),
        options={"wall_triangles": triangles} if triangles else {},
    )  # fmt: skip


# A crown, a row and a slab about each other, of leaves that keep nothing.
CROWNS: Data = {
    "leaves": {"leaf": {"reflectance": "35 %", "transmittance": "65 %"}},
    "canopy": {"layers": "3", "volumes": [
        {"shape": "ellipsoid", "leaf": "leaf", "angles": "erectophile", "density": "9 m2/m3",
         "positions": [["35 cm", "25 cm"]], "width": "44 cm", "depth": "36 cm",
         "bottom": "30 cm", "top": "80 cm", "by_height": ["40 %", "100 %"]},
        {"shape": "row", "direction": "depth", "leaf": "leaf", "angles": {"ellipsoid": "2"},
         "density": "5 m2/m3", "positions": [["55 cm", "25 cm"]], "width": "30 cm",
         "depth": "40 cm", "bottom": "20 cm", "top": "60 cm", "clumping": "0.7"},
        {"shape": "slab", "leaf": "leaf", "angles": "spherical", "leaf_area_index": "0.8",
         "bottom": "45 cm", "top": "70 cm"},
    ]},
}  # fmt: skip
# Where probes stand: in the crown and the slab, in the row alone, and clear of all.
PROBES = {"in-crown": ("35 cm", "55 cm"), "in-row": ("60 cm", "31 cm"),
          "clear": ("30 cm", "95 cm")}  # fmt: skip


# A bar that keeps nothing hangs among the leaves; its light is next to none.
BAR: Data = {
    "body": {"length": "20 cm", "width": "8 cm", "height": "4 cm", "standoff": "5 mm",
             "surface": "pale"},
    "photon_flux": "1e-6 umol/s", "spectrum": ONE_BAND,
    "strips": [{"length": "1 cm", "width": "1 cm", "lens": "lambertian"}],
}  # fmt: skip


def _crowns_in_balance() -> Case:
    rho = 0.5
    walls = shining_walls(SIZE, LEVEL * (1.0 - rho))
    walls["fixtures"]["bar"] = BAR
    walls["lights"].append({"fixture": "bar", "group": "bar", "at": ["54 cm", "25 cm"],
                            "height": "46 cm", "turn": "20 deg"})  # fmt: skip
    looks = ("all sides", "up", "down", "left", "back")
    probes: dict[str, Reading] = {
        f"{place}, {look}": AtProbe(place, look) for place in PROBES for look in looks
    }
    planes: dict[str, Reading] = {f"PFD {way}": PlaneMean("mid", way) for way in ("down", "up")}
    shares: dict[str, Reading] = {f: Share(f) for f in FACES}

    def exact() -> Exact:
        whole = sum(AREAS.values())
        found: dict[str, float] = {f: area / whole for f, area in AREAS.items()}
        found |= dict.fromkeys(planes, LEVEL)
        return found | {
            name: LEVEL * (4.0 if name.endswith("all sides") else 1.0) for name in probes
        }

    return Case(
        name="crowns of leaves in a furnace, and probes in them",
        chapter="rooms",
        shows="Volumes of leaves that keep nothing, in each other and about a white bar, change "
        "nothing where walls emit and reflect in balance: faces, a plane and probes in the midst "
        "of leaves see the same.",
        source="Kirchhoff: radiance is the same everywhere and every way, M over pi; so a face of "
        "a probe reads M whatever it looks at, and the fluence rate is 4 M.",
        fails_if="Leaves of a volume were met by another share than they show, sent light by "
        "another law or into the bar, hid more or less of a look than of a flight, or lost some.",
        scene=scene(
            "The furnace with crowns",
            enclosure=box(f"{W} m", f"{D} m", f"{H} m") | {"lining": "wall"},
            surfaces={"wall": {"diffuse": percent(rho)}, "pale": {"diffuse": "100 %"}},
            planes=[{"name": "mid", "height": "52 cm", "cell": "1 m"}],
            probes=[{"name": name, "at": [x, "25 cm"], "height": z, "radius": "7 cm"}
                    for name, (x, z) in PROBES.items()],
            **walls,
            **CROWNS,
        ),
        figures=shares | planes | probes,
        exact=exact,
        packets=1 << 21,
        quick=1 / 16,
        precision=5e-3,
        why_rough="Few flights cross a probe or pass the plane many times.",
        scale=dict.fromkeys(FACES, 1.0) | dict.fromkeys(planes, LEVEL)
        | {name: LEVEL * (4.0 if name.endswith("all sides") else 1.0) for name in probes},
        exact_err=dict.fromkeys(FACES, IN_OFF)
        | dict.fromkeys((*planes, *probes), IN_OFF * LEVEL),
    )  # fmt: skip


def _white(name: str, *, sky: bool) -> Case:
    """Give a room that keeps nothing, but for a patch of 50 x 40 cm that all light comes from."""
    patch = {"corner": ["10 cm", "5 cm"], "opposite": ["60 cm", "45 cm"]}
    level = 100.0 / (0.5 * 0.4)
    faces: Data = {"left": "matt", "right": "mirror", "front": "satin", "back": "matt",
                   "floor": "matt", "ceiling": "satin"}  # fmt: skip
    lit: Data
    if sky:
        faces["ceiling"] = {"open": "true", "patches": [
            {"surface": "satin", "corner": ["0 m", "0 m"], "opposite": [f"{W} m", f"{D} m"]},
            patch | {"open": "true"},
        ]}  # fmt: skip
        lit = {"daylight": [{"ppfd": f"{level} umol/m2/s", "spectrum": ONE_BAND}]}
        end = "escaped through patch 2 of the ceiling"
    else:
        faces["floor"] = {"surface": "matt", "patches": [patch | {"surface": "black"}]}
        lit = {"fixtures": {"patch": panel("50 cm", "40 cm")},
               "lights": [{"fixture": "patch", "at": ["35 cm", "25 cm"], "height": "0 cm",
                           "tilt": "180 deg"}]}  # fmt: skip
        end = "patch 1 of the floor (black)"
    figures: dict[str, Reading] = {
        "patch": Share(end), "PFD down": PlaneCells("mid"), "PFD up": PlaneCells("mid", "up"),
    }  # fmt: skip

    def exact() -> Exact:
        even = np.full((1, 2), level)
        return {"patch": 1.0, "PFD down": even, "PFD up": even}

    return Case(
        name=name, chapter="rooms",
        shows="A room that keeps nothing but for one patch, which is also where all light starts: "
        "what meets the patch, and how often light crosses every plane before.",
        source="Kirchhoff: radiance is the same everywhere, flux over the patch's area; so a plane "
        "is crossed area over area times each way.",
        fails_if="Roulette or the event limit lost long paths, a mixed surface kept some, or a "
        "patch lay elsewhere for light that comes than for light that goes.",
        scene=scene(
            "A white room with one patch",
            enclosure=box(f"{W} m", f"{D} m", f"{H} m", **faces),
            surfaces={"matt": {"diffuse": "100 %"}, "mirror": {"specular": "100 %"},
                      "satin": {"diffuse": "50 %", "specular": "50 %"}},
            planes=[{"name": "mid", "height": "37 cm", "cell": "40 cm"}],
            **lit,
        ),
        figures=figures,
        exact=exact,
        packets=1 << 19,
        precision=2.5e-3,
        why_rough="Paths are long and of very unlike lengths: few packets, many meetings.",
        scale={"patch": 1.0, "PFD down": level, "PFD up": level},
    )  # fmt: skip


assert math.isclose(sum(AREAS.values()), 3.66)
CASES = (
    _furnace(0.2, None), _furnace(0.85, None), _furnace(0.2, 600), _furnace(0.85, 600),
    _crowns_in_balance(),
    _white("a white room with one black patch that shines", sky=False),
    _white("a white room under an opening to an even sky", sky=True),
)  # fmt: skip
