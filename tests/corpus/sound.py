"""Sound LM-63 files: every edition, type, symmetry, hemisphere, unit, opening, TILT block."""

import numpy as np
from photometric_files import lm63

from corpus import RESAMPLED, Case, sphere_flux
from corpus.laws import (
    above,
    below,
    beside_0_180,
    beside_90_270,
    front_lopsided,
    lantern,
    long_bar,
    lopsided,
    one_sided_flood,
    rounded,
    spot,
)

V = np.arange(0, 181, 5)
FRONT = np.arange(-90, 91, 5)


def sound(name, shine, *, edition=2002, kind="C", factor=1.0, **options):
    """A file made from a law, whose flux is the law's integral times `factor`."""
    options = {"v": V} | options
    decimals = options.pop("decimals", 2)
    opening = options.pop("opening", ())
    doubts = options.pop("doubts", ())
    text = lm63(rounded(shine, decimals), edition=edition, kind=kind, width=19, **options)
    return Case(
        f"{name}.ies",
        text.encode(),
        sphere_flux(shine) * factor,
        DIRECT_OR[kind],
        f"LM-63-{edition}, type {kind}",
        opening,
        doubts,
        shine=(lambda d: factor * shine(d)),
    )


DIRECT_OR = {"C": 0.003, "A": RESAMPLED, "B": RESAMPLED}


def turn(step=15, last=360, first=0):
    return np.arange(first, last + 1, step)


def of_table(name, shine, *, edition, multiplier=1.0, ballast=1.0, second=1.0, factor):
    """Factors that are not taken out of the table, so that they show in the flux."""
    table = rounded(shine)
    grid = {"h": turn(30), "v": V, "width": 19, "watts": 100}
    text = lm63(
        edition=edition,
        multiplier=multiplier,
        ballast=ballast,
        second=second,
        table=table(vectors(grid["h"], grid["v"])),
        **grid,
    )
    return Case(
        f"{name}.ies",
        text.encode(),
        sphere_flux(shine) * factor,
        source=f"LM-63-{edition}, type C",
        shine=lambda d: factor * shine(d),
    )


def vectors(c_deg, gamma_deg):
    """Unit vectors of type C angles: counter-clockwise from +x seen from above, from -z up."""
    c, g = np.meshgrid(np.radians(c_deg), np.radians(gamma_deg), indexing="ij")
    return np.stack([np.sin(g) * np.cos(c), np.sin(g) * np.sin(c), -np.cos(g)], -1)


