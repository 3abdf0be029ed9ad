"""Colours and groups: what must hold to the last quantum, whatever else shines or computes."""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from canopysim.book.case import Case
from canopysim.book.dark_rooms import FLUX, SIZE, hung, room
from canopysim.book.exact.backward import sheet
from canopysim.book.exact.tiles import obj_of
from canopysim.book.outcome import Outcome
from canopysim.book.readings import PlaneMean, Share
from canopysim.book.scenes import WHITE, Data, panel, percent, scene

if TYPE_CHECKING:
    from canopysim.book.bench import Bench

GROUPS = ("overhead", "side", "low")
LAMPS = {
    "overhead": panel("36 cm", "20 cm", spectrum=WHITE),
    "side": panel("30 cm", "2 cm", {"beam": {"along": "100 deg", "across": "35 deg"}}),
    "low": panel("20 cm", "10 cm", "lambertian",
                 spectrum={"600-700": "50 %", "700-750": "50 %"}),
}  # fmt: skip
PLACES = {
    "overhead": ((0.43, 0.29, 0.78), (0.0, 0.0, 0.0)),
    "side": ((0.8, 0.5, 0.5), (90.0, 0.0, 55.0)),
    "low": ((0.3, 0.35, 0.2), (0.0, 20.0, 150.0)),
}


def _together(*groups: str, first_times: int = 1, outputs: Mapping[str, str] | None = None) -> Data:
    """Give a room of unlike walls with some of the lights, the first so many times as bright."""
    fixtures = {name: copy.deepcopy(LAMPS[name]) for name in groups}
    fixtures[groups[0]]["photon_flux"] = f"{first_times * FLUX:g} umol/s"
    set_to: dict[str, Data] = {name: {"output": output} for name, output in (outputs or {}).items()}
    return scene(
        "Groups", enclosure=room(left="film", back="paint", floor="board"),
        surfaces={"film": {"diffuse": "10 %", "specular": "70 %", "spread": "8 deg"},
                  "paint": {"diffuse": {"400-500": "30 %", "500-800": "70 %"}},
                  "board": {"diffuse": "55 %"}},
        fixtures=fixtures,
        lights=[hung(name, *PLACES[name], group=name) | set_to.get(name, {}) for name in groups],
        planes=[{"name": "mid", "height": "35 cm", "cell": "20 cm"}],
        probes=[{"name": "p", "at": ["70 cm", "30 cm"], "height": "40 cm", "radius": "5 cm"}],
    )  # fmt: skip


# What each lamp would give the room's floor if it all went there.
MEAN = FLUX / (SIZE[0] * SIZE[1])
# Everything counted in quanta, by channel.
COUNTED = ("absorbed", "crossed", "crossed_sum")


def _unlike(one: Any, other: Any, channels: slice) -> Outcome:
    """Count the whole numbers in the books of some channels that are not the same."""
    off = 0
    for name in COUNTED:
        pair = [rows[name].isel(channel=channels) for rows in (one, other)]
        assert pair[0].shape == pair[1].shape
        assert int(pair[0].sum()) > 0
        off += int((pair[0].values != pair[1].values).sum())
    return Outcome("", 0.0, float(off), 0.0, identity=True)


def _named(outcome: Outcome, figure: str) -> Outcome:
    return Outcome(figure, outcome.exact, outcome.value, outcome.std_err, identity=True)


