"""Told apart: where single plants stand and what surrounds them, without a photon."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from canopysim.book.bench import load
from canopysim.book.cases.slabs import BLACK
from canopysim.book.exact.tiles import level_leaf, obj_of
from canopysim.book.facts import Fact, fact_case
from canopysim.book.scenes import Data, box, panel, scene

Array = NDArray[np.float64]
# Vertices are kept in float64; a leaf is of square centimetres.
NEAR_M2 = 1e-9

# Columns and rows of a grid, m, unevenly apart; and the room, whose plants go on where it repeats.
COLUMNS, ROWS, SIZE = (0.2, 0.5, 0.9, 1.1), (0.15, 0.4, 0.5), (1.3, 0.7, 1.0)
PLACES = ("inner", "edge", "corner")
# Plants about one, by the direction in which each stands, degrees; the widest gap says what it is.
ABOUT = {
    (0, 160, 260): "edge", (0, 110, 250): "inner", (0, 145, 255): "inner", (0, 40, 100): "corner",
    (0, 70, 138): "edge", (0, 70, 132): "corner", (0, 148, 250): "inner", (0, 152, 250): "edge",
    (20, 120, 240): "inner", (-80, 0, 70): "edge", (-110, -10, 90): "edge", (-75, 0, 75): "edge",
}  # fmt: skip
# Three plants, of whose copies beyond two sides it depends what the first one is.
AROUND_SIDES = (
    (("left", "right"), ((0.6, 0.3), (0.1, 0.4), (0.6, 0.1)), "edge"),
    (("front", "back"), ((0.6, 0.3), (0.7, 0.6), (0.5, 0.3)), "inner"),
)  # fmt: skip


def _numbers(places: list[str]) -> list[int]:
    return [PLACES.index(place) for place in places]


def _grid() -> Iterator[Fact]:
    from canopysim.world.canopy_box import places_among

    spots = np.array(list(product(COLUMNS, ROWS)))
    for name, repeating in (("no", ()), ("left and right", ("left", "right")),
                            ("front and back", ("front", "back")),
                            ("all four", ("left", "right", "front", "back"))):  # fmt: skip
        exact = [
            # How many ways the grid ends there: by its columns, by its rows.
            ("left" not in repeating and x in (COLUMNS[0], COLUMNS[-1]))
            + ("front" not in repeating and y in (ROWS[0], ROWS[-1]))
            for x, y in spots
        ]
        for k, (one, other) in enumerate(
            zip(exact, _numbers(places_among(spots, SIZE, repeating)), strict=True)
        ):
            yield f"plant {k} of a grid, {name} sides repeat", one, other, 0.0
    row = np.array([[x, 0.3] for x in COLUMNS])
    yield "a single row", [2, 1, 1, 2], _numbers(places_among(row, SIZE, ())), 0.0
    yield "a single plant", [2], _numbers(places_among(row[:1], SIZE, ())), 0.0
    # What stands beyond a side is as far as the room is wide, or deep.
    for sides, three, place in AROUND_SIDES:
        first = _numbers(places_among(np.array(three), SIZE, sides))[0]
        yield f"one of three, {sides[0]} repeats", PLACES.index(place), first, 0.0
    for turns, place in ABOUT.items():
        a = np.radians(turns)
        some = np.array([[0.0, 0.0], *zip(0.3 * np.cos(a), 0.3 * np.sin(a), strict=True)]) + 0.6
        first = _numbers(places_among(some, SIZE, ()))[0]
        yield f"one among plants at {turns} deg", PLACES.index(place), first, 0.0


# Level leaves beside their feet: low and high end along x and y, and height, m; and their feet.
LEAVES = {"broad": ((-0.03, 0.17, -0.06, 0.02, 0.25), ((0.2, 0.3), (0.7, 0.35))),
          "narrow": ((-0.02, 0.01, -0.10, 0.12, 0.31), ((0.5, 0.2),))}  # fmt: skip
STEM = (0.02, 0.04, -0.01, 0.01, 0.1)
# The highest boundary lies above the leaves; the lowest is drawn down to the lowest thing.
LAYERS, MARGIN = ("15 cm", "20 cm", "36 cm"), 1e-5 * SIZE[0]


def _in_a_scene() -> Iterator[Fact]:
    from canopysim.world.compile import compile_world

    files = {}
    for name, (leaf, _) in LEAVES.items():
        files[f"{name}.obj"] = obj_of(level_leaf(*leaf)[None])
    stem = obj_of(level_leaf(*STEM)[None]).replace(b"o leaf", b"o stem")
    files["narrow.obj"] += stem.replace(b"f 1 2 3", b"f 5 6 7").replace(b"f 1 3 4", b"f 5 7 8")
    feet = [(name, leaf, foot) for name, (leaf, all_feet) in LEAVES.items() for foot in all_feet]
    ends = np.array([[u + x0, u + x1, v + y0, v + y1] for _, (x0, x1, y0, y1, _), (u, v) in feet])
    for repeats in ((), ("width",), ("depth",)):
        room = box(*(f"{extent} m" for extent in SIZE))
        data = scene(
            "Where plants stand",
            enclosure=room | ({"repeat": list(repeats)} if repeats else {}),
            leaves={"leaf": BLACK},
            canopy={"layers": list(LAYERS), "meshes": [
                {"file": f"{name}.obj", "unit": "m", "base": "0 cm",
                 "parts": {"leaf": {"leaf": "leaf"}}
                 | ({"stem": {"stem": "black"}} if name == "narrow" else {}),
                 "positions": [[f"{u} m", f"{v} m"] for u, v in all_feet]}
                for name, (_, all_feet) in LEAVES.items()]},
            also_count={"each_plant": "true", "canopy_sides": "true"},
            fixtures={"panel": panel("20 cm", "10 cm")},
            lights=[{"fixture": "panel", "at": ["60 cm", "30 cm"], "height": "90 cm"}],
        )  # fmt: skip
        world = compile_world(load(data, files))
        assert world.splits is not None
        canopy = world.splits.canopy
        assert canopy is not None
        what = f", {repeats[0]} without end" if repeats else ""
        found = [[plant.x, plant.y, plant.leaf_area] for plant in canopy.plants]
        exact = [[(x0 + x1) / 2, (y0 + y1) / 2, (x1 - x0) * (y1 - y0)] for x0, x1, y0, y1 in ends]
        for k, (one, other) in enumerate(zip(exact, found, strict=True)):
            yield f"middle and leaf area of plant {k}{what}", one, other, 1e-8
        # In the order of the meshes; two triangles each, then those of the stem, that is no leaf.
        yield f"plant of each triangle{what}", [0, 0, 1, 1, 2, 2, -1, -1], canopy.facet_plant, 0.0
        walls = [ends[:, 0].min() - MARGIN, ends[:, 1].max() + MARGIN,
                 ends[:, 2].min() - MARGIN, ends[:, 3].max() + MARGIN]  # fmt: skip
        if "width" in repeats:
            walls[:2] = [-1e30, 1e30]
        if "depth" in repeats:
            walls[2:] = [-1e30, 1e30]
        for name, one, other in zip(("left", "right", "front", "back"), walls, canopy.box,
                                    strict=True):  # fmt: skip
            yield f"{name} end of the box{what}", one, float(other), 1e-6 * max(1.0, abs(one))
        levels = [0.36 + MARGIN, 0.20, 0.15 - MARGIN]
        yield f"levels{what}", levels, np.array(canopy.level, np.float64), 1e-6


# Mean leaf areas of a plant, m2, of the canopy or of its first planting; the leaf area index.
OF_CANOPY, OF_FIRST, INDEX, PLANTED_M2 = 0.025, 0.018, 0.35, 0.6
N_FIRST, N_SECOND, NODES = 2, 3, 4
BLADES_CM = {"broad": (9.0, 6.0), "narrow": (8.0, 3.0)}
# Flat blades of one size, of one width from base to tip.
OBLONG: Data = {"variation": "0 %", "curvature": "0 deg", "fold": "0 deg",
                "outline": ["100 %"] * 3, "size_by_node": ["100 %"] * 2}  # fmt: skip


def _areas(canopy: Data, **blade: Any) -> Array:
    """Leaf area of each plant, m2, from the triangles that are traced."""
    from canopysim.world.compile import compile_world

    herb = {"leaf": "leaf", "stem": "black", "nodes": str(NODES), "internode": "6 cm",
            "petiole_length": "3 cm", "petiole_angle": "60 deg", "variation": "30 %"}  # fmt: skip
    herb |= blade
    feet = [[f"{x} cm", f"{y} cm"] for x, y in ((25, 25), (25, 60), (70, 20), (60, 50), (95, 45))]
    first, second = feet[:N_FIRST], feet[N_FIRST:]
    data = scene(
        "Plants of stated leaf area",
        enclosure=box("1.2 m", "80 cm", "1 m"),
        leaves={"leaf": BLACK},
        plants={name: herb | dict(zip(("blade_length", "blade_width"),
                                      (f"{cm} cm" for cm in BLADES_CM[name]), strict=True))
                for name in BLADES_CM},
        canopy={"layers": "2", "plantings": [
            {"plant": "broad", "positions": first} | canopy.get("first", {}),
            {"plant": "narrow", "positions": second}]} | canopy.get("all", {}),
        fixtures={"panel": panel("20 cm", "10 cm")},
        lights=[{"fixture": "panel", "at": ["60 cm", "30 cm"], "height": "90 cm"}],
    )  # fmt: skip
    found: dict[str, float] = {}
    for part in compile_world(load(data, {})).parts:
        if part.kind == "leaf":
            a, b, c = np.moveaxis(part.vertices[part.faces], 1, 0)
            area = float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()) / 2
            found[part.name] = found.get(part.name, 0.0) + area
    return np.array([found[name] for name in sorted(found)])


def _leaf_area() -> Iterator[Fact]:
    flat = _areas({}, **OBLONG)
    each = [NODES * length * width * 1e-4 for length, width in BLADES_CM.values()]
    exact = np.repeat(each, (N_FIRST, N_SECOND))
    yield "oblong blades of no stated area", exact, flat, NEAR_M2
    own = _areas({})
    first = np.arange(len(own)) < N_FIRST
    yield "plants", N_FIRST + N_SECOND, len(own), 0.0
    whole = len(own) * OF_CANOPY
    found = _areas({"all": {"leaf_area": f"{OF_CANOPY} m2"}})
    yield "a mean of all plants", whole * own / own.sum(), found, NEAR_M2
    found = _areas({"first": {"leaf_area": f"{OF_FIRST} m2"}})
    exact = np.where(first, N_FIRST * OF_FIRST * own / own[first].sum(), own)
    yield "a mean of one planting", exact, found, NEAR_M2
    corners = {"corner": ["10 cm", "10 cm"], "opposite": ["110 cm", "70 cm"]}
    ground = {"leaf_area_index": str(INDEX), "planted": corners}
    yield "an index", INDEX * PLANTED_M2 * own / own.sum(), _areas({"all": ground}), NEAR_M2


CASES = (
    fact_case(
        "leaf area as stated",
        "leaves",
        "Plants that differ in size are enlarged alike, until all of them, or those of one "
        "planting, have the leaf area that is stated for them.",
        "Areas go with the square of a blade's length, and an oblong blade has length times width; "
        "sums over the triangles that are traced.",
        "An area were taken for a sum instead of a mean, went to another planting, or lengths grew "
        "as areas do.",
        _leaf_area,
    ),
    fact_case(
        "where single plants stand",
        "told apart",
        "Which plants of a grid or about another stand in a corner, at an edge or inside; the "
        "middle and the area of drawn leaves, and the box around them.",
        "The widest gap between neighbours; sums over rectangles.",
        "An axis were another, sides that repeat had nothing beyond them, a stem were a leaf, or "
        "the box left something out.",
        _grid, _in_a_scene,
    ),
)  # fmt: skip
