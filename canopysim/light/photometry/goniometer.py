"""Photometric types A and B: what their angles mean, and their tables resampled onto ours.

Both look along the beam axis a (V = H = 0), with an axis u up and an axis r to the right of one
who stands behind the fixture and looks where it shines: r = a x u. V > 0 is up and H > 0 is right
(clockwise seen from above, as ANSI/IESNA LM-63-02 says for A and B).

- Type A: half planes share the upright axis u. H turns about u, V rises from the level plane:
  d = cos V (cos H a + sin H r) + sin V u, and the solid angle is cos V dV dH.
- Type B: half planes share the level axis r. V turns about r, H swings out of the upright plane:
  d = cos H (cos V a + sin V u) + sin H r, and the solid angle is cos H dH dV.

In the fixture's frame light leaves towards -z, so a = -z. The polar axis of type A is taken as the
fixture's length and that of type B as its width, so u lies along x and r along y. The sign is that
of a fixture that hangs level and is tilted up towards its +x end: that end comes to be on top.
Hence u = +x and r = a x u = -y.

How sure this is: the two solid angles and the sense of H and V are the standard's; which edge of
the opening is upright is common usage, and u = +x rather than -x a convention of this program (the
other choice is a half turn about z).
"""

from __future__ import annotations

import numpy as np

from canopysim.light.photometry.distribution import (
    STEP_DEG,
    bilinear,
    direction,
    sine_weights,
    span_weights,
)
from canopysim.light.photometry.text import Remarks
from canopysim.light.photometry.words import NEAR_ANGLE, SAME_ANGLE, Array, Axis

# Grids that are tried, in degrees, until the flux agrees to the share below.
STEPS_DEG = (1.0, 0.5, 0.25)
AIMED_ERROR = 1e-4
# Beyond the first a person is told; beyond the second the table is too fine for any grid here.
DOUBTFUL_ERROR, GREATEST_ERROR = 0.01, 0.2


def _axes(directions: Array) -> tuple[Array, Array, Array]:
    """Components ahead, up and right of directions in the fixture's frame."""
    return -directions[..., 2], directions[..., 0], -directions[..., 1]


def angles_of(directions: Array, kind: str) -> tuple[Array, Array]:
    """V and H of directions in the fixture's frame.

    Parameters
    ----------
    directions : numpy.ndarray (..., 3)
        Unit vectors.
    kind : str
        "A" or "B".

    Returns
    -------
    v_deg, h_deg : numpy.ndarray (...)
        The polar angle (V of type A, H of type B) within -90..90, the other within -180..180.
    """
    ahead, up, right = _axes(directions)
    if kind == "A":
        return np.degrees(np.arcsin(np.clip(up, -1, 1))), np.degrees(np.arctan2(right, ahead))
    return np.degrees(np.arctan2(up, ahead)), np.degrees(np.arcsin(np.clip(right, -1, 1)))


def _mirrored(axis: Axis, table: Array, along: int) -> tuple[Axis, Array]:
    """Mirror a table about the angle 0 that it begins with."""
    degrees = np.concatenate([-axis.degrees[:0:-1], axis.degrees])
    lines = axis.lines[:0:-1] + axis.lines
    flipped = np.flip(table, axis=along).take(np.arange(len(axis.degrees) - 1), axis=along)
    return Axis(degrees, lines), np.concatenate([flipped, table], axis=along)


