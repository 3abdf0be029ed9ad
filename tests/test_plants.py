"""Plants: leaves have the stated shape, area, side and place, and keep inside the box."""

from collections import Counter
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canopysim.errors import SceneError
from canopysim.matter.blade import triangle_areas
from canopysim.matter.clearance import CLEARANCE
from canopysim.matter.growth import grow
from canopysim.matter.planting import Site, draws, sites
from canopysim.matter.plants import grow_canopy
from canopysim.matter.stalks import prisms
from canopysim.scene.schema import Scene

PEPPER = {
    "leaf": "pepper",
    "stem": "green",
    "nodes": "24",
    "internode": "3 cm",
    "first_leaf_height": "14 cm",
    "petiole_length": "5 cm",
    "petiole_angle": "50 deg",
    "blade_length": "12 cm",
    "blade_width": "6.5 cm",
}
TIP = 4  # vertex of a blade of the default outline and number of triangles
TIDY = {**PEPPER, "variation": "0 %"}


def scene(
    plants: dict[str, Any] | None = None, plantings: list[Any] | None = None, **canopy: Any
) -> Scene:
    return Scene.model_validate(
        {
            "title": "A bench of plants",
            "bands": ["400", "700", "750", "800"],
            "enclosure": {"width": "1.5 m", "depth": "90 cm", "height": "2 m", "lining": "white"},
            "surfaces": {"white": {"diffuse": "85 %"}, "green": {"diffuse": "10 %"}},
            "leaves": {"pepper": {"like": "pepper"}},
            "plants": plants or {"pepper": PEPPER},
            "canopy": {
                "layers": "5",
                "plantings": plantings or [{"plant": "pepper", "columns": "4", "rows": "2"}],
                **canopy,
            },
        }
    )


def alone(plant: dict[str, Any], **canopy: Any) -> list[Any]:
    """Parts of one plant in the middle of the floor."""
    planting = {"plant": "pepper", "positions": [["75 cm", "45 cm"]]}
    return grow_canopy(scene({"pepper": plant}, [planting], **canopy))


def leaf_parts(parts: list[Any]) -> list[Any]:
    return [part for part in parts if part.kind == "leaf"]


def leaf_area(parts: list[Any]) -> float:
    return sum(float(triangle_areas(p.vertices, p.faces).sum()) for p in leaf_parts(parts))


