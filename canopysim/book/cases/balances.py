"""Two ways: what leaves take, from their own meetings and from what passes around them."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from canopysim.book.case import Case, Scene
from canopysim.book.cases.drawn import BAY, MARGIN
from canopysim.book.exact.tiles import pieces, scattered, tile_mesh
from canopysim.book.outcome import Outcome
from canopysim.book.scenes import WHITE, box, panel, scene

if TYPE_CHECKING:
    from canopysim.book.bench import Bench
    from canopysim.results import Result

GROUPS = ("top", "side", "inside")
# Of a packet, all bands together, within a few of rounding.
PACKET_QUANTA = 2**32
TILES = tuple(p for t in scattered(BAY, 16, 220, 560, 7) for p in pieces(t, BAY, MARGIN))
LEAF = {
    "reflectance": {"400-700": "10 %", "700-800": "45 %"},
    "transmittance": {"400-700": "6 %", "700-800": "42 %"},
    "lower": {"reflectance": {"400-700": "16 %", "700-800": "48 %"},
              "transmittance": {"400-700": "5 %", "700-800": "40 %"}},
}  # fmt: skip


def _scene(leaf: dict[str, Any], *, endless: bool, **parts: Any) -> Scene:
    """Give crowns, a row and drawn leaves together, with lights above, beside and among them."""
    room = box("1 m", "80 cm", "90 cm", floor="floor", ceiling="pale", right="pale")
    if endless:
        room = box("1 m", "80 cm", "90 cm") | {"repeat": ["width", "depth"]}
    volumes = [
        {"shape": "ellipsoid", "leaf": "leaf", "bottom": "18 cm", "top": "60 cm", "width": "34 cm",
         "depth": "26 cm", "positions": [["30 cm", "30 cm"], ["70 cm", "45 cm"]],
         "leaf_area": "0.2 m2", "angles": "planophile"},
        {"shape": "row", "leaf": "leaf", "direction": "depth", "bottom": "15 cm", "top": "45 cm",
         "width": "22 cm", "depth": "50 cm", "positions": [["52 cm", "40 cm"]],
         "density": "7 m2/m3", "angles": {"ellipsoid": "0.6"}, "clumping": "0.8"},
    ]  # fmt: skip
    return scene(
        "Leaves of every kind",
        enclosure=room,
        surfaces={"floor": {"diffuse": "20 %"}, "pale": {"diffuse": "55 %", "specular": "20 %"}},
        leaves={"leaf": leaf},
        canopy={"layers": ["15 cm", "30 cm", "42 cm", "60 cm"], "profile": "true",
                "volumes": volumes,
                "meshes": [{"file": "leaves.obj", "unit": "mm", "parts": {"*": {"leaf": "leaf"}},
                            "positions": [["0 cm", "0 cm"]], "base": "0 cm"}]},
        fixtures={"panel": panel("60 cm", "30 cm", spectrum=WHITE),
                  "bar": panel("50 cm", "3 cm", {"beam": {"along": "110 deg", "across": "50 deg"}},
                               "30 umol/s", WHITE)},
        lights=[
            {"fixture": "panel", "group": "top", "at": ["55 cm", "36 cm"], "height": "86 cm",
             "tilt": "10 deg"},
            {"fixture": "bar", "group": "side", "at": ["4 cm", "40 cm"], "height": "40 cm",
             "turn": "90 deg", "tilt": "-80 deg"},
            {"fixture": "bar", "group": "inside", "at": ["48 cm", "15 cm"], "height": "36 cm",
             "tilt": "35 deg", "turn": "15 deg"},
        ],
        **parts,
    )  # fmt: skip


def _n_layer(result: Result) -> int:
    assert result.layers is not None
    return int(result.layers.sizes["layer"])


def _leaves_of(result: Result) -> NDArray[np.int64]:
    """Give quanta that leaves absorb, (batch, channel, layer, band), from the books."""
    rows = result.rows
    absorbed = rows["absorbed"].transpose("batch", "channel", "sink", "traced_band").values
    layer = rows["sink_layer"].values
    return np.stack(
        [absorbed[:, :, layer == n + 1].sum(2) for n in range(_n_layer(result))], axis=2
    )


def _net_of(result: Result) -> NDArray[np.int64]:
    """Give quanta down less up, (batch, channel, level, band), from the planes between layers."""
    n_level = _n_layer(result) + 1
    crossed = result.rows["crossed_sum"].values[:, :, -n_level:]
    return np.asarray(crossed[..., 0, :] - crossed[..., 1, :])


def _launched(result: Result, channel: int) -> float:
    """Give quanta that a channel launches in a batch, all bands: the sum of all its ends."""
    absorbed = result.rows["absorbed"].transpose("batch", "channel", "sink", "traced_band").values
    return float(absorbed[:, channel].sum() / len(absorbed))


def _labels(result: Result) -> list[tuple[int, int, int, str]]:
    """Give channel, layer, band and what they are called."""
    groups = result.rows["channel_group"].values
    return [
        (c, k, b, f"{groups[c]}, layer {k + 1}, {name} nm")
        for c in range(len(groups))
        for k in range(_n_layer(result))
        for b, name in enumerate(result.band_names)
    ]


def _black(bench: Bench, case: Case) -> list[Outcome]:
    result = bench.trace(case.scene, case.packets, files=case.files)
    leaves, net = _leaves_of(result).sum(0), _net_of(result).sum(0)
    # Lights inside are not in the net flux: the group that hangs among the leaves is left out.
    above = [c for c, g in enumerate(result.rows["channel_group"].values) if g == "top"]
    found = [
        Outcome(f"quanta, {name}", float(net[c, k, b] - net[c, k + 1, b]), float(leaves[c, k, b]),
                0.0, identity=True)
        for c, k, b, name in _labels(result)
        if c in above
    ]  # fmt: skip
    # What is black keeps all of a packet at its first meeting: so many quanta, so many meetings.
    assert result.layers is not None
    met = result.layers["n_meeting"].sel(side="both")
    for c, group in enumerate(result.rows["channel_group"].values):
        for k, packets in enumerate(leaves[c].sum(1) / PACKET_QUANTA):
            value = float(met.sel(group=group).values[k])
            found.append(
                Outcome(f"meetings, {group}, layer {k + 1}", round(packets), value, 0.0,
                        identity=True)
            )  # fmt: skip
    return found


def _scattering(bench: Bench, case: Case) -> list[Outcome]:
    result = bench.trace(case.scene, case.packets, files=case.files)
    leaves, net = _leaves_of(result), _net_of(result)
    outcomes = []
    for c, k, b, name in _labels(result):
        if result.rows["channel_group"].values[c] != "top":
            continue
        met = leaves[:, c, k, b] / _launched(result, c)
        passed = (net[:, c, k, b] - net[:, c, k + 1, b]) / _launched(result, c)
        error = float((met - passed).std(ddof=1) / len(met) ** 0.5)
        outcomes.append(
            Outcome(f"share of its light, {name}", float(passed.mean()), float(met.mean()), error,
                    len(met), scale=1.0)
        )  # fmt: skip
    return outcomes


def _box(bench: Bench, case: Case) -> list[Outcome]:
    result = bench.trace(case.scene, case.packets, files=case.files)
    dims = ("row", "channel", "canopy_bin", "traced_band")
    counted = result.rows["canopy_counted"].transpose(*dims).values
    first = result.meta["told_apart"]["canopy"]["first"]
    n_row, n_channel, _, n_band = counted.shape
    n = _n_layer(result)
    sides, levels, launched, inside = (counted[:, :, a:b] for a, b in itertools.pairwise(first[:5]))
    sides = sides.reshape(n_row, n_channel, n, 4, 2, n_band)
    levels = levels.reshape(n_row, n_channel, n + 1, 2, n_band)
    # Of leaves, stems, others, and the corrections of roulette and choice.
    inside = inside.reshape(n_row, n_channel, n, 4, n_band)
    through = levels[..., 0, :] - levels[..., 1, :]
    net = through[:, :, :-1] - through[:, :, 1:] + (sides[..., 0, :] - sides[..., 1, :]).sum(3)
    net = net + launched
    books = _leaves_of(result).sum(0)
    # All rows hold as many batches: 64 in 32 of them.
    batches = result.rows["row_batches"].values
    outcomes = []
    for c, k, b, name in _labels(result):
        taken = inside[:, c, k, :, b]
        outcomes += [
            Outcome(f"quanta in and kept, {name}", float(net[:, c, k, b].sum()),
                    float(taken.sum()), 0.0, identity=True),
            Outcome(f"quanta by leaves, {name}", float(books[c, k, b]), float(taken[:, 0].sum()),
                    0.0, identity=True),
        ]  # fmt: skip
        # Without the corrections, whose mean is zero, both are estimates of one flux.
        off = (net[:, c, k, b] - taken[:, :3].sum(1)) / (_launched(result, c) * batches)
        error = float(off.std(ddof=1) / n_row**0.5)
        outcomes.append(
            Outcome(f"in less kept, share of its light, {name}", 0.0, float(off.mean()), error,
                    n_row, scale=1.0)
        )  # fmt: skip
    return outcomes


FILES = {"leaves.obj": tile_mesh(TILES)}
BLACK = {"reflectance": "0 %", "transmittance": "0 %"}
CASES = (
    Case(
        name="black leaves from meetings and from planes",
        chapter="two ways",
        shows="What black leaves of a layer absorb is what the planes above and below it tell, to "
        "the quantum; and it is as many whole packets as there were meetings.",
        source="Light is kept: an identity of integers.",
        fails_if="A plane missed or doubled a crossing, a meeting at a plane's height went to the "
        "wrong layer, or light were lost at a repeating side.",
        scene=_scene(BLACK, endless=True),
        files=FILES,
        packets=1 << 19,
        measure=_black,
    ),
    Case(
        name="scattering leaves from meetings and from planes",
        chapter="two ways",
        shows="The same among leaves that scatter, in five wavebands: what is left between both is "
        "the chance of roulette and of the ways that bands share.",
        source="Light is kept; roulette and choice have mean zero.",
        fails_if="Roulette or the weights of bands after a choice were biased.",
        scene=_scene(LEAF, endless=True),
        files=FILES,
        packets=1 << 19,
        measure=_scattering,
    ),
    Case(
        name="what enters the canopy stays there",
        chapter="two ways",
        shows="Net flux in through the sides and levels of the canopy's box, and what lights send "
        "out inside, is what is kept, for every layer, waveband and group of lights.",
        source="Light is kept: an identity of integers with the signed corrections, and a mean of "
        "zero without.",
        fails_if="A side of the box were crossed unseen, light inside went to another layer, or "
        "corrections had a mean.",
        scene=_scene(LEAF, endless=False, also_count={"canopy_sides": "true"}),
        files=FILES,
        packets=1 << 20,
        measure=_box,
    ),
)
