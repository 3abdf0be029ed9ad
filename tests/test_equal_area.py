"""Layers that hold equal leaf area: their cuts, and what a scene may say of them."""

from pathlib import Path

import numpy as np
import pytest

from canopysim.errors import SceneError
from canopysim.matter.blade import triangle_areas
from canopysim.matter.equal_area import equal_area_edges
from canopysim.matter.layers import area_by_layer
from canopysim.scene.load import load_scene
from canopysim.world.compile import compile_world
from tests.build import plain_box, scene_of

LEAVES = {
    "leaves": {"l": {"reflectance": "10 %", "transmittance": "5 %"}},
    "plants": {
        "p": {
            "leaf": "l", "stem": "black", "nodes": "9", "internode": "4 cm",
            "petiole_length": "3 cm", "petiole_angle": "60 deg", "blade_length": "12 cm",
            "blade_width": "6 cm",
        }
    },
}  # fmt: skip


def planted(layers, **canopy) -> dict:
    plantings = [{"plant": "p", "columns": "2", "rows": "2"}]
    return plain_box(**LEAVES, canopy={"layers": layers, "plantings": plantings, **canopy})


def test_an_upright_triangle_is_cut_where_its_area_says():
    """Below height h of a triangle with its tip down lies the share h²: cuts at roots."""
    tip_down = np.array([[[0.0, 0, 0], [1, 0, 1], [0, 1, 1]]])
    edges = equal_area_edges(tip_down, 4, 0.0, 1.0)
    np.testing.assert_allclose(edges, np.sqrt([0.0, 0.25, 0.5, 0.75, 1.0]), rtol=1e-13)


@pytest.mark.parametrize("count", [1, 2, 8, 200])
def test_any_heap_of_triangles_is_shared_out_equally(count):
    rng = np.random.default_rng(5)
    corners = rng.normal(size=(300, 3, 3)) * rng.uniform(0.01, 1.0, size=(300, 1, 1))
    low, high = corners[..., 2].min(), corners[..., 2].max()
    edges = equal_area_edges(corners, count, low, high)
    flat, faces = corners.reshape(-1, 3), np.arange(900, dtype=np.int32).reshape(-1, 3)
    areas = area_by_layer(flat, faces, edges)
    np.testing.assert_allclose(areas, triangle_areas(flat, faces).sum() / count, rtol=1e-9)
    assert (edges[0], edges[-1]) == (low, high)


def test_level_leaves_that_would_have_to_be_parted_are_refused():
    square = np.array([[[0.0, 0, 0.5], [1, 0, 0.5], [0, 1, 0.5]]])
    slanting = np.array([[[0.0, 0, 0.0], [1, 0, 0.2], [0, 1, 0.9]]])
    with pytest.raises(ValueError, match=r"level at 50 cm, so no height parts .* 8 equal layers"):
        equal_area_edges(np.concatenate([square, slanting]), 8, 0.0, 0.9)
    # Alone they need no parting.
    np.testing.assert_array_equal(equal_area_edges(square, 1, 0.4, 0.6), [0.4, 0.6])


def test_level_leaves_at_a_cut_are_no_obstacle():
    """Half of the area lies level at 0.2 m and half at 0.6 m: any height between them parts it."""
    low = np.array([[[0.0, 0, 0.2], [1, 0, 0.2], [0, 1, 0.2]]])
    edges = equal_area_edges(np.concatenate([low, low + np.array([0, 0, 0.4])]), 2, 0.1, 0.7)
    assert 0.2 <= edges[1] < 0.6


@pytest.mark.parametrize("seed", ["1", "2"])
def test_a_scene_gets_layers_of_equal_leaf_area(seed):
    world = compile_world(scene_of(planted({"equal_leaf_area": "6"}, seed=seed)))
    assert world.layers is not None
    leaves = [p for p in world.parts if p.kind == "leaf"]
    whole = sum(triangle_areas(p.vertices, p.faces).sum() for p in leaves)
    np.testing.assert_allclose(world.layers.leaf_area, whole / 6, rtol=1e-9)
    assert np.all(np.diff(world.layers.z_top) < 0)
    np.testing.assert_array_equal(world.layers.z_top[1:], world.layers.z_bottom[:-1])
    assert world.layers.z_top[0] == max(p.vertices[:, 2].max() for p in world.parts)


@pytest.mark.parametrize(
    ("layers", "said"),
    [
        ({"equal_leaf_area": "0"}, "canopy.layers.equal_leaf_area: '0' is out of range"),
        ({"equal_leaf_area": "many"}, "canopy.layers.equal_leaf_area: 'many' is not a whole"),
        ({"equal_area": "8"}, "canopy.layers: 'equal_area' stands here; layers are a count"),
        ({}, "canopy.layers: nothing stands in it; layers are a count"),
    ],
)
def test_what_cannot_be_meant_is_refused(layers, said):
    with pytest.raises(SceneError) as caught:
        scene_of(planted(layers))
    assert said in str(caught.value)


def test_the_demo_can_be_cut_by_leaf_area(tmp_path):
    text = Path("scenes/pepper-tent.yaml").read_text("utf-8")
    assert "  layers: 8 " in text
    file = tmp_path / "tent.yaml"
    file.write_text(text.replace("  layers: 8 ", "  layers: {equal_leaf_area: 8} "), "utf-8")
    table = compile_world(load_scene(file)).layers
    assert table is not None
    np.testing.assert_allclose(table.leaf_area, 3.0 * 1.5 * 0.9 / 8, rtol=1e-9)


def test_volumes_of_leaves_are_cut_with_the_plants():
    slab = {"shape": "slab", "leaf": "l", "bottom": "30 cm", "top": "70 cm", "leaf_area": "0.4 m2"}
    scene = planted({"equal_leaf_area": "5"}, volumes=[slab])
    table = compile_world(scene_of(scene)).layers
    assert table is not None
    assert table.leaf_area.sum() > 0.4
    np.testing.assert_allclose(table.leaf_area, table.leaf_area.sum() / 5, rtol=1e-9)
