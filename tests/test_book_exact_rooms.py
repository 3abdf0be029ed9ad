"""The book's references for rooms, held against brute force, sums and limits."""

from __future__ import annotations

import numpy as np
import pytest

from canopysim.book.cases import boxes
from canopysim.book.exact.radiosity import FACES, Lamp, converged, solve
from canopysim.book.exact.rectangles import parallel, perpendicular


def gauss(low, high, n=24):
    u, w = np.polynomial.legendre.leggauss(n)
    return low + (high - low) * (u + 1) / 2, w * (high - low) / 2


def test_rectangles_exchange_what_brute_force_says():
    (x, wx), (y, wy), (c, wc) = gauss(0.1, 0.6), gauss(0.2, 0.5), gauss(0.3, 1.2)
    (e, we), (f, wf) = gauss(0.4, 1.0), gauss(0.15, 0.85)
    weights = "abcd,a,b,c,d"
    along = (x[:, None, None, None] - c[None, None, :, None]) ** 2
    r2 = along + (y[:, None, None] - e) ** 2 + 0.35**2
    brute = np.einsum(weights, 0.35**2 / np.pi / r2**2, wx, wy, wc, we)
    found = parallel([0.1, 0.6], [0.2, 0.5], [0.3, 1.2], [0.4, 1.0], 0.35)
    assert found.item() == pytest.approx(brute, rel=1e-9)
    distance = y[:, None, None] * f
    r2 = along + y[:, None, None] ** 2 + f**2
    brute = np.einsum(weights, distance / np.pi / r2**2, wx, wy, wc, wf)
    found = perpendicular([0.1, 0.6], [0.2, 0.5], [0.3, 1.2], [0.15, 0.85])
    assert found.item() == pytest.approx(brute, rel=1e-5)


@pytest.mark.parametrize("room", [boxes.TALL, boxes.LOW, boxes.COURT])
def test_radiosity_keeps_all_light_and_converges_as_it_says(room):
    lit, off = converged(room.cuts, room.rho, room.lamp)
    assert sum(lit.falls[f] * (1 - room.rho[f]) for f in FACES) == pytest.approx(1, abs=1e-9)
    assert lit.floor.sum() == pytest.approx(lit.falls["floor"], rel=1e-9)
    assert off < boxes.OFF


def test_a_box_of_one_reflectance_fills_evenly_in_the_limit():
    """Nearly white, every face gets its share of the area; a turned box gives turned answers."""
    sides = {"left": 0.7, "right": 0.7, "front": 1.5 * 0.7, "back": 1.5 * 0.7,
             "floor": 1.5, "ceiling": 1.5}  # fmt: skip
    size = [[0, 1.5], [0, 1.0], [0, 0.7]]
    lit = solve(size, dict.fromkeys(FACES, 0.999), Lamp((0.1, 0.4), (0.2, 0.9), 0.7), 4)
    whole = sum(sides.values())
    for face in FACES:
        assert lit.falls[face] * 1e-3 == pytest.approx(sides[face] / whole, rel=5e-3)
    rho = dict(zip(FACES, (0.9, 0.2, 0.6, 0.4, 0.3, 0.8), strict=True))
    turned = rho | {"left": 0.4, "right": 0.6, "front": 0.9, "back": 0.2}
    one = solve(size, rho, Lamp((0.1, 0.4), (0.2, 0.9), 0.5), 4)
    # A quarter turn to the left: the left goes to the front, the back to the left.
    other = solve([[0, 1.0], [0, 1.5], [0, 0.7]], turned, Lamp((0.1, 0.8), (0.1, 0.4), 0.5), 4)
    for a, b in (("left", "front"), ("right", "back"), ("back", "left"), ("front", "right")):
        assert one.falls[a] == pytest.approx(other.falls[b], rel=1e-9)
