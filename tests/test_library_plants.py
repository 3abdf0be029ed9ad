"""Plants of the library, stages of growth, and leaf area per plant."""

from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from canopysim.errors import CanopysimError, SceneError
from canopysim.library.plants import PLANT_NAMES, library_plant, read_plant
from canopysim.matter.blade import triangle_areas
from canopysim.matter.layers import area_by_layer
from canopysim.matter.plants import grow_canopy
from canopysim.matter.stage import grown_shares
from canopysim.report.plant_lines import plant_lines
from canopysim.scene import load_scene_text, schema_json
from canopysim.scene.schema import Scene

OWN = {"leaf": "green", "stem": "green"}
ALONE = {"plant": "mine", "positions": [["1.5 m", "1.5 m"]]}


def scene(
    plants: dict[str, Any], plantings: list[dict[str, Any]] | None = None, **canopy: Any
) -> Scene:
    return Scene.model_validate(
        {
            "title": "A bench of plants",
            "enclosure": {"width": "3 m", "depth": "3 m", "height": "3 m", "lining": "white"},
            "surfaces": {"white": {"diffuse": "85 %"}, "green": {"diffuse": "10 %"}},
            "leaves": {"green": {"like": "pepper"}},
            "plants": plants,
            "canopy": {"layers": "5", "plantings": plantings or [ALONE], **canopy},
        }
    )


def alone(name: str, seed: int = 1, **own: Any) -> list[Any]:
    """Leaf and stem part of one library plant."""
    return grow_canopy(scene({"mine": {"like": name, **OWN, **own}}, seed=str(seed)))


def leaf_area(parts: list[Any]) -> float:
    leaves = [part for part in parts if part.kind == "leaf"]
    return sum(float(triangle_areas(part.vertices, part.faces).sum()) for part in leaves)


def top(parts: list[Any]) -> float:
    return max(float(part.vertices[:, 2].max()) for part in parts)


# The library


@pytest.mark.parametrize("name", PLANT_NAMES)
def test_every_entry_of_a_library_plant_is_known_and_has_a_source(name):
    plant = library_plant(name)
    assert plant.title
    assert plant.conditions
    assert plant.parameters.keys() | {"height", "leaf_angle"} == plant.sources.keys()
    assert all(len(source) >= len("assumed") for source in plant.sources.values())
    grown = scene({"mine": {"like": name, **OWN}}).plants["mine"]
    assert plant.parameters.keys() <= grown.model_fields_set


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("name", PLANT_NAMES)
def test_library_plants_are_as_high_and_lean_as_their_files_say(name, seed):
    plant = library_plant(name)
    parts = alone(name, seed)
    assert plant.height[0] <= top(parts) <= plant.height[1]
    leaves = parts[0]
    a, b, c = (leaves.vertices[leaves.faces[:, k]] for k in range(3))
    double = np.cross(b - a, c - a)
    area = np.linalg.norm(double, axis=1)
    angle = np.arccos(np.abs(double[:, 2]) / area)
    assert plant.leaf_angle[0] <= (angle * area).sum() / area.sum() <= plant.leaf_angle[1]


@pytest.mark.parametrize("stage", ["5 %", "35 %", "100 %"])
@pytest.mark.parametrize("name", PLANT_NAMES)
def test_library_plants_are_sound_meshes_and_clipping_keeps_their_area(name, stage):
    parts = alone(name, stage=stage)
    for part in parts:
        assert np.all(np.isfinite(part.vertices))
        assert np.all(part.vertices > 0.0)
        areas = triangle_areas(part.vertices, part.faces)
        longest = np.linalg.norm(np.diff(part.vertices[part.faces], axis=1), axis=2).max(axis=1)
        assert np.all(areas > 1e-4 * longest**2)
    assert leaf_area(parts) > 0.0
    edges = np.linspace(0.0, top(parts), 8)
    clipped = area_by_layer(parts[0].vertices, parts[0].faces, edges)
    assert clipped.sum() == pytest.approx(leaf_area(parts), rel=1e-12)


@pytest.mark.parametrize("name", PLANT_NAMES)
def test_same_seed_same_plant_other_seed_other_plant(name):
    first, again, other = alone(name, 5), alone(name, 5), alone(name, 6)
    assert [p.vertices.tobytes() for p in first] == [p.vertices.tobytes() for p in again]
    assert first[0].vertices.tobytes() != other[0].vertices.tobytes()


