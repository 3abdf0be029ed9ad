"""Light: what photometric files say, without a photon: directions, planes, factors, openings."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from canopysim.book.case import Case
from canopysim.book.exact.goniometer import lopsided, table_flux
from canopysim.book.outcome import Outcome
from canopysim.book.photometric_text import eulumdat_stored, lm63

if TYPE_CHECKING:
    from canopysim.light.photometry import Distribution

Array = NDArray[np.float64]
GAMMA = np.array([0.0, 12.0, 30.0, 47.0, 75.0, 90.0, 118.0, 140.0, 180.0])
# Light that does not fade out falls to nothing within a millionth of a radian; so much it may hold.
JUST, FALL_DEG, FALL = np.degrees(1.01e-6), np.degrees(1e-6), 2e-6
# In each quarter, at nodes and poles and beside edges; also as angles of another turn.
C, G = (each.ravel() for each in np.meshgrid(
    [-20, 0, 7, 33, 61, 97, 123, 144, 185, 213, 251, 277, 303, 333, 360, 400],
    [0, 5, 21, 30, 38, 61, 75, 75 + JUST, 83, 90 - JUST, 90, 90 + JUST, 104, 131, 163, 180.0],
))  # fmt: skip
WHOLE = np.round(G) == G
TURN = (0, 20, 80, 150, 200, 250, 305, 360)
QUARTERS = ("+x +y", "-x +y", "-x -y", "+x -y")


def _rays(c_deg: Array, gamma_deg: Array) -> Array:
    """Give unit vectors (..., 3): C counts from +x towards +y, gamma from -z."""
    c, g = np.radians(c_deg), np.radians(gamma_deg)
    return np.stack([np.sin(g) * np.cos(c), np.sin(g) * np.sin(c), -np.cos(g) + 0 * c], -1)


@dataclass(frozen=True)
class Planes:
    """Planes over a turn, or over a half or a quarter of which mirrors make a turn."""

    c_deg: Array
    gamma_deg: Array
    table: Array

    def seen(self, c_deg: Array, gamma_deg: Array) -> Array:
        """Intensity in some directions: those beyond the planes are folded back onto them."""
        nodes = self.c_deg - self.c_deg[0]
        beyond = np.mod(np.mod(c_deg - self.c_deg[0], 360.0), 2 * nodes[-1])
        folded = nodes[-1] - np.abs(nodes[-1] - beyond)
        # Straight between nodes both ways, dark beyond the last angle.
        along = np.stack([np.interp(folded, nodes, values) for values in self.table.T], -1)
        return np.array([np.interp(g, self.gamma_deg, values, left=0.0, right=0.0)
                         for g, values in zip(gamma_deg, along, strict=True)])  # fmt: skip

    def flux(self) -> float:
        """Its integral over the sphere."""
        span = float(self.c_deg[-1] - self.c_deg[0])
        return 360 / span * table_flux(self.c_deg, self.gamma_deg, self.table)

    def lm63(self, n: int | None = None, **head: Any) -> Distribution:
        """Have the first n of them read as type C."""
        head = {"length": 3, "width": 2} | head
        return _read(lm63(self.c_deg[:n], self.gamma_deg, self.table[:n], **head))


def _planes(c_deg: Any, gamma_deg: Any = GAMMA, factor: float = 1.0) -> Planes:
    """Make planes in which no direction is dark."""
    c, gamma = np.asarray(c_deg, np.float64), np.asarray(gamma_deg, np.float64)
    return Planes(c, gamma, factor * np.round(lopsided(c, gamma) + gamma / 3 + 5, 3))


def _read(text: str) -> Distribution:
    from canopysim.light.photometry import parse_photometric

    return parse_photometric(text.encode("utf-8"), "bench")


def _told(figure: str, exact: float, value: float, err: float = 1e-12) -> Outcome:
    return Outcome(figure, exact, float(value), 0.0, exact_err=err)


def _same(figure: str, exact: object, value: object) -> Outcome:
    return Outcome(f"{figure}: {exact}", 1.0, float(exact == value), 0.0, identity=True)


def _worst(figure: str, exact: Array, value: Array) -> Outcome:
    """Hold the number that is furthest from its exact value beside that."""
    k = int(np.argmax(np.abs(value - exact)))
    return _told(figure, float(exact.flat[k]), value.flat[k], 1e-12 * float(np.abs(exact).max()))


def _held(what: str, light: Distribution, planes: Planes, *, axes: Array | None = None,
          scale: float | None = None, err: float = 1e-12) -> list[Outcome]:  # fmt: skip
    """Hold flux, and the intensity furthest off in each quarter, beside planes about some axes."""
    from canopysim.light.photometry import flux, intensity_at

    # Whole degrees are nodes of what is resampled, which is scaled to the flux of the file.
    c, g = (C, G) if scale is None else (C[WHOLE], G[WHOLE])
    own_c, own_g, quarter = c, g, np.mod(c, 360.0) // 90
    if axes is not None:
        x, y, z = np.moveaxis(_rays(c, g) @ axes, -1, 0)
        own_c, own_g = np.degrees(np.arctan2(y, x)), np.degrees(np.arctan2(np.hypot(x, y), -z))
    exact = planes.seen(own_c, own_g)
    value = (scale or 1.0) * intensity_at(light, np.radians(c), np.radians(g))
    found = [_worst(f"{what}: towards {QUARTERS[k]}", exact[quarter == k], value[quarter == k])
             for k in range(4)]  # fmt: skip
    return [*found, _told(f"{what}: flux", planes.flux(), flux(light), err * planes.flux())]


def _table_read(*_: object) -> list[Outcome]:
    from canopysim.light.photometry import cone_share, direction

    planes = _planes(TURN)
    found = _held("table", light := planes.lm63(), planes)
    found.append(_worst("directions", _rays(C, G), direction(np.radians(C), np.radians(G))))
    for half in (0.0, 12.0, 33.3, 90.0, 131.0, 180.0):
        inside = np.append(GAMMA[half > GAMMA], half)
        cut = np.stack([np.interp(inside, GAMMA, row) for row in planes.table])
        share = Planes(planes.c_deg, inside, cut).flux() / planes.flux()
        found.append(_told(f"within {half:g} deg", share, cone_share(light, np.radians(half))))
    return found


AROUND: Any = (
    (0, 10, 25, 50, 90), (0, 15, 50, 90, 130, 180), (90, 105, 150, 220, 270), (180, 200, 230, 270),
    (-90, -20, 15, 50, 90), TURN, (-150, -100, -35, 20, 75, 130, 210), (-1e-12, 35, 180, 260, 360),
)  # fmt: skip
DOWN = (GAMMA[:6], GAMMA[5:], GAMMA[:5], GAMMA[:7], np.array([0.0, 60.0, 120.0, 179.9996]))


def _planes_read(*_: object) -> list[Outcome]:
    found = []
    for c, planes in zip(AROUND, map(_planes, AROUND), strict=True):
        found += _held(f"{c[0]:g} to {c[-1]}", planes.lm63(), planes)
    one, turn, unlike = _planes((0, 360)), _planes(TURN), _planes(TURN)
    found += _held("a single plane", one.lm63(1), one) + _held("0 to 305", turn.lm63(-1), turn)
    unlike.table[-1] *= 1.01
    turn.table[[0, -1]] *= 1.005
    found += _held("360 unlike 0", unlike.lm63(), turn)
    for gamma in DOWN:
        planes = _planes(AROUND[1], gamma)
        # Lit at its edge but not beside it, or fading out.
        planes.table[:, -1 if gamma[-1] == 118 else 1] = 0.0
        light, name = planes.lm63(), f"angles {gamma[0]:g} to {gamma[-1]:g}"
        # What is a hair from straight up is straight up.
        planes = Planes(planes.c_deg, np.where(gamma > 179, 180.0, gamma), planes.table)
        found += _held(name, light, planes, err=FALL)
    return found


# Year, first line, lamps, lumens of each, what follows the ballast factor and whether that counts;
# unit; width, length and height as written; shape, and metres along x, y and z.
EDITIONS: Any = (
    (1986, "", 3, 850.5, 1.2, True, 1, (2, 3, 1), "box", 0.9144, 0.6096, 0.3048),
    (1991, "IESNA91", 1, 1200.0, 0.8, True, 2, (-2, 0, 0), "circle", 2, 2, 0),
    (1995, "IESNA:LM-63-1995", 2, -1.0, 1.15, True, 1, (-2, 3, 0), "ellipse", 0.9144, 0.6096, 0),
    (2002, "IESNA:LM-63-2002", 4, 1.0, 1.3, False, 2, (2, 3, 0), "rectangle", 3, 2, 0),
    (2019, "IES:LM-63-2019", 1, -1.0, 1.1, False, 2, (-2, -2, 1), "vertical cylinder", 2, 2, 1),
)
# Luminous shapes of LM-63-2002, by the signs of width, length and height, m; length lies along x.
SHAPES: Any = (
    ((0, 0, 0), "point", 0, 0, 0), ((-0.4, 0, 0), "circle", 0.4, 0.4, 0),
    ((-0.4, 0.6, 0), "ellipse", 0.6, 0.4, 0), ((-0.4, -0.6, 0), "ellipse", 0.6, 0.4, 0),
    ((-0.4, 0, 0.2), "vertical cylinder", 0.4, 0.4, 0.2),
    ((-0.4, 0.6, 0.2), "vertical cylinder", 0.6, 0.4, 0.2),
    ((-0.4, 0, -0.4), "sphere", 0.4, 0.4, 0.4), ((-0.4, -0.4, -0.4), "sphere", 0.4, 0.4, 0.4),
    ((-0.3, 0.7, -0.2), "horizontal cylinder along x", 0.7, 0.3, 0.2),
    ((0, 0.7, -0.2), "horizontal cylinder along x", 0.7, 0.2, 0.2),
    ((0.7, -0.3, -0.2), "horizontal cylinder along y", 0.3, 0.7, 0.2),
    ((0.7, 0, -0.2), "horizontal cylinder along y", 0.2, 0.7, 0.2),
)  # fmt: skip


def _opening(what: str, light: Distribution, *says: object) -> list[Outcome]:
    """Hold the opening, in m along x, y and z, beside what a head says."""
    at = light.opening
    sizes = (round(size, 9) for size in (at.length_m, at.width_m, at.height_m))
    names = ("opening", "along x", "along y", "along z")
    return [
        _same(f"{what}: {n}", a, b) for n, a, b in zip(names, says, (at.shape, *sizes), strict=True)
    ]


def _head(what: str, light: Distribution, *says: object) -> list[Outcome]:
    """Hold lumens, watts, lamps, and the opening beside what a head says."""
    found = (light.stated_flux, light.watts, light.n_lamp)
    names = ("lumens", "watts", "lamps")
    told = [_same(f"{what}: {n}", a, b) for n, a, b in zip(names, says, found, strict=False)]
    return told + _opening(what, light, *says[3:])


def _heads_read(*_: object) -> list[Outcome]:
    found = []
    for year, edition, lamps, lumens, second, counts, unit, sizes, *opening in EDITIONS:
        light = _planes(AROUND[1]).lm63(
            edition=edition, lamps=f"{lamps} {lumens:g}", multiplier=1.7, unit=unit,
            **dict(zip(("width", "length", "height"), sizes, strict=True)),
            tilt="INCLUDE\n1\n2\n0 90\n0.9 0.7" if year == 1991 else "NONE",
            three=f"0.85 {second:g} {year / 100:g}",
        )  # fmt: skip
        stated = None if lumens < 0 else lamps * lumens
        factor = 1.7 * 0.85 * (second if counts else 1.0)
        found += _held(f"{year}", light, _planes(AROUND[1], factor=factor))
        found += _head(f"{year}", light, stated, year / 100, lamps, *opening)
    for sizes, *says in SHAPES:
        light = _planes(AROUND[1]).lm63(
            unit=2, **dict(zip(("width", "length", "height"), sizes, strict=True))
        )  # fmt: skip
        found += _opening(f"sizes {sizes}", light, *says)
    return found


# Where their planes begin, turn to, and what their angles rise to, as columns: type A has H from
# ahead, -z, to the right, -y, and V up to +x; type B has V from ahead up, H to the right.
AXES = {"A": np.array([[0, 0, 1], [0, -1, 0], [-1, 0, 0]], np.float64),
        "B": np.array([[0, 1, 0], [0, 0, -1], [-1, 0, 0]], np.float64)}  # fmt: skip
# In turn, and from level to the pole: everywhere, or one side of two; or to an edge.
TURNS = ((-180, -100, -35, 0, 40, 110, 180), (0, 35, 70, 130, 180))
RISES: Any = ((-90, -50, -15, 0, 30, 65, 90), (0, 30, 65, 90), (-50.5, -15, 0, 20, 65.5))
ONE_V = np.array([-80.0, -50.0, -20.0, 0.0, 10.0, 35.0, 60.0])
ONE_H = np.array([[0.0, 150.0, 280.0, 300.0, 260.0, 120.0, 90.0]])


def _types_read(*_: object) -> list[Outcome]:
    found = []
    # One plane of either type is a round beam: the mean of its two sides, of which one ends lit.
    gamma = np.unique(np.append(np.abs(ONE_V), ONE_V[-1] + FALL_DEG))
    up, down = (np.interp(s * gamma, ONE_V, ONE_H[0], left=0.0, right=0.0) for s in (1, -1))
    one = Planes(np.array([0.0, 360.0]), gamma, np.array([(up + down) / 2] * 2))
    for kind, code in (("A", 3), ("B", 2)):
        for turn, rise in product(TURNS, RISES):
            planes = _planes(turn, np.add(rise, 90.0))
            # A row for each H.
            h, v = (turn, rise) if kind == "A" else (rise, turn)
            table = planes.table if kind == "A" else planes.table.T
            light = _read(lm63(np.array(h), np.array(v), table, 0.3, 0.06, kind=code))
            if rise[0] == 0:
                both = np.append(180 - planes.gamma_deg[:0:-1], planes.gamma_deg)
                sides = np.hstack([planes.table[:, :0:-1], planes.table])
                planes = Planes(planes.c_deg, both, sides)
            name = f"type {kind}, H {h[0]} to {h[-1]}, V {v[0]} to {v[-1]}"
            found += _held(name, light, planes, axes=AXES[kind], scale=1 + light.resampling_error)
            # Half a degree or less where an edge wants it.
            found.append(_told(f"{name}: lost before it is made up for", 0.0,
                               light.resampling_error, 1e-4))  # fmt: skip
        for which, v, h in (("", ONE_V, ONE_H), (", upside down", -ONE_V[::-1], ONE_H[:, ::-1])):
            light = _read(lm63(np.zeros(1), v, h, 0.3, 0.06, kind=code))
            found += _held(f"type {kind}, one H{which}", light, one, err=FALL)
    return found


# Symmetry; planes that the file lists; the first and the last that it stores.
STORED = (
    (0, (30, 80, 150, 200, 250, 340), 30, 340), (0, (*TURN[:5], 270, 305, 360), 0, 360),
    (1, (0, 90, 180, 270), 0, 0), (2, (0, 15, 90, 130, 180, 230, 270, 345), 0, 180),
    (3, (0, 20, 90, 160, 180, 200, 270, 340, 360), 270, 450),
    (4, (0, 35, 60, 90, 120, 145, 180, 215, 240, 270, 300, 325), 0, 90),
)  # fmt: skip
# What the head holds; factor on the table; lumens, watts, lamps; shape, and metres along x, y, z.
LAMPS: Any = (
    ({"sizes_mm": (500, 200)}, 1.0, 1000.0, 40.0, 1, "rectangle", 0.5, 0.2, 0.0),
    ({"sets": ((2, 800, 30), (3, 450.5, 12.5)), "ratio": 85, "sizes_mm": (500, 200),
      "heights_mm": (10, 30, 20, 15)}, 1.2505, 0.85 * 1250.5, 42.5, 5, "box", 0.5, 0.2, 0.03),
    ({"sets": ((1, 900, 0),), "ratio": 0, "conversion": 1.25, "sizes_mm": (200, 0)},
     1.125, 900.0, None, 1, "circle", 0.2, 0.2, 0.0),
    ({"sets": ((-1, 640, 12),), "ratio": 0, "sizes_mm": (200, 0), "heights_mm": (0, 0, 0, 45)},
     0.64, 640.0, 12.0, 1, "vertical cylinder", 0.2, 0.2, 0.045),
    ({"sets": ((-2, 640, 12),), "ratio": 80}, 0.64, 512.0, 12.0, 2, "point", 0.0, 0.0, 0.0),
)  # fmt: skip
# C0 of that format lies along +y, C90 along -x.
ACROSS = np.array([[0, -1, 0], [1, 0, 0], [0, 0, 1]], np.float64)


def _eulumdat_read(*_: object) -> list[Outcome]:
    found = []
    for symmetry, listed, first, last in STORED:
        c = np.array(listed, np.float64)
        turns = np.append(c, c + 360.0)
        stored = np.unique(turns[(turns >= first) & (turns <= last)])
        # Without a mirror it ends where it began.
        ends = [first + 360.0] if symmetry < 2 and last < 360 else []
        planes = _planes([*stored, *ends])
        text = eulumdat_stored(symmetry, c, GAMMA, planes.table[: len(stored)])
        found += _held(f"symmetry {symmetry}, C to {listed[-1]}", _read(text), planes, axes=ACROSS)
    for k, (head, factor, *says) in enumerate(LAMPS):
        planes, c = _planes(AROUND[0]), np.array([*AROUND[0], 180, 270])
        text = eulumdat_stored(4, c, GAMMA, planes.table, **head)
        # Commas are decimal there.
        light = _read(text.replace(".", ",") if k else text)
        found += _held(f"lamps {k + 1}", light, _planes(AROUND[0], factor=factor), axes=ACROSS)
        found += _head(f"lamps {k + 1}", light, *says)
    down = Planes(planes.c_deg, GAMMA[:6], planes.table[:, :6]).flux() / planes.flux()
    for off, doubted in ((-4, 1), (-2, 0), (2, 0), (4, 1)):
        text = eulumdat_stored(4, c, GAMMA, planes.table, down=100 * down + off)
        n = sum(text.startswith("bench:22:") for text in _read(text).warnings)
        found.append(_same(f"doubts of {off:+} % of the light going down", doubted, n))
    return found


STRAIGHT = "The table, straight between nodes in both angles, and its integral by parts"
CASES = tuple(
    Case(name=name, chapter="light", shows=shows, source=f"{STRAIGHT}{source}.", packets=1,
         fails_if=f"{fails_if}.", measure=measure)
    for measure, name, shows, source, fails_if in (
        (_table_read, "directions and cones of a table",
         "Intensities in odd directions of every quarter, flux, and shares within cones.",
         ", cut at the cone", "A direction had another sign or axis, a node's neighbour or weight "
         "were another's, or the sine of gamma were left out"),
        (_planes_read, "planes of LM-63 files",
         "One plane, quarters, halves and turns from any angle, and angles that leave a part out.",
         "; directions beyond the planes folded back onto them", "A mirror were in another plane, "
         "the turn not closed or begun elsewhere, or what a file leaves out were lit"),
        (_heads_read, "heads of LM-63 files",
         "Factors, lamps, power and opening in five editions.",
         ", times multiplier, ballast factor and, up to 1995, ballast-lamp factor", "A factor were "
         "left out or counted where it does not, feet were metres, or sides were exchanged"),
        (_types_read, "LM-63 files of types A and B",
         "Whole spheres, one side of two, edges, and a single horizontal angle.",
         " in its own angles", "V or H turned the other way or about another axis, a side were not "
         "mirrored, or resampling lost light"),
        (_eulumdat_read, "EULUMDAT files",
         "Every symmetry, sets of lamps, absolute tables, decimal commas, the opening.",
         ", folded back by the symmetry; times lumens / 1000 and conversion factor", "C0 were not "
         "across, a symmetry were another's, or lumens or power were of one set only"),
    )
)  # fmt: skip
