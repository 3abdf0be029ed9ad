"""Photometric files of tables over C and gamma, as text of the two common formats."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def _lines(values: Iterable[float]) -> list[str]:
    words = [f"{v:.10g}" for v in values]
    return [" ".join(words[i : i + 10]) for i in range(0, len(words), 10)]


def lm63(c_deg: Array, gamma_deg: Array, table: Array, length: float, width: float, *,
         height: float = 0.0, unit: int = 2, kind: int = 1, edition: str = "IESNA:LM-63-2002",
         tilt: str = "NONE", lamps: str = "1 -1", multiplier: float = 1.0,
         three: str = "1 1 40") -> str:  # fmt: skip
    """Write LM-63; C is 0 along the length.

    Parameters
    ----------
    c_deg, gamma_deg : (n_c,), (n_gamma,) array
        Horizontal and vertical angles.
    table : (n_c, n_gamma) array
        As written.
    length, width, height : float
        Of the opening, in the unit of length: 1 for feet, 2 for metres.
    kind : int
        1 for type C, 2 for B, 3 for A.
    edition : str
        First line; that of 1986 has none.
    tilt : str
        What follows TILT=.
    lamps : str
        Their number and the lumens of each, -1 for a table of true candela.
    three : str
        Ballast factor, what follows it, watts.
    """
    lines = [edition] * bool(edition) + ["[TEST] bench 7", f"TILT={tilt}"]
    lines.append(f"{lamps} {multiplier:g} {len(gamma_deg)} {len(c_deg)} {kind} {unit} "
                 f"{width:g} {length:g} {height:g}")  # fmt: skip
    lines.append(three)
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
    return eulumdat_stored(
        0, planes, gamma_deg, stored * 1000 / lumens,
        sizes_mm=(1000 * length, 1000 * width), sets=((1, lumens, 40),),
    )  # fmt: skip


def eulumdat_stored(symmetry: int, planes: Array, gamma_deg: Array, stored: Array, *,
                    sizes_mm: Sequence[float] = (0, 0), heights_mm: Sequence[float] = (0, 0, 0, 0),
                    sets: Sequence[tuple[int, float, float]] = ((1, 1000, 40),),
                    down: float = 100, ratio: float = 100,
                    conversion: float = 1) -> str:  # fmt: skip
    """Write EULUMDAT as it is stored.

    Parameters
    ----------
    symmetry : int
        0 for none, 1 about the vertical, 2 about C0-C180, 3 about C90-C270, 4 about both.
    planes : (n_plane,) array
        All C of the file, degrees.
    stored : (n_stored, n_gamma) array
        cd per 1000 lm in those planes that the symmetry leaves.
    sizes_mm, heights_mm : sequence of float
        Length and width of the luminous area; its heights at C0, C90, C180, C270.
    down, ratio : float
        Share of the light that goes down, and light output ratio, percent.
    sets : sequence of (int, float, float)
        Number, lumens and watts of each set of lamps.
    """
    head: list[object] = ["Seed bank", 2, symmetry, len(planes), f"{planes[1] - planes[0]:g}",
                          len(gamma_deg), f"{gamma_deg[1] - gamma_deg[0]:g}", "", "bench light",
                          "", "b.ldt", "2026-03-01", 400, 200, 60,
                          *(f"{size:g}" for size in (*sizes_mm, *heights_mm)),
                          f"{down:g}", f"{ratio:g}", f"{conversion:g}", 0, len(sets)]  # fmt: skip
    for number, lumens, watts in sets:
        head += [number, "LED", f"{lumens:.10g}", "warm", "80", f"{watts:g}"]
    head += [0.5] * 10
    values = [*planes, *gamma_deg, *stored.ravel()]
    return "\n".join([*(str(v) for v in head), *(f"{v:.10g}" for v in values)]) + "\n"
