"""How deep each waveband of each group of lights reaches, and who lights the lower half.

For lights above the canopy it is told where the net flux downward has fallen to a half and a tenth
of its value at the top. Lights inside the canopy or beside it have no such level: for them, and for
all lights together, it is told above which level a half and nine tenths of what leaves absorb of
them are absorbed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.between import bend
from canopysim.analysis.books import (
    UNKNOWN,
    Estimate,
    Span,
    absorbed_in_parts,
    absorbed_per_batch,
    launched,
    ratio,
)
from canopysim.analysis.ends import is_leaf, sink_mask
from canopysim.analysis.jackknife import jackknife_error, leave_one_out
from canopysim.analysis.layers import lower_half_sinks
from canopysim.analysis.penetration import penetration
from canopysim.analysis.replicates import TwoErrors, two_errors
from canopysim.bands import PAR

if TYPE_CHECKING:
    from canopysim.results import Result

Array = NDArray[np.float64]
NET, ABSORBED = "net", "absorbed"
# What is left, and what is absorbed above, where people ask for it.
LEFT = (0.5, 0.1)


@dataclass(frozen=True)
class Level:
    """Where light has fallen to a share.

    Attributes
    ----------
    left : float
        Share that remains there.
    depth : TwoErrors
        Below the canopy's top, m; NaN where it is not reached.
    lai : TwoErrors
        Leaf area index above, m² m⁻².
    depth_off, lai_off : float
        How far the level may be off because it is read between boundaries: see `between.bend`.
    """

    left: float
    depth: TwoErrors
    lai: TwoErrors
    depth_off: float
    lai_off: float

    @property
    def reached(self) -> bool:
        """Whether light falls so far within the canopy."""
        return bool(np.isfinite(self.depth.value))


@dataclass(frozen=True)
class Reach:
    """How deep one waveband of one group of lights reaches.

    Attributes
    ----------
    group : str
        Group of lights, or "all".
    span : (low, high)
        Wavelengths, nm.
    rule : str
        NET: the net flux downward has fallen to the share; ABSORBED: the share of what leaves
        absorb of it is absorbed below.
    levels : tuple of Level
        One for each share of `LEFT`.
    k : TwoErrors
        Extinction coefficient of the net flux; NaN by the other rule.
    departure : float
        Root mean square of what an exponential is off, relative; NaN by the other rule.
    at_bottom : TwoErrors
        Share of the net flux at the top that is left at the lowest boundary; NaN by the other rule.
    """

    group: str
    span: Span
    rule: str
    levels: tuple[Level, ...]
    k: TwoErrors
    departure: float
    at_bottom: TwoErrors


def reach(
    result: Result,
    *,
    span: Span = PAR,
    group: str = "all",
    rule: str = ABSORBED,
    canopies: Sequence[Result] | None = None,
) -> Reach:
    """Tell how deep light reaches.

    Parameters
    ----------
    result : Result
        With layers; by the rule NET also with a profile.
    span : (low, high)
        Range of whole traced bands, nm.
    group : str
        Group of lights, or "all".
    rule : str
        NET or ABSORBED.
    canopies : sequence of Result, optional
        What `replicates.canopies_of` gives, where this is asked for many times.
    """
    departure, off = float("nan"), []
    if rule == NET:
        whole = penetration(result, span=span, group=group, shares=LEFT)
        departure = whole.departure
        off = [(level.depth_off, level.lai_off) for level in whole.remaining]

        def figures(of: Result) -> list[Estimate]:
            found = penetration(of, span=span, group=group, shares=LEFT)
            levels = [e for level in found.remaining for e in (level.depth, level.lai)]
            return [*levels, found.k, found.at_bottom]

    else:
        off = [_absorbed_level(result, left, span, group)[2:] for left in LEFT]

        def figures(of: Result) -> list[Estimate]:
            levels = [_absorbed_level(of, left, span, group) for left in LEFT]
            return [*(e for level in levels for e in level[:2]), UNKNOWN, UNKNOWN]

    found = two_errors(result, figures, canopies)
    levels = tuple(
        Level(left, found[2 * i], found[2 * i + 1], *off[i]) for i, left in enumerate(LEFT)
    )
    return Reach(group, span, rule, levels, found[-2], departure, found[-1])


def _absorbed_level(
    result: Result, left: float, span: Span, group: str
) -> tuple[Estimate, Estimate, float, float]:
    """Depth and leaf area index below which a share of what leaves absorb is absorbed.

    Within a layer absorption is even over its leaf area and its height. Errors by leaving out each
    batch once; the layer is that of the whole run also then, so that the figure stays smooth.
    """
    layers = result.layers
    assert layers is not None
    number = np.asarray(result.rows["sink_layer"], np.int64)
    leaf = sink_mask(result, is_leaf)
    shares = leaf * (number == np.asarray(layers["layer"])[:, None])
    rows = absorbed_in_parts(result, shares, span=span, group=group)
    total = float(rows.sum())
    if not total > 0.0:
        return UNKNOWN, UNKNOWN, float("nan"), float("nan")
    above = np.insert(np.cumsum(rows.sum(0)) / total, 0, 0.0)
    # The last sum may miss one by a rounding; the level lies above it all the same.
    below = min(int(np.searchsorted(above, 1.0 - left)), len(above) - 1)
    without = leave_one_out(rows)
    share = np.cumsum(without, axis=1) / without.sum(axis=1, keepdims=True)
    share = np.concatenate([np.zeros((len(share), 1)), share], axis=1)

    def at(values: Array) -> Array:
        low, high = values[..., below - 1], values[..., below]
        return np.asarray((1.0 - left - low) / (high - low))

    part, parts = float(at(above)), at(share)
    top = np.asarray(layers["z_top_m"], np.float64)
    depth = top[0] - np.concatenate([top[:1], np.asarray(layers["z_bottom_m"], np.float64)])
    lai = np.insert(np.asarray(layers["cumulative_lai"], np.float64), 0, 0.0)
    found = []
    for scale in (depth, lai):
        step = scale[below] - scale[below - 1]
        error = float(jackknife_error(parts * step))
        found.append(Estimate(float(scale[below - 1] + part * step), error))
    offs = [
        bend(scale, above, below, e.value) for scale, e in zip((depth, lai), found, strict=True)
    ]
    return found[0], found[1], offs[0], offs[1]


@dataclass(frozen=True)
class Delivered:
    """What one group of lights does for the lower half of the leaf area.

    Attributes
    ----------
    group : str
        Group of lights.
    of_lower : TwoErrors
        Its share of what the lower half absorbs, 0 to 1.
    of_launched : TwoErrors
        Share of what the group sends out that the lower half absorbs.
    """

    group: str
    of_lower: TwoErrors
    of_launched: TwoErrors


def lower_half_by_group(result: Result, *, span: Span = PAR) -> list[Delivered]:
    """Tell which share each group of lights delivers to the lower half of the leaf area."""
    groups = [g for g in result.groups if launched(result, span=span, group=g) > 0.0]
    sent = {group: launched(result, span=span, group=group) for group in groups}

    def figures(of: Result) -> list[Estimate]:
        lower = lower_half_sinks(of)
        whole = absorbed_per_batch(of, lower, span=span)
        found = []
        for group in groups:
            part = absorbed_per_batch(of, lower, span=span, group=group)
            found += [ratio(part, whole), ratio(part, np.full(len(part), sent[group]))]
        return found

    found = two_errors(result, figures)
    return [Delivered(g, found[2 * i], found[2 * i + 1]) for i, g in enumerate(groups)]
