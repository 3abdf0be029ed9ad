"""How sure the figures are, in words: the errors that were reached, and what few batches tell."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from canopysim.analysis.books import launched
from canopysim.analysis.planes import plane_statistics
from canopysim.report.words import PPFD_BAND, band_label, count, percent, significant
from canopysim.tallies.stop import MIN_BATCH

if TYPE_CHECKING:
    import xarray as xr

    from canopysim.results import Result

PAR_LABEL = band_label(PPFD_BAND)


def has_errors(result: Result) -> bool:
    """Whether there are batches enough for a standard error."""
    return result.n_batch >= 2


def batch_note(result: Result) -> str:
    """Say what too few batches mean for the errors; nothing if there are enough.

    Returns
    -------
    str
        A sentence, or "".

    Notes
    -----
    A standard deviation of n normal values has a relative standard error of about 1/√(2(n − 1)).
    """
    n = result.n_batch
    if not has_errors(result):
        packets = count(2 * result.n_packet // max(n, 1))
        return f"One batch gives no standard error; trace at least two ({packets} packets)."
    if n < MIN_BATCH:
        rough = math.sqrt(0.5 / (n - 1))
        return (
            f"Each ± comes from {n} batches only and is itself rough: uncertain by about "
            f"{100.0 * rough:.0f} %."
        )
    return ""


def reached_errors(result: Result) -> list[str]:
    """Largest relative standard errors that the run reached, one phrase for each kind of tally."""
    if not launched(result) > 0.0:
        return [f"nothing was launched in {PAR_LABEL}"]
    if not has_errors(result):
        note = batch_note(result).removesuffix(".")
        return [note[0].lower() + note[1:]]
    lines = []
    if result.layers is not None:
        lines.append(_of_layers(result.layers))
    figures = [plane_statistics(plane) for plane in result.planes.values()]
    if figures:
        dark = sum(figure.mean == 0.0 for figure in figures)
        worst = _worst([f.mean for f in figures], [f.mean_std_err for f in figures])
        text = f"planes: at most {percent(worst)} of each plane's mean {PAR_LABEL}"
        if dark == len(figures):
            text = "planes"
        lines.append(text + _unless(dark, "reached by no photon"))
    return lines


def figure_of_merit(result: Result) -> str:
    """Say how well the run's time was spent: 1 / (relative error² x seconds of tracing).

    Returns
    -------
    str
        A sentence on the least known layer, or plane where there is no canopy; "" where no error is
        known. The figure does not depend on how long the run was, so it compares methods and
        machines.
    """
    name, worst = "", float("nan")
    if has_errors(result) and result.layers is not None:
        here = result.layers.sel(group="all", band=PPFD_BAND, side="both")
        with np.errstate(invalid="ignore", divide="ignore"):
            relative = here["absorbed_std_err"].values / here["absorbed_umol_s"].values
        if np.isfinite(relative).any():
            k = int(np.nanargmax(np.where(np.isfinite(relative), relative, np.nan)))
            name, worst = f"layer {int(here['layer'].values[k])}", float(relative[k])
    elif has_errors(result):
        for plane, grid in result.planes.items():
            found = plane_statistics(grid)
            relative = found.mean_std_err / found.mean if found.mean > 0 else float("nan")
            if math.isfinite(relative) and not relative <= worst:
                name, worst = plane, relative
    if not name or worst <= 0 or result.seconds <= 0:
        return ""
    merit = significant(1 / (worst**2 * result.seconds), 2)
    return (
        f"Figure of merit of {name}, {PAR_LABEL}: {merit} per second "
        "(1 over relative error² and time)."
    )


def _of_layers(layers: xr.Dataset) -> str:
    """Largest relative error of a layer, and how many have none for which reason."""
    here = layers.sel(group="all", band=PPFD_BAND, side="both")
    absorbed = np.asarray(here["absorbed_umol_s"], np.float64)
    area = np.asarray(layers["leaf_area_m2"], np.float64)
    met = np.asarray(layers["n_meeting"].sel(group="all", side="both"), np.int64)
    worst = _worst(absorbed.tolist(), np.asarray(here["absorbed_std_err"]).tolist())
    text = f"layers: at most {percent(worst)} of each layer's {PAR_LABEL} absorption"
    if not absorbed.any():
        text = "layers"
    reached = area > 0.0
    return (
        text
        + _unless(int((~reached).sum()), "without leaves")
        + _unless(int((reached & (met == 0)).sum()), "not reached by any photon")
        + _unless(int((reached & (met > 0) & (absorbed == 0.0)).sum()), f"by none of {PAR_LABEL}")
    )


def _unless(number: int, what: str) -> str:
    return f" ({number} {what})" if number else ""


def _worst(values: list[float], errors: list[float]) -> float:
    """Largest relative error among the known ones; NaN if there is none."""
    ratios = [e / v for v, e in zip(values, errors, strict=True) if v > 0.0 and math.isfinite(e)]
    return max(ratios) if ratios else float("nan")
