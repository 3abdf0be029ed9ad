"""Why two programs met different triangles on one ray.

Both programs round to float32, so an answer is held to be right for a scene in which every corner
is moved by at most `ROUNDING`. An unlike hit is explained if both answers are right in this sense:

- *tie*: both triangles are met, at distances that this rounding does not tell apart;
- *edge*: the ray passes an outer edge of the nearer triangle within this rounding, so that one
  program met it and the other did not;
- *start*: the nearer triangle lies within this rounding of the ray's origin;
- *leak*: as *edge*, but a neighbour goes on behind that edge, and Embree's answer lies behind both:
  its default mode does not promise otherwise. Ours does: our leaks are not explained.

Everything else is *unexplained*: somebody is wrong.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from benchmarks.passing import Meetings, Vectors, first_exactly, meet

# Relative to the largest coordinate: one float32 step at the far end, 0.24 micrometres at 2 m.
ROUNDING = 2.0**-23
KINDS = ("tie", "edge", "start", "leak", "unexplained")
NOTHING = -1


@dataclass
class Verdicts:
    """What unlike hits were, counted.

    Attributes
    ----------
    kinds : collections.Counter
        How many of each of `KINDS`.
    edge_m : float
        Of the kinds edge and leak: the largest distance of a ray from the edge, m.
    right : collections.Counter
        How often exact arithmetic meets first what ``ours``, what ``theirs`` says.
    """

    kinds: Counter[str] = field(default_factory=Counter)
    edge_m: float = 0.0
    right: Counter[str] = field(default_factory=Counter)

    def text(self, n_ray: int) -> str:
        """Say how many of how many rays, and why."""
        n = self.kinds.total()
        if n == 0:
            return f"0 unlike of {n_ray}"
        said = ", ".join(f"{self.kinds[kind]} {kind}" for kind in KINDS if self.kinds[kind])
        edge = f" (within {1e6 * self.edge_m:.2g} µm)" if self.edge_m > 0 else ""
        return (
            f"{n} unlike of {n_ray} ({n / n_ray:.1e}): {said}{edge}; "
            f"exactly right: ours {self.right['ours']}, Embree {self.right['theirs']}"
        )


class Judge:
    """Triangles (n, 3, 3) of float32 in metres, ready to be asked about rays."""

    def __init__(self, triangles: NDArray[np.float32]) -> None:
        self._corners = triangles.astype(np.float64)
        self._middle = self._corners.mean(1)
        self._rounding_m = ROUNDING * float(np.abs(triangles).max())
        away = np.linalg.norm(self._corners - self._middle[:, None], axis=-1)
        self._radius = away.max(1) + self._rounding_m

    def near(self, o: Vectors, d: Vectors) -> NDArray[np.int64]:
        """Triangles whose surrounding ball the ray's line passes through."""
        p = self._middle - o
        along = p @ d / (d @ d)
        return np.flatnonzero(((p - along[:, None] * d) ** 2).sum(1) <= self._radius**2)

    def verdicts(
        self,
        origins: NDArray[np.float32],
        directions: NDArray[np.float32],
        ours: NDArray[np.int64],
        theirs: NDArray[np.int64],
    ) -> Verdicts:
        """Judge every ray on which the triangles differ; -1 stands for none."""
        result = Verdicts()
        for ray in np.flatnonzero(ours != theirs):
            o, d = origins[ray].astype(np.float64), directions[ray].astype(np.float64)
            kind, edge_m, first = self.judge(o, d, int(ours[ray]), int(theirs[ray]))
            result.kinds[kind] += 1
            result.edge_m = max(result.edge_m, edge_m)
            for who, number in (("ours", ours[ray]), ("theirs", theirs[ray])):
                result.right[who] += int(number in first or (number < 0 and not first))
        return result

    def judge(self, o: Vectors, d: Vectors, ours: int, theirs: int) -> tuple[str, float, list[int]]:
        """Explain one unlike hit.

        Returns
        -------
        kind : str
            One of `KINDS`.
        edge_m : float
            Distance from the edge of the nearer triangle, m, of the kinds edge and leak; else 0.
        first : list of int
            What exact arithmetic meets first.
        """
        near = self.near(o, d)
        m = meet(o, d, self._corners[near], self._rounding_m)
        maybe = m.inside | (m.edge_m <= self._rounding_m)
        first = [int(near[maybe][k]) for k in first_exactly(o, d, self._corners[near[maybe]])]
        row = {int(k): i for i, k in enumerate(near)}
        said = [k for k in (ours, theirs) if k != NOTHING]
        if not all(k in row for k in said):
            return "unexplained", 0.0, first
        answers = [row[k] for k in said]
        if not all(maybe[i] and m.t_m[i] >= -m.blur_m[i] for i in answers):
            return "unexplained", 0.0, first
        # What nobody may overlook: met well inside, well after the start, well before the answer.
        clear = m.inside & (m.edge_m > self._rounding_m) & (m.t_m > m.blur_m)
        for i in answers if len(answers) == 2 else [*answers, None]:
            far, blur = (np.inf, 0.0) if i is None else (m.t_m[i], m.blur_m[i])
            if (clear & (m.t_m + m.blur_m + blur < far)).any():
                return "unexplained", 0.0, first
        if len(answers) == 2:
            i, j = answers
            if abs(m.t_m[i] - m.t_m[j]) <= m.blur_m[i] + m.blur_m[j]:
                return "tie", 0.0, first
        nearer = min(answers, key=lambda i: m.t_m[i])
        if m.edge_m[nearer] > self._rounding_m:
            return "start", 0.0, first
        kind = "edge"
        if self._goes_on(d, near, m, nearer):
            kind = "leak" if near[nearer] == ours else "unexplained"
        return kind, float(m.edge_m[nearer]), first

    def _goes_on(self, d: Vectors, near: NDArray[np.int64], m: Meetings, i: int) -> bool:
        """Whether another triangle goes on behind the edge that a ray passes, seen along it."""
        if m.corner_m[i] <= self._rounding_m:
            return False
        p, q, r = np.roll(self._corners[near[i]], -m.edge[i], axis=0)
        corners = self._corners[near]
        shared = (corners == p).all(-1).any(1) & (corners == q).all(-1).any(1)
        # Twice the area that the ray sees, signed by the side of the edge; of p and q it is zero.
        sides = np.cross(q - p, corners[shared] - p) @ d
        return bool((sides * (np.cross(q - p, r - p) @ d) < 0).any())
