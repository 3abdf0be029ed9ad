"""Tallies told apart: they add up, they change nothing, and each says what it claims to say."""

import copy

import numpy as np
import pytest
from build import panel, plain_box, scene_of, trace, world_of
from conftest import P_FAIL
from scipy.stats import t as student
from torture import endless_torture, told_apart, torture

import canopysim
from canopysim.errors import CanopysimError
from canopysim.guards import refuse_large
from canopysim.library.surfaces import SURFACE_NAMES
from canopysim.matter.parts import PLANTED
from canopysim.world.compile import compile_world
from canopysim.world.splits import CELLS, FLIGHT, LAST, LINING, SENSITIVITIES


def rows_of(world, rows, name):
    """Sums over batches of one split: absorbed and crossed, (row, ...)."""
    split = next(s for s in world.splits.splits if s.name == name)
    span = slice(split.first, split.first + len(split.rows))
    return (
        rows.splits.absorbed[:, :, span].sum((0, 1)),
        rows.splits.crossed[:, :, span].sum((0, 1)),
        split.rows,
    )


@pytest.mark.parametrize("make", [torture, endless_torture])
def test_splits_add_up_to_the_books_and_change_nothing(make):
    alone = trace(world_of(make(3000)), 3)
    world = world_of(told_apart(make(3000)))
    rows = trace(world, 3)
    assert (np.array(rows.absorbed) == np.array(alone.absorbed)).all()
    assert (rows.crossed == alone.crossed).all()
    assert (rows.met == alone.met).all()
    for name in (FLIGHT, LAST, LINING, CELLS):
        absorbed, crossed, _ = rows_of(world, rows, name)
        assert (absorbed.sum(0) == np.array(rows.absorbed).sum((0, 1))).all(), name
        assert (crossed.sum(0) == rows.crossed.sum((0, 1))).all(), name
    plants = [i for i, s in enumerate(world.sinks) if s.kind in PLANTED]
    on_plants = np.array(rows.absorbed)[:, :, plants].sum((0, 2))
    assert (rows.splits.facet.sum((0, 1, 2)) == on_plants).all()


def test_splits_do_not_depend_on_threads_and_chunks():
    world = world_of(told_apart(torture(3000)))
    one, other = trace(world, 2, threads=1, chunk=10**9), trace(world, 2, threads=2, chunk=77)
    for name in ("absorbed", "crossed", "facet"):
        assert (getattr(one.splits, name) == getattr(other.splits, name)).all()


def test_planes_as_a_whole_are_the_sums_of_their_cells():
    data = told_apart(torture(3000))
    cells = world_of(data)
    data["also_count"] = data["also_count"] | {"on_cells": "false"}
    whole = world_of(data)
    fine, coarse = trace(cells, 2), trace(whole, 2)
    first = 0
    for number, plane in enumerate(cells.planes):
        n = plane.cells[0] * plane.cells[1]
        for direction in (0, 1):
            sums = fine.splits.crossed[:, :, :, first : first + n].sum(3)
            assert (sums == coarse.splits.crossed[:, :, :, 2 * number + direction]).all()
            first += n


def test_first_flight_is_what_arrives_where_nothing_reflects():
    """The same photons, black surfaces and leaves: the same first flights to the quantum."""
    data = torture(4000)
    black = copy.deepcopy(data)
    # Its own surfaces win over those of the library that its plants and pots name.
    black["surfaces"] = {name: {} for name in (*data["surfaces"], *SURFACE_NAMES)}
    black["leaves"] = {
        name: {"reflectance": "0 %", "transmittance": "0 %"} for name in data["leaves"]
    }
    data["also_count"] = {"first_flight": "true", "on_cells": "true"}
    world = world_of(data)
    rows, alone = trace(world, 2), trace(world_of(black), 2)
    _, crossed, names = rows_of(world, rows, FLIGHT)
    assert names == ("first flight", "later")
    assert (crossed[0] == alone.crossed.sum((0, 1))).all()
    assert crossed[1].sum() > 0


def test_last_surface_names_where_light_comes_from():
    """Only the floor reflects: what travels up comes from it, what travels down from the lamps."""
    data = plain_box(
        surfaces={"black": {}, "white": {"diffuse": "90 %"}},
        planes=[{"name": "middle", "height": "50 cm", "cell": "20 cm"}],
        also_count={"last_surface": "true"},
    )
    data["enclosure"]["faces"] = {"floor": "white"}
    world = world_of(data)
    rows = trace(world, 1)
    _, crossed, names = rows_of(world, rows, LAST)
    down, up = rows.crossed_sum[0][0, 0].sum(-1)
    found = {name: crossed[k].sum(-1).tolist() for k, name in enumerate(names)}
    assert found.pop("the lamps themselves") == [down, 0]
    assert found.pop("floor") == [0, up]
    assert all(v == [0, 0] for v in found.values())


