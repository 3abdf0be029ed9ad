"""Told apart: how deep light reaches, and what of it the lower half of the leaves gets."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.book.case import Case
from canopysim.book.cases.slabs import BLACK, BY_HEIGHT, CUTS, CUTS_CM, pencils, slab_scene
from canopysim.book.exact.depths import fit, read_level
from canopysim.book.exact.leaves import shares_of_area
from canopysim.book.facts import told
from canopysim.book.outcome import Outcome

if TYPE_CHECKING:
    from canopysim.analysis.books import Estimate
    from canopysim.analysis.replicates import TwoErrors
    from canopysim.book.bench import Bench
    from canopysim.results import Result

Array = NDArray[np.float64]
LAI, SLANTS = 2.2, (0, 70)
# Spherical leaves: G is a half.
K = {f"from-{slant}": 0.5 / np.cos(np.radians(slant)) for slant in SLANTS}
ABOVE = np.insert(np.cumsum(LAI * shares_of_area(BY_HEIGHT, CUTS)), 0, 0.0)
DEPTH = np.array(CUTS_CM[::-1], np.float64)
DEPTH = (DEPTH[0] - DEPTH) / 100
LEFT = (0.5, 0.1)
# Figures without an error of their own may be off by so much of their size: chance moves them.
ROUGHLY = 0.15


def _held(figure: str, exact: float, found: Estimate | TwoErrors, n: int) -> Iterator[Outcome]:
    error = found.std_err if hasattr(found, "std_err") else found.light
    if np.isnan(exact):
        yield from told(figure, exact, found.value)
    else:
        yield Outcome(figure, float(exact), found.value, error, n)


def _same_error(figure: str, at: float, lai: float, depth: float) -> Iterator[Outcome]:
    """Hold the errors of a level's two places beside the segment that it is read in."""
    if np.isfinite(at):
        below = int(np.searchsorted(ABOVE, at))
        slope = float(np.diff(DEPTH)[below - 1] / np.diff(ABOVE)[below - 1])
        yield from told(f"{figure} error of depth over that of LAI", slope, depth / lai, 1e-6)


def _exact_net(group: str) -> Array:
    """Share of the light of a group that is left at every boundary."""
    groups = list(K) if group == "all" else [group]
    return np.asarray(np.mean([np.exp(-K[g] * ABOVE) for g in groups], axis=0))


def _net(result: Result, group: str, n: int) -> Iterator[Outcome]:
    """Hold what the net flux tells: extinction, levels, what is left at the bottom, errors."""
    from canopysim.analysis.penetration import penetration
    from canopysim.analysis.reach import NET, reach

    net = _exact_net(group)
    k, departure = fit(ABOVE, net)
    found, short = penetration(result, group=group), reach(result, group=group, rule=NET)
    yield from _held(f"{group}: k", k, found.k, n)
    yield from _held(f"{group}: k, in short", k, short.k, n)
    yield from _held(f"{group}: at the bottom", net[-1], found.at_bottom, n)
    yield from _held(f"{group}: at the bottom, in short", net[-1], short.at_bottom, n)
    each = np.diff(-np.log(net)) / np.diff(ABOVE)
    for i, (one, layer) in enumerate(zip(each, found.k_by_layer, strict=True)):
        yield from _held(f"{group}: k of layer {i + 1}", one, layer, n)
    for share, whole, level in zip(LEFT, found.remaining, short.levels, strict=True):
        lai, depth = (read_level(x, np.log(net), np.log(share)) for x in (ABOVE, DEPTH))
        name = f"{group}: {share:g} left,"
        yield from told(f"{name} reached", float(np.isfinite(lai.at)), whole.reached)
        yield from told(f"{name} reached, in short", float(np.isfinite(lai.at)), level.reached)
        yield from _held(f"{name} LAI", lai.at, whole.lai, n)
        yield from _held(f"{name} depth, m", depth.at, whole.depth, n)
        yield from _held(f"{name} height, m", CUTS_CM[-1] / 100 - depth.at, whole.height, n)
        yield from _same_error(name, lai.at, whole.lai.std_err, whole.depth.std_err)
        yield from _held(f"{name} LAI, in short", lai.at, level.lai, n)
        yield from _held(f"{name} depth, m, in short", depth.at, level.depth, n)
        yield from told(f"{name} depth may be off, m", depth.off, whole.depth_off,
                        ROUGHLY * depth.most)  # fmt: skip
        yield from told(f"{name} depth may be off, m, in short", depth.off, level.depth_off,
                        ROUGHLY * depth.most)  # fmt: skip
        if group == "all":
            yield from told(f"{name} LAI may be off", lai.off, whole.lai_off, ROUGHLY * lai.most)
            yield from told(f"{name} LAI may be off, in short", lai.off, level.lai_off,
                            ROUGHLY * lai.most)  # fmt: skip
    if group == "all":
        yield from told("all: departure", departure, found.departure, ROUGHLY * departure)
        yield from told("all: departure, in short", departure, short.departure,
                        ROUGHLY * departure)  # fmt: skip
        yield from told("all: nearly an exponential", 1.0, float(bool(found.is_exponential)), 0.0)
    yield from _noise(found.profile.net, found.k.std_err, found.noise, group)


