"""EULUMDAT: five symmetries, lamps, openings, ways of writing, doubts and refusals."""

import numpy as np
from photometric_files import eulumdat

from corpus import Case, sphere_flux
from corpus.laws import beside_0_180, beside_90_270, lantern, long_bar, lopsided
from corpus.sound import vectors

GAMMA = tuple(range(0, 181, 5))
PLANES = tuple(range(0, 360, 15))
TURN = (*PLANES, 360)
SMALL = {"gamma": range(0, 91, 15), "symmetry": 4, "planes": PLANES}


def lines_of(shine, **options):
    """Lines of a file whose candela per kilolumen have three decimals."""
    whole = round(sphere_flux(shine))
    options = {"gamma": GAMMA, "planes": PLANES, "lamp_flux": whole} | options
    scale = 1000.0 / (options["lamp_flux"] * options.get("sets", 1) * options.get("conversion", 1))
    return eulumdat(lambda d: np.round(shine(d) * scale, 3) / scale, **options)


def shortened(lines):
    """The scaling leaves trailing digits."""
    return [f"{float(x):.6g}" if x.count(".") == 1 and len(x) > 9 else x for x in lines]


def sound(name, shine, *, doubts=(), opening=(), end="\r\n", change=lambda lines: lines, **options):
    text = end.join(change(shortened(lines_of(shine, **options)))) + end
    return Case(
        f"{name}.ldt",
        text.encode(),
        sphere_flux(shine),
        source="EULUMDAT",
        opening=opening,
        doubts=doubts,
        shine=shine,
    )


# C0-C180 lies across: what it mirrors is along, our x; and the other way round.
SYMMETRIES = [
    sound("symmetry-0", lopsided, symmetry=0),
    sound("symmetry-1", lantern, symmetry=1),
    sound("symmetry-2", beside_90_270, symmetry=2),
    sound("symmetry-3", beside_0_180, symmetry=3),
    sound("symmetry-4", long_bar, symmetry=4),
]
HEADS = [
    sound("absolute", lantern, symmetry=1, lamps=-1),
    sound("conversion-factor", lantern, symmetry=1, conversion=1.25),
    sound("light-output-ratio", lantern, symmetry=1, lamp_flux=3055, ratio=85, down=73),
    sound("opening-circle", lantern, symmetry=1, area=(300, 0), opening=("circle", 0.3, 0.3, 0)),
    sound(
        "opening-cylinder",
        lantern,
        symmetry=1,
        area=(300, 0),
        heights=(50, 50, 50, 50),
        opening=("vertical cylinder", 0.3, 0.3, 0.05),
    ),
    sound(
        "opening-box",
        lantern,
        symmetry=1,
        area=(900, 200),
        heights=(10, 30, 10, 30),
        opening=("box", 0.9, 0.2, 0.03),
    ),
    sound(
        "opening-rectangle",
        lantern,
        symmetry=1,
        area=(900, 200),
        opening=("rectangle", 0.9, 0.2, 0),
    ),
    sound("opening-point", lantern, symmetry=1, area=(0, 0), opening=("point", 0, 0, 0)),
    sound(
        "lower-half",
        lambda d: 900.0 * np.clip(-d[..., 2], 0, None),
        symmetry=1,
        gamma=range(0, 91, 5),
    ),
]
WAYS = [
    sound("written-lf", lopsided, symmetry=0, end="\n"),
    sound("written-cr", lopsided, symmetry=0, end="\r"),
    sound(
        "written-decimal-commas",
        lopsided,
        symmetry=0,
        change=lambda x: x[:12] + [line.replace(".", ",") for line in x[12:]],
    ),
    sound("written-blanks", lopsided, symmetry=0, change=lambda x: [f" {line}\t" for line in x]),
    sound("written-trailing-text", lopsided, symmetry=0, change=lambda x: [*x, "", "END"]),
    sound("written-blank-line", lopsided, symmetry=0, change=lambda x: [*x[:42], "", *x[42:]]),
    sound(
        "written-360-too",
        lopsided,
        symmetry=0,
        planes=TURN,
        table=np.round(lopsided(vectors(np.add(TURN, 90), GAMMA)) / 6.283, 3),
    ),
]
DOUBTS = [
    sound(
        "doubt-lamp-sets",
        lantern,
        symmetry=1,
        sets=2,
        lamp_flux=1300,
        lamps=3,
        doubts=((27, "there are 2 lamp sets, whose fluxes and powers are added up to 2600 lm"),),
    ),
    sound(
        "doubt-flux-above-lamps",
        lantern,
        symmetry=1,
        lamp_flux=2000,
        doubts=((29, "129.9% of the 2000 stated for the lamps, and no fixture gives more"),),
    ),
    sound(
        "doubt-flux-below-lamps",
        lantern,
        symmetry=1,
        lamp_flux=5000,
        doubts=((29, "52.0% of the 5000 stated for the lamps; that is right if"),),
    ),
    sound(
        "doubt-output-ratio",
        lantern,
        symmetry=1,
        lamp_flux=4000,
        ratio=85,
        doubts=((23, "76.4% of the 3400 that lamps and light output ratio make"),),
    ),
    sound(
        "doubt-absolute-flux",
        lantern,
        symmetry=1,
        lamps=-1,
        lamp_flux=3700,
        doubts=((23, "70.2% of the 3700 that lamps and light output ratio make"),),
    ),
    sound(
        "doubt-down-share",
        lantern,
        symmetry=1,
        ratio=100,
        down=95,
        doubts=((22, "72.8% of its light down, but 95.0% is stated"),),
    ),
    sound(
        "doubt-lumens-per-watt",
        lantern,
        symmetry=1,
        watts=4,
        doubts=((32, "650 lm/W, which no lamp gives"),),
    ),
    sound(
        "doubt-watts-0",
        lantern,
        symmetry=1,
        watts=0,
        doubts=((32, "input power is 0 W; taken as unknown"),),
    ),
    sound(
        "doubt-tilted",
        lantern,
        symmetry=1,
        tilt=15,
        doubts=((25, "tilted by 15 deg while measured"),),
    ),
    sound(
        "doubt-opening-of-9-m", lantern, symmetry=1, area=(9000, 40), doubts=((16, "9 m large"),)
    ),
    sound(
        "doubt-surplus-values",
        lantern,
        symmetry=1,
        change=lambda x: [*x, "7", "8"],
        doubts=((141, "2 more numbers than the 1 x 37 of symmetry 1"),),
    ),
]


