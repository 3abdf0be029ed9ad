"""What wide bands cost: exact where its law holds, and beside traces of the same scene in 10 nm."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import xarray as xr
from build import panel, plain_box, scene_of
from conftest import P_FAIL
from scipy.stats import t as student

import canopysim
from canopysim.analysis.band_cost import band_costs
from canopysim.report.band_cost import band_cost_table
from canopysim.report.page import page_text
from canopysim.results import Result
from canopysim.world.band_cost import narrow_optics
from canopysim.world.compile import compile_world

TENS = [str(nm) for nm in range(400, 801, 10)]


def made_up(albedo: np.ndarray, shares: np.ndarray, wide: list[int], n_batch: int = 4):
    """Books that obey the law: a leaf is met first by 0.6, again by 0.7 of what leaves send on.

    Of 2^40 photons of each channel and band, all in proportion; the floor takes 0.1 of them and
    0.15 of what leaves send on. Two channels, of which the second shines half as much.
    """
    n_band = max(wide) + 1
    mean = np.array(
        [[np.average(a[np.equal(wide, b)], weights=s[np.equal(wide, b)]) for b in range(n_band)]
         for a, s in zip(albedo, shares, strict=True)]
    )  # fmt: skip
    launched = 2.0**40

    def law(w: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        met = 0.6 / (1 - 0.7 * w)
        return (1 - w) * met, 0.1 + 0.15 * w * met

    leaf, floor = law(mean)
    books = np.stack([leaf / 4, 3 * leaf / 4, floor, 1 - leaf - floor], 1) * launched
    ends = ["leaves", "leaves", "floor", "ceiling"]
    rows = xr.Dataset(
        {
            "absorbed": (
                ("batch", "channel", "sink", "traced_band"),
                np.repeat(np.rint(books).astype(np.int64)[None], n_batch, 0),
            ),
            "channel_umol_s_per_quantum": ("channel", [2.0**-40, 2.0**-41]),
            "channel_group": ("channel", np.array(["one", "two"], object)),
            "sink_end": ("sink", np.array(ends, object)),
            "sink_kind": ("sink", np.array(["leaf", "leaf", "face", "face"], object)),
            "sink_face": ("sink", np.array(["", "", "floor", "ceiling"], object)),
        }
    )
    stated = {"step_nm": 10.0, "wide": wide, "shares": shares.tolist(), "albedo": albedo.tolist()}
    result = SimpleNamespace(
        rows=rows, meta={"band_cost": stated}, band_names=[f"band {b}" for b in range(n_band)]
    )
    return result, law


def test_it_is_exact_where_the_law_holds():
    """Three bands of narrow ones; every narrow one is known from the law itself."""
    wide = [0, 0, 0, 1, 1, 2, 2, 2]
    albedo = np.array([[0.05, 0.1, 0.15, 0.2, 0.9, 0.9, 0.94, 0.95]] * 2)
    albedo[1] *= 0.9
    shares = np.array([[1, 2, 1, 3, 1, 1, 1, 2.0], [2, 1, 1, 1, 4, 1, 2, 1.0]])
    result, law = made_up(albedo, shares, wide)
    for group, weights in (("all", [1.0, 0.5]), ("one", [1.0, 0.0]), ("two", [0.0, 0.5])):
        for band, found in enumerate(band_costs(result, group=group)):
            inside = np.equal(wide, band)
            part = shares[:, inside] / shares[:, inside].sum(1, keepdims=True)
            mean = (part * albedo[:, inside]).sum(1)
            for changed, what in ((found.leaves, 0), (found.floor, 1)):
                fine = np.dot(weights, (part * law(albedo[:, inside])[what]).sum(1))
                rough = np.dot(weights, law(mean)[what])
                assert changed.wide == pytest.approx(rough / sum(weights), rel=1e-9)
                assert changed.narrow == pytest.approx(fine / sum(weights), rel=1e-8)
                assert changed.cost.value == pytest.approx(rough / fine - 1, abs=1e-8)
                assert changed.cost.std_err == pytest.approx(0, abs=1e-12)
        assert found.leaves.cost.value > 0 > found.floor.cost.value


def test_bands_of_one_albedo_cost_nothing_and_tell_no_slope():
    wide = [0, 0, 1, 1]
    shares = np.ones((2, 4))
    result, _ = made_up(np.array([[0.2, 0.2, 0.8, 0.8]] * 2), shares, wide)
    assert [c.leaves.cost.value for c in band_costs(result)] == pytest.approx([0, 0], abs=1e-9)
    result, _ = made_up(np.array([[0.2, 0.2, 0.25, 0.25]] * 2), shares, wide)
    assert band_costs(result) == []
    # A channel that tells none is taken as traced; the other still counts.
    result, _ = made_up(np.array([[0.2, 0.4, 0.8, 0.9], [0.2, 0.2, 0.25, 0.25]]), shares, wide)
    both, one, two = (band_costs(result, group=g) for g in ("all", "one", "two"))
    assert two == []
    assert 0 < both[0].leaves.cost.value < one[0].leaves.cost.value


def leafy(spectrum: dict, **more) -> dict:
    """Four peppers between pale walls under one panel."""
    return plain_box(
        surfaces={"black": {"diffuse": "65 %"}, "tray": {"diffuse": "8 %"}},
        enclosure={"width": "1 m", "depth": "1 m", "height": "1 m", "lining": "black",
                   "faces": {"floor": "tray"}},
        leaves={"pepper": {"like": "pepper"}},
        plants={
            "sprig": {"leaf": "pepper", "stem": "black", "nodes": "9", "internode": "5 cm",
                      "petiole_length": "4 cm", "petiole_angle": "60 deg",
                      "blade_length": "14 cm", "blade_width": "9 cm"},
        },
        canopy={"layers": "2", "leaf_area_index": "1.8", "plantings": [
            {"plant": "sprig", "columns": "2", "rows": "2", "base": "15 cm"}]},
        fixtures={"lamp": panel("60 cm", "60 cm") | {"spectrum": spectrum}},
        lights=[{"fixture": "lamp", "at": ["50 cm", "50 cm"], "height": "90 cm"}],
        tracing={"batch": "8192", "max_packets": "300000"},
        **more,
    )  # fmt: skip


def per_batch(result: Result) -> np.ndarray:
    """What leaves absorb in 700-750 nm, of each batch."""
    low = np.array([float(name.split("-")[0]) for name in result.band_names])
    leaf = result.rows["sink_kind"].values == "leaf"
    quanta = result.rows["absorbed"].values[:, :, leaf].sum((1, 2))
    return quanta[:, (low >= 700) & (low < 750)].sum(1).astype(float)


SLAB = {"layers": "2", "volumes": [{"shape": "slab", "leaf": "pepper", "bottom": "10 cm",
        "top": "50 cm", "leaf_area_index": "1.8"}]}  # fmt: skip


@pytest.mark.parametrize(
    ("spectrum", "canopy"),
    [
        ({"like": "white_4000"}, {}),
        ({"like": "far_red_730"}, {}),
        ({"like": "white_4000"}, {"canopy": SLAB}),
    ],
    ids=["white", "far-red", "white, leaves not drawn"],
)
def test_it_agrees_with_a_trace_of_narrow_bands(spectrum, canopy):
    """In 700-750 nm to a tenth of itself and the trace's own error, two-sided."""
    wide, narrow = (
        canopysim.run(scene_of(leafy(spectrum) | canopy | more), threads=2)
        for more in ({}, {"bands": TENS})
    )
    (found,) = (c for c in band_costs(wide) if c.band == "700-750")
    a, b = per_batch(wide), per_batch(narrow)
    ratio = a.sum() / b.sum()
    left = a - ratio * b
    error = np.sqrt(left @ left / (len(a) - 1) / len(a)) / b.mean()
    traced = ratio - 1
    bound = student.isf(P_FAIL / 4, len(a) - 1) * error
    assert traced > 5 * bound  # there is something to be estimated
    assert abs(found.leaves.cost.value - traced) < 0.1 * traced + bound
    # Narrow bands themselves cost next to nothing, as far as they can tell.
    assert all(abs(c.leaves.cost.value) < 1e-9 for c in band_costs(narrow))