def normals(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    a, b, c = (vertices[..., faces[:, k], :] for k in range(3))
    n = np.cross(b - a, c - a)
    return n / np.linalg.norm(n, axis=-1, keepdims=True)


# One plant


def test_leaf_area_is_the_sum_of_the_stated_leaves():
    plant = {**TIDY, "curvature": "0 deg", "size_by_node": ["50 %", "100 %"], "nodes": "11"}
    outline = np.array([0.08, 0.7, 1.0, 0.92, 0.66, 0.3, 0.0])
    size = np.linspace(0.5, 1.0, 11)
    expected = (size**2).sum() * 0.12 * 0.065 * (outline[1:] + outline[:-1]).mean() / 2.0
    assert leaf_area(alone(plant)) == pytest.approx(expected, rel=1e-12)


def test_spiral_internode_and_petiole_measured_on_the_mesh():
    plant = {**TIDY, "spiral": "100 deg", "size_by_node": ["100 %"]}
    leaves, stem = alone(plant)
    foot = np.array([0.75, 0.45])
    blades = leaves.vertices.reshape(24, -1, 3)
    base, tip = blades[:, 0], blades[:, TIP]
    out = base[:, :2] - foot
    heading = np.unwrap(np.arctan2(out[:, 1], out[:, 0]), period=2 * np.pi)
    turn = np.degrees(np.diff(heading)) % 360.0
    np.testing.assert_allclose(turn, 100.0, rtol=1e-9)
    # The midrib lies in the vertical plane of its petiole.
    along = tip[:, :2] - base[:, :2]
    np.testing.assert_allclose(along[:, 0] * out[:, 1] - along[:, 1] * out[:, 0], 0.0, atol=1e-12)

    np.testing.assert_allclose(np.diff(base[:, 2]), 0.03, rtol=1e-9)
    from_surface = np.linalg.norm(out, axis=1) - 0.004
    rise = base[:, 2] - (0.14 + 0.03 * np.arange(24))
    np.testing.assert_allclose(np.degrees(np.arctan2(from_surface, rise)), 50.0, rtol=1e-9)
    np.testing.assert_allclose(np.hypot(from_surface, rise), 0.05, rtol=1e-9)
    assert stem.vertices[:, 2].min() == pytest.approx(0.001)


def test_blade_angles_measured_on_the_mesh():
    leaves, _ = alone({**TIDY, "blade_angle": "20 deg", "curvature": "0 deg", "fold": "0 deg"})
    n = normals(leaves.vertices, leaves.faces)
    np.testing.assert_allclose(np.degrees(np.arccos(n[:, 2])), 20.0, rtol=1e-9)


@pytest.mark.parametrize("branches", ["1", "3"])
def test_every_leaf_shows_its_upper_side_upwards(branches):
    for part in leaf_parts(grow_canopy(scene({"pepper": {**PEPPER, "branches": branches}}))):
        # Droop at the tip is at most 10 + 9 + 44 deg, so no part of a blade hangs over.
        assert np.all(normals(part.vertices, part.faces)[:, 2] > 0.0)


def test_variation_keeps_within_its_bounds():
    plant = {**PEPPER, "variation": "20 %", "size_by_node": ["100 %"], "curvature": "0 deg"}
    leaves = leaf_parts(grow_canopy(scene({"pepper": plant})))
    size = []
    for part in leaves:
        blades = part.vertices.reshape(24, -1, 3)
        size.extend(np.linalg.norm(blades[:, TIP] - blades[:, 0], axis=1) / 0.12)
    assert 0.64 <= min(size) < 0.85
    assert 1.15 < max(size) <= 1.44
    assert len(set(size)) == len(size)


@pytest.mark.parametrize("branches", [1, 3])
def test_stems_and_petioles_are_closed_and_wound_outwards(branches):
    plant = {**TIDY, "branches": str(branches), "size_by_node": ["100 %"]}
    _, stem = alone(plant)
    assert stem.solid
    edges = np.concatenate([stem.faces[:, [0, 1]], stem.faces[:, [1, 2]], stem.faces[:, [2, 0]]])
    count = Counter(map(tuple, edges.tolist()))
    assert set(count.values()) == {1}
    assert all((b, a) in count for a, b in count)
    if branches == 1:
        a, b, c = (stem.vertices[stem.faces[:, k]] for k in range(3))
        volume = (a * np.cross(b, c)).sum() / 6.0
        stem_length = 0.14 + 23 * 0.03 + 0.004 - 0.001
        sunk = 0.5 * 0.004 / np.sin(np.deg2rad(50.0))
        expected = 3.0 * np.sin(np.pi / 3) * 0.004**2 * stem_length
        expected += 24 * 2.0 * 0.0012**2 * (0.05 + sunk)
        assert volume == pytest.approx(expected, rel=1e-9)


def test_an_upright_prism_is_closed_and_wound_outwards():
    start, end = np.zeros((2, 3)), np.array([[0.0, 0.0, 0.1], [0.0, 0.0, -0.1]])
    vertices, faces = prisms(start, end, np.array([0.01, 0.02]), 4)
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    assert (a * np.cross(b, c)).sum() / 6.0 == pytest.approx(0.1 * 2.0 * (0.01**2 + 0.02**2))


def test_branches_leave_the_fork_at_their_angle_and_end_upright():
    plant = scene({"pepper": {**TIDY, "branches": "3", "branch_angle": "30 deg"}}).plants["pepper"]
    growth = grow(Site(0, 0, "pepper-01", "pepper", 0.75, 0.45, 0.0), plant, 1)
    assert len(growth.axes) == 4
    assert len(growth.azimuth) == 72
    headings = []
    for axis in growth.axes[1:]:
        first, last = np.diff(axis, axis=0)[[0, -2]]
        lean = [np.degrees(np.arccos(d[2] / np.linalg.norm(d))) for d in (first, last)]
        np.testing.assert_allclose(lean, [30.0 * (1 - 0.5 / 24), 30.0 * 0.5 / 24], rtol=1e-9)
        headings.append(np.degrees(np.arctan2(first[1], first[0])))
    np.testing.assert_allclose(np.diff(headings) % 360.0, 120.0, rtol=1e-9)


def test_no_stem_passes_through_a_blade_of_its_plant():
    thick = {**PEPPER, "branches": "3"}
    canopy = scene({"pepper": thick}, leaf_area_index="3.0")
    growth = grow(sites(canopy)[0], canopy.plants["pepper"], 1)
    leaves = leaf_parts(grow_canopy(canopy))[0]
    triangles = leaves.vertices[leaves.faces]
    for axis in growth.axes:
        for start, end in pairwise(axis):
            columns = (triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
            matrix = np.stack((*columns, np.broadcast_to(start - end, columns[0].shape)), axis=2)
            u, v, t = np.linalg.solve(matrix, (start - triangles[:, 0])[..., None])[..., 0].T
            assert not np.any((u > 0) & (v > 0) & (u + v < 1) & (t > 0) & (t < 1))


# The canopy


@pytest.mark.parametrize("seed", ["1", "2", "77"])
@pytest.mark.parametrize("branches", ["1", "3"])
def test_leaf_area_index_is_met_exactly(seed, branches):
    plants = {"pepper": {**PEPPER, "branches": branches, "nodes": "24"}}
    parts = grow_canopy(scene(plants, leaf_area_index="2.0", seed=seed))
    assert leaf_area(parts) == pytest.approx(2.0 * 1.5 * 0.9, rel=1e-12)


def test_leaf_area_index_counts_on_the_planted_area_and_all_kinds_share_one_factor():
    small = {**TIDY, "blade_length": "6 cm", "blade_width": "4 cm", "nodes": "10"}
    plants = {"pepper": TIDY, "basil": small}
    plantings = [
        {"plant": "pepper", "columns": "2", "rows": "1"},
        {"plant": "basil", "positions": [["40 cm", "20 cm"], ["80 cm", "20 cm"]]},
    ]
    planted = {"corner": ["1.2 m", "80 cm"], "opposite": ["20 cm", "10 cm"]}
    parts = grow_canopy(scene(plants, plantings, planted=planted, leaf_area_index="1.5"))
    assert leaf_area(parts) == pytest.approx(1.5 * 1.0 * 0.7, rel=1e-12)
    bare = grow_canopy(scene(plants, plantings, planted=planted))
    shares = [leaf_area([part]) / leaf_area(parts) for part in leaf_parts(parts)]
    bare_shares = [leaf_area([part]) / leaf_area(bare) for part in leaf_parts(bare)]
    np.testing.assert_allclose(shares, bare_shares, rtol=1e-12)


def test_names_kinds_and_places():
    parts = grow_canopy(scene())
    assert [part.name for part in parts[:3]] == ["pepper-01", "pepper-01-stem", "pepper-02"]
    assert len({part.name for part in parts}) == 16
    assert {(part.kind, part.surface, part.solid) for part in parts} == {
        ("leaf", "pepper", False),
        ("stem", "green", True),
    }
    for part in parts:
        assert part.vertices.dtype == np.float64
        assert part.faces.dtype == np.int32
    places = [(site.x, site.y) for site in sites(scene())]
    np.testing.assert_allclose(places[0], (0.1875, 0.225))
    np.testing.assert_allclose(places[1], (0.5625, 0.225))
    np.testing.assert_allclose(places[4], (0.1875, 0.675))


def test_no_canopy_no_parts():
    empty = Scene.model_validate(
        {
            "title": "An empty box",
            "bands": ["400", "700", "750", "800"],
            "enclosure": {"width": "1 m", "depth": "1 m", "height": "1 m", "lining": "white"},
            "surfaces": {"white": {"diffuse": "85 %"}},
        }
    )
    assert grow_canopy(empty) == []


def same(a: Any, b: Any) -> bool:
    return a.vertices.tobytes() == b.vertices.tobytes() and a.faces.tobytes() == b.faces.tobytes()


def test_the_same_scene_grows_the_same_bytes_and_another_seed_does_not():
    first, again = grow_canopy(scene()), grow_canopy(scene())
    assert all(same(a, b) for a, b in zip(first, again, strict=True))
    other = grow_canopy(scene(seed="2"))
    assert not any(same(a, b) for a, b in zip(first, other, strict=True))


def test_another_plant_changes_no_plant_that_stood_before():
    places = [["40 cm", "30 cm"], ["80 cm", "50 cm"], ["1.1 m", "30 cm"]]
    two = grow_canopy(scene(plantings=[{"plant": "pepper", "positions": places[:2]}]))
    three = grow_canopy(scene(plantings=[{"plant": "pepper", "positions": places}]))
    assert all(same(a, b) for a, b in zip(two, three[:4], strict=True))
    assert leaf_area(three[4:]) != pytest.approx(leaf_area(three[:2]), rel=1e-6)


def test_random_numbers_have_an_address():
    site = Site(1, 2, "pepper-03", "pepper", 0.5, 0.5, 0.0)
    moved = Site(1, 2, "pepper-07", "pepper", 0.1, 0.9, 0.3)
    numbers = draws(5, site, 1, 10, 8)
    np.testing.assert_array_equal(draws(5, moved, 1, 10, 8), numbers)
    np.testing.assert_array_equal(draws(5, site, 1, 4, 8), numbers[:4])
    others = [
        draws(6, site, 1, 10, 8),
        draws(5, site, 2, 10, 8),
        draws(5, Site(2, 1, "", "", 0.0, 0.0, 0.0), 1, 10, 8),
        draws(5, Site(1, 3, "", "", 0.0, 0.0, 0.0), 1, 10, 8),
    ]
    for other in others:
        assert not np.any(other == numbers)
    assert numbers.min() >= 0.0
    assert numbers.max() < 1.0


# Walls


def test_leaves_turn_off_the_walls_and_keep_their_area():
    spot = np.array([0.08, 0.08, 0.0])
    corner = [{"plant": "pepper", "positions": [["8 cm", "8 cm"]]}]
    leaves, stem = grow_canopy(scene(plantings=corner))
    for part in (leaves, stem):
        assert part.vertices.min() >= CLEARANCE
    free, _ = alone(PEPPER)
    assert (free.n_turned, stem.n_turned) == (0, 0)
    assert leaf_area([leaves]) == pytest.approx(leaf_area([free]), rel=1e-12)

    moved = leaves.vertices.reshape(24, -1, 3) - spot
    grown = free.vertices.reshape(24, -1, 3) - [0.75, 0.45, 0.0]
    fits = (grown + spot).min(axis=(1, 2)) >= CLEARANCE
    assert 3 < fits.sum() < 21
    assert leaves.n_turned == 24 - fits.sum()
    np.testing.assert_allclose(moved[fits], grown[fits], atol=1e-12)
    for here, there in zip(moved[~fits], grown[~fits], strict=True):
        heading = [np.arctan2(blade[TIP, 1], blade[TIP, 0]) for blade in (here, there)]
        turn = np.round(np.degrees(heading[0] - heading[1] + np.pi) % 360.0 - 180.0)

        def turned(degrees: float, blade: np.ndarray = there) -> np.ndarray:
            c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
            return blade @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]) + [
                0.08,
                0.08,
                0.0,
            ]

        # A rigid turn, and the nearest one: every lesser turn to either side meets a wall.
        np.testing.assert_allclose(here + spot, turned(turn), atol=1e-9)
        for lesser in np.arange(-abs(turn) + 1, abs(turn)):
            assert turned(lesser).min() < CLEARANCE


