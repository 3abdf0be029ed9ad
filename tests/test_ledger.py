"""The books: balance to the last quantum, equal bytes for any threads and chunks, linearity."""

import numpy as np
import pytest
from build import WHITE, launched_quanta, plain_box, scene_of, trace, world_of
from hypothesis import given, settings
from hypothesis import strategies as st

from canopysim.book.cases.furnaces import CASES as ROOMS
from canopysim.tallies.books import add_up, imbalance, open_books
from canopysim.tallies.driver import BatchTracer
from canopysim.transport.history import trace_range
from canopysim.world.compile import compile_world

SHARE = st.integers(0, 100).map(lambda n: f"{n} %")


@st.composite
def scenes(draw):
    """Boxes with every kind of surface, leaf, lens and opening, and lights anywhere."""
    split = draw(st.lists(st.integers(0, 100), min_size=12, max_size=12))

    def pair(k):
        a, b = split[k], split[k + 1]
        total = max(100, a + b)
        return f"{100 * a / total:.9f} %", f"{100 * b / total:.9f} %"

    surfaces = {}
    for k, name in enumerate(("wall", "floor", "stem")):
        a, b = pair(2 * k)
        surfaces[name] = {"diffuse": {"400-700": a, "700-800": b}, "specular": "0 %"}
    a, b = pair(6)
    surfaces["shiny"] = {"diffuse": a, "specular": b}
    a, b = pair(8)
    c, d = pair(10)
    leaf = {
        "reflectance": {"400-700": a, "700-800": c},
        "transmittance": {"400-700": b, "700-800": d},
    }
    if draw(st.booleans()):
        leaf["lower"] = {"reflectance": d, "transmittance": c}
    lens = draw(
        st.sampled_from(
            ["lambertian", "parallel", {"beam": {"along": "100 deg", "across": "30 deg"}}]
        )
    )
    fixture = {
        "body": {"length": "30 cm", "width": "6 cm", "height": "4 cm", "surface": "shiny"},
        "ppf": "100 umol/s",
        "spectrum": WHITE,
        "strips": [
            {"length": "28 cm", "width": "2 cm", "lens": lens, "at": ["0 cm", "-1.5 cm"]},
            {"length": "28 cm", "width": "2 cm", "lens": lens, "at": ["0 cm", "1.5 cm"],
             "spectrum": {"600-700": "100 %"}},
        ],
    }  # fmt: skip
    faces = {"floor": "floor", "left": "shiny"}
    if draw(st.booleans()):
        faces["front"] = "open"
    if draw(st.booleans()):
        faces["right"] = {
            "patches": [
                {"surface": "floor", "corner": ["10 cm", "5 cm"], "opposite": ["50 cm", "60 cm"]},
                {"open": "true", "corner": ["20 cm", "10 cm"], "opposite": ["30 cm", "90 cm"]},
            ]
        }
    return plain_box(
        enclosure={
            "width": "80 cm", "depth": "60 cm", "height": "1 m", "lining": "wall", "faces": faces,
        },
        surfaces=surfaces,
        leaves={"leaf": leaf},
        plants={
            "herb": {
                "leaf": "leaf", "stem": "stem", "nodes": "6", "internode": "4 cm",
                "petiole_length": "3 cm", "petiole_angle": "60 deg", "blade_length": "8 cm",
                "blade_width": "4 cm",
            }
        },
        canopy={
            "layers": "3", "leaf_area_index": "0.6", "seed": str(draw(st.integers(0, 99))),
            "plantings": [{"plant": "herb", "columns": "2", "rows": "2", "base": "12 cm"}],
        },
        fixtures={"bar": fixture},
        lights=[
            {"fixture": "bar", "group": "top", "at": ["40 cm", "30 cm"], "height": "80 cm",
             "tilt": f"{draw(st.integers(-60, 60))} deg"},
            {"fixture": "bar", "group": "side", "at": ["40 cm", "10 cm"], "height": "60 cm",
             "tilt": "45 deg", "output": draw(SHARE)},
        ],
        planes=[
            {"name": "mid", "height": "20 cm", "cell": "10 cm"},
            {"name": "floor", "height": "0 cm", "cell": "20 cm"},
            {"name": "ceiling", "height": "1 m", "cell": "20 cm"},
        ],
        tracing={"batch": "700"},
    )  # fmt: skip


