"""`canopysim beam`: a photometric file read back, with what it would mean in photons."""

import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
from build import panel, plain_box, scene_of
from photometric_files import lambertian, lm63, long_bar

from canopysim.report.measured_lights import measured_lines

SCENES = Path(__file__).parent.parent / "scenes"


def beam(*arguments, cwd):
    return subprocess.run(
        [sys.executable, "-m", "canopysim", "beam", *map(str, arguments)],
        cwd=cwd, capture_output=True, text=True, check=False, env={"COLUMNS": "100", "PATH": ""},
    )  # fmt: skip


def figure(text, name):
    return float(re.search(rf"{name}\s+([0-9.]+)", text)[1])


def test_a_lambertian_file_reads_as_one(tmp_path):
    (tmp_path / "flat.ies").write_text(lm63(lambertian, v=range(181), size=(0.04, 0.3, 0.0)))
    answer = beam("flat.ies", "--spectrum", "white_4000", "--plot", "flat.svg", cwd=tmp_path)
    assert answer.returncode == 0, answer.stderr
    # pi times 1000 cd; half of it within 45 degrees; 120 degrees wide.
    assert figure(answer.stdout, "Flux, integrated") == pytest.approx(3142, abs=1)
    assert figure(answer.stdout, "within 45°") == pytest.approx(50.0, abs=0.1)
    assert re.search(r"along \(0–180\)\s+120° \(−60° to 60°\)", answer.stdout)
    # A white light of about 4000 K: 14 to 16 umol/s of 400-700 nm for 1000 lm.
    assert 14 < figure(answer.stdout, "PPF, 400–700 nm") / 3.142 < 16
    root = ElementTree.parse(tmp_path / "flat.svg").getroot()
    # A viewer draws only what is in the namespace of SVG.
    assert {element.tag.split("}")[0] for element in root.iter()} == {"{http://www.w3.org/2000/svg"}
    again = beam("flat.ies", "--plot", "flat.svg", cwd=tmp_path)
    assert again.returncode == 2
    assert "flat.svg: exists already" in again.stderr
    assert beam("flat.ies", "--plot", "flat.svg", "--replace", cwd=tmp_path).returncode == 0


def test_photon_intensities_are_named_as_such(tmp_path):
    (tmp_path / "bar.ies").write_text(lm63(long_bar, h=range(0, 361, 15)))
    answer = beam("bar.ies", "--photons", cwd=tmp_path)
    assert answer.returncode == 0, answer.stderr
    assert "µmol s⁻¹ sr⁻¹" in answer.stdout
    assert "lm" not in answer.stdout.replace("film", "")
    wrong = beam("bar.ies", "--photons", "--spectrum", "white_4000", cwd=tmp_path)
    assert wrong.returncode == 2
    assert "--spectrum: photon intensities need none" in wrong.stderr


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("nowhere.ies",), "nowhere.ies"),
        (("text.ies",), "text.ies:1: "),
        (("flat.ies", "--spectrum", "nowhere.csv"), "nowhere.csv"),
        (("flat.ies", "--plot", "no/such/folder.svg"), "no/such/folder.svg: cannot be written"),
    ],
)
def test_what_cannot_be_read_is_told_in_one_sentence(arguments, message, tmp_path):
    (tmp_path / "text.ies").write_text("not at all\n")
    (tmp_path / "flat.ies").write_text(lm63(lambertian))
    answer = beam(*arguments, cwd=tmp_path)
    assert answer.returncode == 2
    assert message in answer.stderr
    assert "Traceback" not in answer.stderr
    assert len(answer.stderr.strip().splitlines()) == 1


def test_the_example_file_says_what_its_scene_uses(tmp_path):
    answer = beam(SCENES / "fixtures" / "bench-bar.ies", "--spectrum", "white_4000", cwd=tmp_path)
    from canopysim.scene.load import load_scene
    from canopysim.world.compile import compile_world

    world = compile_world(load_scene(SCENES / "measured-bar.yaml"))
    (channel,) = world.channels
    par = sum(channel.shares[:3]) * channel.flux_umol_s
    assert figure(answer.stdout, "PPF, 400–700 nm") == pytest.approx(par / 2, rel=1e-3)


def test_check_says_what_it_read_of_tables(tmp_path):
    """Flux of the file, photons that it stands for, the spectrum, what lies outside, doubts."""
    table = "nm, relative photons\n380, 1\n420, 1\n"
    data = plain_box()
    data["fixtures"]["panel"] = {
        "photometry": {"table": lm63(lambertian, watts=1, size=(0.1, 0.1, 0))},
        "spectrum": {"table": table},
        "photon_flux": "10 umol/s",
    }
    lines = measured_lines(scene_of(data))
    assert lines[0].startswith("panel: table (LM-63-2002, type C) holds 3140 lm; as used 10.00")
    assert lines[1].startswith("panel: doubt: table:")
    assert "3140 lm from 1 W" in lines[1]
    assert lines[-1] == (
        "panel: spectrum table: blue share 100 % (400–500 of 400–700 nm); 50.0 % of its photons "
        "lie in no waveband and are left out."
    )


def test_what_is_doubtful_in_a_file_is_said_once_for_all_strips_that_it_shapes():
    lens = {"table": lm63(lambertian, watts=1000)}
    data = plain_box(fixtures={"panel": panel("10 cm", "4 cm", lens)})
    data["fixtures"]["panel"]["strips"] *= 2
    lines = measured_lines(scene_of(data))
    assert sum("lm/W" in line for line in lines) == 1
    assert "panel: 2 strips have the shape of table (LM-63-2002, type C)." in lines
