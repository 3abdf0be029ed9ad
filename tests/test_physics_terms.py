"""Term by term: each has an exact value found without the tracer, and fails if it is wrong.

Signs of axes, sides of a leaf, the correction for a shared choice, mirrored and scattered shares,
axes of patches, level leaves in boundaries, stated fluxes.
"""

import numpy as np
import pytest
from build import FLAT, WHITE, ends, panel, plain_box, trace, world_of
from scipy import stats

from canopysim.matter.parts import Part
from canopysim.tallies.label import Labeller
from canopysim.tallies.rows import mean_and_error

BLACK_LEAF = {
    "leaves": {"leaf": {"reflectance": "0 %", "transmittance": "0 %"}},
    "plants": {
        "any": {"leaf": "leaf", "stem": "black", "nodes": "1", "internode": "1 cm",
                "petiole_length": "1 cm", "petiole_angle": "60 deg", "blade_length": "3 cm",
                "blade_width": "2 cm"},
    },
    "canopy": {"layers": "2", "plantings": [{"plant": "any", "columns": "1", "rows": "1"}]},
}  # fmt: skip


def by_band(values):
    """A share for each band as scene text."""
    return {n: f"{100 * v:.9f} %" for n, v in zip(WHITE, values, strict=True)}


def sheet(z, width=1.0, depth=1.0, n=1):
    """A level leaf over the whole box, upper side up, as n x n squares of two triangles."""
    x, y = np.linspace(0, width, n + 1), np.linspace(0, depth, n + 1)
    vertices = np.array([[a, b, z] for b in y for a in x])
    k = (np.arange(n)[:, None] * (n + 1) + np.arange(n)).ravel()
    quads = np.stack([k, k + 1, k + n + 2, k + n + 1], 1)
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]).astype(np.int32)
    return Part("sheet", "leaf", vertices, faces, "leaf", False)


# What the sine or cosine of a round angle leaves (1e-16, of either sign) must not steer a ray.
AXIS_CASES = [
    ({"turn": turn, "tilt": "30 deg"}, end)
    for turn, end in (("0 deg", "back"), ("90 deg", "left"), ("180 deg", "front"),
                      ("270 deg", "right"), ("-90 deg", "right"), ("-180 deg", "front"),
                      ("360 deg", "back"))
] + [
    ({"tilt": "90 deg"}, "back"), ({"tilt": "-90 deg"}, "front"), ({"pitch": "90 deg"}, "left"),
    ({"pitch": "-90 deg"}, "right"), ({"turn": "180 deg", "tilt": "90 deg"}, "front"),
    ({"turn": "180 deg"}, "floor"), ({"tilt": "180 deg"}, "ceiling"),
]  # fmt: skip


@pytest.mark.parametrize(("turned", "end"), AXIS_CASES)
def test_parallel_light_along_an_axis_meets_the_face_it_points_at(turned, end):
    data = plain_box(
        fixtures={"panel": panel("1 cm", "1 cm", "parallel")},
        lights=[{"fixture": "panel", "at": ["50 cm", "50 cm"], "height": "95 cm"} | turned],
        tracing={"batch": "500"},
    )
    found = ends(*(lambda w: (w, trace(w, 1)))(world_of(data)))
    assert found[end][0] == pytest.approx(100.0, rel=1e-9), found


