"""Light at the boundaries between layers, traced: balances to the quantum, k of known canopies."""

from __future__ import annotations

import copy

import numpy as np
import pytest
from build import WHITE, panel, plain_box, scene_of, world_of
from conftest import P_FAIL
from PIL import Image
from scipy import stats
from test_canopy_light import STAND_IN, discs
from test_readback import shown
from torture import torture

import canopysim
from canopysim.analysis.ends import sinks_of
from canopysim.analysis.penetration import penetration
from canopysim.analysis.profile import has_levels, knows_profile, profile
from canopysim.errors import CanopysimError
from canopysim.matter.parts import Part
from canopysim.output import write_files
from canopysim.report.page import page_text
from canopysim.world.compile import compile_world

BLUE = (400.0, 500.0)
HEIGHTS = (0.95, 0.7, 0.5, 0.3, 0.05)


def bay(leaf=("0 %", "0 %"), lens="lambertian", floor="black", **changes) -> dict:
    """A room without walls, lit by a panel that spans it."""
    canopy = {**STAND_IN["canopy"], "profile": "true"}
    data = plain_box(
        fixtures={"panel": panel("1 m", "1 m", lens)},
        lights=[{"fixture": "panel", "at": ["50 cm", "50 cm"], "height": "99 cm"}],
        **copy.deepcopy(STAND_IN | {"canopy": canopy} | changes),
    )
    data["leaves"] = {"leaf": {"reflectance": leaf[0], "transmittance": leaf[1]}}
    data["surfaces"]["pale"] = {"diffuse": "60 %"}
    data["enclosure"] |= {"repeat": ["width", "depth"], "faces": {"floor": floor}}
    data["tracing"] = {"batch": "8192"}
    return data


def run(data: dict, plants: list[Part] | None, n_batch: int, seed: int = 1) -> canopysim.Result:
    scene = scene_of(data)
    world = compile_world(scene, plants=plants)
    budget = n_batch * world.batch_packets
    return canopysim.run(scene, world=world, seed=seed, target=1e-9, max_packets=budget)


def quanta(result: canopysim.Result) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    """Net flux (batch, level), by plants (batch, layer), and all else by end, in whole quanta."""
    rows = result.rows
    first = len(result.planes)
    crossed = rows["crossed_sum"].values[:, :, first:].sum(axis=(1, 4))
    absorbed = rows["absorbed"].values.sum(axis=(1, 3))
    layer = rows["sink_layer"].values
    plants = np.stack(
        [absorbed[:, layer == n].sum(axis=1) for n in result.layers["layer"].values], 1
    )
    ends = {}
    for number, end in enumerate(sinks_of(result)):
        if layer[number] == 0:
            ends[end.name] = absorbed[:, number]
    return crossed[..., 0] - crossed[..., 1], plants, ends


def test_black_leaves_take_the_difference_of_net_fluxes_to_the_quantum():
    """Batch by batch; and what crosses the lowest boundary is what the floor takes."""
    result = run(bay(), [discs(500, 0.04, (1, 1), (0.1, 0.9), 9)], 6)
    net, plants, ends = quanta(result)
    assert net.dtype == plants.dtype == np.int64
    assert (net[:, :-1] - net[:, 1:] == plants).all()
    assert (net[:, -1] == ends["floor"]).all()
    assert plants.min() > 0
    assert not ends["roulette"].any()
    of = profile(result, span=BLUE)
    assert of.counted
    assert of.sideways == pytest.approx(0.0, abs=1e-9)
    assert of.height == pytest.approx(HEIGHTS, abs=1e-6)


def test_scattering_leaves_take_it_but_for_roulette_and_choice():
    """What roulette and choice add above the floor is all that is missing, in whole quanta."""
    result = run(bay(("30 %", "20 %"), floor="pale"), [discs(500, 0.04, (1, 1), (0.1, 0.9), 9)], 24)
    net, plants, ends = quanta(result)
    missing = plants - (net[:, :-1] - net[:, 1:])
    # Below the lowest boundary only the floor is left, and above the highest only the ceiling; what
    # the two corrections took is what lacks in the layers and in those two places.
    launched = net[:, 0] + ends["ceiling"]
    below = ends["floor"] - net[:, -1]
    above = result.n_packet // result.n_batch * 2**32 - launched
    corrected = ends["roulette"] + ends["choice"]
    assert (missing.sum(axis=1) + below - above + corrected == 0).all()
    assert missing.any()
    error = missing.std(axis=0, ddof=1) / np.sqrt(len(missing))
    z = missing.mean(axis=0) / error
    assert np.abs(z).max() < stats.t.isf(P_FAIL / (2 * z.size), len(missing) - 1), np.round(z, 2)
    assert (error < 1e-3 * plants.mean(axis=0)).all()


