"""The canopy as a body: what enters its box from above and through its sides, what stays inside.

The box stands around all leaves and stems and is cut into the canopy's layers (`also_count:
{canopy_sides: true}`). Per layer, waveband and light channel, what goes in through its two levels
and four sides, less what comes out, plus what lights inside send out, is what leaves, stems and
other things inside take, with the signed corrections of roulette and choice: to the quantum.

What single plants absorb (`each_plant: true`) tells those at corners and edges from those inside.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.books import Estimate, Span, channel_scale, in_span
from canopysim.bands import PAR
from canopysim.errors import CanopysimError
from canopysim.tallies.rows import mean_and_error

if TYPE_CHECKING:
    from canopysim.results import Result

Array = NDArray[np.float64]
SIDES = ("left", "right", "front", "back")
WHERE = ("corner", "edge", "inner")


@dataclass(frozen=True)
class BoxLight:
    """Fluxes at the canopy's box, µmol s⁻¹ per batch, for rows of batches; layers top first.

    Attributes
    ----------
    inward, outward : numpy.ndarray (n_fold, n_layer, 4)
        Through each layer's sides: left, right, front, back.
    down, up : numpy.ndarray (n_fold, n_layer + 1)
        Through the levels: 0 is the box's top, i the bottom of layer i.
    launched : numpy.ndarray (n_fold, n_layer)
        Sent out inside.
    leaves, stems, others : numpy.ndarray (n_fold, n_layer)
        Absorbed inside by leaves, by stems with flowers and fruit, and by fixtures, nets and
        whatever else is there.
    corrections : numpy.ndarray (n_fold, n_layer)
        What roulette and choice took inside: signed, zero but for chance.
    batches : numpy.ndarray (n_fold,)
        Batches in each fold.
    """

    inward: Array
    outward: Array
    down: Array
    up: Array
    launched: Array
    leaves: Array
    stems: Array
    others: Array
    corrections: Array
    batches: Array

    @property
    def net_in(self) -> Array:
        """What goes into each layer through levels and sides, less what comes out of it."""
        through = self.down - self.up
        sideways = (self.inward - self.outward).sum(2)
        return np.asarray(through[:, :-1] - through[:, 1:] + sideways)

    @property
    def open(self) -> Array:
        """What is left unexplained in each layer: nothing but the rounding of this very sum."""
        taken = self.leaves + self.stems + self.others + self.corrections
        return np.asarray(self.net_in + self.launched - taken)

    def estimate(self, values: Array) -> Estimate:
        """Mean of (n_fold,) sums and its standard error."""
        mean, error = mean_and_error(values, self.batches)
        return Estimate(float(mean), float(error))


def has_sides(result: Result) -> bool:
    """Whether the sides of the canopy's box were counted."""
    return len(_facts(result).get("levels", ())) > 0


def has_plants(result: Result) -> bool:
    """Whether single plants were counted."""
    return len(_facts(result).get("plants", ())) > 0


def _facts(result: Result) -> dict[str, Any]:
    return dict(result.meta.get("told_apart", {}).get("canopy") or {})


def _part(result: Result, part: int, span: Span, group: str) -> tuple[Array, Array]:
    """Bins of one part of what was counted, (n_fold, n_bin) in µmol s⁻¹, and batches per fold."""
    first = _facts(result)["first"]
    bands = np.flatnonzero(in_span(result, span))
    dims = ("row", "channel", "canopy_bin", "traced_band")
    quanta = result.rows["canopy_counted"].transpose(*dims).values
    chosen = quanta[:, :, first[part] : first[part + 1]][..., bands].sum(-1, dtype=np.float64)
    flux = np.einsum("ncb,c->nb", chosen, channel_scale(result, group))
    return flux, np.asarray(result.rows["row_batches"].values, np.float64)


def box_light(result: Result, *, span: Span = PAR, group: str = "all") -> BoxLight:
    """Fluxes at the canopy's box.

    Parameters
    ----------
    result : Result
        Of a scene with ``also_count: {canopy_sides: true}``.
    span : (low, high)
        Range of whole traced bands, nm.
    group : str
        Group of lights, or "all".

    Raises
    ------
    CanopysimError
        Where the sides were not counted.
    """
    if not has_sides(result):
        raise CanopysimError(
            "the result does not tell what passes the sides of the canopy; set 'canopy_sides: "
            "true' under 'also_count' in the scene and trace again"
        )
    parts = [_part(result, k, span, group)[0] for k in range(4)]
    batches = _part(result, 0, span, group)[1]
    n = len(batches)
    sides = parts[0].reshape(n, -1, 4, 2)
    levels = parts[1].reshape(n, -1, 2)
    inside = parts[3].reshape(n, -1, 4)
    return BoxLight(
        sides[..., 0], sides[..., 1], levels[..., 0], levels[..., 1], parts[2],
        inside[..., 0], inside[..., 1], inside[..., 2], inside[..., 3], batches,
    )  # fmt: skip


