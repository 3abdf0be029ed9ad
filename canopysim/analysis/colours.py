"""Colours of the light that arrives: blue share, red to far-red and yield photon flux, with errors.

Within a band photons keep the make-up of their light's launch: what walls and leaves take out of
one end of a band is not followed, so the yield of 700-750 nm under leaves is a little too high.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.books import UNKNOWN, Estimate, channel_scale, is_traced, traced_edges
from canopysim.analysis.far_red import FAR_RED, RED
from canopysim.bands import PAR
from canopysim.tallies.rows import mean_and_error

if TYPE_CHECKING:
    from canopysim.results import Result

Array = NDArray[np.float64]
BLUE = (400.0, 500.0)
NO_YIELD = "this result does not tell the yield of its lights' photons; trace it again"


@dataclass(frozen=True)
class Arriving:
    """Colours of light at one place.

    Attributes
    ----------
    blue_share : Estimate
        Photons of 400-500 nm over those of 400-700 nm.
    red_to_far_red : Estimate
        Photons of 600-700 nm over those of 700-800 nm.
    ypfd : Estimate
        Yield photon flux density, µmol m⁻² s⁻¹.
    ypf_per_par : Estimate
        The same over the photons of 400-700 nm.
    """

    blue_share: Estimate
    red_to_far_red: Estimate
    ypfd: Estimate
    ypf_per_par: Estimate


def on_plane(
    result: Result, plane: str, *, group: str = "all", direction: str = "down"
) -> Arriving:
    """Colours of the light that crosses a plane, mean over all of it.

    Parameters
    ----------
    result : Result
        With planes.
    plane : str
        Name of the plane.
    group : str
        Group of lights, or "all".
    direction : str
        "down" or "up", the way the photons travel.

    Raises
    ------
    ValueError
        For a result of an older program, which does not hold the yields.
    """
    here = result.planes[plane]
    at = {
        "plane": list(result.planes).index(plane),
        "direction": here["direction"].values.tolist().index(direction),
    }
    quanta = result.rows["crossed_sum"].isel(at).transpose("batch", "channel", "traced_band").values
    area = here.attrs["cell_x_m"] * here.attrs["cell_y_m"] * here.sizes["x"] * here.sizes["y"]
    return _colours(result, quanta.astype(np.float64) / area, group, np.ones(len(quanta)))


def at_probe(result: Result, probe: str, *, group: str = "all", facing: str = "normal") -> Arriving:
    """Colours of the light at a probe.

    Parameters
    ----------
    result : Result
        With probes.
    probe : str
        Name of the probe.
    group : str
        Group of lights, or "all".
    facing : str
        As the probes of a result have it: "normal", "all sides", "right", ...
    """
    probes = result.probes
    assert probes is not None
    names, facings = (probes[key].values.tolist() for key in ("probe", "facing"))
    at = {"probe_number": names.index(probe), "facing_number": facings.index(facing)}
    rows = result.rows["probed"].isel(at).transpose("row", "channel", "traced_band").values
    radius = float(probes["radius_m"].sel(probe=probe))
    counts = np.asarray(result.rows["row_batches"].values, np.float64)
    return _colours(result, rows * (3 / (4 * np.pi * radius**2)), group, counts)


def _colours(result: Result, quanta: Array, group: str, counts: Array) -> Arriving:
    """Figures of rows of quanta per area, (row, channel, band), of so many batches each."""
    stated = result.meta.get("channel_yield")
    if not stated:
        raise ValueError(NO_YIELD)
    flux = quanta * channel_scale(result, group)[:, None]
    bands = flux.sum(1)
    weighed = np.einsum("rcb,cb->r", flux, np.array(stated, np.float64))
    par = bands[:, _inside(result, PAR)].sum(1)
    value, error = mean_and_error(weighed, counts)

    def share(part: tuple[float, float], whole: tuple[float, float]) -> Estimate:
        if not (is_traced(result, part) and is_traced(result, whole)):
            return UNKNOWN
        below = bands[:, _inside(result, whole)].sum(1)
        return _ratio(bands[:, _inside(result, part)].sum(1), below, counts)

    return Arriving(
        blue_share=share(BLUE, PAR),
        red_to_far_red=share(RED, FAR_RED),
        ypfd=Estimate(float(value), float(error)),
        ypf_per_par=_ratio(weighed, par, counts),
    )


def _inside(result: Result, span: tuple[float, float]) -> NDArray[np.bool_]:
    low, high = traced_edges(result)
    return np.asarray((low >= span[0]) & (high <= span[1]), np.bool_)


def _ratio(part: Array, whole: Array, counts: Array) -> Estimate:
    """Ratio of two means over the same rows, with their covariance (the delta method)."""
    total = float(whole.sum())
    if not total > 0.0:
        return UNKNOWN
    value = float(part.sum()) / total
    left = part - value * whole
    if not left.any():
        # The same in every batch, as of a light of one colour; of one batch nothing is known.
        return Estimate(value, 0.0 if (counts > 0).sum() > 1 else float("nan"))
    _, error = mean_and_error(left, counts)
    return Estimate(value, float(error) * float(counts.sum()) / total)
