"""The book's references for leaves: known limits, closed forms, and each other."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, special

from canopysim.book.exact.crowns import heading, leaf_area_met
from canopysim.book.exact.films import even_share, fresnel, one_meeting
from canopysim.book.exact.leaf_between import leaf_between
from canopysim.book.exact.leaves import (
    DENSITY,
    beam_through,
    classes,
    ellipsoid,
    shares_of_area,
    shown,
    two_streams,
)
from canopysim.book.exact.ordinates import converged, meets, sky, slab
from canopysim.book.exact.tiles import (
    left_by_chance,
    lit_shares,
    pieces,
    scattered,
    squares_anyhow,
    with_copies,
)

LAI = (0.5, 0.8, 0.7)
UPPER, LOWER = (0.10, 0.40), (0.30, 0.20)


@pytest.mark.parametrize("name", DENSITY)
def test_densities_are_whole(name):
    assert integrate.quad(DENSITY[name], 0, np.pi / 2)[0] == pytest.approx(1, abs=1e-12)


def test_ellipsoid_is_spherical_at_one_and_shows_campbells_share():
    """G of Campbell (1986): sqrt(x^2 + tan^2) cos / (x + 1.774 (x + 1.182)^-0.733)."""
    assert ellipsoid(1.0)(np.array([0.3])) == pytest.approx(np.sin(0.3))
    for x in (0.5, 2.2):
        for slant in (0.0, 0.6, 1.1):
            fitted = np.cos(slant) * np.hypot(x, np.tan(slant))
            fitted /= x + 1.774 * (x + 1.182) ** -0.733
            # The denominator is Campbell's fit, good to some thousandths.
            assert shown(ellipsoid(x), np.cos(slant)) == pytest.approx(fitted, rel=1e-2)


def test_classes_hold_their_shares():
    shares = (0.5, 0.0, 0.2, 0.3)
    angle = (np.arange(4000) + 0.5) * np.pi / 2 / 4000
    held = classes(shares)(angle).reshape(4, -1).sum(1) * np.pi / 2 / 4000
    assert held == pytest.approx(shares)


def test_spherical_leaves_show_a_half_from_everywhere():
    for slant in (0.0, 0.5, 1.4):
        assert shown(DENSITY["spherical"], np.cos(slant)) == pytest.approx(0.5, abs=2e-5)


def test_shares_of_area_are_integrals_by_height():
    shares = shares_of_area((0.2, 1.0, 0.6), (0.0, 0.3, 0.5, 1.0))
    whole = (0.6 + 0.8) / 2
    low = 0.5 * 0.3 * (0.2 + 0.2 + 1.6 * 0.3) / whole
    assert shares[-1] == pytest.approx(low)
    assert shares[0] == pytest.approx(0.5 * 0.8 / whole)
    assert shares.sum() == pytest.approx(1)


def test_two_streams_between_known_ends():
    lai = np.array(LAI)
    absorbed, up, down = two_streams(lai, (0.3, 0.7), (0.3, 0.7), 0.0)
    assert np.abs(absorbed).max() < 1e-12
    assert up == pytest.approx(0.3 * 2 / (1 + 0.3 * 2)) and up + down == pytest.approx(1)
    absorbed, up, down = two_streams(lai, (0.0, 0.0), (0.0, 0.0), 0.0)
    layers, left = beam_through(1.0, LAI)
    assert absorbed[:, 0] == pytest.approx(layers) and down == pytest.approx(left) and up == 0


def test_a_leaf_meets_what_it_shows():
    """Both sides together see |n.d|; upper ones from below are lower from above."""
    mu = np.array([-0.9, -0.2, 0.2, 0.9])
    angle = np.array([0.1, 0.7, 1.4])
    upper, lower = meets(mu, angle)
    assert upper == pytest.approx(lower[::-1])
    assert upper - lower == pytest.approx(mu[:, None] * np.cos(angle))


def test_ordinates_meet_their_limits():
    """Black leaves, level leaves, leaves that lose nothing; and light is kept in all cases."""
    black = slab(DENSITY["spherical"], LAI, (0, 0), (0, 0), 0.0, [(0.6, 1.0)])
    layers, left = beam_through(0.5 / 0.6, LAI)
    assert black.sides.sum(1) == pytest.approx(layers, rel=2e-4)
    assert black.down[-1] == pytest.approx(left, rel=2e-4)
    even = slab(DENSITY["spherical"], LAI, (0, 0), (0, 0), 0.0, sky())
    assert even.down[-1] == pytest.approx(2 * special.expn(3, 1.0), rel=2e-4)

    def level(a):
        return a * np.exp(-((a / 0.01) ** 2))

    absorbed, up, _ = two_streams(np.array(LAI), UPPER, LOWER, 0.3)
    found = slab(level, LAI, UPPER, LOWER, 0.3, sky(), n_node=6, n_angle=1200)
    assert found.sides == pytest.approx(absorbed, abs=1e-4)
    assert found.up[0] == pytest.approx(up, abs=1e-4)

    white = slab(DENSITY["uniform"], LAI, (0.5, 0.5), (0.7, 0.3), 1.0, [(0.5, 1.0)])
    assert np.abs(white.sides).max() < 1e-12
    assert white.up[0] == pytest.approx(1, abs=1e-5)

    found, off = converged(DENSITY["planophile"], LAI, UPPER, LOWER, 0.4, sky())
    assert off < 3e-6
    net = found.down - found.up
    assert net[:-1] - net[1:] == pytest.approx(found.sides.sum(1), abs=1e-6)


def test_ordinates_are_reciprocal():
    """Leaves that let as much through both ways: so does the slab, its sides unlike as they are."""
    one, other = (
        slab(DENSITY["erectophile"], lai, *sides, 0.0, sky(16), n_node=10, n_angle=120)
        for lai, sides in ((LAI, ((0.1, 0.3), (0.5, 0.3))), (LAI[::-1], ((0.5, 0.3), (0.1, 0.3))))
    )
    assert one.down[-1] == pytest.approx(other.down[-1], abs=2e-6)
    assert one.up[0] < other.up[0] - 0.05


def test_even_light_looks_alike_from_all_sides():
    """Between white plates without leaves to speak of: fluence 4 times, sideways once the flux."""
    found = slab(DENSITY["spherical"], [1e-6], (0, 0), (0, 0), 1.0, sky(), n_node=8)
    assert found.around == pytest.approx(4, rel=1e-4)
    assert found.sideways == pytest.approx(1, rel=2e-4)


def test_chords_of_known_length():
    size = ((0.4, 0.5, 0.4), (0.1, 0.2, 0.15), 6.0, (1.0, 1.0))
    down = heading(0, 0)
    assert leaf_area_met("ellipsoid", *size, (0.46, 0.5, 0.9), down) == pytest.approx(
        6 * 0.3 * 0.8, rel=1e-4
    )
    assert leaf_area_met("row along y", *size, (0.46, 0.66, 0.9), down) == pytest.approx(
        6 * 0.3 * 0.8, rel=1e-4
    )
    assert leaf_area_met("row along x", *size, (0.46, 0.66, 0.9), down) == pytest.approx(
        6 * 0.3 * 0.6, rel=1e-4
    )
    along = heading(90, 0)
    assert along == pytest.approx([0, 1, 0])
    assert leaf_area_met("box", *size, (0.4, 0.0, 0.4), along) == pytest.approx(6 * 0.4, rel=1e-4)
    # Turned by a quarter, a light that leaned to +y leans to -x.
    assert heading(30, 90) == pytest.approx([-0.5, 0, -np.sqrt(0.75)])
    upper_half = leaf_area_met("box", *size[:3], (3.0, 1.0), (0.4, 0.5, 0.9), down)
    assert upper_half == pytest.approx(6 * 0.3, rel=1e-4)


BAY = (1000, 800)


def test_shadows_are_what_points_tell():
    """Random points of the bay against the exact cut, for slanting light."""
    tiles = scattered(BAY, 30, 100, 600, 3)
    slope = (0.7, -0.4)
    each, left = lit_shares(tiles, BAY, slope)
    assert each.sum() + left == pytest.approx(1)
    rng = np.random.default_rng(5)
    n = 200_000
    points = rng.random((n, 2)) * BAY
    owner = np.full(n, -1)
    for k in np.argsort([t.z for t in tiles]):
        t = tiles[k]
        x, y = (points[:, i] - slope[i] * t.z - (t.x, t.y)[i] for i in (0, 1))
        owner[(x % BAY[0] < t.wide) & (y % BAY[1] < t.deep)] = k
    found = np.bincount(owner + 1, minlength=31) / n
    wanted = np.concatenate([[left], each])
    assert np.abs(found - wanted).max() < 6 * np.sqrt(0.25 / n)


def test_tiles_at_random_leave_the_product():
    """Over many places of the same tiles what is left is the product of 1 - a/A."""
    off = []
    for seed in range(150):
        tiles = scattered(BAY, 25, 100, 600, seed)
        off.append(lit_shares(tiles, BAY)[1] - left_by_chance(tiles, BAY))
    assert abs(np.mean(off)) < 4.5 * np.std(off, ddof=1) / np.sqrt(len(off))
    # Cut at the sides they have the same area, and leave a margin where that is asked for.
    cut = [p for t in tiles for p in pieces(t, BAY)]
    assert sum(p.wide * p.deep for p in cut) == sum(t.wide * t.deep for t in tiles)
    kept = [p for t in tiles for p in pieces(t, BAY, 2)]
    assert min(p.x for p in kept) >= 2 and max(p.x + p.wide for p in kept) <= 998


def test_squares_are_square_and_come_again():
    bay = (1.0, 0.8)
    corners = squares_anyhow(bay, 0.2, 0.7, 0.05, 4000, 1)
    edges = np.linalg.norm(np.roll(corners, -1, 1) - corners, axis=2)
    assert edges == pytest.approx(0.05)
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 3] - corners[:, 0]) / 0.05**2
    assert np.abs(normal).mean(0) == pytest.approx(0.5, abs=0.02)
    assert (normal[:, 2] > 0).all()
    more = with_copies(corners, bay)[4000:]
    assert ((more.min(1)[:, :2] < bay) & (more.max(1)[:, :2] > 0)).all()
    # As many as reach over a side, whose share is that of a strip some half a leaf wide.
    low, high = corners.min(1)[:, :2], corners.max(1)[:, :2]
    assert len(more) >= ((low < 0) | (high > bay)).any(1).sum() > 0


def test_films():
    """Straight on ((n-1)/(n+1))^2, no reflection of one polarisation at Brewster's angle."""
    index = 1.45
    assert fresnel(np.array(1e-6), index) == pytest.approx((0.45 / 2.45) ** 2, rel=1e-6)
    brewster = np.arctan(index)
    s = np.sin(2 * brewster - np.pi / 2) ** 2
    assert fresnel(np.array(brewster), index) == pytest.approx(s / 2, rel=1e-9)
    angle = np.linspace(0, np.pi / 2, 20_001)[1:-1]
    by_angle = integrate.simpson(fresnel(angle, index) * np.sin(2 * angle), x=angle)
    assert even_share(index) == pytest.approx(by_angle, abs=2e-6)
    # Over all slants one leaf has its totals, also where it reflects less than its film would.
    x, w = np.polynomial.legendre.leggauss(200)
    mu = (x + 1) / 2
    for rho, tau in ((0.3, 0.4), (0.02, 0.1)):
        of = [one_meeting(np.degrees(np.arccos(m)), rho, tau, index) for m in mu]
        assert w @ (mu * [o.back for o in of]) == pytest.approx(rho, abs=1e-5)
        assert w @ (mu * [o.through for o in of]) == pytest.approx(tau, abs=1e-5)


def test_one_leaf_keeps_the_light():
    of = leaf_between(0.95, UPPER, LOWER, 0.6, 0.3, from_above=True)
    assert of.upper + of.lower + of.floor + of.ceiling == pytest.approx(1)
    # No leaf: a geometric series between both plates.
    none = leaf_between(0.0, UPPER, LOWER, 0.6, 0.3, from_above=True)
    assert none.down == pytest.approx(1 / (1 - 0.18)) and none.upper == 0
    # Upside down, with the sides exchanged.
    other = leaf_between(0.95, LOWER, UPPER, 0.3, 0.6, from_above=False)
    assert (other.lower, other.ceiling) == pytest.approx((of.upper, of.floor))
