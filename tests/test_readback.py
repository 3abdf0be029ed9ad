"""What `check` shows: cautions, and every default once with its meaning."""

from __future__ import annotations

import copy
import io
from typing import Any

import pytest
from build import plain_box, scene_of
from rich.console import Console

from canopysim.report.defaults import DefaultUsed, defaults_used
from canopysim.report.readback import read_back
from canopysim.scene.load import load_scene
from canopysim.scene.schema import Scene
from canopysim.world.cautions import cautions
from canopysim.world.compile import compile_world


def shown(scene: Scene, width: int = 80) -> str:
    out = io.StringIO()
    Console(file=out, width=width).print(read_back(scene, compile_world(scene)))
    return out.getvalue()


def entries(scene: Scene) -> dict[str, str]:
    return {default.entry: default.value for default in defaults_used(scene)}


def hung(*lights: dict[str, Any], **changes: Any) -> dict:
    places = [{"fixture": "panel", "at": ["50 cm", "50 cm"], "height": "80 cm"} for _ in lights]
    lights_data = [{**place, **light} for place, light in zip(places, lights, strict=True)]
    return plain_box(lights=lights_data, **changes)


def test_equal_defaults_of_many_lights_are_one_line():
    found = entries(scene_of(hung({}, {}, {"pitch": "5 deg"}, {})))
    assert found["lights[1..4].turn"] == "0 deg"
    assert found["lights[1..2,4].pitch"] == "0 deg"
    assert not any(entry.startswith("lights[1].") for entry in found)


def test_numbers_within_numbers_are_merged_too():
    data = plain_box()
    strip = data["fixtures"]["panel"]["strips"][0]
    data["fixtures"]["panel"]["strips"] = [strip, strip]
    data["fixtures"]["other"] = copy.deepcopy(data["fixtures"]["panel"])
    data["fixtures"]["other"]["strips"] = [strip]
    patch = {"corner": ["1 cm", "1 cm"], "opposite": ["2 cm", "2 cm"], "surface": "black"}
    data["enclosure"]["faces"] = {"left": {"surface": "black", "patches": [patch, patch]}}
    found = entries(scene_of(data))
    assert found["fixtures.panel.strips[1..2].drop, fixtures.other.strips[1].drop"] == "0 mm"
    assert found["enclosure.faces.left.patches[1..2].open"] == "false"


def test_a_default_has_its_meaning_and_its_text():
    found = defaults_used(scene_of(plain_box()))
    assert found[0] == DefaultUsed(
        "bands",
        "[400, 500, 600, 700, 750, 800]",
        "Edges of the wavebands in nm; 400, 700 and 750 among them.",
    )
    # Named after its fixture: the default is not the same in every scene.
    assert ("lights[1].group", "panel") in {(d.entry, d.value) for d in found}
    assert all(default.meaning for default in found)


def test_what_is_stated_is_no_default_and_what_is_nothing_is_not_told(scenes_folder):
    scene = load_scene(scenes_folder / "pepper-tent.yaml")
    found = entries(scene)
    for entry in ("tracing.seed", "tracing.target", "tracing.max_packets", "canopy.seed"):
        assert not any(entry in places for places in found)
    # Left out, and meaning "none": they change nothing.
    for entry in ("tracing.max_time", "canopy.planted", "daylight"):
        assert not any(entry in places for places in found)


def test_stop_rules_that_are_filled_in_are_told():
    bare = entries(scene_of(plain_box(tracing={})))
    assert bare["tracing.max_packets"] == "2e8"
    assert "tracing.target" not in bare
    aimed = entries(scene_of(plain_box(tracing={}, planes=[{"name": "a", "height": "1 cm"}])))
    assert (aimed["tracing.target"], aimed["tracing.max_packets"]) == ("{planes: 1 %}", "2e8")
    assert "tracing.max_packets" not in entries(scene_of(plain_box(tracing={"max_time": "1 min"})))


@pytest.mark.parametrize("name", ["pepper-tent", "basil-shelf", "daylight"])
@pytest.mark.parametrize("width", [80, 120])
def test_the_list_of_defaults_fits_and_reads_in_two_lines(scenes_folder, name, width):
    scene = load_scene(scenes_folder / f"{name}.yaml")
    text = shown(scene, width).split("Defaults used\n")[1]
    listed, after = text.split("What else a scene may say: canopysim schema\n")
    lines = listed.splitlines()
    assert all(len(line) <= width and line == line.rstrip() for line in lines)
    # Nothing is lost in wrapping: entry, value and meaning follow each other.
    words = " ".join(listed.split())
    told = " ".join(f"{d.entry}: {d.value} {d.meaning}" for d in defaults_used(scene))
    assert words == told
    # Number and unit stay together.
    assert not any(line.strip() in ("%", "cm", "deg", "mm") for line in lines)
    assert len(lines) < 80
    assert after.strip() == f"Trace it with: canopysim run {scene.path}"


def test_cautions_are_shown_with_their_place_or_not_at_all(scenes_folder, demo_data):
    coarse = copy.deepcopy(demo_data)
    coarse["plants"]["pepper"]["triangles_per_leaf"] = "4"
    scene = scene_of(coarse)
    (caution,) = cautions(scene, compile_world(scene))
    _, after = shown(scene).split("\nCautions\n")
    assert " ".join(after.split("Defaults used")[0].split()) == " ".join(caution.split())
    assert "Cautions" not in shown(load_scene(scenes_folder / "single-bar.yaml"))


def test_a_rounded_batch_says_what_was_asked_for(scenes_folder):
    text = " ".join(shown(load_scene(scenes_folder / "patches.yaml")).split())
    assert "65 537 packets in a batch (65 536 asked for, rounded for each strip)." in text
    text = " ".join(shown(load_scene(scenes_folder / "pepper-tent.yaml")).split())
    assert "65 536 packets in a batch." in text
