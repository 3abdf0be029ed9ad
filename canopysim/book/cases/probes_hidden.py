"""Meters: balls that something hides in part, or does not although it stands in the way."""

from __future__ import annotations

import numpy as np
from scipy.stats import qmc

from canopysim.book.case import Case, Exact
from canopysim.book.cases.probes import ALL, probe
from canopysim.book.dark_rooms import FLUX, SIZE, hung, metres, room
from canopysim.book.exact.frames import Triple, ball
from canopysim.book.exact.goniometer import bilinear, lopsided
from canopysim.book.exact.shadows import hidden
from canopysim.book.exact.strips import Strip
from canopysim.book.photometric_text import lm63
from canopysim.book.readings import AtProbe, Reading
from canopysim.book.scenes import ONE_BAND, Data, panel, percent, scene

# A fixture with a body, whose table shines upwards too, over a bar that hides part of it.
FIXTURE_AT, BAR_AT = (0.5, 0.36, 0.62), (0.36, 0.40, 0.42)
FIXTURE_M, BAR_M, STANDOFF_M, HEIGHT_M = (0.30, 0.06), (0.26, 0.30), 0.02, 0.04
PAST = {"over": (0.55, 0.30, 0.80), "half-shade": (0.47, 0.34, 0.15), "shade": (0.36, 0.41, 0.33),
        "clear": (0.85, 0.30, 0.20)}  # fmt: skip

C, GAMMA = np.arange(0.0, 361.0, 15.0), np.arange(0.0, 181.0, 10.0)
TABLE = lopsided(C, GAMMA)
FILES = {"bench.ies": lm63(C, GAMMA, TABLE, *FIXTURE_M).encode()}
LAMP: Data = {
    "body": {"length": "40 cm", "width": "20 cm", "height": metres(HEIGHT_M), "surface": "black"},
    "photometry": {"file": "bench.ies", "intensity": "photons"},
    "photon_flux": f"{FLUX:g} umol/s", "spectrum": ONE_BAND,
}  # fmt: skip


def lamp(place: Triple) -> Strip:
    """Give the fixture's light where it hangs."""
    return Strip(place, (0.0, 0.0, 0.0), *FIXTURE_M, bilinear(C, GAMMA, TABLE))


def _bar(extent: tuple[float, float], surface: str = "black") -> Data:
    """Give a black bar whose own light is next to none."""
    return {
        "body": {"length": metres(extent[0]), "width": metres(extent[1]),
                 "height": metres(HEIGHT_M), "standoff": metres(STANDOFF_M), "surface": surface},
        "photon_flux": "0.1 umol/s", "spectrum": ONE_BAND,
        "strips": [{"length": "1 cm", "width": "1 cm", "lens": "lambertian"}],
    }  # fmt: skip


