"""From integer rows to labelled results: the door where quanta become µmol."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from canopysim.bands import ranges
from canopysim.matter.layers import cumulative_lai
from canopysim.matter.parts import PLANTED
from canopysim.results import Result
from canopysim.tallies.label_probes import label_probes
from canopysim.tallies.rows import BatchRows, mean_and_error
from canopysim.transport.arrays import PACKET_QUANTA
from canopysim.world.sinks import LEAF

if TYPE_CHECKING:
    from canopysim.world.compile import World

Array = NDArray[np.float64]
FLUX = "umol s-1"
DENSITY = "umol m-2 s-1"
DIRECTIONS = ("down", "up")
SLAB_FLOATS = 4_000_000


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
        self.bands, spans, self._band_matrix = ranges(world.edges)
        self.band_coords = {
            "band": self.bands,
            "low_nm": ("band", [low for low, _ in spans], {"units": "nm"}),
            "high_nm": ("band", [high for _, high in spans], {"units": "nm"}),
        }
        scale = np.array([c.umol_s_per_quantum for c in world.channels])
        member = np.array([[c.group == g for c in world.channels] for g in self.groups], float)
        # The last row sums all groups.
        self._group_matrix = np.vstack([member, np.ones(len(scale))]) * scale
        self.group_names = [*self.groups, "all"]

    def flux(self, counts: NDArray[np.int64]) -> Array:
        """Quanta (channel, ..., band) of one batch as µmol/s (group, ..., band or range)."""
        grouped = np.tensordot(self._group_matrix, counts.astype(np.float64), axes=(1, 0))
        return grouped @ self._band_matrix

    def flux_of_rows(self, counts: NDArray[np.int64]) -> Array:
        """Do as `flux` for many rows: (row, channel, ..., band) to (row, group, ..., name)."""
        grouped = np.tensordot(counts.astype(np.float64), self._group_matrix, axes=(1, 1))
        return np.moveaxis(grouped, -1, 1) @ self._band_matrix

    def grouped(self, rows: Array) -> Array:
        """Sum channels (row, channel, ...) into groups and all: (row, group, ...), in µmol/s."""
        return np.moveaxis(np.tensordot(rows, self._group_matrix, axes=(1, 1)), -1, 1)

    def launched(self) -> xr.DataArray:
        """Flux launched, group x band."""
        quanta = np.array(
            [[c.packets * share * PACKET_QUANTA for share in c.shares] for c in self.world.channels]
        )
        flux = np.tensordot(self._group_matrix, quanta, axes=(1, 0)) @ self._band_matrix
        return xr.DataArray(
            flux,
            dims=("group", "band"),
            coords={"group": self.group_names, **self.band_coords},
            attrs={"units": FLUX, "long_name": "photon flux launched"},
        )


def _texts(values: Iterable[str]) -> NDArray[np.object_]:
    """Texts as NetCDF wants them."""
    return np.array(list(values), dtype=object)


def _layers(labeller: Labeller, rows: BatchRows) -> xr.Dataset | None:
    """Absorbed by the leaves of each layer and side."""
    table = labeller.world.layers
    if table is None:
        return None
    n_layer = len(table.leaf_area)
    sinks = [i for i, s in enumerate(labeller.world.sinks) if s.kind == LEAF]
    per_batch = []
    for absorbed in rows.absorbed:
        # The sinks of the leaves follow each other: layer by layer, upper side before lower.
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
            **labeller.band_coords,
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
    # Sinks of one end follow each other.
    first = [next(i for i, s in enumerate(labeller.world.sinks) if s.end == n) for n in names]
    per_batch = [
        labeller.flux(np.add.reduceat(absorbed, first, axis=1)) for absorbed in rows.absorbed
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
        coords={"group": labeller.group_names, "end": names, **labeller.band_coords},
    ).transpose("end", "group", "band")


def _plane(labeller: Labeller, rows: BatchRows, number: int) -> xr.Dataset:
    """PFD on one plane."""
    plane = labeller.world.planes[number]
    nx, ny = plane.cells
    dx, dy = plane.cell_m
    area = np.broadcast_to(plane.cell_m2, (ny, nx))[:, :, None]
    assert rows.crossed is not None
    block = rows.crossed[:, :, plane.first_bin : plane.first_bin + 2 * nx * ny]
    block = block.reshape(len(block), block.shape[1], 2, ny, nx, block.shape[-1])
    n_group, n_band = len(labeller.group_names), len(labeller.bands)
    pfd = np.empty((n_group, n_band, 2, ny, nx))
    error = np.empty_like(pfd)
    # Some lines of cells at a time, so that a large map needs little more than itself.
    lines = max(1, SLAB_FLOATS // (len(block) * n_group * n_band * nx))
    for direction in range(2):
        for y in range(0, ny, lines):
            here = (slice(None), slice(None), direction, slice(y, y + lines))
            flux = labeller.flux_of_rows(block[here])
            mean, std_err = mean_and_error(flux / area[y : y + lines], rows.fold_counts)
            pfd[here] = np.moveaxis(mean, -1, 1)
            error[here] = np.moveaxis(std_err, -1, 1)
    sums = np.array([labeller.flux(s[:, number]) for s in rows.crossed_sum])
    total, total_error = mean_and_error(sums / plane.area_m2)
    dims = ("group", "band", "direction", "y", "x")
    open_area: dict[str, Any] = {}
    if plane.open_m2 is not None:
        long_name = "area of the cell that lies in the room"
        open_area["open_m2"] = (dims[3:], plane.open_m2, {"units": "m2", "long_name": long_name})
    return xr.Dataset(
        {
            "pfd": (dims, pfd, {"units": DENSITY, "long_name": "photon flux density"}),
            "pfd_std_err": (dims, error, {"units": DENSITY}),
            "mean": (dims[:3], total.transpose(0, 2, 1), {"units": DENSITY}),
            "mean_std_err": (dims[:3], total_error.transpose(0, 2, 1), {"units": DENSITY}),
            **open_area,
        },
        coords={
            "group": labeller.group_names,
            **labeller.band_coords,
            "direction": list(DIRECTIONS),
            "x": ("x", plane.low[0] + dx * (np.arange(nx) + 0.5), {"units": "m"}),
            "y": ("y", plane.low[1] + dy * (np.arange(ny) + 0.5), {"units": "m"}),
        },
        attrs={"height_m": plane.height, "cell_x_m": dx, "cell_y_m": dy},
    )


def _facets(world: World) -> dict[str, Any]:
    """Area of every plant triangle, and the layer of its centroid: 0 for what is no leaf.

    The triangles of replicates follow each other, each with its share of a mean canopy's area.
    """
    if not world.replicates:
        return _facets_of_one(world)
    each = [_facets_of_one(one) for one in world.replicates]
    areas = np.concatenate([one["facet_area_m2"][1] for one in each]) / len(each)
    layers = [one["facet_layer"][1] for one in each]
    number = np.concatenate([np.full(len(k), r) for r, k in enumerate(layers)])
    return {
        "facet_area_m2": ("facet", areas, {"units": "m2"}),
        "facet_layer": ("facet", np.concatenate(layers)),
        "facet_replicate": ("facet", number),
    }


def _facets_of_one(world: World) -> dict[str, Any]:
    """Do as `_facets` with one canopy."""
    assert world.layers is not None
    areas, layers = [], []
    for part in world.parts:
        if part.kind not in PLANTED:
            continue
        a, b, c = (part.vertices[part.faces[:, k]] for k in range(3))
        areas.append(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1))
        height = ((a + b + c) / 3)[:, 2]
        # The first floor below, from the top; what lies in a floor is below it.
        above = height[:, None] > world.layers.z_bottom[None, :-1]
        layer = len(world.layers.z_bottom) - above.sum(1)
        layers.append(layer if part.kind == "leaf" else np.zeros_like(layer))
    return {
        "facet_area_m2": ("facet", np.concatenate(areas), {"units": "m2"}),
        "facet_layer": ("facet", np.concatenate(layers)),
    }


def _replicates(world: World) -> dict[str, Any]:
    """Heights and leaf areas of the layers of every replicate, (replicate, layer), top first."""
    tables = [one.layers for one in world.replicates if one.layers is not None]
    dims = ("replicate", "row_layer")
    return {
        f"replicate_{name}": (dims, np.stack([getattr(t, what) for t in tables]), {"units": unit})
        for name, what, unit in (
            ("z_top_m", "z_top", "m"),
            ("z_bottom_m", "z_bottom", "m"),
            ("leaf_area_m2", "leaf_area", "m2"),
        )
    }


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
    books = (
        rows.dataset()
        .assign_coords(plane=_texts(p.name for p in world.planes))
        .assign(
            sink_end=("sink", _texts(s.end for s in world.sinks)),
            sink_kind=("sink", _texts(s.kind for s in world.sinks)),
            sink_face=("sink", _texts(s.face for s in world.sinks)),
            sink_layer=("sink", [0 if s.layer is None else s.layer + 1 for s in world.sinks]),
            sink_side=("sink", _texts(s.side or "" for s in world.sinks)),
            channel_group=("channel", _texts(c.group for c in world.channels)),
            channel_name=("channel", _texts(c.name for c in world.channels)),
            channel_umol_s_per_quantum=(
                "channel",
                [c.umol_s_per_quantum for c in world.channels],
                {"units": FLUX, "long_name": "flux that one quantum in one batch stands for"},
            ),
        )
    )
    if rows.splits is not None and rows.splits.facet.size:
        books = books.assign(_facets(world))
    if world.replicates:
        books = books.assign(_replicates(world))
    return Result(
        layers=_layers(labeller, rows),
        planes={
            p.name: _plane(labeller, rows, i) for i, p in enumerate(world.planes) if not p.is_level
        },
        probes=label_probes(labeller, rows),
        ends=_ends(labeller, rows, launched),
        launched=launched,
        rows=books,
        meta={**meta, "groups": labeller.groups},
    )