def test_a_plant_like_one_of_the_library_is_that_one_written_out():
    stock = library_plant("tomato").parameters
    written = grow_canopy(scene({"mine": {**OWN, **stock}}))
    named = alone("tomato")
    assert [p.vertices.tobytes() for p in written] == [p.vertices.tobytes() for p in named]


def test_a_scenes_own_entries_win_and_the_rest_is_the_librarys():
    stock = scene({"mine": {"like": "tomato", **OWN}}).plants["mine"]
    own = {"nodes": "7", "stem_radius": "3 mm", "leaflets": {"pairs": "2"}}
    mine = scene({"mine": {"like": "tomato", **OWN, **own}}).plants["mine"]
    assert (mine.nodes, mine.stem_radius) == (7, 0.003)
    assert mine.leaflets.pairs == 2
    assert mine.leaflets.rachis_length == stock.leaflets.rachis_length
    changed = {"nodes", "stem_radius", "leaflets"}
    assert mine.model_dump(exclude=changed) == stock.model_dump(exclude=changed)
    n_leaflet = 7 * 5
    assert len(alone("tomato", **own)[0].faces) == n_leaflet * stock.triangles_per_leaf


def test_without_like_all_must_be_written():
    schema = schema_json()["$defs"]["Plant"]
    assert sorted(schema["required"]) == ["leaf", "stem"]
    assert {"required": ["like"]} in schema["anyOf"]
    whole = next(entry["required"] for entry in schema["anyOf"] if "like" not in entry["required"])
    assert set(whole) == {
        "nodes",
        "internode",
        "petiole_length",
        "petiole_angle",
        "blade_length",
        "blade_width",
    }


def test_an_unknown_library_plant_is_told_with_the_list():
    with pytest.raises(CanopysimError, match="allowed: basil, leaf-lettuce, pepper, straw"):
        library_plant("oak")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("title:", "name:", "'title'"),
        ("low: 60 cm", "low: 60", "has no unit"),
        ("low: 60 cm", "low: 600 cm", "ranges.height is empty"),
        ("internode: {value: 5.5 cm, source: assumed}", "internode: {value: 5.5 cm}", "'source'"),
        ("internode: {value: 5.5 cm, source: assumed}", "internode: 5.5 cm", "cannot be read"),
        ("value: 5.5 cm, source: assumed", "value: 5.5 cm, source: ' '", "internode has no source"),
    ],
)
def test_a_damaged_plant_file_is_refused(old, new, message):
    from importlib.resources import files

    text = files("canopysim.library").joinpath("plants", "pepper.yaml").read_text("utf-8")
    assert read_plant("pepper", text) == library_plant("pepper")
    assert old in text
    with pytest.raises(CanopysimError, match=message):
        read_plant("pepper", text.replace(old, new))


# Stages


STAGES = [5, 6, 9, 10, 11, 17, 25, 33, 50, 51, 60, 75, 90, 99, 100]


@pytest.mark.parametrize("name", PLANT_NAMES)
def test_leaf_area_and_height_never_fall_from_stage_to_stage(name):
    grown = [alone(name, stage=f"{stage} %") for stage in STAGES]
    areas = [leaf_area(parts) for parts in grown]
    stems = [float(parts[1].vertices[:, 2].max()) for parts in grown]
    assert all(b > a for a, b in pairwise(areas))
    assert all(b >= a for a, b in pairwise(stems))
    assert all(b >= a for a, b in pairwise(top(parts) for parts in grown))
    assert areas[0] < 0.01 * areas[-1]


@pytest.mark.parametrize("name", PLANT_NAMES)
def test_a_plant_at_its_full_stage_is_full_grown(name):
    full, bare = alone(name, stage="100 %"), alone(name)
    assert [p.vertices.tobytes() for p in full] == [p.vertices.tobytes() for p in bare]
    assert [p.faces.tobytes() for p in full] == [p.faces.tobytes() for p in bare]


