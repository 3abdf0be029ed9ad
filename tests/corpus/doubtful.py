"""LM-63 that is read with a warning: what contradicts itself, or is left out."""

import numpy as np
from photometric_files import lm63

from corpus import RESAMPLED, Case, table_flux
from corpus.laws import flood, long_bar, lopsided, spot
from corpus.sound import FRONT, sound, turn

V = np.arange(0, 91, 10)
# Head of a file by `lm63`: version, three labels, TILT on 5, ten numbers on 6, three on 7, V on 8.
TEN, THREE, ANGLES = 6, 7, 8


def doubt(name, line, words, shine=spot, *, factor=1.0, more=(), tail="", **options):
    """A file made from a law, with one doubt or more."""
    options = {"h": [0], "v": np.arange(0, 91, 5), "watts": 20} | options
    case = sound(f"doubt-{name}", shine, doubts=((line, words), *more), factor=factor, **options)
    return Case(**{**case.__dict__, "data": case.data + tail.encode()})


def doubt_table(name, line, words, *, h, v, table, flux, kind="C", more=(), **options):
    """A file made from numbers, whose flux is given."""
    text = lm63(table=table, h=h, v=v, kind=kind, width=19, **options)
    return Case(
        f"doubt-{name}.ies",
        text.encode(),
        flux,
        RESAMPLED if kind != "C" else 0.003,
        f"LM-63-2002, type {kind}",
        doubts=((line, words), *more),
    )


# cos^4 of 1000 cd: 2 pi 1000 / 5 = 1256.6 lm.
FLUX = [
    doubt(
        "flux-above-lamps",
        TEN,
        "105.0% of the 1200 stated for the lamps, and no fixture",
        lumens=1200,
    ),
    doubt(
        "flux-below-lamps",
        TEN,
        "63.0% of the 2000 stated for the lamps; that is right if",
        lumens=500,
        lamps=4,
    ),
    doubt("lumens-0", TEN, "1 lamps of 0 lumens are no flux", lumens=0),
    doubt("lamps-0", TEN, "0 lamps of 1300 lumens are no flux", lumens=1300, lamps=0),
    doubt("lumens-minus-2", TEN, "1 lamps of -2 lumens are no flux", lumens=-2),
    doubt("lumens-too-many-per-watt", THREE, "630 lm/W, which no lamp gives", watts=2),
    doubt("lumens-too-few-per-watt", THREE, "3.15 lm/W, which no lamp gives", watts=400),
    doubt("peak-of-one", THREE, "0.063 lm/W", lambda d: spot(d) / 1000, decimals=4),
    doubt("watts-0", THREE, "input power is 0 W; taken as unknown", watts=0),
    doubt("watts-negative", THREE, "input power is -20 W; taken as unknown", watts=-20),
]
FACTORS = [
    doubt("2002-second-factor", THREE, "1.2; the 2002 edition keeps it for the future", second=1.2),
    doubt("2019-no-code", THREE, "0.95 is not a file-generation code", edition=2019, second=0.95),
    doubt(
        "2019-computed",
        THREE,
        "says that the file is computed, not measured",
        edition=2019,
        second="1.00010",
    ),
    doubt(
        "2019-scaled-interpolated",
        THREE,
        "partly interpolated and scaled",
        edition=2019,
        second="1.01100",
    ),
    doubt(
        "1986-code-as-factor",
        THREE,
        "1.1 multiplies the table as the ballast-lamp factor",
        version="pepper bench",
        edition=1986,
        second="1.10000",
    ),
    doubt(
        "tilt-factor-at-0",
        8,
        "the factor for no tilt is 0.9, not 1, and is not used",
        tilt=["TILT=INCLUDE", "1 2", "0 90", "0.9 1"],
    ),
    doubt(
        "version-unknown",
        1,
        "the version 'IES:LM-99' is not known",
        version="IES:LM-99",
        edition=1986,
    ),
]
OPENINGS = [
    doubt(
        "opening-of-no-shape",
        TEN,
        "describe no luminous shape",
        size=(0.1, -0.2, 0),
        opening=("rectangle", 0.2, 0.1, 0),
    ),
    doubt(
        "opening-in-millimetres",
        TEN,
        "1200 m large",
        size=(80, 1200, 0),
        opening=("rectangle", 1200, 80, 0),
    ),
    doubt(
        "opening-in-inches",
        TEN,
        "14.3256 m large",
        size=(2, 47, 0),
        unit=1,
        opening=("rectangle", 14.3256, 0.6096, 0),
    ),
]


