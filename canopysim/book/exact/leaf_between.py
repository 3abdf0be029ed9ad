"""One level leaf between a floor and a ceiling: a few fluxes, linear in each other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from canopysim.book.exact.leaves import Side


@dataclass(frozen=True)
class Between:
    """Shares of one unit of light: kept by both sides of the leaf, by floor and ceiling.

    ``down`` and ``up`` are what passes a plane under the leaf.
    """

    upper: float
    lower: float
    floor: float
    ceiling: float
    down: float
    up: float


def leaf_between(
    cover: float, upper: Side, lower: Side, rho_floor: float, rho_ceiling: float, *,
    from_above: bool,
) -> Between:  # fmt: skip
    """Solve for the fluxes that fall on the leaf from above and below, the floor and the ceiling.

    Parameters
    ----------
    cover : float
        Share of the bay that the leaf covers; the rest of the light goes past it.
    upper, lower : (reflectance, transmittance)
        Of what meets that side.
    rho_floor, rho_ceiling : float
        Reflectances.
    from_above : bool
        Whether the ceiling sends the light out, or the floor.
    """
    past = 1 - cover
    # Unknown: a falls to the leaf's level from above, b rises to it from below, f falls on the
    # floor, c rises to the ceiling.
    #   a = source + rho_ceiling c,  c = (cover R_up + 0) a + (cover T_low + past) b, and so on.
    matrix = np.array([
        [1, 0, 0, -rho_ceiling],
        [0, 1, -rho_floor, 0],
        [-(cover * upper[1] + past), -cover * lower[0], 1, 0],
        [-cover * upper[0], -(cover * lower[1] + past), 0, 1],
    ])  # fmt: skip
    a, b, f, c = np.linalg.solve(matrix, [float(from_above), float(not from_above), 0, 0])
    return Between(
        upper=float(cover * a * (1 - sum(upper))),
        lower=float(cover * b * (1 - sum(lower))),
        floor=float(f * (1 - rho_floor)),
        ceiling=float(c * (1 - rho_ceiling)),
        down=float(f),
        up=float(b),
    )
