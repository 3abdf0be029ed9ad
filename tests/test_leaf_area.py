"""Leaf area as stated, for every plant, pattern and way of stating it; leaves that wrap or rise."""

from typing import Any

import numpy as np
import pytest

from canopysim.errors import SceneError
from canopysim.library.plants import PLANT_NAMES
from canopysim.matter.clearance import CLEARANCE
from canopysim.matter.parts import Part
from canopysim.matter.plants import grow_canopy
from canopysim.matter.wrap import wrap_part
from canopysim.scene.schema import Scene

WIDTH, DEPTH, HEIGHT = 1.8, 1.4, 2.6
# Plants on so much floor, and a leaf area index that they can have there.
STANDS = {
    "basil": ("6", "4", "1.1"),
    "leaf-lettuce": ("5", "4", "2.4"),
    "pepper": ("4", "3", "1.8"),
    "strawberry": ("5", "3", "1.6"),
    "tomato": ("3", "2", "1.6"),
}


def bench(
    species: str, planting: dict[str, Any], *, repeat: list[str] | None = None, **canopy: Any
) -> Scene:
    enclosure = {"width": f"{WIDTH} m", "depth": f"{DEPTH} m", "height": f"{HEIGHT} m"}
    enclosure |= {"lining": "white"} | ({"repeat": repeat} if repeat else {})
    return Scene.model_validate(
        {
            "title": "A bench",
            "enclosure": enclosure,
            "surfaces": {"white": {"diffuse": "85 %"}},
            "leaves": {"green": {"like": "pepper"}},
            "plants": {"mine": {"like": species, "leaf": "green", "stem": "green-stem"}},
            "canopy": {
                "layers": "5",
                "plantings": [{"plant": "mine", "base": "15 cm", **planting}],
                **canopy,
            },
        }
    )


def patterns(species: str) -> dict[str, dict[str, Any]]:
    columns, rows, _ = STANDS[species]
    grid = {"columns": columns, "rows": rows}
    return {
        "grid": grid,
        "offset": {**grid, "offset_rows": "true"},
        "positions": {"positions": [["50 cm", "50 cm"], ["90 cm", "80 cm"], ["1.3 m", "50 cm"]]},
    }


def summed_area(parts: list[Part]) -> float:
    """Area of all leaf triangles by Heron's rule, from their sides alone."""
    total = 0.0
    for part in parts:
        if part.kind != "leaf":
            continue
        corners = part.vertices[part.faces]
        sides = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)
        half = sides.sum(axis=1) / 2
        product = half * np.prod(half[:, None] - sides, axis=1)
        total += float(np.sqrt(np.maximum(product, 0.0)).sum())
    return total


@pytest.mark.parametrize("wrap", [False, True])
@pytest.mark.parametrize("pattern", ["grid", "offset", "positions"])
@pytest.mark.parametrize("species", PLANT_NAMES)
def test_leaf_area_is_what_is_stated(species, pattern, wrap):
    planting = patterns(species)[pattern]
    n_plant = 3 if pattern == "positions" else int(planting["columns"]) * int(planting["rows"])
    repeat = ["width", "depth"] if wrap else None
    own = {"wrap": "true"} if wrap else {}
    lai = float(STANDS[species][2]) * (0.25 if pattern == "positions" else 1.0)
    each = lai * WIDTH * DEPTH / n_plant
    targets = {
        "leaf_area_index": ({"leaf_area_index": f"{lai}"}, {}, lai * WIDTH * DEPTH),
        "leaf_area": ({"leaf_area": f"{each:.9f} m2"}, {}, each * n_plant),
        "of a planting": ({}, {"leaf_area": f"{each:.9f} m2"}, each * n_plant),
        "pruned": ({}, {"leaf_area": f"{0.5 * each:.9f} m2", "pruned_below": "21 mm"},
                   0.5 * each * n_plant),
    }  # fmt: skip
    for name, (canopy, of_planting, wanted) in targets.items():
        parts = grow_canopy(bench(species, {**planting, **of_planting}, repeat=repeat,
                                  **canopy, **own))  # fmt: skip
        assert summed_area(parts) == pytest.approx(wanted, rel=1e-6), name
        low, high = (np.array([-np.inf] * 3), np.array([np.inf] * 3))
        for part in parts:
            low = np.maximum(low, -part.vertices.min(axis=0))
            high = np.minimum(high, [WIDTH, DEPTH, HEIGHT] - part.vertices.max(axis=0))
        gap = 0.0 if wrap else CLEARANCE
        assert np.all(low[:2] <= -gap + 1e-12), name
        assert np.all(high[:2] >= gap - 1e-12), name


# Leaves that go on through sides that repeat


def parts_of(corners: np.ndarray) -> Part:
    faces = np.arange(3 * len(corners), dtype=np.int32).reshape(-1, 3)
    return Part("any", "leaf", corners.reshape(-1, 3), faces, "green", False)


def area_vectors(part: Part) -> np.ndarray:
    a, b, c = (part.vertices[part.faces[:, k]] for k in range(3))
    return 0.5 * np.cross(b - a, c - a)


