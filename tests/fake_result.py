"""A result made up from plain numbers, for testing the report without tracing anything."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from canopysim.results import Result

BANDS = ["400-500", "500-600", "600-700", "700-750", "750-800"]
SPANS = {
    **{name: tuple(float(edge) for edge in name.split("-")) for name in BANDS},
    "400-700": (400.0, 700.0),
    "400-750": (400.0, 750.0),
    "700-800": (700.0, 800.0),
}
SUMS = {"400-700": [0, 1, 2], "400-750": [0, 1, 2, 3], "700-800": [3, 4]}
BAND_COORDS = {
    "band": list(SPANS),
    "low_nm": ("band", [low for low, _ in SPANS.values()]),
    "high_nm": ("band", [high for _, high in SPANS.values()]),
}
SIZE = (1.2, 1.0, 2.0)
GROUND = SIZE[0] * SIZE[1]
N_BATCH = 16
# Share of launched photons, percent, with kind and face of the ends below the leaves.
OTHER_ENDS = {
    "stems": (1.5, "stem", ""),
    "floor": (4, "face", "floor"),
    "ceiling": (3, "face", "ceiling"),
    "front": (3, "face", "front"),
    "back": (4, "face", "back"),
    "left": (4, "face", "left"),
    "right": (4, "face", "right"),
    "patch 1 of the back (duct)": (1, "patch", "back"),
    "patch 1 of the floor (mat)": (0.5, "patch", "floor"),
    "fixture bodies": (12, "body", ""),
    "escaped through the front": (3, "escape", "front"),
    "untraced": (0, "untraced", ""),
}
# Photon flux in each band of the first group of lights, µmol s⁻¹; the others launch less.
FLUX = (154.0, 140.0, 336.0, 49.0, 21.0)


def with_sums(values: np.ndarray) -> np.ndarray:
    """Append the summed bands along the last axis."""
    sums = [values[..., index].sum(axis=-1) for index in SUMS.values()]
    return np.concatenate([values, np.stack(sums, axis=-1)], axis=-1)


def with_all(values: np.ndarray, axis: int = 0) -> np.ndarray:
    """Append the sum over groups."""
    return np.concatenate([values, values.sum(axis=axis, keepdims=True)], axis=axis)


def mean_and_error(per_batch: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean over batches and its standard error, NaN for one batch or where nothing arrived."""
    if len(per_batch) < 2:
        return per_batch.mean(axis=0), np.full(per_batch.shape[1:], np.nan)
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
    n_batch: int = N_BATCH,
    output: tuple[float, ...] = (),
    flux: tuple[float, ...] = FLUX,
    meet: int = 900,
    meta: dict[str, Any] | None = None,
) -> Result:
    """Books with noise, and the labelled figures that follow from them.

    `output` dims the groups, `flux` is that of the first one by band, `meet` the number of meetings
    booked for each leaf side.
    """
    rng = np.random.default_rng(3)
    per_group = np.linspace(1.0, 0.4, len(groups))[:, None] * np.array(flux)
    per_group *= np.array(output or (1.0,) * len(groups))[:, None]
    launched = with_sums(with_all(per_group))

    # Shares of launched for every row of the books: layers with two sides, then the other ends.
    edges = np.linspace(0.1, 0.9, n_layer + 1)[::-1]
    area = GROUND * 3.0 * np.linspace(1.2, 0.8, n_layer) / n_layer
    fall = np.array([1.1, 0.9, 1.0, 0.6, 0.2])
    above = np.insert(np.cumsum(area), 0, 0.0)[:, None]
    taken = -np.diff(np.exp(-fall * above), axis=0)
    leaf = 0.6 * taken[:, None, :] * np.array([0.7, 0.3])[:, None]
    sinks = [
        ("leaves", layer + 1, side, "leaf", "")
        for layer in range(n_layer)
        for side in ("upper", "lower")
    ]
    share = leaf.reshape(2 * n_layer, len(BANDS))
    if not with_plants:
        sinks, share = [], share[:0]
    others = np.array([part for part, _, _ in OTHER_ENDS.values()])[:, None] * np.ones(len(BANDS))
    others[0] *= with_plants
    share = np.concatenate([share, others * (1 - share.sum(axis=0)) / others.sum(axis=0)])
    sinks += [(end, -1, "", kind, face) for end, (_, kind, face) in OTHER_ENDS.items()]
    noise = 1 + 0.01 * rng.standard_normal((n_batch, len(groups), len(sinks), len(BANDS)))
    books = per_group[:, None] * share * noise
    # Roulette scatters about nothing, and the shared choice makes the books close.
    roulette = 1e-4 * per_group * rng.standard_normal((n_batch, len(groups), len(BANDS)))
    choice = per_group - books.sum(axis=2) - roulette
    books = np.concatenate([books, np.stack([roulette, choice], axis=2)], axis=2)
    sinks += [(name, -1, "", name, "") for name in ("roulette", "choice")]
    scale = 2.0**-20
    quanta = np.rint(books / scale).astype(np.int64)
    books = quanta * scale

    group_names = [*groups, "all"]
    full = with_sums(with_all(books, axis=1))
    layers = None
    if with_plants:
        sides = full[:, :, : 2 * n_layer].reshape(n_batch, -1, n_layer, 2, len(SPANS))
        sides = np.concatenate([sides, sides.sum(axis=3, keepdims=True)], axis=3)
        value, error = mean_and_error(sides)
        dims = ("group", "layer", "side", "band")
        per_leaf = 1 / area[:, None, None]
        layers = xr.Dataset(
            {
                "absorbed_umol_s": (dims, value),
                "absorbed_std_err": (dims, error),
                "n_meeting": (dims[:3], np.full(error.shape[:3], meet)),
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
                **BAND_COORDS,
            },
        )

    names = list(dict.fromkeys(sink[0] for sink in sinks))
    member = np.array([[sink[0] == name for sink in sinks] for name in names], float)
    value, error = mean_and_error(np.einsum("es,bgsw->begw", member, full))
    dims3 = ("end", "group", "band")
    whole = np.where(launched > 0.0, launched, np.nan)
    ends = xr.Dataset(
        {
            "flux_umol_s": (dims3, value),
            "std_err": (dims3, error),
            "share": (dims3, value / whole),
            "share_std_err": (dims3, error / whole),
        },
        coords={"end": names, "group": group_names, **BAND_COORDS},
    )
    light = {"canopy-top": (0.95, 1.0), "floor-level": (0.05, 0.06)}
    crossed = np.empty((n_batch, len(groups), len(planes), 2, len(BANDS)), np.int64)
    for number, name in enumerate(planes):
        through = 0.75 * light[name][1] * per_group[:, None] * np.array([1.0, 0.12])[:, None]
        noise = 1 + 0.012 * rng.standard_normal((n_batch, *through.shape))
        crossed[:, :, number] = np.rint(through * noise / scale)
    rows = xr.Dataset(
        {
            "absorbed": (("batch", "channel", "sink", "traced_band"), quanta),
            "crossed_sum": (("batch", "channel", "plane", "direction", "traced_band"), crossed),
            "sink_layer": ("sink", [s[1] for s in sinks]),
            **{
                f"sink_{name}": ("sink", np.array([s[index] for s in sinks], dtype=object))
                for name, index in (("end", 0), ("side", 2), ("kind", 3), ("face", 4))
            },
            "channel_group": ("channel", np.array(groups, dtype=object)),
            "channel_umol_s_per_quantum": ("channel", np.full(len(groups), scale)),
        }
    )
    maps = {
        name: fake_plane(rng, crossed[:, :, number] * scale, light[name][0], n_cell, group_names)
        for number, name in enumerate(planes)
    }
    return Result(
        layers=layers,
        planes=maps,
        ends=ends,
        launched=xr.DataArray(
            launched, dims=("group", "band"), coords={"group": group_names, **BAND_COORDS}
        ),
        rows=rows,
        meta={
            "title": title,
            "scene_text": 'title: a tent\n# with <angle> & "quotes"\nenclosure:\n  width: 120 cm\n',
            "seed": 7,
            "n_packet": 65_536 * n_batch,
            "n_batch": n_batch,
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
                "leaf_area_m2": float(area.sum()) if with_plants else None,
                "target": {"layers": 0.01},
                "target_floor": 0.0001,
                "max_packets": 200_000_000,
                "max_time_s": None,
                "batch_packets": 65_536,
                "n_triangle": 35_808,
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
    """Map that is brightest near the middle, with noise of 2 % in every cell.

    `flux` is what went through the plane, µmol s⁻¹ (batch, group, direction, band).
    """
    n_x, n_y = n_cell
    x = (np.arange(n_x) + 0.5) * SIZE[0] / n_x
    y = (np.arange(n_y) + 0.5) * SIZE[1] / n_y
    mean, mean_error = mean_and_error(with_sums(with_all(flux, axis=1)) / GROUND)
    shape = 1.0 - 0.6 * ((x / SIZE[0] - 0.5) ** 2 + (y[:, None] / SIZE[1] - 0.4) ** 2)
    pfd = np.moveaxis(mean, 1, 2)[..., None, None] * shape / shape.mean()
    noise = 0.02 * pfd * rng.uniform(0.7, 1.3, pfd.shape) * rng.standard_normal(pfd.shape)
    # The mean over the cells is that of the books.
    pfd = pfd + noise - noise.mean(axis=(3, 4), keepdims=True)
    known = (pfd > 0.0) & (len(flux) > 1)
    dims = ("group", "band", "direction", "y", "x")
    return xr.Dataset(
        {
            "pfd": (dims, pfd),
            "pfd_std_err": (dims, np.where(known, 0.02 * pfd, np.nan)),
            "mean": (dims[:3], np.moveaxis(mean, 1, 2)),
            "mean_std_err": (dims[:3], np.moveaxis(mean_error, 1, 2)),
        },
        coords={
            "group": group_names,
            **BAND_COORDS,
            "direction": ["down", "up"],
            "x": x,
            "y": y,
        },
        attrs={"height_m": height_m, "cell_x_m": SIZE[0] / n_x, "cell_y_m": SIZE[1] / n_y},
    )