def _past_bodies_case() -> Case:
    radius = 0.01
    low = (BAR_AT[0] - BAR_M[0] / 2, BAR_AT[1] - BAR_M[1] / 2, BAR_AT[2] + STANDOFF_M)
    high = (low[0] + BAR_M[0], low[1] + BAR_M[1], low[2] + HEIGHT_M)

    def exact() -> Exact:
        strip = lamp(FIXTURE_AT)
        found: dict[str, float] = {}
        for name, place in PAST.items():
            points, weights = ball(place, radius)
            around = up = 0.0
            # Fine steps only where the edge of a shadow is.
            steps = (160, 24) if "shade" in name else (40, 8)
            for start, weight in zip(*strip.starts(steps), strict=True):
                seen = ~hidden(points, start, low, high)
                ray = points - start
                square = (ray**2).sum(-1)
                ray = ray / np.sqrt(square)[:, None]
                got = weight * seen * strip.intensity(ray) / square
                around += float(got @ weights)
                up += float((got * np.maximum(-ray[:, 2], 0.0)) @ weights)
            found |= {f"{name}, {ALL}": FLUX * around, f"{name}, up": FLUX * up}
        return found

    figures: dict[str, Reading] = {}
    for name in PAST:
        figures |= {f"{name}, {facing}": AtProbe(name, facing, "lamp") for facing in (ALL, "up")}
    level = FLUX / (SIZE[0] * SIZE[1])
    return Case(
        name="probes past the bodies of fixtures",
        chapter="meters",
        shows="Small balls over a fixture whose measured light holds its own body's shade already, "
        "below it, and in the shade and half-shade of a bar.",
        source="Quadrature of the table over strip and ball, less what the bar hides.",
        fails_if="A look went through a bar, was stopped by the body of its own light, or began "
        "elsewhere than its flight.",
        scene=scene(
            "Probes past bodies", enclosure=room(),
            fixtures={"lamp": LAMP, "bar": _bar(BAR_M)},
            lights=[hung("lamp", FIXTURE_AT, group="lamp"), hung("bar", BAR_AT, group="bar")],
            probes=[probe(name, place, radius) for name, place in PAST.items()],
        ),
        files=FILES,
        figures=figures,
        exact=exact,
        # The table's bends, and steps of two millimetres along the lamp at the shadow's edge.
        exact_err={f: (2e-3 if f.startswith("half") else 2e-4) * level for f in figures},
        packets=1 << 21,
        quick=1 / 8,
        precision=4e-3,
        scale=level,
        why_rough="One ball of four is looked for at each launch.",
    )  # fmt: skip


# A fixture near the back wall, and balls at the ceiling and the wall that it shines at through its
# own body: what is left of the flight beyond the body decides whether they are reached.
BY_WALLS_AT = (0.45, 0.57, 0.66)
BY_WALLS = {"ceiling": (0.50, 0.50, 0.885), "wall": (0.45, 0.688, 0.86)}


def _by_walls_case() -> Case:
    radius = 0.01

    def exact() -> Exact:
        strip = lamp(BY_WALLS_AT)
        found: dict[str, float] = {}
        for name, place in BY_WALLS.items():
            points, weights = ball(place, radius)
            around = strip.seen(points, lambda ray: 1.0 + 0 * ray[..., 0], (48, 10))
            found |= {f"{name}, {ALL}": FLUX * float(around @ weights),
                      f"{name}, down": FLUX * float(strip.arriving(points, (48, 10))[:, 2]
                                                    @ weights)}  # fmt: skip
        return found

    figures: dict[str, Reading] = {}
    for name in BY_WALLS:
        figures |= {f"{name}, {facing}": AtProbe(name, facing) for facing in (ALL, "down")}
    level = FLUX / (SIZE[0] * SIZE[1])
    return Case(
        name="probes at walls, past the own body",
        chapter="meters",
        shows="Small balls at the ceiling and at a wall above a fixture whose measured light holds "
        "its own body's shade already.",
        source="Quadrature of the table over strip and ball.",
        fails_if="A look that comes out of the body of its own light went on from elsewhere, or "
        "ended before or behind its ball.",
        scene=scene(
            "Probes at walls", enclosure=room(),
            fixtures={"lamp": LAMP},
            lights=[hung("lamp", BY_WALLS_AT)],
            probes=[probe(name, place, radius) for name, place in BY_WALLS.items()],
        ),
        files=FILES,
        figures=figures,
        exact=exact,
        # The table's bends.
        exact_err=dict.fromkeys(figures, 5e-6 * level),
        packets=1 << 20,
        quick=1 / 4,
        precision=4e-3,
        scale=level,
        why_rough="One ball of two is looked for at each launch.",
    )  # fmt: skip


