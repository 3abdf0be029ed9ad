"""The same photons in plain Python and compiled: identical books."""

import inspect

import numpy as np
import pytest
from build import trace, world_of
from hypothesis import given, settings
from hypothesis import strategies as st
from torture import (
    closed_torture,
    cloudy_torture,
    drawn_torture,
    endless_torture,
    load_drawn,
    told_apart,
    torture,
)

from canopysim.tallies.books import open_books
from canopysim.transport.history import trace_photon
from canopysim.transport.plain import load_physics
from canopysim.transport.plain.target import fma
from canopysim.world.compile import compile_world

F = np.float32


@settings(deadline=None, derandomize=True, max_examples=2000)
@given(*[st.floats(-1e9, 1e9, width=32)] * 3)
def test_plain_fma_rounds_once(a, b, c):
    from fractions import Fraction

    exact = Fraction(a) * Fraction(b) + Fraction(c)
    found = fma(F(a), F(b), F(c))
    # Nearest: no neighbour is closer, and of two equally close the even one.
    error = abs(Fraction(float(found)) - exact)
    for side in (F(-np.inf), F(np.inf)):
        other = np.nextafter(found, side)
        distance = abs(Fraction(float(other)) - exact)
        assert error < distance or (error == distance and found.view(np.int32) % 2 == 0)


@pytest.mark.parametrize(
    ("scene", "walls"),
    [
        (torture(2000), None),
        (told_apart(torture(500)), None),
        (endless_torture(500), None),
        (closed_torture(300), 400),
        (cloudy_torture(400), None),
        (cloudy_torture(300, endless=True), None),
        (told_apart(drawn_torture(500)), None),
    ],
    ids=[
        "open",
        "told apart",
        "endless",
        "walls as triangles",
        "cloudy",
        "endless clouds",
        "drawn, told apart",
    ],
)
def test_plain_python_gives_the_same_books(scene, walls, tmp_path):
    drawn = "mesh" in scene["enclosure"]
    world = (
        compile_world(load_drawn(tmp_path, scene))
        if drawn
        else world_of(scene, wall_triangles=walls)
    )
    compiled = trace(world, 1, seed=77)
    books = open_books(world.arrays)
    splits = None if world.splits is None else world.splits.open(world.arrays)
    history = load_physics()
    with np.errstate(all="ignore"):
        history.trace_range(
            world.arrays, books, splits, world.strip_first, np.uint32(77), np.uint32(0), 0, 0,
            world.batch_packets, world.depth,
        )  # fmt: skip
    assert (books.absorbed == compiled.absorbed[0]).all()
    assert (books.crossed == compiled.crossed[0]).all()
    assert (books.met == compiled.met).all()
    assert (books.counters == compiled.counters).all()
    assert books.counters[2] == 0
    if splits is not None:
        assert compiled.splits is not None
        assert (splits.absorbed == compiled.splits.absorbed[0]).all()
        assert (splits.crossed == compiled.splits.crossed[0]).all()
        assert (splits.facet == compiled.splits.facet[0]).all()
        assert (splits.probed == compiled.splits.probed[0]).all()
        assert (splits.canopy is not None) == ("also_count" in scene)
        if splits.canopy is not None:
            assert (splits.canopy.counted == compiled.splits.canopy[0]).all()
            assert splits.canopy.counted.any()


def test_compiled_kernels_are_back_after_loading_plain_ones():
    import canopysim.transport.history as compiled

    before = compiled.trace_photon
    plain = load_physics()
    import canopysim.transport.history as again

    assert again.trace_photon is before
    assert plain.trace_photon is not before
    assert inspect.isfunction(plain.trace_photon)
    assert not inspect.isfunction(before)


def test_a_kernel_that_only_kernels_call_refuses_python():
    """It has no entry: to call it would end the process."""
    with pytest.raises(TypeError, match=r"trace_photon is called by kernels only.*numba\.njit"):
        trace_photon(None)
