"""Light among leaves that fill a volume, against what it must be."""

import numpy as np
import pytest
from build import panel, plain_box, trace, world_of
from scipy import special, stats
from test_enclosures import furnace, student_limit
from turbid_oracles import DENSITY, campbell, shown_share, two_streams

from canopysim.tallies.label import Labeller
from canopysim.tallies.rows import mean_and_error

BLACK = {"reflectance": "0 %", "transmittance": "0 %"}
SLANTS = (0, 30, 60)
CLOSE = 1e-3
"""Standard error that every figure here has to reach, of its value or of the launched light."""


def endless_slab(volume, leaf, *, lights, layers="1", floor="0 %", batch=2**17, **surfaces):
    """A room without walls, a black ceiling, a floor, and one slab of leaves."""
    return plain_box(
        enclosure={"width": "1 m", "depth": "1 m", "height": "1 m", "lining": "black",
                   "repeat": ["width", "depth"], "faces": {"floor": "floor"}},
        surfaces={"black": {}, "floor": {"diffuse": floor}} | surfaces,
        leaves={"leaf": leaf},
        canopy={"layers": layers, "volumes": [
            {"shape": "slab", "leaf": "leaf", "bottom": "10 cm", "top": "80 cm"} | volume]},
        fixtures={"pencil": panel("10 cm", "1 cm", "parallel"),
                  "panel": panel("50 cm", "50 cm")},
        lights=lights,
        tracing={"batch": str(batch)},
    )  # fmt: skip


def pencils(*slants):
    """Parallel light from several zenith angles, each a group of its own, to unlike azimuths."""
    return [
        {"fixture": "pencil", "group": f"from-{slant}", "at": ["50 cm", "50 cm"],
         "height": "95 cm", "tilt": f"{slant} deg", "turn": f"{17 + slant} deg"}
        for slant in slants
    ]  # fmt: skip


PANEL = [{"fixture": "panel", "at": ["50 cm", "50 cm"], "height": "95 cm"}]


def shares(world, n_batch, seed=1):
    """Share of the launched light at every sink, by channel: (batch, channel, sink)."""
    rows = trace(world, n_batch, seed=seed)
    assert rows.counters[2] == 0
    quanta = np.diff(world.strip_first) * world.arrays.strip_quanta.sum(1)
    absorbed = np.array(rows.absorbed).sum(-1)
    assert absorbed.shape[1] == len(quanta)
    return absorbed / quanta[:, None]


def sinks(world, **wanted):
    """Rows of the books whose attributes are these."""
    return [
        i for i, s in enumerate(world.sinks)
        if all(getattr(s, key) == value for key, value in wanted.items())
    ]  # fmt: skip


def agrees(series, exact, limit, *, name, of=None):
    """Hold a mean over batches against its exact value; its error must be small as well.

    Small is `CLOSE` of the value itself, or of what is given, such as 1 for all launched light.
    """
    mean, error = mean_and_error(series)
    assert error < CLOSE * (exact if of is None else of), f"{name}: {mean} +- {error} is too rough"
    assert abs(mean - exact) < limit * error, f"{name}: {mean} +- {error}, exact {exact}"


@pytest.mark.parametrize("name", [*DENSITY, "ellipsoid"])
def test_black_leaves_let_an_exponential_through(name, p_fail):
    """exp(-G LAI / cos t) for parallel light from three zenith angles, G by quadrature.

    What passes a slab from side to side is told by the floor; the leaf area index 0.7 is spread
    unevenly by height, which must not matter. The ellipsoid's leaves are clumped besides. Every
    packet arrives whole or not at all, so the number that arrives is binomial.
    """
    density = DENSITY.get(name, campbell(2.2))
    angles = name if name in DENSITY else {"ellipsoid": "2.2"}
    lai, clumping = 0.7, 1.0 if name in DENSITY else 0.7
    volume = {"leaf_area_index": str(lai), "angles": angles, "clumping": str(clumping),
              "by_height": {"beta": ["2.5", "1.5"]}}  # fmt: skip
    n_batch = 26
    world = world_of(endless_slab(volume, BLACK, lights=pencils(*SLANTS)))
    found = shares(world, n_batch)[:, :, sinks(world, end="floor")].sum(-1).mean(0)
    limit = stats.norm.isf(p_fail / (2 * 21))
    for mean, slant, packets in zip(found, SLANTS, np.diff(world.strip_first), strict=True):
        mu = np.cos(np.radians(slant))
        exact = np.exp(-shown_share(density, mu) * lai * clumping / mu)
        error = np.sqrt(exact * (1 - exact) / (n_batch * packets))
        assert error < CLOSE * exact
        # The table of angles is straight between its quantiles: 10^-4 in G at most.
        off = abs(mean - exact)
        assert off < limit * error + 1e-4 * exact, f"{slant} deg: {mean} +- {error}, exact {exact}"


