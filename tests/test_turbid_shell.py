"""Surfaces of volumes: closed, just inside, and held against the walls of a drawn room."""

import numpy as np
import pytest
from rooms import gable_parts, load_room, obj_of, room_data
from test_turbid_measured import SHAPES, a_volume

from canopysim.errors import SceneError
from canopysim.matter.turbid.shell import volume_shell
from canopysim.matter.turbid.volume import inside
from canopysim.world.compile import compile_world


@pytest.mark.parametrize("kind", SHAPES)
def test_a_shell_is_closed_and_holds_nearly_the_volume(kind):
    """Every edge has two faces, all turned outwards; round shells lie inside, by a few per cent."""
    volume = a_volume(kind)
    vertices, faces = volume_shell(volume, 1e-6)
    assert inside(volume, vertices).all()
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    there = {tuple(edge) for edge in edges}
    assert len(there) == len(edges)
    assert {(b, a) for a, b in there} == there
    a, b, c = (vertices[faces[:, k]] - volume.centre for k in range(3))
    held = (a * np.cross(b, c)).sum() / 6
    assert held == pytest.approx(volume.size, rel=0.05 if kind == "ellipsoid" else 0.012)
    assert held < volume.size


def gabled(folder, **volume):
    """A gable tent of 2 m by 1 m, 1 m at the eaves and 1.6 m at the ridge."""
    data = room_data(
        leaves={"leaf": {"like": "basil"}},
        canopy={"layers": "3", "volumes": [{"leaf": "leaf", "density": "4 m2/m3"} | volume]},
        lights=[{"fixture": "panel", "at": ["1 m", "50 cm"], "height": "1.5 m"}],
    )
    return compile_world(load_room(folder, obj_of(gable_parts()), data))


def test_volumes_lie_in_the_drawn_room(tmp_path):
    slab = {"shape": "slab", "bottom": "0 cm"}
    world = gabled(tmp_path, **slab, top="1 m")
    assert world.layers.leaf_area.sum() == pytest.approx(4 * 2.0)
    with pytest.raises(SceneError, match=r"canopy\.volumes\[1\]: slab-01 .*reaches through 'roof-"):
        gabled(tmp_path, **slab, top="1.2 m")
    crown = {"shape": "ellipsoid", "width": "50 cm", "depth": "50 cm", "bottom": "60 cm"}
    gabled(tmp_path, **crown, top="1.2 m", positions=[["1 m", "50 cm"], ["60 cm", "50 cm"]])
    with pytest.raises(SceneError, match=r"canopy\.volumes\[1\]: ellipsoid-02 .*'roof-left'"):
        gabled(tmp_path, **crown, top="1.2 m", positions=[["1 m", "50 cm"], ["26 cm", "50 cm"]])
