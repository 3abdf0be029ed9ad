"""A plant before it is full grown: which of its leaves are out, and how large each is.

A plant's age is counted in leaves: at stage s of a plant of N nodes, the age is a = s N. Leaf k
(k = 0 is the lowest) comes out at age k and has the share

    e = (a - k) / min(5, N - k), at most 1,

of its full-grown size: a leaf unfolds while five more come out, or while the rest of them do. Its
blade, its petiole and the internode below it grow together. A leaf below 5 % is not there yet; the
first one is always there. The height of the first leaf grows with that leaf; the radii of stem and
petioles are s times the full-grown ones. Angles and the leaf's random numbers do not depend on the
stage, so that leaf area and height never fall from one stage to a later one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from canopysim.scene.schema_matter import Plant

Floats = NDArray[np.float64]

UNFOLDING = 5
"""Leaves that come out while one grows to its full size (assumed)."""
LEAST_GROWN = 0.05
"""Share of its full size below which a leaf is not there yet."""


def grown_shares(plant: Plant) -> Floats:
    """Size of each leaf of a stem at the plant's stage, as a share of its full-grown size.

    Parameters
    ----------
    plant : Plant
        Without a ``stage`` it is full grown.

    Returns
    -------
    (n_leaf,) ndarray
        From the lowest leaf up; those that are not out yet are left out.
    """
    stage = 1.0 if plant.stage is None else plant.stage
    leaf = np.arange(plant.nodes)
    shares = (stage * plant.nodes - leaf) / np.minimum(UNFOLDING, plant.nodes - leaf)
    shares = np.minimum(shares, 1.0)
    shares[0] = max(shares[0], LEAST_GROWN)
    grown: Floats = shares[shares >= LEAST_GROWN]
    return grown


def at_stage(plant: Plant, grown: Floats) -> Plant:
    """Make the plant whose stalks are as thick, and whose first leaf is as high, as at its stage.

    Parameters
    ----------
    plant : Plant
        Full-grown figures and a stage.
    grown : (n_leaf,) ndarray
        From `grown_shares`.

    Returns
    -------
    Plant
        The same one if it is full grown. `nodes` stays the full-grown number.
    """
    if plant.stage is None:
        return plant
    return plant.model_copy(
        update={
            "first_leaf_height": plant.first_leaf_height * float(grown[0]),
            "stem_radius": plant.stem_radius * plant.stage,
            "petiole_radius": plant.petiole_radius * plant.stage,
        }
    )
