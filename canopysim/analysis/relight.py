"""What other lenses, tilts and turns would give, from one trace: light by launch cell.

Every tally is linear in the light that starts in a cell of position and direction. A light of
another shape at the same place sends other shares into the same cells; within a cell its light is
taken to be spread as that of the traced one, which is the error of the cells.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.books import Estimate, Span
from canopysim.analysis.told_apart import tell_apart
from canopysim.bands import PAR
from canopysim.errors import CanopysimError
from canopysim.world.splits import CELLS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canopysim.results import Result

Array = NDArray[np.float64]
# A lens may send so much of its light where the traced one sends none; it is then left out.
MOST_UNLIT = 1e-3


@dataclass(frozen=True)
class Relit:
    """A tally under other lenses.

    Attributes
    ----------
    flux : Estimate
        µmol s⁻¹, with the standard error of the trace.
    cell_error : float
        µmol s⁻¹ by which it changes with rings and sectors of twice the width: what the cells may
        be off by, and more than that where the light varies smoothly.
    """

    flux: Estimate
    cell_error: float


def relight(
    result: Result,
    directions: Array | Sequence[Array],
    *,
    span: Span = PAR,
    group: str = "all",
) -> dict[str, Relit]:
    """Tallies as they would be with other lenses, tilts or turns, without tracing again.

    Parameters
    ----------
    result : Result
        Of a scene with ``also_count: {launch_cells: …}``.
    directions : numpy.ndarray (n, 3), or one for each strip
        A fair sample of the directions in which the new light leaves, world frame; more than 10⁵
        of them make the sample's own error small. The photon flux of every strip and its spread
        along the strip stay as they are.
    span : (low, high)
        Range of whole traced bands, nm.
    group : str
        Group of lights, or "all".

    Returns
    -------
    dict of str to Relit
        By tally, as in `tell_apart`.

    Raises
    ------
    CanopysimError
        Where the new light goes into directions that the traced one left dark.
    """
    told = tell_apart(result, CELLS, span=span, group=group)
    meta = result.meta["told_apart"]
    n_strip, (n_along, n_polar, n_around) = int(meta["n_strip"]), meta["cells"]
    shape = (n_strip, n_along, n_polar, n_around)
    given = [directions] * n_strip if isinstance(directions, np.ndarray) else list(directions)
    if len(given) != n_strip:
        raise CanopysimError(
            f"directions: {len(given)} samples for {n_strip} strips; give one each"
        )
    new = np.stack([_shares(d, n_polar, n_around) for d in given])
    # Everything that started in a cell ended somewhere.
    names = list(told.tallies)
    ends = [i for i, name in enumerate(names) if name in set(result.ends["end"].values)]
    launched = told.flux[..., ends].sum((0, 2)).reshape(shape)
    fine = _factors(launched, new)
    coarse = _factors(launched, new, merge=True)
    return {
        name: Relit(a, abs(a.value - b.value))
        for name, a, b in zip(
            told.tallies, told.weighted(fine.ravel()), told.weighted(coarse.ravel()), strict=True
        )
    }


def beam_directions(along_rad: float, across_rad: float, axes: Array, n: int = 2**18) -> Array:
    """Sample the asymmetric beam evenly, for `relight`.

    Parameters
    ----------
    along_rad, across_rad : float
        Full widths at half maximum along and across the strip.
    axes : numpy.ndarray (3, 3)
        The strip's x, y and z axes in the world's frame, as rows; light leaves towards -z.
    n : int
        Directions.

    Returns
    -------
    numpy.ndarray (n, 3)
        World frame. The intensity is I0 cos(gamma)^m(C), m(C) = m_along cos² C + m_across sin² C,
        inverted exactly (see `transport.launch`) on a two-dimensional lattice.
    """
    m_along, m_across = (np.log(0.5) / np.log(np.cos(w / 2)) for w in (along_rad, across_rad))
    k = np.arange(n) + 0.5
    u, v = k / n, (k * 0.6180339887498949) % 1.0
    c = np.arctan2(
        np.sqrt(m_along + 1) * np.sin(2 * np.pi * u), np.sqrt(m_across + 1) * np.cos(2 * np.pi * u)
    )
    m = m_along * np.cos(c) ** 2 + m_across * np.sin(c) ** 2
    cosine = v ** (1 / (m + 1))
    sine = np.sqrt(1 - cosine**2)
    local = np.stack([sine * np.cos(c), sine * np.sin(c), -cosine], 1)
    return np.asarray(local @ axes, np.float64)


def _shares(directions: Array, n_polar: int, n_around: int) -> Array:
    """Share of directions in each ring and sector, (n_polar, n_around)."""
    d = directions / np.linalg.norm(directions, axis=1, keepdims=True)
    polar = np.clip(((1 - d[:, 2]) / 2 * n_polar).astype(int), 0, n_polar - 1)
    turn = np.arctan2(d[:, 1], d[:, 0]) % (2 * np.pi)
    around = np.clip((turn / (2 * np.pi) * n_around).astype(int), 0, n_around - 1)
    counts = np.bincount(polar * n_around + around, minlength=n_polar * n_around)
    return np.asarray(counts.reshape(n_polar, n_around) / len(d), np.float64)


def _factors(launched: Array, new: Array, *, merge: bool = False) -> Array:
    """Factor on the light of each cell, (n_strip, n_along, n_polar, n_around)."""
    of_strip = launched.sum((2, 3), keepdims=True)
    # A strip without light in what is asked for stays without.
    old = np.divide(launched, of_strip, out=np.zeros_like(launched), where=of_strip > 0)
    new = np.broadcast_to(new[:, None], old.shape)
    if merge:
        rings, sectors = (np.arange(0, n, 2) for n in old.shape[2:])
        old, new = (
            np.add.reduceat(np.add.reduceat(a, rings, axis=2), sectors, axis=3) for a in (old, new)
        )
    shines = of_strip[:, :, 0, 0] > 0
    unlit = np.where(old == 0, new, 0.0).sum((2, 3))
    dark = float(unlit[shines].max(initial=0.0))
    if dark > MOST_UNLIT:
        raise CanopysimError(
            f"directions: {100 * dark:.2g} % of a strip's new light goes where the traced lights "
            "send none; trace them with a lens that covers all directions asked for"
        )
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.where(old > 0, new / old, 0.0)
    if merge:
        factor = np.repeat(np.repeat(factor, 2, axis=2), 2, axis=3)
        factor = factor[:, :, : launched.shape[2], : launched.shape[3]]
    return factor
