"""Exact values of the book's chapters of light, each held beside a slower or plainer way."""

import numpy as np
import pytest

from canopysim.book.exact import factors, frames, goniometer, shadows, strips
from canopysim.book.exact.parallel_light import landing

SIZE = (1.1, 0.7, 0.9)
PANEL = (0.10, 0.40, 0.20, 0.50)


def brute(one, other):
    """Mean over the first of the light that its points send to the second."""
    (p, wp, n), (q, wq, m) = one, other
    ray = q[None] - p[:, None]
    square = (ray**2).sum(-1)
    cosines = np.maximum(ray @ n, 0) * np.maximum(-(ray @ m), 0) / square
    return (wp[:, None] * wq * cosines / np.pi / square).sum() / wp.sum()


@pytest.fixture(scope="module")
def panel():
    x0, x1, y0, y1 = PANEL
    points, weights = frames.rectangle((x0, y0, 0.8), (x1 - x0, 0, 0), (0, y1 - y0, 0), 8)
    return points, weights, np.array([0, 0, -1.0])


def test_rectangles_by_brute_force(panel):
    box = frames.faces((*SIZE[:2], 0.8), 24)
    x0, x1, y0, y1 = PANEL
    assert factors.parallel(PANEL, (0, 1.1, 0, 0.7), 0.8) == pytest.approx(
        brute(panel, box["floor"]), rel=1e-9
    )
    for name, one, along in (
        ("left", PANEL, 0.7),
        ("right", (1.1 - x1, 1.1 - x0, y0, y1), 0.7),
        ("front", (y0, y1, x0, x1), 1.1),
        ("back", (0.7 - y1, 0.7 - y0, x0, x1), 1.1),
    ):
        found = factors.perpendicular(one, (0, 0.8, 0, along))
        assert found == pytest.approx(brute(panel, box[name]), rel=1e-5), name


def test_factors_are_reciprocal_and_touching_planes_have_one():
    one, other = (0.1, 0.4, 0.2, 0.5), (0.0, 0.6, 0.1, 0.9)
    for factor in (lambda a, b: factors.parallel(a, b, 0.3), factors.perpendicular):
        assert 0.09 * factor(one, other) == pytest.approx(0.48 * factor(other, one), rel=1e-12)
    # Two squares that share an edge: the known 0.2000.
    assert factors.perpendicular((0, 1, 0, 1), (0, 1, 0, 1)) == pytest.approx(0.20004, abs=1e-5)


@pytest.mark.parametrize("turned", [(0, 0, 0), (24, 31, -57), (200, -80, 100)])
def test_a_small_plane_sends_all_its_light_to_the_box(turned):
    normal = frames.rotation(*turned) @ [0, 0, -1.0]
    parts = [factors.polygon((0.4, 0.3, 0.5), normal, c) for c in factors.box_faces(SIZE).values()]
    assert sum(parts) == pytest.approx(1.0, abs=1e-12)


def test_a_polygon_and_the_mean_over_a_panel_are_one(panel):
    points, weights, normal = panel
    floor = factors.box_faces(SIZE)["floor"]
    mean = sum(w * factors.polygon(p, normal, floor) for p, w in zip(points, weights, strict=True))
    assert mean / weights.sum() == pytest.approx(
        factors.parallel(PANEL, (0, 1.1, 0, 0.7), 0.8), rel=1e-8
    )


def test_the_solid_angle_of_a_rectangle():
    x0, x1, y0, y1 = PANEL
    points, _ = frames.rectangle((x0, y0, 0.8), (x1 - x0, 0, 0), (0, y1 - y0, 0), 16)
    _, weights = frames.rectangle((x0, y0, 0.8), (x1 - x0, 0, 0), (0, y1 - y0, 0), 16)
    at = np.array([0.5, 0.1, 0.3])
    square = ((points - at) ** 2).sum(1)
    wanted = (weights * 0.5 / square**1.5).sum()
    assert factors.solid_angle(at, PANEL, 0.8) == pytest.approx(wanted, rel=1e-10)
    # It is harmonic: the mean over a ball is that of its centre.
    ball, share = frames.ball(tuple(at), 0.1)
    mean = sum(w * factors.solid_angle(p, PANEL, 0.8) for p, w in zip(ball, share, strict=True))
    assert mean == pytest.approx(wanted, rel=1e-9)


def test_turns_are_those_of_the_frame():
    down = np.array([0, 0, -1.0])
    assert frames.rotation(0, 0, 30) @ down == pytest.approx([0, 0.5, -np.sqrt(0.75)])
    assert (frames.rotation(0, 30, 0) @ [1, 0, 0])[2] < 0
    assert frames.rotation(90, 0, 0) @ [1, 0, 0] == pytest.approx([0, 1, 0])


@pytest.mark.parametrize("lens", [strips.lambertian, strips.beam(100, 35), strips.beam(14, 6)])
def test_all_light_of_a_strip_arrives(lens):
    strip = strips.Strip((0.45, 0.3, 0.6), (35, 20, -25), 0.1, 0.02, lens)
    shares = strips.face_shares(strip, SIZE, pieces=16)
    assert sum(shares.values()) == pytest.approx(1.0, abs=2e-5)
    assert min(shares.values()) >= 0