def test_white_leaves_pass_everything_on():
    """Leaves that absorb nothing: the same net flux at every boundary, to the quantum."""
    result = run(bay(("40 %", "60 %")), [discs(300, 0.05, (1, 1), (0.1, 0.9), 4)], 4)
    net, plants, ends = quanta(result)
    assert not plants.any()
    assert (net == net[:, :1]).all()
    assert (net[:, -1] == ends["floor"]).all()


def test_mirror_walls_change_nothing_and_real_walls_show_sideways():
    """Walls that lose nothing keep the balance; others take what the layers do not explain."""
    part = [discs(300, 0.04, (1, 1), (0.1, 0.9), 9)]
    data = bay()
    del data["enclosure"]["repeat"]
    data["surfaces"]["mirror"] = {"specular": "100 %"}
    data["enclosure"]["faces"] |= dict.fromkeys(("left", "right", "front", "back"), "mirror")
    net, plants, _ = quanta(run(data, part, 3))
    assert (net[:, :-1] - net[:, 1:] == plants).all()
    data["enclosure"]["faces"] |= dict.fromkeys(("left", "right", "front", "back"), "pale")
    result = run(data, part, 24)
    net, plants, ends = quanta(result)
    assert ends["roulette"].any()
    taken = net[:, :-1] - net[:, 1:] - plants
    walls = sum(ends[name] for name in ("left", "right", "front", "back"))
    assert (taken.mean(axis=0) > 0).all()
    assert taken.mean(axis=0).sum() < walls.mean()
    of = profile(result, span=BLUE)
    scale = float(result.rows["channel_umol_s_per_quantum"][0])
    assert of.sideways == pytest.approx(-taken * scale, abs=1e-9)
    # Without the count nobody knows it: walls are booked as wholes.
    data["canopy"] = STAND_IN["canopy"]
    blind = run(data, part, 2)
    assert not knows_profile(blind)
    with pytest.raises(CanopysimError, match="what walls take is not booked by height"):
        profile(blind)


def test_the_books_alone_tell_the_net_flux_where_there_are_no_walls():
    """The same photons, counted and not counted: the same net flux, and the same k."""
    part = [discs(500, 0.04, (1, 1), (0.1, 0.9), 9)]
    data = bay(("8 %", "4 %"), floor="pale")
    counted = run(data, part, 16)
    data["canopy"] = STAND_IN["canopy"]
    told = run(data, part, 16)
    assert has_levels(counted)
    assert not has_levels(told)
    one, other = profile(counted, span=BLUE), profile(told, span=BLUE)
    assert np.isnan(other.down).all()
    assert np.isnan(other.up).all()
    # The two differ by roulette and choice below each boundary, whose means are zero.
    gap = one.net - other.net
    error = gap.std(axis=0, ddof=1) / 4
    assert (np.abs(gap.mean(axis=0)) <= stats.t.isf(P_FAIL / 10, 15) * error + 1e-9).all()
    assert (error < 1e-3 * one.net.mean(axis=0)).all()
    k = [penetration(r, span=BLUE).k for r in (counted, told)]
    assert k[0].value == pytest.approx(k[1].value, rel=2e-3)
    text = page_text(told)
    assert "Down and up by themselves were not counted." in text


def test_stems_hide_the_lowest_boundary_from_the_books_alone():
    """A stem under the lowest leaf is booked with the lowest layer, so its bottom is not told."""
    stem = Part(
        "stalk", "stem",
        np.array([[0.5, 0.5, 0.0], [0.55, 0.5, 0.0], [0.5, 0.5, 0.6], [0.55, 0.5, 0.6]]),
        np.array([[0, 1, 2], [1, 3, 2]], np.int32), "black", False,
    )  # fmt: skip
    data = bay()
    parts = [discs(100, 0.04, (1, 1), (0.2, 0.9), 9), stem]
    net, plants, ends = quanta(run(data, parts, 3))
    assert (net[:, :-2] - net[:, 1:-1] == plants[:, :-1]).all()
    # In the lowest layer as a whole, from its top to the floor, the books close.
    assert (net[:, -2] - plants[:, -1] == ends["floor"]).all()
    assert (net[:, -1] > ends["floor"]).all()
    data["canopy"] = STAND_IN["canopy"]
    told = profile(run(data, parts, 3), span=BLUE)
    assert np.isnan(told.net[:, -1]).all()
    assert np.isfinite(told.net[:, :-1]).all()
    blind = run(data, parts, 3)
    assert penetration(blind, span=BLUE).n_boundary == 4
    assert "at the top of the lowest layer." in page_text(blind)


