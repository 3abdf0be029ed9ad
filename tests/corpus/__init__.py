"""A corpus of photometric files, each with the flux, or the message, that it must give.

`cd tests && python -m corpus` writes the files and `expected.json` into tests/data/photometry;
`test_photometric_corpus.py` reads them. Nothing here imports canopysim: fluxes come from the
quadratures below, of the law that a file was made from or of the numbers that it holds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np

FOLDER = Path(__file__).parent.parent / "data" / "photometry"
# Shares by which a flux may be off: of type C and EULUMDAT, and of types A and B.
DIRECT, RESAMPLED = 0.003, 0.01


@dataclass(frozen=True)
class Case:
    """One file: what it holds and what reading it must give.

    Attributes
    ----------
    name : str
        File name.
    data : bytes
        The file.
    flux : float or None
        From quadrature; None for what is refused.
    rel : float
        Share by which the flux read may differ.
    source : str
        Format and coordinates that must be told.
    opening : tuple
        Shape, then metres along x, y and z; empty if not asked for.
    doubts : tuple of (int, str)
        Line and words of every warning, in order.
    refusal : (int, str) or None
        Line and words of the error.
    shine : callable or None
        Intensity of unit vectors (..., 3) that the file was made from, in the fixture's frame.
    """

    name: str
    data: bytes
    flux: float | None = None
    rel: float = DIRECT
    source: str = ""
    opening: tuple = ()
    doubts: tuple[tuple[int, str], ...] = ()
    refusal: tuple[int, str] | None = None
    shine: Callable | None = field(default=None, compare=False)


@cache
def sphere_flux(shine, n: int = 160) -> float:
    """Integral of an intensity over all directions, whatever coordinates a file writes it in.

    Gauss and Legendre in z on either side of the level plane, even steps around it.
    """
    x, w = np.polynomial.legendre.leggauss(n)
    z = np.concatenate([(x - 1) / 2, (x + 1) / 2])[:, None]
    turn = (np.arange(n) + 0.5) / n * 2 * np.pi
    level = np.sqrt(1 - z**2)
    d = np.stack(np.broadcast_arrays(level * np.cos(turn), level * np.sin(turn), z), -1)
    return float(np.tile(w / 2, 2) @ shine(d).mean(1) * 2 * np.pi)


def table_flux(kind: str, h, v, table, fine: int = 40) -> float:
    """Flux of a table that is straight between its nodes, by midpoints; angles in degrees.

    Solid angles: sin V dV dH for type C, cos V dV dH for A, cos H dV dH for B.
    """

    def middles(nodes):
        cut = np.concatenate([np.linspace(a, b, fine, False) for a, b in pairwise(nodes)])
        cut = np.append(cut, nodes[-1])
        return (cut[1:] + cut[:-1]) / 2, np.radians(np.diff(cut))

    (h_at, h_step), (v_at, v_step) = middles(np.asarray(h, float)), middles(np.asarray(v, float))
    rows = np.stack([np.interp(v_at, v, row) for row in np.asarray(table, float)])
    values = np.stack([np.interp(h_at, h, column) for column in rows.T], 1)
    weight = {
        "C": np.sin(np.radians(v_at)) + 0 * h_at[:, None],
        "A": np.cos(np.radians(v_at)) + 0 * h_at[:, None],
        "B": np.cos(np.radians(h_at))[:, None] + 0 * v_at,
    }[kind]
    return float(h_step @ (values * weight) @ v_step)


@cache
def cases() -> tuple[Case, ...]:
    """All files, by name."""
    from corpus.damaged import DAMAGED
    from corpus.doubtful import DOUBTFUL
    from corpus.eulumdat_files import EULUMDAT
    from corpus.sound import SOUND
    from corpus.written import WRITTEN

    everything = [*SOUND, *WRITTEN, *DOUBTFUL, *DAMAGED, *EULUMDAT]
    return tuple(sorted(everything, key=lambda case: case.name))