@settings(max_examples=25, deadline=None, derandomize=True)
@given(scenes())
def test_books_balance_to_the_last_quantum(data):
    world = world_of(data)
    rows = trace(world, 2)
    total = np.array(rows.absorbed).sum(0)
    assert (launched_quanta(world, 2) - total.sum(1) == 0).all()
    assert rows.counters[0] == 2 * world.batch_packets
    # Only the two correcting lines may be negative, and nothing was lost.
    assert (total[:, :-2] >= 0).all()
    assert rows.counters[2] == 0


def black_floor_scene():
    data = plain_box(
        surfaces={"black": {}, "wall": {"diffuse": "60 %", "specular": "30 %"}},
        planes=[{"name": "floor", "height": "0 cm"}],
    )
    data["enclosure"] |= {"lining": "wall", "faces": {"floor": "black"}}
    return data


def test_floor_plane_reads_what_the_floor_absorbs():
    """A plane that lies on a black floor counts exactly the quanta that the floor takes."""
    world = world_of(black_floor_scene())
    rows = trace(world, 1)
    floor = [i for i, s in enumerate(world.sinks) if s.end == "floor"]
    absorbed = rows.absorbed[0][:, floor].sum(1)
    n = world.planes[0].cells[0] * world.planes[0].cells[1]
    assert (rows.crossed.sum(0)[:, :n].sum(1) == absorbed).all()
    assert (rows.crossed.sum(0)[:, n:] == 0).all()


@pytest.mark.parametrize(
    ("threads", "chunk"), [(1, 65536), (1, 1000), (2, 4096), (3, 777), (8, 64)]
)
def test_same_bytes_for_any_threads_and_chunks(demo_world, threads, chunk):
    one = trace(demo_world, 1, threads=1, chunk=10**9)
    other = trace(demo_world, 1, threads=threads, chunk=chunk)
    assert (one.absorbed[0] == other.absorbed[0]).all()
    assert (one.crossed == other.crossed).all()
    assert (one.met == other.met).all()
    assert (one.counters == other.counters).all()


def test_batches_do_not_depend_on_where_a_run_starts(demo_world):
    rows = trace(demo_world, 2)
    tracer = BatchTracer(
        demo_world.arrays, demo_world.strip_first, demo_world.depth, seed=1, threads=2
    )
    second = next(tracer.batches(1)).books
    tracer.close()
    assert (rows.absorbed[1] == second.absorbed).all()


def test_seed_changes_histories(demo_world):
    one, other = trace(demo_world, 1), trace(demo_world, 1, seed=2)
    assert not (one.absorbed[0] == other.absorbed[0]).all()


def test_output_changes_no_history(demo_data):
    """Dimming one light is a factor at labelling: quanta stay, its flux scales exactly."""
    from copy import deepcopy

    dimmed = deepcopy(demo_data)
    dimmed["lights"][1]["output"] = "37.5 %"
    full, low = compile_world(scene_of(demo_data)), compile_world(scene_of(dimmed))
    assert full.digest == low.digest
    assert (trace(full, 1).absorbed[0] == trace(low, 1).absorbed[0]).all()
    factors = [
        b.umol_s_per_quantum / a.umol_s_per_quantum
        for a, b in zip(full.channels, low.channels, strict=True)
    ]
    assert factors == pytest.approx([1.0, 0.375, 1.0], rel=1e-15)


def test_adding_books_keeps_untraced_addresses():
    world = world_of(plain_box())
    parts = [open_books(world.arrays) for _ in range(3)]
    for n, part in enumerate(parts):
        part.counters[:] = (10, 20, 1, n)
        part.lost[0] = (0, 9 - n, 1, 0, 1)
    total = add_up(parts)
    assert total.counters.tolist() == [30, 60, 3, 2]
    assert total.lost[:3, 1].tolist() == [7, 8, 9]
    assert (imbalance(total.absorbed, np.zeros((1, 5), np.int64)) == 0).all()


def test_light_does_not_slip_into_a_stem_at_its_edge():
    """This packet meets the edge at which a white stem turns away, and once went in for ever."""
    (case,) = (c for c in ROOMS if c.name == "a furnace of 85 % with leaves in it, its walls a box")
    world = world_of(dict(case.scene) | {"tracing": {"batch": "16384"}})
    books = open_books(world.arrays)
    packet = int(world.strip_first[2]) + 191
    trace_range(
        world.arrays, books, None, world.strip_first, np.uint32(1403127806), np.uint32(0), 3,
        packet, packet + 1, world.depth,
    )  # fmt: skip
    assert books.counters[2] == 0
    assert books.counters[3] < 200