def _noise(batches: Array, k_error: float, noise: float, group: str) -> Iterator[Outcome]:
    """Hold errors of the fit beside those that follow from the batches to first order."""
    relative = batches / batches.mean(axis=0)
    design = np.stack([np.ones_like(ABOVE), -ABOVE], axis=1)
    slope, rest = [], []
    for batch in relative:
        line = np.linalg.lstsq(design, batch, rcond=None)[0]
        slope.append(line[1])
        rest.append(batch - design @ line)
    n = len(batches)
    error = float(np.std(slope, ddof=1) / np.sqrt(n))
    yield from told(f"{group}: error of k", error, k_error, ROUGHLY * error)
    spread = np.std(rest, axis=0, ddof=1) / np.sqrt(n)
    left = float(np.sqrt(np.mean(spread**2)))
    yield from told(f"{group}: noise of the residual", left, noise, ROUGHLY * left)


def _absorbed(result: Result, group: str, n: int) -> Iterator[Outcome]:
    """Hold the levels above which shares of what leaves take are taken."""
    from canopysim.analysis.reach import ABSORBED, reach

    taken = 1 - _exact_net(group)
    taken = taken / taken[-1]
    found = reach(result, group=group, rule=ABSORBED)
    for share, level in zip(LEFT, found.levels, strict=True):
        lai, depth = (read_level(x, taken, 1 - share) for x in (ABOVE, DEPTH))
        name = f"{group}: {1 - share:g} absorbed above,"
        yield from _held(f"{name} LAI", lai.at, level.lai, n)
        yield from _held(f"{name} depth, m", depth.at, level.depth, n)
        yield from _same_error(name, lai.at, level.lai.light, level.depth.light)
        yield from told(f"{name} LAI may be off", lai.off, level.lai_off, ROUGHLY * lai.most)
        yield from told(f"{name} depth may be off, m", depth.off, level.depth_off,
                        ROUGHLY * depth.most)  # fmt: skip


def _lower_half(result: Result, n: int) -> Iterator[Outcome]:
    """Hold what the lower half of the leaf area gets of each group, even within a layer."""
    from canopysim.analysis.reach import lower_half_by_group

    half = ABOVE[-1] / 2
    below = {g: np.interp(half, ABOVE, np.exp(-k * ABOVE)) - np.exp(-k * LAI) for g, k in K.items()}
    all_of_them = lower_half_by_group(result)
    yield from told("groups that the lower half has light of", float(len(K)), len(all_of_them), 0.0)
    for found in all_of_them:
        share = below[found.group]
        yield from _held(f"{found.group}: of its light in the lower half", share,
                         found.of_launched, n)  # fmt: skip
        yield from _held(f"{found.group}: of what the lower half gets",
                         share / sum(below.values()), found.of_lower, n)  # fmt: skip


def _measure(bench: Bench, case: Case) -> Sequence[Outcome]:
    result = bench.trace(case.scene, case.packets)
    n = result.n_batch
    found: list[Outcome] = []
    for group in (*K, "all"):
        found += _net(result, group, n)
        found += _absorbed(result, group, n)
    return [*found, *_lower_half(result, n)]


CASES = (
    Case(
        name="how deep light reaches",
        chapter="told apart",
        shows="Extinction, the levels at which a half and a tenth are left or absorbed above, and "
        "what the lower half of the leaves gets, of two slants and of both together.",
        source="Beer's law for each slant, exp(-LAI / 2 cos); both together are no exponential. "
        "Between boundaries logarithms are read straight, and what leaves take as even by area; "
        "how far that may be off is a parabola through a third. Errors of the fit to first order.",
        fails_if="A level were read between other boundaries or on another scale, a fit took other "
        "weights, a group were taken for all light, or a level were told where none is reached.",
        scene=slab_scene(BLACK, {"leaf_area_index": str(LAI), "angles": "spherical"},
                         lights=pencils(*SLANTS)),
        measure=_measure,
        packets=8 << 20,
        quick=1 / 16,
        precision=5e-3,
        why_rough="Logarithms, and slopes between near levels, of what light is left there.",
    ),
)  # fmt: skip
