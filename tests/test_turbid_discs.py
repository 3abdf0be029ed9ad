"""Random discs, drawn as a mesh, tend to the slab with their measured density and angles."""

import numpy as np
from build import panel, plain_box, scene_of, trace
from scipy import stats

from canopysim.matter.parts import Part
from canopysim.tallies.label import Labeller
from canopysim.world.compile import compile_world

SIDE, LOW, HIGH, LAI = 1.2, 0.2, 0.7, 1.6
CORNERS = 8


def tilted_discs(radius, seed):
    """Octagons with the area of discs, anywhere and inclined anyhow (spherical), in a bay.

    Gives them alone, and with the copies of those that reach over a side: a bay of an endless
    field in which every disc stands where it will.
    """
    rng = np.random.default_rng(seed)
    n = round(LAI * SIDE**2 / (np.pi * radius**2))
    middle = rng.uniform([0, 0, LOW + radius], [SIDE, SIDE, HIGH - radius], (n, 3))
    cosine, turn = rng.random(n), 2 * np.pi * rng.random(n)
    sine = np.sqrt(1 - cosine**2)
    normal = np.stack([sine * np.cos(turn), sine * np.sin(turn), cosine], 1)
    flat = np.stack([-np.sin(turn), np.cos(turn), 0 * turn], 1)
    steep = np.cross(normal, flat)
    r = radius * np.sqrt(2 * np.pi / CORNERS / np.sin(2 * np.pi / CORNERS))
    angle = 2 * np.pi * np.arange(CORNERS) / CORNERS
    rim = r * (
        np.cos(angle)[None, :, None] * flat[:, None] + np.sin(angle)[None, :, None] * steep[:, None]
    )
    shifts = [(i * SIDE, j * SIDE, 0.0) for i in (0, -1, 1) for j in (0, -1, 1)]
    there = []
    for x, y, _ in shifts:
        at = middle[:, :2] + [x, y]
        there.append(((at > -r) & (at < SIDE + r)).all(1))
    alone = disc_part(middle, rim)
    some = [np.flatnonzero(t) for t in there]
    some[0] = np.arange(n)
    copies = np.concatenate([middle[k] + s for k, s in zip(some, shifts, strict=True)])
    return alone, disc_part(copies, np.concatenate([rim[k] for k in some]))


def disc_part(middle, rim):
    vertices = np.concatenate([middle[:, None], middle[:, None] + rim], axis=1)
    fan = np.stack([np.zeros(CORNERS), 1 + np.arange(CORNERS),
                    1 + (np.arange(CORNERS) + 1) % CORNERS], 1).astype(np.int32)  # fmt: skip
    faces = fan[None] + ((CORNERS + 1) * np.arange(len(middle)))[:, None, None]
    return Part("discs", "leaf", vertices.reshape(-1, 3), faces.reshape(-1, 3).astype(np.int32),
                "leaf", False)  # fmt: skip


def field(**canopy):
    side = f"{SIDE} m"
    return plain_box(
        enclosure={"width": side, "depth": side, "height": "1 m", "lining": "black",
                   "repeat": ["width", "depth"]},
        leaves={"leaf": {"reflectance": "40 %", "transmittance": "30 %"}},
        plants={"any": {"leaf": "leaf", "stem": "black", "nodes": "1", "internode": "1 cm",
                        "petiole_length": "1 cm", "petiole_angle": "60 deg",
                        "blade_length": "3 cm", "blade_width": "2 cm"}},
        canopy={"layers": ["20 cm", "45 cm", "70 cm"],
                "plantings": [{"plant": "any", "columns": "1", "rows": "1"}]} | canopy,
        fixtures={"panel": panel(side, side)},
        lights=[{"fixture": "panel", "at": [f"{SIDE / 2} m", f"{SIDE / 2} m"],
                 "height": "99 cm"}],
        tracing={"batch": "32768"},
    )  # fmt: skip


def shares(world, seed):
    """What the leaves keep, what comes back up and what reaches the floor."""
    rows = trace(world, 3, seed=seed)
    assert rows.counters[2] == 0
    labeller = Labeller(world)
    flux = np.mean([labeller.flux(a)[-1][:, : len(world.edges) - 1].sum(-1)
                    for a in rows.absorbed], axis=0) / 100  # fmt: skip
    return np.array([
        sum(flux[i] for i, s in enumerate(world.sinks) if s.end == end)
        for end in ("leaves", "ceiling", "floor")
    ])  # fmt: skip


def test_shrinking_discs_become_a_turbid_slab(p_fail):
    """Three sizes, five fields of each, extrapolated to no size at all.

    What differs is that a disc has a size: it hides others, and light that it gives back finds
    the way clear by which it came. Both go with size over distance, here the radius. Each field is
    held against the slab that is measured from it, so that its own chance mostly cancels.
    """
    radii = np.array([0.06, 0.03, 0.015])
    mean, error = [], []
    for radius in radii:
        off = []
        for seed in range(5):
            alone, bay = tilted_discs(radius, 100 + seed)
            mesh = compile_world(scene_of(field()), plants=[bay])
            turbid = compile_world(scene_of(field(as_volume="slab")), plants=[alone])
            index = turbid.layers.leaf_area.sum() / SIDE**2
            assert abs(index - LAI) < 0.01
            off.append(shares(mesh, seed) - shares(turbid, seed))
        mean.append(np.mean(off, axis=0))
        error.append(np.std(off, axis=0, ddof=1) / np.sqrt(len(off)))
    mean, error = np.array(mean), np.array(error)
    # A straight line in the radius, weighted: its value at 0 and the error of that.
    design = np.stack([np.ones(3), radii / radii[0]], 1)
    for kind, name in enumerate(("leaves", "back", "floor")):
        weight = 1 / error[:, kind] ** 2
        inverse = np.linalg.inv(design.T @ (weight[:, None] * design))
        at_zero = (inverse @ (design.T @ (weight * mean[:, kind])))[0]
        spread = np.sqrt(inverse[0, 0])
        print(name, np.round(mean[:, kind], 4), np.round(error[:, kind], 4), at_zero, spread)
        assert spread < 0.003, name
        # Errors from five fields each: Student's t with the twelve degrees that they have.
        assert abs(at_zero) < stats.t.isf(p_fail / 6, 12) * spread, f"{name}: {at_zero} +- {spread}"
