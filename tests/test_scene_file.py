"""The scene file: what is read, and that every mistake gets its line, column and remedy."""

import json
import math
import os
import pickle
from pathlib import Path

import numpy as np
import pytest
from build import plain_box, scene_of
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from canopysim.errors import SceneError
from canopysim.scene import (
    Scene,
    load_scene,
    load_scene_text,
    resolve_reference,
    schema_json,
    yaml_text,
)
from canopysim.scene.schema import BandShares, BandValues
from canopysim.scene.yaml_text import parse_yaml, plain

REPOSITORY = Path(__file__).parent.parent
SHIPPED = sorted((REPOSITORY / "scenes").glob("*.yaml"))
BAD = Path(__file__).parent / "data" / "bad_scenes"

GOOD = """\
title: A small box
enclosure:
  width: 60 cm
  depth: 40 cm
  height: 80 cm
  lining: white
  faces: {front: open, floor: dark}
surfaces:
  white: {diffuse: 80 %}
  dark: {}
fixtures:
  bar:
    strips:
      - {length: 40 cm, width: 1 cm, lens: lambertian}
    ppf: 50 umol/s
    spectrum: {400-500: 20 %, 500-600: 30 %, 600-700: 50 %}
lights:
  - {fixture: bar, at: [30 cm, 20 cm], height: 60 cm}
"""

# One line or more for each file; 'file:' is put before each.
EXPECTED = {
    "a_list": ["1:1  is not a mapping; write 'title: ...' first"],
    "buried_strip": [
        "30:38  fixtures.bar.strips[1].tilt: turns the strip's edge 1.536 mm into the body; "
        "set the strip's 'drop' to at least 1.636 mm"
    ],
    "daylight_under_a_roof": [
        "37:5  daylight[1]: comes through the ceiling, which is not open; "
        "write 'faces: {ceiling: open}'"
    ],
    "duplicate_key": [
        "5:3  the key 'width' stands here again (first in line 3); write each key once"
    ],
    "empty": ["1:1  is empty; write a mapping of entries"],
    "feet_mark": [
        "5:3  enclosure.height: \"7'\": \"'\" is not a unit of length; did you mean 'ft'? "
        "allowed: cm, mm, m, in, ft"
    ],
    "light_above_ceiling": [
        "33:40  lights[1].height: 90 cm is above the ceiling; allowed is at most 80 cm"
    ],
    "light_outside": [
        "33:32  lights[1].at[2]: y = 45 cm is outside the enclosure; allowed is 0 to 40 cm"
    ],
    "missing_key": [
        "2:1  enclosure.depth: is missing; needed is: Inner extent along y, from the front to "
        "the back wall."
    ],
    "no_unit": ["3:3  enclosure.width: '60' has no unit; write for example '60 cm'"],
    "nothing_shines": ["1:1  nothing shines; write 'lights' or 'daylight'"],
    "patch_outside": [
        "10:58  enclosure.faces.left.patches[1].opposite[1]: y = 45 cm is outside the left face; "
        "allowed is 0 to 40 cm"
    ],
    "ranges_leave_a_gap": [
        "8:11  surfaces.white.diffuse: gives no share for 700-720 nm; the ranges must cover all "
        "bands (400-800 nm)"
    ],
    "same_plane_twice": [
        "36:6  planes[2].name: 'top' already names the plane in line 35; give each plane a name "
        "of its own"
    ],
    "several": [
        "3:3  enclosure.width: '60' has no unit; write for example '60 cm'",
        "15:5  plants.sprig.stem: 'gren' is not defined under 'surfaces'; did you mean 'green'?",
        "23:3  canopy.layers: 'three' is not a whole number; write digits only, as in '8'",
        "31:5  fixtures.bar.photon_flux: stands beside 'ppf'; write one of the two",
        "34:40  lights[1].hieght: is not known here; did you mean 'height'?",
        "36:6  planes[1].name: 'Top Plane' cannot name a plane and its map file; use small "
        "letters a-z, digits and '-' between them, at most 40",
    ],
    "spectrum_across_bands": [
        "31:5  fixtures.bar.spectrum: 500-650 nm does not begin and end at edges of the bands; "
        "edges are 400, 500, 600, 700, 750, 800"
    ],
    "spectrum_sum": [
        "31:5  fixtures.bar.spectrum: the shares make 105 %; they must make 100 % (within 0.1 %)"
    ],
    "tab": ["4:1  is not YAML: a tab stands here; indent with blanks"],
    "tag": ["16:12  the tag '!!python/object/apply:os.system' is not read; remove it"],
    "too_bright_in_one_band": [
        "11:5  surfaces.green.specular: 60 % with diffuse 45 % makes 105 % in 750-800 nm; "
        "a surface cannot reflect more than it receives (at most 100 %)"
    ],
    "too_bright_surface": [
        "10:5  surfaces.white.specular: 92 % with diffuse 15 % makes 107 %; a surface cannot "
        "reflect more than it receives (at most 100 %)"
    ],
    "two_colons": [
        "1:15  is not YAML: a second ': ' on this line or an indentation that does not fit; "
        "indent entries of one mapping alike and put quotes around text that holds ': '"
    ],
    "two_heights": ["33:55  lights[1].above_canopy: stands beside 'height'; write one of the two"],
    "unknown_key": ["5:3  enclosure.heigth: is not known here; did you mean 'height'?"],
    "unknown_leaf_in_library": [
        "11:10  leaves.soft.like: 'basill' is not in the leaf library; did you mean 'basil'? "
        "allowed: thin_pale_lettuce, basil, tomato, pepper, soybean, thick_dark"
    ],
    "unknown_plant": [
        "25:8  canopy.plantings[1].plant: 'sprout' is not defined under 'plants'; allowed: sprig"
    ],
    "unknown_surface": [
        "6:3  enclosure.lining: 'whit' is not defined under 'surfaces'; did you mean 'white'?"
    ],
    "wrong_bands": ["36:1  bands: 750 nm missing; 400, 700 and 750 must be among them"],
    "yaml_surprises": [
        "3:3  enclosure.width: '~' is not a number with a unit; write for example '45 cm'",
        "4:3  enclosure.depth: '12:30': ':30' is not a unit of length; allowed: cm, mm, m, in, ft",
        "16:5  plants.sprig.nodes: '1e1' is not a whole number; write digits only, as in '8'",
    ],
}


