"""Cautions: what can be traced and is probably not meant, and the geometry that finds it."""

from __future__ import annotations

import copy
import time
from typing import Any

import numpy as np
import pytest
from build import plain_box, scene_of

from canopysim.errors import SceneError
from canopysim.light.placing import BOX_FACES, box_corners, rotation
from canopysim.matter.parts import Part
from canopysim.scene.load import load_scene
from canopysim.world.cautions import cautions
from canopysim.world.compile import compile_world
from canopysim.world.overlap import Boxes, box_pairs, triangles_in_box

# --- Geometry, against cutting polygons ---


def clipped(polygon: np.ndarray, half: np.ndarray) -> np.ndarray:
    """What of a polygon lies in a box about the origin, side by side: slow and obvious."""
    for axis in range(3):
        for sign in (1.0, -1.0):
            inside = half[axis] - sign * polygon[:, axis]
            kept = []
            for k in range(len(polygon)):
                a, b = polygon[k - 1], polygon[k]
                if inside[k - 1] * inside[k] < 0:
                    kept.append(a + (b - a) * inside[k - 1] / (inside[k - 1] - inside[k]))
                if inside[k] >= 0:
                    kept.append(b)
            polygon = np.array(kept).reshape(-1, 3)
    return polygon


def some_boxes(rng: np.random.Generator, n: int, spread: float) -> Boxes:
    turned = np.array([rotation(*rng.uniform(-np.pi, np.pi, 3)).T for _ in range(n)])
    return Boxes(rng.normal(0, spread, (n, 3)), turned, rng.uniform(0.05, 1.0, (n, 3)))


def corners_of(boxes: Boxes, i: int) -> np.ndarray:
    return boxes.centre[i] + box_corners(-boxes.half[i], boxes.half[i]) @ boxes.axes[i]


def test_triangles_in_a_box_agree_with_cutting_polygons():
    rng = np.random.default_rng(8)
    boxes = some_boxes(rng, 40, 0.5)
    n_found = 0
    for i in range(40):
        corners = rng.normal(0, 0.9, (1, 1, 3)) + rng.normal(0, 0.6, (60, 3, 3))
        own = (corners - boxes.centre[i]) @ boxes.axes[i].T
        expected = [len(clipped(triangle, boxes.half[i])) > 0 for triangle in own]
        np.testing.assert_array_equal(triangles_in_box(corners, boxes, i), expected)
        n_found += sum(expected)
    assert 300 < n_found < 2100


def test_a_triangle_inside_a_box_and_one_round_it_are_found():
    box = Boxes(np.zeros((1, 3)), np.eye(3)[None], np.full((1, 3), 0.5))
    tiny = np.array([[[0.1, 0, 0], [0.2, 0, 0], [0.1, 0.1, 0]]])
    wide = 100 * np.array([[[-1.0, -1, 0], [1, -1, 0], [0, 1, 0]]])
    # Its box overlaps, its corners surround a corner of the box at a distance.
    beside = np.array([[[1.2, 0, 0], [0, 1.2, 0], [1.2, 1.2, 0]]])
    found = triangles_in_box(np.concatenate((tiny, wide, beside)), box, 0)
    np.testing.assert_array_equal(found, [True, True, False])


def test_boxes_in_each_other_agree_with_cutting_their_faces():
    rng = np.random.default_rng(9)
    first, second = some_boxes(rng, 30, 0.7), some_boxes(rng, 30, 0.7)
    found = {tuple(pair) for pair in box_pairs(first, second).tolist()}
    expected = set()
    for i in range(30):
        for j in range(30):
            # A face of either that crosses the other, or one within the other.
            for a, b, k, m in ((first, second, i, j), (second, first, j, i)):
                own = (corners_of(a, k) - b.centre[m]) @ b.axes[m].T
                if any(len(clipped(own[face], b.half[m])) for face in BOX_FACES):
                    expected.add((i, j))
    assert found == expected
    assert 100 < len(found) < 800