@dataclass(frozen=True)
class Incident:
    """Light that falls on the canopy, told apart by where it enters the box, µmol s⁻¹.

    Attributes
    ----------
    group : str
        Group of lights, or "all".
    above : Estimate
        Downward through the box's top.
    sides : Estimate
        Inward through its four sides.
    side : dict of str to Estimate
        Through each side.
    below : Estimate
        Upward through its bottom.
    inside : Estimate
        Sent out inside the box.
    absorbed : Estimate
        By leaves in it.
    """

    group: str
    above: Estimate
    sides: Estimate
    side: dict[str, Estimate]
    below: Estimate
    inside: Estimate
    absorbed: Estimate


def incident(result: Result, *, span: Span = PAR, group: str = "all") -> Incident:
    """Tell the incident flux of a canopy: downward through its top, inward through its sides.

    Parameters
    ----------
    result, span, group
        As for `box_light`. Light that leaves the box and enters again counts each time, as it does
        on any plane.
    """
    of = box_light(result, span=span, group=group)
    return Incident(
        group=group,
        above=of.estimate(of.down[:, 0]),
        sides=of.estimate(of.inward.sum((1, 2))),
        side={name: of.estimate(of.inward[:, :, k].sum(1)) for k, name in enumerate(SIDES)},
        below=of.estimate(of.up[:, -1]),
        inside=of.estimate(of.launched.sum(1)),
        absorbed=of.estimate(of.leaves.sum(1)),
    )


@dataclass(frozen=True)
class PlantLight:
    """What the leaves of one plant absorb.

    Attributes
    ----------
    name : str
        Such as ``pepper-03``.
    x, y : float, m
        Where it stands.
    where : str
        "corner", "edge" or "inner".
    leaf_area : float, m2
        One-sided.
    absorbed : Estimate
        µmol s⁻¹.
    per_leaf_area : Estimate
        µmol m⁻² s⁻¹.
    """

    name: str
    x: float
    y: float
    where: str
    leaf_area: float
    absorbed: Estimate
    per_leaf_area: Estimate


def plant_rows(result: Result, *, span: Span = PAR, group: str = "all") -> tuple[Array, Array]:
    """Sum up plants for rows of batches (n_fold, n_plant), µmol s⁻¹, and batches (n_fold,).

    Raises
    ------
    CanopysimError
        Where single plants were not counted.
    """
    if not has_plants(result):
        raise CanopysimError(
            "the result does not tell what single plants absorb; set 'each_plant: true' under "
            "'also_count' in the scene and trace again"
        )
    return _part(result, 4, span, group)


def plant_light(result: Result, *, span: Span = PAR, group: str = "all") -> list[PlantLight]:
    """Tell what every plant's leaves absorb; `result`, `span` and `group` as for `plant_rows`."""
    flux, batches = plant_rows(result, span=span, group=group)
    mean, error = mean_and_error(flux, batches)
    return [
        PlantLight(
            name=str(plant["name"]),
            x=float(plant["x"]),
            y=float(plant["y"]),
            where=str(plant["where"]),
            leaf_area=float(plant["leaf_area"]),
            absorbed=Estimate(float(m), float(e)),
            per_leaf_area=Estimate(float(m) / plant["leaf_area"], float(e) / plant["leaf_area"]),
        )
        for plant, m, e in zip(_facts(result)["plants"], mean, error, strict=True)
    ]


@dataclass(frozen=True)
class PlaceLight:
    """Plants of one kind of place together.

    Attributes
    ----------
    where : str
        "corner", "edge" or "inner".
    n_plant : int
        Plants there.
    per_leaf_area : Estimate
        What their leaves absorb, µmol m⁻² s⁻¹.
    over_all : Estimate
        That over the mean of all plants' leaves, covariance counted.
    spread : float
        Standard deviation from plant to plant over their mean, by `per_leaf_area`; NaN for one.
    """

    where: str
    n_plant: int
    per_leaf_area: Estimate
    over_all: Estimate
    spread: float


def place_light(result: Result, *, span: Span = PAR, group: str = "all") -> list[PlaceLight]:
    """Compare plants at corners, along edges and inside; as for `plant_rows`."""
    flux, batches = plant_rows(result, span=span, group=group)
    plants = plant_light(result, span=span, group=group)
    area = np.array([p.leaf_area for p in plants])
    whole = flux.sum(1)
    found = []
    for where in WHERE:
        here = np.array([p.where == where for p in plants])
        if not here.any():
            continue
        part, share = flux[:, here].sum(1), float(area[here].sum() / area.sum())
        mean, error = mean_and_error(part / area[here].sum(), batches)
        total = float(whole.sum())
        over = float(part.sum()) / total / share if total > 0.0 else float("nan")
        # The error of a ratio from the spread of what is left when it is taken off.
        _, off = mean_and_error(part - over * share * whole, batches)
        scale = batches.sum() / (total * share) if total > 0.0 else float("nan")
        each = np.array([p.per_leaf_area.value for p in plants])[here]
        found.append(
            PlaceLight(
                where=where,
                n_plant=int(here.sum()),
                per_leaf_area=Estimate(float(mean), float(error)),
                over_all=Estimate(over, float(off * scale)),
                spread=float(each.std(ddof=1) / each.mean()) if len(each) > 1 else float("nan"),
            )
        )
    return found
