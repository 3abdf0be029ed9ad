"""Photometric files as lenses: samples follow the table, flux and frame hold, the body is in it."""

import numpy as np
import pytest
from build import panel, plain_box, scene_of, trace, world_of
from conftest import P_FAIL
from oracles import rotation
from photometric_files import cosine_power, eulumdat, front_lopsided, lambertian, lm63, lopsided
from scipy import stats
from test_lenses import launches

from canopysim.errors import SceneError
from canopysim.light.photometry import flux, intensity_at, parse_photometric

RNG = np.random.default_rng(8)
HOLES = RNG.uniform(0, 1000, (13, 10)) * (RNG.uniform(size=(13, 10)) < 0.7)
HOLES[-1] = HOLES[0]
ROUGH = lm63(
    table=HOLES,
    h=range(0, 361, 30), v=(0, 3, 10, 20, 35, 50, 70, 90, 120, 180),
)  # fmt: skip
FILES = {
    "narrow": lm63(cosine_power(300), v=np.arange(0, 91, 1.0)),
    "lopsided": lm63(lopsided, h=range(0, 361, 15)),
    "flood": lm63(front_lopsided, h=range(0, 361, 10)),
    "eulumdat": "\n".join(eulumdat(lopsided, symmetry=0)),
    "rough": ROUGH,
}
TURNS = [(0, 0, 0), (35, -20, 70), (0, 0, 180)]


SMALL = lm63(lopsided, h=range(0, 361, 15), size=(0.3, 0.2, 0.0))


def lit(text: str, **light) -> dict:
    data = plain_box(fixtures={"panel": panel("10 cm", "4 cm", {"table": text})})
    data["lights"][0] |= {"height": "50 cm"} | light
    return data


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("turn", TURNS)
def test_samples_follow_the_table(name, turn):
    text = FILES[name]
    distribution = parse_photometric(text.encode(), name)
    keys = ("turn", "pitch", "tilt")
    data = lit(text, **{k: f"{a} deg" for k, a in zip(keys, turn, strict=True)})
    world = world_of(data)
    n = 200_000
    sample = launches(world.arrays, n).astype(np.float64)
    local = sample[:, 3:] @ rotation(*np.radians(turn))
    assert np.abs(np.linalg.norm(local, axis=1) - 1).max() < 1e-6
    # Bins in gamma that hold about as much light each, and in C.
    gamma = np.linspace(0, np.pi, 4001)
    ring = np.stack([intensity_at(distribution, c, gamma) for c in np.linspace(0, 6.2, 32)]).mean(0)
    share = np.concatenate([[0], np.cumsum((ring * np.sin(gamma))[1:])])
    g_edges = np.interp(np.linspace(0, 1, 13), share / share[-1], gamma)
    g_edges[0], g_edges[-1] = 0, np.pi
    c_edges = np.linspace(0, 2 * np.pi, 17)
    found, *_ = np.histogram2d(
        np.arccos(np.clip(-local[:, 2], -1, 1)),
        np.arctan2(local[:, 1], local[:, 0]) % (2 * np.pi),
        bins=(g_edges, c_edges),
    )
    m = 240
    expected = np.zeros_like(found)
    for i in range(12):
        g = g_edges[i] + (np.arange(m) + 0.5) / m * (g_edges[i + 1] - g_edges[i])
        for j in range(16):
            c = c_edges[j] + (np.arange(40) + 0.5) / 40 * (c_edges[j + 1] - c_edges[j])
            value = intensity_at(distribution, c[:, None], g) * np.sin(g)
            expected[i, j] = (
                value.mean() * (g_edges[i + 1] - g_edges[i]) * (c_edges[1] - c_edges[0])
            )
    assert expected.sum() == pytest.approx(flux(distribution), rel=2e-3)
    expected *= n / expected.sum()
    kept = expected > 20
    chi2 = ((found - expected)[kept] ** 2 / expected[kept]).sum()
    p = stats.chi2.sf(chi2, kept.sum() - 1)
    # An evenly spread set may fit better than chance, never worse.
    assert p > P_FAIL / (len(FILES) * len(TURNS)), f"{chi2:.0f} for {kept.sum()} bins"


def test_a_lambertian_file_is_the_lambertian_lens():
    """The same light on the floor of a black box, by the table and by the law."""
    seen = []
    for lens in ({"table": lm63(lambertian, v=np.arange(0, 91, 2.5))}, "lambertian"):
        data = plain_box(fixtures={"panel": panel("10 cm", "10 cm", lens)})
        data["planes"] = [{"name": "floor", "height": "0 cm", "cell": "20 cm"}]
        data["tracing"] = {"batch": "20000"}
        world = world_of(data)
        rows = trace(world, 20)
        cells = rows.crossed[:20, 0, :25, 0] / 2.0**32 / world.batch_packets
        seen.append((cells.mean(0), cells.std(0, ddof=1) / np.sqrt(20)))
    (a, ea), (b, eb) = seen
    z = (a - b) / np.hypot(ea, eb)
    assert np.abs(z).max() < stats.t.isf(P_FAIL / 25 / 2, 19)


