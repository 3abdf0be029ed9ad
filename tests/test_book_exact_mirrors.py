"""The book's references for mirrors, spheres and openings: brute force, sums and limits."""

from __future__ import annotations

import numpy as np
import pytest

from canopysim.book.cases import mirrors, openings
from canopysim.book.exact import facets, mirror_walls, sphere
from canopysim.book.exact.frames import rotation
from canopysim.book.exact.images import Strip, endless, kept, mirrored
from canopysim.book.exact.openings import share_on
from canopysim.book.exact.plates import plates

STRIP = Strip(np.array([0.25, 0.18, 0.7]), rotation(25, 10, 50), 0.3, 0.02, 110, 40)
PERFECT = dict.fromkeys(("left", "right", "front", "back"), 1.0)


def test_mirrors_are_met_in_turn():
    low, high = 0.5, 0.8
    found = kept(np.arange(-3, 4), low, high)
    assert found == pytest.approx(
        [low * high * low, low * high, low, 1, high, high * low, high * low * high]
    )


def test_a_strip_sends_what_it_has():
    """Its intensity integrates to one, also tilted; half of an upright one's light is ahead."""
    assert STRIP.downwards() == pytest.approx(STRIP.downwards(700), abs=1e-5)
    over = Strip(STRIP.centre, STRIP.axes * [1, 1, -1], 0.3, 0.02, 110, 40)
    assert STRIP.downwards() + over.downwards() == pytest.approx(1, abs=1e-5)
    # Rz(turn) Ry(pitch) Rx(tilt): tilt > 0 swings the light towards +y, pitch > 0 lowers +x.
    assert -rotation(0, 0, 30)[:, 2] == pytest.approx([0, 0.5, -np.sqrt(0.75)])
    assert rotation(0, 30, 0)[:, 0] == pytest.approx([np.sqrt(0.75), 0, -0.5])


def followed(strip, size, cells, rho, n=200_000):
    """Follow light from mirror to mirror, in the plane: the slow way to what `mirrored` sums."""
    rng = np.random.default_rng(5)
    z, turn = rng.uniform(0, 1, n), rng.uniform(0, 2 * np.pi, n)
    flat = np.sqrt(1 - z**2)
    ray = np.stack([flat * np.cos(turn), flat * np.sin(turn), -z], 1)
    weight = strip.intensity(ray) * 2 * np.pi / n
    spot = (
        strip.centre
        + rng.uniform(-0.5, 0.5, (n, 1)) * strip.length * strip.axes[0]
        + rng.uniform(-0.5, 0.5, (n, 1)) * strip.width * strip.axes[1]
    )
    position, left = spot[:, :2].copy(), ray[:, :2] / z[:, None] * spot[:, 2:]
    # What flies far falls anywhere, or hardly counts where mirrors take some.
    far = np.abs(left).max(1) > 20
    weight[far] *= 1.0 if min(rho.values()) == 1.0 else 0.0
    position[far], left[far] = rng.uniform(0, 1, (far.sum(), 2)) * size, 0.0
    names = (("left", "right"), ("front", "back"))
    while np.abs(left).max() > 0:
        for axis in (0, 1):
            goal = position[:, axis] + left[:, axis]
            for wall, name in zip((0.0, size[axis]), names[axis], strict=True):
                out = goal < wall if wall == 0 else goal > wall
                weight[out] *= rho[name]
                position[out, axis], left[out, axis] = wall, (wall - goal)[out]
            inside = (goal >= 0) & (goal <= size[axis])
            position[inside, axis], left[inside, axis] = goal[inside], 0.0
    cell = np.minimum((position / size * cells).astype(int), np.array(cells) - 1)
    at = cell[:, 1] * cells[0] + cell[:, 0]
    sums = np.bincount(at, weight, cells[0] * cells[1])
    squares = np.bincount(at, weight**2, cells[0] * cells[1])
    shape = cells[::-1]
    return sums.reshape(shape), np.sqrt(squares - sums**2 / n).reshape(shape)


@pytest.mark.parametrize("rho", [PERFECT, {"left": 0.95, "right": 0.6, "front": 0.75, "back": 0.9}])
def test_images_are_what_light_does_between_mirrors(rho):
    found = mirrored(STRIP, (0.6, 0.4), (3, 2), rho, 30)
    brute, error = followed(STRIP, np.array([0.6, 0.4]), (3, 2), rho)
    assert np.abs((found - brute) / error).max() < 4.5


