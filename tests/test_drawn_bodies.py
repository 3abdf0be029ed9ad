"""Bodies of fixtures from mesh files: the box as a file is the box, hoods shade, mistakes."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import yaml
from build import PlainDumper, plain_box, trace
from conftest import P_FAIL
from rooms import obj_of
from scipy import stats

import canopysim
from canopysim.errors import SceneError
from canopysim.light.placing import BOX_FACES, box_corners
from canopysim.report.body_lines import body_lines
from canopysim.scene import load_scene
from canopysim.world.cautions import cautions
from canopysim.world.compile import compile_world

LOW, HIGH = np.array([-0.2, -0.03, 0.002]), np.array([0.2, 0.03, 0.042])


def box_obj(turned=()) -> str:
    corners = box_corners(LOW, HIGH)
    faces = [face[::-1] if k in turned else face for k, face in enumerate(BOX_FACES)]
    lines = [f"v {x!r} {y!r} {z!r}" for x, y, z in corners.tolist()]
    return "\n".join(lines + ["f " + " ".join(str(k + 1) for k in face) for face in faces]) + "\n"


def hood_obj() -> str:
    """Two sheets that hang down beside the strip, and a roof over it; drawn as one open sheet."""
    points = [(-0.05, -0.06), (-0.05, 0.01), (0.05, 0.01), (0.05, -0.06)]
    pieces = [
        [(-0.3, y0, z0), (0.3, y0, z0), (0.3, y1, z1), (-0.3, y1, z1)]
        for (y0, z0), (y1, z1) in pairwise(points)
    ]
    return obj_of({"hood": pieces})


def scene_in(folder, obj, body=None, strips=None, in_file=False, **keys):
    folder.mkdir(exist_ok=True)
    mesh = {"mesh": {"file": "body.obj", "unit": "m"}, "surface": "grey"}
    fixture = {
        "body": mesh if body is None else body,
        "photon_flux": "100 umol/s",
        "spectrum": {"400-500": "100 %"},
        "strips": strips or [{"length": "36 cm", "width": "1 cm", "lens": "lambertian"}],
    }
    home = folder / "fixtures" if in_file else folder
    home.mkdir(exist_ok=True)
    (home / "body.obj").write_text(obj, "utf-8")
    if in_file:
        (home / "bar.yaml").write_text(yaml.dump(fixture, Dumper=PlainDumper), "utf-8")
        fixture = {"file": "fixtures/bar.yaml"}
    data = plain_box(
        surfaces={"black": {}, "grey": {"diffuse": "60 %", "specular": "10 %"}},
        fixtures={"bar": fixture},
        lights=[{"fixture": "bar", "at": ["50 cm", "50 cm"], "height": "70 cm", "turn": "30 deg",
                 "tilt": "20 deg"}],
        tracing={"batch": "8192", "max_packets": "16384"},
    ) | keys  # fmt: skip
    path = folder / "scene.yaml"
    path.write_text(yaml.dump(data, sort_keys=False, Dumper=PlainDumper), "utf-8")
    return load_scene(path)


def test_the_box_as_a_file_is_the_box(tmp_path):
    """Same arrays to the bit: drawn as it is, with faces turned, in a fixture's own file."""
    body = {"length": "40 cm", "width": "6 cm", "height": "4 cm", "surface": "grey"}
    wanted = compile_world(scene_in(tmp_path / "box", "", body=body))
    drawn = scene_in(tmp_path / "drawn", box_obj())
    assert compile_world(drawn).digest == wanted.digest
    turned = scene_in(tmp_path / "turned", box_obj(turned=(0, 3, 4, 11)))
    assert compile_world(turned).digest == wanted.digest
    filed = scene_in(tmp_path / "filed", box_obj(), in_file=True)
    assert compile_world(filed).digest == wanted.digest
    one, other = trace(compile_world(drawn), 1), trace(wanted, 1)
    assert (np.asarray(one.absorbed) == np.asarray(other.absorbed)).all()
    (line,) = body_lines(drawn)
    assert line == (
        "bar: with 1 of body.obj as 1 m, its body reaches from x -20 to 20, y -3 to 3 and z 0.2 to "
        "4.2 cm about the middle of the luminous plane; 12 triangles, 848 cm² of grey; it is "
        "closed and solid."
    )
    assert cautions(drawn, compile_world(drawn)) == []


