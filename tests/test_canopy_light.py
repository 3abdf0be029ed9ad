"""Leaves: random discs against exp(-LAI), energy at a leaf, sides, layers against planes."""

import numpy as np
import pytest
from build import WHITE, panel, plain_box, plane_counts, trace, world_of
from oracles import uncovered_share
from scipy import stats

from canopysim.matter.parts import Part
from canopysim.tallies.label import Labeller
from canopysim.tallies.rows import mean_and_error

STAND_IN = {
    "leaves": {"leaf": {"reflectance": "0 %", "transmittance": "0 %"}},
    "plants": {
        "any": {"leaf": "leaf", "stem": "black", "nodes": "1", "internode": "1 cm",
                "petiole_length": "1 cm", "petiole_angle": "60 deg", "blade_length": "3 cm",
                "blade_width": "2 cm"},
    },
    "canopy": {"layers": ["5 cm", "30 cm", "50 cm", "70 cm", "95 cm"],
               "plantings": [{"plant": "any", "columns": "1", "rows": "1"}]},
}  # fmt: skip


def discs(n, radius, size, heights, seed):
    """Level discs (32-gons of the discs' area) with their upper side up, anywhere in the box."""
    rng = np.random.default_rng(seed)
    corners = 32
    r = radius * np.sqrt(2 * np.pi / corners / np.sin(2 * np.pi / corners))
    angle = 2 * np.pi * np.arange(corners) / corners
    rim = np.stack([r * np.cos(angle), r * np.sin(angle), 0 * angle], 1)
    middle = rng.uniform([0, 0, heights[0]], [size[0], size[1], heights[1]], (n, 3))
    vertices = (np.concatenate([[[0, 0, 0]], rim])[None] + middle[:, None]).reshape(-1, 3)
    fan = np.stack([np.zeros(corners), 1 + np.arange(corners),
                    1 + (np.arange(corners) + 1) % corners], 1).astype(np.int32)  # fmt: skip
    faces = (fan[None] + ((corners + 1) * np.arange(n))[:, None, None]).reshape(-1, 3)
    return Part("discs", "leaf", vertices, faces.astype(np.int32), "leaf", False)


def disc_scene(lens, **leaf):
    data = plain_box(
        fixtures={"panel": panel("1 m", "1 m", lens)},
        lights=[{"fixture": "panel", "at": ["50 cm", "50 cm"], "height": "99 cm"}],
        planes=[{"name": "under", "height": "1 cm", "cell": "10 cm"}],
        **STAND_IN,
    )
    if leaf:
        data["leaves"] = {"leaf": leaf}
    return data


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("lai", [0.5, 2.0])
def test_random_level_discs_let_exp_minus_lai_through(seed, lai, p_fail):
    """Independent uniform discs: a vertical ray passes with probability (1 - a/A)^n ~ exp(-LAI).

    The window keeps one radius from the walls, where discs stick out. The spread of one random
    canopy about its mean is the binomial's own, from the pair correlation of the discs.
    """
    radius = 0.03
    n = round(lai / (np.pi * radius**2))
    world = world_of(disc_scene("parallel"), plants=[discs(n, radius, (1, 1), (0.1, 0.9), seed)])
    counts = plane_counts(world, trace(world, 4), 0) / 2.0**32
    window = counts[1:9, 1:9]
    share = window.sum() / (0.64 * 4 * world.batch_packets)
    mean, spread = uncovered_share(n, radius, 1.0, (0.8, 0.8))
    assert np.isclose(mean, np.exp(-lai), rtol=5e-3)
    error = np.hypot(spread, np.sqrt(mean * (1 - mean) / (0.64 * 4 * world.batch_packets)))
    assert abs(share - mean) < stats.norm.isf(p_fail / 12) * error
    # The spread is small enough for the test to mean something.
    assert error < 0.05


@pytest.mark.parametrize("side", ["upper", "lower"])
def test_one_large_leaf_keeps_its_sides_apart(side, p_fail):
    """A level leaf that spans the box, its sides unlike, under parallel light from one side.

    The lit side absorbs a known integer and the other nothing; what the plane 49 cm below the leaf
    counts is the transmitted (lit from above) or reflected (lit from below) share times the
    configuration factor of opposite unit squares.
    """
    square = Part(
        "sheet", "leaf",
        np.array([[0, 0, 0.5], [1, 0, 0.5], [1, 1, 0.5], [0, 1, 0.5]], float),
        np.array([[0, 1, 2], [0, 2, 3]], np.int32), "leaf", False,
    )  # fmt: skip
    data = disc_scene(
        "parallel",
        reflectance="30 %", transmittance="15 %",
        lower={"reflectance": "5 %", "transmittance": "60 %"},
    )  # fmt: skip
    absorbed, downward = 0.55, 0.15
    if side == "lower":
        data["lights"][0] |= {"tilt": "180 deg", "height": "20 cm"}
        absorbed, downward = 0.35, 0.05
    world = world_of(data, plants=[square])
    n_batch = 8
    rows = trace(world, n_batch)
    n_packet = n_batch * world.batch_packets
    taken = dict.fromkeys(("upper", "lower"), 0)
    for sink, quanta in zip(world.sinks, np.array(rows.absorbed).sum((0, 1, 3)), strict=True):
        if sink.end == "leaves":
            taken[sink.side] += int(quanta)
    assert taken.pop(side) == pytest.approx(absorbed * 2**32 * n_packet, rel=1e-7)
    assert list(taken.values()) == [0]
    crossed = np.array(rows.crossed_sum).sum(0)[0, 0, :, :].sum(1) / 2.0**32 / n_packet
    assert crossed[1] == 0
    # A photon that goes down carries all that is left, so the count is binomial.
    p = downward / (1 - absorbed) * opposite_squares(0.49)
    z = (crossed[0] / (1 - absorbed) - p) / np.sqrt(p * (1 - p) / n_packet)
    assert abs(z) < stats.norm.isf(p_fail / 4)


