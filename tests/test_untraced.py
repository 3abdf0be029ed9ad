"""A hole in a meshed wall: every photon through it is counted, named, and fails the run."""

import numpy as np
import pytest
from build import plain_box, scene_of, trace
from test_lenses import launches

from canopysim.errors import UntracedError
from canopysim.matter.parts import Part
from canopysim.tracing import run
from canopysim.transport.arrays import LEFT_THE_WORLD
from canopysim.world import compile as door


@pytest.fixture
def holed(monkeypatch):
    """A black box of 192 triangles whose ceiling lacks one, and the missing triangle."""
    whole = door.wall_parts
    missing = []

    def with_hole(scene, n_triangle):
        parts = []
        for p in whole(scene, n_triangle):
            if p.name == "ceiling":
                missing.append(p.vertices[p.faces[5]])
                faces = np.delete(p.faces, 5, axis=0)
                parts.append(Part(p.name, p.kind, p.vertices, faces, p.surface, p.solid))
            else:
                parts.append(p)
        return parts

    monkeypatch.setattr(door, "wall_parts", with_hole)
    data = plain_box()
    data["lights"][0] |= {"tilt": "180 deg", "height": "40 cm"}
    scene = scene_of(data)
    return scene, door.compile_world(scene, wall_triangles=192), missing[0]


def through(rays, triangle):
    """Rays (n, 6) that cross the level triangle on their way up."""
    t = (triangle[0, 2] - rays[:, 2]) / rays[:, 5]
    point = rays[:, :2] + t[:, None] * rays[:, 3:5]
    sides = []
    for k in range(3):
        a, b = triangle[k, :2], triangle[(k + 1) % 3, :2]
        edge, to = b - a, point - a
        sides.append(edge[0] * to[:, 1] - edge[1] * to[:, 0])
    return (np.min(sides, 0) >= 0) | (np.max(sides, 0) <= 0)


def test_photons_through_a_hole_are_counted_with_their_addresses(holed):
    _, world, triangle = holed
    rows = trace(world, 1, seed=11)
    rays = launches(world.arrays, world.batch_packets).astype(np.float64)
    lost = np.flatnonzero(through(rays, triangle))
    assert len(lost) > 50
    assert rows.counters[2] == len(lost)
    # The first sixteen are kept by address: batch, strip, photon, meeting, place, why.
    kept = rows.lost[0]
    assert kept[:, 0].max() == kept[:, 1].max() == 0
    assert set(kept[:, 2]) <= set(lost)
    assert {world.places[p] for p in kept[:, 4]} == {"beyond the walls"}
    assert set(kept[:, 5]) == {LEFT_THE_WORLD}
    # The books still balance: what was lost stands in a line of its own.
    untraced = next(i for i, s in enumerate(world.sinks) if s.kind == "untraced")
    assert rows.absorbed[0][0, untraced].sum() == len(lost) * 2**32
    assert rows.absorbed[0].sum() == world.batch_packets * 2**32


def test_a_run_with_a_hole_fails_loudly_and_names_the_place(holed):
    scene, world, _ = holed
    with pytest.raises(UntracedError) as caught:
        run(scene, world=world, max_packets=20000, seed=11)
    assert "could not be followed (allowed: one in a million)" in str(caught.value)
    assert "left the world through beyond the walls at meeting 1" in str(caught.value)
