"""Replicate canopies: one result for each, and figures with an error for light and one for plants.

The error of the light is that of the whole run: the noise of its photons, for the very plants that
were grown. The error of the plants says how far another set of as many canopies, grown from other
seeds, would be off: the spread between the canopies, less what the noise of the light puts into it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from canopysim.analysis.books import Estimate

if TYPE_CHECKING:
    from canopysim.results import Result

NAN = float("nan")


@dataclass(frozen=True)
class TwoErrors:
    """A figure with two standard errors.

    Attributes
    ----------
    value : float
        Of all canopies together.
    light : float
        Standard error by the noise of the trace.
    plants : float
        Standard error of the mean over canopies by the plants; NaN with one canopy. Zero where the
        noise of the light explains all of their spread.
    canopies : int
        Replicates.
    """

    value: float
    light: float
    plants: float
    canopies: int

    @property
    def both(self) -> float:
        """Both errors together; that of the light alone where there is one canopy."""
        return float(np.hypot(self.light, 0.0 if np.isnan(self.plants) else self.plants))

    @property
    def estimate(self) -> Estimate:
        """The figure with the error of the light."""
        return Estimate(self.value, self.light)


def n_replicates(result: Result) -> int:
    """Canopies that a result is the mean of."""
    return int(result.settings.get("replicates", 1))


def replicate_result(result: Result, number: int) -> Result:
    """One canopy of several, as a result by itself.

    Parameters
    ----------
    result : Result
        With replicates.
    number : int
        From 0.

    Returns
    -------
    Result
        Its books, leaf areas and heights; figures that are labelled already, such as maps, are
        those of all canopies and stay out of analyses of books.
    """
    n = n_replicates(result)
    rows = result.rows
    layers = result.layers
    assert layers is not None
    at = rows.isel(replicate=number)
    scale = rows["channel_umol_s_per_quantum"] * n
    own = rows.drop_vars([v for v in rows if str(v).startswith("replicate_")]).assign(
        absorbed=at["replicate_absorbed"],
        crossed_sum=at["replicate_crossed"],
        channel_umol_s_per_quantum=scale,
    )
    if "facet_replicate" in own:
        own = own.isel(facet=np.flatnonzero(own["facet_replicate"].values == number))
        own = own.assign(facet_area_m2=own["facet_area_m2"] * n)
    area = at["replicate_leaf_area_m2"].values
    ground = float(result.settings["ground_area_m2"])
    named = {
        "z_top_m": at["replicate_z_top_m"].values,
        "z_bottom_m": at["replicate_z_bottom_m"].values,
        "leaf_area_m2": area,
        "cumulative_lai": np.cumsum(area) / ground,
    }
    kept = layers.drop_vars([v for v in layers if str(v).startswith(("absorbed", "n_meeting"))])
    return replace(
        result,
        rows=own,
        layers=kept.assign({name: ("layer", values) for name, values in named.items()}),
        meta={**result.meta, "settings": {**result.settings, "replicates": 1}},
    )


def canopies_of(result: Result) -> list[Result]:
    """Every canopy of several as a result by itself; nothing where there is one."""
    n = n_replicates(result)
    return [replicate_result(result, number) for number in range(n)] if n > 1 else []


def two_errors(
    result: Result,
    figures: Callable[[Result], Sequence[Estimate]],
    canopies: Sequence[Result] | None = None,
) -> list[TwoErrors]:
    """Evaluate figures for all canopies and for each.

    Parameters
    ----------
    result : Result
        With or without replicates.
    figures : callable
        From a result to figures with the error of the light: always as many.
    canopies : sequence of Result, optional
        What `canopies_of` gives, where many figures are asked for one by one.

    Returns
    -------
    list of TwoErrors
        The variance between n canopies, less the mean of what the light puts into each, is that
        of the plants; over n it is that of their mean. With few canopies it is itself rough: of 4
        it is known to about 40 %.
    """
    whole = figures(result)
    each = [figures(one) for one in (canopies_of(result) if canopies is None else canopies)]
    n = len(each)
    if not each:
        return [TwoErrors(f.value, f.std_err, NAN, 1) for f in whole]
    found = []
    for k, figure in enumerate(whole):
        values = np.array([one[k].value for one in each])
        noise = np.array([one[k].std_err for one in each])
        between = float(values.var(ddof=1) - np.mean(noise**2))
        plants = np.sqrt(max(between, 0.0) / n) if np.isfinite(between) else NAN
        found.append(TwoErrors(figure.value, figure.std_err, float(plants), n))
    return found
