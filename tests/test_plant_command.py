"""`canopysim plant`: a mesh that reads back as what was grown, a picture, and its mistakes."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from canopysim.errors import CanopysimError
from canopysim.library.plants import PLANT_NAMES
from canopysim.matter.blade import triangle_areas
from canopysim.matter.mesh_file import read_pieces
from canopysim.plant_command import LEAF_OF, grow_one, plant_command


def command(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "canopysim", "plant", *arguments],
        cwd=cwd, capture_output=True, text=True, check=False,
        env=os.environ | {"COLUMNS": "100", "CANOPYSIM_DRAW": "raster"},
    )  # fmt: skip


def write(species: str, folder: Path, **options) -> list[str]:
    given = dict.fromkeys(("stage", "leaf_area", "pot", "out", "picture"))
    given |= {"seed": "1", "replace_files": False, "out": folder / f"{species}.glb"}
    return plant_command(species, **(given | options))


@pytest.fixture(autouse=True)
def _drawn_without_a_driver(monkeypatch):
    monkeypatch.setenv("CANOPYSIM_DRAW", "raster")


@pytest.mark.parametrize("species", PLANT_NAMES)
def test_every_plant_has_a_mesh_that_reads_back_and_a_picture(species, tmp_path):
    told = " ".join(write(species, tmp_path, stage="80%"))
    grown = grow_one(species, stage="80%")
    for ending in ("glb", "ply"):
        write(species, tmp_path, stage="80%", out=tmp_path / f"{species}.{ending}",
              replace_files=True)  # fmt: skip
        data = (tmp_path / f"{species}.{ending}").read_bytes()
        pieces = read_pieces(data, ending, species)
        area = sum(float(triangle_areas(p.vertices, p.faces).sum()) for p in pieces)
        wanted = sum(float(triangle_areas(p.vertices, p.faces).sum()) for p in grown.parts)
        assert area == pytest.approx(wanted, rel=1e-6)
        if ending == "glb":
            assert {piece.names[0] for piece in pieces} == {part.name for part in grown.parts}
            leaf = next(p for p in pieces if "leaf" in p.names)
            # z became y: a scene reads it back with 'up: y'.
            part = next(p for p in grown.parts if p.kind == "leaf")
            np.testing.assert_allclose(leaf.vertices[:, 1].max(), part.vertices[:, 2].max(), 1e-6)
            said = float(told.split("leaf area ")[1].split(" m²")[0])
            assert said == pytest.approx(
                float(triangle_areas(leaf.vertices, leaf.faces).sum()), rel=1e-3
            )
    with Image.open(tmp_path / f"{species}.png") as picture:
        pixels = np.asarray(picture.convert("RGB"), dtype=float)
    green = (pixels[..., 1] > pixels[..., 0] + 20) & (pixels[..., 1] > pixels[..., 2] + 20)
    assert 0.02 < green.mean() < 0.6


def test_all_library_plants_have_a_leaf():
    assert set(LEAF_OF) == set(PLANT_NAMES)


def test_days_leaf_area_and_pot():
    by_share, by_days = grow_one("pepper", stage="50 %"), grow_one("pepper", stage="55 days")
    for one, other in zip(by_share.parts, by_days.parts, strict=True):
        np.testing.assert_allclose(one.vertices, other.vertices, atol=1e-12)
    scaled = grow_one("pepper", leaf_area="0.35 m2", pot=("24 cm", "20 cm"))
    leaf = next(part for part in scaled.parts if part.kind == "leaf")
    assert triangle_areas(leaf.vertices, leaf.faces).sum() == pytest.approx(0.35, rel=1e-12)
    pots = [part for part in scaled.parts if part.kind == "pot"]
    assert [part.name for part in pots] == ["pot", "soil"]
    assert pots[1].vertices[:, 2].max() == pytest.approx(0.2, abs=1e-12)


def test_as_a_user_types_it(tmp_path):
    first = command("leaf-lettuce", "--stage", "80%", cwd=tmp_path)
    assert first.returncode == 0, first.stderr
    assert "Mesh in leaf-lettuce.glb, picture in leaf-lettuce.png" in " ".join(first.stdout.split())
    assert sorted(p.name for p in tmp_path.iterdir()) == ["leaf-lettuce.glb", "leaf-lettuce.png"]
    again = command("leaf-lettuce", cwd=tmp_path)
    assert again.returncode == 2
    assert again.stderr == (
        "leaf-lettuce.glb: exists already; choose another --out, or add --replace\n"
    )


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"stage": "0 %"}, "--stage: '0 %' is too small; allowed is 5 % or more"),
        ({"stage": "80"}, "--stage: '80' has no % sign"),
        ({"stage": "1 days"}, "--stage: '1 days' is out of range for a plant that is full grown"),
        ({"leaf_area": "3 cm"}, "--leaf-area: '3 cm'"),
        ({"seed": "-1"}, "--seed: '-1' is not a whole number"),
        ({"pot": "20 cm"}, "--pot: '20 cm' is not a pot; write diameter and height"),
        ({"pot": "20 cm x 3"}, "--pot: '3' has no unit"),
        ({"out": Path("plant.obj")}, "--out: 'plant.obj' is no mesh file; allowed endings: .ply"),
        ({"picture": Path("plant.jpg")}, "--picture: 'plant.jpg' must end in .png"),
        ({"out": Path("nowhere/plant.glb")}, "--out: there is no folder nowhere; make it first"),
    ],
)
def test_mistakes_name_the_option_and_write_nothing(options, message, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(CanopysimError) as caught:
        write("pepper", tmp_path, **options)
    assert str(caught.value).startswith(message)
    assert "\n" not in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_plant_is_told_with_the_list(tmp_path):
    with pytest.raises(CanopysimError, match="'oak' is not in the plant library; allowed: basil"):
        write("oak", tmp_path)