@settings(deadline=None, max_examples=25)
@given(st.floats(9.0, 141.0), st.floats(9.0, 81.0), st.sampled_from(["1", "2"]), st.integers(0, 99))
def test_all_keeps_inside_wherever_a_plant_stands(x, y, branches, seed):
    plant = {**PEPPER, "branches": branches, "nodes": "12", "blade_length": "9 cm"}
    planting = {"plant": "pepper", "positions": [[f"{x} cm", f"{y} cm"]]}
    parts = grow_canopy(scene({"pepper": plant}, [planting], seed=str(seed)))
    for part in parts:
        assert np.all(part.vertices >= CLEARANCE)
        assert np.all(part.vertices <= np.array([1.5, 0.9, 2.0]) - CLEARANCE)


def complaint(plant: dict[str, Any], position: list[str], **canopy: Any) -> str:
    planting = [{"plant": "pepper", "positions": [["75 cm", "45 cm"], position]}]
    with pytest.raises(SceneError) as caught:
        grow_canopy(scene({"pepper": plant}, planting, **canopy))
    text = str(caught.value)
    assert "canopy.plantings[1]" in text
    return text


def test_a_stem_in_a_wall_is_refused():
    text = complaint(PEPPER, ["0.2 cm", "45 cm"])
    assert "pepper-02 at 2 mm, 45 cm: its stems take x -2 mm" in text
    assert "move the plant away from the wall" in text


