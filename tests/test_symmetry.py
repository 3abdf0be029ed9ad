"""Symmetries and scalings that a scene must keep."""

import numpy as np
from build import WHITE, ends, panel, plain_box, scene_of, trace, world_of
from scipy import stats

from canopysim.matter.parts import Part
from canopysim.matter.plants import grow_canopy
from canopysim.tallies.label import Labeller
from canopysim.tallies.rows import mean_and_error
from canopysim.world.compile import compile_world


def plane_series(world, rows, number=0):
    """Down flux of each cell over all bands, (n_row, ny, nx), and the batches in each row."""
    plane = world.planes[number]
    nx, ny = plane.cells
    labeller = Labeller(world)
    block = rows.crossed[:, :, plane.first_bin : plane.first_bin + nx * ny]
    flux = np.array([labeller.flux(r)[-1][:, : len(world.edges) - 1].sum(1) for r in block])
    return flux.reshape(-1, ny, nx), rows.fold_counts


def test_halves_of_the_demo_without_plants_are_mirror_images(demo_data, p_fail):
    """The demo's lights and walls are symmetric about both middles: so is the light."""
    data = {k: v for k, v in demo_data.items() if k not in ("canopy", "plants", "leaves")}
    data["planes"] = [{"name": "mid", "height": "50 cm", "cell": "15 cm"}]
    data.pop("tracing")
    world = compile_world(scene_of(data))
    n_batch = 16
    series, counts = plane_series(world, trace(world, n_batch, seed=21))
    for flipped in (series[:, ::-1], series[:, :, ::-1]):
        mean, error = mean_and_error(series - flipped, counts)
        used = error > 0
        z = mean[used] / error[used]
        assert np.abs(z).max() < stats.t.isf(p_fail / (4 * z.size), n_batch - 1)
    # And it is not even for another reason: the light is far from flat.
    mean, _ = mean_and_error(series, counts)
    assert mean.max() > 1.15 * mean.min()


def herb_scene(turn, seed=3):
    """A tilted strip over herbs in a half-shiny box, built with x and y as they are or turned."""
    # A quarter turn counter-clockwise about the vertical: (x, y) -> (d - y, x), faces move on.
    w, d = 0.9, 0.6
    at = (0.35, 0.25)
    faces = {"left": "shiny", "front": "matte"}
    if turn:
        at = (d - at[1], at[0])
        faces = {"front": "shiny", "right": "matte"}
        w, d = d, w
    return plain_box(
        enclosure={"width": f"{w} m", "depth": f"{d} m", "height": "1 m", "lining": "pale",
                   "faces": faces},
        surfaces={"black": {}, "pale": {"diffuse": "60 %"}, "shiny": {"specular": "90 %"},
                  "matte": {"diffuse": "10 %"}},
        fixtures={"panel": panel("30 cm", "4 cm", {"beam": {"along": "100 deg",
                                                            "across": "40 deg"}})
                  | {"spectrum": WHITE}},
        lights=[{"fixture": "panel", "at": [f"{at[0]} m", f"{at[1]} m"], "height": "85 cm",
                 "turn": f"{20 + (90 if turn else 0)} deg", "pitch": "10 deg", "tilt": "35 deg"}],
        leaves={"leaf": {"like": "basil"}},
        plants={"herb": {"leaf": "leaf", "stem": "pale", "nodes": "7", "internode": "6 cm",
                         "petiole_length": "3 cm", "petiole_angle": "60 deg",
                         "blade_length": "9 cm", "blade_width": "5 cm"}},
        canopy={"layers": "3", "leaf_area_index": "1.5", "seed": str(seed),
                "plantings": [{"plant": "herb", "columns": "3", "rows": "2", "base": "12 cm"}]},
    )  # fmt: skip