EDITIONS = [
    sound(f"edition-{year}", lopsided, edition=year, h=turn(30), labels=labels)
    for year, labels in (
        (1986, ("seed bank, pepper bench", "measured at 25 degrees")),
        (1991, ("[TEST] 7", "[MANUFAC] nobody", "[MORE] at all")),
        (1995, ("[TEST] 7", "[DATE] 1 March")),
        (2002, ("[TEST] 7", "[TESTLAB] shed", "[ISSUEDATE] 1 March", "[MANUFAC] nobody")),
    )
]
EDITIONS += [
    sound(
        "edition-2019",
        lopsided,
        edition=2019,
        h=turn(30),
        second="1.10000",
        labels=("[TEST] 7", "[FILEGENINFO] accredited", "[_BENCH] peppers"),
    ),
]
FACTORS = [
    of_table(
        "factors-1986",
        lopsided,
        edition=1986,
        multiplier=2,
        ballast=0.9,
        second=1.05,
        factor=2 * 0.9 * 1.05,
    ),
    of_table("factors-1991", lopsided, edition=1991, ballast=0.9, second=0.95, factor=0.9 * 0.95),
    of_table("factors-1995", lopsided, edition=1995, multiplier=0.5, second=1.2, factor=0.6),
    of_table("factors-2002", lopsided, edition=2002, multiplier=3.5, ballast=0.8, factor=2.8),
    # A code of how the file came about, close to 1.1, is no factor.
    of_table("factors-2019", lopsided, edition=2019, multiplier=1.5, second="1.10000", factor=1.5),
]
SYMMETRIES = [
    sound("c-axial", lantern, h=[0]),
    sound("c-quadrant", long_bar, h=turn(last=90)),
    sound("c-bilateral-0-180", beside_0_180, h=turn(last=180)),
    sound("c-bilateral-90-270", beside_90_270, edition=1995, h=turn(first=90, last=270)),
    sound("c-full", lopsided, h=turn()),
    sound("c-full-from-minus-180", lopsided, h=turn(first=-180, last=180)),
    sound(
        "c-uneven-planes",
        lopsided,
        h=[0, 10, 25, 45, 50, 70, 90, 120, 150, 180, 200, 225, 270, 290, 315, 340, 360],
    ),
    sound("c-lower-half", below, h=turn(30), v=np.arange(0, 91, 5)),
    sound("c-upper-half", above, h=turn(30), v=np.arange(90, 181, 5)),
    sound("a-full", front_lopsided, kind="A", h=FRONT, v=FRONT),
    sound("a-right-half", one_sided_flood, kind="A", h=np.arange(0, 91, 5), v=FRONT),
    sound("b-full", front_lopsided, kind="B", h=FRONT, v=FRONT),
    sound("b-right-half", one_sided_flood, kind="B", h=np.arange(0, 91, 5), v=FRONT),
    sound("b-behind-too", lopsided, kind="B", h=FRONT, v=np.arange(-180, 181, 10)),
]
LAMPS = [
    sound("absolute-192-lamps", lantern, h=[0], lamps=192),
    # A lantern gives 2596.7 lm.
    sound("relative", lantern, h=[0], lamps=2, lumens=1300),
    sound(
        "feet", lantern, h=[0], unit=1, size=(0.5, 4, 0), opening=("rectangle", 1.2192, 0.1524, 0)
    ),
    sound("tilt-included", lantern, h=[0], tilt=["TILT=INCLUDE", "1", "3", "0 45 90", "1 .98 .95"]),
    sound(
        "tilt-included-wrapped",
        lantern,
        h=[0],
        tilt=["TILT=INCLUDE", "2 7 0", "15 30 45", "60 75 90 1 .99", ".98", ".97 .96 .95 .9"],
    ),
]
# Width, length and height with their signs, then shape and metres along x, y and z.
OPENINGS = {
    "point": ((0, 0, 0), (0, 0, 0)),
    "rectangle": ((0.2, 0.9, 0), (0.9, 0.2, 0)),
    "box": ((0.2, 0.9, 0.1), (0.9, 0.2, 0.1)),
    "circle": ((-0.3, -0.3, 0), (0.3, 0.3, 0)),
    "ellipse": ((-0.3, -0.5, 0), (0.5, 0.3, 0)),
    "vertical cylinder": ((-0.3, -0.3, 0.7), (0.3, 0.3, 0.7)),
    "sphere": ((-0.3, -0.3, -0.3), (0.3, 0.3, 0.3)),
    "ellipsoid": ((-0.3, -0.4, -0.5), (0.4, 0.3, 0.5)),
    "horizontal cylinder along x": ((-0.1, 1.2, -0.1), (1.2, 0.1, 0.1)),
    "horizontal cylinder along y": ((1.2, -0.1, -0.1), (0.1, 1.2, 0.1)),
}
OLD_OPENINGS = {
    "circle": ((-0.3, 0, 0), (0.3, 0.3, 0)),
    "ellipse": ((-0.3, 0.5, 0), (0.5, 0.3, 0)),
    "vertical cylinder": ((-0.3, 0, 0.7), (0.3, 0.3, 0.7)),
    "sphere": ((-0.3, 0, -0.3), (0.3, 0.3, 0.3)),
    "horizontal cylinder along x": ((0, 1.2, -0.1), (1.2, 0.1, 0.1)),
    "horizontal cylinder along y": ((1.2, 0, -0.1), (0.1, 1.2, 0.1)),
}
SHAPES = [
    sound(
        f"opening-{edition}-{shape.replace(' ', '-')}",
        spot,
        edition=edition,
        h=[0],
        v=np.arange(0, 91, 5),
        size=size,
        watts=20,
        opening=(shape, *metres),
    )
    for edition, shapes in ((2002, OPENINGS), (1995, OLD_OPENINGS))
    for shape, (size, metres) in shapes.items()
]
SOUND = [*EDITIONS, *FACTORS, *SYMMETRIES, *LAMPS, *SHAPES]
