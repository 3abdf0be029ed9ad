"""Tables of what was told apart: straight and later light, where it came from, other linings."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from canopysim.analysis.books import UNKNOWN, Estimate
from canopysim.analysis.facets import facet_light, layer_spreads
from canopysim.analysis.lining import greatest_factor, with_lining
from canopysim.analysis.planes import plane_area
from canopysim.analysis.told_apart import ALL_LEAVES, Told, splits_of, tell_apart
from canopysim.bands import PAR, range_label
from canopysim.report.rows import Table
from canopysim.report.tables import number, plain_text
from canopysim.report.words import FLUX_DENSITY, PPFD_BAND, band_label, percent, significant
from canopysim.tallies.rows import mean_and_error
from canopysim.world.splits import CELLS, FLIGHT, LAST, LINING, SENSITIVITIES

if TYPE_CHECKING:
    from canopysim.results import Result

# Factors on the lining's reflectance that a table shows, below the greatest that is possible.
FACTORS = (0.0, 0.5, 0.9)
# Surfaces and sensitivities that matter less than this everywhere are left out of tables.
LEAST_SHARE = 0.0005


def told_apart_tables(result: Result) -> list[Table]:
    """Make the tables of everything that the result tells apart, in 400–700 nm.

    Returns
    -------
    list of Table
        Empty where nothing is told apart.
    """
    makers = {
        FLIGHT: _flight_table,
        LAST: _last_table,
        LINING: _lining_table,
        SENSITIVITIES: _sensitivity_table,
    }
    tables = [makers[name](result) for name in splits_of(result) if name in makers]
    if CELLS in splits_of(result):
        along, polar, around = result.meta["told_apart"]["cells"]
        tables.append(
            Table(
                "Light told apart by launch cell: kept in result.nc",
                ("What", "Number"),
                (
                    ("Parts of each strip", str(along)),
                    ("Rings of direction", str(polar)),
                    ("Sectors of a ring", str(around)),
                ),
                "canopysim.analysis.relight answers from them for other lenses, tilts and turns.",
            )
        )
    if result.meta.get("told_apart", {}).get("facets"):
        tables.append(_facet_table(result))
    return tables


def _chosen(result: Result, told: Told) -> list[int]:
    """Tallies that a table has room for: all leaves, the top and lowest layer, planes downward."""
    wanted = []
    if result.layers is not None:
        n_layer = result.layers.sizes["layer"]
        wanted += [ALL_LEAVES, "layer 1"] + [f"layer {n_layer}"] * (n_layer > 1)
    wanted += [f"{plane}, down" for plane in result.planes]
    return [told.tallies.index(name) for name in wanted]


def _heading(result: Result, name: str) -> str:
    if result.layers is not None:
        names = {"layer 1": "Top layer", f"layer {result.layers.sizes['layer']}": "Lowest layer"}
        return names.get(name, name[0].upper() + name[1:])
    return name[0].upper() + name[1:]


def _headings(result: Result, told: Told, first: str) -> tuple[str, ...]:
    return (first, *(_heading(result, told.tallies[i]) for i in _chosen(result, told)))


def _flight_table(result: Result) -> Table:
    """Share that comes straight from the lamps, for every layer and plane."""
    told = tell_apart(result, FLIGHT)
    shares = told.shares(np.array([1.0, 0.0]))
    ends = set(result.ends["end"].values)
    rows = [
        (name, percent(share.value, share.std_err))
        for name, share in zip(told.tallies, shares, strict=True)
        if name not in ends
    ]
    return Table(
        f"Straight from the lamps, without meeting anything on the way, {band_label(PPFD_BAND)}",
        ("Where", "Share of what arrives or is absorbed there"),
        tuple(rows),
    )


def _last_table(result: Result) -> Table:
    """Where light comes from: the surface that it left last."""
    told = tell_apart(result, LAST)
    chosen = _chosen(result, told)
    rows = []
    for k, name in enumerate(told.rows):
        shares = told.shares(np.eye(len(told.rows))[k])
        if any(shares[i].value >= LEAST_SHARE for i in chosen):
            rows.append((name, *(percent(shares[i].value, shares[i].std_err) for i in chosen)))
    return Table(
        f"Where the light comes from: the last surface on its way, {band_label(PPFD_BAND)}",
        _headings(result, told, "It comes from"),
        tuple(rows),
    )


def _lining_table(result: Result) -> Table:
    """Compare other linings with the traced one."""
    told = tell_apart(result, LINING)
    chosen = [told.tallies[i] for i in _chosen(result, told)]
    greatest = greatest_factor(result)
    rows = []
    unsure = 0.0
    for factor in (*FACTORS, 1.0, *([min(greatest, 1.1)] if greatest > 1.0 else [])):
        found = with_lining(result, factor)
        cells = []
        for name in chosen:
            ratio, flux = found[name].ratio, found[name].flux.value
            error = ratio.std_err if factor != 1.0 else UNKNOWN.std_err
            cells.append(percent(ratio.value, error))
            if flux > 0:
                unsure = max(unsure, found[name].unsure / flux)
        label = "black" if factor == 0 else "as traced" if factor == 1 else f"{factor:.3g} times"
        rows.append((label, *cells))
    caution = ""
    if unsure > 0.01:
        caution = (
            " That is too much: ask for more lining_meetings under 'also_count' and trace again."
        )
    return Table(
        "With another lining: light in percent of what the traced one gives, "
        f"{band_label(PPFD_BAND)}; the lining's reflectance in every waveband",
        _headings(result, told, "Reflectance"),
        tuple(rows),
        "From one trace: light that has met the lining n times has the n-th power of its "
        f"reflectance as a factor. Light with {len(told.rows) - 1} and more meetings counts as "
        f"with {len(told.rows) - 1}: these figures rest on it by "
        f"{'at most' if greatest <= 1 else 'about'} {_little(unsure)}.{caution}",
    )


def _little(share: float) -> str:
    """Write a share that is mostly next to nothing."""
    return "under 0.01 %" if share < 1e-4 else percent(share)


def _sensitivity_table(result: Result) -> Table:
    """Relative change for one percent more of a reflectance or transmittance."""
    told = tell_apart(result, SENSITIVITIES)
    whole = _whole(result, told)
    chosen = [i for i in _chosen(result, told) if whole[i] > 0]
    rows = []
    for k, name in enumerate(told.rows):
        values = told.weighted(np.eye(len(told.rows))[k])
        relative = [
            Estimate(values[i].value / whole[i], values[i].std_err / whole[i]) for i in chosen
        ]
        if any(abs(r.value) >= LEAST_SHARE for r in relative):
            # One percent more of the share changes the tally by so many percent.
            rows.append((name, *(percent(0.01 * r.value, 0.01 * r.std_err) for r in relative)))
    headings = tuple(_heading(result, told.tallies[i]) for i in chosen)
    return Table(
        "What one percent more would change: of a reflectance or transmittance (88 % to 88.88 %), "
        f"{band_label(PPFD_BAND)}",
        ("One percent more of", *headings),
        tuple(rows),
        "Derivatives from the same photons; both sides of a surface together.",
    )


def _whole(result: Result, told: Told) -> list[float]:
    """Each tally itself, µmol s⁻¹, from the books."""
    whole = {}
    if result.layers is not None:
        at = {"group": "all", "band": PPFD_BAND, "side": "both"}
        flux = result.layers["absorbed_umol_s"].sel(at).values
        whole = {f"layer {k}": float(v) for k, v in enumerate(flux, 1)}
        whole[ALL_LEAVES] = float(flux.sum())
    for name, plane in result.planes.items():
        area = plane_area(plane)
        for direction in ("down", "up"):
            mean = plane["mean"].sel(group="all", band=PPFD_BAND, direction=direction)
            whole[f"{name}, {direction}"] = float(mean) * area
    ends = result.ends["flux_umol_s"].sel(group="all", band=PPFD_BAND)
    return [whole[name] if name in whole else float(ends.sel(end=name)) for name in told.tallies]


def _facet_table(result: Result) -> Table:
    """How unevenly the leaves of each layer are lit."""
    rows = tuple(
        (
            str(s.layer), significant(s.mean), percent(s.spread), percent(s.noise),
        )
        for s in layer_spreads(facet_light(result))
    )  # fmt: skip
    return Table(
        "How unevenly leaves are lit: single leaf triangles within a layer, "
        f"{band_label(PPFD_BAND)}",
        ("Layer", f"Mean absorbed, {FLUX_DENSITY}", "Spread of the light", "Noise of the trace"),
        rows,
        "Standard deviations over the mean, by leaf area; the noise is taken out of the spread. A "
        "triangle belongs to the layer of its middle, so that means differ a little from those of "
        "layers, which cut triangles at their boundaries.",
    )


def write_told_apart_csv(result: Result, path: Path) -> None:
    """Write every tally told apart, one row for each split, row, tally, group and range.

    Parameters
    ----------
    result : Result
        One that tells something apart.
    path : Path
        File to write: the split, its row, the tally, the group of lights, the waveband, then flux
        and standard error in µmol s⁻¹. Launch cells and leaf triangles are in result.nc alone.
    """
    spans = {range_label(*PAR): PAR} | {
        str(name): (float(low), float(high))
        for name, low, high in zip(
            result.launched["band"].values, result.launched["low_nm"].values,
            result.launched["high_nm"].values, strict=True,
        )
    }  # fmt: skip
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(
            ["told_apart_by", "row", "tally", "group", "band_nm", "flux_umol_s", "std_err_umol_s"]
        )
        for name in splits_of(result):
            if name == CELLS:
                continue
            for group in (*result.groups, "all"):
                for band, span in spans.items():
                    told = tell_apart(result, name, span=span, group=group)
                    means, errors = mean_and_error(told.flux, told.batches)
                    tallies = [plain_text(tally) for tally in told.tallies]
                    for row, *found in zip(told.rows, means, errors, strict=True):
                        head = [name, plain_text(row)]
                        writer.writerows(
                            [*head, tally, plain_text(group), band, number(value), number(error)]
                            for tally, value, error in zip(tallies, *found, strict=True)
                        )
