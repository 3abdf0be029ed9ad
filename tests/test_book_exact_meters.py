"""Exact values of the book's chapter of meters, each held beside a slower or plainer way."""

import numpy as np
import pytest

from canopysim.book.exact import factors, frames, sensors, strips

PANEL, Z = (0.25, 0.61, 0.19, 0.39), 0.8
BAR = strips.Strip((0.43, 0.29, Z), (0, 0, 0), 0.36, 0.2, strips.lambertian)
PLACE = (0.51, 0.22, 0.35)


@pytest.mark.parametrize("place", [PLACE, (0.83, 0.52, 0.22)])
def test_a_panel_in_closed_form_is_the_quadrature_of_a_strip(place):
    at = np.array([place])
    every = BAR.seen(at, lambda ray: 1 + 0 * ray[..., 0], (16, 12))[0]
    assert sensors.fluence(PANEL, Z, place) == pytest.approx(every, rel=1e-10)
    vector = BAR.arriving(at, (16, 12))[0]
    faces = {k: np.array(v) for k, v in sensors.FACINGS.items()}
    found = {k: sensors.below_panel(PANEL, Z, place, 1e-6, v, 2) for k, v in faces.items()}
    assert found["up"] == pytest.approx(-vector[2], rel=1e-5)
    assert found["left"] - found["right"] == pytest.approx(vector[0], rel=1e-4, abs=1e-9)
    assert found["front"] - found["back"] == pytest.approx(vector[1], rel=1e-4, abs=1e-9)


def test_a_ball_has_the_moments_of_a_ball():
    points, weights = frames.ball((0.1, 0.2, 0.3), 0.05, 3)
    away = points - [0.1, 0.2, 0.3]
    assert weights.sum() == pytest.approx(1, abs=1e-12)
    assert weights @ away == pytest.approx(np.zeros(3), abs=1e-12)
    assert weights @ away**2 == pytest.approx(np.full(3, 0.05**2 / 5), rel=1e-12)


def test_where_faces_look():
    assert sensors.normal(0, 33) == pytest.approx([0, 0, 1])
    assert sensors.normal(90, 0) == pytest.approx([1, 0, 0])
    assert sensors.normal(90, 90) == pytest.approx([0, 1, 0], abs=1e-12)


def test_images_among_mirrors_by_single_reflections():
    """Walk each ray of a panel from wall to wall and see what is left of it on the floor."""
    width, depth, height = 1.1, 0.7, 0.8
    kept = {"left": 0.8, "right": 0.35, "front": 0.6, "back": 0.0}
    floor = (0, width, 0, depth)
    arrives = sum(
        share * factors.parallel(own, floor, height)
        for share, own in sensors.images(PANEL, width, depth, kept, 12)
    )
    rng = np.random.default_rng(3)
    n = 40000
    at = np.stack([rng.uniform(PANEL[0], PANEL[1], n), rng.uniform(PANEL[2], PANEL[3], n)], 1)
    turn, sine = rng.uniform(0, 2 * np.pi, n), np.sqrt(rng.uniform(0, 1, n))
    slope = (sine / np.sqrt(1 - sine**2))[:, None] * np.stack([np.cos(turn), np.sin(turn)], 1)
    left, fall = np.ones(n), np.full(n, height)
    walls = (("left", "right"), ("front", "back"))
    while True:
        with np.errstate(divide="ignore"):
            far = np.where(slope > 0, (np.array([width, depth]) - at) / slope, -at / slope)
        axis = far.argmin(1)
        step = far[np.arange(n), axis]
        on = (step < fall) & (left > 1e-4)
        if not on.any():
            break
        step = np.where(on, step, 0.0)
        at = np.clip(at + step[:, None] * slope, 0, [width, depth])
        fall = fall - step
        for k, (low, high) in enumerate(walls):
            mine = on & (axis == k)
            left = np.where(mine, left * np.where(slope[:, k] > 0, kept[high], kept[low]), left)
            slope[:, k] = np.where(mine, -slope[:, k], slope[:, k])
    left = np.where(left > 1e-4, left, 0.0)
    error = left.std() / np.sqrt(n)
    assert error < 0.003
    assert abs(left.mean() - arrives) < 4.5 * error


def test_what_a_poor_cosine_leaves():
    angles, shares = np.array([0.0, 60.0, 90.0]), np.array([1.0, 0.9, 0.4])
    cosine = np.cos(np.radians([30, 75, 120]))
    found = sensors.cosine_share(angles, shares, cosine)
    assert found == pytest.approx([0.95, 0.65, 0.0])
