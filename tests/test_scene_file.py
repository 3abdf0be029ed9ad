"""The scene file: what is read from it, with its defaults, places and references."""

import json
import math
import pickle
from pathlib import Path

import numpy as np
import pytest
from build import plain_box, scene_of
from pydantic import ValidationError

from canopysim.errors import SceneError
from canopysim.matter.plants import grow_canopy
from canopysim.scene import load_scene, load_scene_text, resolve_reference, schema_json
from canopysim.scene.schema import BandShares, BandValues
from canopysim.scene.yaml_text import parse_yaml, plain

REPOSITORY = Path(__file__).parent.parent
SHIPPED = sorted((REPOSITORY / "scenes").glob("*.yaml"))

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


def test_the_tent_without_plants_is_the_tent_of_the_demo():
    """Whatever is changed in one of the two files has to be changed in the other."""
    demo, bare = (
        load_scene(REPOSITORY / "scenes" / f"{n}.yaml") for n in ("pepper-tent", "no-plants")
    )
    assert bare.canopy is None
    assert bare.bands == demo.bands
    assert bare.enclosure == demo.enclosure
    assert bare.surfaces == {name: s for name, s in demo.surfaces.items() if name != "stem"}
    assert bare.fixtures == demo.fixtures
    assert bare.lights == demo.lights
    top, middle, floor = bare.planes
    assert [plane.name for plane in demo.planes] == [top.name, middle.name, floor.name]
    assert (demo.planes[1].height, demo.planes[2].height) == (middle.height, floor.height)
    # Of the planted canopy, to a millimetre.
    assert demo.planes[0].above_canopy == 0
    planted = max(part.vertices[:, 2].max() for part in grow_canopy(demo))
    assert top.height == pytest.approx(planted, abs=1e-3)


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
    assert scene.states("lights", 0, "at")
    assert not scene.states("tracing", "max_packets")
    timed = load_scene_text(GOOD + "tracing: {max_time: 5 min}\n").tracing
    assert (timed.target, timed.max_packets, timed.max_time) == (None, None, 300.0)


def test_a_lone_target_is_for_the_layers_or_else_for_the_planes(demo_data):
    plane = "planes: [{name: top, height: 1 cm}]\n"
    bare = load_scene_text(GOOD + plane + "tracing: {target: 2 %, max_time: 5 min}\n").tracing
    assert (bare.target, bare.max_packets, bare.max_time) == ({"planes": 0.02}, None, 300.0)
    planted = scene_of({**demo_data, "tracing": {"target": "0.5 %"}}).tracing
    assert planted.target == {"layers": 0.005}
    kinds = schema_json()["$defs"]["Tracing"]["properties"]["target"]["anyOf"]
    assert sorted(kind["type"] for kind in kinds) == ["object", "string"]


@pytest.mark.parametrize(
    ("text", "packets"),
    [("200000", 200_000), ("2e8", 200_000_000), ("1.5e6", 1_500_000), ("3 million", 3_000_000)],
)
def test_numbers_of_packets(text, packets):
    scene = load_scene_text(GOOD + f"tracing: {{max_packets: {text}}}\n")
    assert scene.tracing.max_packets == packets


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
        "{400-500: 20 %, ...}, together 100 %; {like: white_4000}, a spectrum of the library; or "
        "{file: bar.csv}, a table.",
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
