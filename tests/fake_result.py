"""A result made up from plain numbers, for testing the report without tracing anything."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from canopysim.results import Result

BANDS = ["400-500", "500-600", "600-700", "700-750", "750-800"]
SUMS = {"400-700": [0, 1, 2], "400-750": [0, 1, 2, 3], "700-800": [3, 4]}
SIZE = (1.2, 1.0, 2.0)
GROUND = SIZE[0] * SIZE[1]
N_BATCH = 16
# Share of launched photons, percent, of the ends below the leaves.
OTHER_ENDS = {
    "stems": 1.5,
    "floor": 4,
    "ceiling": 3,
    "front": 3,
    "back": 4,
    "left": 4,
    "right": 4,
    "patch 1 of the back (duct)": 1,
    "patch 1 of the floor (mat)": 0.5,
    "fixture bodies": 12,
    "escaped through the front": 3,
    "untraced": 0,
}


def with_sums(values: np.ndarray) -> np.ndarray:
    """Append the summed bands along the last axis."""
    sums = [values[..., index].sum(axis=-1) for index in SUMS.values()]
    return np.concatenate([values, np.stack(sums, axis=-1)], axis=-1)


def with_all(values: np.ndarray, axis: int = 0) -> np.ndarray:
    """Append the sum over groups."""
    return np.concatenate([values, values.sum(axis=axis, keepdims=True)], axis=axis)


def mean_and_error(per_batch: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean over batches and its standard error, NaN where nothing arrived."""
    error = per_batch.std(axis=0, ddof=1) / np.sqrt(len(per_batch))
    return per_batch.mean(axis=0), np.where((per_batch != 0).any(axis=0), error, np.nan)


def fake_result(
    *,
    title: str = "Pepper seed bank, 120 cm tent",
    groups: tuple[str, ...] = ("top bars", "side bars"),
    n_layer: int = 4,
    with_plants: bool = True,
    planes: tuple[str, ...] = ("canopy-top", "floor-level"),
    n_cell: tuple[int, int] = (24, 20),
    stopped_by: str = "target",
    meta: dict[str, Any] | None = None,
) -> Result:
    """Books with noise, and the labelled figures that follow from them."""
    rng = np.random.default_rng(3)
    per_group = np.linspace(1.0, 0.4, len(groups))[:, None] * np.array([154, 140, 336, 49, 21.0])
    launched = with_sums(with_all(per_group))

    # Shares of launched for every row of the books: layers with two sides, then the other ends.
    edges = np.linspace(0.1, 0.9, n_layer + 1)[::-1]
    area = GROUND * 3.0 * np.linspace(1.2, 0.8, n_layer) / n_layer
    fall = np.array([1.1, 0.9, 1.0, 0.6, 0.2])
    above = np.insert(np.cumsum(area), 0, 0.0)[:, None]
    taken = -np.diff(np.exp(-fall * above), axis=0)
    leaf = 0.6 * taken[:, None, :] * np.array([0.7, 0.3])[:, None]
    sinks = [("leaves", layer + 1, side) for layer in range(n_layer) for side in ("upper", "lower")]
    share = leaf.reshape(2 * n_layer, len(BANDS))
    if not with_plants:
        sinks, share = [], share[:0]
    others = np.array(list(OTHER_ENDS.values()))[:, None] * np.ones(len(BANDS))
    others[0] *= with_plants
    share = np.concatenate([share, others * (1 - share.sum(axis=0)) / others.sum(axis=0)])
    sinks += [(end, -1, "") for end in OTHER_ENDS]
    noise = 1 + 0.01 * rng.standard_normal((N_BATCH, len(groups), len(sinks), len(BANDS)))
    books = per_group[:, None] * share * noise
    # Roulette and shared choice scatter about nothing.
    corrections = 0.05 * rng.standard_normal((N_BATCH, len(groups), 2, len(BANDS)))
    books = np.concatenate([books, corrections], axis=2)
    sinks += [("roulette", -1, ""), ("choice", -1, "")]
    scale = 2.0**-20
    quanta = np.rint(books / scale).astype(np.int64)
    books = quanta * scale

    group_names, band_names = [*groups, "all"], [*BANDS, *SUMS]
    full = with_sums(with_all(books, axis=1))
    layers = None
    if with_plants:
        sides = full[:, :, : 2 * n_layer].reshape(N_BATCH, -1, n_layer, 2, len(band_names))
        sides = np.concatenate([sides, sides.sum(axis=3, keepdims=True)], axis=3)
        value, error = mean_and_error(sides)
        dims = ("group", "layer", "side", "band")
        per_leaf = 1 / area[:, None, None]
        layers = xr.Dataset(
            {
                "absorbed_umol_s": (dims, value),
                "absorbed_std_err": (dims, error),
                "absorbed_per_leaf_area": (dims, value * per_leaf),
                "absorbed_per_leaf_area_std_err": (dims, error * per_leaf),
                "absorbed_per_ground_area": (dims, value / GROUND),
                "absorbed_per_ground_area_std_err": (dims, error / GROUND),
                "z_top_m": ("layer", edges[:-1]),
                "z_bottom_m": ("layer", edges[1:]),
                "leaf_area_m2": ("layer", area),
                "cumulative_lai": ("layer", np.cumsum(area) / GROUND),
            },
            coords={
                "group": group_names,
                "layer": np.arange(1, n_layer + 1),
                "side": ["upper", "lower", "both"],
                "band": band_names,
            },
        )

    names = list(dict.fromkeys(end for end, _, _ in sinks))
    member = np.array([[end == name for end, _, _ in sinks] for name in names], float)
    value, error = mean_and_error(np.einsum("es,bgsw->begw", member, full))
    dims3 = ("end", "group", "band")
    ends = xr.Dataset(
        {
            "flux_umol_s": (dims3, value),
            "std_err": (dims3, error),
            "share": (dims3, value / launched),
            "share_std_err": (dims3, error / launched),
        },
        coords={"end": names, "group": group_names, "band": band_names},
    )
    rows = xr.Dataset(
        {
            "absorbed": (("batch", "channel", "sink", "traced_band"), quanta),
            "sink_end": ("sink", np.array([s[0] for s in sinks], dtype=object)),
            "sink_layer": ("sink", [s[1] for s in sinks]),
            "sink_side": ("sink", np.array([s[2] for s in sinks], dtype=object)),
            "channel_group": ("channel", np.array(groups, dtype=object)),
            "channel_umol_s_per_quantum": ("channel", np.full(len(groups), scale)),
        }
    )
    light = {"canopy-top": (0.95, 1.0), "floor-level": (0.05, 0.06)}
    maps = {
        name: fake_plane(rng, per_group * light[name][1], light[name][0], n_cell, group_names)
        for name in planes
    }
    return Result(
        layers=layers,
        planes=maps,
        ends=ends,
        launched=xr.DataArray(launched, coords={"group": group_names, "band": band_names}),
        rows=rows,
        meta={
            "title": title,
            "scene_text": 'title: a tent\n# with <angle> & "quotes"\nenclosure:\n  width: 120 cm\n',
            "seed": 7,
            "n_packet": 12_582_912,
            "n_batch": N_BATCH,
            "stopped_by": stopped_by,
            "seconds": 48.37,
            "threads": 2,
            "versions": {"canopysim": "0.1.0", "python": "3.11.2", "numpy": "2.4.6"},
            "digest": "9f2c" * 16,
            "band_names": BANDS,
            "groups": list(groups),
            "settings": {
                "width_m": SIZE[0],
                "depth_m": SIZE[1],
                "height_m": SIZE[2],
                "lining": "matt white film (85 % diffuse)",
                "with_plants": with_plants,
                "ground_area_m2": GROUND if with_plants else None,
                "canopy_height_m": 0.9 if with_plants else None,
                "target": {"layers": 0.01},
                "max_packets": 200_000_000,
                "max_time_s": None,
            },
            **(meta or {}),
        },
    )


