"""LM-63 as found in the wild: ways of writing that change nothing, and what is doubtful."""

import re

import numpy as np
import pytest
from photometric_files import lambertian, lm63, lopsided, same

from canopysim.errors import CanopysimError
from canopysim.light.photometry import Distribution, parse_lm63, parse_photometric, read_photometric

TURN = np.arange(0, 361, 15)


def read(text, name="bench.ies", **options):
    data = text if isinstance(text, bytes) else text.encode()
    return parse_lm63(data, name, **options)


PLAIN = lm63(lopsided, h=TURN, edition=2019)
ROWS = PLAIN.splitlines()
NONE = ROWS.index("TILT=NONE")


def rewritten(how):
    return {
        "CR": PLAIN.replace("\n", "\r").encode(),
        "CRLF": PLAIN.replace("\n", "\r\n").encode(),
        "mixed ends": PLAIN.replace("\n", "\r\n", 9).replace("\n", "\r", 11).encode(),
        "CR CR LF": PLAIN.replace("\n", "\r\r\n").encode(),
        "mark": b"\xef\xbb\xbf" + PLAIN.encode(),
        "UTF-16": PLAIN.encode("utf-16"),
        "NUL": b"\0" + PLAIN.encode() + b"\0" * 40,
        "Ctrl-Z": PLAIN.encode() + b"\x1a junk 1 2 3",
        "trailing text": PLAIN.encode() + b"\nEND\nwritten 3 times\n",
        "no last end": PLAIN.rstrip().encode(),
        "Windows-1252": PLAIN.replace("nobody", "b\u00fcro \u2013 7").encode("cp1252"),
        "commas": "\n".join(
            [*ROWS[: NONE + 1], *(row.replace(" ", ",") for row in ROWS[NONE + 1 :])]
        ).encode(),
        "commas and blanks": PLAIN.replace(" ", " , ").replace("[TEST] ,", "[TEST]").encode(),
        "tabs": PLAIN.replace(" ", "\t").encode(),
        "one line": "\n".join([*ROWS[: NONE + 1], " ".join(ROWS[NONE + 1 :])]).encode(),
        "a number a line": "\n".join(
            [*ROWS[: NONE + 1], *" ".join(ROWS[NONE + 1 :]).split()]
        ).encode(),
        "blank lines": PLAIN.replace("\n", "\n\n").encode(),
        "blanks about =": PLAIN.replace("TILT=NONE", "  tilt =  none ").encode(),
        "text after TILT": PLAIN.replace("TILT=NONE", "TILT=NONE (LED)").encode(),
        "numbers after TILT": PLAIN.replace("TILT=NONE\n", "TILT=NONE ").encode(),
        "TILT in a label": PLAIN.replace("[MANUFAC]", "[OTHER] TILT=NONE\nTILT=maybe").encode(),
        "small letters": PLAIN.replace("IES:LM", "ies:lm").encode(),
        "blank in version": PLAIN.replace("IES:LM", "IES: LM").encode(),
        "blank before version": b"\n \n" + PLAIN.encode(),
    }[how]


WAYS = [
    *("CR", "CRLF", "mixed ends", "CR CR LF", "mark", "UTF-16", "NUL", "Ctrl-Z", "trailing text"),
    *("no last end", "Windows-1252", "commas", "commas and blanks", "tabs", "one line"),
    *("a number a line", "blank lines", "blanks about =", "text after TILT", "numbers after TILT"),
    *("TILT in a label", "small letters", "blank in version", "blank before version"),
]


@pytest.mark.parametrize("how", WAYS)
def test_ways_of_writing_change_nothing(how):
    got = read(rewritten(how))
    same(got, read(PLAIN))
    assert got.source == "LM-63-2019, type C"
    assert got.warnings == ()


def test_labels_in_windows_1252():
    assert ("MANUFAC", "b\u00fcro \u2013 7") in read(rewritten("Windows-1252")).labels


def test_decimal_forms():
    text = lm63(table=[[0.5, 5, 1000]], v=[0, 45, 90]).replace("0.5 5 1000", ".5 5. 1e3")
    assert list(read(text).intensity[0, :3]) == [0.5, 5.0, 1000.0]


@pytest.mark.parametrize(
    ("version", "edition"),
    [
        ("IESNA86", 1986),
        ("IESNA:LM-63-1991", 1991),
        ("IESNA95", 1995),
        ("IESNA: LM-63-2002", 2002),
        ("IESNA:LM-63-02", 2002),
        ("IES:LM-63-19", 2019),
        ("IES LM-63-2022", 2019),
    ],
)
def test_version_lines_of_the_wild(version, edition):
    assert read(lm63(version=version)).source == f"LM-63-{edition}, type C"


