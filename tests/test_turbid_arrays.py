"""Volumes filled with leaves before any light: angles, densities, leaf area, arrays."""

from itertools import pairwise

import numpy as np
import pytest
from build import panel, plain_box, scene_of, world_of
from scipy import integrate, special
from turbid_oracles import DENSITY, campbell, shown_share

from canopysim.matter.turbid.heights import beta_heights, listed_heights
from canopysim.matter.turbid.inclination import (
    N_STEP,
    class_angles,
    ellipsoid_angles,
    mean_inclination,
    measured_angles,
    named_angles,
    projection,
)
from canopysim.matter.turbid.volume import Volume, area_below, volume_area_by_layer

RIGHT = np.pi / 2


def all_angles():
    """Quantiles and density of every distribution with a density."""
    found = [(name, named_angles(name), density) for name, density in DENSITY.items()]
    for x in (0.3, 0.8, 1.0, 1.0000001, 1.5, 3.0, 8.0):
        found.append((f"ellipsoid {x}", ellipsoid_angles(x), campbell(x)))
    return found


@pytest.mark.parametrize(("name", "cosine", "density"), all_angles())
def test_quantiles_invert_the_density(name, cosine, density):
    """Between two quantiles lies one step of probability, by quadrature of the density."""
    assert cosine.shape == (N_STEP + 1,)
    assert cosine[0] == 1.0 and cosine[-1] == 0.0 and (np.diff(cosine) <= 0).all()
    angle = np.arccos(cosine)
    for first, last in ((0, 1), (0, 100), (100, 512), (512, 1023), (1023, 1024), (0, 1024)):
        share = integrate.quad(density, angle[first], angle[last], epsabs=1e-13)[0]
        assert share == pytest.approx((last - first) / N_STEP, abs=2e-9), (first, last)


@pytest.mark.parametrize(("name", "cosine", "density"), all_angles())
def test_projection_is_the_mean_of_the_cosines(name, cosine, density):
    """G of the table that is drawn from, against the density and the compass by brute force.

    The table is straight between its quantiles; what that costs in G is below 10^-4.
    """
    zenith = np.radians([0.0, 25.0, 57.3, 80.0, 90.0])
    for mu, found in zip(np.cos(zenith), projection(cosine, np.cos(zenith)), strict=True):
        assert found == pytest.approx(shown_share(density, mu), abs=1e-4)


def test_projection_of_leaves_of_one_kind():
    """Spherical leaves show a half to every direction, level ones the cosine, upright ones 2/pi."""
    mu = np.cos(np.radians([0.0, 10.0, 45.0, 70.0, 89.0, 90.0]))
    assert projection(named_angles("spherical"), mu) == pytest.approx(0.5, abs=1e-5)
    assert projection(named_angles("level"), mu) == pytest.approx(mu, abs=1e-12)
    across = np.sqrt(1 - mu**2)
    assert projection(named_angles("upright"), mu) == pytest.approx(2 / np.pi * across, abs=1e-12)


def test_classes_keep_their_shares():
    """Leaf area in classes of 30 degrees, an empty one among them, is found in its classes."""
    cosine = class_angles([0.0, 0.6, 0.0, 0.4, 0.0, 0.0])
    angle = np.degrees(np.arccos(cosine))
    share = np.arange(N_STEP + 1) / N_STEP
    assert angle.min() == pytest.approx(15) and angle.max() == pytest.approx(60)
    assert np.interp(30.0, angle, share) == pytest.approx(0.6, abs=1.5 / N_STEP)
    assert np.interp(45.0, angle, share) == pytest.approx(0.6, abs=1.5 / N_STEP)
    assert np.degrees(mean_inclination(cosine)) == pytest.approx(0.6 * 22.5 + 0.4 * 52.5, abs=0.05)


def test_measured_angles_are_those_of_the_pieces():
    """A few large pieces keep their shares; many drawn ones give the distribution back."""
    few = measured_angles([-0.5, 1.0, 0.2], [2.0, 1.0, 1.0])
    at = (np.arange(N_STEP + 1)) / N_STEP
    assert (few[at < 0.249] == 1.0).all() and few[-1] == pytest.approx(0.2)
    assert few[(at > 0.251) & (at < 0.749)] == pytest.approx(0.5)
    rng = np.random.default_rng(5)
    for name in ("planophile", "plagiophile"):
        true = named_angles(name)
        many = np.interp(rng.random(200_000) * N_STEP, np.arange(N_STEP + 1), true)
        found = measured_angles(many, np.ones(len(many)))
        # A quantile is the mean of a step here, and the last ones fall to 0 steeply.
        assert np.abs(found - true)[:-4].max() < 0.01
        mu = np.cos(np.radians([0.0, 40.0, 80.0]))
        assert projection(found, mu) == pytest.approx(projection(true, mu), abs=2e-3)