def test_a_beam_of_120_by_120_degrees_is_lambertian():
    d = np.array([[0.3, 0.4, -np.sqrt(0.75)], [0, 0, -1.0], [0.6, 0, 0.8]])
    assert strips.beam(120, 120)(d) == pytest.approx(strips.lambertian(d), rel=1e-12)


def test_cells_of_a_strip_are_those_of_the_closed_form():
    strip = strips.Strip((0.25, 0.35, 0.8), (0, 0, 0), 0.3, 0.3, strips.lambertian)
    found = strips.cell_means(strip, (0, 0), SIZE[:2], (3, 2))
    for row, cells in zip(found, frames.cells((0, 0), SIZE[:2], (3, 2)), strict=True):
        for value, cell in zip(row, cells, strict=True):
            area = (cell[1] - cell[0]) * (cell[3] - cell[2])
            wanted = factors.parallel(PANEL, cell, 0.8) / area
            assert value == pytest.approx(wanted, rel=1e-5)


def test_parallel_light_lands_where_single_rays_do():
    turned = frames.rotation(-28, 24, 37)
    first, second, ray = turned[:, 0] * 0.5, turned[:, 1] * 0.3, -turned[:, 2]
    corner = np.array([0.56, 0.34, 0.62]) - first / 2 - second / 2
    found = landing(corner, first, second, ray, SIZE)
    assert sum(found.values()) == pytest.approx(1.0, abs=1e-12)
    u = (np.arange(400) + 0.5) / 400
    start = corner + u[:, None, None] * first + u[None, :, None] * second
    with np.errstate(divide="ignore"):
        far = np.where(ray > 0, (np.array(SIZE) - start) / ray, -start / ray)
    axis = far.argmin(-1)
    names = [("left", "right"), ("front", "back"), ("floor", "ceiling")]
    for k, (low, high) in enumerate(names):
        name = high if ray[k] > 0 else low
        assert found[name] == pytest.approx((axis == k).mean(), abs=2e-3), name


def test_a_table_of_a_cosine_adds_up_to_pi():
    c, g = np.arange(0, 361, 15.0), np.arange(0, 91, 1.0)
    table = np.cos(np.radians(g)) + 0 * c[:, None]
    assert goniometer.table_flux(c, g, table) == pytest.approx(np.pi, rel=2e-4)
    d = np.array([[0.3, 0.4, -np.sqrt(0.75)], [0, 0, -1.0], [0.6, 0, 0.8]])
    assert goniometer.bilinear(c, g, table)(d) == pytest.approx(strips.lambertian(d), rel=3e-4)


def test_all_light_of_a_lopsided_table_arrives():
    c, g = np.arange(0, 361, 15.0), np.arange(0, 181, 10.0)
    table = goniometer.lopsided(c, g)
    assert np.array_equal(table[0], table[-1])
    # Neither half is the other's image.
    assert np.abs(table - table[::-1]).max() > 10
    strip = strips.Strip(
        (0.48, 0.37, 0.52), (35, 8, -12), 0.3, 0.06, goniometer.bilinear(c, g, table)
    )
    assert sum(strips.face_shares(strip, SIZE, pieces=10).values()) == pytest.approx(1, abs=1e-5)


LAMP = np.array([0.51, 0.33, 0.82])


def test_floor_and_shadow_make_the_floor():
    corners = shadows.box_corners((0.49, 0.37, 0.4), (35, 12, -20), 0.26, 0.1, 0.01, 0.07)
    floor, body = shadows.below(LAMP, corners, SIZE, (4, 3))
    whole = factors.polygon(LAMP, [0, 0, -1], factors.box_faces(SIZE)["floor"])
    assert floor.sum() + body == pytest.approx(whole, rel=1e-10)
    # A shadow by single rays: points of the floor whose sight line passes the turned box.
    turned = frames.rotation(35, 12, -20)
    x, y = np.meshgrid(np.linspace(0.05, 1.05, 41), np.linspace(0.05, 0.65, 41))
    spots = np.stack([x, y, 0 * x], -1).reshape(-1, 3)
    steps = np.linspace(0, 1, 1001)[:, None]
    dark = shadows.shadow(LAMP, corners)
    for spot in spots[::17]:
        own = (LAMP + steps * (spot - LAMP) - [0.49, 0.37, 0.4]) @ turned
        met = (np.abs(own[:, 0]) < 0.13) & (np.abs(own[:, 1]) < 0.05)
        met &= (own[:, 2] > 0.01) & (own[:, 2] < 0.07)
        edges = np.roll(dark, -1, axis=0) - dark
        away = spot - dark
        within = edges[:, 0] * away[:, 1] - edges[:, 1] * away[:, 0]
        if np.abs(within).min() > 1e-3:
            assert met.any() == (within > 0).all()


def test_what_a_top_throws_back_arrives():
    corners = shadows.box_corners((0.52, 0.36, 0.25), (25, 0, 0), 0.34, 0.22, 0.01, 0.07)
    top = corners[[4, 5, 7, 6]]
    met = factors.polygon(LAMP, [0, 0, -1], top)
    for way in (shadows.off_a_mat_top, shadows.off_a_mirror_top):
        thrown = way(LAMP, top, SIZE)
        assert sum(thrown.values()) == pytest.approx(met, rel=1e-9)
        assert thrown["floor"] == 0