def _superposition(bench: Bench, case: Case) -> Sequence[Outcome]:
    """Add lights one by one with one seed; then each alone with seeds of their own."""
    seed = bench.next_seed()
    traced = [
        bench.trace(_together(*GROUPS[:n]), case.packets * n // 3, seed=seed) for n in (1, 2, 3)
    ]
    found = []
    for n, result in enumerate(traced[:2], 1):
        same = _unlike(result.rows, traced[2].rows, slice(n))
        found.append(_named(same, f"numbers that change as lights are added to {n}"))
    whole = traced[2]
    # Three times the light is three times the packets: the others' come later, and are the same.
    brighter = bench.trace(
        _together(*GROUPS, first_times=3), case.packets * 5 // 3, seed=seed
    )  # fmt: skip
    same = _unlike(brighter.rows, whole.rows, slice(1, 3))
    found.append(_named(same, "numbers that change as the first launches more"))
    for name in GROUPS:
        # The first kind of light alone has the addresses that it has among the others.
        alone = bench.trace(_together(name), case.packets // 3)
        for label, mine, own, scale in (
            ("PFD down", PlaneMean("mid", group=name), PlaneMean("mid"), MEAN),
            ("PFD up", PlaneMean("mid", "up", group=name), PlaneMean("mid", "up"), MEAN),
            ("floor keeps", Share("floor", group=name), Share("floor"), 1.0),
        ):
            a, b = mine.read(whole), own.read(alone)
            found.append(
                Outcome(f"{name}, {label}, among others and alone", float(b.value), float(a.value),
                        float(a.std_err), a.n_row, float(b.std_err), scale)
            )  # fmt: skip
    return found


def _outputs(bench: Bench, case: Case) -> Sequence[Outcome]:
    """Set outputs to powers of two: no quantum moves, and figures are those parts to all digits."""
    seed = bench.next_seed()
    full = bench.trace(_together(*GROUPS), case.packets, seed=seed)
    set_to = {"overhead": 0.5, "side": 0.125, "low": 0.0}
    scene_set = _together(*GROUPS, outputs={name: percent(share) for name, share in set_to.items()})
    dimmed = bench.trace(scene_set, case.packets, seed=seed)
    found = [
        _named(_unlike(full.rows, dimmed.rows, slice(3)), "numbers that change with the outputs")
    ]
    for name, share in set_to.items():
        for label, read in (
            ("PFD down", lambda r, n=name: PlaneMean("mid", group=n).read(r).value),
            ("fluence rate", lambda r, n=name: r.probes["pfd"].sel(
                probe="p", facing="all sides", group=n, band="400-700").values),
        ):  # fmt: skip
            whole, part = float(read(full)), float(read(dimmed))
            found.append(
                Outcome(f"{label} of {name} at {percent(share)}", share * whole, part, 0.0,
                        identity=True)
            )  # fmt: skip
    return found


# Batches of two chunks or more, which threads share.
N_BATCH = 8
LEAF = sheet((0.55, 0.35, 0.30), 0.3, 0.2, 35.0, 20.0, -30.0)


def with_leaf() -> Data:
    """Give the room with a leaf, and everything told apart that can be."""
    return dict(_together(*GROUPS)) | {
        "leaves": {"leaf": {"reflectance": "30 %", "transmittance": "20 %"}},
        "canopy": {"layers": "2", "profile": "true", "meshes": [
            {"file": "leaf.obj", "unit": "m", "parts": {"*": {"leaf": "leaf"}},
             "positions": [["0 cm", "0 cm"]], "base": "0 cm"}]},
        "also_count": {"first_flight": "true", "last_surface": "true", "sensitivities": "true",
                       "on_cells": "true", "leaf_facets": "true", "canopy_sides": "true",
                       "each_plant": "true"},
    }  # fmt: skip


def _threads(bench: Bench, case: Case) -> Sequence[Outcome]:
    """Trace the same on one and on two threads."""
    seed, asked = bench.next_seed(), bench.threads
    traced = []
    try:
        for threads in (1, 2):
            bench.threads = threads
            traced.append(
                bench.trace(case.scene, case.packets, seed=seed, files=case.files, n_batch=N_BATCH)
            )
    finally:
        bench.threads = asked
    found = []
    for name in map(str, traced[0].rows):
        one = traced[0].rows[name]
        if one.dtype.kind in "iuf":
            other = traced[1].rows[name]
            off = int((~np.isclose(one, other, rtol=0, atol=0, equal_nan=True)).sum())
            found.append(Outcome(f"numbers of {name} that differ", 0.0, float(off), 0.0,
                                 identity=True))  # fmt: skip
            if name.startswith(("split", "facet_absorbed", "probed", "canopy")):
                # What is told apart is all of it, whatever is added up.
                assert float(np.abs(one).sum()) > 0
    # The parts of a batch are added up, not one of them taken.
    counted = traced[0].rows
    off = counted["split_absorbed"].values[:, :, :2].sum((0, 2)) - counted["absorbed"].transpose(
        "batch", "channel", "sink", "traced_band"
    ).values.sum(0)
    found.append(Outcome("quanta by first flight, less the books", 0.0, float(np.abs(off).max()),
                         0.0, identity=True))  # fmt: skip
    return found


CASES = (
    Case(
        name="lights together and alone",
        chapter="colours and groups",
        shows="No light changes another's photons; each gives among others what it gives alone.",
        source="Light adds up; a photon's random numbers follow from its own address.",
        fails_if="random numbers depended on how many lights there are or on how many packets were "
        "launched before, or photons were answered for under another group.",
        measure=_superposition,
        scene=_together(*GROUPS),
        packets=3 << 18,
    ),
    Case(
        name="outputs are factors",
        chapter="colours and groups",
        shows="Half output is half of every figure, and changes no photon.",
        source="Light is in proportion to output; halves and eighths are exact in binary numbers.",
        fails_if="output were in a photon's path, counted twice, or given to another group.",
        scene=_together(*GROUPS),
        measure=_outputs,
        packets=3 << 15,
    ),
    Case(
        name="one thread and two",
        chapter="colours and groups",
        shows="Every number in the books is the same, whatever computes it.",
        source="Identity: integers add up to the same in any order.",
        fails_if="two threads shared a tally, or random numbers depended on who draws them.",
        scene=with_leaf(),
        files={"leaf.obj": obj_of(LEAF.corners[None])},
        measure=_threads,
        packets=1 << 19,
        quick=1 / 8,
    ),
)
