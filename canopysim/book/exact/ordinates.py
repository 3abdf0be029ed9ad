"""The bi-Lambertian slab by discrete ordinates: any leaf angles, beams and diffuse light.

Leaves turn evenly to all points of the compass, so the light is averaged over them too, and what
is left is J(L, mu): radiance over azimuth, mu > 0 downward, L the leaf area index from the top:

    mu dJ/dL = -G(mu) J + integral of K(mu' -> mu) J(mu') dmu'.

K follows from the leaf itself. With n its upper normal and A the mean over azimuth of the cosine
with which light of mu meets its upper (u) or lower (l) side, light that meets one side leaves by
Lambert's law, from this side or from the other:

    K(mu' -> mu) = 2 < A_u(mu') (R_u A_l(mu) + T_u A_u(mu)) + A_l(mu') (R_l A_u(mu) + T_l A_l(mu)) >

where light of mu that *leaves* the upper side is light that would *meet* the lower side if it went
on; <> is the mean over inclinations. (Ross 1981, The Radiation Regime and Architecture of Plant
Stands; Shultis and Myneni 1988, JQSRT 39, 115.)

Nothing in it is clever: A by sums over inclination and azimuth, double-Gauss nodes, light that has
not met a leaf told apart as beams, and the two-point boundary problem by exact steps through thin
sublayers, all in one sparse solve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse
from scipy.sparse.linalg import spsolve

from canopysim.book.exact.leaves import Density, Side, inclinations

Array = NDArray[np.float64]
# A beam: the cosine of its slant (downward) and its flux on a level plane.
Beams = Sequence[tuple[float, float]]
FLUXES = ("sides", "down", "up")


@dataclass(frozen=True)
class Slab:
    """What becomes of one unit of light that enters at the top.

    Attributes
    ----------
    sides : (n_layer, 2) ndarray
        Absorbed by the upper and by the lower sides, top layer first.
    down, up : (n_layer + 1,) ndarray
        Fluxes at the boundaries of layers, from the top.
    around : (n_layer + 1,) ndarray
        Fluence rates there: the integral of radiance over all directions.
    sideways : (n_layer + 1,) ndarray
        Flux densities there on a face that stands upright, whatever it looks at.
    """

    sides: Array
    down: Array
    up: Array
    around: Array
    sideways: Array


def meets(mu: Array, angle: Array, n_turn: int = 480) -> tuple[Array, Array]:
    """Mean cosine with which light of `mu` meets upper and lower sides, (n_mu, n_angle) each.

    Light goes down where mu > 0; a leaf's upper normal has the z that is the cosine of its angle.
    """
    turn = 2 * np.pi * (np.arange(n_turn) + 0.5) / n_turn
    across = np.sqrt(1 - mu**2)[:, None] * np.sin(angle)
    along = mu[:, None] * np.cos(angle)
    upper, lower = np.zeros_like(along), np.zeros_like(along)
    for one in np.cos(turn):
        # Minus the product of direction and normal: positive on the upper side.
        s = along + across * one
        upper += np.maximum(s, 0)
        lower += np.maximum(-s, 0)
    return upper / n_turn, lower / n_turn


def sky(n: int = 32) -> list[tuple[float, float]]:
    """Lambertian light of one unit, as beams at Gauss nodes."""
    x, w = np.polynomial.legendre.leggauss(n)
    mu = (x + 1) / 2
    return [(float(m), float(f)) for m, f in zip(mu, w * mu, strict=True)]


def slab(
    density: Density, lai: Sequence[float] | Array, upper: Side, lower: Side, rho_floor: float,
    beams: Beams, *, n_node: int = 16, n_angle: int = 240,
) -> Slab:  # fmt: skip
    """Solve a slab over a Lambertian floor, nothing above it.

    Parameters
    ----------
    density : callable
        Of inclination.
    lai : sequence of float
        Of each layer, top first.
    upper, lower : (reflectance, transmittance)
        Of what meets that side.
    rho_floor : float
        Reflectance of the floor.
    beams : sequence of (float, float)
        Cosine and flux of each; the fluxes make one together.
    n_node : int
        Nodes in each half of mu.
    n_angle : int
        Midpoints of inclination.
    """
    x, w = np.polynomial.legendre.leggauss(n_node)
    half, w = (x + 1) / 2, w / 2
    mu = np.concatenate([half, -half])
    angle, share = inclinations(density, n_angle)
    beam_mu = np.array([b[0] for b in beams])
    flux = np.array([b[1] for b in beams])
    a_u, a_l = meets(mu, angle)
    b_u, b_l = meets(beam_mu, angle)

    def kernel(u: Array, low: Array) -> Array:
        """K from each direction that meets so, (n_from, 2 n_node)."""
        there_u = upper[0] * a_l + upper[1] * a_u
        there_l = lower[0] * a_u + lower[1] * a_l
        return np.asarray(2 * ((u * share) @ there_u.T + (low * share) @ there_l.T))

    # State: J at the nodes, beams' fluxes, light that the upper and lower sides took so far.
    n, n_beam = 2 * n_node, len(beam_mu)
    both = np.concatenate([w, w])
    step = np.zeros((n + n_beam + 2, n + n_beam + 2))
    step[:n, :n] = (kernel(a_u, a_l) * both[:, None]).T / mu[:, None]
    step[:n, :n] -= np.diag((a_u + a_l) @ share / mu)
    step[:n, n : n + n_beam] = (kernel(b_u, b_l) / beam_mu[:, None]).T / mu[:, None]
    step[n : n + n_beam, n : n + n_beam] = -np.diag((b_u + b_l) @ share / beam_mu)
    lost = (1 - sum(upper), 1 - sum(lower))
    for k, (a, b) in enumerate(((a_u, b_u), (a_l, b_l))):
        step[n + n_beam + k, :n] = lost[k] * (a @ share) * both
        step[n + n_beam + k, n : n + n_beam] = lost[k] * (b @ share) / beam_mu
    # Thin enough that no node's light falls by more than some e^8 in a sublayer.
    thin = 8 * half[0]
    counts = [max(int(np.ceil(x / thin)), 1) for x in lai]
    through = {i: linalg.expm(step * (lai[i] / counts[i])) for i in range(len(lai))}

    # Beams first, then J at all boundaries of sublayers at once.
    parts = [i for i, c in enumerate(counts) for _ in range(c)]
    size = n * (len(parts) + 1)
    beam = [flux]
    rows, right = [], np.zeros(size)
    for k, i in enumerate(parts):
        rows.append((k * n, k * n, through[i][:n, :n]))
        rows.append((k * n, (k + 1) * n, -np.eye(n)))
        right[k * n : (k + 1) * n] = -through[i][:n, n : n + n_beam] @ beam[-1]
        beam.append(through[i][n : n + n_beam, n : n + n_beam] @ beam[-1])
    # What comes down at the top is beams alone; what the floor sends up is Lambertian, J = 2 rho F.
    last = len(parts) * n
    ends = np.zeros((n, n))
    ends[:n_node, :n_node] = np.eye(n_node)
    rows.append((last, 0, ends))
    floor = np.zeros((n, n))
    floor[n_node:, n_node:] = np.eye(n_node)
    floor[n_node:, :n_node] = -2 * rho_floor * w * half
    rows.append((last, last, floor))
    right[last + n_node :] = 2 * rho_floor * beam[-1].sum()
    matrix = sparse.lil_matrix((size, size))
    for r, c, block in rows:
        matrix[r : r + n, c : c + n] = matrix[r : r + n, c : c + n].toarray() + block
    found = spsolve(matrix.tocsc(), right).reshape(-1, n)

    took = np.zeros((len(lai), 2))
    for k, i in enumerate(parts):
        took[i] += through[i][n + n_beam :, : n + n_beam] @ np.concatenate([found[k], beam[k]])
    at = np.concatenate([[0], np.cumsum(counts)])
    down = found[:, :n_node] @ (w * half) + np.array([b.sum() for b in beam])
    up = found[:, n_node:] @ (w * half)
    # An upright face sees the sine of the slant, and a half turn's mean of its cosine, 1 / pi.
    alone = np.array([b / beam_mu for b in beam])
    around = found @ both + alone.sum(1)
    sideways = found @ (both * np.sqrt(1 - mu**2)) + alone @ np.sqrt(1 - beam_mu**2)
    return Slab(took, down[at], up[at], around[at], sideways[at] / np.pi)


def converged(
    density: Density, lai: Sequence[float] | Array, upper: Side, lower: Side, rho_floor: float,
    beams: Beams, *, n_node: int = 12, judged: Sequence[str] = FLUXES,
) -> tuple[Slab, float]:  # fmt: skip
    """Solve with `n_node` nodes and with half as many more; others as for `slab`.

    Parameters
    ----------
    judged : sequence of str
        Figures of the slab whose differences are told.

    Returns
    -------
    Slab
        Of the finer one.
    float
        Largest difference between both in these figures, of one unit of light.
    """
    coarse, fine = (
        slab(density, lai, upper, lower, rho_floor, beams, n_node=k, n_angle=m)
        for k, m in ((n_node, 180), (n_node * 3 // 2, 270))
    )
    off = max(
        float(np.abs(one - other).max())
        for one, other in ((getattr(coarse, name), getattr(fine, name)) for name in judged)
    )  # fmt: skip
    return fine, off