PAIRS = [
    ((0.10, 0.05), (0.10, 0.05), 0.2),
    ((0.45, 0.45), (0.45, 0.45), 0.1),
    ((0.50, 0.30), (0.50, 0.30), 0.0),
    ((0.05, 0.60), (0.05, 0.60), 0.6),
    ((0.08, 0.04), (0.35, 0.25), 0.5),
]


@pytest.mark.parametrize(("upper", "lower", "rho_floor"), PAIRS)
def test_level_leaves_are_two_streams(upper, lower, rho_floor, p_fail):
    """What the upper and lower sides of five layers absorb, layer by layer; unlike sides too."""
    leaf = {"reflectance": f"{100 * upper[0]} %", "transmittance": f"{100 * upper[1]} %",
            "lower": {"reflectance": f"{100 * lower[0]} %",
                      "transmittance": f"{100 * lower[1]} %"}}  # fmt: skip
    volume = {"leaf_area_index": "2.4", "angles": "level", "by_height": ["20 %", "100 %", "60 %"]}
    layers = ["10 cm", "25 cm", "40 cm", "50 cm", "64 cm", "80 cm"]
    n_batch = 24
    world = world_of(
        endless_slab(
            volume, leaf, lights=PANEL, layers=layers, floor=f"{100 * rho_floor} %", batch=2**15
        )
    )
    # Leaf area of a list of densities that rises and falls, by hand.
    at = np.array([10.0, 25, 40, 50, 64, 80])
    z = np.linspace(10, 80, 7001)
    below = np.concatenate([[0.0], np.cumsum(np.interp((z[1:] + z[:-1]) / 2, [10, 45, 80],
                                                       [0.2, 1.0, 0.6]))])  # fmt: skip
    lai = np.diff(np.interp(at, z, below / below[-1] * 2.4))[::-1]
    assert world.layers.leaf_area == pytest.approx(lai, rel=1e-6)
    absorbed, up, down = two_streams(lai, upper, lower, rho_floor)
    found = shares(world, n_batch)[:, 0]
    limit = student_limit(p_fail / (5 * 13), n_batch)
    for layer in range(5):
        for number, side in enumerate(("upper", "lower")):
            series = found[:, sinks(world, kind="leaf", layer=layer, side=side)].sum(-1)
            exact = absorbed[layer, number]
            agrees(series, exact, limit, name=f"{side} sides of layer {layer}", of=1)
    agrees(found[:, sinks(world, end="ceiling")].sum(-1), up, limit, name="up", of=1)
    series = found[:, sinks(world, end="floor")].sum(-1)
    agrees(series, down * (1 - rho_floor), limit, name="down", of=1)
    series = found[:, sinks(world, kind="leaf")].sum(-1)
    agrees(series, absorbed.sum(), limit, name="all leaves", of=1)


@pytest.mark.parametrize("lai", [1, 2, 5])
@pytest.mark.parametrize("rho", [0.5, 0.2])
def test_conservative_level_leaves_reflect(lai, rho, p_fail):
    """rho L / (1 + rho L) comes back from leaves that absorb nothing over a black floor."""
    leaf = {"reflectance": f"{100 * rho} %", "transmittance": f"{100 - 100 * rho} %"}
    volume = {"leaf_area_index": str(lai), "angles": "level"}
    n_batch = 24
    world = world_of(endless_slab(volume, leaf, lights=PANEL, batch=2**15))
    found = shares(world, n_batch)[:, 0]
    limit = student_limit(p_fail / 6, n_batch)
    assert (found[:, sinks(world, kind="leaf")] == 0).all()
    back = found[:, sinks(world, end="ceiling")].sum(-1)
    agrees(back, rho * lai / (1 + rho * lai), limit, name="back", of=1)


