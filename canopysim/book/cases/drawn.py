"""Leaves: drawn ones, whose shadows can be cut out exactly."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from canopysim.book.case import Case, Exact, Scene
from canopysim.book.cases.slabs import BLACK, sides_of
from canopysim.book.dark_rooms import hung, metres
from canopysim.book.exact.backward import sheet
from canopysim.book.exact.discs import disc_mesh, discs_anyhow, first_met
from canopysim.book.exact.factors import box_faces, polygon
from canopysim.book.exact.frames import Triple
from canopysim.book.exact.leaf_between import leaf_between
from canopysim.book.exact.tiles import (
    Tile,
    level_leaf,
    lit_shares,
    obj_of,
    pieces,
    scattered,
    tile_mesh,
)
from canopysim.book.readings import AtLevels, LayerSides, PlaneMean, Reading, Share
from canopysim.book.scenes import ONE_BAND, box, panel, percent, scene

BAY = (1000, 800)
# Drawn leaves keep a distance from walls, mm.
MARGIN = 2
CUTS_CM = (10, 25, 50, 60)
# Beams of daylight: zenith and the way they go, in degrees.
BEAMS = {"steep": (0.0, 0.0), "slant": (41.0, 25.0), "low": (66.0, -130.0)}


def beams(**which: tuple[float, float]) -> list[dict[str, Any]]:
    """Daylight in parallel beams, each a group of its own."""
    return [
        {"group": name, "ppfd": "100 umol/m2/s", "spectrum": ONE_BAND,
         "beam": {"zenith": f"{zenith} deg", "azimuth": f"{azimuth} deg"}}
        for name, (zenith, azimuth) in which.items()
    ]  # fmt: skip


def bay_with_mesh(
    leaf: dict[str, Any], layers: Any, *, unit: str = "mm", profile: str = "false", **parts: Any
) -> Scene:
    """Give a bay without end, open above, with the leaves of ``leaves.obj`` in it."""
    room = box("1 m", "80 cm", "1 m", ceiling="open", floor="floor")
    return scene(
        "Drawn leaves",
        **{
            "enclosure": room | {"repeat": ["width", "depth"]},
            "surfaces": {"floor": {}},
            "leaves": {"leaf": leaf},
            "canopy": {"layers": layers, "profile": profile, "meshes": [
                {"file": "leaves.obj", "unit": unit, "parts": {"*": {"leaf": "leaf"}},
                 "positions": [["0 cm", "0 cm"]], "base": "0 cm"}]},
            "fixtures": {},
            "lights": [],
        } | parts,
    )  # fmt: skip


@cache
def random_tiles() -> tuple[Tile, ...]:
    """Give level rectangles anywhere in the bay, cut at its sides."""
    whole = scattered(BAY, 70, 120, 590, 20)
    return tuple(p for tile in whole for p in pieces(tile, BAY, MARGIN))


def _random_tiles() -> Case:
    def exact() -> Exact:
        found: dict[str, Any] = {}
        tiles = random_tiles()
        layer = len(CUTS_CM) - 1 - np.searchsorted(np.array(CUTS_CM) * 10, [t.z for t in tiles])
        for name, (zenith, azimuth) in BEAMS.items():
            tan, way = np.tan(np.radians(zenith)), np.radians(azimuth)
            each, left = lit_shares(tiles, BAY, (tan * np.cos(way), tan * np.sin(way)))
            sides = np.zeros((len(CUTS_CM) - 1, 2))
            for k, tile in enumerate(tiles):
                sides[layer[k], int(tile.turned_over)] += each[k]
            found |= {f"sides, {name}": sides, f"floor, {name}": left}
        return found

    figures: dict[str, Reading] = {}
    for name in BEAMS:
        figures |= {f"sides, {name}": LayerSides(name), f"floor, {name}": Share("floor", name)}
    return Case(
        name="level leaves at random",
        chapter="leaves",
        shows="Drawn leaves hide each other: what each layer's upper and lower sides get of "
        "parallel light, some leaves turned over, the bay without end.",
        source="The bay cut along all edges of all shadows, each cell given to its highest leaf; "
        "over all places of the leaves what is left is the product of 1 - a/A.",
        fails_if="A leaf's edge were off, the nearest leaf were not the one that is met, the "
        "winding did not tell its sides, light through a repeating side came in elsewhere, or a "
        "sunbeam went another way.",
        scene=bay_with_mesh(BLACK, [f"{z} cm" for z in CUTS_CM], daylight=beams(**BEAMS)),
        files={"leaves.obj": tile_mesh(random_tiles())},
        figures=figures,
        exact=exact,
        packets=1 << 20,
        scale=1.0,
    )


# Layers of discs, from the top: between which heights, and how many.
DISC_LEVELS = ((0.44, 0.60, 22), (0.26, 0.44, 45), (0.08, 0.26, 60))
SPACING_M = 4e-4
# What the grid may leave of a share; held by a test.
DISCS_OFF = 4e-5


@cache
def _discs() -> Any:
    return discs_anyhow((BAY[0] / 1e3, BAY[1] / 1e3), DISC_LEVELS, (0.03, 0.07), 10, 77)


def _disc_layers() -> Case:
    def exact() -> Exact:
        found: dict[str, Any] = {}
        layer = np.repeat(np.arange(len(DISC_LEVELS)), [n for *_, n in DISC_LEVELS])
        for name, (zenith, azimuth) in BEAMS.items():
            tan, way = np.tan(np.radians(zenith)), np.radians(azimuth)
            each, left = first_met(_discs(), (BAY[0] / 1e3, BAY[1] / 1e3),
                                   (tan * np.cos(way), tan * np.sin(way)), SPACING_M)  # fmt: skip
            sides = np.zeros((len(DISC_LEVELS), 2))
            np.add.at(sides, layer, each)
            found |= {f"sides, {name}": sides, f"floor, {name}": left}
        return found

    figures: dict[str, Reading] = {}
    for name in BEAMS:
        figures |= {f"sides, {name}": LayerSides(name), f"floor, {name}": Share("floor", name)}
    cuts = sorted({z for low, high, _ in DISC_LEVELS for z in (low, high)})
    return Case(
        name="layers of discs inclined anyhow",
        chapter="leaves",
        shows="Discs of ten corners that hide and pierce each other, some turned over: what each "
        "layer's upper and lower sides get of parallel light.",
        source="A grid of flights 0.4 mm apart: on the floor, along the light, a "
        "disc is a polygon, and the highest disc about a point has its flight.",
        fails_if="A leaning leaf's edge were off, the nearer of two leaves were not the one that "
        "is met, its sides were told by anything but the winding, or a meeting were put into "
        "another layer.",
        scene=bay_with_mesh(BLACK, [f"{z} m" for z in cuts], unit="m", daylight=beams(**BEAMS)),
        files={"leaves.obj": disc_mesh(_discs())},
        figures=figures,
        exact=exact,
        # Cells on the discs' edges go to one or the other; held by a test.
        exact_err=dict.fromkeys(figures, DISCS_OFF),
        packets=1 << 21,
        scale=1.0,
    )


def _one_leaf() -> Case:
    upper, lower, rho_floor, rho_ceiling = (0.20, 0.35), (0.50, 0.15), 0.6, 0.4
    whole = (BAY[0] - 2 * MARGIN) * (BAY[1] - 2 * MARGIN) / (BAY[0] * BAY[1])
    names = {"above": True, "below": False}

    def exact() -> Exact:
        found: dict[str, Any] = {}
        for name, is_above in names.items():
            of = leaf_between(whole, upper, lower, rho_floor, rho_ceiling, from_above=is_above)
            found[f"sides, {name}"] = np.array([[of.upper, of.lower]])
            found[f"floor, {name}"] = of.floor
            found[f"ceiling, {name}"] = of.ceiling
            # From the ceiling comes what it reflects of what it gets, and the panel's light there.
            up = of.ceiling / (1 - rho_ceiling)
            above = {"down": is_above + rho_ceiling * up, "up": up}
            for way in ("down", "up"):
                under = getattr(of, way)
                found[f"{way} under it, {name}"] = under * 125
                found[f"{way} at levels, {name}"] = np.array([above[way], under]) * 125
            net = np.array([above["down"] - above["up"], of.down - of.up])
            found[f"net at levels, {name}"] = net * 125
            found[f"kept between levels, {name}"] = np.array([of.upper + of.lower]) * 125
        return found

    figures: dict[str, Reading] = {}
    for name in names:
        figures |= {
            f"sides, {name}": LayerSides(name),
            f"floor, {name}": Share("floor", name),
            f"ceiling, {name}": Share("ceiling", name),
            f"down under it, {name}": PlaneMean("under", "down", name),
            f"up under it, {name}": PlaneMean("under", "up", name),
            f"down at levels, {name}": AtLevels("down", name),
            f"up at levels, {name}": AtLevels("up", name),
            f"net at levels, {name}": AtLevels("net", name),
            f"kept between levels, {name}": AtLevels("absorbed", name),
        }
    room = box("1 m", "80 cm", "1 m", ceiling="pale", floor="floor")
    sizes = {n: 1.0 if isinstance(r, Share | LayerSides) else 125.0 for n, r in figures.items()}
    whole_leaf = level_leaf(MARGIN, BAY[0] - MARGIN, MARGIN, BAY[1] - MARGIN, 450)
    return Case(
        name="one drawn leaf between floor and ceiling",
        chapter="leaves",
        shows="A single leaf of unlike sides, between two unlike plates, lit from above and from "
        "below.",
        source="Four fluxes that are linear in each other, solved; the leaf leaves a slit of 2 mm "
        "at the bay's sides, through which light goes by its share of the area. That light is not "
        "even under the slit: some 10^-5 of all.",
        fails_if="Winding did not tell upper from lower, transmitted light came out on the same "
        "side, or the side by which light leaves were taken for that which it meets.",
        scene=bay_with_mesh(
            # The leaf lies in the canopy's lowest level.
            sides_of(upper, lower), ["45 cm", "50 cm"], profile="true",
            enclosure=room | {"repeat": ["width", "depth"]},
            surfaces={"floor": {"diffuse": percent(rho_floor)},
                      "pale": {"diffuse": percent(rho_ceiling)}},
            fixtures={"panel": panel("1 m", "80 cm")},
            lights=[
                {"fixture": "panel", "at": ["50 cm", "40 cm"], "height": "1 m", "group": "above"},
                {"fixture": "panel", "at": ["50 cm", "40 cm"], "height": "0 cm", "group": "below",
                 "pitch": "180 deg"},
            ],
            planes=[{"name": "under", "height": "20 cm", "cell": "1 m"}],
        ),
        files={"leaves.obj": obj_of(whole_leaf[None])},
        figures=figures,
        exact=exact,
        exact_err={n: 2e-5 * size for n, size in sizes.items()},
        packets=1 << 20,
        scale=sizes,
    )  # fmt: skip


# Upright leaves that cross in one upright axis: half of each one's way across, in 1/128 m. So all
# triangles have one centre, to the last digit, and nothing tells them apart by that.
CROSSING = ((16, 0), (15, 5), (12, 9), (9, 12), (4, 15), (0, 16), (-5, 15), (-10, 11), (-13, 8),
            (-15, 3))  # fmt: skip
STAR_AT, STAR_M, WINDOW_M, AWAY_M = (0.5, 0.5, 0.5), 0.25, (0.40, 0.30), 0.28
TOWARDS = (0.0, 50.0, 137.0)


def _star() -> Case:
    """Ten leaves that cross, under three level beams and one from straight above."""
    half = np.array([[p, q, 0.0] for p, q in CROSSING]) / 128
    rise = np.array([0.0, 0.0, STAR_M / 2])
    corners = np.array(STAR_AT) + np.stack([-half - rise, half - rise, half + rise, rise - half], 1)

    def exact() -> Exact:
        found: dict[str, float] = {"from above: leaves": 0.0, "from above: floor": 1.0}
        for azimuth in TOWARDS:
            a = np.radians(azimuth)
            wide = 2 * float(np.abs(half[:, 0] * np.sin(a) - half[:, 1] * np.cos(a)).max())
            share = wide * STAR_M / (WINDOW_M[0] * WINDOW_M[1])
            found[f"towards {azimuth:g} deg: leaves"] = share
        return found

    lights = []
    figures: dict[str, Reading] = {}
    for azimuth in TOWARDS:
        name, a = f"to-{azimuth:g}", np.radians(azimuth)
        place = np.array(STAR_AT) - AWAY_M * np.array([np.cos(a), np.sin(a), 0.0])
        lights.append(hung("window", place.tolist(), (azimuth - 90, 0, 90), group=name))
        figures[f"towards {azimuth:g} deg: leaves"] = Share("leaves", name)
    lights.append(hung("window", (*STAR_AT[:2], 0.9), group="down"))
    figures |= {"from above: leaves": Share("leaves", "down"),
                "from above: floor": Share("floor", "down")}  # fmt: skip
    return Case(
        name="leaves that cross in one axis",
        chapter="leaves",
        shows="Ten upright leaves through one axis, which no plane across parts: level beams get "
        "by them but for the widest, and light from above between them.",
        source="Half of a leaf's way across, across the beam; the widest hides the others.",
        fails_if="Triangles of one centre were lost, met twice, or never sorted.",
        scene=scene(
            "Leaves that cross", enclosure=box(),
            leaves={"leaf": BLACK},
            canopy={"layers": ["30 cm", "70 cm"], "meshes": [
                {"file": "leaf.obj", "unit": "m", "parts": {"*": {"leaf": "leaf"}},
                 "positions": [["0 cm", "0 cm"]], "base": "0 cm"}]},
            fixtures={"window": panel(metres(WINDOW_M[0]), metres(WINDOW_M[1]), "parallel")},
            lights=lights,
        ),
        files={"leaf.obj": obj_of(corners)},
        figures=figures,
        exact=exact,
        # Edges that light meets end on, to a millionth of a metre.
        exact_err=dict.fromkeys(figures, 1e-5),
        packets=1 << 20,
        scale=1.0,
    )  # fmt: skip


# One leaf that leans, its upper side up or down: turn, pitch and tilt, so that no two components of
# its normal are alike; and the ways by which needles of light come to its middle.
LEANING = {"upper side up": (115.0, 42.0, -24.0), "upper side down": (-50.0, 18.0, 145.0)}
NEEDLES = {"down": (0.0, 0.0, -1.0), "up": (0.0, 0.0, 1.0), "along": (0.8, 0.6, 0.0),
           "across": (0.3, -0.9, -0.316)}  # fmt: skip
LEAF_AT, ROOM = (0.52, 0.33, 0.41), (1.1, 0.7, 0.9)
LEAF_UPPER, LEAF_LOWER = (0.50, 0.30), (0.15, 0.40)


def _leaning(name: str, turned: Triple) -> Case:
    """One leaf that leans under four needles."""
    leaf = sheet(LEAF_AT, 0.16, 0.12, *turned)
    ways = {key: np.array(way) / np.linalg.norm(way) for key, way in NEEDLES.items()}

    def exact() -> Exact:
        found: dict[str, Any] = {}
        for key, way in ways.items():
            rho, tau = LEAF_UPPER if way @ leaf.normal < 0 else LEAF_LOWER
            back = -np.sign(way @ leaf.normal) * leaf.normal
            for face, corners in box_faces(ROOM).items():
                found[f"{face}, {key}"] = rho * polygon(LEAF_AT, back, corners) + tau * polygon(
                    LEAF_AT, -back, corners
                )
        return found

    lights = []
    for key, way in ways.items():
        # Looking along its way, 20 cm before the leaf.
        x, y, z = LEAF_AT - 0.2 * way
        tilt = np.degrees(np.arccos(-way[2]))
        turn = np.degrees(np.arctan2(-way[0], way[1]))
        lights.append(hung("needle", (x, y, z), (float(turn), 0.0, float(tilt)), group=key))
    figures: dict[str, Reading] = {
        f"{face}, {key}": Share(face, key) for key in ways for face in box_faces(ROOM)
    }
    return Case(
        name=f"what a leaning leaf scatters, {name}",
        chapter="leaves",
        shows="A leaf that leans sends what meets either side to the walls on its own side, and "
        "what goes through to those beyond.",
        source="Lambert's polygons from the spot that a needle meets, cut off by the leaf's plane.",
        fails_if="A normal were turned to the light in part, or sides or axes were exchanged.",
        scene=scene(
            "A leaf that leans",
            enclosure=box(*(f"{extent} m" for extent in ROOM)),
            leaves={"leaf": sides_of(LEAF_UPPER, LEAF_LOWER)},
            canopy={"layers": ["20 cm", "60 cm"], "meshes": [
                {"file": "leaf.obj", "unit": "m", "parts": {"*": {"leaf": "leaf"}},
                 "positions": [["0 cm", "0 cm"]], "base": "0 cm"}]},
            fixtures={"needle": panel("0.1 mm", "0.1 mm", "parallel")},
            lights=lights,
        ),
        files={"leaf.obj": obj_of(leaf.corners[None])},
        figures=figures,
        exact=exact,
        # The needles' width.
        exact_err=dict.fromkeys(figures, 2e-5),
        packets=1 << 21,
        quick=1 / 8,
        scale=1.0,
    )  # fmt: skip


CASES = (
    _random_tiles(), _disc_layers(), _one_leaf(), _star(),
    *(_leaning(name, turned) for name, turned in LEANING.items()),
)  # fmt: skip
