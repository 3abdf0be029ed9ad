"""Every mistake in a scene file gets its line, column and remedy."""

import os
from pathlib import Path

import pytest
from test_scene_file import GOOD

from canopysim.errors import SceneError
from canopysim.scene import load_scene, load_scene_text, yaml_text

BAD = Path(__file__).parent / "data" / "bad_scenes"

# One line or more for each file; 'file:' is put before each.
EXPECTED = {
    "a_list": ["1:1  is not a mapping; write 'title: ...' first"],
    "as_volume_of_no_kind": [
        "16:3  canopy.as_volume: 'cubes' is not known here; allowed: slab, crowns"
    ],
    "belongs_beside": [
        "7:3  enclosure.surfaces: is not known here; it belongs beside 'enclosure': look at the "
        "lines above and at its indentation"
    ],
    "belongs_under": [
        "6:1  height: is not known here; it belongs under 'enclosure': look at the lines above "
        "and at its indentation"
    ],
    "buried_strip": [
        "30:38  fixtures.bar.strips[1].tilt: turns the strip's edge 1.536 mm into the body; "
        "set the strip's 'drop' to at least 1.636 mm"
    ],
    "circuit_without_voltage": [
        "38:3  electricity.circuit: needs the voltage beside it; write 'supply', as in "
        "'supply: 230 V'"
    ],
    "daylight_under_a_roof": [
        "37:5  daylight[1]: comes through the ceiling, which is not open; "
        "write 'faces: {ceiling: open}'"
    ],
    "dimmed_beyond_physics": [
        "31:27  fixtures.bar.driver.50 %: 5 W for 30 umol/s of 400-700 nm makes 6.00 umol/J; this "
        "spectrum allows 5.18 umol/J at most, with every watt leaving as light; look both up again"
    ],
    "claim_is_not_photons_over_watts": [
        "32:5  fixtures.bar.ppe: 3.1 umol/J is not 60 umol/s of 400-700 nm over 24 W, which makes "
        "2.5 umol/J; one of the three is wrong, look them up again"
    ],
    "driver_goes_down": [
        "32:14  fixtures.bar.driver.75 %: 11 W is less than the 13 W at 50 %; more light cannot "
        "take less power"
    ],
    "driver_twice": [
        "32:26  fixtures.bar.driver.50.0 %: is the same output as '50 %'; write it once"
    ],
    "driver_with_two_full_outputs": [
        "32:14  fixtures.bar.driver.100 %: 26 W at full output is not the input_power of 24 W; "
        "write the same, or leave one of them out"
    ],
    "driver_without_full_output": [
        "31:5  fixtures.bar.driver: does not say what the light draws at full output; write "
        "'input_power', or a point for 100 % in W"
    ],
    "duplicate_key": [
        "5:3  the key 'width' stands here again (first in line 3); write each key once"
    ],
    "efficacy_beyond_physics": [
        "31:5  fixtures.bar.input_power: 10 W for 60 umol/s of 400-700 nm makes 6.00 umol/J; this "
        "spectrum allows 5.18 umol/J at most, with every watt leaving as light; look both up again"
    ],
    "empty": ["1:1  is empty; write a mapping of entries"],
    "feet_and_inch_marks": ["3:3  enclosure.width: \"3'3\"\": write '3 ft 3 in'"],
    "feet_mark": [
        "5:3  enclosure.height: \"7'\": \"'\" is not a unit of length; did you mean 'ft'? "
        "allowed: cm, mm, m, in, ft"
    ],
    "hours_overlap": [
        "40:8  electricity.schedule[2].hours: from 6:00 to 6:30 the lights of 'bar' have another "
        "output already, in schedule[1]; let the hours follow each other"
    ],
    "indented_too_far": [
        "4:10  is not YAML: this entry is indented further than the one above; look at the line "
        "above and indent entries of one mapping alike"
    ],
    "indented_too_little": [
        "15:4  is not YAML: this does not stand in line with the entries above, which begin in "
        "line 13; look at the line above and indent entries of one mapping alike"
    ],
    "lacks_a_dash": [
        "36:5  the key 'fixture' stands here again (first in line 33); does a '- ' lack before "
        "'fixture'?"
    ],
    "leaf_area_twice": [
        "26:43  canopy.plantings[1].leaf_area: stands under a canopy with 'leaf_area_index', which "
        "scales all blades; write one of the two"
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
    "no_size": [
        "17:5  plants.sprig.outline: is 0 % everywhere; the widest part is 100 %",
        "18:5  plants.sprig.size_by_node: is 0 % everywhere; the largest is 100 %",
    ],
    "no_unit": ["3:3  enclosure.width: '60' has no unit; write for example '60 cm'"],
    "nothing_shines": ["1:1  nothing shines; write 'lights' or 'daylight'"],
    "patch_outside": [
        "10:58  enclosure.faces.left.patches[1].opposite[1]: y = 45 cm is outside the left face; "
        "allowed is 0 to 40 cm"
    ],
    "photoperiod_and_schedule": [
        "39:3  electricity.schedule: stands beside 'photoperiod'; write one of the two"
    ],
    "power_without_units": [
        "31:5  fixtures.bar.input_power: '24' has no unit; write for example '24 W'",
        "32:14  fixtures.bar.driver.100 %: '24' has no unit; write for example '24 W'",
        "33:5  fixtures.bar.standby: '1 VA': volt-amperes are not watts; look for the input power "
        "in W, and write the power factor beside it",
        "34:5  fixtures.bar.supply: '277-100 V' does not ascend; write the lower voltage first",
        "35:5  fixtures.bar.power_factor: '1.2' is too large; allowed is 1 or less",
        "36:5  fixtures.bar.inrush: '30 amps': 'amps' is not a unit of current; did you mean 'A'? "
        "allowed: A",
        "37:5  fixtures.bar.mass: '2' has no unit; write for example '2 kg'",
        "44:3  electricity.supply: '230' has no unit; write for example '230 V'",
        "45:3  electricity.circuit: '16' has no unit; write for example '16 A'",
        "46:3  electricity.price: '0.30' is not a price of electricity; write for example "
        "'0.30 per kWh' or '0.30 EUR per kWh'",
        "47:3  electricity.days_per_month: '32' is too large; allowed is 31 or less",
        "48:3  electricity.photoperiod: '25 h' is too large; allowed is 24 h or less",
        "50:8  electricity.schedule[1].hours: '6 to 20' are not hours of a day; write for example "
        "'6:00 to 20:00'",
        "50:24  electricity.schedule[1].output: '0.5' has no % sign; write shares in per cent, as "
        "in '12 %'",
    ],
    "ranges_leave_a_gap": [
        "8:11  surfaces.white.diffuse: gives no share for 700-720 nm; the ranges must cover all "
        "bands (400-800 nm)"
    ],
    "same_plane_twice": [
        "36:6  planes[2].name: 'top' already names the plane in line 35; give each plane a name "
        "of its own"
    ],
    "channel_at_no_strip": [
        "34:7  fixtures.bar.channels.far-red: has no strip; write 'channel: far-red' at one, or "
        "leave the channel out"
    ],
    "channel_watts_do_not_add_up": [
        "35:5  fixtures.bar.input_power: 30 W is not what the channels draw together, 24 W (80 % "
        "of it); write the same, or leave it out"
    ],
    "channels_misspelt": [
        "30:56  fixtures.bar.strips[2].channel: 'deep_red' is no channel of this fixture; did you "
        "mean 'deep-red'?",
        "35:65  lights[1].outputs.blue: 'blue' is no channel of the fixture 'bar'; allowed: "
        "deep-red, white",
        "40:40  electricity.schedule[1].outputs.red: 'red' is no channel of the lights; allowed: "
        "deep-red, white",
    ],
    "schedule_of_no_group": [
        "39:30  electricity.schedule[1].group: 'bars' is no group of lights; did you mean 'bar'?"
    ],
    "several": [
        "3:3  enclosure.width: '60' has no unit; write for example '60 cm'",
        "15:5  plants.sprig.stem: 'gren' is not defined under 'surfaces'; did you mean 'green'?",
        "23:3  canopy.layers: 'three' is not a whole number; write digits only, as in '8'",
        "31:5  fixtures.bar.photon_flux: stands beside 'ppf'; write one of the two",
        "34:40  lights[1].hieght: is not known here; did you mean 'height'?",
        "36:6  planes[1].name: 'Top Plane' cannot be a name, as files are named by it too; use "
        "small letters a-z, digits and '-' between them, at most 40",
    ],
    "standby_above_dimmed": [
        "33:5  fixtures.bar.standby: 5 W is not less than the 4 W that the light draws while it "
        "shines; look both up again"
    ],
    "spectrum_across_bands": [
        "31:5  fixtures.bar.spectrum: 500-650 nm does not begin and end at edges of the bands; "
        "edges are 400, 500, 600, 700, 750, 800"
    ],
    "spectrum_sum": [
        "31:5  fixtures.bar.spectrum: the shares make 105 %; they must make 100 % (within 0.1 %)"
    ],
    "tab": ["4:1  is not YAML: a tab stands here; indent with spaces"],
    "tag": ["16:12  the tag '!!python/object/apply:os.system' is not read; remove it"],
    "target_without_aim": [
        "31:3  tracing.target: there are neither layers nor planes to aim at; leave the target out"
    ],
    "too_bright_in_one_band": [
        "11:5  surfaces.green.specular: 60 % with diffuse 45 % makes 105 % in 750-800 nm; "
        "a surface cannot reflect more than it receives (at most 100 %)"
    ],
    "spread_of_nothing": [
        "10:5  surfaces.white.spread: there is no mirrored share that it "
        "could spread; write 'specular' too, or leave it out"
    ],
    "too_bright_surface": [
        "10:5  surfaces.white.specular: 92 % with diffuse 15 % makes 107 %; a surface cannot "
        "reflect more than it receives (at most 100 %)"
    ],
    "too_many_volumes": [
        "14:3  canopy.volumes: make 1200 volumes; at most 1000: join neighbours into rows or "
        "a slab",
        "15:58  canopy.volumes[1].leaf_area: puts 0.1 m2 of leaves into 1.5e-07 m3, 6.67e+05 "
        "m2/m3; allowed is 1000 m2/m3 or less: is a length or an area in the wrong unit?",
    ],
    "two_colons": [
        "1:15  is not YAML: a second ': ' on this line; put quotes around text that holds ': '"
    ],
    "two_heights": ["33:55  lights[1].above_canopy: stands beside 'height'; write one of the two"],
    "unknown_key": ["5:3  enclosure.heigth: is not known here; did you mean 'height'?"],
    "unknown_crop_in_library": [
        "24:3  canopy.crop: 'letuce' is not in the crop library; did you mean 'leaf-lettuce'? "
        "allowed: basil, leaf-lettuce, pepper, strawberry, tomato"
    ],
    "unknown_leaf_in_library": [
        "11:10  leaves.soft.like: 'basill' is not in the leaf library; did you mean 'basil'? "
        "allowed: thin_pale_lettuce, basil, tomato, pepper, soybean, thick_dark"
    ],
    "unknown_plant": [
        "25:8  canopy.plantings[1].plant: 'sprout' is not defined under 'plants'; allowed: sprig"
    ],
    "unknown_plant_in_library": [
        "14:5  plants.sprig.like: 'strawbery' is not in the plant library; did you mean "
        "'strawberry'? allowed: basil, leaf-lettuce, pepper, strawberry, tomato"
    ],
    "unknown_surface": [
        "6:3  enclosure.lining: 'whit' is not defined under 'surfaces'; did you mean 'white'?"
    ],
    "volume_has_no_triangles": [
        "14:3  canopy.leaf_area_index: scales grown plants, and there are none; write it "
        "within the entry of 'volumes' that it belongs to",
        "17:3  canopy.as_volume: turns plants into volumes, and there are none; leave it out,"
        " or write 'plantings' or 'meshes'",
        "28:14  also_count.leaf_facets: counts single leaf triangles, and leaves of "
        "'canopy.volumes' have none; leave one of the two out",
    ],
    "volume_in_its_own_copy": [
        "15:77  canopy.volumes[1].width: 70 cm is more than the 60 cm after which the room "
        "repeats; volumes would lie in their own copies",
        "16:117  canopy.volumes[2].positions[1]: the box at 61 cm, 20 cm has its middle 1 cm "
        "out through the right; move it",
    ],
    "volume_shape": [
        "15:21  canopy.volumes[1].leaf: 'hard' is not defined under 'leaves'; allowed: soft",
        "15:47  canopy.volumes[1].top: 90 cm is above the ceiling; allowed is at most 80 cm",
        "16:48  canopy.volumes[2].top: 20 cm is not above the bottom at 20 cm; raise it",
        "17:7  canopy.volumes[3]: lacks 'width', the extent in x of each box",
        "18:7  canopy.volumes[4]: lacks 'direction'; a row runs along the 'width' (x) or the "
        "'depth' (y)",
        "19:7  canopy.volumes[5]: lacks 'width', the extent in x of each row",
        "20:78  canopy.volumes[6].direction: is for rows, and this is a slab; leave it out",
        "21:7  canopy.volumes[7]: does not say how many leaves it holds; write one of "
        "leaf_area, leaf_area_index, density",
        "22:78  canopy.volumes[8].density: stands beside 'leaf_area'; write one of the two",
        "23:78  canopy.volumes[9].columns: stands beside 'positions'; write columns and rows,"
        " or positions",
        "24:139  canopy.volumes[10].positions[2]: the ellipsoid at 55 cm, 20 cm sticks 5 cm "
        "out through the right; move it, or write a smaller 'width'",
        "25:58  canopy.volumes[11].leaf_area: puts 35 m2 of leaves into 0.003 m3, 1.17e+04 "
        "m2/m3; allowed is 1000 m2/m3 or less: is a length or an area in the wrong unit?",
    ],
    "volume_values": [
        "15:8  canopy.volumes[1].shape: 'sphere' is not known here; allowed: slab, box, "
        "ellipsoid, row",
        "16:59  canopy.volumes[2].density: '8' has no unit; write for example '8 m2/m3'",
        "17:59  canopy.volumes[3].density: '8 g/m3': 'g/m3' is not a unit of leaf area "
        "density; allowed: m2/m3, /m",
        "18:79  canopy.volumes[4].by_height: 'odd' is not known here; write 'even', '{beta: "
        "[2.5, 2.5]}' or a list of shares such as [20 %, 100 %, 60 %]",
        "19:91  canopy.volumes[5].by_height.beta: is not two numbers; write for example "
        "'{beta: [2.5, 2.5]}'",
        "20:98  canopy.volumes[6].by_height.beta[1]: '0.5' is out of range; allowed is 1 to 50",
        "21:79  canopy.volumes[7].by_height: holds 'gamma'; write 'even', '{beta: [2.5, "
        "2.5]}' or a list of shares such as [20 %, 100 %, 60 %]",
        "22:79  canopy.volumes[8].by_height: is 0 % everywhere; some share must be more",
        "23:97  canopy.volumes[9].by_height[2]: '1' has no % sign; write shares in per cent, "
        "as in '12 %'",
        "24:79  canopy.volumes[10].angles: 'planofile' is not known here; allowed: "
        "planophile, erectophile, plagiophile, extremophile, uniform, spherical, level, "
        "upright, '{ellipsoid: 1.5}', or a list of shares from level to upright",
        "25:88  canopy.volumes[11].angles.ellipsoid: '0' is out of range; allowed is 0.05 to 20",
        "26:79  canopy.volumes[12].angles: makes 110 % in all; the shares of leaf area in "
        "equally wide classes of inclination, from level to upright, make 100 %",
        "27:79  canopy.volumes[13].angles: holds 'sphere'; write 'spherical', '{ellipsoid: "
        "1.5}' or a list of shares such as [50 %, 30 %, 20 %]",
        "28:79  canopy.volumes[14].clumping: '7' is out of range; allowed is 0.1 to 1.5",
        "29:78  canopy.volumes[15].direction: 'up' is not known here; allowed: width, depth",
    ],
    "watts": [
        "30:5  fixtures.bar.ppf: '60 W': watts are not a photon flux; look in the data sheet for "
        "the PPF, in umol/s"
    ],
    "wrong_voltage": [
        "39:3  electricity.supply: 120 V is not what the fixture 'bar' runs on; it states 200-240 V"
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


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "scene:1:1  is empty; write a mapping of entries"),
        ("---\n...\n", "scene:1:1  is empty; write a mapping of entries"),
        ("a: 1\n---\nb: 2\n", "scene:2:1  a second document begins here; write one document per"),
        ("a: \x00", "scene:1:4  the character U+0000 cannot stand in a YAML file; remove it"),
        ("a: \ud800", "scene:1:4  the character U+D800 cannot stand in a YAML file; remove it"),
        ("[" * 100_000, "scene:1:17  is nested too deeply; at most 16 levels"),
        ("? [a]\n: b\n", "scene:1:3  a key must be a plain word; write 'name: value'"),
        ("a: [b\n", "scene:2:1  is not YAML: expected ',' or ']', but got '<stream end>'"),
        ("a: '\\", "scene:1:6  is not YAML: found unexpected end of stream"),
        ('a: "\\UFFFFFFFF"', "scene:1:1  is not YAML: "),
        ('a: "\\ud800"', "scene:1:4  '\\ud800' holds half a character; write the character itself"),
        ("a: &b c\n", "scene:1:4  the anchor '&b' is not read; write the values out"),
        ("just words", "scene:1:1  is not a mapping; write 'title: ...' first"),
        ("a: " + "x" * (1 << 20), "scene  is too large; at most 1 MiB (1048576 bytes)"),
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
            "lights[1].at: '30 cm' is a single value; write two lengths, as in [75 cm, 45 cm]",
        ),
        (
            replace("lights:\n  - {", "lights:\n    {"),
            "lights: a mapping stands here; write a list, each entry after a '- ', or leave",
        ),
        (
            replace("      - {length: 40", "      - bar\n      - {length: 40"),
            "fixtures.bar.strips[1]: 'bar' is a single value; write a mapping of 'name: value'",
        ),
        (
            replace("ppf: 50 umol/s", "ppf: 50 umol/s\n    turn: 5 deg"),
            "fixtures.bar.turn: is not known here; allowed: body, channels, driver, input_power",
        ),
        (
            replace("lens: lambertian", "lens: lambertian, ppf: 40 umol/s"),
            "fixtures.bar.strips[1].ppf: is not known here; it belongs beside 'strips': look at",
        ),
        (
            GOOD + "tracing: {target: 1}\n",
            "tracing.target.planes: '1' has no % sign; write shares in per cent, as in '12 %'",
        ),
        (
            GOOD + "tracing: {target: ''}\n",
            "tracing.target: nothing is written here; write a mapping of 'name: value' entries",
        ),
        (
            GOOD + "tracing: {target: {planes: 1 %}}\n",
            "tracing.target.planes: there are no planes; write 'layers' or leave the target out",
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


def test_keys_doubled_by_a_missing_dash_are_told_once():
    first = "  - fixture: bar\n    at: [30 cm, 20 cm]\n    height: 60 cm\n"
    before = GOOD[: GOOD.index("  - {fixture: bar")]
    (problem,) = problems_of(before + first + first.replace("- ", "  "))
    assert problem == (
        "scene:21:5  the key 'fixture' stands here again (first in line 18); does a '- ' lack "
        "before 'fixture'?"
    )
    # Another key that stands twice begins no new entry.
    (problem,) = problems_of(before + first + "    height: 5 cm\n")
    assert problem == (
        "scene:21:5  the key 'height' stands here again (first in line 20); write each key once"
    )


def test_misspelt_section_does_not_blame_what_refers_to_it():
    (problem,) = problems_of(GOOD.replace("fixtures:", "fixtrues:"))
    assert problem == "scene:11:1  fixtrues: is not known here; did you mean 'fixtures'?"


def test_files_that_cannot_be_read(tmp_path):
    def problem(path: Path) -> str:
        with pytest.raises(SceneError) as caught:
            load_scene(path)
        (line,) = caught.value.problems
        return line.removeprefix(str(path))

    large, latin, pipe = tmp_path / "large.yaml", tmp_path / "latin.yaml", tmp_path / "pipe.yaml"
    large.write_bytes(b"a" * (2 << 20))
    latin.write_bytes("title: x\nname: Gr\xfcn".encode("latin-1"))
    os.mkfifo(pipe)
    assert problem(large) == "  is too large; at most 1 MiB (1048576 bytes)"
    assert problem(latin) == ":2:9  the byte 0xfc is not UTF-8 text; save the file as UTF-8"
    assert problem(pipe) == "  is not a regular file; name a YAML file"
    assert problem(tmp_path) == "  is a folder; name a YAML file in it"
    assert problem(tmp_path / "no.yaml") == (
        "  there is no such file; name a YAML file that exists"
    )


@pytest.mark.parametrize("text", ["1.5", "2e99", "0", "1_000", "many", "-5", "2e-3", "1e14"])
def test_other_numbers_of_packets_are_refused(text):
    (problem,) = problems_of(GOOD + f"tracing: {{max_packets: {text}}}\n")
    assert problem.startswith("scene:19:11  tracing.max_packets: ")
