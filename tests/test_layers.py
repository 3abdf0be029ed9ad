"""Canopy layers: their heights, and leaf areas clipped to them."""

from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from canopysim.matter.blade import triangle_areas
from canopysim.matter.layers import area_by_layer, cumulative_lai, layer_edges

# A coarse grid of heights makes ties between corners and levels common.
corners = arrays(np.int64, (3, 3), elements=st.integers(-4, 4)).map(lambda a: a / 4.0)
levels = st.lists(st.integers(-5, 5), min_size=2, max_size=8, unique=True).map(
    lambda a: np.array(sorted(a)) / 4.0
)
ONE = np.array([[0, 1, 2]], dtype=np.int32)


def clipped_area(triangle: np.ndarray, low: float, high: float) -> float:
    """Area between two heights by cutting the polygon edge by edge: slow and obvious."""
    polygon = list(triangle)
    for sign, level in ((1.0, low), (-1.0, high)):
        kept = []
        for a, b in zip(polygon, polygon[1:] + polygon[:1], strict=True):
            da, db = sign * (a[2] - level), sign * (b[2] - level)
            if da >= 0.0:
                kept.append(a)
            if da * db < 0.0:
                kept.append(a + (b - a) * (da / (da - db)))
        polygon = kept
    if len(polygon) < 3:
        return 0.0
    fan = [np.cross(b - polygon[0], c - polygon[0]) for b, c in pairwise(polygon[1:])]
    return 0.5 * float(np.linalg.norm(np.sum(fan, axis=0)))


@settings(deadline=None)
@given(corners, levels)
def test_clipping_agrees_with_cutting_polygons(triangle, edges):
    if len(np.unique(triangle[:, 2])) == 1:
        return  # a level triangle lies in one layer, see below
    areas = area_by_layer(triangle, ONE, edges)
    ends = [-np.inf, *edges[1:-1], np.inf]
    for layer, area in enumerate(areas[::-1]):
        low, high = max(ends[layer], -9.0), min(ends[layer + 1], 9.0)
        assert area == pytest.approx(clipped_area(triangle, low, high), abs=1e-14)


def test_clipping_agrees_with_brute_force_subdivision():
    """A leafy heap of triangles, each cut in 4^7 and counted by its pieces' middles."""
    rng = np.random.default_rng(3)
    vertices = rng.normal(size=(30, 3))
    faces = np.arange(30, dtype=np.int32).reshape(10, 3)
    edges = np.array([-1.5, -0.4, 0.1, 0.7, 2.0])
    areas = area_by_layer(vertices, faces, edges)

    n = 128
    i, j = np.meshgrid(np.arange(n), np.arange(n))
    up = (i + j < n).ravel()
    down = (i + j < n - 1).ravel()
    u = np.concatenate(((i.ravel()[up] + 1 / 3), (i.ravel()[down] + 2 / 3))) / n
    v = np.concatenate(((j.ravel()[up] + 1 / 3), (j.ravel()[down] + 2 / 3))) / n
    assert len(u) == n * n
    counted = np.zeros(4)
    for triangle, area in zip(vertices[faces], triangle_areas(vertices, faces), strict=True):
        z = (
            triangle[0, 2]
            + u * (triangle[1, 2] - triangle[0, 2])
            + v * (triangle[2, 2] - triangle[0, 2])
        )
        layer = np.clip(np.searchsorted(edges, z, side="right") - 1, 0, 3)
        counted += area * np.bincount(layer, minlength=4) / n**2
    np.testing.assert_allclose(areas, counted[::-1], rtol=2e-3)


@settings(deadline=None)
@given(arrays(np.float64, (12, 3), elements=st.floats(0.0, 2.0)), st.integers(1, 40))
def test_layers_add_up_to_the_whole_area(vertices, n_layer):
    faces = np.arange(12, dtype=np.int32).reshape(4, 3)
    areas = area_by_layer(vertices, faces, np.linspace(0.3, 1.4, n_layer + 1))
    total = triangle_areas(vertices, faces).sum()
    assert areas.shape == (n_layer,)
    assert np.all(areas >= 0.0)
    assert areas.sum() == pytest.approx(total, rel=1e-12)


def test_area_of_an_upright_sheet_is_its_share_of_height():
    square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 0, 1], [0, 0, 1]])
    faces = np.array([[0, 1, 2], [0, 2, 3]], dtype=np.int32)
    areas = area_by_layer(square, faces, [0.0, 0.1, 0.4, 1.0])
    np.testing.assert_allclose(areas, [0.6, 0.3, 0.1], rtol=1e-14)


def test_a_level_leaf_in_a_boundary_belongs_to_the_layer_below():
    level = np.array([[0.0, 0, 0.5], [1, 0, 0.5], [0, 1, 0.5]])
    np.testing.assert_array_equal(area_by_layer(level, ONE, [0.0, 0.5, 1.0]), [0.0, 0.5])
    np.testing.assert_array_equal(area_by_layer(level, ONE, [0.5, 0.7]), [0.5])


def test_leaves_beyond_the_ends_count_to_the_end_layers():
    tall = np.array([[0.0, 0, -1.0], [0, 1, -1.0], [0, 0, 3.0]])
    areas = area_by_layer(tall, ONE, [0.0, 1.0, 2.0])
    assert areas.sum() == pytest.approx(2.0, rel=1e-14)
    np.testing.assert_allclose(areas, [2.0 * 0.25, 2.0 * 0.75], rtol=1e-14)


@pytest.mark.parametrize("n_layer", [1, 3, 7, 200])
def test_equal_layers_span_the_leaves_exactly(n_layer):
    edges = layer_edges(SimpleNamespace(layers=n_layer), 0.137, 0.911)
    assert len(edges) == n_layer + 1
    assert (edges[0], edges[-1]) == (0.137, 0.911)
    np.testing.assert_allclose(np.diff(edges), 0.774 / n_layer, rtol=1e-12)


def test_stated_boundaries_are_kept_where_they_cover_the_leaves():
    spec = SimpleNamespace(layers=(0.1, 0.5, 1.0))
    np.testing.assert_array_equal(layer_edges(spec, 0.2, 0.9), [0.1, 0.5, 1.0])
    np.testing.assert_array_equal(layer_edges(spec, 0.05, 1.2), [0.05, 0.5, 1.2])
    assert spec.layers == (0.1, 0.5, 1.0)


@pytest.mark.parametrize("layers", [(0.5,), (0.5, 0.5), (0.5, 0.2, 0.9)])
def test_boundaries_that_do_not_ascend_are_refused(layers):
    with pytest.raises(ValueError, match="two boundary heights, each above the one before"):
        layer_edges(SimpleNamespace(layers=layers), 0.0, 1.0)


def test_a_canopy_without_height_is_refused():
    with pytest.raises(ValueError, match="give the layers' boundary heights instead"):
        layer_edges(SimpleNamespace(layers=4), 0.4, 0.4)


def test_cumulative_lai_grows_from_the_top_down():
    np.testing.assert_allclose(cumulative_lai([0.3, 0.5, 0.2], 0.5), [0.6, 1.6, 2.0], rtol=1e-15)