def lined_room(rho: float, **changes) -> dict:
    """A room whose lining, but not its floor, has a reflectance, with a plane across it."""
    data = plain_box(
        surfaces={
            "lining": {"diffuse": f"{60 * rho:.6f} %", "specular": f"{40 * rho:.6f} %"},
            "tray": {"diffuse": "20 %"},
        },
        planes=[{"name": "low", "height": "30 cm", "cell": "50 cm"}],
        tracing={"batch": "8000"},
        **changes,
    )
    data["enclosure"] |= {"lining": "lining", "faces": {"floor": "tray"}}
    return data


@pytest.mark.parametrize("factor", [0.5, 1.2])
def test_lining_meetings_answer_for_another_lining(factor):
    """Light that met the lining n times has a factor f^n: as a run with the other lining finds."""
    n_batch, rho = 24, 0.75
    world = world_of(lined_room(rho, also_count={"lining_meetings": "60"}))
    rows = trace(world, n_batch)
    split = world.splits.splits[0]
    other = trace(world_of(lined_room(rho * factor)), n_batch, seed=5)
    sink = [s.end for s in world.sinks].index("floor")
    power = factor ** np.arange(61)
    # Batch by batch: with fewer than 32 batches each row holds one.
    floor = np.einsum("nrb,r->n", rows.splits.absorbed[:n_batch, 0, :, sink], power)
    plane = np.einsum("nrb,r->n", rows.splits.crossed[:n_batch, 0, :, 0], power)
    assert rows.splits.absorbed[:, :, -1].sum() == 0, "the last row is empty: nothing is cut off"
    assert len(split.rows) == 61
    for found, alone in (
        (floor, np.array(other.absorbed)[:, 0, sink].sum(-1)),
        (plane, np.array(other.crossed_sum)[:, 0, 0, 0].sum(-1)),
    ):
        z = (
            (found.mean() - alone.mean())
            / np.hypot(found.std(ddof=1), alone.std(ddof=1))
            * np.sqrt(n_batch)
        )
        assert abs(z) < student.isf(P_FAIL / 4 / 2, n_batch - 1)


def test_sensitivity_to_the_lining_is_the_derivative_of_its_polynomial():
    """The sum of n times what met the lining n times, to the quantum, away from the lining."""
    world = world_of(
        lined_room(0.75, also_count={"lining_meetings": "80", "sensitivities": "true"})
    )
    rows = trace(world, 4)
    absorbed, crossed, _ = rows_of(world, rows, LINING)
    by_way, by_way_crossed, names = rows_of(world, rows, SENSITIVITIES)
    ways = [k for k, name in enumerate(names) if name.startswith("surface lining")]
    assert [names[k] for k in ways][:2] == ["surface lining: diffuse", "surface lining: specular"]
    n = np.arange(81)
    floor = [s.end for s in world.sinks].index("floor")
    assert (by_way_crossed[ways].sum(0) == np.tensordot(n, crossed, (0, 0))).all()
    assert (by_way[ways, floor].sum(0) == np.tensordot(n, absorbed[:, floor], (0, 0))).all()


def leafy(**changes) -> dict:
    data = torture(20_000)
    data["leaves"] = {
        name: {"reflectance": "20 %", "transmittance": "25 %"} | changes for name in data["leaves"]
    }
    data["also_count"] = {"sensitivities": "true"}
    return data


