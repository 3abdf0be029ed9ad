"""What stops a run: targets and budgets from the call, the scene and the defaults."""

from __future__ import annotations

import operator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from canopysim.errors import CanopysimError
from canopysim.units import parse_share

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene

DEFAULT_MAX_PACKETS = 200_000_000
MOST_PACKETS = 1e13

Target = dict[str, str | float] | str | float | None


@dataclass(frozen=True)
class Limits:
    """What stops a run, whichever comes first.

    Attributes
    ----------
    target : dict of str to float
        Relative standard error wanted for "layers" and for "planes".
    max_packets : int
        Packet budget; at least one batch is traced.
    max_time_s : float
        Time budget; infinite where there is none.
    """

    target: dict[str, float]
    max_packets: int
    max_time_s: float


def settle_limits(
    scene: Scene, target: Target, max_packets: float | None, max_time: float | None
) -> Limits:
    """Settle what stops a run: the call first, then the scene.

    Parameters
    ----------
    scene : Scene
        Its loader has settled what holds where the file is silent.
    target, max_packets, max_time
        As for `canopysim.run`; None where the call is silent.

    Returns
    -------
    Limits
        Checked.

    Raises
    ------
    CanopysimError
        For values that cannot be used.
    """
    wanted: dict[str, float]
    main = "layers" if scene.canopy is not None else "planes"
    if target is None:
        wanted = {str(k): float(v) for k, v in (scene.tracing.target or {}).items()}
    else:
        given = target if isinstance(target, dict) else {main: target}
        wanted = {name: _share(value, name) for name, value in given.items()}
    unknown = set(wanted) - {"layers", "planes"}
    if unknown:
        raise CanopysimError(
            f"target: {sorted(unknown)[0]!r} is not known; allowed are layers and planes"
        )
    # A target on nothing would never be met, and the run would go on to its budget.
    if "layers" in wanted and scene.canopy is None:
        raise CanopysimError("target layers: the scene has no canopy; allowed is planes")
    if "planes" in wanted and not scene.planes:
        raise CanopysimError("target planes: the scene has no planes; allowed is layers")
    if max_packets is None:
        max_packets = scene.tracing.max_packets or DEFAULT_MAX_PACKETS
    if max_time is None:
        max_time = scene.tracing.max_time
    if not 1 <= max_packets <= MOST_PACKETS:
        raise CanopysimError(
            f"max_packets: {max_packets} is out of range; allowed is 1 to {MOST_PACKETS:.0e}"
        )
    if max_time is not None and not max_time > 0:
        raise CanopysimError(f"max_time: {max_time} s is too short; allowed is more than 0 s")
    return Limits(
        target=wanted,
        max_packets=int(max_packets),
        max_time_s=float("inf") if max_time is None else float(max_time),
    )


def settle_seed(scene: Scene, seed: int | None) -> int:
    """Take the call's seed, or the scene's."""
    seed = scene.tracing.seed if seed is None else operator.index(seed)
    if not 0 <= seed < 2**32:
        raise CanopysimError(f"seed: {seed} is out of range; allowed is 0 to 4294967295")
    return seed


def settle_threads(threads: int | None) -> int:
    """Take the call's threads, or all cores that this process may use."""
    from canopysim.tallies.driver import available_threads

    threads = available_threads() if threads is None else operator.index(threads)
    if threads < 1:
        raise CanopysimError(f"threads: {threads} is too few; allowed is 1 or more")
    return threads


def _share(value: str | float, name: str) -> float:
    """Read a target, given as text with a unit or as a plain share."""
    try:
        share = parse_share(value) if isinstance(value, str) else float(value)
    except ValueError as problem:
        raise CanopysimError(f"target {name}: {problem}") from problem
    if not 0 < share <= 1:
        raise CanopysimError(f"target {name}: {value} is no relative error; allowed is up to 100 %")
    return share
