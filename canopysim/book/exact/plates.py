"""Sums that close: light between parallel plates."""

from __future__ import annotations


def plates(rho_floor: float, rho_ceiling: float) -> dict[str, float]:
    """Light between two endless plates, of which the upper emits one unit.

    Each round trip keeps rho_floor rho_ceiling, so what falls on the floor is the geometric series
    1 / (1 - rho_floor rho_ceiling), whatever the gap between them.

    Returns
    -------
    dict
        ``falls`` on the floor, ``rises`` to the ceiling, ``floor`` and ``ceiling``: what each
        keeps.
    """
    falls = 1.0 / (1.0 - rho_floor * rho_ceiling)
    return {
        "falls": falls,
        "rises": falls * rho_floor,
        "floor": falls * (1.0 - rho_floor),
        "ceiling": falls * rho_floor * (1.0 - rho_ceiling),
    }
