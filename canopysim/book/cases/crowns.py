"""Leaves: bodies that they fill, along single rays, and bodies that stand in each other."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from canopysim.book.case import Case, Exact, Number
from canopysim.book.cases.slabs import BLACK, pencils, sides_of, slab_scene
from canopysim.book.dark_rooms import hung, metres
from canopysim.book.exact.crown_paths import Crown, follow
from canopysim.book.exact.crowns import heading, leaf_area_met
from canopysim.book.exact.frames import rotation
from canopysim.book.exact.leaves import DENSITY, ellipsoid, shown
from canopysim.book.exact.radiosity import FACES
from canopysim.book.outcome import Outcome
from canopysim.book.readings import Layers, LayerSides, Reading, Share
from canopysim.book.scenes import box, panel, percent, scene

if TYPE_CHECKING:
    from canopysim.book.bench import Bench

MIDDLE, HALF = (0.45, 0.50, 0.40), (0.15, 0.22, 0.18)
DENSITY_M2_M3 = 6.0
BY_HEIGHT = (1.0, 0.3)
ROWS = {"row along x": "width", "row along y": "depth"}
# Where needles of light stand, and their tilt and turn in degrees: down beside the middle, and
# slanting into the body from outside.
NEEDLES = {
    "down": ((0.52, 0.60, 0.90), 0.0, 0.0),
    "slant": ((0.46, 0.10, 0.72), 50.0, 6.0),
    "level": ((0.10, 0.42, 0.35), 90.0, -80.0),
    # Just along the axes: a row is as long as the flight, or not met at all.
    "along-y": ((0.52, 0.05, 0.47), 90.0, 0.0),
    "along-x": ((0.05, 0.61, 0.33), 90.0, -90.0),
}


def _body(shape: str, angles: Any, clumping: float) -> dict[str, Any]:
    """Give the body as a scene file has it."""
    body = {
        "shape": shape.split()[0], "leaf": "leaf", "angles": angles, "clumping": str(clumping),
        "positions": [[f"{MIDDLE[0]} m", f"{MIDDLE[1]} m"]], "density": f"{DENSITY_M2_M3} m2/m3",
        "width": f"{2 * HALF[0]} m", "depth": f"{2 * HALF[1]} m",
        "bottom": f"{MIDDLE[2] - HALF[2]} m", "top": f"{MIDDLE[2] + HALF[2]} m",
        "by_height": [percent(x) for x in BY_HEIGHT],
    }  # fmt: skip
    return body | ({"direction": ROWS[shape]} if shape in ROWS else {})


def _crown(shape: str, angles: Any, clumping: float) -> Case:
    density = ellipsoid(1.7) if isinstance(angles, dict) else DENSITY[angles]

    def exact() -> Exact:
        found = {}
        for name, (start, tilt, turn) in NEEDLES.items():
            way = heading(tilt, turn)
            met = leaf_area_met(shape, MIDDLE, HALF, DENSITY_M2_M3, BY_HEIGHT, start, way)
            found[name] = 1 - np.exp(-clumping * shown(density, abs(way[2])) * met)
        return found

    figures: dict[str, Reading] = {name: Share("leaves", name) for name in NEEDLES}
    return Case(
        name=f"a crown of leaves, {shape}",
        chapter="leaves",
        shows="Along a single ray light falls with the leaf area on its chord, whose density falls "
        "with height.",
        source="Beer's law along the ray, 1 - exp(-G times the integral of density), by steps "
        "along the chord.",
        fails_if="An extent were taken for its half or for another axis, density were not that of "
        "the height, the chord were not followed on from inside, or a light were turned wrong.",
        scene=scene(
            "A crown of leaves",
            enclosure=box("1 m", "1.2 m", "1 m"),
            leaves={"leaf": BLACK},
            canopy={"layers": "3", "volumes": [_body(shape, angles, clumping)]},
            fixtures={"needle": panel("0.1 mm", "0.1 mm", "parallel")},
            lights=[
                {"fixture": "needle", "group": name, "at": [f"{x} m", f"{y} m"],
                 "height": f"{z} m", "tilt": f"{tilt} deg", "turn": f"{turn} deg"}
                for name, ((x, y, z), tilt, turn) in NEEDLES.items()
            ],
        ),
        figures=figures,
        exact=exact,
        packets=1 << 21,
        scale=1.0,
    )  # fmt: skip


def _overlap() -> Case:
    slants = (0, 60)
    one = {"leaf_area_index": "0.6", "angles": "planophile", "by_height": "even"}
    other = {"leaf_area_index": "0.5", "angles": "erectophile", "bottom": "30 cm",
             "by_height": "even", "clumping": "0.7"}  # fmt: skip

    # From the top: two layers of 25 cm in both volumes, one of 20 cm in the taller alone.
    part_of_one, part_of_other = np.array([25, 25, 20]) / 70, np.array([25, 25, 0]) / 50

    def exact() -> Exact:
        found: dict[str, Number] = {}
        for slant in slants:
            mu = np.cos(np.radians(slant))
            depth = 0.6 * shown(DENSITY["planophile"], mu) * part_of_one
            depth += 0.7 * 0.5 * shown(DENSITY["erectophile"], mu) * part_of_other
            left = np.exp(-np.concatenate([[0.0], np.cumsum(depth)]) / mu)
            found[f"layers, {slant} deg"] = left[:-1] - left[1:]
            found[f"floor, {slant} deg"] = float(left[-1])
        return found

    figures: dict[str, Reading] = {}
    for slant in slants:
        figures[f"layers, {slant} deg"] = Layers(f"from-{slant}")
        figures[f"floor, {slant} deg"] = Share("floor", f"from-{slant}")

    return Case(
        name="volumes of leaves in one place",
        chapter="leaves",
        shows="Where two volumes overlap, their densities add; each keeps its own angles and "
        "clumping.",
        source="Beer's law with the sum of both optical depths, layer by layer.",
        fails_if="One volume hid the other, or the first meeting were not the nearer of both.",
        scene=slab_scene(
            BLACK, one, other, lights=pencils(*slants), layers=["10 cm", "30 cm", "55 cm", "80 cm"]
        ),
        figures=figures,
        exact=exact,
        packets=1 << 21,
        scale=1.0,
    )


ROOM = (1.0, 1.2, 1.0)
# Parallel light from one corner, through the middle, so that unlike sides get unlike shares.
LAMP_SIZE, LAMP_AT = (0.20, 0.24), (0.20, 0.24, 0.80)
WAY = np.subtract(MIDDLE, LAMP_AT) / np.linalg.norm(np.subtract(MIDDLE, LAMP_AT))
LAMP_TURNED = (
    float(np.degrees(np.arctan2(-WAY[0], WAY[1]))), 0.0, float(np.degrees(np.arccos(-WAY[2]))),
)  # fmt: skip
UPPER, LOWER = (0.15, 0.40), (0.45, 0.25)
# Cuts between layers within the body, m, and paths in the full edition.
CUTS, N_PATH, N_PART = (0.34, 0.47), 1 << 22, 32


def _scattering_crown(shape: str, angles: str, clumping: float) -> Case:
    crown = Crown(shape, MIDDLE, HALF, clumping * DENSITY_M2_M3, BY_HEIGHT, DENSITY[angles],
                  UPPER, LOWER)  # fmt: skip
    low, high = MIDDLE[2] - HALF[2], MIDDLE[2] + HALF[2]

    def apart(bench: Bench) -> tuple[list[Any], list[Any]]:
        """Follow plain paths; give what layers' sides and faces take of each part of them."""
        leaves, faces = [], []
        rng = np.random.default_rng(bench.next_seed())
        axes = rotation(*LAMP_TURNED)
        for _ in range(N_PART):
            n = max(int(N_PATH * bench.share) // N_PART, 1 << 10)
            spots = (rng.random((n, 2)) - 0.5) * LAMP_SIZE
            o = spots @ axes[:, :2].T + LAMP_AT
            d = np.tile(WAY, (n, 1))
            sides, ends = follow(crown, ROOM, CUTS, o, d, rng)
            leaves.append(sides)
            faces.append(ends)
        return leaves, faces

    def measure(bench: Bench, case: Case) -> list[Outcome]:
        result = bench.trace(case.scene, case.packets)
        leaves, faces = apart(bench)
        pairs: list[tuple[str, Reading, list[Any]]] = [("sides", LayerSides(), leaves)]
        pairs += [(face, Share(face), [f[k] for f in faces]) for k, face in enumerate(FACES)]
        outcomes = []
        for name, reading, parts in pairs:
            found = reading.read(result)
            mean = np.mean(parts, 0)
            error = np.hypot(found.std_err, np.std(parts, 0, ddof=1) / N_PART**0.5)
            for at in np.ndindex(mean.shape):
                where = f" [{', '.join(map(str, at))}]" if at else ""
                outcomes.append(Outcome(f"{name}{where}", float(mean[at]), float(found.value[at]),
                                        float(error[at]), N_PART, 0.0, 1.0))  # fmt: skip
        return outcomes

    return Case(
        name=f"a crown that scatters, {shape}",
        chapter="leaves",
        shows="Slanting light in a crown of leaves of unlike sides, whose density falls with "
        "height: what each layer's sides take and what goes to each face of a black room.",
        source="Paths in plain numpy, leaf by leaf: every leaf that is drawn is met by density and "
        "|n.d|, and sends light on by Lambert's law.",
        fails_if="Leaves were not met by what they show to the light, scattered about another "
        "normal, took one side for the other, or light left the crown elsewhere.",
        scene=scene(
            "A crown that scatters",
            enclosure=box(*(f"{x} m" for x in ROOM)),
            leaves={"leaf": sides_of(UPPER, LOWER)},
            canopy={"layers": [f"{z} m" for z in (low, *CUTS, high)],
                    "volumes": [_body(shape, angles, clumping)]},
            fixtures={"panel": panel(metres(LAMP_SIZE[0]), metres(LAMP_SIZE[1]), "parallel")},
            lights=[hung("panel", LAMP_AT, LAMP_TURNED)],
        ),
        packets=1 << 22,
        quick=1 / 8,
        precision=5e-4,
        scale=None,
        measure=measure,
    )  # fmt: skip


CASES = (
    _scattering_crown("ellipsoid", "erectophile", 0.8),
    _scattering_crown("row along y", "plagiophile", 1.0),
    _crown("ellipsoid", "erectophile", 1.0),
    _crown("row along y", {"ellipsoid": "1.7"}, 1.0),
    _crown("row along x", "uniform", 0.8),
    _crown("box", "planophile", 0.6),
    _overlap(),
)
