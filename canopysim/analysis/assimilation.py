"""What leaves make of the light that they absorb: net photosynthesis by layer and of the canopy.

A leaf's answer to light is curved, so the mean light of a layer answers for more than its leaves
do: half of them bright and half dark make less than all of them even. Where single leaf triangles
were counted (``also_count: {leaf_facets: true}``) the answer is summed over them, with the noise of
the trace taken out (`noise_free`); otherwise the layer means are used, which is too much by a gap
that only the triangles tell. A triangle is itself taken as evenly lit.

Light drives photosynthesis as all lights together: the answer of a sum is no sum of answers, so it
cannot be told apart by groups. Far-red (700–750 nm) is counted apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.books import UNKNOWN, Estimate
from canopysim.analysis.facets import has_facets
from canopysim.analysis.leaf_light import LeafLight, leaf_light
from canopysim.analysis.leaf_response import LeafResponse, compensation_point, net, useful_far_red
from canopysim.analysis.noise_free import NoiseFree, noise_free
from canopysim.errors import CanopysimError
from canopysim.library.crops import Crop, library_crop

if TYPE_CHECKING:
    from canopysim.results import Result

Array = NDArray[np.float64]
CAUTION = (
    "Curves of single leaves do not predict yield: growth, leaf age, temperature, CO₂, water and "
    "what the plant does with its carbon are left out, and whole canopies have answered to light "
    "otherwise than their leaves."
)
# µmol s⁻¹ per W are µmol J⁻¹; 3.6 MJ are a kWh.
MOL_PER_KWH = 3.6


@dataclass(frozen=True)
class LayerAssimilation:
    """One layer of leaves; rates per one-sided leaf area.

    Attributes
    ----------
    layer : int
        1 is the top.
    leaf_area : float
        m²; with triangles, of those whose middle lies in the layer.
    light : Estimate
        Mean absorbed 400–700 nm, µmol m⁻² s⁻¹.
    capacity : float
        pm and rd of its leaves over the crop's; 1 unless they are acclimated.
    net : Estimate
        Net photosynthesis by 400–700 nm, µmol CO2 m⁻² s⁻¹: over the triangles, or of the mean.
    of_mean : Estimate
        That of the layer's mean light.
    far_red : Estimate
        What 700–750 nm would add if it worked like 400–700 nm beside it, µmol CO2 m⁻² s⁻¹.
    under_compensation, over_limit : Estimate
        Share of its leaf area that absorbs less than its compensation point, and more than the
        limit, 0 to 1; NaN without triangles. Chance may bring a share a little below zero.
    """

    layer: int
    leaf_area: float
    light: Estimate
    capacity: float
    net: Estimate
    of_mean: Estimate
    far_red: Estimate
    under_compensation: Estimate
    over_limit: Estimate


@dataclass(frozen=True)
class Assimilation:
    """The canopy's photosynthesis.

    Attributes
    ----------
    crop : Crop
        Whose leaves were meant.
    layers : tuple of LayerAssimilation
        Top first; layers without leaves are left out.
    ground_area : float
        m².
    by_triangle : bool
        Whether the spread of light within layers is in it.
    compensation, limit : float
        Absorbed 400–700 nm at which a leaf of full capacity breaks even, and the limit of
        `over_limit`, µmol m⁻² s⁻¹.
    acclimation : float
        Exponent on relative light; 0 is none.
    net, of_mean, far_red : Estimate
        Of all leaves, µmol CO2 s⁻¹.
    under_compensation, over_limit : Estimate
        Shares of all leaf area.
    raw : float
        `net` with the noise of the trace left in, µmol CO2 s⁻¹.
    remainder : float
        What the method that takes it out may still be off, µmol CO2 s⁻¹; NaN where it is not known.
    per_kwh : Estimate
        mol CO2 per kWh at the stated input power; NaN where none is stated.
    """

    crop: Crop
    layers: tuple[LayerAssimilation, ...]
    ground_area: float
    by_triangle: bool
    compensation: float
    limit: float
    acclimation: float
    net: Estimate
    of_mean: Estimate
    far_red: Estimate
    under_compensation: Estimate
    over_limit: Estimate
    raw: float
    remainder: float
    per_kwh: Estimate

    @property
    def gap(self) -> float:
        """How much more the mean light of the layers promises, as a share of `net`; NaN unknown."""
        if not self.by_triangle or not self.net.value > 0.0:
            return float("nan")
        return self.of_mean.value / self.net.value - 1.0


def assimilation(
    result: Result,
    crop: str | Crop,
    *,
    limit: float | None = None,
    acclimation: float = 0.0,
    input_watts: float | None = None,
) -> Assimilation:
    """Net photosynthesis of a canopy's leaves, all lights together.

    Parameters
    ----------
    result : Result
        With layers; with leaf triangles if the spread within layers is to count.
    crop : str or Crop
        Of the library, or read by `canopysim.library.crops.read_crop`.
    limit : float, optional
        Absorbed 400–700 nm, µmol m⁻² s⁻¹, above which leaf area is told; the crop's if left out.
    acclimation : float
        Exponent on a layer's mean absorbed light relative to the brightest layer's: capacity and
        dark respiration of its leaves fall by that power, as leaf nitrogen does in many canopies
        (about 0.3 to 0.6, assumed). 0 is off.
    input_watts : float, optional
        Electrical input of all lights as they are set, W.

    Returns
    -------
    Assimilation
        `CAUTION` goes with it wherever it is shown.

    Raises
    ------
    CanopysimError
        Without a canopy, for a crop that is not known, and for numbers that cannot be.
    """
    if result.layers is None:
        raise CanopysimError("the result has no canopy, so it has no leaves")
    crop = library_crop(crop) if isinstance(crop, str) else crop
    limit = crop.limit.value if limit is None else limit
    if not 0.0 < limit < np.inf:
        raise CanopysimError(f"limit: {limit:g} is out of range; allowed is more than 0")
    if not 0.0 <= acclimation <= 2.0:
        raise CanopysimError(f"acclimation: {acclimation:g} is out of range; allowed is 0 to 2")
    if input_watts is not None and not 0.0 < input_watts < np.inf:
        raise CanopysimError(f"input_watts: {input_watts:g} is out of range; more than 0 is needed")

    leaves = leaf_light(result)
    means = leaves.layer_means()
    light = means.rows[:, 0].sum(axis=0) / means.batches.sum()
    capacity = relative_capacity(light, acclimation)

    of_mean = noise_free(_Sums(crop, capacity, means, limit), means.rows, means.batches)
    found = of_mean
    if has_facets(result):
        found = noise_free(_Sums(crop, capacity, leaves, limit), leaves.rows, leaves.batches)
    both = (found, of_mean)
    return _assembled(result, crop, capacity, means, both, limit, acclimation, input_watts)


def relative_capacity(light: Array, acclimation: float) -> Array:
    """Give pm and rd of each layer's leaves over the crop's, from the layers' light (n_layer,)."""
    brightest = float(light.max(initial=0.0))
    relative = light / brightest if brightest > 0.0 else np.ones(len(light))
    return np.asarray(np.minimum(relative, 1.0) ** acclimation, np.float64)