@pytest.mark.parametrize("azimuth", [-360, -270, -180, -90, 0, 90, 180, 270, 360, 37, 217])
def test_sun_lights_the_walls_that_it_travels_towards(azimuth, p_fail):
    """Floor share of a beam through the roof of a cube: (1 - |tx|)(1 - |ty|), t = tan(zenith)."""
    data = plain_box(
        lights=[],
        daylight=[{"ppfd": "400 umol/m2/s", "spectrum": FLAT,
                   "beam": {"zenith": "30 deg", "azimuth": f"{azimuth} deg"}}],
    )  # fmt: skip
    data["enclosure"]["faces"] = {"ceiling": "open"}
    world = world_of(data)
    found = ends(world, trace(world, 1))
    t = np.tan(np.radians(30)) * np.array(
        [np.cos(np.radians(azimuth)), np.sin(np.radians(azimuth))]
    )
    share = np.prod(1 - np.abs(t))
    # First met: x-wall where the way to it is the shorter one.
    # Integrate over the start's distance a to that wall: min(1, a / |tx|) with the y-wall later.
    u = (np.arange(200_000) + 0.5) / 200_000
    exact = {"floor": share} | dict.fromkeys(("left", "right", "front", "back"), 0.0)
    tx, ty = np.abs(t)
    if tx > 1e-9:
        exact["right" if t[0] > 0 else "left"] = tx * (1 - ty * u).mean()
    if ty > 1e-9:
        exact["back" if t[1] > 0 else "front"] = ty * (1 - tx * u).mean()
    assert sum(exact.values()) == pytest.approx(1.0)
    n = world.batch_packets
    for end, value in exact.items():
        error = np.sqrt(value * (1 - value) / n)
        bound = stats.norm.isf(p_fail / (11 * 10)) * error + 1e-9
        assert abs(found[end][0] / 400 - value) < bound, (end, found[end], 400 * value)


def test_leaf_between_plates_by_adding_band_by_band(p_fail):
    """Unlike sides, unlike bands, one history: between perfect mirrors the adding equations are
    exact. A wrong side, a wrong way through the leaf, a missing correction for the shared choice,
    a biased roulette or a plane that counts the wrong way each move a figure by many errors."""
    upper = {"R": [0.05, 0.30, 0.0, 0.45, 0.50], "T": [0.02, 0.20, 0.9, 0.40, 0.35]}
    lower = {"R": [0.10, 0.10, 0.2, 0.20, 0.50], "T": [0.30, 0.25, 0.0, 0.50, 0.30]}
    floor, ceiling = [0.0, 0.2, 0.5, 0.9, 0.8], [0.9, 0.1, 0.5, 0.6, 0.9]
    data = plain_box(
        **BLACK_LEAF,
        planes=[{"name": "above", "height": "70 cm", "cell": "1 m"},
                {"name": "below", "height": "20 cm", "cell": "1 m"}],
        fixtures={"panel": panel("60 cm", "40 cm") | {"spectrum": WHITE}},
        lights=[{"fixture": "panel", "at": ["30 cm", "20 cm"], "height": "1 m"}],
    )  # fmt: skip
    data["enclosure"] = {
        "width": "60 cm", "depth": "40 cm", "height": "1 m", "lining": "mirror",
        "faces": {"floor": "floor", "ceiling": "ceiling"},
    }  # fmt: skip
    data["surfaces"] = {
        "black": {}, "mirror": {"specular": "100 %"},
        "floor": {"diffuse": by_band(floor)}, "ceiling": {"diffuse": by_band(ceiling)},
    }  # fmt: skip
    data["leaves"]["leaf"] = {
        "reflectance": by_band(upper["R"]), "transmittance": by_band(upper["T"]),
        "lower": {"reflectance": by_band(lower["R"]), "transmittance": by_band(lower["T"])},
    }  # fmt: skip
    data["canopy"]["layers"] = ["40 cm", "60 cm"]
    world = world_of(data, plants=[sheet(0.5, 0.6, 0.4)])
    n_batch = 14
    rows = trace(world, n_batch, seed=3)
    launched = world.batch_packets * world.arrays.strip_quanta[0]
    absorbed = np.array(rows.absorbed)[:, 0] / launched
    crossed = np.array(rows.crossed_sum)[:, 0] / launched  # batch, plane, direction, band
    checked = []
    for b, band in enumerate(WHITE):
        ru, tu, rl, tl = upper["R"][b], upper["T"][b], lower["R"][b], lower["T"][b]
        down1, up1, down2, up2 = np.linalg.solve(
            [[1, -ceiling[b], 0, 0], [-ru, 1, 0, -tl], [-tu, 0, 1, -rl], [0, 0, -floor[b], 1]],
            [1, 0, 0, 0],
        )
        exact = {
            ("ceiling", None): (1 - ceiling[b]) * up1, ("floor", None): (1 - floor[b]) * down2,
            ("leaves", "upper"): (1 - ru - tu) * down1, ("leaves", "lower"): (1 - rl - tl) * up2,
            ("roulette", None): 0.0, ("choice", None): 0.0,
        }  # fmt: skip
        for i, sink in enumerate(world.sinks):
            if (sink.end, sink.side) in exact:
                checked.append((f"{band} {sink.end} {sink.side}", absorbed[:, i, b],
                                exact[sink.end, sink.side]))  # fmt: skip
        for p, d, value in ((0, 0, down1), (0, 1, up1), (1, 0, down2), (1, 1, up2)):
            checked.append((f"{band} plane {p} {d}", crossed[:, p, d, b], value))
    bound = stats.t.isf(p_fail / 2 / len(checked), n_batch - 1)
    for what, series, value in checked:
        mean, error = mean_and_error(series)
        if value == 0 and not series.any():
            continue
        # Exactly known figures have an error of rounding only.
        limit = bound * (0 if np.isnan(error) else error) + 1e-6
        assert abs(mean - value) < limit, f"{what}: {mean} +- {error}, exact {value}"
    # Tight enough to mean something.
    assert max(s.std(ddof=1) for _, s, v in checked if v > 0.05) / np.sqrt(n_batch) < 0.05


