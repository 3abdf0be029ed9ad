"""Two ways: figures that are read off a result, beside sums over its books of the case's own."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from canopysim.book.case import Case
from canopysim.book.cases.groups import GROUPS, LEAF, with_leaf
from canopysim.book.exact.batches import mean_of
from canopysim.book.exact.tiles import level_leaf, obj_of
from canopysim.book.facts import Fact, told
from canopysim.book.outcome import Outcome
from canopysim.book.scenes import Data

if TYPE_CHECKING:
    from canopysim.book.bench import Bench
    from canopysim.results import Result

Array = NDArray[np.float64]
PAR, RED, FAR_RED = (400.0, 700.0), (600.0, 700.0), (700.0, 800.0)
WALLS = ("left", "front", "back", "ceiling", "patch 1 of the left")
FLOOR, OPENINGS = ("floor", "patch 1 of the floor"), ("escaped through the right",)
# The first leaf shades the second, not the third; the fourth is alone in its layer.
LEAVES = np.stack([
    LEAF.corners, level_leaf(0.42, 0.68, 0.27, 0.43, 0.16),
    level_leaf(0.10, 0.30, 0.10, 0.30, 0.14), level_leaf(0.62, 0.70, 0.12, 0.18, 0.05),
])  # fmt: skip
LAYERS, N_LAYER = ["0 cm", "10 cm", "24 cm", "40 cm"], 3


def _scene() -> Data:
    """Give a room with an open side, patches on a wall and the floor, three lights and leaves."""
    data = with_leaf()
    faces = data["enclosure"]["faces"]
    patch = {"surface": "black", "corner": ["10 cm", "20 cm"], "opposite": ["35 cm", "50 cm"]}
    more = {"left": {"surface": faces["left"], "patches": [patch]},
            "floor": {"surface": faces["floor"], "patches": [patch]},
            "right": {"open": "true"}}  # fmt: skip
    return data | {"enclosure": data["enclosure"] | {"faces": faces | more},
                   "canopy": data["canopy"] | {"layers": LAYERS}}  # fmt: skip


class Books:
    """Fluxes of each batch, summed from quanta, µmol s⁻¹."""

    def __init__(self, result: Result) -> None:
        rows = result.rows
        self.scale = np.asarray(rows["channel_umol_s_per_quantum"], np.float64)
        self.group = [str(name) for name in rows["channel_group"].values]
        edges = [[float(x) for x in str(name).split("-")] for name in result.band_names]
        self.low, self.high = np.array(edges).T
        per_batch = ("batch", "channel")
        absorbed = rows["absorbed"].transpose(*per_batch, "sink", "traced_band")
        self.absorbed = absorbed.values.astype(np.float64)
        self.end = [str(name) for name in rows["sink_end"].values]
        self.layer = rows["sink_layer"].values
        crossed = rows["crossed_sum"].transpose(*per_batch, "plane", "direction", "traced_band")
        self.crossed = crossed.values.astype(np.float64)
        self.planes = [str(name) for name in rows["plane"].values]

    def weighed(self, group: str, span: tuple[float, float]) -> tuple[Array, NDArray[np.bool_]]:
        """Scale of each channel, 0 outside the group; and the bands of a span."""
        mine = np.array([group in ("all", name) for name in self.group])
        return self.scale * mine, (self.low >= span[0]) & (self.high <= span[1])

    def at(self, names: tuple[str, ...], group: str, layer: int = 0,
           span: tuple[float, float] = PAR) -> Array:  # fmt: skip
        """Give what ends at places whose names begin so, (n_batch,)."""
        scale, bands = self.weighed(group, span)
        rows = [end.startswith(names) and layer in (0, k)
                for end, k in zip(self.end, self.layer, strict=True)]  # fmt: skip
        return np.asarray(np.einsum("bcsn,c->b", self.absorbed[:, :, rows][..., bands], scale))

    def through(self, plane: str, way: int, group: str, span: tuple[float, float] = PAR) -> Array:
        """Give what crosses a plane, down or up, (n_batch,)."""
        scale, bands = self.weighed(group, span)
        here = self.crossed[:, :, self.planes.index(plane), way]
        return np.asarray(np.einsum("bcn,c->b", here[..., bands], scale))


def _each(values: Array) -> tuple[float, float]:
    return mean_of(values, np.ones(len(values)))


def _share(part: Array, whole: Array) -> tuple[float, float]:
    value = part.sum() / whole.sum()
    left = part - value * whole
    # Nothing is left where one is the same share of the other in every batch.
    return value, _each(left)[1] / whole.mean() if left.any() else 0.0


def _pair(estimate: Any) -> tuple[float, float]:
    return estimate.value, estimate.std_err


def _ends(result: Result, books: Books) -> Iterator[Fact]:
    from canopysim.analysis import ends

    places: dict[str, tuple[tuple[str, ...], Any]] = {
        "leaves": (("leaves",), ends.is_leaf), "walls": (WALLS, ends.is_wall),
        "floor": (FLOOR, ends.is_floor), "openings": (OPENINGS, ends.is_opening),
    }  # fmt: skip
    for group in ("all", *GROUPS):
        whole = float(result.launched.sel(group=group, band="400-700"))
        for name, (begin, which) in places.items():
            exact = np.array(_each(books.at(begin, group))) / whole
            yield f"{name}, {group}", exact, _pair(ends.share_at(result, which, group=group))


def _layers(result: Result, books: Books) -> Iterator[Fact]:
    from canopysim.analysis import layers

    assert result.layers is not None
    area = result.layers["leaf_area_m2"].values
    # Which part of each layer lies below the level that halves the leaf area: it cuts the second.
    down_to = np.cumsum(area)
    lower = np.maximum(0.0, down_to - np.maximum(down_to - area, area.sum() / 2)) / area
    assert lower[0] == 0.0 < lower[1] < 0.9
    for group in ("all", *GROUPS):
        each = [books.at(("leaves",), group, layer=k + 1) for k in range(N_LAYER)]
        for k, flux in enumerate(each):
            told_flux = layers.layer_flux(result, k + 1, group=group)
            yield f"layer {k + 1}, {group}", _each(flux), _pair(told_flux)
        upto = np.insert(np.cumsum([flux.mean() for flux in each]), 0, 0.0)
        found = layers.cumulative_share(result.layers, group=group)
        yield f"share from above, {group}", upto / upto[-1], found.share
        exact = _share(lower @ np.array(each), np.sum(each, 0))
        yield f"lower half, {group}", exact, _pair(layers.lower_half_share(result, group=group))
    rows = layers.lower_half_sinks(result)
    own = [lower[k - 1] if end == "leaves" else 0.0
           for end, k in zip(books.end, books.layer, strict=True)]  # fmt: skip
    yield "parts of ends in the lower half", own, rows
    yield "leaf area from above", np.insert(np.cumsum(area), 0, 0.0) / 0.77, found.lai


def _planes(result: Result, books: Books) -> Iterator[Fact]:
    from canopysim.analysis import far_red, planes

    grid = result.planes["mid"]
    area = 1.1 * 0.7
    for group in ("all", *GROUPS):
        for way, direction in enumerate(("down", "up")):
            name = f"{direction}, {group}"
            flux = books.through("mid", way, group)
            exact = np.array(_each(flux)) / area
            told_mean = planes.plane_mean(result, "mid", group=group, direction=direction)
            yield f"mean, {name}", exact, _pair(told_mean)
            here = grid.sel(group=group, band="400-700", direction=direction)
            cells, errors = (here[k].values.ravel() for k in ("pfd", "pfd_std_err"))
            low, high = int(np.argmin(cells)), int(np.argmax(cells))
            spread, noise = cells.std(ddof=1), np.sqrt(np.mean(errors**2))
            of = planes.plane_statistics(grid, group=group, direction=direction)
            own = [cells[low], errors[low], cells[high], errors[high], cells[low] / exact[0],
                   cells[low] / cells[high], spread / exact[0],
                   np.sqrt(max(spread**2 - noise**2, 0.0)) / exact[0], noise]  # fmt: skip
            yield f"map, {name}", own, [
                of.minimum, of.minimum_std_err, of.maximum, of.maximum_std_err, of.min_over_mean,
                of.min_over_max, of.coefficient_of_variation, of.variation_without_noise,
                of.cell_std_err,
            ]  # fmt: skip
            yield f"mean of the map, {name}", exact[0], of.mean, 1e-9
            red, beyond = (books.through("mid", way, group, span) for span in (RED, FAR_RED))
            if group != "side":
                ratio = far_red.red_to_far_red(result, "mid", group=group, direction=direction)
                yield f"red to far-red, {name}", _share(red, beyond), _pair(ratio)
    yield "edges of far-red", FAR_RED, far_red.far_red_span(result)
    yield "bands of far-red", 2.0, float(len(far_red.far_red_bands(result)))
    dark = grid.assign(pfd=grid["pfd"] * np.nan)
    unknown = planes.plane_statistics(dark)
    yield "a map of nothing", [np.nan, np.nan], [unknown.mean, unknown.cell_std_err]
    # The mean is that of the plane where one is told, not that of its cells.
    at = {"group": "all", "band": "400-700", "direction": "down"}
    cells, mean, error = (grid[k].sel(at).values for k in ("pfd", "mean", "mean_std_err"))
    for name, other, own in (
        ("with a mean of its own", grid.assign(mean=2 * grid["mean"]), [2 * mean, error]),
        ("without a mean", grid.drop_vars(["mean", "mean_std_err"]), [cells.mean(), np.nan]),
    ):
        of = planes.plane_statistics(other)
        yield f"a map {name}", own, [of.mean, of.mean_std_err]


def _triangles(result: Result, books: Books) -> Iterator[Fact]:
    from canopysim.analysis import facets

    counted = result.rows["facet_absorbed"].values.astype(np.float64)
    area, layer = result.rows["facet_area_m2"].values, result.rows["facet_layer"].values
    n = np.bincount(np.arange(result.n_batch) % len(counted), minlength=len(counted)).astype(float)
    for group in ("all", *GROUPS):
        scale, bands = books.weighed(group, PAR)
        flux = np.einsum("nfscb,c->nf", counted[..., bands], scale) / area
        exact = np.array([mean_of(one, n) for one in flux.T])
        light = facets.facet_light(result, group=group)
        yield f"triangles, {group}", exact.T, [light.pfd, light.std_err]
        spreads = facets.layer_spreads(light)
        lit = [k for k in range(1, N_LAYER + 1) if exact[layer == k, 0].any()]
        yield f"layers with light, {group}", lit, [spread.layer for spread in spreads]
        for spread in spreads:
            here = layer == spread.layer
            share = area[here] / area[here].sum()
            level = share @ exact[here, 0]
            noise = share @ np.nan_to_num(exact[here, 1]) ** 2
            apart = share @ (exact[here, 0] - level) ** 2
            own = [level, np.sqrt(max(apart - noise, 0.0)) / level, np.sqrt(noise) / level]
            yield f"spread in layer {spread.layer}, {group}", own, [
                spread.mean, spread.spread, spread.noise,
            ]  # fmt: skip


def _left_out(*_: object) -> Iterator[Fact]:
    from canopysim.analysis.jackknife import jackknife_error, leave_one_out

    rows = np.random.default_rng(14).uniform(1, 9, (7, 2))
    each = np.array([np.delete(rows, k, 0).mean(0) for k in range(7)])
    yield "means with one batch left out", each, leave_one_out(rows)
    yield "their error", rows.std(0, ddof=1) / np.sqrt(7), jackknife_error(each)
    unknown = [np.nan, np.nan]
    yield "of one batch", unknown, leave_one_out(rows[:1])[0]
    yield "its error", unknown, jackknife_error(each[:1])


def _measure(bench: Bench, case: Case) -> list[Outcome]:
    result = bench.trace(case.scene, case.packets, files=case.files)
    books = Books(result)
    parts = (_ends, _layers, _planes, _triangles, _left_out)
    return [outcome for part in parts for fact in part(result, books) for outcome in told(*fact)]


CASES = (
    Case(
        name="figures that are read off a result",
        chapter="two ways",
        shows="Shares of ends, layers and halves of a canopy, maps and their evenness, red to "
        "far-red and single triangles, of all lights and of each, with their errors.",
        source="Sums over the books, batch by batch; errors of means and of ratios.",
        fails_if="Another group, band, layer or end were counted, an area or a mean were another, "
        "or an error were told of other rows.",
        scene=_scene(),
        files={"leaf.obj": obj_of(LEAVES)},
        measure=_measure,
        packets=1 << 18,
        quick=1 / 4,
    ),
)  # fmt: skip
