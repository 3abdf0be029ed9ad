"""What a meter reads when it leans a little, unawares: by the side that it leans to.

Four leaning faces are tallied beside the level one, a quarter turn apart. The reading over the side
phi that it leans to is a + b cos phi + c sin phi + d cos 2 phi through these four. The first two
terms are all there is for a meter with a cosine response, as long as no light grazes its face; what
the last leaves out, sin 2 phi, is of the order of the angle squared.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from canopysim.tallies.rows import mean_and_error

if TYPE_CHECKING:
    from canopysim.world.probes import ProbeTable

Array = NDArray[np.float64]
N_LEAN = 4
# Sides that are looked at for the least and the greatest reading.
SIDES = np.linspace(0.0, 2.0 * np.pi, 720, endpoint=False)
CHANGES = ("lowest", "highest", "rms")
# Rows a, b, c, d over the faces at 0, 90, 180 and 270 degrees.
_TERMS = np.array(
    [[0.25, 0.25, 0.25, 0.25], [0.5, 0, -0.5, 0], [0, 0.5, 0, -0.5], [0.25, -0.25, 0.25, -0.25]]
)
# Means of the squares of 1, cos, sin and cos 2 over all sides.
_SQUARES = np.array([1.0, 0.5, 0.5, 0.5])


def leaning_changes(
    level: Array, leaning: Array, counts: Array, probes: tuple[ProbeTable, ...]
) -> dict[str, Any]:
    """Find how levelling errors change readings, as shares of the level reading.

    Parameters
    ----------
    level : numpy.ndarray (n_row, n_group, n_probe)
        Readings of the face as it is meant to lie, row by row.
    leaning : numpy.ndarray (n_row, n_group, n_probe, 4)
        Readings of the four leaning faces.
    counts : numpy.ndarray (n_row,)
        Batches in every row.
    probes : tuple of ProbeTable
        Their levelling errors; 0 where a meter has none.

    Returns
    -------
    dict
        Variables of a dataset over group, probe and change ("lowest" and "highest" over all sides,
        "rms" over them): `leaning` and `leaning_std_err`; over group and probe,
        `leaning_lowest_turn` and `leaning_highest_turn`, the sides in degrees that these lean to
        (0 is +x for a face that looks up, or else where it leans already); `levelling_deg` over
        probe. NaN where a meter has no levelling error.
    """
    level_mean, _ = mean_and_error(level, counts)
    with np.errstate(invalid="ignore", divide="ignore"):
        # Terms a, b, c, d row by row, over the mean level reading.
        terms = leaning @ _TERMS.T / level_mean[..., None]
        base = level / level_mean
        change = terms - base[..., None] * [1.0, 0.0, 0.0, 0.0]
        mean, _ = mean_and_error(change, counts)
        error = _ratio_error(change, base, mean, counts)
        # Noise lengthens a vector: its square is too large by its variances.
        length = mean[..., 1] ** 2 + mean[..., 2] ** 2
        noise = np.nan_to_num(error[..., 1] ** 2 + error[..., 2] ** 2)
        kept = np.ones_like(mean)
        kept[..., 1:3] = np.sqrt(np.clip(1.0 - noise / length, 0.0, 1.0))[..., None]
        waves = np.stack([np.ones_like(SIDES), np.cos(SIDES), np.sin(SIDES), np.cos(2 * SIDES)], 1)
        # No meter reads less than nothing, which the terms may where light grazes.
        over_sides = np.maximum((mean * kept) @ waves.T, -1.0)
        found, errors, turns = [], [], []
        for best in (over_sides.argmin(-1), over_sides.argmax(-1)):
            found.append(np.take_along_axis(over_sides, best[..., None], -1)[..., 0])
            # At an extreme the side itself may shift without changing the reading.
            errors.append(_ratio_error((change * waves[best]).sum(-1), base, found[-1], counts))
            turns.append(np.degrees(SIDES[best]))
        square = (mean**2 * _SQUARES).sum(-1)
        bias = np.nan_to_num((error**2 * _SQUARES).sum(-1))
        found.append(np.sqrt(np.clip(square - bias, 0.0, None)))
        slope = mean * _SQUARES / np.sqrt(square)[..., None]
        along = (slope * change).sum(-1)
        errors.append(_ratio_error(along, base, (slope * mean).sum(-1), counts))
    angle = np.array([probe.levelling for probe in probes])
    asked = angle > 0
    blank = np.where(asked, 1.0, np.nan)
    dims = ("group", "probe")
    return {
        "leaning": (
            (*dims, "change"),
            np.stack(found, -1) * blank[:, None],
            {"units": "1", "long_name": "change of the reading when the meter leans"},
        ),
        "leaning_std_err": ((*dims, "change"), np.stack(errors, -1) * blank[:, None]),
        "leaning_lowest_turn": (dims, turns[0] * blank, {"units": "degree"}),
        "leaning_highest_turn": (dims, turns[1] * blank, {"units": "degree"}),
        "levelling_deg": ("probe", np.degrees(angle) * blank, {"units": "degree"}),
    }


def _ratio_error(change: Array, base: Array, mean: Array, counts: Array) -> Array:
    """Find the error of the ratio of sums of `change` to those of `base`, whose mean is 1."""
    shape = base.shape + (1,) * (change.ndim - base.ndim)
    # A change is taken off the level reading already, so what is left moves with the ratio alone.
    _, error = mean_and_error(change - mean * base.reshape(shape), counts)
    return error
