"""Nearest hits against brute force, and edges that let nothing through."""

import numpy as np
import pytest
from numba import njit
from oracles import nearest_hit

from canopysim.matter.enclosure import box_mesh
from canopysim.transport.arrays import Soup
from canopysim.transport.build import build_tree
from canopysim.transport.triangle import meet_triangle, ray_axes
from canopysim.transport.walk import nearest_triangle

F = np.float32
LIMIT = F(1e6)  # beyond every mesh here, below what the test calls a miss


def soup_of(corners):
    """A tree over triangles (n, 3, 3)."""
    flat = np.ascontiguousarray(corners.reshape(-1, 9), F)
    nodes, triangles, slots, need = build_tree(flat.ravel(), float(np.abs(flat).max()))
    return Soup(nodes, nodes.view(np.uint32), triangles, slots.astype(np.int32)), need


@njit
def walk(soup, depth, origins, directions, limit):
    n = len(origins)
    found, where = np.empty(n, np.int64), np.empty(n, np.float32)
    stack, lanes = np.empty(depth, np.uint64), np.empty(8, np.float32)
    for i in range(n):
        o, d = origins[i], directions[i]
        k, t = nearest_triangle(soup, o[0], o[1], o[2], d[0], d[1], d[2], limit, -1, stack, lanes)
        found[i] = soup.triangle_id[k] if k >= 0 else -1
        where[i] = t
    return found, where


@njit
def walk_all(soup, origins, directions, limit):
    """Every triangle by the same test: nearest, and of equals the lower id."""
    n = len(origins)
    found, where = np.empty(n, np.int64), np.empty(n, np.float32)
    for i in range(n):
        o, d = origins[i], directions[i]
        kx, ky, kz, sx, sy, sz = ray_axes(d[0], d[1], d[2])
        best, best_id = limit, -1
        for k in range(len(soup.triangle_id)):
            t = meet_triangle(soup.triangles, k, o[kx], o[ky], o[kz], kx, ky, kz, sx, sy, sz)
            if t < best or (t == best and t < limit and soup.triangle_id[k] < best_id):
                best, best_id = t, soup.triangle_id[k]
        found[i], where[i] = best_id, best
    return found, where


def directions_of(rng, n):
    d = rng.normal(size=(n, 3))
    d /= np.linalg.norm(d, axis=1)[:, None]
    # Every orientation of the axes is among them.
    d[:6] = [[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]]
    return d.astype(F)


@pytest.mark.parametrize("n_triangle", [1, 2, 3, 4, 5, 9, 400])
def test_tree_finds_what_brute_force_finds(n_triangle):
    rng = np.random.default_rng(n_triangle)
    corners = rng.uniform(0, 1, (n_triangle, 1, 3)) + rng.normal(0, 0.1, (n_triangle, 3, 3))
    soup, depth = soup_of(corners)
    n_ray = 3000
    origins = rng.uniform(-0.2, 1.2, (n_ray, 3)).astype(F)
    d = directions_of(rng, n_ray)
    found, t = walk(soup, depth, origins, d, LIMIT)
    same, same_t = walk_all(soup, origins, d, LIMIT)
    assert (found == same).all()
    assert (t == same_t).all()
    # And the test itself against double precision, but for rays within rounding of an edge.
    corners32 = corners.astype(F).astype(np.float64)
    differ = 0
    for i in range(0, n_ray, 3):
        k, exact = nearest_hit(corners32, origins[i].astype(float), d[i].astype(float))
        if k != found[i]:
            differ += 1
        elif k >= 0:
            assert abs(t[i] - exact) < 2e-5
    assert differ <= 1


def test_equal_distance_goes_to_the_lower_id():
    triangle = np.array([[0, 0, 0.5], [1, 0, 0.5], [0, 1, 0.5]])
    for n in (2, 5, 17):
        soup, depth = soup_of(np.repeat(triangle[None], n, 0))
        found, _ = walk(soup, depth, np.array([[0.2, 0.2, 0]], F), np.array([[0, 0, 1]], F), LIMIT)
        assert found[0] == 0


def aimed_rays(rng, vertices, faces, n, low, high):
    """Rays from inside towards vertices, edge points and points next to them."""
    origins = rng.uniform(low, high, (n, 3)).astype(F)
    pick = rng.integers(0, len(faces), n)
    corner = rng.integers(0, 3, n)
    a = vertices[faces[pick, corner]]
    b = vertices[faces[pick, (corner + 1) % 3]]
    share = rng.uniform(0, 1, n)
    share[: n // 3] = 0.0
    target = a + (b - a) * share[:, None]
    d = target.astype(F).astype(np.float64) - origins
    d /= np.linalg.norm(d, axis=1)[:, None]
    return origins, d.astype(F)


@pytest.mark.parametrize("shape", ["box", "sphere", "flake"])
def test_no_ray_leaves_a_closed_mesh_through_an_edge(shape):
    rng = np.random.default_rng(8)
    if shape == "box":
        parts = list(box_mesh(np.array([1.5, 0.9, 2.0]), 5000).values())
        corners = np.concatenate([v[f] for v, f in parts])
        low, high = np.array([0.01] * 3), np.array([1.49, 0.89, 1.99])
        vertices = corners.reshape(-1, 3)
        faces = np.arange(len(vertices)).reshape(-1, 3)
    else:
        import trimesh

        ball = trimesh.creation.icosphere(subdivisions=4)
        vertices, faces = np.asarray(ball.vertices), np.asarray(ball.faces)
        if shape == "flake":
            # Slivers: squeezed flat and turned, so that many triangles are met edge-on.
            vertices = vertices * [1, 1, 0.003]
            vertices = vertices @ trimesh.transformations.rotation_matrix(0.7, [1, 2, 3])[:3, :3]
        corners = vertices[faces]
        low, high = (np.full(3, -0.4), np.full(3, 0.4)) if shape == "sphere" else (0, 0)
    soup, depth = soup_of(corners)
    n = 334_000
    origins, d = aimed_rays(rng, vertices, faces, n, low, high)
    found, _ = walk(soup, depth, origins, d, LIMIT)
    assert (found >= 0).sum() == n
