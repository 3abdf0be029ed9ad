"""Leaves: their area and angles by layer, as they are reckoned; without photons."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise, permutations
from types import SimpleNamespace as Bag
from typing import Any

import numpy as np
from numpy.typing import NDArray

from canopysim.book.exact.crowns import SHAPES
from canopysim.book.exact.frames import gauss
from canopysim.book.exact.leaves import DENSITY, Density, ellipsoid, shown
from canopysim.book.facts import Fact, fact_case

Array = NDArray[np.float64]


def _cut(corners: Array, height: float) -> float:
    """Area of a triangle (3, 3) at and below a height: what is left of it when it is cut there."""
    kept = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        if a[2] <= height:
            kept.append(a)
        if (a[2] <= height) != (b[2] <= height):
            kept.append(a + (height - a[2]) / (b[2] - a[2]) * (b - a))
    fan = [np.cross(p - kept[0], q - kept[0]) for p, q in pairwise(kept[1:])]
    return float(np.linalg.norm(np.sum(fan, axis=0))) / 2 if fan else 0.0


def _layers() -> Iterator[Fact]:
    from canopysim.matter.layers import area_by_layer, cumulative_lai, layer_edges, share_below

    count: Any = Bag(layers=3)
    stated: Any = Bag(layers=(0.3, 0.5, 0.8))
    yield "three equal layers", [0.2, 0.5, 0.8, 1.1], layer_edges(count, 0.2, 1.1)
    yield "boundaries beyond the leaves", [0.3, 0.5, 0.8], layer_edges(stated, 0.4, 0.7), 0.0
    yield "boundaries drawn out", [0.1, 0.5, 1.0], layer_edges(stated, 0.1, 1.0), 0.0
    # Each way in which corners may lie to each other, and to the level.
    for z in np.array([(0, 1, 3), (0, 0, 2), (0, 2, 2), (-1, 0.5, 0.75)], float):
        for level in (-0.5, 0.25, 0.5, 1.0, 1.75):
            if z[0] < level < z[2]:
                solid = np.stack([[0.0, 1.0, 3.0], [0.0, 2.0, -1.0], z], 1)
                share = _cut(solid, level) / _cut(solid, 9.0)
                yield f"share of {z} below {level}", [share], share_below(z[None], level)
    vertices = np.random.default_rng(7).uniform(0, 1, (30, 3))
    # A level triangle in a boundary, one in none, and one with a corner in a boundary.
    vertices[:3, 2], vertices[3:6, 2], vertices[6, 2] = 0.5, 0.6, 0.25
    edges = (0.2, 0.25, 0.5, 0.9, 0.95)
    for order in permutations(range(3)):
        faces = np.arange(30, dtype=np.int32).reshape(10, 3)[:, order]
        below = [0.0, *(sum(_cut(c, h) for c in vertices[faces]) for h in (*edges[1:-1], 9.0))]
        area = area_by_layer(vertices, faces, edges)
        yield f"area by layer, corners {order}", np.diff(below)[::-1], area
    yield "leaf area index", [0.4, 0.4, 1.2, 1.25], cumulative_lai([1.0, 0.0, 2.0, 0.125], 2.5)


def _more_level(density: Density, angles: Array) -> Array:
    """Share of leaf area more level than each of ascending angles from 0."""
    (u, w), step = gauss(0.0, 1.0, 12), np.diff(angles)
    pieces = density(angles[:-1, None] + step[:, None] * u) @ w * step
    return np.concatenate([[0.0], np.cumsum(pieces)])


def _leaning(cosine: Array, mu: float) -> float:
    """Mean of |n.d| over the compass and over leaves (n,) that are so inclined, to 1e-9."""
    turn, c = np.pi * (np.arange(20_000) + 0.5) / 20_000, cosine[:, None]
    return float(np.abs(c * mu + np.sqrt((1 - c**2) * (1 - mu**2)) * np.cos(turn)).mean())


def _pieces(cosine: Array, area: Array, n: int) -> Array:
    """Mean cosine of pieces, the most level first, over the step of probability about each k/n."""
    order = np.argsort(-np.abs(cosine))
    reached = np.cumsum(area[order]) / area.sum()
    low, high = (np.clip(np.arange(n + 1) + d, 0, n)[:, None] / n for d in (-0.5, 0.5))
    start = np.append(0.0, reached[:-1])
    shared = np.maximum(np.minimum(high, reached) - np.maximum(low, start), 0.0)
    return np.asarray(shared @ np.abs(cosine)[order] / shared.sum(1))


def _angles() -> Iterator[Fact]:
    from canopysim.matter.turbid import inclination as of

    share, right, towards = np.linspace(0, 1, 1025), np.pi / 2, (1.0, 0.9, -0.6, 0.3, 0.0)
    laws = {name: (of.named_angles(name), density) for name, density in DENSITY.items()}
    # Those next to 1 are on both sides of where a series takes the closed form's place.
    for x in (0.3, 0.9, 1 - 6e-7, 1 - 4e-7, 1.0, 1 + 4e-7, 1.0003, 1.7, 4.0):
        laws[f"ellipsoid of {x:.7g}"] = of.ellipsoid_angles(x), ellipsoid(x)
    for name, (cosine, density) in laws.items():
        yield f"share up to quantiles, {name}", share, _more_level(density, np.arccos(cosine))
        yield f"outermost leaves, {name}", [1.0, 0.0], cosine[[0, -1]], 0.0
        # By 4000 angles and 720 turns; quantiles are straight in between.
        seen = [shown(density, abs(mu)) for mu in towards]
        yield f"shown, {name}", seen, of.projection(cosine, towards), 5e-5
    for name, alike in (("level", 1.0), ("upright", 0.0)):
        yield f"leaves that are {name}", np.full(1025, alike), of.named_angles(name), 0.0
    for steps in ((1, 1), (0.95, 0.95), (0.5, 0.5), (0.1, 0.1), (0, 0), (0.9, 0.4, 0.3)):
        spread = np.concatenate([np.linspace(a, b, 17)[1::2] for a, b in pairwise(steps)])
        seen = [_leaning(spread, mu) for mu in towards]
        found = of.projection(np.array(steps, float), towards)
        yield f"shown by cosines {steps}", seen, found, 1e-8
    # By the trapezium rule; a cosine may be above 1 by a rounding.
    few = np.array([0.0, 0.4, 0.5, 1.3, right])
    cosine = np.maximum(np.cos(few), 0.0) * (1 + 1e-15)
    yield "mean inclination", np.trapezoid(few) / 4, of.mean_inclination(cosine)
    for shares in ((3, 1, 2), (0, 2, 0, 1, 0, 0), (0, 0, 5), (4,)):
        angle, n = np.arccos(of.class_angles(shares)), len(shares)
        each = [s * np.clip(angle * n / right - i, 0, 1) for i, s in enumerate(shares)]
        yield f"share up to quantiles, classes {shares}", share, np.sum(each, 0) / sum(shares)
        ends = np.flatnonzero(shares)[[0, -1]] * right / n + [0, right / n]
        yield f"outermost leaves, classes {shares}", ends, angle[[0, -1]]
    rng = np.random.default_rng(3)
    for n in (1, 5, 3000):
        c, area = rng.uniform(-1, 1, n), rng.uniform(0.2, 3, n)
        yield f"quantiles of {n} pieces", _pieces(c, area, 1024), of.measured_angles(c, area)


CENTRE, HALF = np.array([0.5, 0.75, 0.625]), np.array([0.25, 0.5, 0.125])
# Level section over that of the box, at the sine of an angle; and volume over a b c.
SECTION: dict[str, tuple[Density, float]] = {
    "box": (np.ones_like, 8.0),
    "ellipsoid": (lambda s: np.pi / 4 * np.cos(s) ** 2, 4 / 3 * np.pi),
    "row along x": (np.cos, 2 * np.pi),
    "row along y": (np.cos, 2 * np.pi),
}


def _below(kind: str, by_height: Sequence[float], height: float) -> float:
    """Leaf area below a height: section times density, between all bends."""
    nodes, t = np.linspace(-1, 1, len(by_height)), np.clip((height - CENTRE[2]) / HALF[2], -1, 1)
    whole = 0.0
    for a, b in pairwise([*nodes[nodes < t], t]):
        s, w = gauss(np.arcsin(a), np.arcsin(b), 24)
        section = SECTION[kind][0](s) * np.cos(s)
        whole += float((section * np.interp(np.sin(s), nodes, by_height)) @ w)
    return whole * 4 * float(HALF.prod())


def _volumes() -> Iterator[Fact]:
    from canopysim.matter.turbid import heights
    from canopysim.matter.turbid import volume as of

    x = np.linspace(0, 1, 65)
    yield "even heights", np.ones(65), heights.even_heights(), 0.0
    for p, q in ((2.5, 1.0), (1.0, 3.0), (2.0, 4.0)):
        beta = x ** (p - 1) * (1 - x) ** (q - 1)
        yield f"beta heights {p:g}, {q:g}", beta / beta.max(), heights.beta_heights(p, q)
    for listed in ((1.0, 4.0, 2.0), (0.7, 0.2), (3.0, 0.0, 0.0, 6.0, 1.0)):
        exact = np.interp(x, np.linspace(0, 1, len(listed)), listed) / max(listed)
        yield f"listed heights {listed}", exact, heights.listed_heights(listed)
    levels = CENTRE[2] + HALF[2] * np.array([0.4, -1.5, -0.99, -0.5, 1, 0, 0.93, -1, 2])
    # Leaves below the first edge and above the last count as well.
    edges = CENTRE[2] + HALF[2] * np.array([-0.8, -0.25, 0.3, 0.7])
    # Some touch the hull from within, one to each side.
    points = np.random.default_rng(5).uniform(-1.2, 1.2, (4000, 3))
    points[:6] = np.concatenate([np.eye(3), -np.eye(3)])
    cuts = np.array([-1.0, -0.6, 0.1, 0.75, 1.0])
    name: Any
    for name, (_, size) in SECTION.items():
        for listed in ((6.0, 6.0), (6.0, 2.0), (1.0, 5.0, 0.0, 3.0, 2.0)):
            body = of.Volume("body", name, CENTRE, HALF, np.array(listed), np.ones(2), "leaf")
            exact = np.array([_below(name, listed, z) for z in (*levels, 9.0)])
            found = np.array([*of.area_below(body, levels), body.leaf_area])
            yield f"area below, and in all, {name}, {listed}", exact, found
            below = [_below(name, listed, z) for z in (0.0, *edges[1:-1], 9.0)]
            found = of.volume_area_by_layer(body, edges)
            yield f"area by layer, {name}, {listed}", np.diff(below)[::-1], found
        parts = np.diff([_below(name, (1.0, 1.0), CENTRE[2] + HALF[2] * t) for t in cuts])
        found = np.array([*of.sections(name, HALF, cuts), body.size])
        yield f"volume between levels, and in all, {name}", [*parts, size * HALF.prod()], found
        wrong = (of.inside(body, CENTRE + HALF * points) != SHAPES[name](points.T)).sum()
        yield f"points on the wrong side, {name}", 0, wrong, 0.0
    at = np.array([0.0, 0.1, 0.25, 0.4, 0.95, 1.0])
    exact = np.interp(at, np.linspace(0, 1, len(listed)), listed)
    yield "density at heights", [*exact, 0, 0], body.at_height([*(0.5 + 0.25 * at), 0.49, 0.76])
    yield "corners", [0.25, 0.25, 0.5, 0.75, 1.25, 0.75], [*body.low, *body.high]


CASES = (
    fact_case(
        "leaf angles as they are reckoned",
        "leaves",
        "Quantiles of inclination, by name, ellipsoid, classes and pieces, and what they show.",
        "Densities integrated up to each quantile; |n.d| integrated over the compass.",
        "An inclination were another, weighed by another area or seen at another angle.",
        _angles,
    ),
    fact_case(
        "leaf area as it is reckoned",
        "leaves",
        "What lies in each layer of drawn leaves, and of volumes that leaves fill.",
        "Triangles cut by planes; sections times densities, integrated over height.",
        "An edge, a corner, a section or a density were another, or leaves beyond edges were lost.",
        _layers, _volumes,
    ),
)  # fmt: skip
