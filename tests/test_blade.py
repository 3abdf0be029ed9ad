"""One leaf blade: its triangles, area, bend, fold, and which side is up."""

from collections import Counter
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canopysim.matter.blade import bend_blades, blade_grid, triangle_areas

outlines = st.tuples(
    st.sampled_from([0.0, 0.1]),
    st.lists(st.floats(0.1, 1.0), min_size=1, max_size=8),
    st.sampled_from([0.0, 0.3]),
).map(lambda t: (t[0], *t[1], t[2]))


def normals(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    a, b, c = (vertices[..., faces[:, k], :] for k in range(3))
    n = np.cross(b - a, c - a)
    return n / np.linalg.norm(n, axis=-1, keepdims=True)


def bend(grid: Any, *, inclination: float = 0.0, curvature: float = 0.0, fold: float = 0.0) -> Any:
    one = np.ones(1)
    return bend_blades(
        grid,
        length=0.12 * one,
        width=0.06 * one,
        inclination=inclination * one,
        curvature=curvature * one,
        fold=fold,
    )[0]


@settings(deadline=None)
@given(outlines, st.integers(2, 80))
def test_blade_has_the_wanted_triangles_and_its_outlines_area(outline, n_triangle):
    grid = blade_grid(outline, n_triangle)
    n_blunt = (outline[0] > 0.0) + (outline[-1] > 0.0)
    assert len(grid.faces) == max(n_triangle + n_triangle % 2, 2 * n_blunt)
    flat = bend(grid)
    widths = np.array(outline) / max(outline)
    mean_width = (widths[1:] + widths[:-1]).mean() / 2.0
    # A blade too coarse to show a narrow outline still has all of its area.
    assert triangle_areas(flat, grid.faces).sum() == pytest.approx(0.0072 * mean_width, rel=1e-12)
    np.testing.assert_allclose(normals(flat, grid.faces), [[0, 0, 1]] * len(grid.faces), atol=1e-12)


@settings(deadline=None)
@given(
    outlines,
    st.integers(12, 60),
    st.floats(-1.5, 1.5),
    st.floats(-np.pi, np.pi),
    st.floats(-0.5, 1.0),
)
def test_upper_side_stays_up_through_every_bend(outline, n_triangle, inclination, curvature, fold):
    grid = blade_grid(outline, n_triangle)
    blade = bend(grid, inclination=inclination, curvature=curvature, fold=fold)
    n, areas = normals(blade, grid.faces), triangle_areas(blade, grid.faces)
    assert areas.min() > 1e-6 * areas.max()
    along = grid.along[grid.faces].mean(axis=1)
    droop = inclination + curvature * along
    midrib_up = np.stack((np.sin(droop), 0 * droop, np.cos(droop)), axis=1)
    assert np.all((n * midrib_up).sum(axis=1) > 0.0)


@settings(deadline=None)
@given(outlines, st.integers(12, 60), st.floats(-1.5, 1.5), st.floats(-0.5, 1.2))
def test_folding_and_tilting_keep_the_area(outline, n_triangle, inclination, fold):
    grid = blade_grid(outline, n_triangle)
    flat = triangle_areas(bend(grid), grid.faces)
    turned = triangle_areas(bend(grid, inclination=inclination, fold=fold), grid.faces)
    np.testing.assert_allclose(turned, flat, rtol=1e-9)


@pytest.mark.parametrize("n_triangle", [12, 16, 17, 40])
def test_curvature_inclination_and_length_are_as_stated(n_triangle):
    grid = blade_grid((0.08, 0.7, 1.0, 0.6, 0.0), n_triangle)
    inclination, curvature = np.deg2rad(12.0), np.deg2rad(50.0)
    blade = bend(grid, inclination=inclination, curvature=curvature, fold=0.2)
    steps = np.diff(blade[grid.across == 0.0], axis=0)
    n = len(steps)
    assert np.linalg.norm(steps, axis=1).sum() == pytest.approx(0.12, rel=1e-12)
    droop = -np.arctan2(steps[:, 2], steps[:, 0])
    np.testing.assert_allclose(np.diff(droop), curvature / n, rtol=1e-9)
    assert droop[0] - curvature / (2 * n) == pytest.approx(inclination, rel=1e-9)


def test_both_halves_rise_by_the_fold():
    grid = blade_grid((0.0, 1.0, 0.0), 12)
    n = normals(bend(grid, fold=np.deg2rad(15.0)), grid.faces)
    np.testing.assert_allclose(np.degrees(np.arccos(n[:, 2])), 15.0, rtol=1e-9)
    assert Counter(np.sign(np.round(n[:, 1], 9))) == {-1.0: 6, 1.0: 6}


def test_blade_is_its_own_mirror_image():
    grid = blade_grid((0.08, 0.7, 1.0, 0.92, 0.66, 0.3, 0.0), 16)
    blade = bend(grid, inclination=0.3, curvature=0.8, fold=0.2)
    mirrored = blade * [1.0, -1.0, 1.0]
    order, other = np.lexsort(blade.T), np.lexsort(mirrored.T)
    np.testing.assert_allclose(blade[order], mirrored[other], atol=1e-15)
    areas = triangle_areas(blade, grid.faces)
    np.testing.assert_allclose(areas[: len(areas) // 2], areas[len(areas) // 2 :], rtol=1e-12)


def test_greatest_width_is_exact_where_stations_fall_on_the_outline():
    grid = blade_grid((0.0, 0.8, 1.0, 0.75, 0.4, 0.0), 16)
    assert np.ptp(grid.across) == pytest.approx(1.0, rel=1e-12)
