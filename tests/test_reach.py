"""How deep light reaches, who lights the lower half, and the errors by light and by plants."""

import numpy as np
import pytest
from build import scene_of
from fake_result import fake_result
from torture import torture

from canopysim.analysis.between import bend
from canopysim.analysis.books import Estimate, launched
from canopysim.analysis.layers import layer_flux, lower_half_share
from canopysim.analysis.penetration import penetration
from canopysim.analysis.reach import ABSORBED, NET, lower_half_by_group, reach
from canopysim.analysis.replicates import (
    TwoErrors,
    n_replicates,
    replicate_result,
    two_errors,
)
from canopysim.report.page import page_text
from canopysim.report.reach import (
    lower_half_sentences,
    reach_sentences,
    reaches,
    replicate_table,
    with_both,
)
from canopysim.tracing import run


@pytest.fixture(scope="module")
def traced():
    scene = torture(4000)
    scene["canopy"] = scene["canopy"] | {"replicates": "4"}
    return run(scene_of(scene), target={}, max_packets=24_000, seed=3)


def test_the_bend_of_a_parabola_is_what_a_straight_line_is_off():
    """f = 1 - x + x²/8 at whole x: half of it is left at a root that is known."""
    x = np.arange(5.0)
    f = 1.0 - x / 2 + x**2 / 32
    for wanted in (0.8, 0.6, 0.37, 0.2):
        below = int(np.flatnonzero(f <= wanted)[0])
        straight = below - 1 + (f[below - 1] - wanted) / (f[below - 1] - f[below])
        true = 8.0 - np.sqrt(64.0 - 32.0 * (1.0 - wanted))
        off = bend(x, f, below, straight)
        # The next term is left out: it is smaller by the bend over the distance of a root.
        assert abs(straight - true) == pytest.approx(off, rel=0.1)
    # A straight line bends nowhere, and two points tell nothing of a bend.
    assert bend(x, 1.0 - 0.1 * x, 2, 1.3) == pytest.approx(0.0, abs=1e-12)
    assert np.isnan(bend(x[:2], f[:2], 1, 0.4))


def test_levels_of_what_leaves_absorb():
    result = fake_result(n_layer=6, n_batch=12)
    layers = result.layers
    flux = layers["absorbed_umol_s"].sel(group="all", band="400-500", side="both").values
    lai = np.insert(layers["cumulative_lai"].values, 0, 0.0)
    share = np.insert(np.cumsum(flux) / flux.sum(), 0, 0.0)
    found = reach(result, span=(400.0, 500.0))
    assert found.rule == ABSORBED
    for level in found.levels:
        assert level.lai.value == pytest.approx(np.interp(1.0 - level.left, share, lai), rel=1e-9)
        assert level.depth.light > 0.0
        assert np.isnan(level.depth.plants)
        # Six layers: read between them it is off by less than a layer.
        assert 0.0 < level.lai_off < lai[1]
    # The leaves take 1.1 per area of blue: half of what is absorbed is absorbed above this.
    whole = lai[-1] * layers.attrs.get("ground_area_m2", 1.2)
    exact = -np.log(1.0 - 0.5 * (1.0 - np.exp(-1.1 * whole))) / 1.1 / 1.2
    half = found.levels[0]
    assert abs(half.lai.value - exact) < 2.0 * half.lai_off + 5.0 * half.lai.light


def test_lower_half_by_group_adds_up():
    result = fake_result(n_layer=5, n_batch=12)
    found = lower_half_by_group(result)
    assert [d.group for d in found] == result.groups
    assert sum(d.of_lower.value for d in found) == pytest.approx(1.0, rel=1e-12)
    lower = lower_half_share(result).value * sum(layer_flux(result, k).value for k in range(1, 6))
    sent = [launched(result, group=d.group) for d in found]
    got = sum(d.of_launched.value * s for d, s in zip(found, sent, strict=True))
    assert got == pytest.approx(lower, rel=1e-9)


def test_two_errors_follow_from_the_canopies(traced):
    """Of a flux, the mean over canopies is the figure; its errors follow from rows by hand."""
    assert n_replicates(traced) == 4

    def figures(of) -> list[Estimate]:
        return [layer_flux(of, layer) for layer in (1, 4)]

    found = two_errors(traced, figures)
    each = [figures(replicate_result(traced, r)) for r in range(4)]
    for k, one in enumerate(found):
        values = np.array([e[k].value for e in each])
        noise = np.array([e[k].std_err for e in each])
        assert one.value == pytest.approx(values.mean(), rel=1e-12)
        assert one.canopies == 4
        between = np.sum((values - values.mean()) ** 2) / 3 - np.mean(noise**2)
        assert one.plants == pytest.approx(np.sqrt(max(between, 0.0)) / 2, rel=1e-9)
        # Canopies share no random number, so their noise adds in squares, within its roughness.
        assert 0.3 < one.light / np.sqrt(np.sum(noise**2) / 16) < 3.0
        assert one.both == pytest.approx(np.hypot(one.light, one.plants))
    # Herbs of another seed hold their leaves elsewhere: some layer tells.
    assert max(one.plants for one in found) > 0.0


def test_a_canopy_alone_has_its_own_leaf_area(traced):
    areas = [replicate_result(traced, r).layers["leaf_area_m2"].values for r in range(4)]
    np.testing.assert_allclose(np.mean(areas, 0), traced.layers["leaf_area_m2"].values, rtol=1e-12)
    assert np.ptp(np.array(areas)[:, 0]) > 0.0
    assert "absorbed_umol_s" not in replicate_result(traced, 0).layers


def test_net_levels_are_those_of_penetration(traced):
    found = reach(traced, group="sun", rule=NET)
    whole = penetration(traced, group="sun")
    half = whole.remaining[0]
    assert found.levels[0].depth.value == pytest.approx(half.depth.value, nan_ok=True)
    assert found.k.value == pytest.approx(whole.k.value, nan_ok=True)
    assert found.k.light == pytest.approx(whole.k.std_err, nan_ok=True)


def test_plain_words_name_every_waveband_and_their_errors(traced):
    lines = reach_sentences(traced, reaches(traced))
    text = "\n".join(lines)
    for band in ("400–500 nm", "700–750 nm", "750–800 nm"):
        assert band in text
    assert "from 4 canopies" in lines[-1]
    alone = fake_result()
    assert "other plants of the same kind would differ" in "\n".join(
        reach_sentences(alone, reaches(alone))
    )
    share, groups = lower_half_sentences(alone)
    assert share.startswith("The lower half of the leaf area absorbs")
    assert "comes from top bars" in groups
    table = replicate_table(traced)
    assert table is not None
    assert len(table.rows) == 4
    assert replicate_table(alone) is None
    assert "How deep each waveband reaches" in page_text(traced)


def test_two_errors_as_text():
    assert with_both(TwoErrors(29.163, 0.2, 0.44, 4)) == "29.2 ± 0.2 ± 0.4"
    assert with_both(TwoErrors(29.163, 0.2, float("nan"), 1)) == "29.16 ± 0.20"
    assert with_both(TwoErrors(29.163, 0.001, 0.44, 4)) == "29.2 ± 0.0010 ± 0.4"
    assert with_both(TwoErrors(float("nan"), 0.1, 0.1, 4)) == "–"