def problems_of(text: str) -> list[str]:
    with pytest.raises(SceneError) as caught:
        load_scene_text(text)
    return caught.value.problems


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_each_mistake_has_its_place_and_remedy(name):
    path = BAD / f"{name}.yaml"
    with pytest.raises(SceneError) as caught:
        load_scene(path)
    assert caught.value.problems == [f"{path}:{line}" for line in EXPECTED[name]]


def test_every_bad_scene_is_expected():
    assert {path.stem for path in BAD.glob("*.yaml")} == {*EXPECTED, "alias_bomb"}


def test_alias_bomb_is_refused_without_unfolding():
    with pytest.raises(SceneError) as caught:
        load_scene(BAD / "alias_bomb.yaml")
    first, *others = caught.value.problems
    assert first.endswith(":1:4  the anchor '&a' is not read; write the values out")
    assert len(others) < 100


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_scenes_load(path):
    scene = load_scene(path)
    assert scene.path == path
    assert scene.text == path.read_text(encoding="utf-8")
    assert next(iter(scene.sources)) == str(path)
    for plane in range(len(scene.planes)):
        line, _ = scene.where("planes", plane, "name")
        assert scene.planes[plane].name in scene.text.splitlines()[line - 1]


def test_demo_scene_is_mirror_symmetric():
    """Lights come in pairs about x = 75 cm; the row of bars is centred on y = 45 cm."""
    scene = load_scene(REPOSITORY / "scenes" / "pepper-tent.yaml")
    overhead, left, right = scene.lights
    assert overhead.at == (0.75, 0.45)
    assert left.at[0] + right.at[0] == pytest.approx(1.5)
    assert left.at[1] == right.at[1] == 0.45
    assert left.turn == -right.turn
    assert left.tilt == right.tilt
    assert left.height == right.height
    assert {light.group for light in scene.lights} == {"overhead", "side"}