SHAPES = ("box", "ellipsoid", "row along x", "row along y")


def some_volume(kind, seed=1):
    rng = np.random.default_rng(seed)
    return Volume(
        "any", kind, np.array([0.4, 0.3, 0.5]), np.array([0.3, 0.2, 0.35]),
        rng.random(65), named_angles("spherical"), "leaf",
    )  # fmt: skip


def section(kind, half, t):
    """Area of a level cut."""
    wide = 4 * half[0] * half[1]
    under = np.maximum(0, 1 - t * t)
    return {"box": wide, "ellipsoid": wide * np.pi / 4 * under}.get(kind, wide * np.sqrt(under))


@pytest.mark.parametrize("kind", SHAPES)
def test_leaf_area_by_layer_is_the_integral_of_the_density(kind):
    """Layers that cut a volume anywhere, against quadrature, to 10^-7 (asked for is 10^-4)."""
    volume = some_volume(kind)
    nodes = np.linspace(0.15, 0.85, 65)
    edges = np.array([0.15, 0.2, 0.2001, 0.37, 0.5, 0.77, 0.849, 0.85])

    def density(z):
        t = (z - 0.5) / 0.35
        return np.interp(z, nodes, volume.density) * section(kind, volume.half, t)

    exact = [
        sum(integrate.quad(density, low, high, epsabs=1e-13)[0] for low, high in pairwise(cuts))
        for cuts in (
            np.unique([a, b, *nodes[(nodes > a) & (nodes < b)]]) for a, b in pairwise(edges)
        )
    ][::-1]
    found = volume_area_by_layer(volume, edges)
    assert found == pytest.approx(exact, rel=1e-7, abs=1e-12)
    assert found.sum() == pytest.approx(volume.leaf_area, rel=1e-12)
    assert area_below(volume, [0.0, 0.15, 0.85, 2.0]) == pytest.approx(
        [0, 0, volume.leaf_area, volume.leaf_area], abs=1e-12
    )


@pytest.mark.parametrize("kind", SHAPES)
def test_size_of_a_volume(kind):
    wide = 8 * 0.3 * 0.2 * 0.35
    share = {"box": 1.0, "ellipsoid": np.pi / 6}.get(kind, np.pi / 4)
    assert some_volume(kind).size == pytest.approx(share * wide, rel=1e-12)


def test_profiles_by_height():
    """A beta profile holds the shares of the beta distribution; a list is met at its heights."""
    x = np.linspace(0, 1, 65)
    for p, q in ((1.0, 1.0), (2.5, 2.5), (11.5, 3.5)):
        density = beta_heights(p, q)
        assert density.max() == 1.0
        below = integrate.cumulative_trapezoid(density, x, initial=0.0)
        assert below / below[-1] == pytest.approx(special.betainc(p, q, x), abs=2e-3)
    assert listed_heights([0.2, 1.0, 0.6])[[0, 16, 32, 64]] == pytest.approx([0.2, 0.6, 1.0, 0.6])


def volume_scene(*volumes, **changes):
    """A black box of 1 m with volumes."""
    return plain_box(
        fixtures={"panel": panel("1 m", "1 m")},
        lights=[{"fixture": "panel", "at": ["50 cm", "50 cm"], "height": "99 cm"}],
        leaves={"leaf": {"reflectance": "0 %", "transmittance": "0 %"}},
        canopy={"layers": "4", "volumes": list(volumes)},
        **changes,
    )


SLAB = {"shape": "slab", "leaf": "leaf", "bottom": "10 cm", "top": "90 cm"}
CROWN = {"shape": "ellipsoid", "leaf": "leaf", "bottom": "20 cm", "top": "60 cm",
         "width": "30 cm", "depth": "20 cm"}  # fmt: skip


