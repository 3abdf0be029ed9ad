"""How a leaf answers to light: the non-rectangular hyperbola, and where it breaks even."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from canopysim.library.crops import Crop

Array = NDArray[np.float64]
# Of the photons of 400-750 nm, up to this share far-red ones worked as well as others did (Zhen and
# Bugbee 2020, Plant Cell Environ. 43:1259); alone they do next to nothing.
MOST_FAR_RED = 0.3


@dataclass(frozen=True)
class LeafResponse:
    """Parameters of a leaf, or of many.

    Attributes
    ----------
    pm : float or numpy.ndarray
        Gross photosynthesis in saturating light, µmol CO2 m⁻² s⁻¹ of one-sided leaf area.
    phi : float
        Initial slope, mol CO2 per mol of absorbed photons.
    theta : float
        Curvature: 0 is a rectangular hyperbola, 1 two straight lines.
    rd : float or numpy.ndarray
        Dark respiration, µmol CO2 m⁻² s⁻¹.
    """

    pm: ArrayLike
    phi: float
    theta: float
    rd: ArrayLike

    @classmethod
    def of(cls, crop: Crop, capacity: ArrayLike = 1.0) -> LeafResponse:
        """Leaves of a crop whose pm and rd are both so many times the crop's."""
        times = np.asarray(capacity, np.float64)
        return cls(crop.pm.value * times, crop.phi.value, crop.theta.value, crop.rd.value * times)


def gross(absorbed: ArrayLike, leaf: LeafResponse) -> Array:
    """Gross photosynthesis of leaves in light.

    Parameters
    ----------
    absorbed : array_like
        Absorbed PPFD (400–700 nm), µmol m⁻² s⁻¹ of one-sided leaf area.
    leaf : LeafResponse
        Broadcast against it.

    Returns
    -------
    numpy.ndarray
        µmol CO2 m⁻² s⁻¹: the lower root of θP² − (φI + Pm)P + φI·Pm = 0 (Thornley 1976,
        Mathematical Models in Plant Physiology), in the form that also holds where θ is 0.
    """
    supply = leaf.phi * np.asarray(absorbed, np.float64)
    capacity = np.asarray(leaf.pm, np.float64)
    # The discriminant as a sum of squares loses no digits where the two are alike.
    both = supply * capacity
    root = np.sqrt((supply - capacity) ** 2 + 4.0 * (1.0 - leaf.theta) * both)
    # A leaf without light and without capacity gives nothing.
    return np.asarray(2.0 * both / np.maximum(supply + capacity + root, 1e-300), np.float64)


def net(absorbed: ArrayLike, leaf: LeafResponse) -> Array:
    """Net photosynthesis: gross less dark respiration, µmol CO2 m⁻² s⁻¹."""
    return gross(absorbed, leaf) - np.asarray(leaf.rd, np.float64)


def compensation_point(leaf: LeafResponse) -> Array:
    """Absorbed PPFD at which a leaf's net photosynthesis is zero.

    Returns
    -------
    numpy.ndarray
        µmol m⁻² s⁻¹: Rd(Pm − θRd) / (φ(Pm − Rd)), from P = Rd in the quadratic; infinite where
        respiration is not below capacity.
    """
    pm, rd = np.asarray(leaf.pm, np.float64), np.asarray(leaf.rd, np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        light = rd * (pm - leaf.theta * rd) / (leaf.phi * (pm - rd))
    return np.where(rd < pm, light, np.inf)


def useful_far_red(par: ArrayLike, far_red: ArrayLike) -> Array:
    """Absorbed 700–750 nm that may count like 400–700 nm beside it.

    Parameters
    ----------
    par, far_red : array_like
        Absorbed 400–700 and 700–750 nm, µmol m⁻² s⁻¹.

    Returns
    -------
    numpy.ndarray
        At most `MOST_FAR_RED` of the two together, µmol m⁻² s⁻¹.
    """
    most = MOST_FAR_RED / (1.0 - MOST_FAR_RED)
    return np.minimum(np.asarray(far_red, np.float64), most * np.asarray(par, np.float64))
