"""Tallies told apart by a photon's past: which there are, and weighted sums over their rows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.books import Estimate, Span, in_span
from canopysim.analysis.ends import sinks_of
from canopysim.analysis.planes import cell_areas
from canopysim.bands import PAR
from canopysim.errors import CanopysimError
from canopysim.tallies.rows import mean_and_error
from canopysim.world.sinks import LEAF

if TYPE_CHECKING:
    from canopysim.results import Result

Array = NDArray[np.float64]
ALL_LEAVES = "all leaves"


@dataclass(frozen=True)
class Told:
    """Fluxes told apart by the rows of one split, for rows of batches.

    Attributes
    ----------
    name : str
        Of the split.
    rows : tuple of str
        What each row holds.
    tallies : tuple of str
        What the flux is of: ``all leaves``, ``layer 1`` …, ``NAME, down`` and ``NAME, up`` for each
        plane, and every end, such as ``floor``.
    flux : numpy.ndarray (n_fold, n_row, n_tally)
        Sums over the batches of a fold, µmol s⁻¹ per batch.
    batches : numpy.ndarray (n_fold,)
        Batches in each fold.
    """

    name: str
    rows: tuple[str, ...]
    tallies: tuple[str, ...]
    flux: Array
    batches: Array

    def weighted(self, weights: Array) -> list[Estimate]:
        """Sum the rows with weights (n_row,), one estimate for each tally, µmol s⁻¹."""
        mean, error = mean_and_error(np.einsum("nrt,r->nt", self.flux, weights), self.batches)
        return [Estimate(float(m), float(e)) for m, e in zip(mean, error, strict=True)]

    def shares(self, weights: Array) -> list[Estimate]:
        """Share of a weighted sum in the sum of all rows; covariance counted."""
        part = np.einsum("nrt,r->nt", self.flux, weights)
        whole = self.flux.sum(1)
        total = whole.sum(0)
        with np.errstate(invalid="ignore", divide="ignore"):
            share = part.sum(0) / total
            _, error = mean_and_error(part - share * whole, self.batches)
            error = error * self.batches.sum() / np.abs(total)
        return [Estimate(float(s), float(e)) for s, e in zip(share, error, strict=True)]


def splits_of(result: Result) -> list[str]:
    """List what a result tells apart, such as ``first flight``."""
    return [str(s["name"]) for s in result.meta.get("told_apart", {}).get("splits", [])]


def find_split(result: Result, name: str) -> tuple[int, tuple[str, ...]]:
    """First row of a split, and what its rows hold.

    Raises
    ------
    CanopysimError
        Where the result does not tell it apart.
    """
    for split in result.meta.get("told_apart", {}).get("splits", []):
        if split["name"] == name:
            return int(split["first"]), tuple(split["rows"])
    raise CanopysimError(
        f"the result does not tell {name} apart; ask for it under 'also_count' in the scene and "
        "trace again"
    )


def tell_apart(result: Result, name: str, *, span: Span = PAR, group: str = "all") -> Told:
    """Fluxes of leaves, planes and ends, told apart by one split.

    Parameters
    ----------
    result : Result
        Of a scene that asked for the split under ``also_count``.
    name : str
        ``first flight``, ``last surface``, ``lining meetings``, ``launch cells`` or
        ``sensitivities``. The rows of the first four add up to the tally itself; those of the last
        are its derivatives by the logarithm of a reflectance or transmittance.
    span : (low, high)
        Range of whole traced bands, nm.
    group : str
        Group of lights, or "all".

    Returns
    -------
    Told

    Raises
    ------
    CanopysimError
        Where the result does not tell it apart.
    """
    first, rows = find_split(result, name)
    ended, crossed = _fluxes(result, slice(first, first + len(rows)), span, group)
    names: list[str] = []
    columns: list[Array] = []
    sinks = sinks_of(result)
    leaf = np.array([s.kind == LEAF for s in sinks])
    if result.layers is not None:
        names.append(ALL_LEAVES)
        columns.append(ended[..., leaf].sum(-1))
        layer = result.rows["sink_layer"].values
        for number in result.layers["layer"].values:
            names.append(f"layer {int(number)}")
            columns.append(ended[..., leaf & (layer == number)].sum(-1))
    for plane, sums in _plane_sums(result, crossed):
        names += [f"{plane}, down", f"{plane}, up"]
        columns += [sums[..., 0], sums[..., 1]]
    for end in dict.fromkeys(s.name for s in sinks):
        names.append(end)
        columns.append(ended[..., [s.name == end for s in sinks]].sum(-1))
    counts = np.asarray(result.rows["row_batches"].values, np.float64)
    return Told(name, rows, tuple(names), np.stack(columns, -1), counts)


def map_apart(
    result: Result,
    name: str,
    plane: str,
    *,
    direction: str = "down",
    span: Span = PAR,
    group: str = "all",
) -> tuple[Array, Array]:
    """PFD in every cell of a plane, told apart by one split.

    Parameters
    ----------
    result : Result
        Of a scene that asked for the split, and for ``on_cells``.
    name, span, group
        As for `tell_apart`.
    plane : str
        Name of the plane.
    direction : str
        "down" or "up".

    Returns
    -------
    pfd, std_err : numpy.ndarray (n_row, n_y, n_x)
        µmol m⁻² s⁻¹.

    Raises
    ------
    CanopysimError
        Where the result holds no such cells.
    """
    first, rows = find_split(result, name)
    if not result.meta["told_apart"]["on_cells"]:
        raise CanopysimError(
            "the result does not tell cells apart; set 'on_cells: true' under 'also_count' in the "
            "scene and trace again"
        )
    _, crossed = _fluxes(result, slice(first, first + len(rows)), span, group)
    start = 0
    for other, grid in result.planes.items():
        n_y, n_x = grid.sizes["y"], grid.sizes["x"]
        if other == plane:
            start += ("down", "up").index(direction) * n_y * n_x
            cells = crossed[..., start : start + n_y * n_x]
            area = cell_areas(grid).ravel()
            area[np.isnan(grid["pfd"].values[0, 0, 0].ravel())] = np.nan
            counts = np.asarray(result.rows["row_batches"].values, np.float64)
            mean, error = mean_and_error(cells / area, counts)
            shape = (len(rows), n_y, n_x)
            return mean.reshape(shape), error.reshape(shape)
        start += 2 * n_y * n_x
    raise CanopysimError(f"no plane is called {plane!r}; there are {', '.join(result.planes)}")


def _fluxes(result: Result, rows: slice, span: Span, group: str) -> tuple[Array, Array]:
    """Fluxes of a split: (fold, row, sink) and (fold, row, column), µmol s⁻¹."""
    bands = np.flatnonzero(in_span(result, span))
    scale = np.array(result.rows["channel_umol_s_per_quantum"], np.float64)
    if group != "all":
        scale *= np.asarray(result.rows["channel_group"], object) == group
    found = []
    for name in ("split_absorbed", "split_crossed"):
        counts = result.rows[name].values[:, :, rows]
        found.append(np.einsum("ncrsb,c->nrs", counts[..., bands].astype(np.float64), scale))
    return found[0], found[1]


def _plane_sums(result: Result, crossed: Array) -> list[tuple[str, Array]]:
    """Flux through each plane, down and up: name and (fold, row, 2)."""
    sums, start = [], 0
    for number, (name, grid) in enumerate(result.planes.items()):
        if result.meta["told_apart"]["on_cells"]:
            n = grid.sizes["y"] * grid.sizes["x"]
            block = crossed[..., start : start + 2 * n]
            sums.append((name, block.reshape(*block.shape[:-1], 2, n).sum(-1)))
            start += 2 * n
        else:
            sums.append((name, crossed[..., 2 * number : 2 * number + 2]))
    return sums
