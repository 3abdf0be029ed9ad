"""Photometric files of tables over C and gamma, as text of the two common formats."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def _lines(values: Iterable[float]) -> list[str]:
    words = [f"{v:.10g}" for v in values]
    return [" ".join(words[i : i + 10]) for i in range(0, len(words), 10)]


def lm63(c_deg: Array, gamma_deg: Array, table: Array, length: float, width: float) -> str:
    """Write LM-63 of 2002, type C, of an opening in metres; C is 0 along the length."""
    lines = ["IESNA:LM-63-2002", "[TEST] bench 7", "TILT=NONE"]
    lines.append(f"1 -1 1 {len(gamma_deg)} {len(c_deg)} 1 2 {width:g} {length:g} 0")
    lines.append("1 1 40")
    for group in (gamma_deg, c_deg, *table):
        lines += _lines(group)
    return "\n".join(lines) + "\n"


def eulumdat(c_deg: Array, gamma_deg: Array, table: Array, length: float, width: float,
             lumens: float) -> str:  # fmt: skip
    """Write EULUMDAT without symmetry; its C0 lies across the length, a quarter further on.

    Parameters
    ----------
    c_deg : (n_c,) array
        0 to 360 in equal steps of which a quarter is a multiple, counted from along the length.
    table : (n_c, n_gamma) array
        cd; the file has cd per 1000 lm of the lamps.
    lumens : float
        Of the lamps.
    """
    planes = c_deg[:-1]
    step = planes[1] - planes[0]
    stored = table[:-1][(np.arange(len(planes)) + round(90 / step)) % len(planes)]
    head: list[object] = ["Seed bank", 2, 0, len(planes), f"{step:g}", len(gamma_deg),
                          f"{gamma_deg[1] - gamma_deg[0]:g}", "", "bench light", "", "b.ldt",
                          "2026-03-01", 400, 200, 60, f"{1000 * length:g}", f"{1000 * width:g}",
                          0, 0, 0, 0, 100, 100, 1, 0, 1, 1, "LED", f"{lumens:.10g}", "warm", "80",
                          40]  # fmt: skip
    head += [0.5] * 10
    values = [*planes, *gamma_deg, *(stored * 1000 / lumens).ravel()]
    return "\n".join([*(str(v) for v in head), *(f"{v:.10g}" for v in values)]) + "\n"
