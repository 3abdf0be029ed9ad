"""What each channel of each light gives at full output: any setting is a sum of these."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from canopysim.analysis.books import (
    Estimate,
    Span,
    absorbed_per_batch,
    crossed_per_batch,
    mean,
)
from canopysim.analysis.ends import is_leaf, sink_mask
from canopysim.bands import PAR

if TYPE_CHECKING:
    from canopysim.results import Result


@dataclass(frozen=True)
class ChannelOf:
    """A channel of a light, or of a row of equal ones.

    Attributes
    ----------
    light : int
        Number of the light in its scene, from 1.
    fixture, group : str
        Names.
    name : str
        Of the channel; "" of a light without channels.
    output : float
        Share of full output as set.
    """

    light: int
    fixture: str
    group: str
    name: str
    output: float


def channels_of(result: Result) -> list[ChannelOf]:
    """List the channels of all lights, each once; empty where no light has any, or none is told."""
    stated = [channel for channel, _ in _told(result) if channel is not None]
    return list(dict.fromkeys(stated)) if any(each.name for each in stated) else []


def at_full_output(result: Result, channel: ChannelOf) -> Result:
    """Make the result of one channel alone, at full output, for figures from its books.

    Parameters
    ----------
    result : Result
        With channels.
    channel : ChannelOf
        One of `channels_of`.

    Returns
    -------
    Result
        The same rows, in which quanta of all other channels stand for nothing. Only what is summed
        up from the rows with the group "all" is that of the channel; the labelled tables stay.
    """
    mine = [full if each == channel else 0.0 for each, full in _told(result)]
    rows = result.rows.assign(channel_umol_s_per_quantum=("channel", np.array(mine, np.float64)))
    return replace(result, rows=rows)


def launched_at_full(alone: Result, span: Span = PAR) -> float:
    """Photons that the channel of `at_full_output` launches in whole traced bands, µmol s⁻¹.

    All lines of the books make up what was launched, to the quantum.
    """
    every = np.ones(alone.rows.sizes["sink"])
    return float(absorbed_per_batch(alone, every, span=span).mean())


def leaves_at_full(alone: Result, span: Span = PAR) -> Estimate:
    """Photons of the channel of `at_full_output` that leaves absorb, µmol s⁻¹."""
    return mean(absorbed_per_batch(alone, sink_mask(alone, is_leaf), span=span))


def plane_at_full(alone: Result, plane: str, span: Span = PAR) -> Estimate:
    """Mean flux density of the channel of `at_full_output` down on a plane, µmol m⁻² s⁻¹."""
    here = alone.planes[plane]
    area = here.attrs["cell_x_m"] * here.attrs["cell_y_m"] * here.sizes["x"] * here.sizes["y"]
    return mean(crossed_per_batch(alone, plane, span=span) / area)


def _told(result: Result) -> list[tuple[ChannelOf | None, float]]:
    """Channel of each row of the tallies, None for daylight, and its flux of a quantum."""
    return [
        (ChannelOf(**each["of"]) if each["of"] is not None else None, float(each["full"]))
        for each in result.meta.get("channels") or []
    ]
