"""Colours and groups: several canopies in one run, and what each has of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from canopysim.book.case import Case
from canopysim.book.exact.spread import mean_with_two_errors
from canopysim.book.facts import told
from canopysim.book.outcome import Outcome
from canopysim.book.readings import Share
from canopysim.book.scenes import box, panel, scene

if TYPE_CHECKING:
    from canopysim.analysis.books import Estimate
    from canopysim.book.bench import Bench
    from canopysim.results import Result

N = 3
SPREAD = ("value", "light", "plants", "both")
PLACES = ("z_top_m", "z_bottom_m", "leaf_area_m2", "cumulative_lai")
ENDS = ("leaves", "stems", "floor", "left")
# Batches of all canopies, few enough that each has a row of its own; numbers that add up there.
N_BATCH = 8
ADDED = {"absorbed": "batch", "crossed": "row", "crossed_sum": "batch", "split_absorbed": "row",
         "split_crossed": "row", "probed": "row", "canopy_counted": "row"}  # fmt: skip


def _share_by_batch(result: Result, end: str) -> NDArray[np.float64]:
    """Share of what is launched that ends at a place in each batch, (n_batch,)."""
    rows = result.rows
    quanta = rows["absorbed"].isel(sink=(rows["sink_end"] == end).values)
    flux = (quanta.sum(["sink", "traced_band"]) * rows["channel_umol_s_per_quantum"]).sum("channel")
    return np.asarray(flux.values / float(result.launched.sel(group="all", band="400-700")))


def _share(result: Result, end: str) -> Estimate:
    """Tell the same as the program does."""
    from canopysim.analysis.ends import share_at

    return share_at(result, lambda place: place.name == end)


def _measure(bench: Bench, case: Case) -> Sequence[Outcome]:
    """Add up what single canopies have, and what their triangles have."""
    from canopysim.analysis.replicates import replicate_result

    result = bench.trace(case.scene, case.packets)
    rows = result.rows
    found = []
    for whole, part in (("absorbed", "replicate_absorbed"), ("crossed_sum", "replicate_crossed")):
        assert rows[part].sizes["replicate"] == N
        off = rows[part].sum("replicate").values != rows[whole].values
        found.append(Outcome(f"numbers of {part} that do not add up", 0.0, float(off.sum()), 0.0,
                             identity=True))  # fmt: skip
    each = [replicate_result(result, number) for number in range(N)]
    for end in ENDS:
        shares = [float(Share(end).read(one).value) for one in each]
        share = float(Share(end).read(result).value)
        found.append(Outcome(f"mean of {end}", share, float(np.mean(shares)), 0.0, exact_err=1e-12))
    area = [float(one.layers["leaf_area_m2"].sum()) for one in each if one.layers is not None]
    mean = float(result.layers["leaf_area_m2"].sum())  # type: ignore[index]
    found.append(Outcome("mean of leaf areas, m2", mean, float(np.mean(area)), 0.0, exact_err=1e-9))
    leaf = (rows["sink_end"] == "leaves").values
    of_leaves = rows["replicate_absorbed"].isel(sink=leaf)
    booked = of_leaves.sum(["batch", "channel", "sink", "traced_band"]).values
    by_triangle = rows["facet_absorbed"].values.sum((0, 2, 3, 4))
    of_leaf, canopy = rows["facet_layer"].values > 0, rows["facet_replicate"].values
    for number in range(N):
        here = int(by_triangle[of_leaf & (canopy == number)].sum())
        found.append(Outcome(f"quanta in leaves of canopy {number + 1}, less their triangles'", 0.0,
                             float(int(booked[number]) - here), 0.0, identity=True))  # fmt: skip
    for number, one in enumerate(each):
        # Triangles of stems belong to no layer.
        mine = one.rows["facet_layer"].values > 0
        drawn = float(one.rows["facet_area_m2"].values[mine].sum())
        found.append(Outcome(f"triangles of leaves of canopy {number + 1}, m2", area[number], drawn,
                             0.0, exact_err=1e-7))  # fmt: skip
    return found


def _together_and_alone(bench: Bench, case: Case) -> tuple[Result, list[Result]]:
    """Trace all canopies in one run, and each by itself with the same photons and more batches."""
    seed = bench.next_seed()
    whole = bench.trace(case.scene, case.packets, seed=seed, n_batch=N_BATCH)
    each = []
    for number in range(N):
        canopy = dict(case.scene["canopy"]) | {"seed": str(1 + number)}
        del canopy["replicates"]
        scene_of_one = dict(case.scene) | {"canopy": canopy}
        one = bench.trace(scene_of_one, case.packets, seed=seed, n_batch=N * N_BATCH)
        assert N * one.settings["batch_packets"] == whole.settings["batch_packets"]
        each.append(one)
    return whole, each


def _spread(bench: Bench, case: Case) -> Sequence[Outcome]:
    """Hold both errors of what ends in places beside those that single canopies tell."""
    from canopysim.analysis.replicates import two_errors

    whole, each = _together_and_alone(bench, case)
    found: list[Outcome] = []
    for end in ENDS:
        mine = [_share_by_batch(one, end)[number::N] for number, one in enumerate(each)]
        (two,) = two_errors(whole, lambda of, end=end: [_share(of, end)])  # type: ignore[misc]
        value, light, plants = mean_with_two_errors(mine)
        errors = (value, light, plants, float(np.hypot(light, plants)))
        for what, exact in zip(SPREAD, errors, strict=True):
            found += told(f"share of {end}: {what}", exact, getattr(two, what), 1e-9 * abs(exact))
        # Of one canopy nothing is known of others.
        (alone,) = two_errors(each[0], lambda of, end=end: [_share(of, end)])  # type: ignore[misc]
        found += told(f"share of {end}, one canopy: plants", np.nan, alone.plants)
        found += told(f"share of {end}, one canopy: both", alone.light, alone.both)
    return found


def _by_itself(bench: Bench, case: Case) -> Sequence[Outcome]:
    """Trace each canopy alone: what all have in a batch is one batch of each, in turn."""
    from canopysim.analysis.replicates import replicate_result

    whole, each = _together_and_alone(bench, case)
    found: list[Outcome] = []
    for number, one in enumerate(each):
        layers = replicate_result(whole, number).layers
        assert one.layers is not None
        assert layers is not None
        for name in PLACES:
            found += told(f"{name} of canopy {number + 1}", one.layers[name], layers[name])
    sums: dict[str, Any] = dict.fromkeys(ADDED, 0)
    for number, one in enumerate(each):
        for name, along in ADDED.items():
            sums[name] += one.rows[name].isel({along: slice(number, N * N_BATCH, N)}).values
        for name in ("absorbed", "crossed_sum"):
            mine = one.rows[name].isel(batch=slice(number, None, N))
            kept = whole.rows[f"replicate_{name.removesuffix('_sum')}"]
            off = (kept.isel(replicate=number).transpose(*mine.dims).values != mine.values).sum()
            found.append(Outcome(f"numbers of {name} of canopy {number + 1} that differ alone", 0.0,
                                 float(off), 0.0, identity=True))  # fmt: skip
    for name, along in ADDED.items():
        together = whole.rows[name].isel({along: slice(N_BATCH)}).values
        assert float(np.abs(together).sum()) > 0
        off = float((together != sums[name]).sum())
        found.append(Outcome(f"numbers of {name} that differ from those of each alone", 0.0, off,
                             0.0, identity=True))  # fmt: skip
    return found


PLANTED = scene(
    "Three canopies",
    enclosure=box("80 cm", "50 cm", "1 m"),
    leaves={"leaf": {"reflectance": "20 %", "transmittance": "30 %"}},
    plants={"herb": {"leaf": "leaf", "stem": "black", "nodes": "4", "internode": "7 cm",
                     "petiole_length": "3 cm", "petiole_angle": "60 deg",
                     "blade_length": "11 cm", "blade_width": "6 cm"}},
    canopy={"layers": "2", "replicates": str(N),
            "plantings": [{"plant": "herb", "columns": "2", "rows": "1"}]},
    fixtures={"panel": panel("40 cm", "20 cm")},
    lights=[{"fixture": "panel", "at": ["40 cm", "25 cm"], "height": "90 cm"}],
    planes=[{"name": "mid", "height": "20 cm", "cell": "20 cm"}],
)  # fmt: skip
# Canopies that differ by more than the noise of their light does.
BUSHES = PLANTED | {
    "plants": {"herb": {"leaf": "leaf", "stem": "black", "nodes": "6", "internode": "9 cm",
                        "petiole_length": "5 cm", "petiole_angle": "60 deg", "variation": "40 %",
                        "blade_length": "18 cm", "blade_width": "12 cm"}},
    "canopy": {"layers": "2", "replicates": str(N),
               "plantings": [{"plant": "herb", "columns": "2", "rows": "2"}]},
}  # fmt: skip
CASES = (
    Case(
        name="several canopies in one run",
        chapter="colours and groups",
        shows="What single canopies, grown from seeds of their own, keep and let through adds up "
        "to what all of them do, and its leaves' triangles to it, to the quantum.",
        source="A sum is that of its parts.",
        fails_if="A canopy's numbers were lost or given to another, or its shares were of all "
        "light.",
        scene=PLANTED | {"also_count": {"leaf_facets": "true"}},
        measure=_measure,
        packets=1 << 18,
    ),
    Case(
        name="several canopies, each by itself",
        chapter="colours and groups",
        shows="What ends, what crosses planes and probes and what is told by first flight in three "
        "canopies of one run is what each has in batches of its own with the same photons.",
        source="Identity: of three canopies, the first has the batches 0, 3, 6 and so on, the "
        "second 1, 4, 7.",
        fails_if="Two canopies shared photons, one were left out of a sum or counted twice, or "
        "what a canopy has depended on the others.",
        scene=PLANTED
        | {"probes": [{"name": "p", "at": ["30 cm", "20 cm"], "height": "15 cm", "radius": "4 cm"}],
           "also_count": {"first_flight": "true", "on_cells": "true", "canopy_sides": "true",
                          "each_plant": "true"}},
        measure=_by_itself,
        packets=3 << 15,
    ),
    Case(
        name="the error of the plants",
        chapter="colours and groups",
        shows="A figure of three unlike canopies has the error of its light, and that of the "
        "plants: what the variance between canopies is more than the noise of each.",
        source="One-way analysis of variance, random effects, over three canopies traced alone.",
        fails_if="The error of the plants kept the noise of the light, was that of one canopy and "
        "not of their mean, or batches of unlike canopies were taken for noise.",
        scene=BUSHES,
        measure=_spread,
        packets=3 << 17,
    ),
)  # fmt: skip
