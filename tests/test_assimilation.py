"""Leaf photosynthesis: closed answers, noise taken out of a curved sum, honest tables."""

from __future__ import annotations

import copy
from dataclasses import replace

import numpy as np
import pytest
from build import scene_of
from conftest import P_FAIL
from fake_result import fake_result
from scipy import integrate, stats
from test_canopy_light import discs
from test_profile_traced import bay, run
from test_report import read
from torture import torture

import canopysim
from canopysim.analysis.assimilation import CAUTION, MOL_PER_KWH, Assimilation, assimilation
from canopysim.analysis.leaf_response import (
    LeafResponse,
    gross,
    net,
)
from canopysim.errors import CanopysimError
from canopysim.library.crops import UNITS, Crop, Parameter, library_crop
from canopysim.report.assimilation import assimilation_table, canopy_table, crop_table
from canopysim.report.page import page_text
from canopysim.report.words import with_error

LEAF = LeafResponse(pm=25.0, phi=0.05, theta=0.7, rd=1.0)


# A canopy with known answers ----------------------------------------------------------------------


def crop_of(leaf: LeafResponse) -> Crop:
    """A crop with just these parameters."""
    values = {"pm": leaf.pm, "phi": leaf.phi, "theta": leaf.theta, "rd": leaf.rd, "limit": 300.0}
    made = {
        key: Parameter(float(v), float(v), float(v), UNITS[key], "made up")
        for key, v in values.items()
    }
    return Crop("made-up", "made-up leaves", "none", **made)


def lit_layers(light: np.ndarray, far_red: float = 0.0) -> canopysim.Result:
    """Made-up books whose layers absorb known light, the far-red a share of it, without noise."""
    result = fake_result(groups=("lamps",), n_layer=len(light), planes=())
    area = result.layers["leaf_area_m2"].values
    scale = float(result.rows["channel_umol_s_per_quantum"][0])
    quanta = result.rows["absorbed"].values
    layer, side = result.rows["sink_layer"].values, result.rows["sink_side"].values
    for number, (value, size) in enumerate(zip(light, area, strict=True), 1):
        here = np.flatnonzero((layer == number) & (side == "upper"))[0]
        quanta[:, :, layer == number] = 0
        quanta[:, :, here, 0] = np.rint(value * size / scale)
        quanta[:, :, here, 3] = np.rint(far_red * value * size / scale)
    return result


@pytest.mark.parametrize(("theta", "wanted"), [(0.0, 16.85632), (0.7, 19.85320)])
def test_a_canopy_in_exponential_light_sums_to_its_closed_form(theta, wanted):
    """Pm 25, φ 0.05, K 0.7, I0 500, L 3.5: the hyperbola in closed form, the other by quadrature.

    Gross; leaves absorb K I0 exp(−K L). Midpoints of 700 even layers of one leaf area each.
    """
    leaf = LeafResponse(25.0, 0.05, theta, 0.0)
    low = 25 + 0.05 * 0.7 * 500 * np.exp(-0.7 * 3.5)
    closed = 25 / 0.7 * np.log((25 + 0.05 * 0.7 * 500) / low)
    if theta == 0.0:
        assert closed == pytest.approx(wanted, abs=5e-6)

    def at(lai):
        return float(gross(0.7 * 500 * np.exp(-0.7 * lai), leaf))

    assert integrate.quad(at, 0.0, 3.5)[0] == pytest.approx(wanted, abs=5e-6)
    n = 700
    result = lit_layers(0.7 * 500 * np.exp(-0.7 * 3.5 * (np.arange(n) + 0.5) / n))
    found = assimilation(result, crop_of(leaf))
    area = np.array([layer.leaf_area for layer in found.layers])
    rate = np.array([layer.net.value for layer in found.layers])
    assert 3.5 * rate.mean() == pytest.approx(wanted, rel=1e-5)
    assert found.net.value == pytest.approx(float(rate @ area), rel=1e-12)
    assert found.net.std_err == pytest.approx(0.0, abs=1e-12)


