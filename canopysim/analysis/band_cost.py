"""What wide bands cost: how much leaves would absorb, and let through, with bands of 10 nm.

A band carries one weight, so the colours within it stay mixed as they were launched. In truth each
meeting with a leaf takes out more of what leaves absorb, and what goes on is paler to them: wide
bands absorb too much where a leaf's albedo changes within them, above all in 700-750 nm.

The estimate follows from the traced bands. A leaf of albedo w sends on w of what meets it; so of
one launched photon leaves absorb (1 - w) N, where N is how often leaves meet it, weighed by what
is left of it. N grows with w N, the photons that leaves send on: in proportion, if each of them
meets a leaf again with one probability, the recollision probability (Smolander and Stenberg 2005,
Remote Sens. Environ. 94:355). So N is a straight line over w N, and so is what the floor absorbs.
Each traced band is a point of it; the line through it leads to the band whose albedo is nearest of
those that differ enough. A narrow band is read off the line at its own albedo. What is not leaf is
taken to be alike within a band, and in those two bands.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.books import Estimate, channel_scale
from canopysim.analysis.ends import is_floor, is_leaf, sink_mask
from canopysim.analysis.jackknife import jackknife_error, leave_one_out

if TYPE_CHECKING:
    from canopysim.results import Result

Array = NDArray[np.float64]
LEAST_STEP = 0.1
"""Two bands whose albedos are nearer to each other than this do not tell a slope."""
MOST_FOLDS = 32
LEAF, FLOOR = 0, 1


@dataclass(frozen=True)
class Changed:
    """Something that photons of a wide band do, as traced and as narrow bands would have it.

    Attributes
    ----------
    wide, narrow : float
        Share of the launched photons of the band.
    cost : Estimate
        Wide over narrow, less one; its error is that of the trace alone. NaN where nothing is.
    """

    wide: float
    narrow: float
    cost: Estimate


@dataclass(frozen=True)
class BandCost:
    """What one wide band costs.

    Attributes
    ----------
    band : str
        Such as "700-750".
    leaves, floor : Changed
        What all leaves absorb, and what the floor absorbs.
    """

    band: str
    leaves: Changed
    floor: Changed


@dataclass(frozen=True)
class Narrow:
    """Photons and leaves in narrow bands, for each channel.

    Attributes
    ----------
    wide : (n_narrow,) int
        Band that each is part of.
    shares, albedo : (n_channel, n_narrow)
        Photons, and what leaves send on of them.
    """

    wide: NDArray[np.int64]
    shares: Array
    albedo: Array

    def of(self, channel: int, band: int) -> tuple[Array, Array]:
        """Shares, together 1 if there are any photons, and albedos within a band."""
        inside = self.wide == band
        shares, albedo = self.shares[channel, inside], self.albedo[channel, inside]
        total = shares.sum()
        return (shares / total if total > 0 else shares), albedo


def band_costs(result: Result, *, group: str = "all") -> list[BandCost]:
    """Estimate what the bands of a result cost against narrow ones; nothing is traced again.

    Parameters
    ----------
    result : Result
        With leaves, of a program that kept their narrow optics.
    group : str
        Group of lights, or "all".

    Returns
    -------
    list of BandCost
        Of each traced band in which the group launches photons. Empty where the result cannot
        tell: without leaves, or if no light has two bands whose albedos differ by 0.1. A channel
        of which that is so, as one of deep red alone, is taken as it was traced.
    """
    stated = result.meta.get("band_cost") or {}
    if not stated:
        return []
    narrow = Narrow(
        np.array(stated["wide"], np.int64),
        np.array(stated["shares"], np.float64),
        np.array(stated["albedo"], np.float64),
    )
    quanta = result.rows["absorbed"].transpose("batch", "channel", "sink", "traced_band").values
    folds = _folds(quanta)
    masks = np.stack([sink_mask(result, wanted) for wanted in (is_leaf, is_floor)])
    scale = channel_scale(result, group)
    wide, fine, told = _absorbed(folds.sum(0), masks, narrow, scale)
    if not told:
        return []
    launched = scale @ folds.sum((0, 2))
    without = np.array(
        [_ratio(*_absorbed(each, masks, narrow, scale)[:2]) for each in leave_one_out(folds)]
    )
    error, cost = jackknife_error(without), _ratio(wide, fine)
    found = []
    for band, name in enumerate(result.band_names):
        if launched[band] > 0:
            leaves, floor = (
                Changed(
                    float(wide[what, band] / launched[band]),
                    float(fine[what, band] / launched[band]),
                    Estimate(float(cost[what, band]), float(error[what, band])),
                )
                for what in (LEAF, FLOOR)
            )
            found.append(BandCost(name, leaves, floor))
    return found


def _folds(batches: NDArray[np.int64]) -> Array:
    """Sum batches into at most 32 folds; leaving each out once gives the error."""
    n = min(len(batches), MOST_FOLDS)
    return np.stack([batches[k::n].sum(0, dtype=np.float64) for k in range(n)])


def _ratio(wide: Array, fine: Array) -> Array:
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(fine > 0, wide / fine - 1, np.nan), np.float64)


def _absorbed(
    quanta: Array, masks: Array, narrow: Narrow, scale: Array
) -> tuple[Array, Array, bool]:
    """Absorbed by leaves and floor, (2, band), as traced and as narrow bands would have it.

    Parameters
    ----------
    quanta : (n_channel, n_sink, n_band)
        The books. All their lines make up what was launched, to the quantum.
    masks : (2, n_sink)
        Which lines are leaves, which are the floor.
    narrow : Narrow
        For each channel.
    scale : (n_channel,)
        Flux of a quantum.

    Returns
    -------
    wide, fine : (2, n_band)
    told : bool
        Whether any channel told a slope.
    """
    launched = quanta.sum(1)
    taken = np.einsum("csb,ts->ctb", quanta, masks)
    fine = taken.copy()
    told = False
    for channel in np.flatnonzero(scale > 0):
        line = _Line.of(taken[channel], launched[channel], narrow, int(channel))
        for band in range(quanta.shape[2]):
            seen = line.narrow(band, *narrow.of(int(channel), band))
            if seen is not None:
                fine[channel, :, band] = launched[channel, band] * seen
                told = True
    return np.tensordot(scale, taken, 1), np.tensordot(scale, fine, 1), told


@dataclass(frozen=True)
class _Line:
    """Points of one channel, a traced band each; NaN in bands that tell none.

    Attributes
    ----------
    albedo : (n_band,)
        Of the leaves, as the channel's photons have it.
    met : (n_band,)
        Meetings with leaves of one launched photon.
    floor : (n_band,)
        What the floor absorbs of it.
    """

    albedo: Array
    met: Array
    floor: Array

    @classmethod
    def of(cls, taken: Array, launched: Array, narrow: Narrow, channel: int) -> _Line:
        albedo = np.full(len(launched), np.nan)
        for band in np.flatnonzero(launched > 0):
            shares, own = narrow.of(channel, int(band))
            if shares.sum() > 0 and shares @ own < 1:  # white leaves would tell no meetings
                albedo[band] = shares @ own
        with np.errstate(invalid="ignore", divide="ignore"):
            absorbed = taken / launched
        return cls(albedo, absorbed[LEAF] / (1 - albedo), absorbed[FLOOR])

    @property
    def sent(self) -> Array:
        """Photons that leaves send on, of one launched photon."""
        return self.albedo * self.met

    def narrow(self, band: int, shares: Array, albedo: Array) -> Array | None:
        """Tell what leaves and floor absorb of one photon of a band that is seen as narrow ones.

        On the line N = N0 + g (w N - w0 N0), the meetings are N = (N0 - g w0 N0) / (1 - g w).
        None where no other band tells a slope; else an array (2,).
        """
        step = np.nan_to_num(np.abs(self.albedo - self.albedo[band]), nan=-1.0)
        far = np.flatnonzero(step >= LEAST_STEP)
        if len(far) == 0:
            return None
        other = far[step[far].argmin()]
        run = self.sent[other] - self.sent[band]
        again, fall = ((line[other] - line[band]) / run for line in (self.met, self.floor))
        met = (self.met[band] - again * self.sent[band]) / (1 - again * albedo)
        floor = self.floor[band] + fall * (albedo * met - self.sent[band])
        return np.array([shares @ ((1 - albedo) * met), shares @ floor])
