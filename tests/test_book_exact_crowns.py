"""The book's references for drawn discs and for crowns that scatter: limits, and each other."""

from __future__ import annotations

import numpy as np
import pytest

from canopysim.book.cases import drawn
from canopysim.book.exact.backward import lambert
from canopysim.book.exact.crown_paths import Crown, follow
from canopysim.book.exact.crowns import heading, leaf_area_met
from canopysim.book.exact.discs import discs_anyhow, first_met
from canopysim.book.exact.leaves import DENSITY, shown, two_streams
from canopysim.book.exact.tiles import lit_shares, pieces, scattered


def slope_of(name):
    zenith, azimuth = np.radians(drawn.BEAMS[name])
    return np.tan(zenith) * np.cos(azimuth), np.tan(zenith) * np.sin(azimuth)


def test_level_rectangles_on_the_grid_are_those_cut_out_exactly():
    bay = (500, 400)
    tiles = [p for t in scattered(bay, 12, 100, 300, 5) for p in pieces(t, bay)]
    corners = np.array([
        [(t.x, t.y, t.z), (t.x + t.wide, t.y, t.z), (t.x + t.wide, t.y + t.deep, t.z),
         (t.x, t.y + t.deep, t.z)] for t in tiles
    ]) / 1e3  # fmt: skip
    for name in drawn.BEAMS:
        each, left = lit_shares(tiles, bay, slope_of(name))
        sides, free = first_met(corners, (0.5, 0.4), slope_of(name), 4e-4)
        assert np.abs(sides[:, 0] - each).max() < 3e-4
        # Their edges lie along the grid's rows, each off by part of a row.
        assert free == pytest.approx(left, abs=1.5e-3)
        assert sides[:, 1].max() == 0
        over, _ = first_met(corners[:, ::-1], (0.5, 0.4), slope_of(name), 4e-4)
        assert (over[:, 1] == sides[:, 0]).all()


def test_a_leaning_disc_shows_its_area_by_the_cosine():
    disc = discs_anyhow((1.0, 0.8), [(0.1, 0.6, 1)], (0.1, 0.1), 10, 3)
    across = np.cross(disc[0, 1] - disc[0, 0], disc[0, 2] - disc[0, 1])
    normal = across / np.linalg.norm(across)
    area = 10 / 2 * 0.1**2 * np.sin(2 * np.pi / 10)
    for name, (zenith, _) in drawn.BEAMS.items():
        x, y = slope_of(name)
        way = np.array([x, y, -1.0]) * np.cos(np.radians(zenith))
        sides, free = first_met(disc, (1.0, 0.8), (x, y), 2e-4)
        met = area * abs(normal @ way) / np.cos(np.radians(zenith)) / 0.8
        side = int(normal @ way > 0)
        assert sides[0, side] == pytest.approx(met, abs=1e-5)
        assert sides[0, 1 - side] == 0
        assert free == pytest.approx(1 - met, abs=1e-5)


def test_a_finer_grid_moves_no_layer_by_what_the_book_forgives():
    layer = np.repeat(np.arange(3), [n for *_, n in drawn.DISC_LEVELS])
    shares = []
    for spacing in (drawn.SPACING_M, 0.7 * drawn.SPACING_M):
        each, left = first_met(drawn._discs(), (1.0, 0.8), slope_of("slant"), spacing)
        shares.append([*(each[layer == k].sum(0) for k in range(3)), [left, 0.0]])
    assert np.abs(np.subtract(*shares)).max() < drawn.DISCS_OFF


def test_black_crowns_along_a_ray_hold_beers_law(p_fail):
    middle, half = (0.5, 0.6, 0.4), (0.2, 0.3, 0.25)
    start, way = np.array([0.45, 0.2, 0.9]), heading(38.0, 7.0)
    n = 200_000
    for shape in ("ellipsoid", "row along x"):
        crown = Crown(shape, middle, half, 5.0, (1.0, 0.4), DENSITY["erectophile"], (0, 0), (0, 0))
        met = leaf_area_met(shape, middle, half, 5.0, (1.0, 0.4), start, way)
        taken = 1 - np.exp(-shown(DENSITY["erectophile"], abs(way[2])) * met)
        leaves, faces = follow(crown, (1.0, 1.2, 1.0), (0.3, 0.5), np.tile(start, (n, 1)),
                               np.tile(way, (n, 1)), np.random.default_rng(6))  # fmt: skip
        assert leaves.sum() + faces.sum() == pytest.approx(1.0, abs=1e-12)
        bound = 4.5 * np.sqrt(taken * (1 - taken) / n)
        assert p_fail >= 1e-5
        assert leaves.sum() == pytest.approx(taken, abs=bound)


def test_level_leaves_in_a_wide_box_are_two_streams():
    """A box so wide that hardly any light finds its sides, leaves that lie all but level."""
    wide, upper, lower = 400.0, (0.15, 0.40), (0.45, 0.25)
    crown = Crown("box", (wide / 2, wide / 2, 0.5), (wide / 2, wide / 2, 0.25), 2.6, (1.0, 1.0),
                  lambda a: np.where(a < 1e-3, 1.0, 0.0), upper, lower)  # fmt: skip
    parts, n = [], 1 << 14
    rng = np.random.default_rng(8)
    for _ in range(16):
        o = np.tile([wide / 2, wide / 2, 0.9], (n, 1))
        d = lambert(np.tile([0.0, 0.0, -1.0], (n, 1)), rng)
        leaves, faces = follow(crown, (wide, wide, 1.0), (0.4, 0.5), o, d, rng)
        parts.append(np.append(leaves.ravel(), faces[4:]))
    sides, up, down = two_streams(2.6 * np.array([0.25, 0.1, 0.15]), upper, lower, 0.0)
    wanted = np.append(sides.ravel(), [down, up])
    mean, error = np.mean(parts, 0), np.std(parts, 0, ddof=1) / 4
    # Eight figures, Student's t of fifteen degrees: 6.5 is some 10^-5 for each.
    assert (np.abs(mean - wanted) < 6.5 * error + 1e-4).all()
    assert error.max() < 2e-3