def planes_that_differ():
    """Even light of 100 cd below, but 120 cd where the plane 360 repeats the plane 0."""
    table = np.full((5, 10), 100.0)
    table[4] = 120.0
    table[:, 0] = 100.0
    mean = table.copy()
    mean[[0, 4]] = (table[0] + table[4]) / 2
    h = [0, 90, 180, 270, 360]
    return doubt_table(
        "planes-0-and-360-differ",
        ANGLES + 1,
        "the mean of both is used",
        h=h,
        v=V,
        table=table,
        flux=table_flux("C", h, V, mean),
        watts=20,
    )


def early(step, last, line):
    """A turn without its last plane; `line` is where the angles H end."""
    return doubt(
        f"turn-ends-at-{last}",
        line,
        f"the planes end at {last} deg, one even step before",
        lopsided,
        h=turn(step, last),
        v=np.arange(0, 181, 10),
        watts=50,
        labels=("[TEST] 7",) * 3,
    )


def poles():
    """Rows and columns mixed up: planes that do not meet straight down."""
    table = np.full((3, 10), 100.0)
    table[1, 0] = 50.0
    h = [0, 45, 90]
    return doubt_table(
        "planes-disagree-straight-down",
        ANGLES,
        "say 50 to 100 there",
        h=h,
        v=V,
        table=table,
        flux=4 * table_flux("C", h, V, table),
        watts=20,
    )


def cut_off():
    v = np.arange(0, 71, 10)
    table = [[100.0] * len(v)]
    flux = 4 * table_flux("C", [0, 90], v, table * 2)
    return doubt_table(
        "ends-at-70",
        ANGLES,
        "end at 70 deg, where 1 of the peak is left",
        h=[0],
        v=v,
        table=table,
        flux=flux,
        watts=20,
    )


def cut_off_type_b():
    h, v = np.arange(-60, 61, 10), np.arange(-90, 91, 10)
    table = np.full((len(h), len(v)), 100.0)
    return doubt_table(
        "b-ends-at-60",
        ANGLES + 1,
        "the angles H end at 60 deg",
        kind="B",
        h=h,
        v=v,
        table=table,
        flux=table_flux("B", h, v, table),
        watts=20,
    )


TABLES = [
    planes_that_differ(),
    poles(),
    cut_off(),
    cut_off_type_b(),
    early(15, 345, 10),
    early(10, 350, 10),
    early(5, 355, 12),
    doubt(
        "surplus-values",
        ANGLES + 3,
        "3 more numbers than the 1 x 19 of the table",
        tail="7 8 9\nEND 10\n",
    ),
    doubt("surplus-row", ANGLES + 3, "10 more numbers than", tail="1 2 3 4 5 6 7 8 9 10\n"),
    doubt(
        "half-from-180",
        ANGLES + 2,
        "not among those of the standard",
        long_bar,
        watts=60,
        h=turn(first=180, last=360),
        v=np.arange(0, 181, 5),
    ),
    doubt(
        "quarter-from-90",
        ANGLES + 2,
        "not among those of the standard",
        long_bar,
        watts=60,
        h=turn(first=90, last=180),
        v=np.arange(0, 181, 5),
    ),
    doubt(
        "a-quarter", ANGLES, "lower half is taken as equal", flood, kind="A", h=np.arange(0, 91, 5)
    ),
    doubt(
        "b-quarter", ANGLES, "lower half is taken as equal", flood, kind="B", h=np.arange(0, 91, 5)
    ),
    doubt("a-single-h", ANGLES, "round about its axis", spot, kind="A"),
    doubt("b-single-h", ANGLES, "round about its axis", spot, kind="B", v=FRONT),
]
DOUBTFUL = [*FLUX, *FACTORS, *OPENINGS, *TABLES]
