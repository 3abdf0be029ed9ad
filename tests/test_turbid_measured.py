"""Meshes into volumes and back: density by height and angles are kept, leaf area to rounding."""

import numpy as np
import pytest
from build import plain_box, scene_of, world_of
from scipy import stats

from canopysim.errors import SceneError
from canopysim.matter.parts import Part
from canopysim.matter.turbid.drawn import draw_normals, draw_points, drawn_leaves
from canopysim.matter.turbid.heights import beta_heights, listed_heights
from canopysim.matter.turbid.inclination import (
    mean_inclination,
    named_angles,
    projection,
)
from canopysim.matter.turbid.measured import measure_leaves, with_areas
from canopysim.matter.turbid.volume import Volume, area_below
from canopysim.world.compile import compile_world

SHAPES = ("box", "ellipsoid", "row along x", "row along y")


def a_volume(kind, angles="spherical", density=None):
    density = beta_heights(2.5, 1.8) * 6 if density is None else density
    return Volume(
        "any", kind, np.array([0.5, 0.4, 0.45]), np.array([0.35, 0.3, 0.35]), density,
        named_angles(angles), "leaf",
    )  # fmt: skip


@pytest.mark.parametrize("kind", SHAPES)
def test_drawn_points_are_as_dense_as_the_volume(kind, p_fail):
    """Counts in 8 x 8 x 8 cells that lie wholly inside, against the density: chi square."""
    volume = a_volume(kind)
    n = 200_000
    points = draw_points(volume, n, np.random.default_rng(3))
    t = (points - volume.centre) / volume.half
    assert (np.abs(t) <= 1).all()
    cell = np.floor((t + 1) * 4).astype(int).clip(0, 7)
    count = np.zeros((8, 8, 8), int)
    np.add.at(count, tuple(cell.T), 1)
    corner = np.arange(9) / 4 - 1
    far = np.maximum(np.abs(corner[:-1]), np.abs(corner[1:]))
    weight = {"box": (0, 0, 0), "ellipsoid": (1, 1, 1), "row along x": (0, 1, 1),
              "row along y": (1, 0, 1)}[kind]  # fmt: skip
    reach = sum(
        w * far.reshape(shape) ** 2
        for w, shape in zip(weight, ((8, 1, 1), (1, 8, 1), (1, 1, 8)), strict=True)
    )
    whole = np.broadcast_to(reach, (8, 8, 8)) <= 1
    z = (corner + 1) / 2
    fine = np.linspace(0, 1, 8 * 400 + 1)
    density = np.interp(fine, np.linspace(0, 1, 65), volume.density)
    slab = np.array(
        [np.trapezoid(density[i * 400 : i * 400 + 401], fine[i * 400 : i * 400 + 401])
         for i in range(8)]
    )  # fmt: skip
    assert z[-1] == 1
    expected = n * slab * 0.0875 * 0.075 * 0.7 / volume.leaf_area
    expected = np.broadcast_to(expected, (8, 8, 8))[whole]
    chi = ((count[whole] - expected) ** 2 / expected).sum()
    assert (
        stats.chi2.isf(1 - p_fail / 8, whole.sum()) < chi < stats.chi2.isf(p_fail / 8, whole.sum())
    )


@pytest.mark.parametrize("name", ["planophile", "extremophile", "spherical", "level"])
def test_drawn_normals_have_the_angles(name, p_fail):
    """The same number of normals in each of 32 steps of probability, and on all sides."""
    normal = draw_normals(a_volume("box", name), 50_000, np.random.default_rng(8))
    assert np.linalg.norm(normal, axis=1) == pytest.approx(1)
    if name == "level":
        assert (normal[:, 2] == 1).all()
        return
    edges = named_angles(name)[::32][::-1]
    count, _ = np.histogram(normal[:, 2], edges)
    assert stats.chisquare(count).pvalue > p_fail / 6
    count, _ = np.histogram(np.arctan2(normal[:, 1], normal[:, 0]), np.linspace(-np.pi, np.pi, 33))
    assert stats.chisquare(count).pvalue > p_fail / 6