def test_far_red_is_told_apart_and_never_in_the_sum():
    light = np.array([300.0, 80.0, 10.0])
    bare, red = (assimilation(lit_layers(light, share), crop_of(LEAF)) for share in (0.0, 0.9))
    assert red.net.value == bare.net.value
    assert bare.far_red.value == 0.0
    for layer, value in zip(red.layers, light, strict=True):
        more = net(value * (1 + 3 / 7), LEAF) - net(value, LEAF)
        assert layer.far_red.value == pytest.approx(float(more), rel=1e-5)
        assert layer.light.value == pytest.approx(value, rel=1e-5)


def test_shade_leaves_that_are_acclimated_have_less_capacity():
    light = np.array([400.0, 100.0, 25.0])
    found = assimilation(lit_layers(light), crop_of(LEAF), acclimation=0.5)
    assert [layer.capacity for layer in found.layers] == pytest.approx([1.0, 0.5, 0.25], rel=1e-5)
    for layer, value, times in zip(found.layers, light, (1.0, 0.5, 0.25), strict=True):
        leaf = replace(LEAF, pm=25.0 * times, rd=1.0 * times)
        assert layer.net.value == pytest.approx(float(net(value, leaf)), rel=1e-4)
    off = assimilation(lit_layers(light), crop_of(LEAF))
    assert [layer.capacity for layer in off.layers] == [1.0] * 3
    with pytest.raises(CanopysimError, match="acclimation: 3 is out of range"):
        assimilation(lit_layers(light), "pepper", acclimation=3.0)


def test_electricity_and_ground():
    result = lit_layers(np.array([300.0, 100.0]))
    found = assimilation(result, "tomato", input_watts=250.0)
    # µmol s⁻¹ over W are µmol J⁻¹, and a kWh is 3.6 million J.
    wanted = found.net.value * 1e-6 / 250.0 * 3.6e6
    assert found.per_kwh.value == pytest.approx(wanted)
    assert MOL_PER_KWH == 3.6
    assert np.isnan(assimilation(result, "tomato").per_kwh.value)
    for watts in (0.0, -1.0, float("nan"), float("inf")):
        with pytest.raises(CanopysimError, match="input_watts"):
            assimilation(result, "tomato", input_watts=watts)
    with pytest.raises(CanopysimError, match="no canopy"):
        assimilation(fake_result(with_plants=False), "tomato")
    with pytest.raises(CanopysimError, match="limit"):
        assimilation(result, "tomato", limit=0.0)


def test_errors_of_layer_means_cover():
    """Where batches scatter, the error of a layer's rate is its slope times that of its light."""
    result = fake_result()
    found = assimilation(result, "pepper")
    leaf = LeafResponse.of(library_crop("pepper"))
    for layer in found.layers:
        step = 1e-3
        slope = (net(layer.light.value + step, leaf) - net(layer.light.value - step, leaf)) / step
        assert layer.net.std_err == pytest.approx(0.5 * slope * layer.light.std_err, rel=0.02)
        here = result.layers.sel(layer=layer.layer, group="all", band="400-700", side="both")
        assert layer.light.std_err == pytest.approx(
            float(here["absorbed_per_leaf_area_std_err"]), rel=1e-2
        )


# Traced leaves ------------------------------------------------------------------------------------


def traced(batch: int, n_batch: int, seed: int, **canopy) -> canopysim.Result:
    data = torture(batch)
    data["canopy"] |= canopy
    data["also_count"] = {"leaf_facets": "true"}
    budget = n_batch * batch * 1.01
    return canopysim.run(scene_of(data), seed=seed, target=1e-9, max_packets=budget)


@pytest.fixture(scope="module")
def few_and_many() -> tuple[canopysim.Result, canopysim.Result]:
    return traced(2000, 8, 1, crop="basil"), traced(20_000, 16, 3)


def test_few_photons_answer_as_many_do(few_and_many):
    few, many = (assimilation(result, "basil") for result in few_and_many)
    assert few.by_triangle
    assert few.raw < few.net.value - 10 * few.remainder
    z = (few.net.value - many.net.value) / np.hypot(few.net.std_err, many.net.std_err)
    slack = (few.remainder + many.remainder) / np.hypot(few.net.std_err, many.net.std_err)
    assert abs(z) < stats.t.isf(P_FAIL / 4, 7) + slack
    # Uneven light makes less than even light: the mean promises too much, in every layer.
    for found in (few, many):
        assert found.gap > 0.0
        assert found.of_mean.value == pytest.approx(
            sum(layer.of_mean.value * layer.leaf_area for layer in found.layers), rel=1e-9
        )
    assert all(layer.net.value < layer.of_mean.value for layer in many.layers)
    shares = [
        s.value for layer in many.layers for s in (layer.under_compensation, layer.over_limit)
    ]
    assert min(shares) > -0.05
    assert max(shares) < 1.05


