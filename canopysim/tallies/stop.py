"""When a run may stop: a target error, a packet budget, a time budget, whichever comes first."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.bands import within
from canopysim.tallies.rows import mean_and_error
from canopysim.world.sinks import LEAF

if TYPE_CHECKING:
    from canopysim.world.compile import World

Array = NDArray[np.float64]
# Fewer batches say too little about their own spread: with 32 it is known to 13 %, and stopping
# at the first batch that meets a target makes the reported error too small by less than that.
MIN_BATCH = 32


@dataclass(frozen=True)
class Progress:
    """Where a run stands.

    Attributes
    ----------
    n_packet, n_batch : int
        Traced so far.
    seconds : float
        Since the start.
    limiting : str
        The tally that is furthest from its target; empty without a target.
    rel_err : float
        Its relative standard error; NaN while unknown.
    wanted : float
        Its target.
    packets_wanted : float
        Packets in all at which the run is expected to stop; NaN while unknown.
    canopies : int
        Replicates among which the packets are shared out equally.
    """

    n_packet: int
    n_batch: int
    seconds: float
    limiting: str
    rel_err: float
    wanted: float
    packets_wanted: float
    canopies: int = 1

    @property
    def met(self) -> bool:
        """Whether the target is met: an unknown error means not yet."""
        return bool(self.limiting) and self.n_batch >= MIN_BATCH and self.rel_err <= self.wanted


class TargetWatch:
    """Follows the named tallies of a target from batch to batch.

    Parameters
    ----------
    world : World
        Channels, layers and planes by name.
    target : dict of str to float
        Relative standard error wanted for "layers" (each layer's 400-700 nm absorption, all
        groups) and "planes" (each plane's mean downward 400-700 nm).
    floor : float
        Share of the launched 400-700 nm flux; a standard error below target * floor * launched is
        good enough for any tally, however dark.
    """

    def __init__(self, world: World, target: dict[str, float], floor: float) -> None:
        self._par = within(world.edges)
        self._scale = np.array([c.umol_s_per_quantum for c in world.channels])
        self._launched = sum(
            c.flux_umol_s * c.output * float(np.asarray(c.shares)[self._par].sum())
            for c in world.channels
        )
        self._sinks: list[list[int]] = []
        self._names: list[str] = []
        self._wanted: list[float] = []
        self._floor = floor
        self._batch_packets = world.batch_packets
        self._canopies = max(1, len(world.replicates))
        self._series: list[Array] = []
        self._n_plane = 0
        self._relative: Array = np.zeros(0)
        self._looked_at = 0
        if "layers" in target and world.layers is not None:
            for layer in range(len(world.layers.leaf_area)):
                # A layer without leaves has nothing to be known.
                if world.layers.leaf_area[layer] > 0:
                    self._sinks.append(
                        [i for i, s in enumerate(world.sinks)
                         if s.kind == LEAF and s.layer == layer]
                    )  # fmt: skip
                    self._names.append(f"layer {layer + 1}")
                    self._wanted.append(target["layers"])
        if "planes" in target:
            # The boundaries between layers come last; nobody aims at them.
            named = [plane for plane in world.planes if not plane.is_level]
            self._n_plane = len(named)
            for plane in named:
                self._names.append(f"plane {plane.name}")
                self._wanted.append(target["planes"])

    def append(self, absorbed: NDArray[np.int64], crossed_sum: NDArray[np.int64]) -> None:
        """Take in the next batch: its rows of `BatchRows.absorbed` and `BatchRows.crossed_sum`."""
        sums = np.einsum("c,csb->s", self._scale, absorbed[:, :, self._par])
        planes = np.einsum("c,cpb->p", self._scale, crossed_sum[:, :, 0, self._par])
        layers = [sums[sinks].sum() for sinks in self._sinks]
        self._series.append(np.array([*layers, *planes[: self._n_plane]]))

    def progress(self, seconds: float) -> Progress:
        """Where the run stands: the limiting tally, its error, and what is left to do."""
        n_batch = len(self._series)
        n_packet = n_batch * self._batch_packets
        if not self._names or n_batch == 0:
            nothing = (math.nan, math.nan, math.nan)
            return Progress(n_packet, n_batch, seconds, "", *nothing, self._canopies)
        # A long run is looked at 256 times while it doubles, at batches that do not depend on
        # where it was taken up.
        looked_at = n_batch - n_batch % max(1, n_batch // 256)
        if self._looked_at != looked_at:
            mean, error = mean_and_error(np.array(self._series[:looked_at]))
            self._relative = error / np.maximum(np.abs(mean), self._floor * self._launched)
            self._looked_at = looked_at
        relative = self._relative
        wanted = np.array(self._wanted)
        excess = np.where(np.isnan(relative), np.inf, relative / wanted)
        worst = int(excess.argmax())
        expected = n_packet * float(excess[worst]) ** 2
        return Progress(
            n_packet,
            n_batch,
            seconds,
            self._names[worst],
            float(relative[worst]),
            float(wanted[worst]),
            max(expected, MIN_BATCH * self._batch_packets) if math.isfinite(expected) else math.nan,
            self._canopies,
        )