def test_a_plant_taller_than_the_box_is_refused():
    text = complaint({**PEPPER, "internode": "10 cm"}, ["40 cm", "45 cm"])
    assert "its stem reaches 244.4 cm above the floor and the ceiling is at 200 cm" in text
    assert text.count("\n") == 1  # both plants are told of


def test_a_leaf_under_the_ceiling_is_refused():
    text = complaint({**PEPPER, "internode": "8 cm", "petiole_angle": "10 deg"}, ["40 cm", "45 cm"])
    assert "leaf 24 reaches 20" in text
    assert "lower base, nodes or internode" in text


def test_a_leaf_that_hangs_into_the_floor_is_refused():
    text = complaint(
        {**PEPPER, "first_leaf_height": "2 cm", "blade_angle": "60 deg"}, ["40 cm", "45 cm"]
    )
    assert "leaf 1" in text
    assert "above the floor, at least 1 mm is needed; raise base or first_leaf_height" in text


def test_a_leaf_too_long_for_the_box_is_refused():
    flat = {**TIDY, "nodes": "3", "blade_angle": "0 deg", "curvature": "0 deg"}
    text = complaint(flat, ["40 cm", "45 cm"], leaf_area_index="2.0")
    assert "no way of turning it keeps it off the walls" in text
    assert "times for the leaf area index" in text
