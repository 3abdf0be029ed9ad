"""Things that touch, cross or nearly touch: nothing slips through, nothing is lost."""

import numpy as np
import pytest
from build import panel, plain_box, trace, world_of
from test_canopy_light import STAND_IN

from canopysim.matter.parts import Part
from canopysim.world.strips import exponent


def sheets(heights, surfaces):
    """Level leaves over the whole box, a part each."""
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float)
    faces = np.array([[0, 1, 2], [0, 2, 3]], np.int32)
    return [
        Part(f"sheet-{i}", "leaf", np.column_stack([square, np.full(4, z)]), faces, s, False)
        for i, (z, s) in enumerate(zip(heights, surfaces, strict=True))
    ]


@pytest.mark.parametrize("gap_m", [1e-3, 4e-6])
def test_light_through_a_leaf_meets_the_leaf_just_below(gap_m):
    """A clear leaf a few micrometres above a black one: the black one takes every photon."""
    data = plain_box(
        **STAND_IN,
        fixtures={"panel": panel("1 m", "1 m", "parallel")},
        lights=[{"fixture": "panel", "at": ["50 cm", "50 cm"], "height": "99 cm"}],
    )
    data["leaves"] = {
        "leaf": {"reflectance": "0 %", "transmittance": "0 %"},
        "clear": {"reflectance": "0 %", "transmittance": "100 %"},
    }
    world = world_of(data, plants=sheets([0.4 + gap_m, 0.4], ["clear", "leaf"]))
    rows = trace(world, 1)
    leaves = [i for i, s in enumerate(world.sinks) if s.kind == "leaf"]
    # Light falls straight, then in all directions; within the gap it cannot reach a wall unseen
    # but next to the rim.
    share = rows.absorbed[0][0, leaves].sum() / (world.batch_packets * 2**32)
    assert share > 1 - 8 * gap_m - 1e-4
    assert rows.counters[2] == 0


def test_leaves_through_a_fixtures_body_lose_no_photon():
    """Where a leaf pierces a bar, a ray that starts at the crossing must not end inside it."""
    rng = np.random.default_rng(6)
    data = plain_box(
        **STAND_IN,
        fixtures={
            "panel": panel("60 cm", "30 cm"),
            "bar": {
                "body": {"length": "60 cm", "width": "8 cm", "height": "6 cm", "surface": "white"},
                "ppf": "1 umol/s",
                "spectrum": {"400-500": "100 %"},
                "strips": [{"length": "50 cm", "width": "1 cm", "lens": "lambertian"}],
            },
        },
        lights=[
            {"fixture": "panel", "at": ["50 cm", "50 cm"], "height": "95 cm"},
            {"fixture": "bar", "at": ["50 cm", "50 cm"], "height": "40 cm"},
        ],
    )
    data["surfaces"] = {"black": {}, "white": {"diffuse": "95 %"}}
    data["enclosure"]["lining"] = "white"
    data["leaves"] = {"leaf": {"reflectance": "60 %", "transmittance": "38 %"}}
    data["tracing"] = {"batch": "65536"}
    n = 60
    middle = np.column_stack([
        rng.uniform(0.25, 0.75, n), rng.uniform(0.45, 0.55, n), rng.uniform(0.38, 0.48, n)
    ])  # fmt: skip
    corners = middle[:, None] + rng.normal(0, 0.05, (n, 3, 3))
    leaves = Part(
        "leaves", "leaf", corners.reshape(-1, 3), np.arange(3 * n, dtype=np.int32).reshape(-1, 3),
        "leaf", False,
    )  # fmt: skip
    world = world_of(data, plants=[leaves])
    rows = trace(world, 6)
    assert rows.counters[2] == 0
    assert rows.counters[1] > 30 * rows.counters[0]


def test_the_narrowest_beam_has_an_exponent():
    for width in (1e-9, 1e-4, 0.5):
        # cos^m(w/2) = 1/2, and m = 8 ln 2 / w^2 for a narrow beam.
        assert exponent(width) == pytest.approx(8 * np.log(2) / width**2, rel=width**2 / 8 + 1e-6)