def test_leaves_unfold_while_five_more_come_out_or_the_rest():
    mine = {"like": "pepper", **OWN, "nodes": "10"}

    def shares(stage: str) -> np.ndarray:
        return grown_shares(scene({"mine": {**mine, "stage": stage}}).plants["mine"])

    np.testing.assert_allclose(shares("60 %"), [1.0, 1.0, 0.8, 0.6, 0.4, 0.2], rtol=1e-12)
    np.testing.assert_allclose(shares("90 %")[5:], [0.8, 0.75, 2 / 3, 0.5], rtol=1e-12)
    np.testing.assert_allclose(shares("5 %"), [0.1], rtol=1e-12)
    np.testing.assert_array_equal(shares("100 %"), np.ones(10))


def test_a_young_plants_lengths_are_the_shares_of_the_full_grown_ones():
    tidy = {"nodes": "10", "branches": "1", "variation": "0 %", "internode_by_node": ["100 %"]}
    full, young = alone("pepper", **tidy), alone("pepper", **tidy, stage="60 %")
    shares = np.array([1.0, 1.0, 0.8, 0.6, 0.4, 0.2])
    n_vertex = len(full[0].vertices) // 10
    spans = []
    for parts in (full, young):
        blades = parts[0].vertices.reshape(-1, n_vertex, 3)
        spans.append(np.linalg.norm(blades[:, 0] - blades[:, n_vertex - 1], axis=1))
    np.testing.assert_allclose(spans[1], spans[0][:6] * shares, rtol=1e-9)
    stem = 0.12 + 0.055 * shares[1:].sum() + 0.6 * 0.005
    tube = young[1].vertices[:12]  # two rings of six corners
    assert tube[:, 2].max() == pytest.approx(stem, abs=1e-12)
    assert np.ptp(tube[:, 0]) == pytest.approx(2 * 0.6 * 0.005, abs=1e-12)


# Leaf area per plant


def test_leaf_area_of_a_planting_is_met_exactly_and_leaves_the_others_alone():
    plants = {"mine": {"like": "pepper", **OWN}, "other": {"like": "basil", **OWN}}
    places = [["60 cm", "60 cm"], ["1.2 m", "60 cm"], ["1.8 m", "60 cm"]]
    other = {"plant": "other", "positions": [["1.5 m", "2 m"]]}
    bare = grow_canopy(scene(plants, [{"plant": "mine", "positions": places}, other]))
    stated = {"plant": "mine", "positions": places, "leaf_area": "0.35 m2"}
    parts = grow_canopy(scene(plants, [stated, other]))
    mine, its = ([p for p in each if p.name.startswith("mine")] for each in (parts, bare))
    assert leaf_area(mine) == pytest.approx(3 * 0.35, rel=1e-12)
    others = [[p.vertices.tobytes() for p in each if p.name.startswith("other")]
              for each in (parts, bare)]  # fmt: skip
    assert others[0] == others[1] != []
    # What makes one plant larger than its neighbour is kept.
    grown = [[p for p in each if p.kind == "leaf"] for each in (mine, its)]
    shares = [leaf_area([one]) / leaf_area([other]) for one, other in zip(*grown, strict=True)]
    np.testing.assert_allclose(shares, shares[0], rtol=1e-12)


@pytest.mark.parametrize("name", PLANT_NAMES)
def test_leaf_area_of_a_canopy_is_the_mean_of_its_plants(name):
    places = [["60 cm", "1.5 m"], ["1.5 m", "1.5 m"]]
    planting = {"plant": "mine", "positions": places, "base": "10 cm"}
    wanted = leaf_area(alone(name)) * 1.5
    plants = {"mine": {"like": name, **OWN, "stage": "80 %"}}
    parts = grow_canopy(scene(plants, [planting], leaf_area=f"{wanted * 1e4:.6f} cm2"))
    assert leaf_area(parts) == pytest.approx(2 * wanted, rel=1e-8)


def test_leaves_too_large_for_the_room_are_told_with_the_leaf_area():
    with pytest.raises(SceneError, match=r"enlarged .* times for the leaf area,") as caught:
        grow_canopy(scene({"mine": {"like": "pepper", **OWN}}, leaf_area="200 m2"))
    assert "leaf area index" not in str(caught.value)


# Mistakes


