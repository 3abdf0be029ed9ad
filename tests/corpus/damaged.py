"""LM-63 that cannot be read, with the line and the words of the one sentence that says why."""

from photometric_files import lm63

from corpus import Case


def small(place=None, *words, **options):
    """A small file with a number a line, from line 6; that at `place` gives way to `words`.

    Places: 0 lamps, 1 lumens, 2 multiplier, 3 n_v, 4 n_h, 5 type, 6 unit, 7-9 size, 10 ballast,
    11 second, 12 watts, 13-15 V, 16-17 H, 18-23 table.
    """
    options = {"v": [0, 45, 90], "h": [0, 90], "table": [[9] * 3] * 2} | options
    head, tail = lm63(**options).split("TILT=NONE\n")
    numbers = tail.split()
    if place is not None:
        numbers[place : place + 1] = words
    return f"{head}TILT=NONE\n" + "\n".join(numbers) + "\n"


COMMA = lm63(table=[[10.5, 5.25]], v=[0, 90]).replace("10.5 5.25", "10,5 5,25")
COMMA = COMMA.replace("0.04 1.1 0", "0,04 1,1 0,0")
REFUSED = {
    "multiplier-0": (small(2, "0"), 8, "candela multiplier is 0, which leaves no light"),
    "multiplier-negative": (small(2, "-1"), 8, "candela multiplier is -1"),
    "ballast-0": (small(10, "0"), 16, "ballast factor is 0"),
    "ballast-lamp-factor-0": (
        small(11, "0", edition=1995),
        17,
        "ballast-lamp photometric factor is 0",
    ),
    "no-vertical-angles": (small(3, "0"), 9, "number of vertical angles is 0"),
    "angles-and-a-half": (small(3, "2.5"), 9, "number of vertical angles is 2.5"),
    "negative-count": (small(4, "-3"), 10, "number of horizontal angles is -3"),
    "type-4": (small(5, "4"), 11, "photometric type is 4; allowed: 1 for C, 2 for B, 3 for A"),
    "unit-3": (small(6, "3"), 12, "unit of length is 3; allowed: 1 for feet, 2 for metres"),
    "one-vertical-too-many": (small(3, "4"), 22, "vertical angle 0 follows 90"),
    "one-vertical-too-few": (small(3, "2"), 22, "horizontal angle 0 follows 90"),
    "counts-swapped": (
        lm63(v=[0, 45, 90], h=[0, 90]).replace(" 3 2 ", " 2 3 "),
        9,
        "horizontal angle 0 follows 90",
    ),
    "angle-twice": (small(14, "0"), 20, "vertical angle 0 stands twice"),
    "angles-unsorted": (small(14, "95"), 21, "vertical angle 90 follows 95"),
    "plane-twice": (small(17, "0"), 23, "horizontal angle 0 stands twice"),
    "planes-of-no-symmetry": (small(17, "100"), 23, "from 0 to 100 deg, which is no symmetry"),
    "no-angle": (small(17, "1000"), 23, "horizontal angle 1000 is no angle"),
    "begins-at-5": (small(13, "5"), 19, "vertical angles begin at 5"),
    "ends-at-200": (small(15, "200"), 21, "vertical angles end at 200"),
    "a-single-vertical": (lm63(v=[45], h=[0, 90]), 8, "one vertical angle, 45 deg"),
    "a-beyond-the-pole": (
        lm63(kind="A", h=[-90, 0, 90], v=[-100, 0, 90]),
        8,
        "does not exist in type A",
    ),
    "b-off-the-axis": (lm63(kind="B", h=[10, 45, 90], v=[-90, 0, 90]), 9, "type B needs -90 to 90"),
    "candela-negative": (small(20, "-3"), 26, "intensity -3 is negative"),
    "candela-nan": (small(20, "NaN"), 26, "'NaN' stands where intensity value 3 of 6"),
    "candela-inf": (small(20, "inf"), 26, "'inf' stands where"),
    "candela-underscore": (small(20, "1_0"), 26, "'1_0' stands where"),
    "candela-beyond-floats": (small(20, "1e999"), 26, "'1e999' is too large"),
    "candela-of-a-star": (small(20, "1e300"), 24, "more than any fixture gives"),
    "candela-one-short": (small(23), 28, "ends after 5 of 6 intensity values"),
    "candela-end-instead": (small(23, "END"), 29, "'END' stands where intensity value 6 of 6"),
    "decimal-commas": (COMMA, 7, "write decimal points if those in '1 -1 1 2 1 1 2 0,04 1,1 0,0"),
    "huge-count": (small(3, "900000"), 29, "ends after 11 of 900000 vertical angles"),
    "huge-counts": (
        lm63(v=[0, 45, 90], h=[0]).replace("1 -1 1 3 1 ", "1 -1 1 8000000 8000000 "),
        10,
        "ends after 7 of 8000000",
    ),
    "watts-in-words": (small(12, "sixty"), 18, "'sixty' stands where the input power"),
    "no-light": (lm63(table=[[0, 0]], v=[0, 90]), 10, "there is no light"),
    "tilt-in-another-file": (lm63(tilt=["TILT=bench.tlt"]), 5, "in another file, 'bench.tlt'"),
    "tilt-of-nothing": (lm63(tilt=["TILT="]), 5, "which is not read"),
    "tilt-block-in-words": (lm63(tilt=["TILT=INCLUDE", "1", "two"]), 7, "number of tilt angles"),
    "no-tilt": (lm63(tilt=["tilted"]), 1, "no line begins with TILT="),
    "tilt-not-first": (lm63(tilt=["see TILT=NONE"]), 1, "no line begins with TILT="),
    "ends-after-tilt": (
        lm63().replace("TILT=NONE", "TILT=NONE\n\x1a"),
        5,
        "ends before the number of lamps",
    ),
    "cut-in-the-table": (
        lm63(v=range(0, 91, 5), width=5)[:-40],
        16,
        "intensity values; it is cut off",
    ),
    "empty": ("", 1, "no line begins with TILT="),
    "xml": ("<?xml version='1.0'?>\n<luminaire/>\n", 1, "looks like XML"),
    "picture": ("\x89PNG\r\n\x1a\n\0\0\0\rIHDR", 1, "ask for a photometric file in one of these"),
}
DAMAGED = [
    Case(f"refused-{name}.ies", text.encode("latin-1"), refusal=(line, words))
    for name, (text, line, words) in REFUSED.items()
]