def test_cut_triangles_keep_area_side_and_place():
    rng = np.random.default_rng(5)
    size = (0.7, 0.5, 2.0)
    corners = rng.uniform(-1.6, 2.2, (400, 1, 3)) + rng.normal(0.0, 0.4, (400, 3, 3))
    before = parts_of(corners)
    after = wrap_part(before, size, (0, 1))
    assert after.vertices[:, :2].min() >= 0.0
    assert np.all(after.vertices[:, :2].max(axis=0) <= size[:2])
    np.testing.assert_allclose(area_vectors(after).sum(axis=0), area_vectors(before).sum(axis=0),
                               atol=1e-9)  # fmt: skip
    total = [np.linalg.norm(area_vectors(part), axis=1).sum() for part in (before, after)]
    assert total[1] == pytest.approx(total[0], rel=1e-12)
    assert area_vectors(after)[:, 2].clip(0).sum() == pytest.approx(
        area_vectors(before)[:, 2].clip(0).sum(), rel=1e-12
    )

    def moments(part: Part) -> list[complex]:
        # Waves of the room's period do not notice where a triangle was cut and moved.
        a, b, c = (part.vertices[part.faces[:, k]] for k in range(3))
        u, v = 0.5 - np.polynomial.legendre.leggauss(24)[0] / 2, np.polynomial.legendre.leggauss(24)
        x, w = u, v[1] / 2
        area = 2 * np.linalg.norm(area_vectors(part), axis=1)
        sums = []
        for wave in ((1, 0), (0, 1), (1, -2)):
            phase = 2j * np.pi * np.array([wave[0] / size[0], wave[1] / size[1], 0.0])
            total = np.zeros(len(a), complex)
            for s, ws in zip(x, w, strict=True):
                for t, wt in zip(x, w, strict=True):
                    point = a + s * (b - a) + t * (1 - s) * (c - a)
                    total += ws * wt * (1 - s) * np.exp(point @ phase)
            sums.append(complex((area * total).sum()))
        return sums

    small = parts_of(corners[:40] * [0.4, 0.4, 1.0])
    np.testing.assert_allclose(moments(wrap_part(small, size, (0, 1))), moments(small), atol=1e-6)


def test_a_part_inside_is_left_alone():
    part = parts_of(np.random.default_rng(1).uniform(0.1, 0.4, (5, 3, 3)))
    assert wrap_part(part, (0.5, 0.5, 1.0), (0, 1)) is part


def test_where_the_canopy_wraps_no_leaf_is_turned_off_a_side():
    planting = {"positions": [["4 cm", "4 cm"]]}
    free = grow_canopy(bench("pepper", {"positions": [["90 cm", "70 cm"]]}))
    ends = bench("pepper", planting, repeat=["width", "depth"], wrap="true")
    wrapped = grow_canopy(ends)
    assert wrapped[0].n_turned == 0
    assert summed_area(wrapped) == pytest.approx(summed_area(free), rel=1e-12)
    # Moved by the distance of the two places and wrapped again, one is the other.
    shift = np.array([0.04 - 0.9, 0.04 - 0.7, 0.0])
    for one, other in zip(free, wrapped, strict=True):
        moved = Part(one.name, one.kind, one.vertices + shift, one.faces, one.surface, False)
        again = wrap_part(moved, (WIDTH, DEPTH, HEIGHT), (0, 1))
        np.testing.assert_allclose(again.vertices, other.vertices, atol=1e-9)
    turned = grow_canopy(bench("pepper", {"positions": [["20 cm", "70 cm"]]}, repeat=["width"]))
    assert turned[0].n_turned > 0


def test_sides_that_do_not_repeat_still_turn_leaves():
    one_way = bench("pepper", {"positions": [["4 cm", "20 cm"]]}, repeat=["width"], wrap="true")
    leaves = grow_canopy(one_way)[0]
    assert leaves.n_turned > 0
    assert leaves.vertices[:, 1].min() >= CLEARANCE
    assert leaves.vertices[:, 0].min() == 0.0
    assert leaves.vertices[:, 0].max() == WIDTH


# Leaves that no turn helps


def test_a_leaf_over_the_floor_rises_and_keeps_its_area():
    place = {"positions": [["90 cm", "70 cm"]]}
    free = grow_canopy(bench("strawberry", {**place, "base": "39 cm"}, leaf_area="0.4 m2"))
    low = grow_canopy(bench("strawberry", {**place, "base": "0 cm"}, leaf_area="0.4 m2"))
    assert low[0].vertices[:, 2].min() >= CLEARANCE
    assert low[0].n_turned > 0
    assert summed_area(low) == pytest.approx(summed_area(free), rel=1e-12)
    a, b = (part.vertices.reshape(16, -1, 3) for part in (free[0], low[0]))
    moved = [k for k in range(16) if not np.allclose(a[k] - [0, 0, 0.39], b[k], atol=1e-9)]
    assert 0 < len(moved) < 12
    for k in moved:
        # Rigid: all distances from the blade's base are kept.
        np.testing.assert_allclose(
            np.linalg.norm(a[k] - a[k, :1], axis=1), np.linalg.norm(b[k] - b[k, :1], axis=1),
            atol=1e-9,
        )  # fmt: skip


def test_what_fits_nowhere_is_refused_with_the_remedy():
    with pytest.raises(SceneError, match=r"no way of turning it keeps it off the walls"):
        grow_canopy(bench("leaf-lettuce", {"columns": "1", "rows": "1"}, leaf_area_index="8"))