def leaf_layers(world, rows):
    labeller = Labeller(world)
    sinks = [i for i, s in enumerate(world.sinks) if s.end == "leaves"]
    return np.array(
        [labeller.flux(a)[-1][sinks].reshape(-1, 2, len(labeller.bands)).sum(1)[:, 5:]
         for a in rows.absorbed]
    )  # fmt: skip


def test_turning_the_whole_scene_changes_nothing(p_fail):
    """A quarter turn of box, faces, plants and lights: layers and ends agree within error."""
    straight = scene_of(herb_scene(turn=False))
    parts = grow_canopy(straight)
    turned_parts = []
    for p in parts:
        vertices = p.vertices.copy()
        vertices[:, 0], vertices[:, 1] = 0.6 - p.vertices[:, 1], p.vertices[:, 0]
        turned_parts.append(Part(p.name, p.kind, vertices, p.faces, p.surface, p.solid))
    one = compile_world(straight, plants=parts)
    other = world_of(herb_scene(turn=True), plants=turned_parts)
    n_batch = 16
    a, b = trace(one, n_batch, seed=1), trace(other, n_batch, seed=2)
    mean_a, error_a = mean_and_error(leaf_layers(one, a))
    mean_b, error_b = mean_and_error(leaf_layers(other, b))
    z = (mean_a - mean_b) / np.hypot(error_a, error_b)
    ends_a, ends_b = ends(one, a), ends(other, b)
    moves = {"left": "front", "front": "right", "right": "back", "back": "left",
             "floor": "floor", "ceiling": "ceiling"}  # fmt: skip
    z_ends = [
        (ends_a[x][0] - ends_b[y][0]) / np.hypot(ends_a[x][1], ends_b[y][1])
        for x, y in moves.items()
    ]
    bound = stats.t.isf(p_fail / (2 * (z.size + 6)), 2 * n_batch - 2)
    assert np.abs(z).max() < bound
    assert np.abs(z_ends).max() < bound


def test_scaling_all_lengths_changes_no_share(p_fail):
    """Ten times larger in every length, with the same leaf area index: the same shares."""
    small = scene_of(herb_scene(turn=False))
    parts = grow_canopy(small)
    big = herb_scene(turn=False)

    def enlarge(value):
        if isinstance(value, dict):
            return {k: enlarge(v) for k, v in value.items()}
        if isinstance(value, list):
            return [enlarge(v) for v in value]
        number, _, unit = str(value).partition(" ")
        return f"{10 * float(number)} {unit}" if unit in ("m", "cm", "mm") else value

    big = enlarge(big)
    big_parts = [Part(p.name, p.kind, 10 * p.vertices, p.faces, p.surface, p.solid) for p in parts]
    one, other = compile_world(small, plants=parts), world_of(big, plants=big_parts)
    n_batch = 16
    a, b = trace(one, n_batch, seed=5), trace(other, n_batch, seed=6)
    mean_a, error_a = mean_and_error(leaf_layers(one, a))
    mean_b, error_b = mean_and_error(leaf_layers(other, b))
    z = (mean_a - mean_b) / np.hypot(error_a, error_b)
    assert np.abs(z).max() < stats.t.isf(p_fail / (2 * z.size), 2 * n_batch - 2)


def test_groups_together_are_the_sum_of_groups_alone():
    """Light adds up: a strip's histories are its own, whoever else shines."""

    def lights(*groups):
        data = plain_box(
            surfaces={"black": {"diffuse": "50 %"}},
            lights=[{"fixture": "panel", "group": g, "at": [x, "50 cm"], "height": "80 cm"}
                    for g, x in (("a", "30 cm"), ("b", "70 cm")) if g in groups],
        )  # fmt: skip
        data["tracing"]["batch"] = str(4000 * len(groups))
        return world_of(data)

    both = trace(lights("a", "b"), 2)
    alone = trace(lights("a"), 2)
    for batch in range(2):
        assert (both.absorbed[batch][0] == alone.absorbed[batch][0]).all()