def test_values_are_si():
    scene = scene_of(
        plain_box(
            surfaces={"black": {}, "film": {"diffuse": "12 %", "specular": "74 %"}},
            fixtures={
                "bar": {
                    "body": {
                        "length": "4 ft", "width": "70 mm", "height": "2 in", "surface": "film",
                    },
                    "ppf": "400 umol/s",
                    "spectrum": {"400-700": "96 %", "700-800": "4 %"},
                    "strips": [
                        {
                            "length": "1.1 m", "width": "12 mm", "drop": "3 mm",
                            "lens": {"beam": {"along": "120 deg", "across": "1 rad"}},
                        }
                    ],
                }
            },
            lights=[
                {"fixture": "bar", "at": ["50 cm", "20 in"], "height": "2 ft 6 in",
                 "tilt": "-20 deg"}
            ],
        )
    )  # fmt: skip
    assert scene.enclosure.size == (1.0, 1.0, 1.0)
    assert scene.band_names == ("400-500", "500-600", "600-700", "700-750", "750-800")
    film = scene.surfaces["film"]
    np.testing.assert_array_equal(film.specular.values(scene.bands), np.full(5, 0.74))
    bar = scene.fixtures["bar"]
    assert bar.ppf == 400.0
    assert (bar.body.length, bar.body.width, bar.body.height) == pytest.approx(
        (1.2192, 0.07, 0.0508), rel=1e-15
    )
    assert bar.body.standoff == 0.002
    lens = bar.strips[0].lens
    assert (lens.kind, lens.along, lens.across) == ("beam", math.radians(120), 1.0)
    np.testing.assert_allclose(
        bar.spectrum.values(scene.bands), [0.32, 0.32, 0.32, 0.02, 0.02], rtol=1e-14
    )
    light = scene.lights[0]
    assert (light.at[1], light.height) == pytest.approx((0.508, 0.762), rel=1e-15)
    assert light.tilt == math.radians(-20)
    assert scene.tracing.max_packets == 200_000_000


def test_defaults():
    scene = load_scene_text(GOOD)
    assert scene.enclosure.face("front").open
    assert scene.lights[0].group == "bar"
    assert scene.lights[0].output == 1.0
    assert scene.tracing.target is None
    assert scene.tracing.max_packets == 200_000_000
    assert scene.tracing.batch == 65536
    assert scene.fixtures["bar"].strips[0].lens.kind == "lambertian"
    with_planes = load_scene_text(GOOD + "planes: [{name: top, height: 1 cm}]\n")
    assert with_planes.tracing.target == {"planes": 0.01}
    timed = load_scene_text(GOOD + "tracing: {max_time: 5 min}\n").tracing
    assert (timed.target, timed.max_packets, timed.max_time) == (None, None, 300.0)


@pytest.mark.parametrize(
    ("text", "packets"),
    [("200000", 200_000), ("2e8", 200_000_000), ("1.5e6", 1_500_000), ("3 million", 3_000_000)],
)
def test_numbers_of_packets(text, packets):
    scene = load_scene_text(GOOD + f"tracing: {{max_packets: {text}}}\n")
    assert scene.tracing.max_packets == packets


@pytest.mark.parametrize("text", ["1.5", "2e99", "0", "1_000", "many", "-5", "2e-3", "1e14"])
def test_other_numbers_of_packets_are_refused(text):
    (problem,) = problems_of(GOOD + f"tracing: {{max_packets: {text}}}\n")
    assert problem.startswith("scene:19:11  tracing.max_packets: ")


def test_scene_is_frozen():
    scene = load_scene_text(GOOD)
    with pytest.raises(ValidationError):
        scene.title = "other"
    with pytest.raises(ValidationError):
        scene.enclosure.width = 2.0
    with pytest.raises(ValidationError):
        scene.fixtures["bar"].strips[0].lens.beam = None


def test_scene_survives_pickling():
    scene = load_scene_text(GOOD)
    again = pickle.loads(pickle.dumps(scene))
    assert again == scene
    assert again.problem(("lights", 0, "at"), "moves") == scene.problem(
        ("lights", 0, "at"), "moves"
    )


