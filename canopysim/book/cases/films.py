"""Leaves: a film that mirrors grazing light over a leaf that scatters."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from canopysim.book.bright_rooms import IN_OFF, face_areas, shining_walls
from canopysim.book.case import Case, Exact, Scene
from canopysim.book.cases.drawn import BAY, MARGIN, bay_with_mesh, beams
from canopysim.book.dark_rooms import FACES
from canopysim.book.exact.facets import returned_even, roughness
from canopysim.book.exact.films import even_share, fresnel, one_meeting, to_faces
from canopysim.book.exact.frames import angles_of, rotation
from canopysim.book.exact.leaves import Side
from canopysim.book.exact.tiles import level_leaf, obj_of
from canopysim.book.outcome import Outcome
from canopysim.book.readings import AtLevels, LayerSides, PlaneMean, Reading, Share
from canopysim.book.scenes import ONE_BAND, box, panel, percent, scene

if TYPE_CHECKING:
    from canopysim.book.bench import Bench

INDEX = 1.45
COVER = (BAY[0] - 2 * MARGIN) * (BAY[1] - 2 * MARGIN) / (BAY[0] * BAY[1])
LEAF = obj_of(level_leaf(MARGIN, BAY[0] - MARGIN, MARGIN, BAY[1] - MARGIN, 450)[None])
ESCAPED = "escaped through the ceiling"
SLANTS = {"steep": 12.0, "mid": 48.0, "low": 70.0, "grazing": 83.0}
# The program's own mean of Fresnel's law, by 2^18 directions, is that near to the integral.
MEAN_OFF = 2e-5


def _film(upper: Side, lower: Side, spread: str) -> dict[str, Any]:
    return {
        "reflectance": percent(upper[0]), "transmittance": percent(upper[1]),
        "lower": {"reflectance": percent(lower[0]), "transmittance": percent(lower[1])},
        "cuticle": {"index": str(INDEX), "spread": spread},
    }  # fmt: skip


def _beams(upper: Side, lower: Side, name: str) -> Case:
    """Parallel light on one level leaf: from above at four slants, from below at one."""

    def exact() -> Exact:
        found: dict[str, Any] = {}
        for light, slant in SLANTS.items():
            of = one_meeting(slant, *upper, INDEX)
            found[f"sides, {light}"] = np.array([[COVER * of.kept, 0.0]])
            found[f"floor, {light}"] = 1 - COVER + COVER * of.through
            found[f"back, {light}"] = COVER * of.back
        of = one_meeting(60.0, *lower, INDEX)
        # The pencil from below stays off the slits.
        found |= {"sides, below": np.array([[0.0, of.kept]]), "floor, below": of.back,
                  "back, below": of.through}  # fmt: skip
        return found

    figures: dict[str, Reading] = {}
    for light in (*SLANTS, "below"):
        figures[f"sides, {light}"] = LayerSides(light)
        figures[f"floor, {light}"] = Share("floor", light)
        figures[f"back, {light}"] = Share(ESCAPED, light)
    return Case(
        name=f"a film under beams, {name}",
        chapter="leaves",
        shows="A film mirrors as Fresnel's equations say, the more the lower the light; the leaf "
        "below it scatters the rest so that the totals under even light are those stated.",
        source="Fresnel's sine and tangent laws; their mean by Lambert's law by midpoints.",
        fails_if="One polarisation were left out, the angle were taken to the leaf's plane, the "
        "mirrored share did not go off the rest, or the sides shared one film's share.",
        scene=bay_with_mesh(
            _film(upper, lower, "0 deg"), ["40 cm", "50 cm"],
            daylight=beams(**{n: (s, 35.0) for n, s in SLANTS.items()}),
            fixtures={"pencil": panel("10 cm", "4 cm", "parallel")},
            lights=[{"fixture": "pencil", "group": "below", "at": ["50 cm", "40 cm"],
                     "height": "35 cm", "pitch": "180 deg", "tilt": "60 deg"}],
        ),
        files={"leaves.obj": LEAF},
        figures=figures,
        exact=exact,
        exact_err=dict.fromkeys(figures, MEAN_OFF),
        packets=3 << 19,
        scale=1.0,
    )  # fmt: skip


def _even(spread: str, upper: Side) -> Case:
    """Put one level leaf under a sky."""
    rho, tau = upper
    return Case(
        name=f"a film under a sky, spread {spread}, {percent(rho)} and {percent(tau)}",
        chapter="leaves",
        shows="Whatever the film, the leaf's totals under even light are those stated.",
        source="By definition; the leaf stops short of the bay's sides by 2 mm.",
        fails_if="The split between film and leaf were wrong, light from inside were weighed by "
        "the film without its mean, or facets sent light through the leaf.",
        scene=bay_with_mesh(
            _film(upper, (0.5, 0.1), spread), ["40 cm", "50 cm"],
            daylight=[{"group": "sky", "ppfd": "100 umol/m2/s", "spectrum": ONE_BAND}],
        ),
        files={"leaves.obj": LEAF},
        figures={"sides": LayerSides(), "floor": Share("floor"), "back": Share(ESCAPED)},
        exact=lambda: {
            "sides": np.array([[COVER * (1 - rho - tau), 0.0]]),
            "floor": 1 - COVER + COVER * tau,
            "back": COVER * rho,
        },
        # Stepping through 2^18 facets and directions in the program, not all of them.
        exact_err=dict.fromkeys(("sides", "floor", "back"), 5e-5),
        packets=1 << 19,
        scale=1.0,
    )  # fmt: skip


def _furnace(spread: str) -> Case:
    """All faces emit as much from every spot; leaves lose nothing and have films."""
    size, exitance = (1.1, 0.7, 0.9), 100.0
    areas = face_areas(size)
    wanted: Exact = {name: area / sum(areas.values()) for name, area in areas.items()}
    figures: dict[str, Reading] = {name: Share(name) for name in areas}
    figures |= {"down": AtLevels("down"), "up": AtLevels("up")}
    figures |= {"low, down": PlaneMean("low"), "low, up": PlaneMean("low", "up")}
    levels = np.full(4, exitance)
    wanted = dict(wanted) | {"down": levels, "up": levels, "low, down": exitance,
                             "low, up": exitance}  # fmt: skip
    return Case(
        name=f"films in a furnace, spread {spread}",
        chapter="leaves",
        shows="Leaves that lose nothing, with films, do not disturb a room whose walls all shine "
        "alike: every plane and face gets what a spot sends out.",
        source="Light in equilibrium is the same in all directions (Kirchhoff); it asks of a leaf "
        "that it is reciprocal.",
        fails_if="Light left the leaf by Lambert's law alone, by the film's share of the way in, "
        "or facets were drawn that the light does not see.",
        scene=scene(
            "A furnace with films",
            enclosure=box(*(f"{extent} m" for extent in size)),
            leaves={"white": {"reflectance": "55 %", "transmittance": "45 %",
                              "cuticle": {"index": str(INDEX), "spread": spread}}},
            canopy={"layers": "3", "profile": "true", "volumes": [
                {"shape": "box", "leaf": "white", "bottom": "20 cm", "top": "80 cm",
                 "width": "70 cm", "depth": "60 cm", "positions": [["50 cm", "35 cm"]],
                 "angles": "planophile", "leaf_area_index": "1.1"}]},
            planes=[{"name": "low", "height": "9 cm", "cell": "1 m"}],
            **shining_walls(size, exitance),
        ),
        figures=figures,
        exact=lambda: wanted,
        packets=1 << 22,
        precision=1.3e-3,
        why_rough="Every packet crosses levels to and fro, and films weigh it anew each time.",
        scale=dict.fromkeys(figures, exitance) | dict.fromkeys(areas, 1.0),
        exact_err=dict.fromkeys(figures, IN_OFF * exitance) | dict.fromkeys(areas, IN_OFF),
    )  # fmt: skip


# Beams on one spot of a level leaf: slant, and where they go; each is mirrored to another wall.
ROOM, SPOT = (1.0, 0.9, 0.8), (0.45, 0.40, 0.30)
NEEDLES = {"right": (62.0, 12.0), "back": (70.0, 100.0), "left": (80.0, 190.0),
           "front": (75.0, -75.0), "ceiling": (15.0, 40.0)}  # fmt: skip
START_M = 0.15


def _mirrored_off() -> Case:
    """Five needles of light on a leaf with a flat film; where all of it goes."""
    rho, tau = 0.20, 0.15

    def exact() -> Exact:
        found: dict[str, float] = {}
        for name, (slant, azimuth) in NEEDLES.items():
            of = to_faces(slant, azimuth, rho, tau, INDEX, SPOT, ROOM)
            found |= {f"{name}: {face}": share for face, share in of.items()}
        return found

    figures: dict[str, Reading] = {}
    lights = []
    for name, (slant, azimuth) in NEEDLES.items():
        figures |= {f"{name}: {face}": Share(face, name) for face in FACES}
        figures[f"{name}: leaf"] = Share("leaves", name)
        s, a = np.radians([slant, azimuth])
        start = np.array(SPOT) + START_M * np.array(
            [-np.sin(s) * np.cos(a), -np.sin(s) * np.sin(a), np.cos(s)]
        )
        # Tilted from straight down towards its own +y, and that turned to the azimuth.
        lights.append({"fixture": "needle", "group": name, "tilt": f"{slant} deg",
                       "turn": f"{azimuth - 90:g} deg", "height": f"{start[2]:.9g} m",
                       "at": [f"{start[0]:.9g} m", f"{start[1]:.9g} m"]})  # fmt: skip
    leaf = level_leaf(SPOT[0] - 0.1, SPOT[0] + 0.1, SPOT[1] - 0.1, SPOT[1] + 0.1, SPOT[2])
    # Less of the leaf than light could meet again: it is level, and walls are black.
    return Case(
        name="where a film sends a beam",
        chapter="leaves",
        shows="Parallel light on a level leaf with a flat film: one wall gets what is mirrored, "
        "all get their shares of what the leaf scatters, less what the film keeps in.",
        source="Fresnel's laws; the rest by sums over directions from the spot.",
        fails_if="The film mirrored in another plane or to another side, or what comes from inside "
        "were not weighed by the film's share of its direction.",
        scene=scene(
            "A film and five beams",
            enclosure=box(*(f"{x} m" for x in ROOM)),
            leaves={"leaf": _film((rho, tau), (rho, tau), "0 deg")},
            canopy={"layers": ["25 cm", "35 cm"], "meshes": [
                {"file": "leaves.obj", "unit": "m", "parts": {"*": {"leaf": "leaf"}},
                 "positions": [["0 cm", "0 cm"]], "base": "0 cm"}]},
            fixtures={"needle": panel("0.1 mm", "0.1 mm", "parallel")},
            lights=lights,
        ),
        files={"leaves.obj": obj_of(leaf[None])},
        figures=figures,
        exact=exact,
        # The needles' width, the sums' steps and the program's own mean of Fresnel's law.
        exact_err=dict.fromkeys(figures, 2e-4),
        packets=1 << 21,
        scale=1.0,
    )  # fmt: skip


# Axes in turn: x to y, y to z, z to x; and the faces as they then are called.
IN_TURN = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
CALLED = {"left": "front", "right": "back", "front": "floor", "back": "ceiling",
          "floor": "left", "ceiling": "right"}  # fmt: skip


def _upright() -> Case:
    """Put a leaf and its beam into a cube in three ways that are alike but for the axes' names."""
    centre = np.full(3, 0.5)
    # About the middle: the leaf level, and a parallel panel above it that looks down at it askew.
    leaf = level_leaf(-0.2, 0.15, -0.12, 0.2, 0.0)
    panel_at = np.array([0.18, -0.26, 0.31])
    slant = np.degrees(np.arccos(panel_at[2] / np.linalg.norm(panel_at)))
    turn = np.degrees(np.arctan2(-panel_at[1], -panel_at[0])) - 90.0
    panel_axes = rotation(float(turn), 0.0, float(slant))

    def trial(n: int) -> tuple[Scene, dict[str, bytes]]:
        turns = np.linalg.matrix_power(IN_TURN, n)
        at = centre + turns @ panel_at
        turn, pitch, tilt = angles_of(turns @ panel_axes)
        data = scene(
            "A leaf in a cube",
            enclosure=box(),
            leaves={"leaf": _film((0.25, 0.10), (0.05, 0.30), "18 deg")},
            canopy={"layers": ["5 cm", "95 cm"], "meshes": [
                {"file": "leaves.obj", "unit": "m", "parts": {"*": {"leaf": "leaf"}},
                 "positions": [["0 cm", "0 cm"]], "base": "0 cm"}]},
            fixtures={"panel": panel("6 cm", "4 cm", "parallel")},
            lights=[{"fixture": "panel", "at": [f"{at[0]:.12g} m", f"{at[1]:.12g} m"],
                     "height": f"{at[2]:.12g} m", "turn": f"{turn:.12g} deg",
                     "pitch": f"{pitch:.12g} deg", "tilt": f"{tilt:.12g} deg"}],
        )  # fmt: skip
        return data, {"leaves.obj": obj_of((centre + leaf @ turns.T)[None])}

    def measure(bench: Bench, case: Case) -> list[Outcome]:
        traced = [bench.trace(data, case.packets // 3, files=files)
                  for data, files in (trial(n) for n in range(3))]  # fmt: skip
        assert float(Share("leaves").read(traced[0]).value) > 0.3
        outcomes = []
        called = {face: face for face in FACES}
        for n in (1, 2):
            called = {face: CALLED[name] for face, name in called.items()}
            for face in (*FACES, "leaves"):
                one = Share(face).read(traced[0])
                other = Share(called.get(face, face)).read(traced[n])
                error = float(np.hypot(one.std_err, other.std_err))
                outcomes.append(
                    Outcome(f"axes moved on by {n}: {face}", float(one.value), float(other.value),
                            error, one.n_row, scale=1.0)
                )  # fmt: skip
        return outcomes

    return Case(
        name="a rough film on a leaf that lies and that stands",
        chapter="leaves",
        shows="A beam on a leaf with a rough film in a black cube, all of it turned so that x is "
        "called y, y z and z x: every face gets what its like gets.",
        source="Space has no preferred axis.",
        fails_if="A facet's normal, what it mirrors or what it hides were reckoned in the frame of "
        "the room where it should be that of the leaf, or with another component.",
        packets=3 << 20,
        quick=1 / 16,
        measure=measure,
    )


# Spreads of rough films and mirrors, degrees. The program's lattice of 2^18 directions is that near
# to the integral: rough mirrors keep light between steep facets, which few directions meet.
SPREADS = (12.0, 25.0, 40.0)
EVEN_OFF = {"film": 5e-5, "mirror": 5e-4}


def _of_even_light(bench: Bench, case: Case) -> list[Outcome]:
    """Compare what films and rough mirrors return of even light."""
    from canopysim.matter.cuticle import mean_reflectance
    from canopysim.matter.rough import returned_share

    found = []
    for spread in (0.0, *SPREADS):
        told = {"film": mean_reflectance(INDEX, np.radians(spread)),
                "mirror": returned_share(np.radians(spread))}  # fmt: skip
        if spread:
            a = roughness(spread)
            exact = {
                "film": returned_even(a, 32, 160, lambda t: fresnel(np.maximum(t, 1e-7), INDEX)),
                "mirror": returned_even(a, 32, 160),
            }
        else:
            exact = {"film": even_share(INDEX), "mirror": 1.0}
        found += [
            Outcome(f"{what}, spread {spread:g} deg", exact[what], told[what], 0.0,
                    exact_err=EVEN_OFF[what], scale=1.0)
            for what in told
        ]  # fmt: skip
    return found


CASES = (
    Case(
        name="what films and rough mirrors return of even light",
        chapter="leaves",
        shows="The mean over all directions of what facets mirror, from which a leaf's share below "
        "its film is reckoned.",
        source="Quadrature of the law of Trowbridge and Reitz with Smith's masking and Fresnel's "
        "laws, direction by direction.",
        fails_if="Facets were weighed by another area than is seen, hid each other more or less, "
        "or were met at another angle.",
        packets=1,
        measure=_of_even_light,
    ),
    _mirrored_off(),
    _upright(),
    _beams((0.30, 0.20), (0.12, 0.35), "strong leaf"),
    _beams((0.03, 0.10), (0.60, 0.05), "a leaf that reflects less than its film"),
    _even("0 deg", (0.30, 0.40)),
    _even("20 deg", (0.12, 0.25)),
    _furnace("0 deg"),
    _furnace("20 deg"),
)
