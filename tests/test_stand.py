"""Flowers and fruit, pots, nets, offset rows, pruning: where they are, closed, and booked."""

from collections import Counter
from typing import Any

import numpy as np
import pytest
from test_library_plants import leaf_area
from test_plants import PEPPER, TIDY, alone, scene

from canopysim.errors import SceneError
from canopysim.library.surfaces import SURFACE_NAMES, library_surfaces
from canopysim.matter.blade import triangle_areas
from canopysim.matter.clearance import CLEARANCE
from canopysim.matter.planting import sites
from canopysim.matter.plants import grow_canopy
from canopysim.matter.solids import frustum, unit_solid
from canopysim.scene import load_scene_text

BALL = {"length": "5 cm", "width": "4 cm", "surface": "red-fruit", "stalk_length": "3 cm"}


def of_kind(parts: list[Any], kind: str) -> list[Any]:
    return [part for part in parts if part.kind == kind]


def volume(vertices: np.ndarray, faces: np.ndarray) -> float:
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return float((a * np.cross(b, c)).sum() / 6.0)


def is_closed(faces: np.ndarray) -> bool:
    """Every edge is passed once each way."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    count = Counter(map(tuple, edges.tolist()))
    return set(count.values()) == {1} and all((b, a) in count for a, b in count)


# Solids


@pytest.mark.parametrize("shape", ["ellipsoid", "cone"])
def test_solids_are_closed_wound_outwards_and_of_their_size(shape):
    vertices, faces = unit_solid(shape)
    assert is_closed(faces)
    np.testing.assert_allclose(np.ptp(vertices, axis=0)[2], 1.0)
    radius = np.linalg.norm(vertices[:, :2], axis=1)
    assert 0.47 < radius.max() <= 0.5
    # No larger than the body of revolution, and not much smaller.
    exact = np.pi / 6.0 if shape == "ellipsoid" else None
    found = volume(vertices, faces)
    assert found > 0.0
    if exact is not None:
        assert 0.6 * exact < found < exact
        height = vertices[:, 2]
        np.testing.assert_allclose(radius**2 + (height - 0.5) ** 2, 0.25, atol=1e-12)


def test_a_frustum_has_the_volume_of_its_prismatoid():
    vertices, faces = frustum(0.3, 0.4, 0.1, 0.3, 0.05, 0.08, 12)
    assert is_closed(faces)
    ring = 0.5 * 12 * np.sin(2 * np.pi / 12)
    expected = ring * 0.2 * (0.05**2 + 0.08**2 + 0.05 * 0.08) / 3.0
    assert volume(vertices, faces) == pytest.approx(expected, rel=1e-12)
    top = vertices[faces[-12:]]
    np.testing.assert_allclose(top[..., 2], 0.3)


# What plants bear


def test_fruit_hangs_at_the_end_of_its_stalk_opposite_to_its_leaf():
    plant = {**TIDY, "bears": [{**BALL, "stalk_angle": "90 deg", "full_after": "1"}]}
    leaves, stem, fruit = alone(plant)
    assert fruit.name == "pepper-01-red-fruit"
    assert is_closed(fruit.faces)
    balls = fruit.vertices.reshape(24, -1, 3)
    blades = leaves.vertices.reshape(24, -1, 3)
    highest = balls[..., 2].max(axis=1)
    np.testing.assert_allclose(highest, 0.14 + 0.03 * np.arange(24), atol=1e-9)
    np.testing.assert_allclose(np.ptp(balls[..., 2], axis=1), 0.05, rtol=1e-9)
    middle = balls[..., :2].mean(axis=1) - [0.75, 0.45]
    np.testing.assert_allclose(np.linalg.norm(middle, axis=1), 0.034, rtol=1e-9)
    towards = blades[:, 0, :2] - [0.75, 0.45]
    turn = np.arctan2(middle[:, 1], middle[:, 0]) - np.arctan2(towards[:, 1], towards[:, 0])
    off = np.abs((turn % (2 * np.pi)) - np.pi)
    assert off.max() < 1.0
    assert off.max() > 0.3  # not all exactly opposite
    # The stalks belong to the stem, whose pieces stay closed.
    assert is_closed(stem.faces)


def test_fruit_comes_grows_and_goes_with_the_leaves_above_it():
    ages = {"after": "2", "full_after": "6", "gone_after": "9", "first_node": "2", "every": "2"}
    plant = {**TIDY, "nodes": "16", "bears": [{**BALL, **ages}]}
    fruit = of_kind(alone(plant), "fruit")[0]
    # Node k (from 0) has age 16 - k; nodes 2, 4, ... (from 1) bear, between 2 and 9 leaves above.
    age = np.array([16 - k for k in range(1, 16, 2) if 2 < 16 - k < 9])
    heights = np.ptp(fruit.vertices.reshape(len(age), -1, 3)[..., 2], axis=1)
    np.testing.assert_allclose(heights, 0.05 * np.minimum((age - 2) / 4, 1.0), rtol=1e-9)
    young = alone({**plant, "stage": "10 %"})
    assert of_kind(young, "fruit") == []


def test_a_cluster_shares_a_stalk():
    plant = {**TIDY, "bears": [{**BALL, "number": "5", "every": "24", "stalk_length": "20 cm"}]}
    fruit = of_kind(alone(plant), "fruit")[0]
    assert len(fruit.faces) == 5 * 36
    balls = fruit.vertices.reshape(5, -1, 3)
    middle = balls.mean(axis=1)
    away = np.linalg.norm(middle[:, :2] - [0.75, 0.45], axis=1)
    assert np.all(np.diff(away) > 0.0)


@pytest.mark.parametrize("hangs", ["true", "false"])
def test_fruit_keeps_off_walls_and_lies_on_the_floor(hangs):
    bears = [{**BALL, "stalk_length": "18 cm", "stalk_angle": "150 deg", "hangs": hangs}]
    plant = {**PEPPER, "nodes": "12", "bears": bears}
    corner = [{"plant": "pepper", "positions": [["8 cm", "8 cm"]]}]
    parts = grow_canopy(scene({"pepper": plant}, corner))
    for part in parts:
        assert part.vertices.min() >= CLEARANCE - 1e-12
    fruit = of_kind(parts, "fruit")[0]
    assert fruit.vertices[:, 2].min() < CLEARANCE + 5e-3
    free = of_kind(alone(plant), "fruit")[0]
    assert triangle_areas(fruit.vertices, fruit.faces).sum() == pytest.approx(
        triangle_areas(free.vertices, free.faces).sum(), rel=1e-9
    )


def test_fruit_without_room_is_told():
    bears = [{**BALL, "stalk_length": "1.6 m"}]
    with pytest.raises(SceneError, match=r"2\d stalks with flowers or fruit have no room"):
        alone({**PEPPER, "bears": bears})


def test_what_a_plant_bears_changes_no_leaf():
    plain, bearing = alone(PEPPER), alone({**PEPPER, "bears": [BALL]})
    assert plain[0].vertices.tobytes() == bearing[0].vertices.tobytes()


# Pots


def test_pots_are_closed_with_their_soil_and_carry_the_stem():
    pot = {"diameter": "20 cm", "height": "18 cm", "bottom_diameter": "16 cm"}
    planting = [{"plant": "pepper", "positions": [["75 cm", "45 cm"]], "pot": pot}]
    parts = grow_canopy(scene({"pepper": TIDY}, planting))
    assert [part.name for part in parts] == [
        "pepper-01", "pepper-01-stem", "pepper-01-pot", "pepper-01-soil",
    ]  # fmt: skip
    wall, soil = parts[2:]
    assert (wall.surface, soil.surface, soil.kind) == ("black-plastic", "potting-mix", "pot")
    corners = np.concatenate([p.vertices[p.faces].reshape(-1, 3) for p in (wall, soil)])
    places, index = np.unique(np.round(corners, 12), axis=0, return_inverse=True)
    assert is_closed(index.reshape(-1, 3))
    assert volume(places, index.reshape(-1, 3)) > 0.0
    np.testing.assert_allclose(soil.vertices[:, 2], 0.18)
    np.testing.assert_allclose(np.linalg.norm(soil.vertices[:-1, :2] - [0.75, 0.45], axis=1), 0.1)
    assert parts[1].vertices[:, 2].min() == pytest.approx(0.18)
    assert wall.vertices[:, 2].min() == pytest.approx(CLEARANCE)
    # A pot is no canopy: the top of the canopy is the plant's.
    bare = grow_canopy(scene({"pepper": TIDY}, [{**planting[0], "pot": None} | {"base": "18 cm"}]))
    assert bare[0].vertices.tobytes() == parts[0].vertices.tobytes()


def test_a_pot_in_a_wall_is_refused():
    pot = {"diameter": "30 cm", "height": "18 cm"}
    planting = [{"plant": "pepper", "positions": [["14 cm", "45 cm"]], "pot": pot}]
    with pytest.raises(SceneError, match=r"the pot of pepper-01 at 14 cm, 45 cm needs 15\.1 cm"):
        grow_canopy(scene({"pepper": {**TIDY, "nodes": "6"}}, planting))


# Nets


def test_threads_of_a_net_cover_its_area_once():
    net = {"height": "60 cm", "mesh": "14 cm", "thread": "4 mm"}
    (part,) = of_kind(grow_canopy(scene(nets=[net])), "net")
    width, depth = 1.5 - 2 * CLEARANCE, 0.9 - 2 * CLEARANCE
    n_x, n_y = round(width / 0.14), round(depth / 0.14)
    expected = 0.004 * (n_y * width + n_x * (depth - n_y * 0.004))
    assert triangle_areas(part.vertices, part.faces).sum() == pytest.approx(expected, rel=1e-12)
    np.testing.assert_allclose(part.vertices[:, 2], 0.6)
    a, b, c = (part.vertices[part.faces[:, k]] for k in range(3))
    assert np.all(np.cross(b - a, c - a)[:, 2] > 0.0)
    # No point of the floor lies under two threads.
    low, high = (part.vertices.reshape(-1, 4, 3)[:, k, :2] for k in (0, 2))
    for k in range(len(low)):
        overlap = np.minimum(high[k], high) - np.maximum(low[k], low)
        assert np.count_nonzero((overlap > 1e-12).all(axis=1)) == 1


def test_a_net_over_a_part_of_the_floor():
    net = {"height": "60 cm", "corner": ["1.2 m", "30 cm"], "opposite": ["20 cm", "80 cm"]}
    (part,) = of_kind(grow_canopy(scene(nets=[net])), "net")
    np.testing.assert_allclose(part.vertices.min(axis=0), [0.2, 0.3, 0.6])
    np.testing.assert_allclose(part.vertices.max(axis=0), [1.2, 0.8, 0.6])


# Patterns and pruning


def test_offset_rows_stand_between_their_neighbours():
    planting = [{"plant": "pepper", "columns": "5", "rows": "3", "offset_rows": "true"}]
    spots = np.array([(site.x, site.y) for site in sites(scene(plantings=planting))])
    rows = spots.reshape(3, 5, 2)
    np.testing.assert_allclose(np.diff(rows[:, :, 0], axis=1), 0.3)
    np.testing.assert_allclose(rows[1, :, 0] - rows[0, :, 0], 0.15)
    np.testing.assert_allclose(rows[2], rows[0] + [0.0, 0.6], atol=1e-12)
    assert spots[:, 0].min() == pytest.approx(1.5 - spots[:, 0].max())


def test_pruning_takes_what_leaves_the_stem_below_a_height():
    plant = {**PEPPER, "bears": [BALL]}
    planting = {"plant": "pepper", "positions": [["75 cm", "45 cm"]], "base": "20 cm"}
    whole = grow_canopy(scene({"pepper": plant}, [planting]))
    pruned = grow_canopy(scene({"pepper": plant}, [{**planting, "pruned_below": "31 cm"}]))
    # Leaves leave at 14 cm + 3 cm k above the foot: six of them below 31 cm.
    for part, kept in ((0, 24 - 6), (2, 24 - 6)):
        before = whole[part].vertices.reshape(24, -1, 3)
        after = pruned[part].vertices.reshape(kept, -1, 3)
        np.testing.assert_array_equal(before[6:], after)
    stated = grow_canopy(
        scene({"pepper": plant}, [{**planting, "pruned_below": "31 cm", "leaf_area": "0.3 m2"}])
    )
    assert leaf_area(stated) == pytest.approx(0.3, rel=1e-12)
    with pytest.raises(SceneError, match=r"pruned_below: leaves no leaf on pepper-01 at 75 cm"):
        grow_canopy(scene({"pepper": plant}, [{**planting, "pruned_below": "1 m"}]))


# The library of surfaces


@pytest.mark.parametrize("name", SURFACE_NAMES)
def test_every_surface_of_the_library_lies_in_its_range_and_has_a_source(name):
    surface = library_surfaces()[name]
    plant = {**PEPPER, "stem": name}
    read = scene({"pepper": plant}).surfaces[name]
    mean = float(read.diffuse.values((400.0, 700.0))[0])
    assert surface.low <= mean <= surface.high
    assert read.diffuse.uncovered((300.0, 400.0, 1100.0)) is None
    assert surface.title
    assert len(surface.source) >= len("assumed")


def test_a_scenes_own_surface_wins_over_the_librarys():
    text = load_scene_text(TEXT.replace("white: {", "green-stem: {diffuse: 33 %}\n  white: {"))
    assert float(text.surfaces["green-stem"].diffuse.values((400.0, 700.0))[0]) == 0.33


def test_few_triangles_have_a_name():
    plants = {"pepper": {**PEPPER, "triangles_per_leaf": "coarse"}}
    assert scene(plants).plants["pepper"].triangles_per_leaf == 4
    with pytest.raises(SceneError, match="'rough' is not a whole number"):
        load_scene_text(TEXT.replace("leaf: green,", "leaf: green, triangles_per_leaf: rough,"))


# Mistakes

TEXT = """\
title: One plant
enclosure: {width: 1 m, depth: 1 m, height: 2 m, lining: white}
surfaces:
  white: {diffuse: 80 %}