def test_tilted_body_mirrors_and_scatters_its_shares(p_fail):
    """A thin beam straight down on a body tilted by 15 deg: the mirrored share leaves at 30 deg
    and meets a patch of the ceiling, the scattered share by the patch's configuration factor."""
    specular, diffuse = [0.1, 0.5, 0.0, 0.3, 0.6], [0.6, 0.1, 0.7, 0.3, 0.0]
    a = np.radians(15)
    normal = np.array([0, -np.sin(a), np.cos(a)])
    spot = np.array([0.5, 0.5, 0.3]) + 0.042 * normal
    data = plain_box(
        surfaces={"black": {}, "half": {"specular": by_band(specular),
                                        "diffuse": by_band(diffuse)}},
        fixtures={
            "pencil": panel("1 mm", "1 mm", "parallel") | {"spectrum": WHITE},
            "bar": {"body": {"length": "40 cm", "width": "20 cm", "height": "4 cm",
                             "surface": "half"},
                    "photon_flux": "1 umol/s", "spectrum": WHITE,
                    "strips": [{"length": "1 cm", "width": "1 cm", "lens": "lambertian"}]},
        },
        lights=[
            {"fixture": "pencil", "group": "pencil", "at": ["50 cm", f"{spot[1]:.9f} m"],
             "height": "80 cm"},
            {"fixture": "bar", "group": "bar", "at": ["50 cm", "50 cm"], "height": "30 cm",
             "tilt": "15 deg"},
        ],
    )  # fmt: skip
    low, high = np.array([0.45, 0.06]), np.array([0.55, 0.16])
    data["enclosure"]["faces"] = {
        "ceiling": {"patches": [{"surface": "black", "corner": ["45 cm", "6 cm"],
                                 "opposite": ["55 cm", "16 cm"]}]}
    }  # fmt: skip
    mirrored = spot[1] - np.tan(2 * a) * (1 - spot[2])
    assert low[1] + 0.01 < mirrored < high[1] - 0.01
    u, w = np.polynomial.legendre.leggauss(16)
    x, y = (low[:, None] + high[:, None]) / 2 + (high - low)[:, None] / 2 * u
    ray = np.stack(np.broadcast_arrays(x[:, None], y[None, :], 1.0), -1) - spot
    r2 = (ray**2).sum(-1)
    factor = (ray @ normal) * ray[..., 2] / (np.pi * r2**2)
    factor = (factor * w[:, None] * w[None, :]).sum() * np.prod(high - low) / 4
    world = world_of(data)
    channel = next(i for i, c in enumerate(world.channels) if c.group == "pencil")
    packets = world.channels[channel].packets
    n_batch = 20
    rows = trace(world, n_batch)
    patch = next(i for i, s in enumerate(world.sinks) if s.end.startswith("patch"))
    launched = packets * world.arrays.strip_quanta[0]
    mean, error = mean_and_error(np.array([r[channel, patch] for r in rows.absorbed]) / launched)
    exact = np.array(specular) + np.array(diffuse) * factor
    bound = stats.t.isf(p_fail / 10, n_batch - 1)
    z = (mean - exact) / error
    assert np.abs(z).max() < bound, np.round(z, 2)
    body = next(i for i, s in enumerate(world.sinks) if s.end == "fixture bodies")
    taken = np.array([r[channel, body] for r in rows.absorbed]) / launched
    assert np.allclose(taken, 1 - np.array(specular) - np.array(diffuse), atol=1e-6)