# k of known canopies ------------------------------------------------------------------------------

CELLS = 40


def chequered(lai: float, seed: int) -> tuple[Part, np.ndarray]:
    """Level square leaves, each on one cell of a grid, and the cells and heights they lie in.

    A vertical ray passes if no leaf lies on its cell, so the share of free cells is known exactly.
    """
    rng = np.random.default_rng(seed)
    n = round(lai * CELLS**2)
    cell = rng.integers(0, CELLS, (n, 2))
    height = rng.uniform(HEIGHTS[-1], HEIGHTS[0], n)
    corner = np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
    vertices = np.empty((n, 4, 3))
    vertices[..., :2] = (cell[:, None] + corner) / CELLS
    vertices[..., 2] = height[:, None]
    faces = np.array([[0, 1, 2], [0, 2, 3]]) + 4 * np.arange(n)[:, None, None]
    part = Part(
        "squares", "leaf", vertices.reshape(-1, 3), faces.reshape(-1, 3).astype(np.int32),
        "leaf", False,
    )  # fmt: skip
    return part, np.column_stack([cell[:, 0] * CELLS + cell[:, 1], height])


def free_cells(leaves: np.ndarray) -> np.ndarray:
    """Share of cells without a leaf above each boundary."""
    return np.array([1 - len(np.unique(leaves[leaves[:, 1] > z, 0])) / CELLS**2 for z in HEIGHTS])


def test_random_black_level_leaves_have_the_k_of_their_free_cells():
    """Traced k against the free cells of this canopy, counted; those against exp(−LAI).

    Leaves that fall at random on M cells leave (1 − 1/M)ⁿ of them free in the mean, so k is
    −M ln(1 − 1/M) = 1 + 1/2M; the spread of one canopy about it comes from canopies drawn alike.
    """
    part, leaves = chequered(2.0, 8)
    result = run(bay(lens="parallel"), [part], 16)
    lai = profile(result, span=BLUE).lai
    counts = [(leaves[:, 1] > z).sum() / CELLS**2 for z in HEIGHTS]
    assert lai == pytest.approx(counts, rel=1e-9)
    free = free_cells(leaves)
    net = profile(result, span=BLUE).net
    share = net.mean(axis=0) / 100.0
    error = net.std(axis=0, ddof=1) / np.sqrt(len(net)) / 100.0
    z = (share - free)[1:] / error[1:]
    assert share[0] == pytest.approx(1.0, abs=1e-12)
    assert np.abs(z).max() < stats.t.isf(P_FAIL / 12, 15), np.round(z, 2)
    found = penetration(result, span=BLUE)
    known = -np.polyfit(lai, np.log(free), 1)[0]
    assert abs(found.k.value - known) < stats.t.isf(P_FAIL / 6, 15) * found.k.std_err
    assert found.k.std_err < 0.01
    # Other canopies of the same kind tell how far one may be from theory.
    drawn = []
    for seed in range(200):
        _, other = chequered(2.0, 1000 + seed)
        above = [(other[:, 1] > z).sum() / CELLS**2 for z in HEIGHTS]
        drawn.append(-np.polyfit(above, np.log(free_cells(other)), 1)[0])
    theory = -(CELLS**2) * np.log1p(-1 / CELLS**2)
    spread = np.std(drawn, ddof=1)
    assert spread < 0.05
    assert abs(known - theory) < stats.norm.isf(P_FAIL / 6) * spread
    assert found.departure < 0.1


def test_scattering_lessens_k_and_brings_light_up():
    """Leaves that scatter more let more through: k falls with the albedo, and light comes up."""
    part = [discs(700, 0.03, (1, 1), (0.1, 0.9), 2)]
    black = penetration(run(bay(), part, 8), span=BLUE)
    pale_run = run(bay(("25 %", "25 %")), part, 8)
    pale = penetration(pale_run, span=BLUE)
    assert pale.k.value + 5 * pale.k.std_err < black.k.value
    assert (profile(pale_run, span=BLUE).up.mean(axis=0)[:-1] > 1.0).all()


