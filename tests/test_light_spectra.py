"""Spectra of lights in a scene: shares, the library, tables; matter is averaged as each sees it."""

import copy

import numpy as np
import pytest
from build import panel, plain_box, scene_of, trace, world_of
from scipy.integrate import quad

from canopysim.errors import SceneError
from canopysim.library.leaves import library_spectrum
from canopysim.scene.load import load_scene, load_scene_text
from canopysim.transport.arrays import ABSORB_ONE
from canopysim.world.compile import compile_world

HALF_WATTS = "nm, W/nm\n" + "\n".join(f"{x}, {max(0, 1 - abs(x - 630) / 60):.6f}"
                                      for x in range(560, 701, 5))  # fmt: skip


def leafy(*spectra) -> dict:
    """A box with one plant and a panel for each spectrum, all in the same place."""
    data = plain_box(
        leaves={"pepper": {"like": "pepper"}},
        plants={
            "sprig": {"leaf": "pepper", "stem": "black", "nodes": "6", "internode": "5 cm",
                      "petiole_length": "2 cm", "petiole_angle": "60 deg",
                      "blade_length": "12 cm", "blade_width": "8 cm"},
        },
        canopy={"layers": "1", "leaf_area_index": "0.5", "plantings": [
            {"plant": "sprig", "columns": "2", "rows": "2", "base": "30 cm"}]},
        tracing={"batch": "4000"},
    )  # fmt: skip
    data["fixtures"] = {
        f"lamp{k}": panel("60 cm", "60 cm") | {"spectrum": s} for k, s in enumerate(spectra)
    }
    data["lights"] = [
        {"fixture": name, "at": ["50 cm", "50 cm"], "height": "90 cm"} for name in data["fixtures"]
    ]
    return data


def absorptance_of_pepper(low, high, photons):
    """The leaf's own table, weighted by photons, by general quadrature."""
    nm, r = library_spectrum("pepper", "R")
    _, t = library_spectrum("pepper", "T")

    def absorbed(x):
        return 1 - np.interp(x, nm, r) - np.interp(x, nm, t)

    grid = [x for x in range(int(low), int(high)) if low < x < high]
    weighed = quad(lambda x: photons(x) * absorbed(x), low, high, limit=400, points=grid)[0]
    return weighed / quad(photons, low, high, limit=400, points=grid)[0]


def test_leaves_are_averaged_by_each_lights_own_photons(tmp_path):
    (tmp_path / "amber.csv").write_text(HALF_WATTS)
    data = leafy({"file": "amber.csv"}, {"like": "far_red_730"}, {"600-700": "100 %"})
    import yaml
    from build import PlainDumper

    path = tmp_path / "scene.yaml"
    path.write_text(yaml.dump(data, Dumper=PlainDumper))
    scene = load_scene(path)
    world = compile_world(scene)
    place = world.places.index("leaves")
    rows = world.arrays.place_surface[place] + world.arrays.strip_optics
    assert len(set(rows)) == 3
    absorb = world.arrays.absorb[rows, 0] / ABSORB_ONE
    red, first_far_red = 2, 3

    def triangle(x):
        return max(0.0, 1 - abs(x - 630) / 60) * x

    def normal(x):
        return np.exp(-0.5 * ((x - 730) / (30 / np.sqrt(8 * np.log(2)))) ** 2)

    assert absorb[0, red] == pytest.approx(absorptance_of_pepper(600, 700, triangle), abs=2e-6)
    assert absorb[1, first_far_red] == pytest.approx(
        absorptance_of_pepper(700, 750, normal), abs=2e-4
    )
    flat = absorptance_of_pepper(600, 700, lambda x: 1.0)
    assert absorb[2, red] == pytest.approx(flat, abs=1e-6)
    # Where a light has no photons every wavelength counts alike, and nobody asks.
    assert absorb[2, 0] == pytest.approx(absorptance_of_pepper(400, 500, lambda x: 1.0), abs=1e-6)
    # The table travels with a result, so that a run can be taken up.
    assert str(tmp_path / "amber.csv") in scene.sources