def test_where_and_problem():
    scene = load_scene_text(GOOD, path="box.yaml")
    assert scene.where("enclosure", "depth") == (4, 3)
    assert scene.where("lights", 0, "output") == (18, 5)
    assert scene.where() == (1, 1)
    assert scene.problem(("lights", 0, "at"), "touches a plant; move it") == (
        "box.yaml:18:20  lights[1].at: touches a plant; move it"
    )


def test_yaml_scalars_stay_text():
    text = "{a: no, b: 1e3, c: 12:30, d: 2024-01-01, e: ~, f: null, g: 0o7, h: '', i: .inf, j: =}"
    assert plain(parse_yaml(text, "x")) == {
        "a": "no",
        "b": "1e3",
        "c": "12:30",
        "d": "2024-01-01",
        "e": "~",
        "f": "null",
        "g": "0o7",
        "h": "",
        "i": ".inf",
        "j": "=",
    }


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "scene:1:1  is empty; write a mapping of entries"),
        ("---\n...\n", "scene:1:1  is empty; write a mapping of entries"),
        ("a: 1\n---\nb: 2\n", "scene:2:1  a second document begins here; write one document per"),
        ("a: \x00", "scene:1:4  the character U+0000 cannot stand in a YAML file; remove it"),
        ("a: \ud800", "scene:1:4  the character U+D800 cannot stand in a YAML file; remove it"),
        ("[" * 100_000, "scene:1:17  is nested too deeply; at most 16 levels"),
        ("? [a]\n: b\n", "scene:1:3  a key must be one text; write 'name: value'"),
        ("a: [b\n", "scene:2:1  is not YAML: expected ',' or ']', but got '<stream end>'"),
        ("a: '\\", "scene:1:6  is not YAML: found unexpected end of stream"),
        ('a: "\\UFFFFFFFF"', "scene:1:1  is not YAML: "),
        ('a: "\\ud800"', "scene:1:4  '\\ud800' holds half a character; write the character itself"),
        ("a: &b c\n", "scene:1:4  the anchor '&b' is not read; write the values out"),
        ("just words", "scene:1:1  is not a mapping; write 'title: ...' first"),
        ("a: " + "x" * (1 << 20), "scene:1:1  is too large; at most 1 MiB (1048576 bytes)"),
    ],
    ids=lambda value: value[:20] if value.isascii() else "text",
)
def test_yaml_that_is_not_read(text, problem):
    assert problems_of(text)[0].startswith(problem)


def test_number_of_entries_is_limited(monkeypatch):
    monkeypatch.setattr(yaml_text, "MOST_NODES", 100)
    (problem,) = problems_of("a:\n" + "- x\n" * 1000)
    assert problem == "scene:99:3  has too many entries; at most 100 per file"