def fake_plane(
    rng: np.random.Generator,
    flux: np.ndarray,
    height_m: float,
    n_cell: tuple[int, int],
    group_names: list[str],
) -> xr.Dataset:
    """Map that is brightest near the middle, with noise of 2 % in every cell."""
    n_x, n_y = n_cell
    x = (np.arange(n_x) + 0.5) * SIZE[0] / n_x
    y = (np.arange(n_y) + 0.5) * SIZE[1] / n_y
    shape = 1.0 - 0.6 * ((x / SIZE[0] - 0.5) ** 2 + (y[:, None] / SIZE[1] - 0.4) ** 2)
    down = 0.8 / GROUND * shape[:, :, None] * flux[:, None, None, None, :]
    pfd = with_sums(with_all(np.concatenate([down, 0.12 * down], axis=1)))
    error = 0.02 * pfd * rng.uniform(0.7, 1.3, pfd.shape)
    pfd = np.moveaxis(pfd + error * rng.standard_normal(pfd.shape), -1, 1)
    error = np.moveaxis(error, -1, 1)
    dims = ("group", "band", "direction", "y", "x")
    return xr.Dataset(
        {
            "pfd": (dims, pfd),
            "pfd_std_err": (dims, error),
            "mean": (dims[:3], pfd.mean(axis=(3, 4))),
            "mean_std_err": (dims[:3], 0.003 * pfd.mean(axis=(3, 4))),
        },
        coords={
            "group": group_names,
            "band": [*BANDS, *SUMS],
            "direction": ["down", "up"],
            "x": x,
            "y": y,
        },
        attrs={"height_m": height_m, "cell_x_m": SIZE[0] / n_x, "cell_y_m": SIZE[1] / n_y},
    )
