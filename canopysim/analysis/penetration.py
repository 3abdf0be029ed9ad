"""How deep light reaches: the extinction coefficient, and where a half and a tenth remain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.between import bend
from canopysim.analysis.books import UNKNOWN, Estimate, Span, mean, ratio
from canopysim.analysis.jackknife import jackknife_error, leave_one_out
from canopysim.analysis.profile import Profile, profile
from canopysim.bands import PAR

if TYPE_CHECKING:
    from canopysim.results import Result

Array = NDArray[np.float64]
# A flux so many standard errors above zero has a logarithm whose bias, half the square of the
# relative error, is 2 % at most; and no batch left out can turn it negative.
CLEAR = 5.0
# What remains where people ask for it.
SHARES = (0.5, 0.1)


@dataclass(frozen=True)
class Remaining:
    """Where the light has fallen to a share of its value at the canopy's top.

    Attributes
    ----------
    share : float
        0 to 1.
    reached : bool
        Whether it falls so far within the canopy.
    lai : Estimate
        Leaf area index above that level, m² m⁻²; NaN where it is not reached.
    height : Estimate
        Of that level above the floor, m.
    depth : Estimate
        Of that level below the canopy's top, m.
    lai_off, depth_off : float
        How far they may be off by reading them between boundaries (`between.bend`); NaN unknown.
    """

    share: float
    reached: bool
    lai: Estimate
    height: Estimate
    depth: Estimate
    lai_off: float = float("nan")
    depth_off: float = float("nan")


@dataclass(frozen=True)
class Penetration:
    """How light falls with depth.

    Attributes
    ----------
    profile : Profile
        From which it is told.
    flux : str
        "net", "down" or "up": which flux density is meant.
    k : Estimate
        Extinction coefficient per unit of leaf area index: slope of ln(flux density) against the
        leaf area index above, least squares with equal weights over the boundaries from the top
        down to the last one whose flux is `CLEAR` standard errors above zero.
    n_boundary : int
        Boundaries in that fit.
    departure : float
        Root mean square of the residual of the logarithm: how far an exponential is off, as a
        relative figure. NaN with fewer than three boundaries.
    noise : float
        Root mean square of the standard errors of the residuals: the departure that the trace's
        noise alone would show.
    k_by_layer : tuple of Estimate
        Of each layer by itself: ln(flux at its top / flux at its bottom) over its leaf area index.
    remaining : tuple of Remaining
        One for each share asked for.
    at_bottom : Estimate
        Share of the flux at the top that is left at the lowest boundary.
    """

    profile: Profile
    flux: str
    k: Estimate
    n_boundary: int
    departure: float
    noise: float
    k_by_layer: tuple[Estimate, ...]
    remaining: tuple[Remaining, ...]
    at_bottom: Estimate

    @property
    def is_exponential(self) -> bool | None:
        """Whether an exponential describes the fall within a tenth; None where it is not known."""
        return None if np.isnan(self.departure) else self.departure <= 0.1


def penetration(
    result: Result,
    *,
    span: Span = PAR,
    group: str = "all",
    flux: str = "net",
    shares: Sequence[float] = SHARES,
) -> Penetration:
    """Extinction and depths of one group of lights in one waveband.

    Parameters
    ----------
    result : Result
        With layers, and a profile (see `canopysim.analysis.profile`).
    span : (low, high)
        Range of whole traced bands, nm.
    group : str
        Group of lights, or "all". Where its lights hang below the canopy's top
        (``profile.from_above`` is false), its light does not enter from above alone: the fit still
        says how the flux falls, but k tells nothing of the leaves.
    flux : str
        "net", "down" or "up".
    shares : sequence of float
        Of the flux at the top, each between 0 and 1.

    Returns
    -------
    Penetration
        Standard errors by leaving each batch out once (jackknife), so that what varies together
        between boundaries is counted so. NaN where the flux at the top is not clear of its noise.

    Raises
    ------
    CanopysimError
        Where the flux is not known.
    """
    return penetration_of(profile(result, span=span, group=group), flux=flux, shares=shares)


def penetration_of(
    of: Profile, *, flux: str = "net", shares: Sequence[float] = SHARES
) -> Penetration:
    """Do as `penetration` with a profile at hand."""
    if flux not in ("net", "down", "up"):
        raise ValueError(f"flux: {flux!r} is not known; allowed are net, down and up")
    if not all(0.0 < share < 1.0 for share in shares):
        raise ValueError("shares: allowed is more than 0 and less than 1")
    rows = np.asarray(getattr(of, flux))
    values = rows.mean(axis=0)
    without = leave_one_out(rows)
    clear = clear_of_noise(rows)
    n = int(np.argmin(clear)) if not clear.all() else len(clear)
    k, departure, noise = _fit(of.lai[:n], values[:n], without[:, :n])
    bottom = int(np.flatnonzero(np.isfinite(values))[-1]) if np.isfinite(values).any() else 0
    return Penetration(
        profile=of,
        flux=flux,
        k=k,
        n_boundary=n,
        departure=departure,
        noise=noise,
        k_by_layer=_by_layer(of.lai, values, without, clear),
        remaining=tuple(_remaining(of, share, values, without, clear) for share in shares),
        at_bottom=ratio(rows[:, bottom], rows[:, 0]) if n else UNKNOWN,
    )


def clear_of_noise(rows: Array) -> NDArray[np.bool_]:
    """Whether each column of (n_batch, n) is `CLEAR` of zero; with one batch, whether positive."""
    found = [mean(column) for column in rows.T]
    return np.array(
        [bool(e.value > 0.0) if len(rows) < 2 else bool(e.value > CLEAR * e.std_err) for e in found]
    )


def _fit(lai: Array, values: Array, without: Array) -> tuple[Estimate, float, float]:
    """Extinction coefficient, root mean square of the residual, and that of its noise."""
    if len(lai) < 2 or not np.ptp(lai) > 0.0:
        return UNKNOWN, float("nan"), float("nan")
    # Least squares as one matrix: what it takes off the logarithms leaves the residual.
    design = np.stack([np.ones_like(lai), -lai], axis=1)
    solve = np.linalg.pinv(design)
    off = np.eye(len(lai)) - design @ solve
    logs, logs_without = np.log(values), np.log(without)
    k = Estimate(float(solve[1] @ logs), float(jackknife_error(logs_without @ solve[1])))
    if len(lai) < 3:
        return k, float("nan"), float("nan")
    noise = jackknife_error(logs_without @ off.T)
    return k, float(np.sqrt(np.mean((off @ logs) ** 2))), float(np.sqrt(np.mean(noise**2)))


def _by_layer(
    lai: Array, values: Array, without: Array, clear: NDArray[np.bool_]
) -> tuple[Estimate, ...]:
    """Extinction of each layer by itself; unknown without leaves or without a clear flux."""
    found = []
    for i, leaves in enumerate(np.diff(lai)):
        if not (leaves > 0.0 and clear[i] and clear[i + 1]):
            found.append(UNKNOWN)
            continue
        each = np.log(without[:, i] / without[:, i + 1]) / leaves
        k = float(np.log(values[i] / values[i + 1]) / leaves)
        found.append(Estimate(k, float(jackknife_error(each))))
    return tuple(found)


def _remaining(
    of: Profile, share: float, values: Array, without: Array, clear: NDArray[np.bool_]
) -> Remaining:
    """First level from the top at which a share remains.

    Between boundaries the logarithm is linear in leaf area and in height; where the flux at the
    lower one is not clear of zero the flux itself is. The segment and the rule are those of the
    whole run also with a batch left out, so that the figure stays smooth.
    """
    with np.errstate(invalid="ignore"):
        fallen = np.flatnonzero(values <= share * values[0])
    if not clear[0] or len(fallen) == 0:
        return Remaining(share, False, UNKNOWN, UNKNOWN, UNKNOWN)
    below = int(fallen[0])
    above = below - 1

    def part(flux: Array) -> Array:
        """Fraction of the way from the boundary above to the one below."""
        target, high, low = share * flux[..., 0], flux[..., above], flux[..., below]
        if clear[above] and clear[below]:
            return np.asarray(np.log(high / target) / np.log(high / low))
        return np.asarray((high - target) / (high - low))

    at, at_without = float(part(values)), part(without)

    def level(scale: Array, sign: float = 1.0, start: float = 0.0) -> Estimate:
        step = sign * (scale[below] - scale[above])
        error = float(jackknife_error(at_without * step))
        return Estimate(float(start + sign * scale[above] + at * step), error)

    straight = np.full(len(values), np.nan)
    known = np.flatnonzero(clear | (np.arange(len(values)) == below))
    straight[known] = values[known]
    if clear[above] and clear[below]:
        straight[known] = np.log(values[known])
    lai = level(of.lai)
    depth = level(of.height, -1.0, float(of.height[0]))
    return Remaining(
        share=share,
        reached=True,
        lai=lai,
        height=level(of.height),
        depth=depth,
        lai_off=bend(of.lai, straight, below, lai.value),
        depth_off=bend(of.height[0] - of.height, straight, below, depth.value),
    )
