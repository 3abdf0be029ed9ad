"""Compound leaves: leaflets along a rachis keep shape, area and place."""

from typing import Any

import numpy as np
import pytest

from canopysim.matter.blade import bend_blades, blade_grid, triangle_areas
from canopysim.matter.clearance import CLEARANCE
from canopysim.matter.leaflets import bend_leaflets, compound_grid
from canopysim.matter.plants import grow_canopy
from canopysim.scene.schema import Scene
from canopysim.scene.schema_plant import Leaflets

OUTLINE = (0.1, 0.7, 1.0, 0.6, 0.0)
SIZE = np.array([0.6, 1.0])
LENGTH, WIDTH, RACHIS = 0.09 * SIZE, 0.05 * SIZE, 0.2 * SIZE
LEAN, BEND, FOLD = np.array([0.3, -0.4]), np.array([0.7, 0.5]), 0.2


def spec(pairs: int, size: str = "70 %", angle: str = "60 deg") -> Leaflets:
    return Leaflets.model_validate(
        {"pairs": str(pairs), "rachis_length": "20 cm", "size": size, "angle": angle}
    )


def grown(pairs: int, lean: np.ndarray = LEAN, **own: Any) -> tuple[Any, np.ndarray, np.ndarray]:
    grid = blade_grid(OUTLINE, 16)
    vertices, tip = bend_leaflets(
        grid,
        spec(pairs, **own),
        length=LENGTH,
        width=WIDTH,
        rachis=RACHIS,
        inclination=lean,
        curvature=BEND,
        fold=FOLD,
    )
    return compound_grid(grid, pairs), vertices, tip


def simple(lean: np.ndarray = LEAN) -> tuple[Any, np.ndarray]:
    grid = blade_grid(OUTLINE, 16)
    return grid, bend_blades(
        grid, length=LENGTH, width=WIDTH, inclination=lean, curvature=BEND, fold=FOLD
    )


@pytest.mark.parametrize("pairs", [1, 3, 6])
def test_areas_add_up_exactly(pairs):
    grid, vertices, _ = grown(pairs)
    one, blade = simple()
    assert grid.faces.max() == vertices.shape[1] - 1
    assert len(grid.faces) == len(one.faces) * (2 * pairs + 1)
    expected = triangle_areas(blade, one.faces).sum(axis=1) * (1 + 2 * pairs * 0.7**2)
    np.testing.assert_allclose(
        triangle_areas(vertices, grid.faces).sum(axis=1), expected, rtol=1e-13
    )


def test_the_leaflet_at_the_end_is_a_simple_blade_at_the_end_of_the_rachis():
    _, vertices, line = grown(2)
    tip = line[:, -1]
    _, blade = simple()
    down = np.stack((np.cos(LEAN), np.zeros(2), -np.sin(LEAN)), axis=1)
    np.testing.assert_allclose(tip, RACHIS[:, None] * down, atol=1e-15)
    last = vertices[:, -blade.shape[1] :]
    np.testing.assert_allclose(last, blade + tip[:, None], atol=1e-15)


def test_pairs_stand_at_equal_distances_and_their_angle_on_both_sides():
    lean = np.zeros(2)
    _, vertices, _ = grown(2, lean, angle="50 deg")
    _, blade = simple(lean)
    n_vertex = blade.shape[1]
    pieces = vertices.reshape(2, 5, n_vertex, 3)
    np.testing.assert_allclose(pieces[:, :, 0, 0], RACHIS[:, None] * [0, 0, 0.5, 0.5, 1])
    np.testing.assert_allclose(pieces[:, :, 0, 1:], 0.0, atol=1e-15)
    tip = int(np.argmax(blade[0, :, 0]))
    along = pieces[:, :, tip] - pieces[:, :, 0]
    heading = np.degrees(np.arctan2(along[..., 1], along[..., 0]))
    np.testing.assert_allclose(heading, [[50.0, -50.0, 50.0, -50.0, 0.0]] * 2, atol=1e-9)
    mirrored = pieces[:, 1::2] if pieces.shape[1] == 4 else pieces[:, 1:4:2]
    reach = np.linalg.norm(mirrored - mirrored[:, :, :1], axis=-1)
    np.testing.assert_allclose(
        reach, 0.7 * np.linalg.norm(blade, axis=-1)[:, None].repeat(2, axis=1), atol=1e-15
    )


def test_every_leaflet_shows_its_upper_side_upwards():
    grid, vertices, _ = grown(3, np.array([0.2, 0.1]))
    a, b, c = (vertices[:, grid.faces[:, k]] for k in range(3))
    assert np.all(np.cross(b - a, c - a)[..., 2] > 0.0)


PLANT = {
    "leaf": "green",
    "stem": "white",
    "nodes": "9",
    "internode": "6 cm",
    "first_leaf_height": "25 cm",
    "petiole_length": "4 cm",
    "petiole_angle": "60 deg",
    "blade_length": "7 cm",
    "blade_width": "4 cm",
    "leaflets": {"pairs": "2", "rachis_length": "10 cm"},
}


def canopy(x: str, y: str, **own: Any) -> list[Any]:
    return grow_canopy(
        Scene.model_validate(
            {
                "title": "Compound leaves",
                "enclosure": {"width": "1 m", "depth": "1 m", "height": "2 m", "lining": "white"},
                "surfaces": {"white": {"diffuse": "80 %"}},
                "leaves": {"green": {"like": "tomato"}},
                "plants": {"mine": PLANT},
                "canopy": {
                    "layers": "3",
                    "plantings": [{"plant": "mine", "positions": [[x, y]]}],
                    **own,
                },
            }
        )
    )


def test_rachises_run_from_the_petioles_to_the_last_leaflets_also_when_enlarged():
    for own in ({}, {"leaf_area": "0.12 m2"}):
        leaves, stalks = canopy("50 cm", "50 cm", **own)
        blades = leaves.vertices.reshape(9, 5, -1, 3)
        assert "leaf_area" not in own or triangle_areas(
            leaves.vertices, leaves.faces
        ).sum() == pytest.approx(0.12, rel=1e-12)
        # Prisms of four corners at both ends come last, one for each leaf.
        ends = stalks.vertices[-9 * 8 :].reshape(9, 2, 4, 3).mean(axis=2)
        np.testing.assert_allclose(ends[:, 0], blades[:, 0, 0], atol=1e-12)
        np.testing.assert_allclose(ends[:, 1], blades[:, 4, 0], atol=1e-12)


@pytest.mark.parametrize("place", [("9 cm", "9 cm"), ("91 cm", "40 cm"), ("50 cm", "8 cm")])
def test_compound_leaves_and_their_rachises_keep_off_the_walls(place):
    parts = canopy(*place)
    assert parts[0].n_turned > 0
    for part in parts:
        assert np.all(part.vertices >= CLEARANCE)
        assert np.all(part.vertices <= np.array([1.0, 1.0, 2.0]) - CLEARANCE)
