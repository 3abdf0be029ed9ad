"""Plants as a turbid canopy: the two scenes, their figures, the command."""

import csv
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import yaml
from build import PlainDumper, scene_of
from test_turbid_measured import herbs

import canopysim
from canopysim.analysis.books import Estimate
from canopysim.errors import CanopysimError
from canopysim.report.simplify import simplify_table
from canopysim.scene.load import load_scene_text
from canopysim.studies.simplify import Cost, simplification_costs, simplify_scenes

TEXT = yaml.dump(herbs(), sort_keys=False, Dumper=PlainDumper)


def test_only_what_is_asked_for_changes():
    """In lines of their own or in braces: as_volume in one scene, the profile in both."""
    block = load_scene_text(TEXT)
    start = TEXT.index("canopy:")
    end = TEXT.index("\n", TEXT.index("base: 10 cm"))
    inner = yaml.safe_dump(
        yaml.load(TEXT, yaml.BaseLoader)["canopy"], default_flow_style=True, width=10_000
    )
    braces = load_scene_text(f"{TEXT[:start]}canopy: {inner.strip()}{TEXT[end:]}")
    for scene in (block, braces):
        for how in ("slab", "crowns"):
            drawn, turbid = simplify_scenes(scene, how)
            assert (drawn.canopy.as_volume, turbid.canopy.as_volume) == (None, how)
            assert drawn.canopy.profile and turbid.canopy.profile
            same = {"as_volume": None, "profile": False}
            assert drawn.canopy.model_copy(update=same) == scene.canopy
            assert turbid.canopy.model_copy(update=same) == scene.canopy
            assert turbid.fixtures == scene.fixtures
            assert f"as_volume: {how}" in turbid.text


def test_a_stated_profile_is_kept_and_single_triangles_are_left_out():
    data = herbs(profile="false") | {"also_count": {"leaf_facets": "true", "first_flight": "true"}}
    drawn, turbid = simplify_scenes(scene_of(data), "slab")
    for scene in (drawn, turbid):
        assert not scene.canopy.profile
        assert not scene.also_count.leaf_facets
        assert scene.also_count.first_flight


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (herbs(as_volume="slab"), "canopy.as_volume: takes the leaves as turbid already; leave it"),
        (
            herbs(plantings=[], volumes=[{"shape": "slab", "leaf": "leaf", "bottom": "5 cm",
                                          "top": "20 cm", "leaf_area_index": "1"}]),
            "canopy: has no plants and no meshes whose leaves could be taken as",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_simplified(data, message):
    if not data["canopy"]["plantings"]:
        del data["canopy"]["leaf_area_index"]
    with pytest.raises(CanopysimError, match=message):
        simplify_scenes(scene_of(data), "slab")


def test_change_has_the_errors_of_both():
    cost = Cost("x", "", Estimate(4.0, 0.04), Estimate(5.0, 0.03))
    assert cost.change.value == pytest.approx(0.25)
    assert cost.change.std_err == pytest.approx(np.hypot(0.03 / 4, 1.25 * 0.01))
    assert np.isnan(Cost("x", "", Estimate(0.0, 0.0), Estimate(5.0, 0.03)).change.value)


def test_nothing_changes_between_equal_results():
    """A result against itself, figure by figure; the shares are those of the result."""
    scene = simplify_scenes(scene_of(herbs(crop="basil")), "slab")[0]
    result = canopysim.run(scene, max_packets=33_000, target={"layers": 1e-9})
    costs = simplification_costs(result, result)
    assert [c.name for c in costs][-3:] == [
        "absorbed by all leaves",
        "absorbed by the floor",
        "extinction coefficient k of the net flux",
    ]
    assert all(c.change.value == 0 for c in costs if np.isfinite(c.change.value))
    share = result.ends["share"].sel(group="all", band="400-700", end="leaves")
    assert costs[-3].drawn.value == pytest.approx(float(share))
    layers = result.layers["absorbed_per_ground_area"].sel(group="all", band="400-700", side="both")
    assert [c.drawn.value for c in costs[:-3]] == pytest.approx(layers.values.tolist())
    table = simplify_table(result, result, "slab")
    assert len(table.rows) == len(costs) + 8
    assert {len(row) for row in table.rows} == {4}


def command(*arguments: str, cwd: Path) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, "-m", "canopysim", *arguments], cwd=cwd, capture_output=True, text=True,
        check=False, env=os.environ | {"COLUMNS": "120"},
    )  # fmt: skip


def test_the_command_traces_both_and_tells_the_cost(tmp_path):
    (tmp_path / "herbs.yaml").write_text(TEXT)
    answer = command("simplify", "herbs.yaml", "--as", "crowns", "--max-packets", "40000",
                     "--seed", "3", cwd=tmp_path)  # fmt: skip
    assert answer.returncode == 0, answer.stderr
    for words in ("What it costs to take the leaves as small and loose, in crowns", "As turbid",
                  "All leaves together: "):  # fmt: skip
        assert words in answer.stdout
    folder = tmp_path / "results" / "herbs-as-crowns"
    drawn, turbid = (canopysim.Result.load(folder / n) for n in ("as-drawn", "as-crowns"))
    assert drawn.n_packet == turbid.n_packet
    assert drawn.digest != turbid.digest
    with (folder / "simplify.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["figure"] for row in rows[:2]] == ["absorbed by layer 1 (top)",
                                                   "absorbed by layer 2"]  # fmt: skip
    assert float(rows[8]["turbid"]) == pytest.approx(
        float(turbid.ends["share"].sel(group="all", band="400-700", end="leaves")), rel=1e-6
    )
    assert "drawn at random" in (folder / "as-crowns" / "report.html").read_text()
    # The trace of the turbid canopy is taken up by its own scene text.
    answer = command("resume", str(folder / "as-crowns"), "--max-packets", "70000", cwd=tmp_path)
    assert answer.returncode == 0, answer.stderr


def test_the_command_refuses_other_shapes(tmp_path):
    (tmp_path / "herbs.yaml").write_text(TEXT)
    answer = command("simplify", "herbs.yaml", "--as", "cubes", cwd=tmp_path)
    assert answer.returncode == 2
    assert answer.stderr == "--as: 'cubes' is not known; allowed: slab, crowns\n"
    assert not (tmp_path / "results").exists()