def test_narrow_optics_add_up_to_those_that_are_traced():
    scene = scene_of(leafy({"like": "white_4000"}))
    world = compile_world(scene)
    found = narrow_optics(scene, world)
    shares, albedo = (np.array(found[key])[0] for key in ("shares", "albedo"))
    wide = np.array(found["wide"])
    assert len(shares) == 40
    place = world.places.index("leaves")
    row = world.arrays.place_surface[place] + world.arrays.strip_optics[0]
    for band in range(5):
        inside = wide == band
        mean = shares[inside] @ albedo[inside] / shares[inside].sum()
        absorbed = world.arrays.absorb[row].mean(0)[band] / 2**24
        assert mean == pytest.approx(1 - absorbed, abs=1e-6)
    assert narrow_optics(scene_of(plain_box()), compile_world(scene_of(plain_box()))) == {}


def test_the_page_tells_it():
    result = canopysim.run(scene_of(leafy({"like": "white_4000"})), max_packets=30_000)
    table = band_cost_table(result)
    assert [row[0] for row in table.rows] == [
        "400–500 nm", "500–600 nm", "600–700 nm", "700–750 nm", "750–800 nm"
    ]  # fmt: skip
    assert table.rows[3][3].startswith("+")
    assert table.rows[3][6].startswith("−")
    assert "What wide wavebands cost" in page_text(result)
    result.meta.pop("band_cost")
    assert band_cost_table(result) is None
    assert "What wide wavebands cost" not in page_text(result)
