"""How deep light reaches: made-up profiles with known answers, errors that cover, honest gaps."""

from __future__ import annotations

import csv
import re

import numpy as np
import pytest
import xarray as xr
from conftest import P_FAIL
from fake_result import GROUND, fake_result
from scipy import stats
from test_report import read

from canopysim.analysis.jackknife import jackknife_error, leave_one_out
from canopysim.analysis.layers import cumulative_share
from canopysim.analysis.penetration import penetration, penetration_of
from canopysim.analysis.profile import Profile, knows_profile, profile, red_to_far_red_by_depth
from canopysim.errors import CanopysimError
from canopysim.report.page import page_text
from canopysim.report.penetration import penetration_sentences, write_profile_csv
from canopysim.report.words import with_error
from canopysim.results import Result

LAI = np.array([0.0, 0.3, 0.9, 1.4, 2.2, 3.0])
HEIGHT = np.array([0.9, 0.8, 0.62, 0.45, 0.3, 0.1])


def made_up(net: np.ndarray, lai: np.ndarray = LAI, height: np.ndarray = HEIGHT) -> Profile:
    """Profile of batches (n_batch, n_level) with nothing coming up."""
    net = np.atleast_2d(net)
    zero = np.zeros_like(net)
    absorbed = net[:, :-1] - net[:, 1:]
    span = (400.0, 700.0)
    return Profile("all", span, height, lai, net, zero, net, absorbed, True, True)


def exponential(k: float, top: float = 500.0) -> np.ndarray:
    return top * np.exp(-k * LAI)


@pytest.mark.parametrize("k", [0.31, 0.72, 1.4])
def test_an_exponential_gives_its_k_and_its_depths(k):
    found = penetration_of(made_up(np.tile(exponential(k), (4, 1))))
    assert found.k.value == pytest.approx(k, rel=1e-12)
    assert found.departure == pytest.approx(0.0, abs=1e-12)
    assert found.is_exponential
    assert [e.value for e in found.k_by_layer] == pytest.approx([k] * 5, rel=1e-12)
    for level, share in zip(found.remaining, (0.5, 0.1), strict=True):
        lai = np.log(1 / share) / k
        assert level.reached == (lai <= LAI[-1])
        if level.reached:
            assert level.lai.value == pytest.approx(lai, rel=1e-12)
            # Linear in height within a layer, as the logarithm is.
            assert level.height.value == pytest.approx(np.interp(lai, LAI, HEIGHT), rel=1e-12)
            assert level.depth.value == pytest.approx(HEIGHT[0] - level.height.value, rel=1e-12)
        else:
            assert np.isnan([level.lai.value, level.height.value, level.depth.value]).all()
    assert found.at_bottom.value == pytest.approx(np.exp(-3.0 * k), rel=1e-12)


def test_the_residual_says_how_far_an_exponential_is_off():
    """A zigzag free of slope and mean in the logarithm is the residual itself."""
    design = np.stack([np.ones_like(LAI), LAI], 1)
    zigzag = np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0])
    zigzag -= design @ np.linalg.lstsq(design, zigzag, rcond=None)[0]
    zigzag /= np.sqrt(np.mean(zigzag**2))
    for size, exponential_enough in ((0.04, True), (0.25, False)):
        found = penetration_of(made_up(np.tile(exponential(0.8) * np.exp(size * zigzag), (3, 1))))
        assert found.departure == pytest.approx(size, rel=1e-9)
        assert found.k.value == pytest.approx(0.8, rel=1e-9)
        assert found.is_exponential is exponential_enough


def test_jackknife_of_a_mean_is_its_standard_error():
    rows = np.random.default_rng(5).gamma(2.0, 1.0, (20, 3))
    assert jackknife_error(leave_one_out(rows)) == pytest.approx(
        rows.std(axis=0, ddof=1) / np.sqrt(20), rel=1e-12
    )
    assert np.isnan(jackknife_error(leave_one_out(rows[:1]))).all()