def test_packets_meet_the_optics_of_their_own_spectrum():
    """Two panels that swap their spectra swap what leaves absorb: to the rounding of shares."""
    one = world_of(leafy({"700-750": "100 %"}, {"like": "far_red_730"}))
    other = world_of(leafy({"like": "far_red_730"}, {"700-750": "100 %"}))
    leaves = [i for i, s in enumerate(one.sinks) if s.kind == "leaf"]
    a, b = trace(one, 12), trace(other, 12)
    band = 3
    share = [
        np.array(rows.absorbed)[:, :, leaves, band].sum((0, 2))
        / np.array(rows.absorbed)[:, :, :, band].sum((0, 2))
        for rows in (a, b)
    ]
    # A leaf takes 38 % of even light in 700-750 nm, but 31 % of that LED's.
    assert share[0][0] > 1.1 * share[0][1]
    assert share[1][1] > 1.1 * share[1][0]
    assert share[0][0] == pytest.approx(share[1][1], rel=0.03)


def test_the_light_of_bands_is_the_tables_integral():
    world = world_of(leafy({"like": "white_4000"}))
    from canopysim.light.spectrum.named import named_spectrum

    light = named_spectrum("white_4000")
    wanted = [light.photons(a, b) for a, b in ((400, 500), (500, 600), (600, 700))]
    shares = np.array(world.channels[0].shares)
    assert shares.sum() == pytest.approx(1.0)
    assert shares[:3] / shares[:3].sum() == pytest.approx(np.array(wanted) / sum(wanted))


def test_a_table_may_stand_in_the_scene_itself():
    data = leafy({"table": HALF_WATTS})
    assert np.array(world_of(data).channels[0].shares)[[0, 3, 4]] == pytest.approx(0)
    wrong = leafy({"table": HALF_WATTS.replace("W/nm", "candles")})
    with pytest.raises(SceneError, match="table:1: "):
        scene_of(wrong)


@pytest.mark.parametrize(
    ("spectrum", "message"),
    [
        (
            {"like": "white_5000"},
            "'white_5000' is not a spectrum of the library; it has white_3000",
        ),
        ({"like": "white_4000", "400-500": "20 %"}, "cannot stand beside 'like'; leave it out"),
        ({"file": "nowhere.csv"}, "cannot be found for a scene without a folder"),
        ({"table": HALF_WATTS, "unit": "lx"}, "'lx' is not known; allowed are W/nm"),
        ("white", "'white' is not a spectrum; write for example"),
        ({"table": "nm, W/nm\n850, 1\n900, 1\n"}, "has no photons in the bands, 400-800 nm"),
    ],
)
def test_what_is_no_spectrum_is_told(spectrum, message):
    with pytest.raises(SceneError, match=message):
        scene_of(leafy(spectrum))


def test_files_stay_in_the_scenes_folder(tmp_path):
    home = tmp_path / "home"
    (home / "fixtures").mkdir(parents=True)
    (home / "spectra").mkdir()
    (home / "spectra" / "amber.csv").write_text(HALF_WATTS)
    (tmp_path / "secret.csv").write_text(HALF_WATTS)
    import yaml

    data = leafy({"like": "white_4000"})
    fixture = copy.deepcopy(data["fixtures"]["lamp0"])
    data["fixtures"]["lamp0"] = {"file": "fixtures/lamp.yaml"}
    path = home / "scene.yaml"
    path.write_text(yaml.safe_dump(data))
    # From a fixture's own folder into another folder of the scene, but not out of it.
    for reference, sound in (("../spectra/amber.csv", True), ("../../secret.csv", False)):
        fixture["spectrum"] = {"file": reference}
        (home / "fixtures" / "lamp.yaml").write_text(yaml.safe_dump(fixture))
        if sound:
            assert load_scene(path).fixtures["lamp0"].spectrum.name == reference
        else:
            with pytest.raises(SceneError, match="leads out of the scene's folder"):
                load_scene(path)
    with pytest.raises(SceneError, match="cannot be found"):
        load_scene_text(path.read_text())
