"""Error bars that cover, rows that fold, stops that know what they do not know."""

import numpy as np
import pytest
from build import panel, plain_box, scene_of, trace, world_of
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

import canopysim
from canopysim.bands import ranges
from canopysim.tallies.label import Labeller
from canopysim.tallies.rows import FOLD, mean_and_error
from canopysim.tallies.stop import MIN_BATCH, TargetWatch


@settings(deadline=None, derandomize=True)
@given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=60))
def test_mean_and_error_is_the_textbook_formula(values):
    x = np.array(values)
    mean, error = mean_and_error(x)
    assert mean == pytest.approx(x.mean(), rel=1e-9, abs=1e-6)
    if (x != 0).any():
        assert error == pytest.approx(x.std(ddof=1) / np.sqrt(len(x)), rel=1e-6, abs=1e-6)


def test_nothing_seen_is_not_an_error_of_zero():
    mean, error = mean_and_error(np.zeros((10, 2)))
    assert (mean == 0).all()
    assert np.isnan(error).all()
    assert np.isnan(mean_and_error(np.array([3.0]))[1])


@pytest.mark.parametrize("n_batch", [5, FOLD, FOLD + 1, 3 * FOLD + 7])
def test_folded_rows_give_the_right_error(n_batch, p_fail):
    """Batches folded mod FOLD: the mean is exact and the error right on average."""
    rng = np.random.default_rng(n_batch)
    ratio = []
    for _ in range(400):
        x = rng.normal(5, 2, n_batch)
        rows, counts = np.zeros(FOLD), np.bincount(np.arange(n_batch) % FOLD, minlength=FOLD)
        np.add.at(rows, np.arange(n_batch) % FOLD, x)
        mean, error = mean_and_error(rows, counts.astype(float))
        assert mean == pytest.approx(x.mean())
        ratio.append(float(error) ** 2 / (4 / n_batch))
    used = min(n_batch, FOLD)
    z = (np.mean(ratio) - 1) / np.sqrt(2 / (used - 1) / 400)
    assert abs(z) < stats.norm.isf(p_fail / 8)


def test_error_bars_cover(p_fail):
    """Standardised errors of 60 independent runs follow Student's t: bias and false bars fail."""
    share = 0.19982  # between opposite faces of a cube (Howell C-11)
    data = plain_box(
        fixtures={"panel": panel("1 m", "1 m")},
        lights=[{"fixture": "panel", "at": ["50 cm", "50 cm"], "height": "1 m"}],
        planes=[{"name": "floor", "height": "0 cm", "cell": "1 m"}],
        tracing={"batch": "1000"},
    )
    world = world_of(data)
    labeller = Labeller(world)
    n_batch = 12
    x = 1.0
    share = 2 / np.pi * (
        np.log(np.sqrt(4 / 3)) + 2 * np.sqrt(2) * np.arctan(1 / np.sqrt(2)) - 2 * np.arctan(x)
    )  # fmt: skip
    t_floor, t_plane = [], []
    for seed in range(60):
        rows = trace(world, n_batch, seed=1000 + seed)
        floor = next(i for i, s in enumerate(world.sinks) if s.end == "floor")
        series = np.array([labeller.flux(a)[-1][floor, 0] for a in rows.absorbed])
        mean, error = mean_and_error(series)
        t_floor.append(float((mean - 100 * share) / error))
        series = np.array([labeller.flux(s)[-1][0, 0, 0] for s in rows.crossed_sum])
        mean, error = mean_and_error(series)
        t_plane.append(float((mean - 100 * share) / error))
    for values in (t_floor, t_plane):
        assert stats.kstest(values, stats.t(df=n_batch - 1).cdf).pvalue > p_fail / 2


def test_band_ranges_sum_what_they_say():
    names, spans, matrix = ranges((400, 500, 600, 700, 750, 800))
    assert spans[-3:] == [(400, 700), (400, 750), (700, 800)]
    assert names[-3:] == ["400-700", "400-750", "700-800"]
    assert matrix[:, -3:].T.tolist() == [[1, 1, 1, 0, 0], [1, 1, 1, 1, 0], [0, 0, 0, 1, 1]]
    assert ranges((400, 700, 750, 800, 1000))[0][-1] == "700-800"
    assert ranges((400, 700, 750, 900))[0][-1] == "700-900"
    names, _, matrix = ranges((400, 700, 750))
    assert matrix.shape == (2, 3)
    assert names == ["400-700", "700-750", "400-750"]


def grey_scene(**tracing):
    return plain_box(
        surfaces={"black": {"diffuse": "40 %"}},
        planes=[{"name": "floor", "height": "0 cm"}],
        tracing={"batch": "2000"} | tracing,
    )


def test_run_stops_at_its_target_and_says_so():
    result = canopysim.run(scene_of(grey_scene()), target={"planes": "0.5 %"})
    assert result.stopped_by == "target"
    assert result.n_batch >= MIN_BATCH
    plane = result.planes["floor"].sel(group="all", band="400-700", direction="down")
    assert float(plane["mean_std_err"] / plane["mean"]) <= 0.005
    # One batch less would not have done, unless the least number of batches decided.
    assert result.meta["limiting"] == "plane floor"


def test_run_stops_at_its_packet_budget():
    result = canopysim.run(scene_of(grey_scene()), target=1e-6, max_packets=7000)
    assert result.stopped_by == "packet budget"
    assert result.n_packet == 6000
    assert not result.partial


def test_run_stops_at_its_time_budget():
    result = canopysim.run(scene_of(grey_scene()), target=1e-6, max_packets=1e12, max_time=0.3)
    assert result.stopped_by == "time budget"
    assert result.seconds >= 0.3


def test_a_target_gives_the_same_bytes_on_any_number_of_threads():
    runs = [
        canopysim.run(scene_of(grey_scene()), target={"planes": "1 %"}, threads=n) for n in (1, 3)
    ]
    assert runs[0].n_batch == runs[1].n_batch
    assert runs[0].rows["absorbed"].equals(runs[1].rows["absorbed"])
    assert runs[0].rows["crossed"].equals(runs[1].rows["crossed"])


def test_unknown_error_means_not_yet():
    """A plane that no light reaches is never good enough by accident: its error is unknown."""
    data = grey_scene()
    data["surfaces"] = {"black": {}}
    data["lights"][0]["tilt"] = "180 deg"
    world = world_of(data)
    watch = TargetWatch(world, {"planes": 0.5}, floor=1e-4)
    traced = trace(world, MIN_BATCH + 4)
    for batch in range(traced.n_batch):
        watch.append(traced.absorbed[batch], traced.crossed_sum[batch])
    now = watch.progress(1.0)
    assert now.limiting == "plane floor"
    assert np.isnan(now.rel_err)
    assert not now.met


def test_result_survives_saving(tmp_path):
    result = canopysim.run(scene_of(grey_scene()), max_packets=8000)
    result.save(tmp_path)
    again = canopysim.Result.load(tmp_path)
    assert again.ends.equals(result.ends)
    assert again.launched.equals(result.launched)
    assert again.planes["floor"].equals(result.planes["floor"])
    assert again.rows.equals(result.rows)
    assert again.meta == result.meta
    assert again.planes["floor"]["pfd"].attrs["units"] == "umol m-2 s-1"
    assert again.layers is None