leaves: {green: {like: pepper}}
plants:
  mine: {like: pepper, leaf: green, stem: green-stem}
canopy:
  layers: 3
  plantings:
    - {plant: mine, columns: 1, rows: 1, pot: {diameter: 20 cm, height: 18 cm}}
  nets: [{height: 60 cm}]
fixtures:
  bar:
    strips: [{length: 40 cm, width: 1 cm, lens: lambertian}]
    ppf: 50 umol/s
    spectrum: {400-700: 100 %}
lights:
  - {fixture: bar, at: [50 cm, 50 cm], height: 190 cm}
"""


def test_the_text_itself_is_sound():
    found = load_scene_text(TEXT)
    assert found.canopy.plantings[0].base == pytest.approx(0.18)
    assert {"green-stem", "black-plastic", "potting-mix", "white-net"} <= set(found.surfaces)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("height: 18 cm}", "height: 18 cm}, base: 10 cm", "base: 10 cm is the height of the soil"),
        ("height: 18 cm}", "height: 18 cm, soil: mud}", "pot.soil: 'mud' is not defined under"),
        ("{height: 60 cm}", "{height: 3 m}", "nets[1].height: 3 m is above the ceiling"),
        ("{height: 60 cm}", "{height: 60 cm, thread: 5 mm, mesh: 8 mm}", "nets[1].mesh: '8 mm'"),
        ("{height: 60 cm}", "{height: 60 cm, thread: 2 cm, mesh: 3 cm}", "nets[1].thread: 2 cm is"),
        ("{height: 60 cm}", "{height: 60 cm, corner: [1 cm, 1 cm]}", "nets[1].corner: stands"),
        ("{height: 60 cm}", "{height: 60 cm, surface: wool}", "nets[1].surface: 'wool' is not"),
        ("layers: 3", "layers: 3\n  wrap: true", "canopy.wrap: needs sides that repeat; write"),
        ("stem: green-stem", "stem: stemm", "plants.mine.stem: 'stemm' is not defined under"),
        (
            "columns: 1, rows: 1",
            "positions: [[50 cm, 50 cm]], offset_rows: true",
            "plantings[1].offset_rows: stands beside 'positions'",
        ),
        (
            "stem: green-stem",
            "stem: green-stem, stage: 30 days, full_grown_after: 20 days",
            "plants.mine.stage: '30 days' is out of range",
        ),
        (
            "stem: green-stem",
            "stem: green-stem, bears: [{length: 3 cm, width: 2 cm, surface: plum}]",
            "plants.mine.bears[1].surface: 'plum' is not defined under",
        ),
        (
            "stem: green-stem",
            "stem: green-stem, bears: [{length: 3 cm, width: 2 cm, surface: peat, shape: star}]",
            "plants.mine.bears[1].shape: 'star' is no shape known here; allowed: ellipsoid, cone",
        ),
        (
            "stem: green-stem",
            "stem: green-stem, bears: [{length: 3 cm, width: 2 cm, surface: peat, after: 4, "
            "gone_after: 4}]",
            "plants.mine.bears[1].gone_after: 4 is not more than 'after', 4",
        ),
        (
            "stem: green-stem",
            "stem: green-stem, petiole_angle: [40 deg, 190 deg]",
            "plants.mine.petiole_angle[2]: '190 deg' is out of range",
        ),
        (
            "stem: green-stem",
            "stem: green-stem, leaves_per_node: 7",
            "plants.mine.leaves_per_node: '7' is out of range; allowed is 1 to 6",
        ),
    ],
)
def test_mistakes_say_what_to_write(old, new, message):
    assert old in TEXT
    with pytest.raises(SceneError) as caught:
        load_scene_text(TEXT.replace(old, new))
    lines = str(caught.value).splitlines()
    assert len(lines) == 1, lines
    assert message in lines[0]
