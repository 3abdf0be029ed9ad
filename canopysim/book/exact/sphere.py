"""The integrating sphere, and spheres of ever more facets."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def sphere(rho: float, share: float, rho_patch: float) -> dict[str, float]:
    """Light in a sphere of which a share, all of it in the upper half, has another reflectance.

    The lamp is in the lower half and shines at that alone. From any spot of a sphere light that
    leaves by the cosine law falls evenly on all of it; so all that was reflected, `again` in all,
    does: again = rho + again ((1 - share) rho + share rho_patch).

    Returns
    -------
    dict
        ``patch``, ``wall``: what each keeps; ``up``, ``down``: what passes the equator.
    """
    again = rho / (1.0 - (1.0 - share) * rho - share * rho_patch)
    lower = rho + again * rho / 2
    upper = again * ((0.5 - share) * rho + share * rho_patch)
    return {
        "patch": again * share * (1.0 - rho_patch),
        "wall": 1.0 - again * share * (1.0 - rho_patch),
        "up": lower / 2, "down": upper / 2,
    }  # fmt: skip


def facets(level: int) -> tuple[Floats, NDArray[np.int64]]:
    """Icosahedron whose triangles are cut in four so many times, its corners on the unit sphere.

    Returns
    -------
    corners : (20 4^level, 3, 3) ndarray
        Of every triangle; mirrored at x, y and z = 0, where the coarser ones' corners stay.
    root : (20 4^level,) ndarray of int
        Which of the 20 faces each comes from.
    """
    golden = (1 + np.sqrt(5)) / 2
    points = []
    for one, other in itertools.product((-1, 1), (-golden, golden)):
        points += [(0, one, other), (one, other, 0), (other, 0, one)]
    vertices = np.array(points) / np.sqrt(1 + golden**2)
    near = np.linalg.norm(vertices[:, None] - vertices, axis=-1) < 1.2
    faces = [f for f in itertools.combinations(range(12), 3)
             if all(near[i, j] for i, j in itertools.combinations(f, 2))]  # fmt: skip
    corners = vertices[np.array(faces)]
    root = np.arange(20)
    for _ in range(level):
        a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
        ab, bc, ca = ((p + q) / np.linalg.norm(p + q, axis=1)[:, None]
                      for p, q in ((a, b), (b, c), (c, a)))  # fmt: skip
        four = ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))
        corners = np.concatenate([np.stack(t, 1) for t in four])
        root = np.tile(root, 4)
    return corners, root