@dataclass(frozen=True)
class _Sums:
    """From light (2, n_piece) to sums over the leaf area of each layer and of all."""

    crop: Crop
    capacity: Array
    leaves: LeafLight
    limit: float

    def __call__(self, light: Array) -> Array:
        """Sum light, net photosynthesis, what far-red adds, and areas beyond limits.

        Returns
        -------
        numpy.ndarray (5 * (n_layer + 1),)
        """
        par, far_red = light
        area, where = self.leaves.area, self.leaves.where
        leaf = LeafResponse.of(self.crop, self.capacity[where])
        here = net(par, leaf)
        values = (
            par,
            here,
            net(par + useful_far_red(par, far_red), leaf) - here,
            par < compensation_point(leaf),
            par > self.limit,
        )
        sums = [np.bincount(where, area * value, len(self.capacity)) for value in values]
        return np.concatenate([np.append(layers, layers.sum()) for layers in sums])


def _assembled(
    result: Result,
    crop: Crop,
    capacity: Array,
    means: LeafLight,
    both: tuple[NoiseFree, NoiseFree],
    limit: float,
    acclimation: float,
    input_watts: float | None,
) -> Assimilation:
    """Name the sums over pieces of leaf, and those of the layers' means."""
    found, of_mean = both
    n = len(means.numbers) + 1
    area = np.append(means.area, means.area.sum())
    facets = has_facets(result)

    def sums(of: NoiseFree, what: int, per: Array) -> list[Estimate]:
        here = slice(what * n, (what + 1) * n)
        return [
            Estimate(float(v / a), float(e / a))
            for v, e, a in zip(of.value[here], of.std_err[here], per, strict=True)
        ]

    light, rate, more = (sums(found, what, area) for what in range(3))
    mean_rate = sums(of_mean, 1, area)
    under, over = (sums(found, what, area) if facets else [UNKNOWN] * n for what in (3, 4))
    layers = tuple(
        LayerAssimilation(
            layer=int(number),
            leaf_area=float(area[i]),
            light=light[i],
            capacity=float(capacity[i]),
            net=rate[i],
            of_mean=mean_rate[i],
            far_red=more[i],
            under_compensation=under[i],
            over_limit=over[i],
        )
        for i, number in enumerate(means.numbers)
    )
    whole = 2 * n - 1
    total, mean_total, far_red = (
        sums(of, what, np.ones(n))[-1] for of, what in ((found, 1), (of_mean, 1), (found, 2))
    )
    per_kwh = UNKNOWN
    if input_watts is not None:
        factor = MOL_PER_KWH / input_watts
        per_kwh = Estimate(total.value * factor, total.std_err * factor)
    return Assimilation(
        crop=crop,
        layers=layers,
        ground_area=float(result.settings["ground_area_m2"]),
        by_triangle=facets,
        compensation=float(compensation_point(LeafResponse.of(crop))),
        limit=limit,
        acclimation=acclimation,
        net=total,
        of_mean=mean_total,
        far_red=far_red,
        under_compensation=under[-1],
        over_limit=over[-1],
        raw=float(found.raw[whole]),
        remainder=float(found.remainder[whole]),
        per_kwh=per_kwh,
    )