def test_stated_leaf_area_is_met():
    """As an index, as an area of each, as a density: and the layers hold all of it."""
    world = world_of(volume_scene(SLAB | {"leaf_area_index": "2.5", "by_height": ["0 %", "90 %"]}))
    assert world.layers.leaf_area.sum() == pytest.approx(2.5, rel=1e-12)
    # Density rises in proportion to height: quarters hold 7, 5, 3 and 1 sixteenths.
    assert world.layers.leaf_area == pytest.approx(2.5 * np.array([7, 5, 3, 1]) / 16, rel=1e-4)
    crowns = CROWN | {"columns": "2", "rows": "2", "leaf_area": "0.07 m2", "clumping": "0.6"}
    world = world_of(volume_scene(crowns))
    assert world.layers.leaf_area.sum() == pytest.approx(0.28, rel=1e-12)
    assert [v.name for v in world.volumes] == [f"ellipsoid-0{k}" for k in (1, 2, 3, 4)]
    assert world.arrays.cloud_density == pytest.approx(
        0.6 * 0.07 / (np.pi / 6 * 0.3 * 0.2 * 0.4), rel=1e-6
    )
    world = world_of(volume_scene(CROWN | {"density": "8 m2/m3"}))
    assert world.volumes[0].leaf_area == pytest.approx(8 * np.pi / 6 * 0.3 * 0.2 * 0.4, rel=1e-9)
    assert world.layers.top == pytest.approx(0.6)
    row = {"shape": "row", "direction": "depth", "leaf": "leaf", "bottom": "5 cm", "top": "25 cm",
           "width": "20 cm", "columns": "2", "leaf_area_index": "1"}  # fmt: skip
    world = world_of(volume_scene(row))
    assert world.arrays.cloud_shape == pytest.approx(
        np.array([[0.25, 0.5, 0.15, 0.1, 0.5, 0.1], [0.75, 0.5, 0.15, 0.1, 0.5, 0.1]])
    )
    assert world.layers.leaf_area.sum() == pytest.approx(1.0)


def test_volumes_go_on_where_sides_repeat():
    """A crown over the edge of a bay comes in at the other side; its area counts once."""
    crown = CROWN | {"positions": [["0 cm", "95 cm"]], "leaf_area": "0.1 m2"}
    enclosure = {"width": "1 m", "depth": "1 m", "height": "1 m", "lining": "black"}
    world = world_of(volume_scene(crown, enclosure=enclosure | {"repeat": ["width", "depth"]}))
    middles = sorted(map(tuple, np.round(world.arrays.cloud_shape[:, :2].astype(float), 6)))
    assert middles == [(0.0, -0.05), (0.0, 0.95), (1.0, -0.05), (1.0, 0.95)]
    assert world.layers.leaf_area.sum() == pytest.approx(0.1)
    assert len(set(world.arrays.cloud_place.tolist())) == 1


def test_a_world_without_volumes_has_no_trace_of_them():
    """All arrays are empty, and leave the digest as it was."""
    from canopysim.world.compile import _digest

    world = world_of(plain_box())
    clouds = {name: getattr(world.arrays, name) for name in world.arrays._fields
              if name.startswith("cloud_")}  # fmt: skip
    assert len(clouds) == 6
    assert all(len(array) == 0 and array.flags.c_contiguous for array in clouds.values())
    full = world_of(volume_scene(SLAB | {"leaf_area_index": "1"}))
    for name in clouds:
        array = getattr(full.arrays, name)
        assert array.dtype == clouds[name].dtype and array.ndim == clouds[name].ndim
        assert array.flags.c_contiguous
        changed = full.arrays._replace(**{name: array + 1})
        assert _digest(changed) != full.digest, name


def test_volumes_beside_meshes_share_the_layers_and_the_index():
    """A stated index counts volumes too, and scales the blades of grown plants to what is left."""
    herb = {"leaf": "leaf", "stem": "black", "nodes": "4", "internode": "6 cm",
            "petiole_length": "3 cm", "petiole_angle": "55 deg", "blade_length": "8 cm",
            "blade_width": "4 cm"}  # fmt: skip
    data = volume_scene(CROWN | {"leaf_area": "0.1 m2"}, plants={"herb": herb})
    data["canopy"] |= {
        "leaf_area_index": "0.14",
        "plantings": [{"plant": "herb", "columns": "2", "rows": "2", "base": "10 cm"}],
    }
    world = world_of(data)
    assert world.layers.leaf_area.sum() == pytest.approx(0.14, rel=1e-6)
    scene = scene_of(data)
    assert scene.canopy.volumes[0].leaf_area == 0.1