def replace(old: str, new: str) -> str:
    assert old in GOOD
    return GOOD.replace(old, new, 1)


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        (
            replace("  dark: {}", "  dark:"),
            "surfaces.dark: nothing is written here; write a mapping of 'name: value' entries",
        ),
        (
            replace("at: [30 cm, 20 cm]", "at: [30 cm]"),
            "lights[1].at[2]: is missing; write two lengths, as in [75 cm, 45 cm]",
        ),
        (
            replace("at: [30 cm, 20 cm]", "at: 30 cm"),
            "lights[1].at: '30 cm' is one text; write a list, or leave the entry out",
        ),
        (
            replace("width: 60 cm", "width: [60 cm]"),
            "enclosure.width: a list stands here; write one value such as '150 cm'",
        ),
        (
            replace("front: open", "fornt: open"),
            "enclosure.faces.fornt: 'fornt' is not a face; allowed: floor, ceiling, front",
        ),
        (
            replace("lens: lambertian", "lens: {beam: {along: 200 deg, across: 60 deg}}"),
            "fixtures.bar.strips[1].lens.beam.along: '200 deg' is too large; allowed is less than",
        ),
        (
            replace("lens: lambertian", "lens: spot"),
            "fixtures.bar.strips[1].lens: 'spot' is not a lens; write 'lambertian', 'parallel' or",
        ),
        (
            replace("height: 60 cm", "output: 0 %, height: 60 cm"),
            "lights: every light has an output of 0 %; at least one must shine",
        ),
        (
            replace("height: 60 cm", "above_canopy: 20 cm"),
            "lights[1].above_canopy: there is no canopy; write 'height' (from the floor) instead",
        ),
        (
            replace("height: 60 cm", "group: all, height: 60 cm"),
            "lights[1].group: 'all' names the sum over all groups; write another name",
        ),
        (
            replace("    ppf: 50 umol/s\n", ""),
            "fixtures.bar: has no photon flux; write 'ppf' (400-700 nm) or 'photon_flux'",
        ),
        (
            replace("{400-500: 20 %, 500-600: 30 %, 600-700: 50 %}", "{700-800: 100 %}"),
            "fixtures.bar.ppf: counts 400-700 nm, where the spectrum has no photons; write",
        ),
        (
            replace("400-500: 20 %", "400-550: 20 %"),
            "fixtures.bar.spectrum.500-600: '500-600' overlaps '400-550'; ranges may only touch",
        ),
        (
            replace("  white: {diffuse: 80 %}", "  wh ite: {diffuse: 80 %}\n  white: {}"),
            "surfaces.wh ite: 'wh ite' cannot be a name; use letters, digits, '-' and '_'",
        ),
        (
            GOOD + "tracing: {target: {layers: 1 %}}\n",
            "tracing.target.layers: there is no canopy; write 'planes' or leave the target out",
        ),
        (
            GOOD + "tracing: {batch: 1_000}\n",
            "tracing.batch: '1_000' is not a whole number; write digits only, as in '8'",
        ),
        (
            GOOD + "planes: [{name: fine, height: 1 cm, cell: 0.1 mm}]\n",
            "planes[1].cell: 0.1 mm makes 24000000 cells; at most 1000000, write more",
        ),
        (
            GOOD + "leaves: {odd: {reflectance: 60 %, transmittance: 45 %}}\n",
            "leaves.odd.transmittance: 45 % with reflectance 60 % makes 105 %; a leaf cannot",
        ),
        (
            GOOD + "leaves: {odd: {like: pepper, reflectance: 5 %}}\n",
            "leaves.odd.reflectance: stands beside 'like'; write 'like' or the leaf's own values",
        ),
        (
            GOOD + "leaves: {odd: {like: pepper}}\nbands: [400, 700, 750, 900]\n",
            "leaves.odd.like: the leaf library holds 400-800 nm but the bands are 400-900 nm",
        ),
        (
            replace("  height: 80 cm", "  height: 2 ft 6 in").replace(
                "height: 60 cm", "height: 3 ft"
            ),
            "lights[1].height: 3 ft is above the ceiling; allowed is at most 2 ft 6 in",
        ),
    ],
)
def test_contradictions(text, problem):
    (line,) = [p for p in problems_of(text) if "spectrum: 400" not in p]
    assert line.split("  ", 1)[1].startswith(problem)


def test_misspelt_section_does_not_blame_what_refers_to_it():
    (problem,) = problems_of(GOOD.replace("fixtures:", "fixtrues:"))
    assert problem == "scene:11:1  fixtrues: is not known here; did you mean 'fixtures'?"


def test_files_that_cannot_be_read(tmp_path):
    def problem(path: Path) -> str:
        with pytest.raises(SceneError) as caught:
            load_scene(path)
        (line,) = caught.value.problems
        return line.removeprefix(f"{path}:")

    large, latin, pipe = tmp_path / "large.yaml", tmp_path / "latin.yaml", tmp_path / "pipe.yaml"
    large.write_bytes(b"a" * (2 << 20))
    latin.write_bytes("title: x\nname: Gr\xfcn".encode("latin-1"))
    os.mkfifo(pipe)
    assert problem(large) == "1:1  is too large; at most 1 MiB (1048576 bytes)"
    assert problem(latin) == "2:9  the byte 0xfc is not UTF-8 text; save the file as UTF-8"
    assert problem(pipe) == "1:1  is not a regular file; name a YAML file"
    assert problem(tmp_path) == "1:1  is a folder; name a YAML file in it"
    assert problem(tmp_path / "no.yaml") == (
        "1:1  there is no such file; name a YAML file that exists"
    )


