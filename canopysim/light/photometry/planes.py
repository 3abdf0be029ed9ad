"""Type C planes as a file holds them, unfolded to a full turn and a full sphere."""

from __future__ import annotations

import numpy as np

from canopysim.light.photometry.distribution import STEP_DEG
from canopysim.light.photometry.text import Remarks
from canopysim.light.photometry.words import NEAR_ANGLE, Array, Axis

# Spans, in degrees, that one or two mirrors turn into a full turn.
_MIRRORED_SPANS = (90.0, 180.0)
# First and last plane of the symmetries that LM-63 names; the last one is EULUMDAT's C270 to C90.
_STANDARD_SPANS = ((0.0, 90.0), (0.0, 180.0), (90.0, 270.0), (0.0, 360.0), (270.0, 450.0))
# Planes meet straight down and straight up; what they say there may differ by this share.
POLE_TOLERANCE = 0.03


def _near(a: float, b: float) -> bool:
    return abs(a - b) <= NEAR_ANGLE


def _closed(h: Axis, table: Array, remarks: Remarks) -> tuple[Array, Array]:
    """Make the planes span a turn exactly, the last being the first again."""
    degrees, last_line = h.degrees, h.lines[-1]
    span = float(degrees[-1] - degrees[0])
    if _near(span, 360.0):
        apart = float(np.abs(table[0] - table[-1]).max())
        if apart > 1e-6 * table.max():
            remarks.warn(
                last_line,
                f"the plane at {degrees[-1]:g} deg is the one at {degrees[0]:g} deg but differs "
                f"from it by up to {apart / table.max():.2g} of the peak; the mean of both is "
                "used, so repeat the right one",
            )
        table = table.copy()
        table[0] = table[-1] = (table[0] + table[-1]) / 2.0
        return degrees, table
    if len(degrees) > 2 and _near(span + float(degrees[-1] - degrees[-2]), 360.0):
        remarks.warn(
            last_line,
            f"the planes end at {degrees[-1]:g} deg, one even step before {degrees[0] + 360:g} "
            f"deg; the plane at {degrees[0]:g} deg is used there, so repeat it if that is right",
        )
        return np.append(degrees, degrees[0] + 360.0), np.concatenate([table, table[:1]])
    raise remarks.refusal(
        last_line,
        f"the planes go from {degrees[0]:g} to {degrees[-1]:g} deg, which is no symmetry of the "
        "standard; allowed: a single plane, 0 to 90, 0 to 180, 90 to 270 or 0 to 360",
    )


def whole_turn(h: Axis, table: Array, remarks: Remarks, turn: float = 0.0) -> tuple[Array, Array]:
    """Unfold planes to C from 0 to 360 degrees.

    One plane stands for all. Planes over a quarter or half turn that begins at a multiple of 90
    degrees are mirrored in their last plane until they make a turn: that covers the symmetries
    about 0-180, about 90-270 and about both.

    Parameters
    ----------
    h : Axis
        Angles of the planes, counter-clockwise seen from above.
    table : numpy.ndarray (n_h, n_v)
        A row for each plane.
    remarks : Remarks
        Takes warnings, makes refusals.
    turn : float
        Degrees that are added to every angle: from the file's C to ours.

    Returns
    -------
    c_deg : numpy.ndarray (n_c,)
        From 0 to 360, both included.
    table : numpy.ndarray (n_c, n_v)
        Last row equal to the first.

    Raises
    ------
    CanopysimError
        If the planes are of no symmetry.
    """
    if len(h.degrees) == 1:
        return np.linspace(0.0, 360.0, 5), np.repeat(table, 5, axis=0)
    degrees = h.degrees
    first, span = float(degrees[0]), float(degrees[-1] - degrees[0])
    mirrored = any(_near(span, s) for s in _MIRRORED_SPANS) and _near(first, 90 * round(first / 90))
    standard = any(_near(first, a) and _near(first + span, b) for a, b in _STANDARD_SPANS)
    if mirrored and not standard:
        remarks.warn(
            h.lines[0],
            f"planes from {first:g} to {first + span:g} deg are not among those of the standard; "
            "taken as mirrored in the first and the last plane, so write 0 to 90, 0 to 180 or 90 "
            "to 270 if that is wrong",
        )
    if mirrored:
        while degrees[-1] - degrees[0] < 360.0 - NEAR_ANGLE:
            degrees = np.concatenate([degrees, 2.0 * degrees[-1] - degrees[-2::-1]])
            table = np.concatenate([table, table[-2::-1]])
    else:
        degrees, table = _closed(h, table, remarks)
    return _from_zero(degrees + turn, table)