def bench_light(**changes) -> dict:
    """A fixture with a deep body around its light, measured whole."""
    fixture = {
        "body": {"length": "40 cm", "width": "40 cm", "height": "10 cm", "surface": "black"},
        "photometry": {"table": SMALL},
        "ppf": "100 umol/s",
        "spectrum": {"400-500": "100 %"},
    }
    data = plain_box(fixtures={"bench": fixture | changes})
    data["lights"] = [{"fixture": "bench", "at": ["50 cm", "50 cm"], "height": "50 cm"}]
    return data


def test_a_whole_fixtures_light_passes_its_own_body_but_no_other():
    """Half of that light goes up through the black body: none of it stays there at first."""
    world = world_of(bench_light())
    rows = trace(world, 4)
    ends = [s.end for s in world.sinks]
    absorbed = np.array(rows.absorbed)[:, 0].sum((0, 2))
    share = absorbed / absorbed.sum()
    distribution = parse_photometric(FILES["lopsided"].encode(), "lopsided")
    gamma = np.linspace(np.pi / 2, np.pi, 400)
    c = np.linspace(0, 2 * np.pi, 400)
    up = intensity_at(distribution, c[:, None], gamma) * np.sin(gamma)
    up = np.trapezoid(np.trapezoid(up, gamma, axis=1), c) / flux(distribution)
    assert up > 0.3
    assert share[ends.index("fixture bodies")] == 0
    # A second one stands in the way of the first one's light, and the first in its.
    data = bench_light()
    data["lights"] = [
        {"fixture": "bench", "at": ["50 cm", "50 cm"], "height": z} for z in ("30 cm", "60 cm")
    ]
    both = world_of(data)
    absorbed = np.array(trace(both, 2).absorbed).sum((0, 3))
    taken = absorbed[:, [s.end for s in both.sinks].index("fixture bodies")].sum()
    assert taken > 0.1 * absorbed.sum()
    assert (trace(both, 2).counters[2] == 0).all()


def test_planes_inside_the_own_body_count_what_flies_through():
    """A plane through the body sees the upward light where it really crosses."""
    seen = []
    for body in (bench_light()["fixtures"]["bench"]["body"], None):
        data = bench_light(body=body)
        if body is None:
            del data["fixtures"]["bench"]["body"]
        data["planes"] = [{"name": "p", "height": "55 cm", "cell": "10 cm"}]
        seen.append(trace(world_of(data), 2).crossed)
    assert seen[0].sum() > 0
    assert (seen[0] == seen[1]).all()


def test_light_leaves_from_the_opening_that_the_file_states():
    world = world_of(bench_light())
    (strip,) = world.strips
    # LM-63 states width, length, height: 0.3 m across, 0.2 m along.
    assert (strip.length_m, strip.width_m) == (0.2, 0.3)
    sample = launches(world.arrays, 4000)[:, :3] - [0.5, 0.5, 0.5]
    assert np.abs(sample).max(0) == pytest.approx([0.1, 0.15, 0], abs=2e-3)


def test_flux_of_a_whole_fixture():
    """Photons as such; candela by the spectrum; or whatever is stated."""
    distribution = parse_photometric(SMALL.encode(), "lopsided")
    photons = bench_light(
        photometry={"table": SMALL, "intensity": "photons"},
    )
    del photons["fixtures"]["bench"]["ppf"]
    (channel,) = world_of(photons).channels
    assert channel.flux_umol_s == pytest.approx(flux(distribution), rel=1e-12)
    candela = bench_light(
        photometry={"table": SMALL},
        spectrum={"table": "nm, relative photons\n" + "\n".join(f"{x}, {int(x == 555)}"
                                                               for x in range(400, 801))},
    )  # fmt: skip
    del candela["fixtures"]["bench"]["ppf"]
    (channel,) = world_of(candela).channels
    # At 555 nm: 683 lm per watt, 4.6394 umol per joule.
    assert channel.flux_umol_s == pytest.approx(flux(distribution) / 683 * 4.6394, rel=2e-3)
    (channel,) = world_of(bench_light()).channels
    assert channel.flux_umol_s == pytest.approx(100)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"photometry": {"table": "nonsense"}}, r"fixtures\.bench\.photometry: table:1: "),
        ({"photometry": {}}, "write 'file' with the name of a photometric file"),
        ({"photometry": {"table": lm63(table=np.zeros((1, 37)))}}, "holds no light|no light"),
        ({"strips": [panel("1 cm", "1 cm")["strips"][0]]}, "stand beside 'photometry'"),
        ({"photometry": {"file": "a.ies"}}, "cannot be found for a scene without a folder"),
    ],
)
def test_what_is_no_photometric_file_is_told(changes, message):
    with pytest.raises(SceneError, match=message):
        scene_of(bench_light(**changes))


def test_candela_and_band_shares_need_a_stated_flux():
    data = bench_light()
    del data["fixtures"]["bench"]["ppf"]
    with pytest.raises(SceneError, match="has no photon flux; write 'ppf'"):
        scene_of(data)


def test_a_fixture_without_light_is_told():
    data = bench_light()
    del data["fixtures"]["bench"]["photometry"]
    with pytest.raises(SceneError, match="has no light; write 'strips', or 'photometry'"):
        scene_of(data)