def test_errors_cover_where_boundaries_vary_together():
    """Standardised errors of 400 runs of 32 batches follow Student's t, bias and spread both.

    What is absorbed in each layer and what is left below varies by itself, so the fluxes share
    their noise; the noise is skewed as that of a trace is.
    """
    rng = np.random.default_rng(11)
    k, n_batch = 0.9, 32
    true = exponential(k)
    parts = np.append(true[:-1] - true[1:], true[-1])
    found = {"k": [], "half": [], "tenth height": [], "layer 3": []}
    level = np.interp(np.log(10) / k, LAI, HEIGHT)
    for _ in range(400):
        absorbed = parts * rng.gamma(400.0, 1 / 400.0, (n_batch, len(parts)))
        run = penetration_of(made_up(np.cumsum(absorbed[:, ::-1], axis=1)[:, ::-1]))
        half, tenth = run.remaining
        found["k"].append((run.k.value - k) / run.k.std_err)
        found["half"].append((half.lai.value - np.log(2) / k) / half.lai.std_err)
        found["tenth height"].append((tenth.height.value - level) / tenth.height.std_err)
        found["layer 3"].append((run.k_by_layer[2].value - k) / run.k_by_layer[2].std_err)
    for name, z in found.items():
        p = stats.kstest(z, stats.t(df=n_batch - 1).cdf).pvalue
        assert p > P_FAIL / len(found), f"{name}: mean {np.mean(z):.3f}, spread {np.std(z):.3f}"


def test_noise_of_the_residual_is_what_the_trace_makes():
    """An exponential with noise departs from one by about the noise that is told."""
    rng = np.random.default_rng(2)
    squares, told = [], []
    for _ in range(200):
        run = penetration_of(made_up(exponential(0.7) * rng.normal(1, 0.05, (32, len(LAI)))))
        squares.append(run.departure**2)
        told.append(run.noise**2)
    error = np.std(np.array(squares) - told, ddof=1) / np.sqrt(200)
    assert abs(np.mean(squares) - np.mean(told)) < stats.norm.isf(P_FAIL / 2) * error


def test_fluxes_that_turn_have_no_logarithm_there():
    """Side light makes the net flux fall below zero and rise again: the fit ends before."""
    net = np.array([400.0, 250.0, 90.0, -30.0, 60.0, 20.0])
    noise = np.random.default_rng(3).normal(0.0, 2.0, (16, 6))
    found = penetration_of(made_up(net + noise - noise.mean(axis=0)))
    assert found.n_boundary == 3
    half, tenth = found.remaining
    start = np.log(400 / 200) / np.log(400 / 250)
    assert start > 1  # the half lies in the second layer
    part = np.log(250 / 200) / np.log(250 / 90)
    assert half.lai.value == pytest.approx(LAI[1] + part * (LAI[2] - LAI[1]), rel=1e-9)
    # No logarithm at the level below: the flux itself is interpolated.
    part = (90 - 40) / (90 + 30)
    assert tenth.lai.value == pytest.approx(LAI[2] + part * (LAI[3] - LAI[2]), rel=1e-9)
    assert np.isfinite([half.lai.std_err, tenth.lai.std_err, tenth.height.std_err]).all()
    assert np.isnan([e.value for e in found.k_by_layer[2:4]]).all()
    # Upward at the top: nothing enters from above.
    dark = penetration_of(made_up(-net + noise))
    assert dark.n_boundary == 0
    assert np.isnan([dark.k.value, dark.departure, dark.at_bottom.value]).all()
    assert not any(level.reached for level in dark.remaining)


def test_one_batch_has_values_without_errors():
    found = penetration_of(made_up(exponential(0.9)))
    assert found.k.value == pytest.approx(0.9)
    assert np.isnan([found.k.std_err, found.noise, found.remaining[0].lai.std_err]).all()


def test_two_boundaries_have_a_k_and_no_residual():
    two = made_up(np.tile(exponential(0.5)[:2], (3, 1)), LAI[:2], HEIGHT[:2])
    found = penetration_of(two)
    assert found.k.value == pytest.approx(0.5)
    assert np.isnan(found.departure)
    assert found.is_exponential is None


def test_other_fluxes_and_wrong_words():
    of = made_up(np.tile(exponential(0.5), (3, 1)))
    assert penetration_of(of, flux="down").k == penetration_of(of).k
    assert penetration_of(of, flux="up").n_boundary == 0
    with pytest.raises(ValueError, match="allowed are net, down and up"):
        penetration_of(of, flux="sideways")
    with pytest.raises(ValueError, match="more than 0 and less than 1"):
        penetration_of(of, shares=[1.0])


