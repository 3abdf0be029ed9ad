"""The torture scene and its endless twin run under every option, and agree with themselves."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import yaml
from build import PlainDumper, scene_of
from torture import (
    EVERYTHING,
    closed_torture,
    cloudy_torture,
    drawn_torture,
    endless_torture,
    load_drawn,
    planted_torture,
    torture,
)

import canopysim
from canopysim.tallies.books import imbalance, launched_quanta
from canopysim.world.compile import compile_world

BOOKS = ("absorbed", "crossed_sum", "met", "counters")
SPLITS = {key: EVERYTHING[key] for key in EVERYTHING if key not in ("launch_cells", "on_cells")}


def command(*arguments, cwd: Path) -> str:
    """Run canopysim as a user does; give what it prints."""
    answer = subprocess.run(
        [sys.executable, "-m", "canopysim", *map(str, arguments)],
        cwd=cwd, capture_output=True, text=True, check=False,
        env=os.environ | {"COLUMNS": "100"},
    )  # fmt: skip
    assert answer.returncode == 0, answer.stderr
    return answer.stdout


@pytest.fixture(scope="module", params=["open", "endless", "drawn"])
def folder(request, tmp_path_factory) -> Path:
    make = {"open": torture, "endless": endless_torture, "drawn": drawn_torture}[request.param]
    place = tmp_path_factory.mktemp(request.param)
    data = make(3000) | {"also_count": SPLITS}
    data["canopy"] = data["canopy"] | {"crop": "basil"}
    (place / "torture.yaml").write_text(yaml.dump(data, Dumper=PlainDumper))
    if request.param == "drawn":
        load_drawn(place, data)
    return place


def test_every_command_and_option(folder):
    """check, run with every option, resume, follow: the last figures are those of one long run."""
    text = command("check", "torture.yaml", cwd=folder)
    assert "no problem found" in text
    command("run", "torture.yaml", "--out", "short", "--seed", "5", "--threads", "1",
            "--max-packets", "9000", "--target", "layers: 0.1 %", "--target", "planes: 0.1 %",
            "--max-time", "10 min", cwd=folder)  # fmt: skip
    for mesh in folder.glob("*.obj"):
        mesh.rename(mesh.with_suffix(".away"))  # a run keeps what it was traced with
    command("resume", "short", "--max-packets", "20000", "--threads", "2", cwd=folder)
    for mesh in folder.glob("*.away"):
        mesh.rename(mesh.with_suffix(".obj"))
    short = canopysim.Result.load(folder / "short")
    scene = canopysim.load(folder / "torture.yaml")
    long = canopysim.run(scene, seed=5, max_packets=20_000, target={"layers": 1e-9})
    assert short.n_batch == long.n_batch > 4
    for name in (*BOOKS, "split_absorbed", "split_crossed", "facet_absorbed"):
        assert short.rows[name].identical(long.rows[name]), name
    assert int(long.rows["counters"][2]) == 0
    page = (folder / "short" / "report.html").read_text()
    for words in ("Light told apart", "What each layer of leaves gets", "Where the photons ended"):
        assert words in page
    for name in ("layers.csv", "told-apart.csv", "map-inside.csv", "scene.png", "result.nc"):
        assert (folder / "short" / name).stat().st_size > 0
    assert "Path in" in command("follow", "short", "7:0:3", cwd=folder)


@pytest.mark.parametrize(
    "make", [torture, endless_torture, closed_torture, cloudy_torture, drawn_torture]
)
def test_books_balance_and_no_photon_is_lost(make, tmp_path):
    """Two hundred thousand packets of every kind: to the quantum, in every channel and band."""
    data = make(20_000)
    scene = load_drawn(tmp_path, data) if make is drawn_torture else scene_of(data)
    world = compile_world(scene)
    result = canopysim.run(scene, world=world, max_packets=200_000, target={"layers": 1e-9})
    absorbed = result.rows["absorbed"].values
    left = imbalance(absorbed.sum(0), launched_quanta(world) * result.n_batch)
    assert (left == 0).all()
    assert int(result.rows["counters"][2]) == 0


def test_a_drawn_plant_beside_grown_ones(tmp_path):
    """A mesh file among library plants, fruit, a pot and a net: the books balance all the same."""
    scene = canopysim.load(planted_torture(tmp_path, 20_000))
    world = compile_world(scene)
    assert "drawn-01" in {part.name for part in world.parts}
    result = canopysim.run(scene, world=world, max_packets=100_000, target={"layers": 1e-9})
    absorbed = result.rows["absorbed"].values
    assert (imbalance(absorbed.sum(0), launched_quanta(world) * result.n_batch) == 0).all()
    assert int(result.rows["counters"][2]) == 0
    met = {"leaves", "stems", "flowers and fruit", "pots and soil", "nets"}
    shares = result.ends["share"].sel(group="all", band="400-700")
    assert all(float(shares.sel(end=end)) > 0 for end in met)


def test_walls_as_triangles_are_the_walls():
    """The closed twin with its walls as triangles: the same light at every end, within chance."""
    scene = scene_of(closed_torture(20_000))
    shares = []
    for walls in (None, 500):
        world = compile_world(scene, wall_triangles=walls)
        result = canopysim.run(scene, world=world, max_packets=400_000, target={"layers": 1e-9})
        found = result.ends.sel(group="all", band="400-700")
        shares.append(found)
    one, other = shares
    for end in one["end"].values:
        a, b = one.sel(end=end), other.sel(end=end)
        error = np.hypot(float(a["share_std_err"]), float(b["share_std_err"]))
        if np.isfinite(error):
            assert abs(float(a["share"] - b["share"])) < 5.5 * error, end