def test_byte_order_mark_and_windows_line_ends(tmp_path):
    path = tmp_path / "box.yaml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert load_scene(path).where("lights", 0, "at") == (18, 20)


FIXTURE = "strips:\n  - {length: 40 cm, width: 1 cm, lens: parallel}\nphoton_flux: 5 umol/s\n"
SPECTRUM = "spectrum: {400-700: 100 %}\n"


def write_scene_with_fixture_file(folder: Path, reference: str) -> Path:
    before, rest = GOOD.split("    strips:")
    lights = rest[rest.index("lights:") :]
    path = folder / "box.yaml"
    path.write_text(f"{before}    file: {reference}\n{lights}")
    return path


def test_fixture_in_a_file_of_its_own(tmp_path):
    path = write_scene_with_fixture_file(tmp_path, "kinds/bar.yaml")
    (tmp_path / "kinds").mkdir()
    bar = tmp_path / "kinds" / "bar.yaml"
    bar.write_text(FIXTURE + SPECTRUM)
    scene = load_scene(path)
    assert scene.fixtures["bar"].strips[0].lens.kind == "parallel"
    assert list(scene.sources.values()) == [path.read_text(), bar.read_text()]
    assert scene.problem(("fixtures", "bar", "photon_flux"), "is small").startswith(f"{bar}:3:1  ")


def test_problems_in_a_fixture_file_name_that_file(tmp_path):
    path = write_scene_with_fixture_file(tmp_path, "bar.yaml")
    bar = tmp_path / "bar.yaml"
    bar.write_text(FIXTURE.replace("40 cm", "40"))
    with pytest.raises(SceneError) as caught:
        load_scene(path)
    assert caught.value.problems == [
        f"{bar}:1:1  fixtures.bar.spectrum: is missing; needed is: Make-up of the photons: "
        "{400-500: 20 %, 500-600: 30 %, ...}, together 100 %.",
        f"{bar}:2:6  fixtures.bar.strips[1].length: '40' has no unit; write for example '40 cm'",
    ]
    bar.write_text("strips: [")
    with pytest.raises(SceneError) as caught:
        load_scene(path)
    (problem,) = caught.value.problems
    assert problem.startswith(f"{bar}:1:10  is not YAML: ")


def test_references_stay_in_the_scenes_folder(tmp_path):
    home, outside = tmp_path / "home", tmp_path / "bar.yaml"
    home.mkdir()
    outside.write_text(FIXTURE + SPECTRUM)
    (home / "link.yaml").symlink_to(outside)
    for reference in ("../bar.yaml", str(outside), "link.yaml"):
        path = write_scene_with_fixture_file(home, reference)
        with pytest.raises(SceneError) as caught:
            load_scene(path)
        (problem,) = caught.value.problems
        assert problem.startswith(f"{path}:13:5  fixtures.bar.file: ")
        assert "leads out of the scene's folder" in problem
        assert load_scene(path, allow_outside=True).fixtures["bar"].photon_flux == 5.0
        assert resolve_reference(path, reference, allow_outside=True) == outside.resolve()
    with pytest.raises(ValueError, match="there is no such file"):
        resolve_reference(path, "no.yaml")
    with pytest.raises(ValueError, match="is not a file name"):
        resolve_reference(path, "a\x00b")


def test_band_values():
    edges = (400.0, 500.0, 600.0, 700.0, 750.0, 800.0)
    values = BandValues(((400.0, 550.0, 0.1), (550.0, 725.0, 0.3), (725.0, 800.0, 0.5)))
    np.testing.assert_allclose(values.values(edges), [0.1, 0.2, 0.3, 0.4, 0.5], rtol=1e-14)
    assert values.uncovered(edges) is None
    with pytest.raises(ValueError, match="no share is given for 800-850 nm"):
        values.values((700.0, 850.0))
    assert BandValues(((450.0, 800.0, 0.1),)).uncovered(edges) == "400-450"
    everywhere = BandValues(((0.0, math.inf, 0.1),))
    assert everywhere.values(edges).tolist() == [0.1] * 5