# In a result --------------------------------------------------------------------------------------

FALL = {"top bars": 0.7, "side bars": 0.45}
BAND_FALL = np.array([1.1, 0.9, 1.0, 0.6, 0.3])


def with_levels(inside: tuple[str, ...] = (), **changes) -> Result:
    """Made-up books with exponentially falling light at every boundary, a tenth of it coming up."""
    bare = fake_result(**changes)
    lai = np.insert(bare.layers["cumulative_lai"].values, 0, 0.0)
    scale = float(bare.rows["channel_umol_s_per_quantum"][0])
    noise = np.random.default_rng(9).normal(1.0, 0.01, (bare.n_batch, 1, len(lai), 1))
    net = np.stack(
        [
            flux.sel(band=bare.band_names).values * np.exp(-FALL[g] * BAND_FALL * lai[:, None])
            for g, flux in zip(bare.groups, bare.launched[:-1], strict=True)
        ]
    )
    noise /= noise.mean(axis=0)
    both = np.rint(np.stack([1.1 * net * noise, 0.1 * net * noise], axis=3) / scale)
    old = bare.rows["crossed_sum"]
    levels = xr.DataArray(both.astype(np.int64), dims=old.dims)
    rows = bare.rows.drop_vars("crossed_sum").assign(
        crossed_sum=xr.concat([old, levels], dim="plane")
    )
    names = [*bare.planes, *(f"level {i}" for i in range(len(lai)))]
    rows = rows.assign_coords(plane=np.array(names, dtype=object))
    meta = {**bare.meta, "inside_canopy": {"groups": list(inside), "bodies": bool(inside)}}
    return Result(bare.layers, bare.planes, bare.ends, bare.launched, rows, meta)


@pytest.fixture(scope="module")
def result() -> Result:
    return with_levels()


def test_any_group_and_waveband_has_its_own_fall(result):
    for group, fall in FALL.items():
        for band, (span, factor) in enumerate(zip(
            ((400.0, 500.0), (500.0, 600.0), (600.0, 700.0), (700.0, 750.0), (750.0, 800.0)),
            BAND_FALL, strict=True,
        )):  # fmt: skip
            found = penetration(result, span=span, group=group)
            assert found.k.value == pytest.approx(fall * factor, rel=1e-6), (group, band)
    # A sum of two exponentials falls ever more slowly.
    both = penetration(result)
    k = [e.value for e in both.k_by_layer]
    assert k == sorted(k, reverse=True)
    assert FALL["side bars"] * 0.9 < both.k.value < FALL["top bars"] * 1.1
    down, up = profile(result).estimates("down"), profile(result).estimates("up")
    assert [d.value / u.value for d, u in zip(down, up, strict=True)] == pytest.approx([11.0] * 5)


def test_what_comes_in_sideways_closes_each_layer(result):
    of = profile(result, group="top bars")
    leaves = result.layers["absorbed_umol_s"].sel(group="top bars", band="400-700", side="both")
    assert of.absorbed.mean(axis=0) == pytest.approx(leaves.values / GROUND)
    lost = (of.net[:, :-1] - of.net[:, 1:]).mean(axis=0)
    assert of.sideways.mean(axis=0) == pytest.approx(leaves.values / GROUND - lost)
    # The share of absorbed light above a level, that knows nothing of boundaries, agrees with it.
    share = cumulative_share(result.layers, group="top bars").share
    assert share[1:] == pytest.approx(np.cumsum(leaves.values) / leaves.values.sum())


def test_red_to_far_red_by_depth(result):
    ratios = red_to_far_red_by_depth(result, group="top bars")
    lai = profile(result).lai
    flux = result.launched.sel(group="top bars")
    red = float(flux.sel(band="600-700")) * np.exp(-0.7 * 1.0 * lai)
    far = [
        float(flux.sel(band=b)) * np.exp(-0.7 * f * lai)
        for b, f in (("700-750", 0.6), ("750-800", 0.3))
    ]
    assert [r.value for r in ratios] == pytest.approx(red / sum(far), rel=1e-5)
    assert all(r.std_err >= 0 for r in ratios)