def test_shapes_shade_by_the_length_of_the_chord(p_fail):
    """Spherical black leaves in a ball, a row and a box: parallel light through their middle.

    A thin pencil of light from straight above and from the side passes a known length of leaves,
    whose density falls with height in the ball: exp(-G times the integral along the chord).
    """
    size = {"bottom": "20 cm", "top": "60 cm", "density": "6 m2/m3"}
    crowns = [
        {"shape": "ellipsoid", "leaf": "leaf", "width": "20 cm", "depth": "30 cm",
         "positions": [["30 cm", "30 cm"]], "by_height": ["100 %", "40 %"]} | size,
        {"shape": "row", "leaf": "leaf", "direction": "depth", "width": "20 cm", "depth": "30 cm",
         "positions": [["70 cm", "30 cm"]]} | size,
        {"shape": "box", "leaf": "leaf", "width": "20 cm", "depth": "30 cm",
         "positions": [["30 cm", "70 cm"]], "clumping": "0.5"} | size,
    ]  # fmt: skip
    places = [(0.30, 0.30), (0.70, 0.30), (0.30, 0.70)]
    lights = [
        {"fixture": "needle", "group": f"down-{k}", "at": [f"{x + 0.04} m", f"{y + 0.06} m"],
         "height": "90 cm"}
        for k, (x, y) in enumerate(places)
    ]  # fmt: skip
    data = plain_box(
        leaves={"leaf": BLACK},
        canopy={"layers": "4", "volumes": crowns},
        fixtures={"needle": panel("0.1 mm", "0.1 mm", "parallel")},
        lights=[*lights, {"fixture": "needle", "group": "slant", "at": ["30 cm", "5 cm"],
                          "height": "65 cm", "tilt": "45 deg"}],
        tracing={"batch": str(2**17)},
    )  # fmt: skip
    world = world_of(data)
    n_batch = 16
    found = shares(world, n_batch)
    leaf = sinks(world, kind="leaf")
    limit = student_limit(p_fail / 8, n_batch)
    # In units of the half extents: 0.04 / 0.10 across, 0.06 / 0.15 along.
    ball = np.sqrt(1 - 0.16 - 0.16)
    t = np.linspace(-ball, ball, 20001)
    fall = 1.0 + (0.4 - 1.0) * (t + 1) / 2
    # Mean over the ball of a density that is straight in height is its value in the middle.
    ball_path = 6.0 * 0.2 * np.trapezoid(fall, t) / 0.7
    row_path = 6.0 * 0.4 * np.sqrt(1 - 0.16)
    paths = [ball_path, row_path, 6.0 * 0.4 * 0.5]
    for channel, path in enumerate(paths):
        series = found[:, channel, leaf].sum(-1)
        agrees(series, 1 - np.exp(-0.5 * path), limit, name=f"down-{channel}", of=1)
    # From y = 5 cm at 65 cm, 45 deg down towards +y: (y, z) = (0.05 + s, 0.65 - s) passes the
    # ball, whose middle is (0.30, 0.40), through its centre.
    s = np.linspace(0, 0.6, 600_001)
    y, z = (0.05 + s - 0.30) / 0.15, (0.65 - s - 0.40) / 0.20
    within = y * y + z * z <= 1
    density = 6.0 * (1.0 + (0.4 - 1.0) * (z + 1) / 2) / 0.7
    path = np.trapezoid(np.where(within, density, 0.0), s) * np.sqrt(2)
    series = found[:, 3, leaf].sum(-1)
    agrees(series, 1 - np.exp(-0.5 * path), limit, name="slant", of=1)


def test_overlapping_volumes_add(p_fail):
    """Two slabs in one place, of unlike leaves and angles: the sum of both passes no more."""
    half = {"shape": "slab", "leaf": "leaf", "bottom": "10 cm", "top": "80 cm"}
    data = endless_slab(
        {"leaf_area_index": "0.6", "angles": "planophile"}, BLACK, lights=pencils(0, 60)
    )
    data["canopy"]["volumes"].append(half | {"leaf_area_index": "0.5", "angles": "erectophile",
                                             "bottom": "30 cm", "leaf": "grey"})  # fmt: skip
    data["leaves"]["grey"] = {"reflectance": "0 %", "transmittance": "0 %"}
    world = world_of(data)
    n_batch = 12
    found = shares(world, n_batch)
    limit = student_limit(p_fail / 2, n_batch)
    for channel, slant in enumerate((0, 60)):
        mu = np.cos(np.radians(slant))
        depth = 0.6 * shown_share(DENSITY["planophile"], mu)
        depth += 0.5 * shown_share(DENSITY["erectophile"], mu)
        floor = found[:, channel, sinks(world, end="floor")].sum(-1)
        agrees(floor, np.exp(-depth / mu), limit, name=f"from {slant}", of=1)


def cloudy_furnace(clumping="1"):
    """The furnace with a slab, crowns and a row for plants, and planes between the layers."""
    data = furnace("20 %")
    leaf = {"leaf": "leaf", "clumping": clumping}
    data["canopy"] = {
        "layers": ["5 cm", "20 cm", "35 cm", "50 cm", "70 cm"], "profile": "true",
        "volumes": [
            {"shape": "slab", "bottom": "5 cm", "top": "40 cm", "leaf_area_index": "1.2",
             "angles": "planophile"} | leaf,
            {"shape": "ellipsoid", "bottom": "10 cm", "top": "70 cm", "width": "30 cm",
             "depth": "22 cm", "columns": "2", "rows": "2", "leaf_area": "0.1 m2",
             "angles": {"ellipsoid": "0.6"}, "by_height": {"beta": ["2", "3"]}} | leaf,
            {"shape": "row", "direction": "width", "bottom": "20 cm", "top": "50 cm",
             "depth": "30 cm", "density": "5 m2/m3", "angles": ["60 %", "0 %", "40 %"]} | leaf,
        ],
    }  # fmt: skip
    return data