TEXT = """\
title: One plant
enclosure: {width: 1 m, depth: 1 m, height: 2 m, lining: white}
surfaces: {white: {diffuse: 80 %}}
leaves: {green: {like: pepper}}
plants:
  mine: {like: pepper, leaf: green, stem: white}
canopy:
  layers: 3
  plantings:
    - {plant: mine, columns: 1, rows: 1}
fixtures:
  bar:
    strips: [{length: 40 cm, width: 1 cm, lens: lambertian}]
    ppf: 50 umol/s
    spectrum: {400-700: 100 %}
lights:
  - {fixture: bar, at: [50 cm, 50 cm], height: 190 cm}
"""


def complaints(old: str, new: str) -> list[str]:
    assert old in TEXT
    with pytest.raises(SceneError) as caught:
        load_scene_text(TEXT.replace(old, new))
    return str(caught.value).splitlines()


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "leaf: green",
            "leaf: green, stage: 0 %",
            "plants.mine.stage: '0 %' is too small; allowed is 5 % or more",
        ),
        ("leaf: green", "leaf: green, stage: 0.6", "'0.6' has no % sign"),
        ("leaf: green", "leaf: green, node: 3", "plants.mine.node: is not known here; did you"),
        ("leaf: green, ", "", "plants.mine.leaf: is missing"),
        ("like: pepper, leaf", "like: [pepper], leaf", "plants.mine.like: a list stands here"),
        ("like: pepper, leaf", "like: paper, leaf", "did you mean 'pepper'? allowed: basil, leaf-"),
        ("rows: 1", "rows: 1, leaf_area: 0.3", "plantings[1].leaf_area: '0.3' has no unit"),
        ("rows: 1", "rows: 1, leaf_area: 3 cm", "'3 cm'"),
        ("rows: 1", "rows: 1, leaf_area: -3 m2", "is negative; an area is at least 0 m2"),
        ("rows: 1", "rows: 1, leaf_area: 0 m2", "is too small; allowed is 0.01 cm2 or more"),
    ],
)
def test_mistakes_say_what_to_write(old, new, message):
    assert any(message in line for line in complaints(old, new)), complaints(old, new)


def test_leaf_area_is_stated_once():
    both = complaints("  layers: 3", "  layers: 3\n  leaf_area_index: 2\n  leaf_area: 0.3 m2")
    assert len(both) == 1
    assert "canopy.leaf_area: stands beside 'leaf_area_index'" in both[0]
    for key, value in (("leaf_area_index", "2"), ("leaf_area", "0.3 m2")):
        text = TEXT.replace("rows: 1", "rows: 1, leaf_area: 0.3 m2")
        with pytest.raises(SceneError) as caught:
            load_scene_text(text.replace("  layers: 3", f"  layers: 3\n  {key}: {value}"))
        assert "canopy.plantings[1].leaf_area: stands under a canopy with" in str(caught.value)
        assert f"'{key}'" in str(caught.value)


def test_areas_are_read_in_both_units():
    def stated(text: str) -> float:
        read = load_scene_text(TEXT.replace("rows: 1", f"rows: 1, leaf_area: {text}"))
        return read.canopy.plantings[0].leaf_area

    assert stated("0.35 m²") == stated("3500 cm2") == 0.35


# What `check` tells


def test_check_tells_what_is_the_librarys_and_how_far_it_has_grown():
    new = "leaf: green, stage: 50 %, nodes: 10, internode: 4 cm"
    stock = library_plant("pepper")
    taken = stock.parameters.keys() - {"nodes", "internode"}
    assumed = sum(stock.sources[key].startswith("assumed") for key in taken)
    assert 0 < assumed < len(taken)
    told = plant_lines(load_scene_text(TEXT.replace("leaf: green", new)))
    assert [line for line in told if not line.startswith("surface")] == [
        f"mine: {len(taken)} entries are those of the library's pepper, {assumed} of them assumed; "
        "put in what you have measured.",
        "mine: at stage 50 %, 5 of 10 leaves of each stem are out, 1 of them full grown.",
    ]
    assert told[2] == (
        "surface white-petal is the library's: White petals, 60 % of 400–700 nm, usually 50 % to "
        "70 % (usual range; its middle is assumed, alike at all wavelengths)."
    )
    whole = {**OWN, **stock.parameters}
    assert plant_lines(scene({"mine": whole})) == []