def edited(line, text, **options):
    """A small file with one line, counted from 1, replaced."""
    lines = eulumdat(**(SMALL | options))
    lines[line - 1] = text
    return lines


WHOLE = shortened(lines_of(lopsided, symmetry=0))
REFUSED = {
    "symmetry-5": (edited(3, "5"), 3, "symmetry is 5; allowed: 0, 1, 2, 3 and 4"),
    "no-planes": (edited(4, "0"), 4, "number of C planes is 0"),
    "one-angle": (edited(6, "1"), 6, "number of angles in a plane is 1"),
    "huge-count": (edited(6, "900000"), 122, "ends after 56 of 900000 gamma angles"),
    "conversion-0": (edited(24, "0"), 24, "conversion factor is 0"),
    "no-lamp-sets": (edited(26, "0"), 26, "number of lamp sets is 0"),
    "lamp-sets-beyond-the-end": (edited(26, "900"), 26, "900 lamp sets of 6 lines do not fit"),
    "lamps-without-light": (edited(29, "0"), 29, "lamps' flux is 0 lm"),
    "lamps-of-nothing": (edited(29, ""), 29, "'' stands where the flux of the lamps is expected"),
    "opening-in-words": (
        edited(16, "wide"),
        16,
        "'wide' stands where the size of the luminous area",
    ),
    "plane-twice": (edited(44, "0"), 44, "C angle 0 stands twice"),
    "planes-unsorted": (edited(44, "40"), 45, "C angle 30 follows 40"),
    "plane-missing": (
        edited(49, "91"),
        43,
        "stores the planes from C0 to C90, but these are not both",
    ),
    "begins-at-5": (edited(67, "5"), 67, "vertical angles begin at 5"),
    "intensity-negative": (edited(75, "-4"), 75, "intensity -4 is negative"),
    "intensity-nan": (edited(75, "NaN"), 75, "'NaN' stands where intensity value"),
    "two-commas": (edited(75, "1.000,5"), 75, "'1.000,5' stands where intensity value"),
    "intensity-of-a-star": (edited(75, "1e300"), 74, "more than any fixture gives"),
    "no-light": (eulumdat(table=np.zeros((1, 37))), 104, "there is no light"),
    "cut-in-the-head": (WHOLE[:25], 25, "ends after 25 lines"),
    "cut-in-the-table": (WHOLE[:-5], len(WHOLE) - 5, "intensity values; it is cut off"),
}
REFUSALS = [
    Case(f"refused-{name}.ldt", ("\r\n".join(lines) + "\r\n").encode(), refusal=(line, words))
    for name, (lines, line, words) in REFUSED.items()
]
EULUMDAT = [*SYMMETRIES, *HEADS, *WAYS, *DOUBTS, *REFUSALS]
