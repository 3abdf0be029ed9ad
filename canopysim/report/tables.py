"""The figures as CSV files: one row for each layer and group, one for each cell of a map."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from canopysim.analysis.far_red import far_red_bands, far_red_span
from canopysim.bands import PAR, range_label

if TYPE_CHECKING:
    from canopysim.results import Result


def write_layers_csv(result: Result, path: Path) -> None:
    """Write the layer table.

    Parameters
    ----------
    result : Result
        With layers.
    path : Path
        File to write. One row for each layer (1 is the top) and group; for every band the flux that
        both leaf sides absorb, per leaf area and per ground area, each followed by its standard
        error. The unit ends the column's name. An unknown error is written nan; it is 0 only where
        the group launches nothing in the band.

    Raises
    ------
    ValueError
        If the result has no canopy.
    """
    layers = result.layers
    if layers is None:
        raise ValueError("this result has no canopy, so there is no layer table to write")
    fields = [
        ("absorbed_umol_s", "absorbed_std_err", "absorbed", "umol_s"),
        (
            "absorbed_per_leaf_area",
            "absorbed_per_leaf_area_std_err",
            "absorbed_per_leaf_area",
            "umol_m2_s",
        ),
        (
            "absorbed_per_ground_area",
            "absorbed_per_ground_area_std_err",
            "absorbed_per_ground_area",
            "umol_m2_s",
        ),
    ]
    bands = [str(band) for band in layers["band"].values]
    place = ["z_top_m", "z_bottom_m", "leaf_area_m2", "cumulative_lai"]
    header = ["layer", "group", *place]
    for _, _, name, unit in fields:
        for band in bands:
            header += [f"{name}_{band}nm_{unit}", f"{name}_{band}nm_std_err_{unit}"]

    dims = ("layer", "group", "band")
    both = layers.sel(side="both")
    emitted = result.launched.sel(group=layers["group"], band=bands).transpose("group", "band")
    dark = emitted.values == 0.0
    columns = []
    for value, error, _, _ in fields:
        values, errors = (both[name].transpose(*dims).values for name in (value, error))
        # An error is known to be 0 where no light can arrive at a leaf area.
        columns.append(np.stack([values, np.where(dark & (values == 0.0), 0.0, errors)], axis=-1))
    told = np.concatenate(columns, axis=2)
    places = np.stack([layers[name].values for name in place], axis=1)
    rows: list[list[object]] = []
    for i, layer in enumerate(layers["layer"].values):
        for j, group in enumerate(layers["group"].values):
            row: list[object] = [int(layer), plain_text(str(group))]
            rows.append(row + [number(float(one)) for one in (*places[i], *told[i, j].ravel())])
    _write(path, header, rows)


def write_map_csv(result: Result, name: str, path: Path) -> None:
    """Write the map of one plane.

    Parameters
    ----------
    result : Result
        Holding the plane.
    name : str
        Its name.
    path : Path
        File to write. One row for each cell, x running fastest: its centre, and for every group the
        flux density travelling down and up in 400–700 nm and in far-red, each with its standard
        error; nan and 0 as in layers.csv. Far-red is one column, or one for each traced band where
        the result does not hold their sum.
    """
    plane = result.planes[name]
    header = ["x_m", "y_m"]
    columns = []
    whole = range_label(*far_red_span(result))
    far_red = [whole] if whole in plane["band"].values else far_red_bands(result)
    for band in (range_label(*PAR), *far_red):
        for group in plane["group"].values:
            dark = float(result.launched.sel(group=group, band=band)) == 0.0
            for direction in plane["direction"].values:
                at = {"group": group, "band": band, "direction": direction}
                column = f"{group}_{direction}_{band}nm"
                pfd, error = (
                    plane[variable].sel(at).transpose("y", "x").values.ravel()
                    for variable in ("pfd", "pfd_std_err")
                )
                header += [f"{column}_umol_m2_s", f"{column}_std_err_umol_m2_s"]
                columns += [pfd, np.zeros_like(error) if dark else error]
    y, x = np.meshgrid(plane["y"].values, plane["x"].values, indexing="ij")
    table = np.column_stack([x.ravel(), y.ravel(), *columns])
    _write(path, header, [[number(float(value)) for value in row] for row in table])


def write_tables(result: Result, folder: Path) -> list[Path]:
    """Write layers.csv, if there is a canopy, and a map-<name>.csv for each plane.

    Parameters
    ----------
    result : Result
        What to write.
    folder : Path
        Existing folder.

    Returns
    -------
    list of Path
        The files written.
    """
    written = []
    if result.layers is not None:
        written.append(folder / "layers.csv")
        write_layers_csv(result, written[-1])
    for name in result.planes:
        written.append(folder / f"map-{name}.csv")
        write_map_csv(result, name, written[-1])
    return written


def number(value: float) -> str:
    """Shortest decimal text that reads back as a number with nine significant digits."""
    return f"{value:.9g}"


def plain_text(text: str) -> str:
    """Text that no spreadsheet takes for a formula: such a one gets an apostrophe in front."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


def _write(path: Path, header: list[str], rows: list[list[object]] | list[list[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow([plain_text(name) for name in header])
        writer.writerows(rows)