def _completed(
    v: Axis, h: Axis, table: Array, kind: str, remarks: Remarks
) -> tuple[Axis, Axis, Array]:
    """Check the angles, and mirror what the file gives one side of."""
    limits = {"V": 90.0 if kind == "A" else 180.0, "H": 180.0 if kind == "A" else 90.0}
    for name, axis in (("V", v), ("H", h)):
        for at in (0, -1):
            if abs(axis.degrees[at]) > limits[name] + NEAR_ANGLE:
                raise remarks.refusal(
                    axis.lines[at],
                    f"the angle {name} = {axis.degrees[at]:g} deg does not exist in type {kind}; "
                    f"it goes from -{limits[name]:g} to {limits[name]:g}",
                )
        if len(axis.degrees) < 2 or axis.degrees[0] > NEAR_ANGLE or axis.degrees[-1] < NEAR_ANGLE:
            raise remarks.refusal(
                axis.lines[0],
                f"the angles {name} go from {axis.degrees[0]:g} to {axis.degrees[-1]:g} deg; type "
                f"{kind} needs -90 to 90, or 0 to 90 for two equal sides",
            )
        if axis.degrees[-1] < 90.0 - NEAR_ANGLE:
            remarks.warn(
                axis.lines[-1],
                f"the angles {name} end at {axis.degrees[-1]:g} deg; what lies beyond is taken as "
                "dark, so add angles up to 90",
            )
    if abs(v.degrees[0]) <= NEAR_ANGLE:
        remarks.warn(
            v.lines[0],
            f"the angles V begin at 0 deg; the lower half is taken as equal to the upper one, so "
            f"write V from -90 to 90 if type {kind} holds a beam that is not",
        )
        v, table = _mirrored(v, table, 1)
    if abs(h.degrees[0]) <= NEAR_ANGLE:
        h, table = _mirrored(h, table, 0)
    return v, h, table


def _file_flux(v: Axis, h: Axis, table: Array, kind: str) -> float:
    """Flux of the bilinear table in its own angles, exactly; table is (n_h, n_v)."""
    if kind == "A":
        polar, turning, rows = v.degrees, h.degrees, table
    else:
        polar, turning, rows = h.degrees, v.degrees, table.T
    # Measured from the pole, the cosine of the elevation is a sine.
    weights = sine_weights(np.radians(polar + 90.0))
    return float(span_weights(np.radians(turning)) @ rows @ weights)


def _seen(v: Axis, h: Axis, table: Array, kind: str, c: Array, gamma: Array) -> Array:
    """Values of a table in the directions of some planes, (n_c, n_gamma); 0 beyond its angles."""
    found_v, found_h = angles_of(direction(np.radians(c)[:, None], np.radians(gamma)), kind)
    seen = np.ones(found_v.shape, bool)
    for axis, found in ((v, found_v), (h, found_h)):
        # Rounding may put a direction on the border a hair outside.
        seen &= (found >= axis.degrees[0] - 1e-9) & (found <= axis.degrees[-1] + 1e-9)
    found_v = np.clip(found_v, v.degrees[0], v.degrees[-1])
    found_h = np.clip(found_h, h.degrees[0], h.degrees[-1])
    return np.where(seen, bilinear(h.degrees, v.degrees, table, found_h, found_v), 0.0)