def test_unknown_versions():
    got = read(lm63(version="IES:LM-99"))
    assert got.source == "LM-63-1986, type C"
    assert got.warnings[0].startswith("bench.ies:1: the version 'IES:LM-99' is not known")
    guessed = read(lm63(version="bench lights of the seed bank", second="1.10000"))
    assert "write IES:LM-63-2019 as the first line" in guessed.warnings[0]


# What is doubtful: line, value and remedy.


def warning(text, words):
    found = [w for w in read(text).warnings if words in w]
    assert len(found) == 1, read(text).warnings
    assert re.match(r"bench\.ies:\d+: ", found[0])
    assert found[0].isprintable()
    return found[0]


def test_planes_0_and_360_that_differ_are_averaged():
    table = np.full((5, 3), 100.0)
    table[4] = 120.0
    text = lm63(table=table, h=[0, 90, 180, 270, 360], v=[0, 45, 90])
    assert "360 deg" in warning(text, "the mean of both is used")
    light = read(text)
    assert (light.intensity[[0, -1], :3] == 110.0).all()


def test_flux_against_the_lamps():
    # 3140 lm in the table.
    assert read(lm63(lumens=3100)).warnings == ()
    assert read(lm63(lumens=1550, lamps=2)).warnings == ()
    assert "104." in warning(lm63(lumens=3000), "no fixture gives more than its lamps")
    assert "83." in warning(lm63(lumens=3750), "right if the fixture keeps the rest back")
    # The ballast factor dims lamps and table alike.
    assert read(lm63(lambda d: lambertian(d) * 0.5, ballast=0.5, lumens=3100)).warnings == ()


def test_power():
    assert "lm/W" in warning(lm63(watts=5), "628 lm/W")
    assert "photon" in warning(lm63(watts=1000), "3.14 lm/W")
    assert read(lm63(watts=0)).watts is None
    assert "0 W" in warning(lm63(watts=0), "taken as unknown")
    photons = read(lm63(watts=1000), unit="umol s-1 sr-1")
    assert photons.warnings == ()
    assert photons.unit == "umol s-1 sr-1"


def test_other_doubts():
    assert "3 more numbers" in warning(lm63() + "7 8 9\nEND 10", "are not used")
    unknown = lm63(size=(0.1, -0.2, 0))
    assert "length -0.2" in warning(unknown, "describe no luminous shape")
    assert read(unknown).opening.shape == "rectangle"
    assert "1200 m large" in warning(lm63(size=(80, 1200, 0)), "whether the unit")
    assert "0 lumens" in warning(lm63(lumens=0), "are no flux")
    assert "-2 lumens" in warning(lm63(lumens=-2), "are no flux")
    assert "1.2" in warning(lm63(second=1.2), "multiplies nothing")
    assert "85 deg" in warning(lm63(v=range(0, 86, 5)), "taken as dark")
    assert "80 deg" in warning(
        lm63(kind="B", h=range(-80, 81, 5), v=range(-90, 91, 5)), "taken as dark"
    )
    table = np.full((3, 3), 100.0)
    table[1, 0] = 90.0
    assert "90 to 100" in warning(lm63(table=table, h=[0, 45, 90], v=[0, 45, 90]), "meet straight")


def test_formats_are_told_apart_and_files_are_read_from_disk(tmp_path):
    path = tmp_path / "bench.ies"
    path.write_text(lm63(lopsided, h=TURN))
    got = read_photometric(path)
    assert isinstance(got, Distribution)
    assert got.name == str(path)
    same(got, read(lm63(lopsided, h=TURN)))
    assert read_photometric(path, name="bench").name == "bench"
    for data, words in (
        (b"<?xml version='1.0'?>", "looks like XML"),
        (b"\x89PNG\r\n", "ask for a photometric file in one of these formats"),
        (b"", "no line begins with TILT="),
    ):
        with pytest.raises(CanopysimError, match=words):
            parse_photometric(data, "bench")
    with pytest.raises(CanopysimError, match=r"absent.ies:1: there is no such file"):
        read_photometric(tmp_path / "absent.ies")
    with pytest.raises(CanopysimError, match=r":1: this is no regular file"):
        read_photometric(tmp_path)
    with pytest.raises(CanopysimError, match=r":1: the file cannot be read"):
        read_photometric(tmp_path / "a\0b")
