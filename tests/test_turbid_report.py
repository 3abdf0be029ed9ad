"""What people read and see of volumes: check, cautions, the picture."""

import numpy as np
import pytest
from build import scene_of, world_of
from test_turbid_arrays import CROWN, SLAB, volume_scene

from canopysim.report.volume_lines import volume_lines
from canopysim.report.volume_picture import picture_leaves
from canopysim.world.cautions import cautions
from canopysim.world.compile import compile_world


def lines_of(*volumes, **changes):
    scene = scene_of(volume_scene(*volumes, **changes))
    return volume_lines(scene, compile_world(scene))


def test_check_says_what_was_read():
    lines = lines_of(
        SLAB | {"leaf_area_index": "2", "angles": "level", "by_height": ["50 %", "100 %"]},
        CROWN | {"columns": "2", "rows": "1", "leaf_area": "700 cm2", "clumping": "0.6"},
    )
    assert lines == [
        "slab-01: a box of 100 x 100 x 80 cm (x, y, height), 10 to 90 cm above the floor, of leaf "
        "leaf; one-sided leaf area 2 m², 2.5 m²/m³ on the average, 3.33 at most, at 90 cm.",
        "slab-01: leaves are inclined by 0 deg on the average; to light from straight above they "
        "show 100 % of their area, to light 60 deg from the vertical 50 %.",
        "ellipsoid-01 to ellipsoid-02: an ellipsoid of 30 x 20 x 40 cm (x, y, height), 20 to 60 cm "
        "above the floor, of leaf leaf; one-sided leaf area 0.07 m² each, 5.57 m²/m³ on the "
        "average.",
        "ellipsoid-01 to ellipsoid-02: leaves are inclined by 57.3 deg on the average; to light "
        "from straight above they show 50 % of their area, to light 60 deg from the vertical 50 %.",
        "ellipsoid-01 to ellipsoid-02: clumping: light meets 60 % of the density. That describes a "
        "measured fall of light with depth; it does not follow from where leaves stand.",
        "Where volumes overlap their densities add.",
    ]


def test_check_tells_of_volumes_that_go_on():
    room = {"width": "1 m", "depth": "1 m", "height": "1 m", "lining": "black",
            "repeat": ["width"]}  # fmt: skip
    crown = CROWN | {"leaf_area": "0.1 m2"}
    at = {"positions": [["5 cm", "50 cm"], ["50 cm", "50 cm"]]}
    assert lines_of(crown | at, enclosure=room)[2:] == [
        "ellipsoid-01 to ellipsoid-02: ellipsoid-01 goes on at the opposite side, where the room "
        "repeats."
    ]
    at = {"positions": [["5 cm", "50 cm"]]}
    assert lines_of(crown | at, enclosure=room)[2:] == [
        "ellipsoid-01: it goes on at the opposite side, where the room repeats."
    ]
    assert len(lines_of(crown, enclosure=room)) == 2


@pytest.mark.parametrize(("height", "n_caution"), [("70 cm", 0), ("55 cm", 1)])
def test_a_lamp_among_leaves_is_cautioned_of(height, n_caution):
    data = volume_scene(CROWN | {"leaf_area": "0.1 m2"})
    data["fixtures"]["panel"]["body"] = {
        "length": "40 cm", "width": "6 cm", "height": "4 cm", "surface": "black",
    }  # fmt: skip
    data["fixtures"]["panel"]["strips"] = [
        {"length": "38 cm", "width": "2 cm", "lens": "lambertian"}
    ]
    data["lights"][0]["height"] = height
    scene = scene_of(data)
    found = [c for c in cautions(scene, compile_world(scene)) if "among the leaves" in c]
    assert len(found) == n_caution
    if found:
        assert "the body of panel-1 hangs among the leaves of ellipsoid-01; hang it" in found[0]


def test_the_picture_shows_where_leaves_are():
    """Drawn leaves lie in the room, about their volume, and have its leaf area where they can."""
    room = {"width": "1 m", "depth": "1 m", "height": "1 m", "lining": "black",
            "repeat": ["width"]}  # fmt: skip
    crown = CROWN | {"leaf_area": "0.1 m2", "positions": [["2 cm", "50 cm"]]}
    world = world_of(volume_scene(crown, SLAB | {"leaf_area_index": "1"}, enclosure=room))
    crowns, slab = picture_leaves(world.volumes, (1.0, 1.0, 1.0))
    for part in (crowns, slab):
        assert part.vertices.min() >= 0 and part.vertices.max() <= 1
        assert part.surface == "leaf"
    # Over the side that repeats, on both ends of the room.
    x = crowns.vertices[:, 0]
    assert ((x < 0.25) | (x > 0.75)).all() and (x < 0.25).any() and (x > 0.75).any()
    corners = slab.vertices[slab.faces]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert np.linalg.norm(across, axis=1).sum() / 2 == pytest.approx(1.0, rel=0.02)
    again, _ = picture_leaves(world.volumes, (1.0, 1.0, 1.0))
    assert (again.vertices == crowns.vertices).all()