# Light from a spot of the floor to balls above three bars: where each hangs (its lower side), its
# extent, and a ball that it hides in part.
BARS = {
    "first": ((0.30, 0.22, 0.40), (0.16, 0.20), (0.32, 0.20, 0.70)),
    "second": ((0.66, 0.22, 0.36), (0.18, 0.16), (0.62, 0.22, 0.62)),
    "third": ((0.42, 0.55, 0.42), (0.24, 0.12), (0.40, 0.575, 0.72)),
}
OPEN_TO_IT = (0.95, 0.55, 0.50)
SPOT_AT, SPOT_M, SPOT_RHO = (0.48, 0.33, 0.25), (0.10, 0.08), 0.7


def _behind_bars_case() -> Case:
    radius = 0.03

    def exact() -> Exact:
        # Even points of the spot and of a unit ball: edges cut both, which no rule of few likes.
        u = qmc.Sobol(5, scramble=False).random_base2(18)
        u = np.minimum(u + 0.5 / len(u), 1 - 1e-9)
        starts = np.zeros((len(u), 3))
        starts[:, :2] = np.array(SPOT_AT[:2]) + np.array(SPOT_M) * (u[:, :2] - 0.5)
        c, phi = 2 * u[:, 2] - 1, 2 * np.pi * u[:, 3]
        s = np.sqrt(1 - c**2)
        unit = np.cbrt(u[:, 4:]) * np.stack([s * np.cos(phi), s * np.sin(phi), c], -1)
        found: dict[str, float] = {}
        for name, place in {**{k: b[2] for k, b in BARS.items()}, "open": OPEN_TO_IT}.items():
            points = np.asarray(place) + radius * unit
            free = np.ones(len(points), bool)
            for (x, y, z), (length, width), _ in BARS.values():
                low = (x - length / 2, y - width / 2, z + STANDOFF_M)
                high = (x + length / 2, y + width / 2, z + STANDOFF_M + HEIGHT_M)
                free &= ~hidden(points, starts, low, high)
            ray = points - starts
            square = (ray**2).sum(-1)
            cosine = ray[:, 2] / np.sqrt(square)
            got = FLUX * SPOT_RHO * free * cosine / (np.pi * square)
            # What looks down receives what comes from below.
            found |= {f"{name}, {ALL}": float(got.mean()),
                      f"{name}, down": float((got * cosine).mean())}  # fmt: skip
        return found

    figures: dict[str, Reading] = {}
    for name in (*BARS, "open"):
        figures |= {f"{name}, {facing}": AtProbe(name, facing, "panel") for facing in (ALL, "down")}

    level = FLUX * SPOT_RHO / (np.pi * 0.6**2)
    return Case(
        name="probes behind bars",
        chapter="meters",
        shows="Balls above three bars, each in the half-shade of one, in the light of a spot of "
        "the floor.",
        source="Lambert's law over spot and ball, less what the bars hide.",
        fails_if="A look from a surface went through a body, as those of a measured light go "
        "through their own.",
        scene=scene(
            "Probes behind bars", enclosure=room(floor="matt"),
            # As black as each other, and each a place of its own.
            surfaces={"matt": {"diffuse": percent(SPOT_RHO)}}
            | {name: {"diffuse": "0 %"} for name in BARS},
            fixtures={"panel": panel(metres(SPOT_M[0]), metres(SPOT_M[1]), "parallel")}
            | {name: _bar(extent, name) for name, (_, extent, _) in BARS.items()},
            lights=[hung("panel", SPOT_AT, group="panel")]
            + [hung(name, place, group="bars") for name, (place, _, _) in BARS.items()],
            probes=[probe(name, place, radius)
                    for name, (_, _, place) in BARS.items()]
            + [probe("open", OPEN_TO_IT, radius)],
        ),
        figures=figures,
        exact=exact,
        # So far as twice and half the points are from each other.
        exact_err={f: (1e-5 if f.startswith("open") else 4e-4) * level for f in figures},
        packets=1 << 21,
        quick=1 / 4,
        precision=4e-3,
        scale=level,
        why_rough="One ball of four is looked for at each meeting, and edges of shadows cut balls.",
    )  # fmt: skip


CASES = (_past_bodies_case(), _by_walls_case(), _behind_bars_case())
