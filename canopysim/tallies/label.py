"""From integer rows to labelled results: the door where quanta become µmol."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from canopysim.matter.layers import cumulative_lai
from canopysim.results import Result
from canopysim.tallies.rows import BatchRows, mean_and_error

if TYPE_CHECKING:
    from canopysim.world.compile import World

Array = NDArray[np.float64]
FLUX = "umol s-1"
DENSITY = "umol m-2 s-1"
DIRECTIONS = ("down", "up")


class Labeller:
    """Sums channels into groups and bands into ranges, batch by batch, so covariance is kept.

    Parameters
    ----------
    world : World
        Names and scales.
    """

    def __init__(self, world: World) -> None:
        self.world = world
        self.groups = list(dict.fromkeys(c.group for c in world.channels))
        self.bands, self._band_matrix = band_ranges(world.edges)
        scale = np.array([c.umol_s_per_quantum for c in world.channels])
        member = np.array([[c.group == g for c in world.channels] for g in self.groups], float)
        # The last row sums all groups.
        self._group_matrix = np.vstack([member, np.ones(len(scale))]) * scale
        self.group_names = [*self.groups, "all"]

    def flux(self, counts: NDArray[np.int64]) -> Array:
        """Quanta (channel, ..., band) of one batch as µmol/s (group, ..., band or range)."""
        grouped = np.tensordot(self._group_matrix, counts.astype(np.float64), axes=(1, 0))
        return grouped @ self._band_matrix

    def launched(self) -> xr.DataArray:
        """Flux launched, group x band."""
        quanta = np.array(
            [[c.packets * share * 2.0**32 for share in c.shares] for c in self.world.channels]
        )
        flux = np.tensordot(self._group_matrix, quanta, axes=(1, 0)) @ self._band_matrix
        return xr.DataArray(
            flux,
            dims=("group", "band"),
            coords={"group": self.group_names, "band": self.bands},
            attrs={"units": FLUX, "long_name": "photon flux launched"},
        )


def band_ranges(edges: tuple[float, ...]) -> tuple[list[str], Array]:
    """Names of bands and of the sums that people ask for, and the matrix that sums them.

    Parameters
    ----------
    edges : tuple of float
        Band edges, nm; 400, 700 and 750 among them.

    Returns
    -------
    names : list of str
        The bands, then 400-700 (PPFD), 400-750 (ePPFD) and 700 to the last edge, unless a band
        already is one of these.
    matrix : numpy.ndarray (n_band, n_name)
        Ones where a band belongs to a name.
    """
    low, high = np.asarray(edges[:-1]), np.asarray(edges[1:])
    names = [f"{a:g}-{b:g}" for a, b in zip(low, high, strict=True)]
    columns = list(np.eye(len(low)))
    for first, last in ((400.0, 700.0), (400.0, 750.0), (700.0, float(edges[-1]))):
        name = f"{first:g}-{last:g}"
        if name not in names:
            names.append(name)
            columns.append(((low >= first) & (high <= last)).astype(float))
    return names, np.stack(columns, 1)


def _layers(labeller: Labeller, rows: BatchRows) -> xr.Dataset | None:
    """Absorbed by the leaves of each layer and side."""
    table = labeller.world.layers
    if table is None:
        return None
    n_layer = len(table.leaf_area)
    sinks = [i for i, s in enumerate(labeller.world.sinks) if s.end == "leaves"]
    per_batch = []
    for absorbed in rows.absorbed:
        flux = labeller.flux(absorbed[:, sinks])
        sides = flux.reshape(flux.shape[0], n_layer, 2, flux.shape[-1])
        per_batch.append(np.concatenate([sides, sides.sum(2, keepdims=True)], 2))
    mean, error = mean_and_error(np.array(per_batch))
    dims = ("group", "layer", "side", "band")
    met = _met(labeller, rows, sinks).reshape(-1, n_layer, 2)
    data: dict[str, Any] = {
        "absorbed_umol_s": (dims, mean, {"units": FLUX, "long_name": "absorbed photon flux"}),
        "absorbed_std_err": (dims, error, {"units": FLUX}),
        "n_meeting": (dims[:3], np.concatenate([met, met.sum(2, keepdims=True)], 2)),
    }
    with np.errstate(invalid="ignore", divide="ignore"):
        per_leaf = np.where(table.leaf_area > 0, 1 / table.leaf_area, np.nan)[:, None, None]
    for name, factor in (("leaf", per_leaf), ("ground", 1 / table.ground_area)):
        label = {"units": DENSITY, "long_name": f"absorbed PFD per {name} area"}
        data[f"absorbed_per_{name}_area"] = (dims, mean * factor, label)
        data[f"absorbed_per_{name}_area_std_err"] = (dims, error * factor, {"units": DENSITY})
    for name, values, unit in (
        ("z_top_m", table.z_top, "m"),
        ("z_bottom_m", table.z_bottom, "m"),
        ("leaf_area_m2", table.leaf_area, "m2"),
        ("cumulative_lai", cumulative_lai(table.leaf_area, table.ground_area), "m2 m-2"),
    ):
        data[name] = ("layer", values, {"units": unit})
    return xr.Dataset(
        data,
        coords={
            "group": labeller.group_names,
            "layer": np.arange(1, n_layer + 1),
            "side": ["upper", "lower", "both"],
            "band": labeller.bands,
        },
        attrs={"ground_area_m2": table.ground_area},
    )


def _met(labeller: Labeller, rows: BatchRows, sinks: list[int]) -> NDArray[np.int64]:
    """Meetings that left something, (group and all, sink)."""
    assert rows.met is not None
    counts = rows.met[:, sinks]
    member = np.array(
        [[c.group == g for c in labeller.world.channels] for g in labeller.groups], np.int64
    )
    return np.vstack([member @ counts, counts.sum(0)])


def _ends(labeller: Labeller, rows: BatchRows, launched: xr.DataArray) -> xr.Dataset:
    """Where the photons ended."""
    names = list(dict.fromkeys(s.end for s in labeller.world.sinks))
    member = np.array([[s.end == n for s in labeller.world.sinks] for n in names], np.int64)
    per_batch = [
        labeller.flux(np.einsum("es,csb->ceb", member, absorbed)) for absorbed in rows.absorbed
    ]
    mean, error = mean_and_error(np.array(per_batch))
    with np.errstate(invalid="ignore", divide="ignore"):
        per_launch = 1 / launched.values[:, None, :]
        share, share_error = mean * per_launch, error * per_launch
    dims = ("group", "end", "band")
    return xr.Dataset(
        {
            "flux_umol_s": (dims, mean, {"units": FLUX}),
            "std_err": (dims, error, {"units": FLUX}),
            "share": (dims, share, {"units": "1", "long_name": "share of the launched flux"}),
            "share_std_err": (dims, share_error, {"units": "1"}),
        },
        coords={"group": labeller.group_names, "end": names, "band": labeller.bands},
    ).transpose("end", "group", "band")


def _plane(labeller: Labeller, rows: BatchRows, number: int) -> xr.Dataset:
    """PFD on one plane."""
    plane = labeller.world.planes[number]
    nx, ny = plane.cells
    dx, dy = plane.cell_m
    assert rows.crossed is not None
    block = rows.crossed[:, :, plane.first_bin : plane.first_bin + 2 * nx * ny]
    block = block.reshape(len(block), block.shape[1], 2, ny, nx, block.shape[-1])
    n_group, n_band = len(labeller.group_names), len(labeller.bands)
    pfd = np.empty((n_group, n_band, 2, ny, nx))
    error = np.empty_like(pfd)
    for direction in range(2):
        for y in range(ny):
            # A line of cells at a time, so that a large map needs little more than itself.
            flux = np.stack([labeller.flux(r) for r in block[:, :, direction, y]])
            mean, std_err = mean_and_error(flux / (dx * dy), rows.fold_counts)
            pfd[:, :, direction, y] = mean.transpose(0, 2, 1)
            error[:, :, direction, y] = std_err.transpose(0, 2, 1)
    sums = np.array([labeller.flux(s[:, number]) for s in rows.crossed_sum])
    total, total_error = mean_and_error(sums / (dx * dy * nx * ny))
    dims = ("group", "band", "direction", "y", "x")
    return xr.Dataset(
        {
            "pfd": (dims, pfd, {"units": DENSITY, "long_name": "photon flux density"}),
            "pfd_std_err": (dims, error, {"units": DENSITY}),
            "mean": (dims[:3], total.transpose(0, 2, 1), {"units": DENSITY}),
            "mean_std_err": (dims[:3], total_error.transpose(0, 2, 1), {"units": DENSITY}),
        },
        coords={
            "group": labeller.group_names,
            "band": labeller.bands,
            "direction": list(DIRECTIONS),
            "x": ("x", plane.low[0] + dx * (np.arange(nx) + 0.5), {"units": "m"}),
            "y": ("y", plane.low[1] + dy * (np.arange(ny) + 0.5), {"units": "m"}),
        },
        attrs={"height_m": plane.height, "cell_x_m": dx, "cell_y_m": dy},
    )


def label(world: World, rows: BatchRows, meta: dict[str, Any]) -> Result:
    """Label the books of a run.

    Parameters
    ----------
    world : World
        What was traced.
    rows : BatchRows
        At least one batch.
    meta : dict
        Plain values that go with the result.

    Returns
    -------
    Result
        With units and standard errors.
    """
    labeller = Labeller(world)
    launched = labeller.launched()
    books = xr.Dataset(
        {
            "absorbed": (("batch", "channel", "sink", "traced_band"), np.array(rows.absorbed)),
            "crossed": (("row", "channel", "bin", "traced_band"), rows.crossed),
            "crossed_sum": (
                ("batch", "channel", "plane", "direction", "traced_band"),
                np.array(rows.crossed_sum),
            ),
            "row_batches": ("row", rows.fold_counts.astype(np.int64)),
            "met": (("channel", "sink"), rows.met),
            "counters": ("counter", rows.counters),
            "sink_end": ("sink", np.array([s.end for s in world.sinks], dtype=object)),
            "sink_layer": ("sink", [-1 if s.layer is None else s.layer + 1 for s in world.sinks]),
            "sink_side": ("sink", np.array([s.side or "" for s in world.sinks], dtype=object)),
            "channel_group": ("channel", np.array([c.group for c in world.channels], dtype=object)),
            "channel_umol_s_per_quantum": (
                "channel",
                [c.umol_s_per_quantum for c in world.channels],
                {"units": "umol s-1", "long_name": "flux that one quantum in one batch stands for"},
            ),
        },
        coords={"counter": ["packets", "meetings", "untraced", "deepest"]},
        attrs={"units": "quanta of 2^-32 packet"},
    )
    return Result(
        layers=_layers(labeller, rows),
        planes={p.name: _plane(labeller, rows, i) for i, p in enumerate(world.planes)},
        ends=_ends(labeller, rows, launched),
        launched=launched,
        rows=books,
        meta={**meta, "groups": labeller.groups},
    )