@pytest.mark.parametrize("angles", ["planophile", "plagiophile", "spherical"])
def test_a_mesh_drawn_from_known_leaves_gives_them_back(angles, p_fail):
    """100 000 rhombs of known density and angles: profile by height and G, within chance."""
    true = a_volume("box", angles)
    n = 100_000
    part = drawn_leaves(true, n, seed=4, area_m2=true.leaf_area / n)
    corners = part.vertices[part.faces]
    area = np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    ).sum() / 2  # fmt: skip
    assert area == pytest.approx(true.leaf_area, rel=1e-9)
    found = measure_leaves([part], 16)
    assert found.areas.sum() == pytest.approx(true.leaf_area, rel=1e-9)
    edges = np.linspace(found.low, found.high, 17)
    below = area_below(true, edges)
    expected = np.diff(below) / true.leaf_area
    share = found.areas / found.areas.sum()
    # Leaves are at most 3 mm in half diagonal, so what a level cuts blurs the ends by that much.
    error = np.sqrt(expected * (1 - expected) / n)
    assert (np.abs(share - expected) < stats.norm.isf(p_fail / 96) * error + 2e-3).all()
    mu = np.cos(np.radians([0.0, 30.0, 57.3, 85.0]))
    spread = 0.5 / np.sqrt(n)
    assert np.abs(projection(found.angles, mu) - projection(true.angles, mu)).max() < 5 * spread
    assert mean_inclination(found.angles) == pytest.approx(mean_inclination(true.angles), abs=0.01)
    # An even spread over a box has the standard deviation of its half width over root three.
    assert found.middle == pytest.approx([0.5, 0.4], abs=5e-3)
    assert found.spread == pytest.approx([0.35 / np.sqrt(3), 0.3 / np.sqrt(3)], rel=1e-2)


@pytest.mark.parametrize("kind", SHAPES)
def test_densities_meet_measured_areas(kind):
    """Areas of slices of a volume are met again by densities, and none is negative."""
    true = a_volume(kind, density=listed_heights([0.2, 1.0, 0.6, 0.9]) * 5)
    levels = np.linspace(0.1, 0.8, 17)
    areas = np.diff(area_below(true, levels))
    found = with_areas(true, areas)
    assert (found.density >= 0).all()
    assert np.diff(area_below(found, levels)) == pytest.approx(areas, rel=1e-3)
    assert found.leaf_area == pytest.approx(areas.sum(), rel=1e-12)
    # Some slices may hold nothing.
    areas[[0, 5, 6]] = 0.0
    found = with_areas(true, areas)
    assert (found.density >= 0).all()
    assert np.diff(area_below(found, levels)).sum() == pytest.approx(areas.sum(), rel=1e-12)


def herbs(**canopy):
    herb = {"leaf": "leaf", "stem": "black", "nodes": "6", "internode": "5 cm",
            "petiole_length": "3 cm", "petiole_angle": "55 deg", "blade_length": "9 cm",
            "blade_width": "5 cm"}  # fmt: skip
    return plain_box(
        leaves={"leaf": {"reflectance": "8 %", "transmittance": "5 %"}},
        plants={"herb": herb},
        canopy={
            "layers": "8", "leaf_area_index": "0.5",
            "plantings": [{"plant": "herb", "columns": "3", "rows": "2", "base": "10 cm"}],
        }
        | canopy,
    )  # fmt: skip


@pytest.mark.parametrize("how", ["slab", "crowns"])
def test_plants_as_volumes_keep_leaf_area_and_stems(how):
    mesh, turbid = world_of(herbs()), world_of(herbs(as_volume=how))
    assert len(turbid.volumes) == (1 if how == "slab" else 6)
    assert not [part for part in turbid.parts if part.kind == "leaf"]
    stems = [part.name for part in mesh.parts if part.kind == "stem"]
    assert [part.name for part in turbid.parts if part.kind == "stem"] == stems
    assert turbid.layers.z_bottom == pytest.approx(mesh.layers.z_bottom)
    assert turbid.layers.leaf_area.sum() == pytest.approx(mesh.layers.leaf_area.sum(), rel=1e-9)
    whole = mesh.layers.leaf_area.sum()
    assert turbid.layers.leaf_area == pytest.approx(mesh.layers.leaf_area, abs=0.006 * whole)
    for volume in turbid.volumes if how == "crowns" else ():
        # A crown is as wide as its leaves, and stands where they do or a little off the wall.
        name = volume.name.removeprefix("crown of ")
        found = measure_leaves([next(p for p in mesh.parts if p.name == name)])
        points = draw_points(volume, 40_000, np.random.default_rng(1))
        assert points[:, :2].std(axis=0) == pytest.approx(found.spread, rel=0.02)
        assert volume.centre[:2] == pytest.approx(found.middle, abs=0.06)
        assert (volume.low >= 0).all() and (volume.high <= 1).all()


def test_leaves_at_one_height_fill_no_volume():
    flat = Part(
        "flat", "leaf", np.array([[0.1, 0.1, 0.5], [0.9, 0.1, 0.5], [0.9, 0.9, 0.5]]),
        np.array([[0, 1, 2]], np.int32), "leaf", False,
    )  # fmt: skip
    data = herbs(as_volume="slab", layers=["10 cm", "30 cm", "60 cm"])
    with pytest.raises(SceneError, match=r"as_volume: leaves that all lie at 0\.5 m fill no"):
        compile_world(scene_of(data), plants=[flat])