def test_what_is_not_known_is_named_with_the_way_to_it(result):
    bare = fake_result()
    assert not knows_profile(bare)
    with pytest.raises(CanopysimError, match=r"where its lights hang.*'profile: true'"):
        profile(bare)
    bare.meta["inside_canopy"] = {"groups": ["side bars"], "bodies": True}
    with pytest.raises(CanopysimError, match=r"below the canopy's top"):
        profile(bare)
    bare.meta["inside_canopy"] = {"groups": [], "bodies": False}
    with pytest.raises(CanopysimError, match=r"what walls take is not booked by height"):
        profile(bare)
    assert red_to_far_red_by_depth(bare) == []
    with pytest.raises(CanopysimError, match="no canopy"):
        profile(fake_result(with_plants=False))
    assert knows_profile(result)


# On the page and in files -------------------------------------------------------------------------


def test_the_page_shows_what_the_analysis_found(result):
    page = page_text(result)
    reader = read(page)
    (depth,) = (t for name, t in reader.tables.items() if name.startswith("How deep"))
    assert [row[0] for row in depth[1:]] == [
        f"{who}, {band} nm"
        for who in ("top bars", "side bars", "all lights")
        for band in ("400–700", "700–800")
    ]
    found = penetration(result, group="top bars")
    half, tenth = found.remaining
    shown = depth[1]
    assert shown[1] == with_error(100 * half.height.value, 100 * half.height.std_err)
    assert shown[2] == with_error(half.lai.value, half.lai.std_err)
    assert tenth.reached == (shown[3] != "not reached")
    assert shown[6] == with_error(found.k.value, found.k.std_err)
    (levels,) = (t for name, t in reader.tables.items() if name.startswith("Light at the bound"))
    assert len(levels) == 1 + 5
    assert all(len(row) == len(levels[0]) for row in levels)
    net = profile(result).estimates("net")
    assert levels[3][5] == with_error(net[2].value, net[2].std_err)
    assert all("nm" in heading for heading in levels[0][3:])
    assert page.count("<svg") == 6
    assert len(reader.ids) == len(set(reader.ids))
    # The boundaries are no maps: the figures' names are those of the planes.
    drawn = set(re.findall(r'id="map-([a-z-]*)-figure_1"', page))
    assert drawn == {"canopy-top", "floor-level"}
    # Equal results give equal bytes.
    assert page == page_text(with_levels())


def test_lights_inside_the_canopy_get_no_k():
    page = page_text(with_levels(inside=("side bars",)))
    (depth,) = (t for name, t in read(page).tables.items() if name.startswith("How deep"))
    assert {row[0].split(",")[0] for row in depth[1:]} == {"top bars"}
    lines = penetration_sentences(with_levels(inside=("side bars",)))
    assert lines[-1].startswith("Lights of side bars hang below the canopy's top")
    assert "half is left" in lines[0]
    every = page_text(with_levels(inside=("top bars", "side bars")))
    assert not any(name.startswith("How deep") for name in read(every).tables)
    assert any(name.startswith("Light at the bound") for name in read(every).tables)


def test_sentences_say_whether_an_exponential_describes_it():
    (first, *_) = penetration_sentences(with_levels())
    assert "An exponential with k = " in first
    bent = with_levels()
    bent.rows["crossed_sum"][:, :, 4] *= 3
    assert "No single k describes the fall" in penetration_sentences(bent)[0]


def test_profile_csv_holds_every_boundary_group_and_band(result, tmp_path):
    write_profile_csv(result, tmp_path / "profile.csv")
    with (tmp_path / "profile.csv").open(encoding="utf-8") as file:
        lines = list(csv.DictReader(file))
    assert len(lines) == 5 * 3 * 8
    of = profile(result, span=(700.0, 800.0), group="side bars")
    here = [x for x in lines if x["group"] == "side bars" and x["band_nm"] == "700-800"]
    for what in ("down", "up", "net"):
        found = of.estimates(what)
        assert [float(x[f"{what}_umol_m2_s"]) for x in here] == pytest.approx(
            [e.value for e in found], rel=1e-8
        )
        assert [float(x[f"{what}_std_err_umol_m2_s"]) for x in here] == pytest.approx(
            [e.std_err for e in found], rel=1e-8
        )
    assert [float(x["lai_above"]) for x in here] == pytest.approx(of.lai, rel=1e-8)