def _from_zero(degrees: Array, table: Array) -> tuple[Array, Array]:
    """Wrap a closed turn to 0..360; a plane is put in at 0 if there is none."""
    # Rounded so that 360 less a hair is 0; wrapped twice because a hair below 0 becomes 360.
    c = np.mod(np.round(np.mod(degrees[:-1], 360.0), 9), 360.0)
    order = np.argsort(c, kind="stable")
    c, table = c[order], table[:-1][order]
    if c[0] > 0.0:
        share = c[0] / (c[0] - c[-1] + 360.0)
        at_zero = (1.0 - share) * table[:1] + share * table[-1:]
        c, table = np.insert(c, 0, 0.0), np.concatenate([at_zero, table])
    return np.append(c, 360.0), np.concatenate([table, table[:1]])


def whole_sphere(v: Axis, table: Array, remarks: Remarks) -> tuple[Array, Array]:
    """Complete planes to gamma from 0 (straight down) to 180 degrees; what is left out is dark.

    Parameters
    ----------
    v : Axis
        Angles from straight down; the first is 0 or 90.
    table : numpy.ndarray (n_plane, n_v)
        A row for each plane.
    remarks : Remarks
        Takes warnings, makes refusals.

    Returns
    -------
    gamma_deg : numpy.ndarray (n_gamma,)
        From 0 to 180, both included.
    table : numpy.ndarray (n_plane, n_gamma)
        With columns of zeros added.

    Raises
    ------
    CanopysimError
        If the angles are not those of type C.
    """
    degrees = v.degrees.copy()
    first, last = float(degrees[0]), float(degrees[-1])
    if len(degrees) == 1:
        raise remarks.refusal(
            v.lines[0], f"there is one vertical angle, {first:g} deg; type C needs two or more"
        )
    if not (_near(first, 0.0) or _near(first, 90.0)):
        raise remarks.refusal(
            v.lines[0],
            f"the vertical angles begin at {first:g} deg; type C begins at 0 (straight down) or 90 "
            "(level)",
        )
    if last > 180.0 + NEAR_ANGLE:
        raise remarks.refusal(
            v.lines[-1],
            f"the vertical angles end at {last:g} deg; type C ends at 90 (level) or 180 (straight "
            "up)",
        )
    if not (_near(last, 90.0) or _near(last, 180.0)):
        edge = float(table[:, -1].max() / table.max()) if table.any() else 0.0
        remarks.warn(
            v.lines[-1],
            f"the vertical angles end at {last:g} deg, where {edge:.2g} of the peak is left; what "
            "lies beyond is taken as dark, so add angles up to 90 or 180",
        )
    degrees[0] = 90.0 if _near(first, 90.0) else 0.0
    columns = [table]
    # A last angle this near to straight up leaves no room for a step.
    if last > 180.0 - 10.0 * STEP_DEG:
        degrees[-1] = 180.0
    else:
        after = [last + STEP_DEG, 180.0] if table[:, -1].any() else [180.0]
        degrees = np.append(degrees, after)
        columns.append(np.zeros((len(table), len(after))))
    if degrees[0] > 0.0:
        before = [0.0, 90.0 - STEP_DEG] if table[:, 0].any() else [0.0]
        degrees = np.append(before, degrees)
        columns.insert(0, np.zeros((len(table), len(before))))
    return degrees, np.concatenate(columns, axis=1)


def warn_of_poles(v: Axis, table: Array, remarks: Remarks) -> None:
    """Warn if planes that meet straight down, or straight up, disagree there.

    Parameters
    ----------
    v : Axis
        Vertical angles of type C.
    table : numpy.ndarray (n_plane, n_v)
        As the file holds it.
    remarks : Remarks
        Takes the warning.
    """
    for angle, where in ((0.0, "straight down"), (180.0, "straight up")):
        at = np.flatnonzero(np.abs(v.degrees - angle) <= NEAR_ANGLE)
        if at.size and np.ptp(table[:, at[0]]) > POLE_TOLERANCE * table.max():
            low, high = table[:, at[0]].min(), table[:, at[0]].max()
            remarks.warn(
                v.lines[int(at[0])],
                f"the planes meet {where} but say {low:g} to {high:g} there; each keeps its value, "
                "so check that rows and columns of the table are not mixed up",
            )