def test_boxes_that_touch_do_not_reach_into_each_other():
    turned = rotation(0.3, 0.2, 0.1).T
    half = np.array([[0.2, 0.3, 0.4]] * 2)
    for shift, n_pair in ((2 * 0.2, 0), (2 * 0.2 - 1e-5, 1)):
        boxes = Boxes(np.array([0 * turned[0], shift * turned[0]]), np.array([turned] * 2), half)
        assert sum(a < b for a, b in box_pairs(boxes, boxes)) == n_pair


# --- Scenes ---


def bars(*lights: dict[str, Any], drop: str = "0 mm") -> dict:
    """A box with a kind of bar 40 cm long, 4 cm wide and 3 cm high, hung as told."""
    body = {"length": "40 cm", "width": "4 cm", "height": "3 cm", "surface": "black"}
    strip = {"length": "38 cm", "width": "1 cm", "lens": "lambertian", "drop": drop}
    bar = {"body": body, "strips": [strip], "ppf": "50 umol/s", "spectrum": {"400-700": "100 %"}}
    hung = [{"fixture": "bar", "at": ["50 cm", "50 cm"], **light} for light in lights]
    return plain_box(fixtures={"bar": bar}, lights=hung)


def told(data: dict) -> list[str]:
    """Cautions without file, line and column."""
    scene = scene_of(data)
    return [line.split("  ", 1)[1] for line in cautions(scene, compile_world(scene))]


def test_bodies_in_each_other_are_told_once():
    across = {"at": ["50 cm", "60 cm"], "height": "51 cm", "turn": "90 deg"}
    assert told(bars({"height": "50 cm"}, across))[0] == (
        "lights[2]: the body of bar-2 reaches into that of bar-1 (lights[1]); "
        "hang one of them elsewhere"
    )
    assert told(bars({"height": "50 cm"}, {"height": "60 cm", "turn": "90 deg"})) == []
    row = {"count": "3", "gap": "0 cm", "direction": "depth"}
    assert told(bars({"height": "50 cm", "row": row})) == []


def test_a_bar_close_in_front_of_a_strip_is_told():
    # The upper bar's strip is 1 cm above the lower bar's body, which ends at 50 + 0.2 + 3 cm.
    above = bars({"height": "50 cm"}, {"height": "54.2 cm", "turn": "90 deg"})
    assert told(above) == [
        "lights[2]: a body of lights[1] stands less than 2 cm in front of a luminous strip and "
        "covers it at least in part; hang one of them elsewhere"
    ]
    assert told(bars({"height": "50 cm"}, {"height": "55.3 cm", "turn": "90 deg"})) == []
    # Its light leaves sideways, past the other one.
    aside = {"height": "54.2 cm", "at": ["50 cm", "56 cm"], "tilt": "90 deg"}
    assert told(bars({"height": "50 cm"}, aside)) == []


def test_a_row_that_does_not_fit_is_refused_in_one_line():
    """Four of six bars, and their strips, stick out at either end; the farthest counts."""
    row = {"count": "6", "gap": "20 cm", "direction": "depth"}
    data = bars({"height": "50 cm", "row": row, "at": ["50 cm", "55 cm"]}, {"height": "70 cm"})
    data["lights"][1]["at"] = ["15 cm", "50 cm"]
    scene = scene_of(data)
    with pytest.raises(SceneError) as caught:
        compile_world(scene)
    # The row's outermost bars stand 2.5 x 24 cm off its middle; half a bar is 2 cm.
    assert [line.split("  ", 1)[1] for line in caught.value.problems] == [
        "lights[1]: reaches 17 cm beyond the back; move it, turn it or choose a smaller fixture, "
        "or lessen the row's count or gap",
        "lights[2]: reaches 5 cm beyond the left; move it, turn it or choose a smaller fixture",
    ]


def test_a_strip_that_is_tilted_over_its_own_body_is_not_told():
    data = bars({"height": "50 cm"}, drop="8 mm")
    data["fixtures"]["bar"]["strips"][0]["tilt"] = "80 deg"
    assert told(data) == []


def test_the_demo_calls_for_no_caution(scenes_folder, demo_world):
    """A few of its leaves clear the walls by turning: less than a tenth."""
    assert 0 < sum(part.n_turned for part in demo_world.parts) < 72 * 12 / 10
    assert cautions(load_scene(scenes_folder / "pepper-tent.yaml"), demo_world) == []


