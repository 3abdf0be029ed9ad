"""Told apart: a canopy's balance, its plants by their places, and another lining from one trace."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from canopysim.book.case import Case
from canopysim.book.cases.canopy_box import CASES as BOX_CASES
from canopysim.book.cases.depths import PLANTING, bay
from canopysim.book.cases.told_apart import CASES as PAST_CASES
from canopysim.book.cases.told_apart import CEILING, LINING, N_MEETING
from canopysim.book.exact.batches import mean_of
from canopysim.book.facts import Fact, told
from canopysim.book.outcome import Outcome
from canopysim.book.scenes import WHITE

if TYPE_CHECKING:
    from canopysim.book.bench import Bench
    from canopysim.results import Result

PLANTS = next(case for case in BOX_CASES if case.name == "single plants under a panel")
PLATES = next(case for case in PAST_CASES if case.name.startswith("light between plates"))
FACTORS = (0.0, 0.7, 1.0, 1.2)
# A lining of unlike bands.
TINTED = {"film": {"diffuse": {"400-500": "20 %", "500-800": "45 %"}, "specular": "20 %"}}


def _balance(result: Result) -> Iterator[Fact]:
    from canopysim.analysis.canopy_box import SIDES, box_light, incident

    of, found = box_light(result), incident(result)
    n = of.batches
    into = (of.down - of.up)[:, :-1] - (of.down - of.up)[:, 1:] + (of.inward - of.outward).sum(2)
    for name, flux in (
        ("leaves", of.leaves),
        ("stems", of.stems),
        ("launches", of.launched),
        ("rising light", of.up[:, -1]),
        ("rising light inside", of.up[:, 1]),
    ):
        yield f"{name} have some", 1.0, float(flux.sum() > 0), 0.0
    yield "net flux in", into, of.net_in
    scale = float(of.launched.sum())
    yield "what is not explained, of all light", np.zeros_like(of.open), of.open / scale
    for name, flux, estimate in (
        ("from above", of.down[:, 0], found.above), ("from below", of.up[:, -1], found.below),
        ("through sides", of.inward.sum((1, 2)), found.sides),
        ("sent out inside", of.launched.sum(1), found.inside),
        ("absorbed", of.leaves.sum(1), found.absorbed),
        *((f"through the {side}", of.inward[:, :, k].sum(1), found.side[side])
          for k, side in enumerate(SIDES)),
    ):  # fmt: skip
        yield name, mean_of(flux, n), [estimate.value, estimate.std_err]


def _places(result: Result) -> Iterator[Fact]:
    from canopysim.analysis.canopy_box import place_light, plant_light, plant_rows

    flux, n = plant_rows(result)
    plants = plant_light(result)
    area, where = np.array([p.leaf_area for p in plants]), np.array([p.where for p in plants])
    each = np.array([mean_of(one, n) for one in flux.T]) / area[:, None]
    yield "plants by leaf area", each, [
        [p.per_leaf_area.value, p.per_leaf_area.std_err] for p in plants
    ]  # fmt: skip
    names = [place for place in ("corner", "edge", "inner") if (where == place).any()]
    found = place_light(result)
    yield "kinds of places", float(len(names)), float(len(found)), 0.0
    for place, of in zip(names, found, strict=True):
        here = where == place
        part, whole = flux[:, here].sum(1) / area[here].sum(), flux.sum(1) / area.sum()
        over = part.sum() / whole.sum()
        left = part - over * whole
        error = mean_of(left, n)[1] / (whole.sum() / n.sum()) if left.any() else 0.0
        apart = each[here, 0]
        yield f"{place} plants", [*mean_of(part, n), over, error], [
            of.per_leaf_area.value, of.per_leaf_area.std_err, of.over_all.value,
            of.over_all.std_err,
        ]  # fmt: skip
        yield f"how many are {place} plants", float(here.sum()), float(of.n_plant), 0.0
        spread = apart.std(ddof=1) / apart.mean() if here.sum() > 1 else np.nan
        yield f"spread of {place} plants", spread, of.spread


def _plants_and_balance(bench: Bench, case: Case) -> Sequence[Outcome]:
    five = bench.trace(PLANTS.scene, case.packets // 2, files=PLANTS.files)
    own = bench.trace(case.scene, case.packets // 2)
    facts = (*_places(five), *_balance(own))
    return [outcome for fact in facts for outcome in told(*fact)]


def _relined(bench: Bench, case: Case) -> Sequence[Outcome]:
    """Tell other linings by the geometric series, the last row for all later meetings."""
    from canopysim.analysis.lining import greatest_factor, with_lining

    result = bench.trace(case.scene, case.packets)
    lined, launched = sum(LINING), float(result.launched.sel(group="all", band="400-700"))
    q, k = lined * CEILING, np.arange(N_MEETING)
    # Parts with so many meetings with the floor; and all later ones.
    risen = np.append(0.0, lined * q ** k[:-1])
    rows = {"mid, down": (q**k, 1 / (1 - q)), "mid, up": (risen, lined / (1 - q)),
            "ceiling": (risen * (1 - CEILING), lined * (1 - CEILING) / (1 - q))}  # fmt: skip
    # As roulette may: what rests on the last row is none the less so much, not less than nothing.
    taken = replace(result, rows=result.rows.assign(
        {name: -result.rows[name] for name in ("split_absorbed", "split_crossed")}
    ))  # fmt: skip
    found = list(told("greatest factor", 1 / lined, greatest_factor(result), 1e-6))
    light = dict(PLATES.scene["fixtures"]["ceiling"]) | {"spectrum": WHITE}
    tinted = bench.trace(
        dict(case.scene)
        | {"surfaces": case.scene["surfaces"] | TINTED, "fixtures": {"ceiling": light}},
        case.packets // 64,
    )
    most = [greatest_factor(tinted, span=span) for span in ((400.0, 700.0), (400.0, 500.0))]
    found += told("greatest factor of unlike bands", [1 / 0.65, 1 / 0.40], most, 1e-6)
    for factor in FACTORS:
        tallies = with_lining(result, factor)
        found += told(f"lined ends at {factor:g}", 0.0, float("floor" in tallies), 0.0)
        own, other = (
            [of.unsure / launched for of in each.values()]
            for each in (tallies, with_lining(taken, factor))
        )
        found += told(
            f"of light that is taken away, resting on the last row, {factor:g}", own, other
        )
        for name, (parts, whole) in rows.items():
            of, later = tallies[name], whole - parts.sum()
            exact = float(factor**k @ parts + factor**N_MEETING * later)
            held = factor**N_MEETING * later
            # Later rows fall by q; all of them weigh as the last where less is reflected.
            unsure = held if factor <= 1 else held * ((1 - q) / (1 - factor * q) - 1)
            n_row = int((result.rows["row_batches"].values > 0).sum())
            found += [
                Outcome(f"{name}, lining times {factor:g}", exact, of.flux.value / launched,
                        of.flux.std_err / launched, n_row, scale=1.0),
                Outcome(f"{name}, over what was traced, {factor:g}", exact / whole, of.ratio.value,
                        of.ratio.std_err, n_row, 1e-9, 1.0),
                # As sure as the last row itself.
                Outcome(f"{name}, resting on the last row, {factor:g}", unsure,
                        of.unsure / launched, 0.0, exact_err=0.05 * unsure + 1e-12, scale=1.0),
            ]  # fmt: skip
    return found


CASES = (
    Case(
        name="a canopy's balance, and its plants by their places",
        chapter="told apart",
        shows="What falls on a canopy's box and what stays in it, with a light among leaves and "
        "stems and a pale floor below; and what plants in corners, at edges and inside get.",
        source="Sums over the books, batch by batch; what goes in stays.",
        fails_if="A side, level, layer or kind of end were left out or had another sign, or plants "
        "were weighed by another area.",
        scene=bay({"layers": "2", "plantings": [PLANTING]}, "20 cm", faces={"floor": "pale"})
        | {"surfaces": {"black": {}, "pale": {"diffuse": "60 %"}},
           "also_count": {"canopy_sides": "true"}},
        measure=_plants_and_balance,
        packets=1 << 17,
        quick=1 / 4,
    ),
    Case(
        name="other linings from one trace",
        chapter="told apart",
        shows="What plates would get under linings that reflect less and more, told from the "
        "meetings of light with the one that was traced, and how much of it rests on the last row; "
        "and how much more linings of one colour or two could reflect.",
        source="The geometric series, its parts weighed by powers of the factor; in no band may a "
        "lining reflect more than it receives.",
        fails_if="A meeting were weighed twice or not at all, the ratio's error left out that both "
        "come from the same photons, or another band set the limit.",
        scene=PLATES.scene,
        measure=_relined,
        packets=1 << 19,
    ),
)  # fmt: skip
