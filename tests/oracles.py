"""Slow and obvious references. Nothing here imports canopysim."""

from __future__ import annotations

import numpy as np


def rotation(turn: float, pitch: float, tilt: float) -> np.ndarray:
    """World = Rz(turn) Ry(pitch) Rx(tilt), right-handed; written out by Rodrigues' formula."""

    def about(axis: list[float], angle: float) -> np.ndarray:
        k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
        return np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * k @ k

    return about([0, 0, 1], turn) @ about([0, 1, 0], pitch) @ about([1, 0, 0], tilt)


def beam_exponent(width: float) -> float:
    """cos^m is one half at half of the full width."""
    return np.log(0.5) / np.log(np.cos(width / 2))


def beam_intensity(direction: np.ndarray, m_along: float, m_across: float) -> np.ndarray:
    """Intensity per unit flux of the asymmetric beam, directions (..., 3) in the strip's frame."""
    cosine = np.maximum(-direction[..., 2], 0)
    sine2 = np.maximum(direction[..., 0] ** 2 + direction[..., 1] ** 2, 1e-300)
    m = (m_along * direction[..., 0] ** 2 + m_across * direction[..., 1] ** 2) / sine2
    power = 2 * np.pi / np.sqrt((m_along + 1) * (m_across + 1))
    return np.where(cosine > 0, cosine**m, 0.0) / power


def strip_irradiance(
    points: np.ndarray,
    normal: np.ndarray,
    centre: np.ndarray,
    axes: np.ndarray,
    length: float,
    width: float,
    m_along: float,
    m_across: float,
    n: tuple[int, int] = (24, 6),
) -> np.ndarray:
    """Irradiance per unit flux of a strip at points, by Gauss-Legendre over the strip.

    `axes` has the strip's x, y and z as rows; light leaves towards -z. Points (..., 3), m.
    """
    u, wu = np.polynomial.legendre.leggauss(n[0])
    v, wv = np.polynomial.legendre.leggauss(n[1])
    total = np.zeros(points.shape[:-1])
    for a, wa in zip(u, wu, strict=True):
        for b, wb in zip(v, wv, strict=True):
            start = centre + axes[0] * a * length / 2 + axes[1] * b * width / 2
            ray = points - start
            distance2 = (ray**2).sum(-1)
            ray = ray / np.sqrt(distance2)[..., None]
            local = ray @ axes.T
            cosine = np.maximum(-(ray @ normal), 0)
            total += wa * wb / 4 * beam_intensity(local, m_along, m_across) * cosine / distance2
    return total


def cell_points(
    low: tuple[float, float], high: tuple[float, float], cells: tuple[int, int], height: float,
    n: int = 3,
) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """Gauss points of every cell of a grid: points (ny, nx, n*n, 3) and weights (n*n,)."""
    u, w = np.polynomial.legendre.leggauss(n)
    dx, dy = (high[0] - low[0]) / cells[0], (high[1] - low[1]) / cells[1]
    x = low[0] + dx * (np.arange(cells[0])[:, None] + (u + 1) / 2)
    y = low[1] + dy * (np.arange(cells[1])[:, None] + (u + 1) / 2)
    points = np.empty((cells[1], cells[0], n, n, 3))
    points[..., 0] = x[None, :, None, :]
    points[..., 1] = y[:, None, :, None]
    points[..., 2] = height
    weights = (w[:, None] * w[None, :] / 4).ravel()
    return points.reshape(cells[1], cells[0], n * n, 3), weights


def nearest_hit(
    corners: np.ndarray, origin: np.ndarray, direction: np.ndarray
) -> tuple[int, float]:
    """Brute-force nearest triangle in float64 (Cramer's rule); -1 where none."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    e1, e2 = b - a, c - a
    p = np.cross(direction, e2)
    det = (e1 * p).sum(1)
    with np.errstate(divide="ignore", invalid="ignore"):
        s = origin - a
        u = (s * p).sum(1) / det
        q = np.cross(s, e1)
        v = (q @ direction) / det
        t = (q * e2).sum(1) / det
    good = (u >= 0) & (v >= 0) & (u + v <= 1) & (t > 0)
    if not good.any():
        return -1, np.inf
    t = np.where(good, t, np.inf)
    return int(t.argmin()), float(t.min())


def disc_overlap(r: float, d: np.ndarray) -> np.ndarray:
    """Area common to two discs of radius r whose centres are d apart."""
    x = np.clip(d / (2 * r), 0, 1)
    return 2 * r**2 * (np.arccos(x) - x * np.sqrt(1 - x**2))


def uncovered_share(n: int, r: float, area: float, window: tuple[float, float], steps: int = 160):
    """Mean and standard deviation of the share of a window that n random discs leave open.

    Discs fall independently and uniformly on `area`; the window keeps r from its rim. Two points d
    apart are both open with probability (1 - (2 pi r^2 - overlap(d)) / area)^n; the variance is
    that less the squared mean, averaged over pairs of points of the window.
    """
    mean = (1 - np.pi * r**2 / area) ** n
    # Distances along one side of a rectangle have density 2 (1 - x / L) / L.
    grids = []
    for side in window:
        x = (np.arange(steps) + 0.5) / steps * min(side, 2 * r)
        grids.append((x, 2 * (1 - x / side) / side * min(side, 2 * r) / steps))
    (x, wx), (y, wy) = grids
    d = np.hypot(x[:, None], y[None, :])
    both = (1 - (2 * np.pi * r**2 - disc_overlap(r, d)) / area) ** n
    # Beyond 2r the discs are as good as independent but for a term of order 1/n of the mean square.
    far = (1 - 2 * np.pi * r**2 / area) ** n
    variance = ((both - far) * wx[:, None] * wy[None, :]).sum() + far - mean**2
    return mean, np.sqrt(variance)
