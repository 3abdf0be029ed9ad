"""Errors: means and errors of known batches, targets, and how light falls with depth."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from types import SimpleNamespace as Bag
from typing import Any

import numpy as np
from numpy.typing import NDArray

from canopysim.book.exact.batches import mean_of
from canopysim.book.exact.depths import read_level
from canopysim.book.facts import Fact, fact_case

Array = NDArray[np.float64]


def _errors() -> Iterator[Fact]:
    from canopysim.analysis.books import ratio
    from canopysim.analysis.profile import Profile
    from canopysim.analysis.told_apart import Told
    from canopysim.tallies.rows import mean_and_error

    rng, lai = np.random.default_rng(11), np.arange(3.0)
    for counts in ((1, 1, 1, 1, 1), (3, 1, 0, 4, 2, 2), (2, 3), (5,), (0, 0)):
        n = np.array(counts, float)
        rows = rng.poisson(9 * n[:, None] * [1, 0.1, 0]).astype(float)
        exact = np.transpose([mean_of(column, n) for column in rows.T])
        yield f"rows of {counts} batches", exact, mean_and_error(rows, n)
    down, up, absorbed = (rng.uniform(1, 9, (7, width)) for width in (3, 3, 2))
    exact = np.array([mean_of(column, np.ones(7)) for column in down.T])
    yield "rows of one batch", exact.T, mean_and_error(down)
    light = Profile("all", (400, 700), lai, lai, down, up, down - up, absorbed, True, True)
    yield "light by depth", exact, [[e.value, e.std_err] for e in light.estimates("down")]
    shares = (
        down.sum(0) / up.sum(0),
        [
            mean_of(one - one.sum() / two.sum() * two, np.ones(7))[1] / two.mean()
            for one, two in zip(down.T, up.T, strict=True)
        ],
    )
    told = [ratio(one, two) for one, two in zip(down.T, up.T, strict=True)]
    yield "ratios", shares, np.transpose([[e.value, e.std_err] for e in told])
    one = ratio(down[:1, 0], up[:1, 0])
    yield "a ratio of one batch", [down[0, 0] / up[0, 0], np.nan], [one.value, one.std_err]
    # Rows that tell slopes can add up to less than nothing.
    for sign in (1.0, -1.0):
        flux, n = sign * rng.uniform(1, 9, (5, 3, 1)), np.array([3.0, 2, 2, 2, 2])
        weighed, whole = flux[..., 0] @ [1.0, 0.5, 0.0], flux[..., 0].sum(1)
        share = weighed.sum() / whole.sum()
        error = mean_of(weighed - share * whole, n)[1] / abs(whole.sum() / n.sum())
        apart = Told("split", ("a", "b", "c"), ("floor",), flux, n)
        told_share = apart.shares(np.array([1.0, 0.5, 0.0]))[0]
        yield f"share of {sign:g}", [share, error], [told_share.value, told_share.std_err]
    sideways = absorbed - (down[:, :-1] + up[:, 1:]) + down[:, 1:] + up[:, :-1]
    yield "what comes in sideways", sideways, light.sideways


def _stops() -> Iterator[Fact]:
    from canopysim.tallies.stop import TargetWatch

    world: Any = Bag(
        edges=(350, 400, 600, 700, 750), batch_packets=1000, replicates=(1, 2), channels=(
        Bag(umol_s_per_quantum=0.5, flux_umol_s=30, output=0.8, shares=(0.1, 0.3, 0.4, 0.2)),
        Bag(umol_s_per_quantum=2.0, flux_umol_s=10, output=1.0, shares=(0.2, 0.2, 0.3, 0.3))),
        sinks=[Bag(kind=("leaf", "stem")[i == 3], layer=int(k)) for i, k in enumerate("001222")],
        planes=[Bag(name=x, is_level=x == "level 1") for x in ("low", "high", "level 1")],
        layers=Bag(leaf_area=(1.0, 0.0, 2.0)),
    )  # fmt: skip
    names = "layer 1", "layer 3", "plane low", "plane high", ""
    launched, rng = 30 * 0.8 * 0.7 + 10 * 1.0 * 0.5, np.random.default_rng(12)
    absorbed = rng.poisson(np.array([20, 30, 50, 7, 0.1, 0.2])[:, None], (1027, 2, 6, 4))
    crossed = rng.poisson(np.array([[40, 9], [2, 9], [1, 9]])[..., None], (1027, 2, 3, 2, 4))
    parts = absorbed[:, :, :2], absorbed[:, :, 4:], crossed[:, :, 0, :1], crossed[:, :, 1, :1]
    series = [x[..., 1:3].sum((2, 3)) @ [0.5, 2.0] for x in parts]
    for layer, plane, floor in ((0.06, 0.1, 0.0), (0.04, 0.001, 0.0), (0.06, 0.1, 0.9), (0, 0, 0)):
        watch = TargetWatch(world, {"layers": layer, "planes": plane} if plane else {}, floor)
        for before, n in pairwise((0, 1, 20, 31, 32, 601, 1027)):
            for batch in zip(absorbed[before:n], crossed[before:n], strict=True):
                watch.append(*batch)
            # Of a long run not every batch is looked at.
            seen, told = n - n % max(1, n // 256), watch.progress(7.0)
            each = [mean_of(x[:seen], np.ones(seen)) for x in series]
            off = np.array([*(error / max(mean, floor * launched) for mean, error in each), np.nan])
            wanted = np.array([layer, layer, plane, plane, np.nan])
            worst = int(np.argmax(off[:4] / wanted[:4])) if plane else 4
            name, rel, goal = names[worst], off[worst], wanted[worst]
            left = max(1000 * n * (rel / goal) ** 2, 32_000) if rel > 0 else np.nan
            exact = [1000 * n, n, 7, rel, goal, left, 2, n >= 32 and rel <= goal, True]
            yield f"after {n} batches, for {layer}, {plane}, {floor}, limited by {name}", exact, [
                told.n_packet, told.n_batch, told.seconds, told.rel_err, told.wanted,
                told.packets_wanted, told.canopies, told.met, told.limiting == name]  # fmt: skip


# Faces that lean to four sides: how readings change with the side, as shares of the level one (all
# alike, along and across, twice around), and the noise of a batch. One is all noise, one grazes.
LEANING = {
    "noisy": ((-0.02, 0.10, -0.06, 0.01), 0.03),
    "clear": ((-0.01, -0.2, 0.15, 0.02), 1e-3),
    "noise alone": ((0.0, 0.0, 0.0, 0.0), 0.05),
    "grazing": ((-0.3, 0.9, 0.6, 0.1), 0.02),
}
SIDES = np.radians(np.arange(0.0, 360.0, 0.5))


def _leanings() -> Iterator[Fact]:
    from canopysim.tallies.label_leaning import leaning_changes

    rng, n = np.random.default_rng(13), np.array([3.0, 2, 2, 2, 2, 2])
    four = np.radians([0, 90, 180, 270])
    at_four, at_all = (
        np.stack([np.ones_like(s), np.cos(s), np.sin(s), np.cos(2 * s)], -1) for s in (four, SIDES)
    )
    level = 40 * n[:, None] * rng.normal(1, 0.05, (6, len(LEANING)))
    leaning = np.stack([
        level[:, k, None]
        * (1 + at_four @ terms + noise * rng.normal(size=(6, 4)) / np.sqrt(n)[:, None])
        for k, (terms, noise) in enumerate(LEANING.values())
    ], 1)  # fmt: skip
    probes: Any = [Bag(levelling=np.radians(lean)) for lean in (3.0, 4.0, 5.0, 6.0)]
    told = leaning_changes(level[:, None], leaning[:, None], n, tuple(probes))
    for k, name in enumerate(LEANING):
        one = level[:, k].sum() / n.sum()
        base = level[:, k] / one
        change = np.linalg.solve(at_four, leaning[:, k].T).T / one
        change[:, 0] -= base
        mean = change.sum(0) / n.sum()
        error = np.array([mean_of(change[:, i] - mean[i] * base, n)[1] for i in range(4)])
        # The square of a mean that has an error is too large by the square of that.
        left = max(0.0, 1 - (error[1:3] ** 2).sum() / (mean[1:3] ** 2).sum())
        over = np.maximum(at_all @ (mean * [1, left**0.5, left**0.5, 1]), -1.0)
        lowest, highest = int(over.argmin()), int(over.argmax())
        share = (at_all**2).mean(0)
        rms = (share * mean**2).sum()
        found = [over[lowest], over[highest], max(0.0, rms - (share * error**2).sum()) ** 0.5]
        slopes = [at_all[lowest], at_all[highest], share * mean / rms**0.5]
        off = [mean_of(change @ slope - value * base, n)[1]
               for slope, value in zip(slopes, [*found[:2], rms**0.5], strict=True)]  # fmt: skip
        yield f"changes, {name}", found, told["leaning"][1][0, k]
        yield f"errors of changes, {name}", off, told["leaning_std_err"][1][0, k]
        ends = [told[f"leaning_{which}_turn"][1][0, k] for which in ("lowest", "highest")]
        yield f"sides of these, {name}", np.degrees(SIDES[[lowest, highest]]), ends
    yield "levelling errors", [3.0, 4.0, 5.0, 6.0], told["levelling_deg"][1]


def _profiles() -> Iterator[Fact]:
    from canopysim.analysis.penetration import penetration_of
    from canopysim.analysis.profile import Profile

    rng, n = np.random.default_rng(2), 12
    lai, height = np.array([0.0, 0.5, 1.2, 2.0, 3.1]), np.array([1.0, 0.8, 0.65, 0.4, 0.1])
    start, k = 200 * rng.normal(1, 0.05, n), rng.normal(0.8, 0.05, n)
    down = start[:, None] * np.exp(-np.outer(k, lai) - 0.05 * lai**2)
    up, absorbed = 0.1 * down[::-1] * np.exp(-0.1 * lai), rng.uniform(1, 40, (n, 4))
    fluxes = {"down": down, "up": up, "net": down - up}
    of = Profile("all", (400.0, 700.0), height, lai, down, up, down - up, absorbed, True, True)
    yield "sideways", absorbed + np.diff(down - up, axis=1), of.sideways

    def figures(rows: Array) -> Array:
        y = np.log(rows.mean(0))
        slope, top = np.polyfit(lai, y, 1)
        fallen = [-y[0] - np.log(share) for share in (0.5, 0.1)]
        levels = [np.interp(f, -y, scale) for scale in (lai, height, 1 - height) for f in fallen]
        return np.array([-slope, *-np.diff(y) / np.diff(lai), *levels, *(y - top - slope * lai)])

    for flux, rows in fluxes.items():
        found = penetration_of(of, flux=flux)
        places = [(r.lai, r.height, r.depth) for r in found.remaining]
        told = [
            found.k,
            *found.k_by_layer,
            *(x for scale in zip(*places, strict=True) for x in scale),
        ]
        exact, m = figures(rows), len(told)
        # One batch left out after the other.
        error = np.sqrt((n - 1) * np.var([figures(np.delete(rows, i, 0)) for i in range(n)], 0))
        yield f"k, by layer, a half and a tenth, {flux}", exact[:m, None], [[e.value] for e in told]
        yield f"their errors, {flux}", error[:m, None], [[e.std_err] for e in told]
        off = [np.sqrt(np.mean(x[m:] ** 2)) for x in (exact, error)]
        yield f"departure and noise, {flux}", off, [found.departure, found.noise]
        yield f"left, {flux}", rows[:, -1].sum() / rows[:, 0].sum(), found.at_bottom.value
        each = [[e.value, e.std_err] for e in of.estimates(flux)]
        yield f"mean and error, {flux}", [mean_of(x, np.ones(n)) for x in rows.T], each


def _dim_profiles() -> Iterator[Fact]:
    """Profiles whose lower boundaries are lost in noise: there the flux is read straight."""
    from canopysim.analysis.penetration import penetration_of
    from canopysim.analysis.profile import Profile

    rng, n, last = np.random.default_rng(3), 16, 3
    lai, height = np.array([0.0, 0.7, 1.5, 2.2, 3.4]), np.array([0.9, 0.8, 0.6, 0.35, 0.2])
    start = 150 * rng.normal(1, 0.02, n)
    # Nothing is left of the light below the third boundary that could be told from none.
    lost = np.stack([rng.normal(0, 3, n), rng.normal(0, 3, n)], axis=1)
    lost += 0.5 - lost.mean(axis=0)
    net = np.concatenate([start[:, None] * [1.0, 0.55, 0.3], lost], axis=1)
    nothing = np.zeros((n, 4))
    of = Profile("all", (400.0, 700.0), height, lai, net, 0 * net, net, nothing, True, True)
    found = penetration_of(of, shares=(0.5, 0.1))
    mean = net.mean(0)
    yield "boundaries clear of noise", float(last), found.n_boundary
    slope, _ = np.polyfit(lai[:last], np.log(mean[:last]), 1)
    yield "k above them", -slope, found.k.value
    for i, one in enumerate(found.k_by_layer):
        k = np.log(mean[i] / mean[i + 1]) / (lai[i + 1] - lai[i]) if i + 1 < last else np.nan
        yield f"k of layer {i + 1}", k, one.value
    depth = height[0] - height
    for share, r in zip((0.5, 0.1), found.remaining, strict=True):
        # Logarithms between boundaries that are clear; below the last of them the flux itself.
        clear = share == 0.5
        values = np.log(mean[:last]) if clear else mean[: last + 1]
        target = np.log(share * mean[0]) if clear else share * mean[0]
        for what, scale, level, off in (("LAI", lai, r.lai, r.lai_off),
                                        ("depth", depth, r.depth, r.depth_off)):  # fmt: skip
            exact = read_level(scale[: len(values)], values, target)
            yield f"{share:g} left: {what}", exact.at, level.value
            yield f"{share:g} left: {what} may be off", exact.off, off
        yield f"{share:g} left: height", height[0] - exact.at, r.height.value


CASES = (
    fact_case(
        "errors as they are reckoned",
        "errors",
        "Means and errors of known batches, how many more a target takes, and what leaning does to "
        "known readings.",
        "The variance of weighed means; errors fall as one over the root of N; a leaning face's "
        "fit through four sides, less its noise, by its definition.",
        "Rows were not weighed by their batches, a run stopped too early or for other light, or "
        "noise were taken for a change.",
        _errors, _stops, _leanings,
    ),
    fact_case(
        "how light falls with depth, as it is reckoned",
        "errors",
        "Extinction coefficients, whole and by layer, and the depths at which a half and a tenth "
        "are left, of known profiles.",
        "Straight lines through logarithms, and through fluxes where the lower one is lost in "
        "noise; errors by leaving out one batch after the other.",
        "Depth were counted from below, a layer were weighed by another leaf area, or errors were "
        "those of single fluxes; a flux lost in noise had a logarithm.",
        _profiles, _dim_profiles,
    ),
)  # fmt: skip