def _resampled(v: Axis, h: Axis, table: Array, kind: str, step: float) -> tuple[Array, Array]:
    """Gamma nodes in degrees, and the table on C by gamma with this step."""
    gamma = np.linspace(0.0, 180.0, round(180.0 / step) + 1)
    gamma = np.insert(gamma, len(gamma) // 2 + 1, 90.0 + STEP_DEG)
    c = np.linspace(0.0, 360.0, round(360.0 / step) + 1)
    # A few planes at a time: the finest grid has half a million directions.
    values = np.concatenate(
        [_seen(v, h, table, kind, some, gamma) for some in np.array_split(c, 1 + len(c) // 100)]
    )
    # All planes meet ahead and behind, and 360 is 0.
    values[:, [0, -1]] = values[:1, [0, -1]]
    values[-1] = values[0]
    return gamma, values


def resample(
    v: Axis, h: Axis, table: Array, kind: str, remarks: Remarks
) -> tuple[Array, Array, Array, float]:
    """Turn a table of type A or B into one over C and gamma, with the flux of the file.

    Parameters
    ----------
    v, h : Axis
        Angles of the file; H from 0, and V from 0, stand for two equal sides.
    table : numpy.ndarray (n_h, n_v)
        A row for each H.
    kind : str
        "A" or "B".
    remarks : Remarks
        Takes warnings, makes refusals.

    Returns
    -------
    c_deg, gamma_deg : numpy.ndarray (n_c,), (n_gamma,)
        0 to 360 and 0 to 180, both included, every degree or finer.
    table : numpy.ndarray (n_c, n_gamma)
        Scaled so that its flux is exactly that of the file's table, bilinear in V and H.
    error : float
        Share by which the flux was off before it was scaled.

    Raises
    ------
    CanopysimError
        If the angles are not those of the type, or the table is too fine for a quarter degree.
    """
    v, h, table = _completed(v, h, table, kind, remarks)
    wanted = _file_flux(v, h, table, kind)
    for step in STEPS_DEG:
        gamma, values = _resampled(v, h, table, kind, step)
        c = np.linspace(0.0, 360.0, len(values))
        got = float(span_weights(np.radians(c)) @ values @ sine_weights(np.radians(gamma)))
        error = got / wanted - 1.0 if wanted > 0.0 else 0.0
        if abs(error) <= AIMED_ERROR:
            break
    if abs(error) > GREATEST_ERROR:
        raise remarks.refusal(
            v.lines[0],
            f"the beam is finer than a quarter of a degree (its flux came out {error:+.0%}); ask "
            "for a file with even steps of the angles",
        )
    if abs(error) > DOUBTFUL_ERROR:
        remarks.warn(
            v.lines[0],
            f"resampling the table to a quarter of a degree changed its flux by {error:+.1%}, "
            "which was scaled away; ask for a file with even steps of the angles",
        )
    return c, *_without_dark(gamma, values / (1.0 + error)), error


def _without_dark(gamma: Array, values: Array) -> tuple[Array, Array]:
    """Leave out all but the ends of the dark range behind the last light."""
    lit = np.flatnonzero(values.any(axis=0))
    last = int(lit[-1]) + 1 if lit.size else 0
    keep = np.arange(len(gamma)) <= last
    keep[-1] = True
    return gamma[keep], values[:, keep]


def round_beam(v: Axis, table: Array, remarks: Remarks) -> tuple[Axis, Array]:
    """Read a table with a single H as a beam that is round about its axis.

    Parameters
    ----------
    v : Axis
        Angles V, from 0 or from a negative angle.
    table : numpy.ndarray (1, n_v)
        Its intensities.
    remarks : Remarks
        Takes warnings, makes refusals.

    Returns
    -------
    gamma : Axis
        Angles from the axis, from 0.
    table : numpy.ndarray (1, n_gamma)
        Mean of the sides above and below; a side that ends while lit falls to nothing within a
        millionth of a radian.

    Raises
    ------
    CanopysimError
        If V does not hold 0 as its first or an inner angle.
    """
    low, high = float(v.degrees[0]), float(v.degrees[-1])
    if low > NEAR_ANGLE or high < NEAR_ANGLE:
        raise remarks.refusal(
            v.lines[0],
            f"the angles V go from {low:g} to {high:g} deg; a single H needs V from 0 or from a "
            "negative angle up",
        )
    remarks.warn(
        v.lines[0],
        "there is a single angle H; the beam is taken as round about its axis, so ask for a file "
        "with more angles H if it is not",
    )
    if abs(low) <= SAME_ANGLE:
        return Axis(np.append(0.0, v.degrees[1:]), v.lines), table
    nodes = np.concatenate([[0.0], np.abs(v.degrees[np.abs(v.degrees) > NEAR_ANGLE])])
    gamma = np.unique(np.round(nodes, 9))
    gamma = gamma[np.concatenate([[True], np.diff(gamma) > SAME_ANGLE])]
    # The side that ends first, if it does, and is lit there. The step is smaller than what angles
    # may differ by and be the same.
    inner = min(-low, high)
    after = np.searchsorted(gamma, inner + SAME_ANGLE)
    if after < len(gamma) and table[0, 0 if -low < high else -1] > 0.0:
        gamma = np.insert(gamma, after, inner + STEP_DEG)
    sides = [np.interp(s * gamma, v.degrees, table[0], left=0.0, right=0.0) for s in (1.0, -1.0)]
    return Axis(gamma, (v.lines[0],) * len(gamma)), (sides[0] + sides[1])[None, :] / 2.0