def test_plants_close_to_the_walls_are_told(demo_data):
    data = copy.deepcopy(demo_data)
    data["canopy"]["plantings"][0]["area"] = {
        "corner": ["0 cm", "0 cm"], "opposite": ["60 cm", "30 cm"],
    }  # fmt: skip
    data["lights"] = data["lights"][:1]
    scene = scene_of(data)
    world = compile_world(scene)
    (line,) = cautions(scene, world)
    n_turned = sum(part.n_turned for part in world.parts)
    n_plant = sum(part.n_turned > 0 for part in world.parts)
    assert n_turned >= 72 * 12 / 10
    row, column = scene.where("canopy", "plantings", 0)
    assert line == (
        f"scene:{row}:{column}  canopy.plantings[1]: {n_turned} leaves were turned about "
        f"the stem to clear the walls, in {n_plant} plants of pepper; leave more room if yours do "
        "not grow so"
    )


def test_plants_that_grow_into_a_bar_are_told(demo_data):
    data = copy.deepcopy(demo_data)
    data["lights"][0]["height"] = "70 cm"
    lines = [line for line in told(data) if not line.startswith("canopy")]
    assert [line.split(":")[0] for line in lines] == ["lights[1]", "lights[1]"]
    for number, line in enumerate(lines, 1):
        assert f" reach into the body of long-bar-{number}; hang it elsewhere, or move" in line
        assert line.startswith("lights[1]: leaves or stems of pepper-0")


def test_coarse_leaves_are_told_where_they_are_planted(demo_data):
    data = copy.deepcopy(demo_data)
    data["plants"]["spare"] = {**data["plants"]["pepper"], "triangles_per_leaf": "4"}
    assert not any("triangles" in line for line in told(data))
    data["plants"]["pepper"]["triangles_per_leaf"] = "8"
    assert told(data)[-1] == (
        "plants.pepper.triangles_per_leaf: leaves of 8 triangles show their outline and bend "
        "coarsely, which moves up to some 2 % of the light between layers; write 12 or more"
    )
    data["plants"]["pepper"] |= {"triangles_per_leaf": "48", "ripple": {
        "waves": "2", "height": "20 %"}}  # fmt: skip
    assert not any("triangles" in line for line in told(data))
    data["plants"]["pepper"]["triangles_per_leaf"] = "40"
    assert told(data)[-1] == (
        "plants.pepper.triangles_per_leaf: leaves of 40 triangles cannot follow 2 waves of their "
        "margin, which moves up to some 9 % of the light between layers; write 48 or more, or "
        "fewer waves"
    )


@pytest.mark.parametrize("n_part", [1, 1000])
def test_many_leaves_among_many_bodies_take_no_time(demo_data, n_part):
    row = {"count": "100", "gap": "5 mm", "direction": "width"}
    data = {**bars({"height": "60 cm", "turn": "90 deg", "row": row})}
    data["enclosure"] = {"width": "5 m", "depth": "5 m", "height": "2 m", "lining": "black"}
    data["lights"][0]["at"] = ["2.5 m", "2.5 m"]
    for key in ("plants", "leaves", "canopy"):
        data[key] = demo_data[key]
    data["surfaces"]["stem"] = {}
    scene = scene_of(data)
    rng = np.random.default_rng(4)
    corners = rng.uniform(0.1, [4.9, 4.9, 1.0], (100_000, 1, 3)) + rng.normal(
        0, 0.02, (100_000, 3, 3)
    )
    corners[..., 2] = np.clip(corners[..., 2], 0.01, 1.0)
    faces = np.arange(300_000 // n_part, dtype=np.int32).reshape(-1, 3)
    parts = [
        Part(f"heap-{k}", "leaf", vertices, faces, "pepper-leaf", False)
        for k, vertices in enumerate(corners.reshape(n_part, -1, 3))
    ]
    world = compile_world(scene, plants=parts)
    begin = time.perf_counter()
    lines = cautions(scene, world)
    spent = time.perf_counter() - begin
    reached = [line for line in lines if "reach into the body of bar-" in line]
    assert len(reached) == 100
    # Half a second on a slow machine; all pairs, one by one, would take a minute.
    assert spent < 10.0
