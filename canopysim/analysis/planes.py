"""The light on a plane: mean, extremes and spread of a map, with their errors."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.books import Estimate, Span, crossed_per_batch, mean
from canopysim.bands import PAR

if TYPE_CHECKING:
    import xarray as xr

    from canopysim.results import Result

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PlaneStatistics:
    """Figures of one map; flux densities in µmol m⁻² s⁻¹ in the band that was asked for.

    Attributes
    ----------
    mean, mean_std_err : float
        Mean over the plane (all cells have the same area) and its standard error. The error is NaN
        unless the result brings it: cells share photons, so it cannot be had from their own errors.
    minimum, minimum_std_err, maximum, maximum_std_err : float
        Least and greatest cell, with the standard error of that cell.
    min_over_mean, min_over_max : float
        Evenness ratios.
    coefficient_of_variation : float
        Spread of the cells over their mean, as the map shows it, with the noise of the cells.
    variation_without_noise : float
        The same with the cells' own variance taken off: √(s² − mean of std_err²) / mean; 0 where
        the noise explains all of the spread; NaN if an error is unknown.
    cell_std_err : float
        Typical standard error of a cell: root of the mean square. The minimum of cells this noisy
        reads too low and the maximum too high.
    """

    mean: float
    mean_std_err: float
    minimum: float
    minimum_std_err: float
    maximum: float
    maximum_std_err: float
    min_over_mean: float
    min_over_max: float
    coefficient_of_variation: float
    variation_without_noise: float
    cell_std_err: float


def plane_statistics(
    plane: xr.Dataset, *, group: str = "all", band: str = "400-700", direction: str = "down"
) -> PlaneStatistics:
    """Sum up one map of a plane.

    Parameters
    ----------
    plane : xarray.Dataset
        Variables `pfd` and `pfd_std_err` over (group, band, direction, y, x), µmol m⁻² s⁻¹, and
        optionally `mean` and `mean_std_err` over (group, band, direction).
    group, band, direction : str
        Which map: group of lights, band ("400-700" is PPFD), and "down" or "up" for the way the
        photons travel.

    Returns
    -------
    PlaneStatistics

    Raises
    ------
    KeyError
        If the result has no such group, band or direction.
    """
    at = {"group": group, "band": band, "direction": direction}
    cells = np.asarray(plane["pfd"].sel(at), np.float64).ravel()
    errors = np.asarray(plane["pfd_std_err"].sel(at), np.float64).ravel()
    known = np.isfinite(cells)
    cells, errors = cells[known], errors[known]
    if cells.size == 0:
        return PlaneStatistics(*(float("nan"),) * 11)

    average = float(plane["mean"].sel(at)) if "mean" in plane else float(cells.mean())
    mean_std_err = float(plane["mean_std_err"].sel(at)) if "mean_std_err" in plane else np.nan
    least, greatest = int(cells.argmin()), int(cells.argmax())
    variance = float(cells.var(ddof=1)) if cells.size > 1 else 0.0
    noise = float(np.mean(errors**2))
    return PlaneStatistics(
        mean=average,
        mean_std_err=float(mean_std_err),
        minimum=float(cells[least]),
        minimum_std_err=float(errors[least]),
        maximum=float(cells[greatest]),
        maximum_std_err=float(errors[greatest]),
        min_over_mean=_ratio(cells[least], average),
        min_over_max=_ratio(cells[least], cells[greatest]),
        coefficient_of_variation=_ratio(np.sqrt(variance), average),
        variation_without_noise=(
            _ratio(np.sqrt(max(variance - noise, 0.0)), average)
            if np.isfinite(noise)
            else float("nan")
        ),
        cell_std_err=float(np.sqrt(noise)),
    )


def plane_mean(
    result: Result,
    name: str,
    *,
    span: Span = PAR,
    group: str = "all",
    direction: str = "down",
) -> Estimate:
    """Mean flux density over a plane in any range of whole traced bands.

    Parameters
    ----------
    result : Result
        With planes.
    name : str
        Name of the plane.
    span : (low, high)
        Wavelengths, nm.
    group : str
        Group of lights, or "all".
    direction : str
        "down" or "up", the way the photons travel.

    Returns
    -------
    Estimate
        µmol m⁻² s⁻¹.
    """
    flux = crossed_per_batch(result, name, span=span, group=group, direction=direction)
    return mean(flux / plane_area(result.planes[name]))


def cell_areas(plane: xr.Dataset) -> Array:
    """Area of each cell that light can pass, (n_y, n_x) m2: all of it, or what lies in a room."""
    if "open_m2" in plane:
        return np.array(plane["open_m2"].values, np.float64)
    whole = float(plane.attrs["cell_x_m"]) * float(plane.attrs["cell_y_m"])
    return np.full((plane.sizes["y"], plane.sizes["x"]), whole)


def plane_area(plane: xr.Dataset) -> float:
    """Area of a plane that light can pass, m2."""
    if "open_m2" in plane:
        return float(plane["open_m2"].sum())
    n_cell = plane.sizes["x"] * plane.sizes["y"]
    return n_cell * float(plane.attrs["cell_x_m"]) * float(plane.attrs["cell_y_m"])


def _ratio(part: float, whole: float) -> float:
    """Quotient; NaN where nothing arrived."""
    return float(part / whole) if whole > 0.0 else float("nan")