def test_bays_that_go_on_bring_all_that_falls():
    near, far = (endless(STRIP, (0.6, 0.4), (3, 2), n) for n in (10, 20))
    assert near == pytest.approx(far, rel=3e-3)
    assert far.sum() == pytest.approx(STRIP.downwards(), rel=1e-9)


def test_diffuse_plates_between_mirrors():
    """Perfect mirrors make the plates endless; others converge as they say and lose some."""
    perfect = mirror_walls.Between((0.6, 0.4, 0.1), (0, 0.6), (0, 0.4), 0.1,
                                   PERFECT | {"floor": 0.4, "ceiling": 0.8})  # fmt: skip
    floor, ceiling = mirror_walls.solve(perfect, (1, 1), 2)
    wanted = plates(0.4, 0.8)
    # Images beyond the last few dozen are left out.
    assert floor.item() == pytest.approx(wanted["falls"], rel=2e-3)
    assert ceiling.item() == pytest.approx(wanted["rises"], rel=2e-3)
    for room in mirrors.MIXED:
        floor, ceiling, off = mirror_walls.converged(room, mirrors.CELLS)
        assert off < mirrors.OFF
        keeps = floor.sum() * (1 - room.rho["floor"]) + ceiling.sum() * (1 - room.rho["ceiling"])
        assert 0.3 < keeps < 0.99


@pytest.mark.parametrize("spread", [15.0, 40.0])
def test_facets_are_normalised_reciprocal_and_lose_nothing_but_what_is_hidden(spread):
    a = facets.roughness(spread)
    cosine = (np.arange(20000) + 0.5) / 20000
    density = a**2 / (np.pi * (cosine**2 * (a**2 - 1) + 1) ** 2)
    assert (density * cosine).mean() * 2 * np.pi == pytest.approx(1, rel=1e-6)
    # Half of them, by what is seen from above, are tilted less.
    less = cosine > np.cos(np.radians(spread))
    assert (density * cosine)[less].sum() / 20000 * 2 * np.pi == pytest.approx(0.5, abs=1e-3)
    one, other = (np.array([np.sin(t), 0.3 * np.sin(t), np.cos(t)]) for t in (0.4, 1.1))
    one, other = one / np.linalg.norm(one), other / np.linalg.norm(other)
    there, back = facets.sent(one, other, a), facets.sent(other, one, a)
    assert there * other[2] * one[2] / one[2] == pytest.approx(back * one[2])
    light = np.array([0.3, -0.4, np.sqrt(0.75)])
    faces = facets.on_faces(np.array([0.2, 0.5, 0]), np.array([0.9, 0.7, 0.6]), light, a)
    assert sum(faces.values()) == pytest.approx(facets.returned(np.pi / 6, a), abs=1e-6)
    assert 0.3 < facets.returned_even(a) < facets.returned_even(facets.roughness(1.0)) < 1.0


def test_spheres():
    even = sphere.sphere(0.8, 0.1, 0.8)
    assert even["patch"] == pytest.approx(0.1 * 0.8)
    assert sphere.sphere(0.8, 0.1, 0.2)["patch"] > even["patch"]
    # All that goes up or down through the equator is what the upper half keeps.
    lit = sphere.sphere(0.97, 0.1, 0.3)
    again = lit["patch"] / 0.1 / 0.7
    assert lit["up"] - lit["down"] == pytest.approx(again * (0.4 * 0.03 + 0.1 * 0.7), rel=1e-12)
    for level in (1, 3):
        corners, root = sphere.facets(level)
        assert np.linalg.norm(corners, axis=-1) == pytest.approx(1.0)
        assert (np.bincount(root) == 4**level).all()
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        area = np.linalg.norm(normal, axis=1).sum() / 2
        # Seen from the centre, an inscribed facet whose corners are h apart looks 5/24 h^2 larger.
        h2 = 4 / np.sqrt(3) * area / len(corners)
        assert 1 - area / (4 * np.pi) == pytest.approx(5 / 24 * h2, rel=0.1)
        assert np.sort(corners[:, :, 2].sum(1)) == pytest.approx(np.sort(-corners[:, :, 2].sum(1)))


def test_openings_share_out_all_light():
    whole = sum(share_on(f, part, openings.LAMP, openings.SIZE)
                for f, part in openings.WHOLE.items())  # fmt: skip
    assert whole == pytest.approx(1.0, abs=1e-12)
    shares = openings.CASES[0].exact()
    assert sum(shares.values()) == pytest.approx(1.0, abs=1e-12)
    assert min(shares.values()) > 0.005
