"""From books to answers: shares, ratios and plane statistics against sums made by hand."""

from __future__ import annotations

import numpy as np
import pytest
from fake_result import OTHER_ENDS, SIZE, SPANS, fake_result
from scipy import stats

from canopysim.analysis import ends
from canopysim.analysis.books import (
    absorbed_per_batch,
    crossed_per_batch,
    in_span,
    launched,
    mean,
    ratio,
)
from canopysim.analysis.far_red import red_to_far_red
from canopysim.analysis.layers import cumulative_share, layer_flux, lower_half_share
from canopysim.analysis.planes import plane_mean, plane_statistics
from canopysim.report.words import end_label
from canopysim.results import Result


@pytest.fixture(scope="module")
def result():
    return fake_result()


def test_plane_statistics_by_hand(result):
    plane = result.planes["canopy-top"].copy(deep=True).isel(x=slice(0, 2), y=slice(0, 2))
    at = {"group": "all", "band": "400-700", "direction": "down"}
    plane["pfd"].loc[at] = [[100.0, 120.0], [80.0, 100.0]]
    plane["pfd_std_err"].loc[at] = [[3.0, 4.0], [5.0, 6.0]]
    plane["mean"].loc[at] = 100.0
    plane["mean_std_err"].loc[at] = 2.0
    figure = plane_statistics(plane)
    assert (figure.mean, figure.mean_std_err) == (100.0, 2.0)
    assert (figure.minimum, figure.minimum_std_err) == (80.0, 5.0)
    assert (figure.maximum, figure.maximum_std_err) == (120.0, 4.0)
    assert figure.min_over_mean == 0.8
    assert figure.min_over_max == pytest.approx(2 / 3)
    assert figure.coefficient_of_variation == pytest.approx(np.sqrt(800 / 3) / 100)
    assert figure.variation_without_noise == pytest.approx(np.sqrt(800 / 3 - 86 / 4) / 100)
    assert figure.cell_std_err == pytest.approx(np.sqrt(86 / 4))
    # Without the mean's own error there is none to be had from the cells.
    bare = plane_statistics(plane.drop_vars(["mean", "mean_std_err"]))
    assert bare.mean == 100.0
    assert np.isnan(bare.mean_std_err)


def test_plane_that_nothing_reached():
    dark = fake_result(n_cell=(3, 2)).planes["canopy-top"]
    dark = dark * 0.0
    dark["pfd_std_err"][:] = np.nan
    figure = plane_statistics(dark)
    assert figure.mean == 0.0
    assert np.isnan(figure.min_over_mean)
    assert np.isnan(figure.cell_std_err)
    assert np.isnan(figure.variation_without_noise)


def test_cumulative_share_ends_at_one(result):
    curve = cumulative_share(result.layers)
    assert curve.lai[0] == 0.0 and curve.share[0] == 0.0
    assert curve.share[-1] == pytest.approx(1.0)
    assert np.all(np.diff(curve.share) > 0.0)
    first = result.layers.sel(group="all", band="400-700", side="both")["absorbed_umol_s"]
    assert curve.share[1] == pytest.approx(float(first[0] / first.sum()))


def test_lower_half_by_interpolation(result):
    """The share below a level is that of the whole layers below it and a fraction of one layer."""
    area = result.layers["leaf_area_m2"].values
    here = result.layers.sel(group="all", band="400-700", side="both")
    absorbed = here["absorbed_umol_s"].values
    edges = np.insert(np.cumsum(area), 0, 0.0)
    above = np.interp(area.sum() / 2, edges, np.insert(np.cumsum(absorbed), 0, 0.0))
    half = lower_half_share(result)
    assert half.value == pytest.approx(1 - above / absorbed.sum(), rel=1e-6)
    assert 0.0 < half.std_err < 0.01
    # One layer that is even over its leaf area gives its lower half exactly half.
    assert lower_half_share(fake_result(n_layer=1)).value == pytest.approx(0.5)
    assert lower_half_share(fake_result(n_layer=1)).std_err == pytest.approx(0.0, abs=1e-15)


def test_walls_are_summed_with_what_varies_together(result):
    names = [end.name for end in ends.ends_of(result) if ends.is_wall(end)]
    assert names == ["ceiling", "front", "back", "left", "right", "patch 1 of the back (duct)"]
    walls = ends.share_at(result, ends.is_wall)
    here = result.ends.sel(end=names, group="all", band="400-700")
    assert walls.value == pytest.approx(float(here["share"].sum()), rel=1e-9)
    assert walls.std_err <= float(here["share_std_err"].sum()) * (1 + 1e-9)
    # If every wall gains in the same batches, the errors add up in full.
    tied = fake_result()
    quanta = tied.rows["absorbed"].values
    quanta[:] = (1000 + np.arange(len(quanta)))[:, None, None, None]
    per_batch = absorbed_per_batch(tied, np.ones(quanta.shape[2]))
    single = absorbed_per_batch(tied, np.eye(quanta.shape[2])[0])
    assert mean(per_batch).std_err == pytest.approx(mean(single).std_err * quanta.shape[2])