def test_band_shares_split_by_width_and_sum_to_one():
    edges = (400.0, 500.0, 600.0, 700.0, 750.0, 800.0)
    shares = BandShares(((400.0, 700.0, 0.9), (700.0, 800.0, 0.1)))
    np.testing.assert_allclose(shares.values(edges), [0.3, 0.3, 0.3, 0.05, 0.05], rtol=1e-14)
    assert BandShares(((400.0, 500.0, 0.9995),)).values(edges).sum() == pytest.approx(1, abs=1e-15)
    with pytest.raises(ValueError, match="450-700 nm does not begin and end at band edges"):
        BandShares(((450.0, 700.0, 1.0),)).values(edges)


def test_json_schema_describes_every_entry():
    schema = json.loads(json.dumps(schema_json()))
    models = [schema, *schema["$defs"].values()]
    for model in models:
        assert model["additionalProperties"] is False
        for name, entry in model["properties"].items():
            assert entry.get("description"), f"{model['title']}.{name}"
    assert "null" not in json.dumps(schema)
    width = schema["$defs"]["Enclosure"]["properties"]["width"]
    assert width["type"] == "string"
    assert "mm|cm|m|in|ft" in width["pattern"]


def accept_or_refuse(text: str) -> None:
    """Anything but a scene or a scene error is a failure."""
    try:
        scene = load_scene_text(text)
    except SceneError as error:
        assert error.problems
        for line in error.problems:
            assert line.startswith("scene:")
            assert line.isprintable()
    else:
        assert isinstance(scene, Scene)


@settings(deadline=None, max_examples=200)
@given(st.text(max_size=200) | st.text(alphabet=" \n\t:-[]{}&*!|>'\"%@`#,?ab1", max_size=60))
def test_any_text_is_a_scene_or_a_scene_error(text):
    accept_or_refuse(text)


FULL = (REPOSITORY / "scenes" / "basil-shelf.yaml").read_text(encoding="utf-8")
WORDS = [
    *("open", "[key]", "0 cm", "-5 cm", "1e3", "{}", "[]", "~", "all", "100 %", "0 %", "90 deg"),
    *("{a: b}", "[1, 2, 3]", "400-700", "''", "|", "&x", "*x", "!y", "fixture", "\n", "file: x"),
]


@settings(deadline=None, max_examples=200)
@given(st.data())
def test_a_damaged_scene_is_a_scene_or_a_scene_error(data):
    """Words of a sound scene are exchanged, dropped and put in at random."""
    tokens = FULL.split(" ")
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(tokens) - 1))
        word = data.draw(st.sampled_from(WORDS) | st.sampled_from(tokens) | st.text(max_size=8))
        how = data.draw(st.sampled_from(["replace", "insert", "drop"]))
        tokens[at : at + (how != "insert")] = [] if how == "drop" else [word]
    accept_or_refuse(" ".join(tokens))


@settings(deadline=None, max_examples=60)
@given(st.data())
def test_a_scene_of_wrong_values_is_a_scene_or_a_scene_error(data):
    """One entry of a sound scene, anywhere, is replaced by another shape of thing."""
    tree = plain(parse_yaml(FULL, "x"))
    node, key = tree, data.draw(st.sampled_from(sorted(tree)))
    while data.draw(st.booleans()) and isinstance(node[key], dict | list) and node[key]:
        node = node[key]
        key = data.draw(
            st.sampled_from(sorted(node)) if isinstance(node, dict) else st.sampled_from([0])
        )
    leaf = st.sampled_from(WORDS) | st.text(max_size=6)
    node[key] = data.draw(
        st.recursive(leaf, lambda s: st.lists(s, max_size=3) | st.dictionaries(leaf, s, max_size=3))
    )
    # JSON on one line is YAML, but for its escapes of two halves.
    accept_or_refuse(json.dumps(tree, ensure_ascii=data.draw(st.booleans())))