FACING = {
    "left": (1, 2, {"pitch": "90 deg"}), "right": (1, 2, {"pitch": "-90 deg"}),
    "front": (0, 2, {"tilt": "-90 deg"}), "back": (0, 2, {"tilt": "90 deg"}),
    "floor": (0, 1, {}), "ceiling": (0, 1, {"tilt": "180 deg"}),
}  # fmt: skip


@pytest.mark.parametrize("face", FACING)
def test_patch_takes_its_configuration_factor_on_every_face(face, p_fail):
    """Unequal box, off-centre source, a rectangle that is not its own mirror image: an axis or a
    side taken for another changes the factor. The later of two overlapping patches wins."""
    size, source = np.array([1.0, 0.8, 0.6]), np.array([0.4, 0.45, 0.25])
    low, high = np.array([0.05, 0.10]), np.array([0.40, 0.35])
    cut = 0.2  # the second patch covers the first below this value of the first axis
    a, b, turned = FACING[face]
    number = list(FACING).index(face)
    axis = number // 2
    h = size[axis] - source[axis] if number % 2 else source[axis]

    def factor(low, high):
        u, w = np.polynomial.legendre.leggauss(32)
        x, y = (low + high)[:, None] / 2 + (high - low)[:, None] / 2 * u - source[[a, b]][:, None]
        f = h * h / (np.pi * (x[:, None] ** 2 + y[None, :] ** 2 + h * h) ** 2)
        return (f * w[:, None] * w[None, :]).sum() * np.prod(high - low) / 4

    data = plain_box(
        fixtures={"panel": panel("1 mm", "1 mm")},
        lights=[{"fixture": "panel", "at": ["40 cm", "45 cm"], "height": "25 cm"} | turned],
        tracing={"batch": "65536"},
    )
    data["enclosure"] = {
        "width": "1 m", "depth": "80 cm", "height": "60 cm", "lining": "black",
        "faces": {face: {"patches": [
            {"open": "true", "corner": [f"{high[0]} m", f"{low[1]} m"],
             "opposite": [f"{low[0]} m", f"{high[1]} m"]},
            {"surface": "black", "corner": [f"{low[0]} m", f"{low[1]} m"],
             "opposite": [f"{cut} m", f"{high[1]} m"]},
        ]}},
    }  # fmt: skip
    world = world_of(data)
    found = ends(world, trace(world, 4))
    n = 4 * world.batch_packets
    exact = {
        f"escaped through patch 1 of the {face}": factor(np.array([cut, low[1]]), high),
        f"patch 2 of the {face} (black)": factor(low, np.array([cut, high[1]])),
    }
    for end, share in exact.items():
        z = (found[end][0] / 100 - share) / np.sqrt(share * (1 - share) / n)
        assert abs(z) < stats.norm.isf(p_fail / (4 * len(FACING))), f"{end}: z = {z:.2f}"