def test_walls_emit_furnace_with_volumes(p_fail):
    """Leaves that give all light back do not disturb it: every face, and both sides of every
    boundary between layers, in volumes that overlap, see M."""
    world = world_of(cloudy_furnace())
    n_batch = 32
    rows = trace(world, n_batch)
    assert rows.counters[2] == 0
    areas = {"left": 0.55, "right": 0.55, "front": 0.88, "back": 0.88, "floor": 0.4, "ceiling": 0.4}
    labeller = Labeller(world)
    n_band = len(world.edges) - 1
    flux = np.array([labeller.flux(a)[-1][:, :n_band].sum(-1) for a in rows.absorbed])
    n_test = 6 + 2 * len(world.planes)
    limit = student_limit(p_fail / n_test, n_batch)
    for face, area in areas.items():
        series = flux[:, sinks(world, end=face)].sum(-1)
        agrees(series, 80.0 * area, limit, name=face, of=3 * 80 * area)
    assert (flux[:, sinks(world, kind="leaf")] == 0).all()
    scale = np.array([c.umol_s_per_quantum for c in world.channels])
    series = np.array([(s.sum(-1) * scale[:, None, None]).sum(0) for s in rows.crossed_sum]) / 0.4
    assert series.shape[1] == len(world.planes) == 2 + 5
    for plane, name in enumerate(p.name for p in world.planes):
        for direction in (0, 1):
            agrees(series[:, plane, direction], 100.0, limit, name=name, of=400)


@pytest.mark.parametrize("clumping", ["1", "0.5"])
def test_leaves_of_volumes_in_the_furnace(clumping, p_fail):
    """Leaves that keep 0.2 %: in every layer each side takes 0.2 % of M times its leaf area.

    Clumping stands for leaves that hide each other: light meets so much less of them.
    """
    data = cloudy_furnace(clumping)
    data["leaves"]["leaf"]["transmittance"] = "39.8 %"
    world = world_of(data)
    n_batch = 24
    rows = trace(world, n_batch)
    labeller = Labeller(world)
    limit = student_limit(p_fail / 16, n_batch)
    for layer, area in enumerate(world.layers.leaf_area):
        for side in ("upper", "lower"):
            rows_here = sinks(world, kind="leaf", layer=layer, side=side)
            series = np.array([labeller.flux(a)[-1][rows_here, 0].sum() for a in rows.absorbed])
            mean, error = mean_and_error(series)
            exact = 100.0 * 0.002 * area * float(clumping)
            # The walls make up for 0.8 of what leaves take: M falls by less than
            # 0.002 * 2 * 1.3 m2 / (0.8 * 3.66 m2) = 0.18 %.
            bound = limit * error + 0.002 * exact
            assert abs(mean - exact) < bound, f"layer {layer} {side}: {mean} +- {error}, {exact}"
            assert error < 0.02 * exact


def test_layers_hold_what_the_level_planes_lose():
    """Black leaves, one band: the net flux falls from level to level by what a layer absorbs."""
    volume = {"leaf_area_index": "1.5", "angles": "plagiophile"}
    data = endless_slab(volume, BLACK, lights=PANEL, layers="5", batch=20_000)
    data["canopy"]["profile"] = "true"
    data["canopy"]["volumes"].append(
        {"shape": "ellipsoid", "leaf": "leaf", "bottom": "20 cm", "top": "90 cm", "width": "60 cm",
         "depth": "60 cm", "positions": [["0 cm", "20 cm"]], "leaf_area": "0.3 m2"}
    )  # fmt: skip
    world = world_of(data)
    rows = trace(world, 2)
    absorbed = np.array(rows.absorbed).sum((0, 1, 3))
    net = np.array([s[0, :, 0, 0] - s[0, :, 1, 0] for s in rows.crossed_sum]).sum(0)
    layers = [absorbed[sinks(world, kind="leaf", layer=k)].sum() for k in range(5)]
    assert (net[:-1] - net[1:] == layers).all()
    assert min(layers) > 0


def test_diffuse_light_through_a_thin_slab(p_fail):
    """A Lambertian panel over spherical leaves: 2 E3(LAI / 2) arrives, the exponential integral."""
    world = world_of(endless_slab({"leaf_area_index": "0.3"}, BLACK, lights=PANEL, batch=2**16))
    n_batch = 16
    found = shares(world, n_batch)[:, 0]
    exact = 2 * special.expn(3, 0.5 * 0.3)
    limit = student_limit(p_fail, n_batch)
    agrees(found[:, sinks(world, end="floor")].sum(-1), exact, limit, name="floor")
