"""What a distribution amounts to: flux in cones, beam and field widths, peak, up and down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from canopysim.light.photometry.distribution import (
    Array,
    Distribution,
    flux,
    intensity_at,
    sine_weights,
    span_weights,
)

BEAM, FIELD = 0.5, 0.1
CONES_DEG = (15.0, 30.0, 45.0, 60.0, 75.0, 90.0)


@dataclass(frozen=True)
class Width:
    """Where the light of a plane ends on either side of straight ahead.

    Attributes
    ----------
    low_rad, high_rad : float
        Angles from straight ahead within -pi..pi, positive towards +x (plane 0-180) or +y (plane
        90-270); NaN for a plane without light.
    """

    low_rad: float
    high_rad: float

    @property
    def full_rad(self) -> float:
        """Full width, rad."""
        return self.high_rad - self.low_rad


@dataclass(frozen=True)
class Peak:
    """Greatest intensity and where it goes.

    Attributes
    ----------
    intensity : float
        In the distribution's unit.
    c_rad, gamma_rad : float
        Direction; C is 0 straight ahead and straight back. Of equal peaks, the one at the least
        C, then the least gamma.
    """

    intensity: float
    c_rad: float
    gamma_rad: float


@dataclass(frozen=True)
class Summary:
    """Figures of one distribution.

    Attributes
    ----------
    flux : float
        lm, or µmol s⁻¹ for photon intensities.
    share_down, share_up : float
        Shares below and above the level plane.
    peak : Peak
        Greatest intensity.
    beam, field : (Width, Width)
        To 50 % and 10 % of the plane's greatest intensity, in the planes 0-180 and 90-270.
    cones : tuple of (float, float)
        Half angle in rad, and share of the flux within it.
    """

    flux: float
    share_down: float
    share_up: float
    peak: Peak
    beam: tuple[Width, Width]
    field: tuple[Width, Width]
    cones: tuple[tuple[float, float], ...]


def cone_share(distribution: Distribution, half_angle_rad: float) -> float:
    """Share of the flux within a cone about straight ahead, exact for the bilinear table.

    Parameters
    ----------
    distribution : Distribution
        Any.
    half_angle_rad : float
        Angle between axis and surface of the cone, 0 to pi.

    Returns
    -------
    float
        Share from 0 to 1.
    """
    gamma = distribution.gamma_rad
    if not 0.0 <= half_angle_rad <= np.pi:
        raise ValueError(f"a cone's half angle is 0 to pi, not {half_angle_rad}")
    by_gamma = span_weights(distribution.c_rad) @ distribution.intensity
    # The sum over C is linear between nodes of gamma, as the table is: cut its cell there.
    inside = gamma < half_angle_rad
    nodes = np.append(gamma[inside], half_angle_rad)
    if len(nodes) == 1:
        return 0.0
    values = np.append(by_gamma[inside], np.interp(half_angle_rad, gamma, by_gamma))
    return float(values @ sine_weights(nodes) / (by_gamma @ sine_weights(gamma)))


def plane_profile(distribution: Distribution, c_rad: float) -> tuple[Array, Array]:
    """Intensities in one plane, through straight ahead from one side to the other.

    Parameters
    ----------
    distribution : Distribution
        Any.
    c_rad : float
        Half plane of positive angles; the opposite one has the negative angles.

    Returns
    -------
    angle_rad : numpy.ndarray (2 n_gamma,)
        Angles from straight ahead, ascending from -pi to pi; 0 stands twice, once for each half.
    intensity : numpy.ndarray (2 n_gamma,)
        In the distribution's unit; linear in between.
    """
    gamma = distribution.gamma_rad
    near, far = (intensity_at(distribution, c, gamma) for c in (c_rad, c_rad + np.pi))
    return np.concatenate([-gamma[::-1], gamma]), np.concatenate([far[::-1], near])


def width(distribution: Distribution, c_rad: float, share: float) -> Width:
    """Full width of a plane, between the outermost directions that reach a share of its peak.

    A dip in the middle counts as inside. A fixture that shines up and down can have a width of up
    to a full turn.

    Parameters
    ----------
    distribution : Distribution
        Any.
    c_rad : float
        The plane's half of positive angles.
    share : float
        Of the plane's own greatest intensity, above 0 and at most 1.

    Returns
    -------
    Width
        Crossings of the piecewise linear profile.
    """
    angle, value = plane_profile(distribution, c_rad)
    least = share * float(value.max())
    if least <= 0.0:
        return Width(np.nan, np.nan)
    reached = np.flatnonzero(value >= least)
    edges = []
    for inner, outward in ((int(reached[0]), -1), (int(reached[-1]), 1)):
        outer = inner + outward
        if not 0 <= outer < len(value):
            edges.append(float(angle[inner]))
            continue
        part = (value[inner] - least) / (value[inner] - value[outer])
        edges.append(float(angle[inner] + part * (angle[outer] - angle[inner])))
    return Width(*edges)


def peak(distribution: Distribution) -> Peak:
    """Greatest intensity; it is at a node, since the table is bilinear."""
    at_c, at_gamma = np.unravel_index(
        int(distribution.intensity.argmax()), distribution.intensity.shape
    )
    gamma = float(distribution.gamma_rad[at_gamma])
    c = 0.0 if gamma in (0.0, np.pi) else float(distribution.c_rad[at_c])
    return Peak(float(distribution.intensity[at_c, at_gamma]), c, gamma)


def summarise(distribution: Distribution) -> Summary:
    """Collect the figures of a distribution.

    Parameters
    ----------
    distribution : Distribution
        Any.

    Returns
    -------
    Summary
        Its figures.
    """
    down = cone_share(distribution, np.pi / 2.0)
    planes = (0.0, np.pi / 2.0)
    along, across = ([width(distribution, c, s) for s in (BEAM, FIELD)] for c in planes)
    halves = np.radians(CONES_DEG)
    return Summary(
        flux=flux(distribution),
        share_down=down,
        share_up=1.0 - down,
        peak=peak(distribution),
        beam=(along[0], across[0]),
        field=(along[1], across[1]),
        cones=tuple((float(half), cone_share(distribution, float(half))) for half in halves),
    )
