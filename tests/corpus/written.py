"""Ways of writing LM-63 that change nothing: separators, line ends, marks, stray text."""

from photometric_files import lm63

from corpus import Case, sphere_flux
from corpus.laws import lopsided, rounded
from corpus.sound import turn

PLAIN = lm63(rounded(lopsided), h=turn(30), v=range(0, 181, 10), edition=2019, width=19)
ROWS = PLAIN.splitlines()
NONE = ROWS.index("TILT=NONE") + 1
HEAD, NUMBERS = ROWS[:NONE], ROWS[NONE:]


def rows(*parts):
    return "\n".join(row for part in parts for row in part).encode()


WAYS = {
    "crlf": PLAIN.replace("\n", "\r\n").encode(),
    "cr": PLAIN.replace("\n", "\r").encode(),
    "mixed-ends": PLAIN.replace("\n", "\r\n", 9).replace("\n", "\r", 11).encode(),
    "byte-order-mark": b"\xef\xbb\xbf" + PLAIN.encode(),
    "utf-16": b"\xff\xfe" + PLAIN.encode("utf-16-le"),
    "nul": PLAIN.encode() + b"\0" * 40,
    "ctrl-z": PLAIN.encode() + b"\x1a junk 1 2 3",
    "trailing-text": PLAIN.encode() + b"END\nwritten 3 times\n",
    "no-last-end": PLAIN.rstrip().encode(),
    "windows-1252": PLAIN.replace("nobody", "b\u00fcro \u2013 7 \u00b5mol").encode("cp1252"),
    "commas": rows(HEAD, (row.replace(" ", ",") for row in NUMBERS)),
    "commas-and-blanks": rows(HEAD, (row.replace(" ", " , ") for row in NUMBERS)),
    "tabs": PLAIN.replace(" ", "\t").encode(),
    "one-line": rows(HEAD, [" ".join(NUMBERS)]),
    "a-number-a-line": rows(HEAD, " ".join(NUMBERS).split()),
    "blank-lines": PLAIN.replace("\n", "\n\n").encode(),
    "blanks-about-tilt": PLAIN.replace("TILT=NONE", "  tilt =  none ").encode(),
    "text-after-tilt": PLAIN.replace("TILT=NONE", "TILT=NONE (LED)").encode(),
    "numbers-after-tilt": PLAIN.replace("TILT=NONE\n", "TILT=NONE ").encode(),
    "tilt-in-a-label": PLAIN.replace("[MANUFAC]", "[OTHER] TILT=NONE\nTILT=maybe").encode(),
    "small-letters": PLAIN.replace("IES:LM", "ies:lm").encode(),
    "blank-in-version": PLAIN.replace("IES:LM", "IES: LM").encode(),
    "blank-before-version": b"\n \n" + PLAIN.encode(),
    "no-keywords": rows([ROWS[0]], ROWS[NONE - 1 :]),
    "number-forms": rows(
        HEAD,
        NUMBERS[:2],
        (row.replace("90", "+9.0e1").replace("180", "180.") for row in NUMBERS[2:4]),
        NUMBERS[4:],
    ),
}
WRITTEN = [
    Case(
        f"written-{way}.ies",
        data,
        sphere_flux(lopsided),
        source="LM-63-2019, type C",
        shine=lopsided,
    )
    for way, data in WAYS.items()
]
VERSIONS = {
    "iesna86": ("IESNA86", 1986),
    "lm-63-1991": ("IESNA:LM-63-1991", 1991),
    "iesna95": ("IESNA95", 1995),
    "blank-2002": ("IESNA: LM-63-2002", 2002),
    "lm-63-19": ("IES:LM-63-19", 2019),
    "name-instead": ("bench lights of the seed bank", 1986),
}
WRITTEN += [
    Case(
        f"version-{name}.ies",
        lm63(
            rounded(lopsided), h=turn(30), v=range(0, 181, 10), version=version, width=19
        ).encode(),
        sphere_flux(lopsided),
        source=f"LM-63-{edition}, type C",
        shine=lopsided,
    )
    for name, (version, edition) in VERSIONS.items()
]
