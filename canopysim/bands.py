"""Wavebands by their edges in nm: which bands lie inside a range, and what ranges are called."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

PAR = (400.0, 700.0)
"""Range of PPF and PPFD (ANSI/ASABE S640)."""
EPAR = (400.0, 750.0)
"""Range of ePAR (Zhen, van Iersel and Bugbee 2021, Front. Plant Sci. 12:693445)."""


def range_label(low_nm: float, high_nm: float) -> str:
    """Name a range of wavelengths, as in ``400-700``."""
    return f"{low_nm:g}-{high_nm:g}"


def within(edges: Sequence[float], span: tuple[float, float] = PAR) -> NDArray[np.bool_]:
    """Mark the bands that lie inside a range.

    Parameters
    ----------
    edges : sequence of float
        Band edges, nm, ascending.
    span : (low, high)
        The range, nm; its ends are among the edges.

    Returns
    -------
    numpy.ndarray of bool (n_band,)
        True where a band lies inside.
    """
    bounds = np.asarray(edges, dtype=np.float64)
    inside: NDArray[np.bool_] = (bounds[:-1] >= span[0]) & (bounds[1:] <= span[1])
    return inside


def ranges(
    edges: Sequence[float],
) -> tuple[list[str], list[tuple[float, float]], NDArray[np.float64]]:
    """List the bands and the sums that people ask for.

    Parameters
    ----------
    edges : sequence of float
        Band edges, nm; 400, 700 and 750 among them.

    Returns
    -------
    names : list of str
        The bands, then 400-700 (PPFD), 400-750 (ePAR) and far-red: 700 to 800, or to the last
        edge where 800 is none. What is a band already is not named twice.
    spans : list of (low, high)
        Their edges, nm.
    matrix : numpy.ndarray (n_band, n_name)
        Ones where a band belongs to a name.
    """
    spans = [(float(a), float(b)) for a, b in pairwise(edges)]
    far_red_end = 800.0 if 800.0 in edges else float(edges[-1])
    for span in (PAR, EPAR, (700.0, far_red_end)):
        if span not in spans:
            spans.append(span)
    matrix = np.stack([within(edges, span) for span in spans], 1).astype(np.float64)
    return [range_label(*span) for span in spans], spans, matrix