def test_what_an_end_is_does_not_hang_on_its_wording(result):
    renamed = fake_result()
    wording = {
        str(name): f"{number} ceiling leaves"
        for number, name in enumerate(dict.fromkeys(renamed.rows["sink_end"].values))
    }
    renamed.rows["sink_end"].values[:] = [wording[n] for n in renamed.rows["sink_end"].values]
    for what in (ends.is_leaf, ends.is_wall, ends.is_floor, ends.is_opening, ends.is_correction):
        assert ends.share_at(renamed, what) == ends.share_at(result, what)
    assert lower_half_share(renamed) == lower_half_share(result)
    labels = [end_label(end) for end in ends.ends_of(renamed)]
    assert labels[1] == "stems and petioles"
    assert labels[4] == "front wall"
    assert [end.kind for end in ends.ends_of(result)][1:-2] == [
        k for _, k, _ in OTHER_ENDS.values()
    ]


def test_books_of_one_group_and_band(result):
    leaves = ends.sink_mask(result, ends.is_leaf)
    for group in ("top bars", "all"):
        for band in ("400-500", "400-700", "700-800"):
            flux = mean(absorbed_per_batch(result, leaves, span=SPANS[band], group=group))
            here = result.ends.sel(end="leaves", group=group, band=band)
            assert flux.value == pytest.approx(float(here["flux_umol_s"]), rel=1e-9)
            assert flux.std_err == pytest.approx(float(here["std_err"]), rel=1e-9)
            layer = result.layers.sel(layer=2, group=group, band=band, side="both")
            one = layer_flux(result, 2, span=SPANS[band], group=group)
            assert one.value == pytest.approx(float(layer["absorbed_umol_s"]), rel=1e-9)
            assert one.std_err == pytest.approx(float(layer["absorbed_std_err"]), rel=1e-9)


def test_bands_are_told_by_their_edges_and_not_by_their_names(result):
    assert in_span(result, (400.0, 750.0)).tolist() == [True, True, True, True, False]
    with pytest.raises(ValueError, match="650 to 700 nm is no range of whole traced bands"):
        in_span(result, (650.0, 700.0))
    assert launched(result, span=(700.0, 800.0)) == pytest.approx(
        float(result.launched.sel(group="all", band="700-800"))
    )


def test_ratio_counts_what_red_and_far_red_have_in_common():
    """Where both rise and fall together, their ratio is known better than either."""
    tied = fake_result()
    factor = 1.0 + 0.1 * np.sin(np.arange(tied.n_batch))
    crossed = tied.rows["crossed_sum"].values
    crossed[:] = np.rint(crossed[:1] * factor[:, None, None, None, None])
    assert mean(crossed_per_batch(tied, "canopy-top")).std_err > 0.0
    got = red_to_far_red(tied, "canopy-top")
    assert got.value > 1.0
    assert got.std_err < 1e-6 * got.value


def test_planes_keep_their_books_through_a_file(tmp_path):
    """The books know planes by their order only, which names in no alphabet must not change."""
    made = fake_result(planes=("floor-level", "canopy-top"))
    made.save(tmp_path)
    again = Result.load(tmp_path)
    for name, plane in again.planes.items():
        assert plane.sizes["x"] * plane.sizes["y"] * float(plane.attrs["cell_x_m"]) * float(
            plane.attrs["cell_y_m"]
        ) == pytest.approx(SIZE[0] * SIZE[1])
        for direction in ("down", "up"):
            got = plane_mean(again, name, span=(700.0, 800.0), direction=direction)
            here = plane.sel(group="all", band="700-800", direction=direction)
            assert got.value == pytest.approx(float(here["mean"]), rel=1e-9)
            assert got.std_err == pytest.approx(float(here["mean_std_err"]), rel=1e-9)


def test_error_of_a_ratio_covers(p_fail):
    """Standardised errors of ratios with covariance follow Student's t."""
    rng = np.random.default_rng(11)
    n = 64
    z = []
    for _ in range(400):
        common = rng.normal(10.0, 1.0, n)
        got = ratio(0.5 * common + rng.normal(0.0, 0.1, n), common)
        z.append((got.value - 0.5) / got.std_err)
    assert stats.kstest(z, stats.t(df=n - 1).cdf).pvalue > p_fail


def test_one_batch_has_no_error():
    assert np.isnan(mean(np.array([3.0])).std_err)
    assert np.isnan(mean(np.zeros(5)).std_err)
    assert np.isnan(ratio(np.zeros(5), np.zeros(5)).value)
