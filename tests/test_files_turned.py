"""Lights of files that are turned, pitched, tilted and mirrored, each seen to go the right way.

World = Rz(turn) Ry(pitch) Rx(tilt): tilt > 0 swings the beam towards +y, pitch > 0 lowers the +x
end, so the beam goes to -x; turn > 0 takes +x to +y. Where a spot lands is worked out by hand for
each case, in units of the height above the floor.
"""

from math import cos, radians, sin, tan

import numpy as np
import pytest
from build import panel, plain_box, plane_counts, trace, world_of
from conftest import P_FAIL
from corpus.laws import lantern
from photometric_files import eulumdat, lm63, long_bar, lopsided
from scipy import stats

from canopysim.tallies.rows import mean_and_error

HEIGHT = 0.3
V = np.arange(0, 91, 5)
T20, T30, T50 = (tan(radians(a)) for a in (20, 30, 50))


def floor(text, *, at=(0.5, 0.5), cell="1 cm", n_batch=1, height=HEIGHT, size="2 mm", **turn):
    """Photons per cell of the floor (batch, y, x) below one light in a black box."""
    data = plain_box(
        fixtures={"bench": panel(size, size, {"table": text})},
        planes=[{"name": "floor", "height": "0 cm", "cell": cell}],
        lights=[
            {"fixture": "bench", "at": [f"{a} m" for a in at], "height": f"{height} m"}
            | {name: f"{angle} deg" for name, angle in turn.items()}
        ],
        tracing={"batch": "40000"},
    )
    world = world_of(data)
    rows = trace(world, n_batch)
    nx, ny = world.planes[0].cells
    if n_batch == 1:
        return plane_counts(world, rows, 0) / 2.0**32
    return rows.crossed[:n_batch, 0, : nx * ny].sum(-1).reshape(n_batch, ny, nx) / 2.0**32


def landing(text, **turn):
    """Where the middle of the light lands from the light, over its height."""
    at = (0.5, 0.5)
    counts = floor(text, at=at, **turn)
    assert counts.sum() > 0.95 * 40000
    middle = (np.arange(100) + 0.5) / 100
    x, y = counts.sum(0) @ middle / counts.sum(), counts.sum(1) @ middle / counts.sum()
    return (x - at[0]) / HEIGHT, (y - at[1]) / HEIGHT


def spot(h0, v0, h=(0, 360), v=(0, 90), width=2.0):
    """Angles and table of a narrow spot about one direction of a file."""
    h = np.array(sorted({h[0], h[1], *(h0 + s * width for s in (-1, 0, 1))}))
    v = np.array(sorted({v[0], v[1], *(v0 + s * width for s in (-1, 0, 1))}))
    return {"h": h, "v": v, "table": 1000.0 * ((h == h0)[:, None] & (v == v0))}


def lopsided_spot(**options):
    """A spot towards H = 90 of an LM-63 file, 30 degrees off straight down: towards +y."""
    return lm63(**spot(90, 30), watts=1, **options)


LEVEL = {
    # LM-63, type C: 0 along the length (+x), counter-clockwise seen from above.
    "C, H = 90": (lm63(**spot(90, 30), watts=1), (0, T30)),
    "C, H = 180": (lm63(**spot(180, 30), watts=1), (-T30, 0)),
    # EULUMDAT: 0 across the length, towards +y, and the same sense.
    "EULUMDAT, C = 90": (
        "\n".join(
            eulumdat(symmetry=0, planes=[0, 88, 90, 92], gamma=[0, 28, 30, 32, 90],
                     table=[[0] * 5, [0] * 5, [0, 0, 900, 0, 0], [0] * 5], lamp_flux=1000)
        ),
        (-T30, 0),
    ),
    "EULUMDAT, C = 180": (
        "\n".join(
            eulumdat(symmetry=0, planes=[0, 178, 180, 182], gamma=[0, 28, 30, 32, 90],
                     table=[[0] * 5, [0] * 5, [0, 0, 900, 0, 0], [0] * 5], lamp_flux=1000)
        ),
        (0, -T30),
    ),
    # Types A and B: V > 0 is up, +x; H > 0 is right of who looks along the beam, -y.
    "A, V = 30": (lm63(**spot(0, 30, (-90, 90), (-90, 90)), kind="A", watts=1), (T30, 0)),
    "A, H = 30": (lm63(**spot(30, 0, (-90, 90), (-90, 90)), kind="A", watts=1), (0, -T30)),
    "B, V = 30": (lm63(**spot(0, 30, (-90, 90), (-90, 90)), kind="B", watts=1), (T30, 0)),
    "B, H = 30": (lm63(**spot(30, 0, (-90, 90), (-90, 90)), kind="B", watts=1), (0, -T30)),
}  # fmt: skip


