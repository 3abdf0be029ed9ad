"""From flight lengths in balls to what a meter reads, and what is truly there."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from canopysim.bands import within
from canopysim.tallies.label_leaning import CHANGES, leaning_changes
from canopysim.tallies.rows import BatchRows, mean_and_error

if TYPE_CHECKING:
    from canopysim.tallies.label import Labeller

Array = NDArray[np.float64]
FACINGS = ("normal", "meter", "all sides", "right", "left", "back", "front", "up", "down")
DENSITY = "umol m-2 s-1"


def label_probes(labeller: Labeller, rows: BatchRows) -> xr.Dataset | None:
    """Label the probes of a run; None where there are none.

    Lengths are over the radius r of the ball; its volume is 4/3 pi r^3, so one quantum of length
    stands for 3 / (4 pi r^2) quanta per area.
    """
    probes = labeller.world.probes
    if not probes:
        return None
    assert rows.splits is not None
    counts = rows.fold_counts
    per_area = np.array([3 / (4 * math.pi * p.radius**2) for p in probes])
    # (row, channel, probe, facing, band) to (row, group, probe, facing, name)
    flux = (
        labeller.flux_of_rows(rows.splits.probed[..., : len(FACINGS), :]) * per_area[:, None, None]
    )
    pfd, error = mean_and_error(flux, counts)
    reading, ideal, leaning = _readings(labeller, rows, per_area)
    value, value_error = mean_and_error(reading, counts)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = reading.sum(0) / ideal.sum(0)
        _, ratio_error = mean_and_error(reading - ratio * ideal, counts)
        ratio_error = ratio_error * counts.sum() / ideal.sum(0)
    # An ideal meter reads the truth, in every batch; of one batch nothing is known.
    if (counts > 0).sum() > 1:
        ratio_error = np.where(np.isfinite(ratio) & ~np.isfinite(ratio_error), 0.0, ratio_error)
    dims = ("group", "probe")
    data: dict[str, Any] = {
        "pfd": ((*dims, "facing", "band"), pfd, {"units": DENSITY}),
        "pfd_std_err": ((*dims, "facing", "band"), error, {"units": DENSITY}),
        "reading": (dims, value, {"long_name": "what the meter reads"}),
        "reading_std_err": (dims, value_error),
        "over_true": (dims, ratio, {"long_name": "reading over that of an ideal sensor there"}),
        "over_true_std_err": (dims, ratio_error),
        **({} if leaning is None else leaning_changes(reading, leaning, counts, probes)),
        "meter": ("probe", np.array([p.meter for p in probes], object)),
        "reading_unit": ("probe", np.array([p.response.unit for p in probes], object)),
        "x_m": ("probe", [p.centre[0] for p in probes], {"units": "m"}),
        "y_m": ("probe", [p.centre[1] for p in probes], {"units": "m"}),
        "z_m": ("probe", [p.centre[2] for p in probes], {"units": "m"}),
        "radius_m": ("probe", [p.radius for p in probes], {"units": "m"}),
    }
    return xr.Dataset(
        data,
        coords={
            "group": labeller.group_names,
            "probe": np.array([p.name for p in probes], object),
            "facing": list(FACINGS),
            **({} if leaning is None else {"change": list(CHANGES)}),
            **labeller.band_coords,
        },
    )


def _readings(
    labeller: Labeller, rows: BatchRows, per_area: Array
) -> tuple[Array, Array, Array | None]:
    """Find what meters read, and what ideal 400-700 nm sensors would read, (row, group, probe).

    Then what the meters read when they lean, (row, group, probe, face), or None if none does.

    The spectral response of each band is that of the channel's own light as it was launched.
    """
    world = labeller.world
    assert rows.splits is not None
    counts = rows.splits.probed.astype(np.float64)
    spectrum = {c: s for s, c in zip(world.strip_spectrum, world.arrays.strip_channel, strict=True)}
    par = within(world.edges)
    reading = np.zeros((len(counts), len(world.channels), len(world.probes)))
    ideal = np.zeros_like(reading)
    lean = np.zeros((*reading.shape, counts.shape[3] - len(FACINGS)))
    for channel in range(len(world.channels)):
        for k, probe in enumerate(world.probes):
            weight = probe.factor * probe.per_band[spectrum[channel]]
            reading[:, channel, k] = counts[:, channel, k, 1] @ weight * per_area[k]
            lean[:, channel, k] = counts[:, channel, k, len(FACINGS) :] @ weight * per_area[k]
            ideal[:, channel, k] = counts[:, channel, k, 0][:, par].sum(-1) * per_area[k]
    leaning = labeller.grouped(lean) if lean.shape[-1] else None
    return labeller.grouped(reading), labeller.grouped(ideal), leaning