def test_triangles_and_layers_hold_the_same_light(few_and_many):
    """Light over all leaves is that of the books; without triangles the layers answer."""
    for result in few_and_many:
        found = assimilation(result, "basil")
        area = np.array([layer.leaf_area for layer in found.layers])
        light = np.array([layer.light.value for layer in found.layers])
        books = result.layers["absorbed_umol_s"].sel(group="all", band="400-700", side="both")
        assert float(light @ area) == pytest.approx(float(books.sum()), rel=1e-9)
        blind = copy.deepcopy(result)
        blind.meta["told_apart"]["facets"] = False
        by_layer = assimilation(blind, "basil")
        assert not by_layer.by_triangle
        assert np.isnan(by_layer.gap)
        assert np.isnan(by_layer.under_compensation.value)
        assert by_layer.net == by_layer.of_mean
        # Layers are clipped, triangles go by their middle: nearly the same.
        assert by_layer.net.value == pytest.approx(found.of_mean.value, rel=0.05)


# For people ---------------------------------------------------------------------------------------


def every_table(found: Assimilation):
    return canopy_table(found), assimilation_table(found), crop_table(found)


def test_every_table_carries_the_caution_and_its_waveband(few_and_many):
    by_triangle = assimilation(few_and_many[0], "basil", input_watts=200.0, acclimation=0.4)
    for found in (by_triangle, assimilation(fake_result(), "leaf-lettuce")):
        for table in every_table(found):
            assert CAUTION in table.note
            assert all(len(row) == len(table.columns) for row in table.rows)
        canopy, layers, _ = every_table(found)
        assert "400–700 nm" in canopy.caption
        assert "400–700 nm" in layers.caption
        assert any("700–750 nm" in column for column in layers.columns)
        assert ("gap that is not known" in layers.note) is not found.by_triangle
    assert any(row[0].startswith("Per electricity") for row in canopy_table(by_triangle).rows)
    assert "to the power of 0.4" in canopy_table(by_triangle).note


def test_the_page_shows_the_crop_that_the_scene_names(few_and_many):
    page = page_text(few_and_many[0])
    tables = read(page).tables
    (layers,) = (
        t for name, t in tables.items() if name.startswith("Net photosynthesis of basil l")
    )
    found = assimilation(few_and_many[0], "basil")
    shown = [row[2] for row in layers[1:]]
    assert shown == [with_error(x.net.value, x.net.std_err) for x in found.layers]
    assert page.count("Curves of single leaves do not predict yield") == 4
    # No crop, no section; and daylight draws no watts.
    assert not any("electricity" in row[0] for t in tables.values() for row in t)
    assert "Net photosynthesis" not in page_text(few_and_many[1])


def test_electricity_is_that_of_the_scene():
    """Watts at the set output, where every light states them."""
    data = bay()
    data["canopy"]["crop"] = "strawberry"
    data["fixtures"]["panel"] |= {"input_power": "60 W"}
    data["lights"][0]["output"] = "50 %"
    result = run(data, [discs(50, 0.04, (1, 1), (0.1, 0.9), 9)], 2)
    wanted = assimilation(result, "strawberry", input_watts=30.0).per_kwh
    (canopy,) = (
        t for name, t in read(page_text(result)).tables.items()
        if name.startswith("Net photosynthesis of all")
    )  # fmt: skip
    (row,) = (row for row in canopy if row[0].startswith("Per electricity"))
    assert row[1] == with_error(wanted.value, wanted.std_err)
    del data["fixtures"]["panel"]["input_power"]
    bare = page_text(run(data, [discs(50, 0.04, (1, 1), (0.1, 0.9), 9)], 2))
    assert "Per electricity" not in bare