def test_a_hood_shades_as_geometry_says(tmp_path):
    """A black hood over a long thin strip: what leaves it is the view factor between two edges.

    Across an endless strip a Lambertian source sends the share sin(a) into the angles up to a on
    both sides. The strip is 36 cm long and the hood 60 cm, so what leaves by its ends is bounded.
    """
    long = "2 m"
    hood = hood_obj().replace("0.3", "4.0")
    scene = scene_in(
        tmp_path, hood, enclosure={"width": "10 m", "depth": "4 m", "height": "3 m",
                                   "lining": "black"},
        body={"mesh": {"file": "body.obj", "unit": "m"}, "surface": "black"},
        strips=[{"length": long, "width": "0.1 mm", "lens": "lambertian"}],
        lights=[{"fixture": "bar", "at": ["5 m", "2 m"], "height": "2 m"}],
    )  # fmt: skip
    (line,) = body_lines(scene)
    assert "doubt: it is not closed (8 edges), so it is taken as sheets" in line
    result = canopysim.run(scene, max_packets=400_000)
    ends = result.ends.sel(group="all", band="400-500")
    kept = float(ends["share"].sel(end="fixture bodies"))
    error = float(ends["share_std_err"].sel(end="fixture bodies"))
    # The hood's lower edges lie 5 cm beside the strip and 6 cm below it.
    wanted = 1 - 0.05 / np.hypot(0.05, 0.06)
    assert abs(kept - wanted) < stats.norm.isf(P_FAIL / 2) * error + 1e-4
    assert error < 0.005


def test_a_strip_in_a_notch_is_free_and_one_in_the_solid_is_buried(tmp_path):
    n = 8
    outer = [(-4, -1.5), (-2.2, -1.5), (-2.2, 0.2), (2.2, 0.2), (2.2, -1.5), (4, -1.5), (3, 4.5),
             (-3, 4.5)]  # fmt: skip
    sides = [[(x, *p) for x, p in zip((-25, -25, 25, 25), (outer[k], outer[(k + 1) % n],
              outer[(k + 1) % n], outer[k]), strict=True)] for k in range(n)]  # fmt: skip
    caps = [[(x, *outer[k]) for k in cap] for x in (-25, 25)
            for cap in ((0, 1, 2, 7), (2, 3, 6, 7), (3, 4, 5, 6))]  # fmt: skip
    hood = obj_of({"hood": sides + caps})
    body = {"mesh": {"file": "body.obj", "unit": "cm"}, "surface": "grey"}
    scene = scene_in(tmp_path, hood, body=body)
    world = compile_world(scene)
    part = next(p for p in world.parts if p.kind == "fixture")
    assert part.solid and len(part.faces) == 2 * n + 2 * 6
    strips = [{"length": "36 cm", "width": "1 cm", "lens": "lambertian", "at": ["0 cm", "3 cm"]}]
    with pytest.raises(SceneError, match="a strip lies inside a fixture's body"):
        compile_world(scene_in(tmp_path, hood, body=body, strips=strips))
    with pytest.raises(SceneError, match=r"lights\[1\]: reaches .* beyond the ceiling"):
        compile_world(scene_in(tmp_path, hood, body=body, lights=[
            {"fixture": "bar", "at": ["50 cm", "50 cm"], "height": "97 cm"}]))  # fmt: skip


@pytest.mark.parametrize(
    ("body", "obj", "problem"),
    [
        ({"mesh": {"file": "body.obj", "unit": "m"}, "surface": "grey", "length": "3 cm"}, None,
         "fixtures.bar.body.length: stands beside 'mesh', which has its own size and place; leave "
         "it out"),
        ({"mesh": {"file": "body.obj"}, "surface": "grey"}, None,
         "fixtures.bar.body.mesh.unit: is missing; needed is: Length that a 1 in the file stands "
         "for."),
        ({"mesh": {"file": "body.obj", "unit": "mm"}, "surface": "grey"}, None,
         "fixtures.bar.body.mesh.file: body.obj reaches 0.2 mm from its origin if 1 in it is 1 mm; "
         "allowed is 1 mm to 20 m: mend 'unit' or 'scale'"),
        ({"mesh": {"file": "bodi.obj", "unit": "m"}, "surface": "grey"}, None,
         "fixtures.bar.body.mesh.file: 'bodi.obj': there is no such file; write a path that "
         "exists"),
        ({"mesh": {"file": "body.obj", "unit": "m"}, "surface": "gray"}, None,
         "fixtures.bar.body.surface: 'gray' is not defined under 'surfaces'; did you mean "
         "'grey'?"),
        ({"mesh": {"file": "body.obj", "unit": "m"}, "surface": "grey"}, "v 0 0 0\nv 1 0 0\n",
         "fixtures.bar.body.mesh.file: body.obj holds no triangles; export it as a mesh with "
         "faces"),
    ],
)  # fmt: skip
def test_mistakes_have_their_place_and_remedy(tmp_path, body, obj, problem):
    with pytest.raises(SceneError) as caught:
        scene_in(tmp_path, box_obj() if obj is None else obj, body=body)
    (line,) = caught.value.problems
    assert line.split("  ", 1)[1] == problem


def test_a_run_keeps_the_mesh_of_a_body(tmp_path):
    scene = scene_in(tmp_path, box_obj(), in_file=True)
    whole = canopysim.run(scene, max_packets=50_000)
    canopysim.run(scene, max_packets=20_000).save(tmp_path / "result")
    (tmp_path / "fixtures" / "body.obj").unlink()
    again = canopysim.resume(tmp_path / "result", max_packets=50_000)
    assert again.rows["absorbed"].identical(whole.rows["absorbed"])
