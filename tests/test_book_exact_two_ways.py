"""The book's backward paths: against closed forms where there are any."""

from __future__ import annotations

import numpy as np
import pytest

from canopysim.book.exact.backward import Room, collect, flux_density, lambert, sheet

# Bounds in standard errors of sums with fixed seeds.
LIMIT = 4.5


def black(**parts) -> Room:
    whole = {"size": (1.0, 1.0, 1.0), "faces": np.zeros((3, 2)), "leaves": (),
             "panel": sheet((0.5, 0.5, 0.8), 0.6, 0.4, 0, 0, 0), "flux": 100.0}  # fmt: skip
    return Room(**(whole | parts))


def test_directions_follow_lambert():
    rng = np.random.default_rng(1)
    normal = np.array([0.0, 0.6, 0.8])
    d = lambert(np.broadcast_to(normal, (100_000, 3)), rng)
    mu = d @ normal
    assert np.linalg.norm(d, axis=1) == pytest.approx(1)
    # The cosine's square is uniform.
    assert abs((mu**2).mean() - 0.5) < LIMIT * np.sqrt(1 / 12 / len(mu))
    assert mu.min() > 0


def test_a_panel_over_a_spot():
    """Configuration factor of a rectangle above a point under its middle (four corners of it)."""
    room = black()
    x, y = 0.3 / 0.8, 0.2 / 0.8
    corner = (
        x / np.sqrt(1 + x * x) * np.arctan(y / np.sqrt(1 + x * x))
        + y / np.sqrt(1 + y * y) * np.arctan(x / np.sqrt(1 + y * y))
    ) / (2 * np.pi)
    wanted = 4 * corner * room.radiance * np.pi
    spot = sheet((0.5, 0.5, 0.0), 1e-6, 1e-6, 0, 0, 0)
    value, error = flux_density(room, spot, 0, 200_000, np.random.default_rng(2))
    assert error < 0.01 * wanted
    assert abs(value - wanted) < LIMIT * error
    # From above it is dark, and a leaf of which nothing comes shades it.
    above = sheet((0.5, 0.5, 0.9), 0.2, 0.2, 0, 0, 0)
    assert flux_density(room, above, 1, 1000, np.random.default_rng(3))[0] == 0
    shaded = black(leaves=(sheet((0.5, 0.5, 0.4), 0.9, 0.9, 0, 0, 0),))
    assert flux_density(shaded, spot, 0, 1000, np.random.default_rng(4))[0] == 0


def test_a_room_of_unlike_faces_keeps_the_light():
    """Light that six faces and a leaf's sides keep together is all that the panel sends."""
    faces = np.array([[0.3, 0.6], [0.5, 0.2], [0.4, 0.7]])
    leaf = sheet((0.45, 0.5, 0.4), 0.5, 0.4, 30, 12, -15, reflect=(0.2, 0.4), transmit=(0.3, 0.1))
    room = black(faces=faces, leaves=(leaf,))
    rng = np.random.default_rng(6)
    walls = {
        (2, 0): sheet((0.5, 0.5, 0.0), 1, 1, 0, 0, 0),
        (2, 1): sheet((0.5, 0.5, 1.0), 1, 1, 0, 180, 0),
        (0, 0): sheet((0.0, 0.5, 0.5), 1, 1, 0, 90, 0),
        (0, 1): sheet((1.0, 0.5, 0.5), 1, 1, 0, -90, 0),
        (1, 0): sheet((0.5, 0.0, 0.5), 1, 1, 0, 0, -90),
        (1, 1): sheet((0.5, 1.0, 0.5), 1, 1, 0, 0, 90),
    }
    kept, spread = 0.0, 0.0
    for (axis, far), wall in walls.items():
        inward = np.zeros(3)
        inward[axis] = 1 - 2 * far
        assert wall.normal == pytest.approx(inward, abs=1e-12)
        value, error = flux_density(room, wall, 0, 40_000, rng)
        kept += (1 - faces[axis, far]) * value
        spread += ((1 - faces[axis, far]) * error) ** 2
    for side in (0, 1):
        value, error = flux_density(room, leaf, side, 40_000, rng)
        share = (1 - leaf.reflect[side] - leaf.transmit[side]) * 0.2
        kept += share * value
        spread += (share * error) ** 2
    assert np.sqrt(spread) < 0.7
    assert abs(kept - room.flux) < LIMIT * np.sqrt(spread)


def test_a_leaf_that_lets_all_through_only_scatters():
    """Between black faces a leaf of transmittance 1 under the panel: paths find it and go up."""
    leaf = sheet((0.5, 0.5, 0.4), 0.99, 0.99, 0, 0, 0, transmit=(1.0, 1.0))
    room = black(leaves=(leaf,), panel=sheet((0.5, 0.5, 0.5), 0.98, 0.98, 0, 0, 0))
    start = np.broadcast_to([0.5, 0.5, 1e-6], (20_000, 3))
    up = np.broadcast_to([0.0, 0.0, 1.0], (20_000, 3))
    found = collect(room, start, up, np.random.default_rng(7))
    assert set(np.unique(found)) == {0.0, 1.0}
    assert 0.3 < found.mean() < 0.9