@pytest.mark.parametrize("name", LEVEL)
def test_a_level_light_shines_where_its_file_says(name):
    text, wanted = LEVEL[name]
    assert landing(text) == pytest.approx(wanted, abs=0.02)


# The spot leaves 30 degrees off straight down, towards +y: (0, sin 30, -cos 30).
S20, C20, S30, C30 = sin(radians(20)), cos(radians(20)), sin(radians(30)), cos(radians(30))
TURNED = {
    # +y goes to -x.
    "turn 90": ({"turn": 90}, (-T30, 0)),
    "turn -90": ({"turn": -90}, (T30, 0)),
    "turn 30": ({"turn": 30}, (-T30 * S30, T30 * C30)),
    # Towards +y: 20 degrees more, or less.
    "tilt 20": ({"tilt": 20}, (0, T50)),
    "tilt -20": ({"tilt": -20}, (0, tan(radians(10)))),
    # What goes down leans to -x by 20 degrees; what goes to y stays.
    "pitch 20": ({"pitch": 20}, (-T20, S30 / (C20 * C30))),
    "pitch -20": ({"pitch": -20}, (T20, S30 / (C20 * C30))),
    # First the tilt: (0, sin 50, -cos 50). Then the pitch: the downward part leans to -x. Last the
    # turn: x to y, y to -x.
    "turn 90, pitch 20, tilt 20": ({"turn": 90, "pitch": 20, "tilt": 20}, (-T50 / C20, -T20)),
    "turn 180, pitch -20, tilt 20": ({"turn": 180, "pitch": -20, "tilt": 20}, (-T20, -T50 / C20)),
}


@pytest.mark.parametrize("name", TURNED)
def test_a_light_without_symmetry_turned_pitched_and_tilted(name):
    turn, wanted = TURNED[name]
    assert landing(lopsided_spot(), **turn) == pytest.approx(wanted, abs=0.02)


def alike(one, other, n_tests=1):
    """Cell by cell within the errors that batches show, and not for lack of light."""
    (a, ea), (b, eb) = mean_and_error(one), mean_and_error(other)
    seen = (a + b) > 40
    assert seen.sum() > 0.5 * seen.size
    z = (a - b)[seen] / np.hypot(ea, eb)[seen]
    bound = stats.t.isf(P_FAIL / n_tests / 2 / seen.sum(), len(one) - 1)
    return np.abs(z).max() < bound


AXIAL = lm63(lantern, v=range(0, 181, 5))
QUADRANT = lm63(long_bar, h=range(0, 91, 15), v=range(0, 181, 5))
MIRRORED = lm63(long_bar, h=range(0, 361, 15), v=range(0, 181, 5))
FULL = lm63(lopsided, h=range(0, 361, 15), v=range(0, 181, 5))
MANY = {"n_batch": 16, "cell": "10 cm"}


def test_an_axial_file_does_not_change_when_it_is_turned_about_its_axis():
    still = floor(AXIAL, at=(0.4, 0.55), **MANY)
    for turn in (37, 90, 200):
        assert alike(floor(AXIAL, at=(0.4, 0.55), turn=turn, **MANY), still, 3)
    # One without symmetry does.
    still = floor(FULL, at=(0.4, 0.55), **MANY)
    assert not alike(floor(FULL, at=(0.4, 0.55), turn=37, **MANY), still)


def test_a_quadrant_file_is_mirrored_left_and_right_and_front_and_back():
    one = floor(QUADRANT, **MANY)
    assert alike(one, floor(MIRRORED, **MANY), 5)
    assert alike(one, one[:, :, ::-1], 5)
    assert alike(one, one[:, ::-1, :], 5)
    # Half a turn changes nothing, a quarter swaps along and across.
    assert alike(one, floor(QUADRANT, turn=180, **MANY), 5)
    quarter = floor(QUADRANT, turn=90, **MANY)
    assert alike(one, quarter.transpose(0, 2, 1), 5)
    assert not alike(one, quarter)
    bent = floor(FULL, **MANY)
    assert not alike(bent, bent[:, :, ::-1])
    assert not alike(bent, bent[:, ::-1, :])


def test_a_fixture_without_symmetry_lights_the_same_floor_from_both_formats():
    """The quarter turn of EULUMDAT, and its sense, by a distribution that shows both."""
    there = "\n".join(eulumdat(lopsided, symmetry=0, lamp_flux=6283))
    turn = {"turn": 20, "pitch": 10, "tilt": -15}
    assert alike(floor(FULL, **turn, **MANY), floor(there, **turn, **MANY))
    # Turned half about, as the other sense would have it, it is another light.
    other = turn | {"turn": 200}
    assert not alike(floor(FULL, **turn, **MANY), floor(there, **other, **MANY))