@pytest.mark.parametrize("key", ["reflectance", "transmittance"])
def test_sensitivities_to_leaf_optics_are_those_of_two_runs(key):
    """A central difference of runs with 2 % more and less, common random numbers, all ends."""
    step, base = 0.02, {"reflectance": 20.0, "transmittance": 25.0}[key]
    n_batch = 16
    world = world_of(leafy())
    rows = trace(world, n_batch)
    split = world.splits.splits[0]
    ways = [k for k, n in enumerate(split.rows) if n.startswith("leaf") and n.endswith(key)]
    assert len(ways) == 2
    runs = []
    for sign in (1, -1):
        value = f"{base * (1 + sign * step)} %"
        runs.append(trace(world_of(leafy(**{key: value})), n_batch))
    ends = list(dict.fromkeys(s.end for s in world.sinks if s.kind not in ("roulette", "choice")))
    for end in ends:
        sinks = [i for i, s in enumerate(world.sinks) if s.end == end]
        sums = [np.array(r.absorbed)[:, :, sinks].sum((1, 2, 3)) for r in runs]
        difference = (sums[0] - sums[1]) / (2 * step)
        found = rows.splits.absorbed[:n_batch][:, :, ways][:, :, :, sinks].sum((1, 2, 3, 4))
        gap = found - difference
        if not gap.any():
            continue
        error = gap.std(ddof=1) / np.sqrt(n_batch)
        # The third derivative leaves some 0.04 % in the central difference.
        room = student.isf(P_FAIL / 2 / 2 / len(ends), n_batch - 1) * error
        assert abs(gap.mean()) < room + 0.001 * abs(difference.mean()), end


def test_launch_cells_are_where_the_light_starts():
    """One parallel beam after another: all of it in the cell that trigonometry names."""
    rng = np.random.default_rng(3)
    n_along, n_polar, n_around = 3, 5, 7
    for _ in range(12):
        turn, tilt = rng.uniform(-180, 180), rng.uniform(-80, 80)
        data = plain_box(
            fixtures={"p": panel("40 cm", "1 cm", lens="parallel")},
            lights=[{"fixture": "p", "at": ["50 cm", "50 cm"], "height": "50 cm",
                     "turn": f"{turn} deg", "tilt": f"{tilt} deg"}],
            also_count={"launch_cells": {"along": f"{n_along}", "polar": f"{n_polar}",
                                         "around": f"{n_around}"}},
            tracing={"batch": "600"},
        )  # fmt: skip
        world = world_of(data)
        absorbed, _, names = rows_of(world, trace(world, 1), CELLS)
        share = absorbed.sum((1, 2)) / absorbed.sum()
        found = share.reshape(n_along, n_polar, n_around)
        # -z of the strip, tilted about its x axis, then turned about z.
        t, r = np.deg2rad(tilt), np.deg2rad(turn)
        d = np.array([-np.sin(r) * np.sin(t), np.cos(r) * np.sin(t), -np.cos(t)])
        polar = int((1 - d[2]) / 2 * n_polar)
        around = int((np.arctan2(d[1], d[0]) % (2 * np.pi)) / (2 * np.pi) * n_around)
        assert len(names) == n_along * n_polar * n_around
        assert found[:, polar, around] == pytest.approx(np.full(n_along, 1 / 3), abs=0.01)


def test_what_would_not_fit_is_refused_with_a_way_out():
    data = torture(500)
    data["also_count"] = {
        "launch_cells": {"along": "64", "polar": "180", "around": "180"}, "on_cells": "true",
    }  # fmt: skip
    scene = scene_of(data)
    with pytest.raises(
        CanopysimError, match=r"also_count: \d+ rows of launch cells .* GiB"
    ) as told:
        refuse_large(compile_world(scene), 2)
    assert "leave on_cells out" in str(told.value)


def test_facets_of_a_shared_leaf_sum_to_its_layers():
    """Leaf triangles alone, by side, are the leaf sinks by side."""
    world = world_of(told_apart(torture(3000)))
    rows = trace(world, 2)
    first, by_side = 0, np.zeros((2, len(world.channels), len(world.edges) - 1), np.int64)
    for part in world.parts:
        if part.kind in ("leaf", "stem"):
            n = len(part.faces)
            if part.kind == "leaf":
                by_side += rows.splits.facet[:, first : first + n].sum((0, 1))
            first += n
    sides = [[i for i, s in enumerate(world.sinks) if s.kind == "leaf" and s.side == side]
             for side in ("upper", "lower")]  # fmt: skip
    whole = np.stack([np.array(rows.absorbed)[:, :, s].sum((0, 2)) for s in sides])
    assert (by_side == whole).all()


def test_what_would_not_fit_is_refused_before_it_is_allocated():
    """Hundreds of gigabytes of rows: one sentence from the run itself, no traceback."""
    data = torture(500)
    data["also_count"] = {"launch_cells": {"polar": "180", "around": "180"}, "on_cells": "true"}
    with pytest.raises(CanopysimError, match="also_count: "):
        canopysim.run(scene_of(data), max_packets=1000)