# What the count may not change --------------------------------------------------------------------


def test_the_count_is_off_by_default_and_changes_no_photon(demo_data):
    plain, counting = copy.deepcopy(demo_data), copy.deepcopy(demo_data)
    del plain["canopy"]["profile"]
    counting["canopy"]["profile"] = "true"
    one, other = world_of(plain), world_of(counting)
    assert not any(plane.is_level for plane in one.planes)
    assert [p.name for p in other.planes[:3]] == [p.name for p in one.planes]
    assert [p.name for p in other.planes[3:]] == [f"level {i}" for i in range(9)]
    assert one.digest != other.digest
    off = copy.deepcopy(demo_data)
    off["canopy"] |= {"profile": "false", "crop": "pepper"}
    assert world_of(off).digest == one.digest


def no_picture(parts, size, camera, path, **options) -> str:
    """Stand in for the picture, which is another test's."""
    Image.new("RGB", (8, 8)).save(path)
    return "nothing"


def test_the_torture_scene_counts_the_same_with_levels(tmp_path, monkeypatch):
    """Same books, same maps; levels are in no map, no table of planes and no target."""
    data = torture(2000)
    data["planes"] = data["planes"][1:3]
    counting = copy.deepcopy(data)
    assert data["canopy"].pop("profile") == "true"
    counting["canopy"]["crop"] = "basil"
    one, other = run(data, None, 3), run(counting, None, 3)
    assert (one.rows["absorbed"].values == other.rows["absorbed"].values).all()
    assert list(one.planes) == list(other.planes)
    for name in one.planes:
        assert (one.planes[name]["pfd"].values == other.planes[name]["pfd"].values).all()
    assert other.rows.sizes["plane"] == one.rows.sizes["plane"] + 5
    assert other.meta["inside_canopy"]["groups"] == ["side"]
    scene = scene_of(counting)
    monkeypatch.setattr("canopysim.report.scene_picture.draw_scene", no_picture)
    write_files(scene, compile_world(scene), other, tmp_path / "new")
    written = {path.name for path in (tmp_path / "new").iterdir()}
    assert "profile.csv" in written
    assert {n for n in written if n.startswith("map-")} == {f"map-{n}.csv" for n in one.planes}
    again = canopysim.Result.load(tmp_path / "new")
    for span in ((400.0, 700.0), (700.0, 800.0)):
        assert (profile(again, span=span).net == profile(other, span=span).net).all()
    assert again.settings["crop"] == "basil"
    told = " ".join(shown(scene).split())
    assert "Light is counted at every boundary between the layers." in told
    assert "level 0" not in told
    # What replaces it leaves no table of it behind.
    write_files(scene, compile_world(scene), one, tmp_path / "new")
    assert not (tmp_path / "new" / "profile.csv").exists()


def test_levels_are_no_aim_of_a_target():
    data = bay(planes=[{"name": "low", "height": "20 cm", "cell": "50 cm"}])
    data["fixtures"]["panel"]["spectrum"] = WHITE
    part = [discs(100, 0.04, (1, 1), (0.1, 0.9), 9)]
    scene = scene_of(data)
    world = compile_world(scene, plants=part)
    result = canopysim.run(scene, world=world, target={"planes": "50 %"}, max_packets=1e7)
    assert result.stopped_by == "target"
    assert result.meta["limiting"] == "plane low"
    del data["planes"]
    with pytest.raises(CanopysimError, match="the scene has no planes"):
        canopysim.run(scene_of(data), world=world, target={"planes": "50 %"})


def test_a_leaf_in_the_lowest_boundary_is_above_it():
    """The lowest level leaf absorbs above the lowest boundary, wherever its layers end."""
    sheet = Part(
        "sheet", "leaf",
        np.array([[0, 0, 0.3], [1, 0, 0.3], [1, 1, 0.3], [0, 1, 0.3],
                  [0, 0, 0.4], [0.5, 0, 0.4], [0.5, 0.5, 0.4], [0, 0.5, 0.4]]),
        np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]], np.int32), "leaf", False,
    )  # fmt: skip
    data = bay(lens="parallel")
    data["canopy"]["layers"] = "1"
    net, plants, _ = quanta(run(data, [sheet], 2))
    assert (net[:, 0] == plants[:, 0]).all()
    assert not net[:, 1].any()