def opposite_squares(distance):
    """Unit square to an equal one opposite (Howell C-11)."""
    x = 1.0 / distance
    s = 1 + x * x
    return (
        2 / (np.pi * x * x)
        * (np.log(np.sqrt(s * s / (1 + 2 * x * x))) + 2 * x * np.sqrt(s) * np.arctan(x / np.sqrt(s))
           - 2 * x * np.arctan(x))
    )  # fmt: skip


def test_bands_in_one_history_agree_with_bands_alone(p_fail):
    """Five bands of very unlike albedo on shared paths give what each gives alone."""
    leaf = {
        "reflectance": {"400-500": "2 %", "500-600": "20 %", "600-700": "5 %", "700-800": "48 %"},
        "transmittance": {"400-500": "0 %", "500-600": "10 %", "600-700": "1 %", "700-800": "50 %"},
    }
    data = disc_scene("lambertian", **leaf)
    data["surfaces"] = {
        "black": {},
        "wall": {"diffuse": {"400-600": "70 %", "600-800": "10 %"},
                 "specular": {"400-600": "10 %", "600-800": "80 %"}},
    }  # fmt: skip
    data["enclosure"]["lining"] = "wall"
    plants = [discs(400, 0.04, (1, 1), (0.1, 0.9), 5)]
    n_batch = 16
    data["tracing"] = {"batch": "6000"}

    def layers(spectrum, seed):
        data["fixtures"]["panel"]["spectrum"] = spectrum
        world = world_of(data, plants=plants)
        rows = trace(world, n_batch, seed=seed)
        labeller = Labeller(world)
        leaf_sinks = [i for i, s in enumerate(world.sinks) if s.end == "leaves"]
        series = np.array(
            [
                labeller.flux(a)[-1][leaf_sinks].reshape(4, 2, -1).sum(1)[:, :5]
                for a in rows.absorbed
            ]
        )
        return mean_and_error(series)

    together, error = layers(WHITE, 1)
    for band, (name, share) in enumerate(WHITE.items()):
        alone, alone_error = layers({name: "100 %"}, 10 + band)
        factor = float(share.split()[0]) / 100
        z = (together[:, band] - factor * alone[:, band]) / np.hypot(
            error[:, band], factor * alone_error[:, band]
        )
        bound = stats.t.isf(p_fail / 40, 2 * n_batch - 2)
        assert np.abs(z).max() < bound, f"{name}: {np.round(z, 2)}"


def test_layer_absorption_is_the_difference_of_net_fluxes():
    """What crosses a layer's planes and stays is absorbed inside, to the last quantum but for
    roulette and choice, which are switched off here: one band, black stems, no faint packets."""
    data = disc_scene("lambertian", reflectance="0 %", transmittance="0 %")
    part = discs(300, 0.04, (1, 1), (0.1, 0.9), 9)
    world = world_of(data, plants=[part])
    layers = world.layers
    bounds = [layers.z_top[0], *layers.z_bottom]
    data["planes"] = [
        {"name": f"p{i}", "height": f"{z!r} m", "cell": "1 m"}
        for i, z in enumerate(float(b) for b in bounds)
    ]
    data["surfaces"]["mirror"] = {"specular": "100 %"}
    data["enclosure"]["faces"] = dict.fromkeys(("left", "right", "front", "back"), "mirror")
    world = world_of(data, plants=[part])
    rows = trace(world, 2)
    net = np.array([s[0, :, 0, 0] - s[0, :, 1, 0] for s in rows.crossed_sum]).sum(0)
    absorbed = np.zeros(4, np.int64)
    for sink, value in zip(world.sinks, np.array(rows.absorbed).sum(0)[0, :, 0], strict=True):
        if sink.end == "leaves":
            absorbed[sink.layer] += value
    assert (net[:-1] - net[1:] == absorbed).all()
    assert absorbed.min() > 0
