"""Light among leaves that fill a volume, against what it must be."""

import numpy as np
import pytest
from build import panel, plain_box, trace, world_of
from scipy import special
from test_enclosures import furnace, student_limit

from canopysim.tallies.label import Labeller
from canopysim.tallies.rows import mean_and_error

BLACK = {"reflectance": "0 %", "transmittance": "0 %"}
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