@pytest.mark.parametrize("height", [0.2, 0.3, 0.5, 0.6])
def test_level_leaf_in_a_boundary_has_its_light_where_it_has_its_area(height):
    """The layer that is given a level leaf's area is given what the leaf absorbs, and a plane that
    lies in the leaf reads what falls on it: to the quantum, wherever float32 puts the meeting."""
    data = plain_box(**BLACK_LEAF,
                     planes=[{"name": "at", "height": f"{height} m", "cell": "1 m"}])  # fmt: skip
    data["canopy"]["layers"] = ["10 cm", f"{height} m", "75 cm"]
    world = world_of(data, plants=[sheet(height, n=4)])
    rows = trace(world, 1)
    absorbed = np.zeros(2, np.int64)
    for sink, value in zip(world.sinks, rows.absorbed[0][0].sum(1), strict=True):
        if sink.end == "leaves":
            absorbed[sink.layer] += value
    has_area = world.layers.leaf_area > 0
    # What lies in a plane is below it.
    assert has_area.tolist() == [False, True]
    assert absorbed[0] == 0, f"share in the layer without area: {absorbed[0] / absorbed.sum():.3f}"
    assert rows.crossed_sum[0][0, 0, 0].sum() == absorbed.sum()


def test_stated_flux_by_strip_group_and_band_is_what_is_launched():
    """ppf against photon_flux, unequal shares, strips with spectra of their own, rows, outputs:
    plain arithmetic gives what each group launches in each band; a black box books all of it."""
    red = {"600-700": "80 %", "700-750": "20 %"}
    strips = [
        {"length": "20 cm", "width": "2 cm", "lens": "lambertian", "share": "50 %"},
        {"length": "20 cm", "width": "2 cm", "lens": "lambertian", "at": ["0 cm", "4 cm"],
         "spectrum": red, "share": "30 %"},
        {"length": "20 cm", "width": "2 cm", "lens": "parallel", "at": ["0 cm", "-4 cm"]},
    ]  # fmt: skip
    data = plain_box(
        fixtures={
            "by-ppf": {"ppf": "90 umol/s", "spectrum": WHITE, "strips": strips},
            "by-flux": {"photon_flux": "60 umol/s", "spectrum": WHITE, "strips": strips},
        },
        lights=[
            {"fixture": "by-ppf", "group": "a", "at": ["50 cm", "50 cm"], "height": "80 cm",
             "output": "40 %", "row": {"count": "3", "gap": "5 cm", "direction": "depth"}},
            {"fixture": "by-flux", "group": "b", "at": ["50 cm", "50 cm"], "height": "60 cm"},
            {"fixture": "by-flux", "group": "b", "at": ["50 cm", "50 cm"], "height": "50 cm",
             "output": "25 %"},
        ],
    )  # fmt: skip
    white = np.array([20, 35, 38, 4, 3]) / 100
    mixed = 0.7 * white + 0.3 * np.array([0, 0, 0.8, 0.2, 0])
    exact = {"a": 3 * 0.4 * 90 / mixed[:3].sum() * mixed, "b": 1.25 * 60 * mixed}
    world = world_of(data)
    labeller = Labeller(world)
    launched = labeller.launched()
    booked = labeller.flux(trace(world, 1).absorbed[0]).sum(1)
    for g, group in enumerate(labeller.group_names[:-1]):
        assert launched.sel(group=group).values[:5] == pytest.approx(exact[group], rel=1e-8)
        assert booked[g, :5] == pytest.approx(exact[group], rel=1e-8, abs=1e-8)
    assert booked[-1, :5] == pytest.approx(exact["a"] + exact["b"], rel=1e-8)
    # A stated PPF is what leaves in 400-700 nm, whatever the strips' spectra.
    assert float(launched.sel(group="a", band="400-700")) == pytest.approx(3 * 0.4 * 90, rel=1e-9)
