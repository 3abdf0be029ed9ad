"""What walls and ceiling take of the light."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from canopysim.analysis.books import Estimate, absorbed_per_batch, mean

if TYPE_CHECKING:
    from canopysim.results import Result

_WALL = re.compile(
    r"(patch \d+ of the )?(ceiling|front|back|left|right)( \(.*\))?|walls", re.DOTALL
)


def is_wall(end: str) -> bool:
    """Whether an end is the ceiling, a wall, or a patch on one of them; the floor is none."""
    return _WALL.fullmatch(end) is not None


def walls_share(result: Result, *, group: str = "all", band: str = "400-700") -> Estimate:
    """Share of the launched photons that walls, ceiling and the patches on them absorb.

    Parameters
    ----------
    result : Result
        Any.
    group, band : str
        Which light.

    Returns
    -------
    Estimate
        Share, 0 to 1; NaN if nothing was launched.
    """
    launched = float(result.launched.sel(group=group, band=band))
    if not launched > 0.0:
        return Estimate(float("nan"), float("nan"))
    names = np.asarray(result.rows["sink_end"], object)
    walls = np.array([is_wall(str(name)) for name in names], np.float64)
    flux = mean(absorbed_per_batch(result, walls, band=band, group=group))
    return Estimate(flux.value / launched, flux.std_err / launched)
