"""LM-63 that cannot be read: one sentence each, no hang, whatever the bytes."""

import re
import time
import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from photometric_files import lm63, long_bar, lopsided

from canopysim.errors import CanopysimError
from canopysim.light.photometry import flux, parse_lm63, parse_photometric


def read(text, name="bench.ies", **options):
    data = text if isinstance(text, bytes) else text.encode()
    return parse_lm63(data, name, **options)


def changed(place, *words, **options):
    """A small file with one number a line; that at `place` is replaced by words, or left out."""
    options = {"v": [0, 45, 90], "h": [0, 90], "table": [[9] * 3] * 2} | options
    head, tail = lm63(**options).split("TILT=NONE\n")
    numbers = tail.split()
    numbers[place : place + 1] = words
    return f"{head}TILT=NONE\n" + "\n".join(numbers)


# Places: 0 lamps, 1 lumens, 2 multiplier, 3 n_v, 4 n_h, 5 type, 6 unit, 7-9 size, 10 ballast,
# 11 second, 12 watts, 13-15 V, 16-17 H, 18-23 table; each on its own line, from line 6.
@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (changed(2, "0"), 8, "candela multiplier is 0"),
        (changed(2, "-1"), 8, "candela multiplier is -1"),
        (changed(10, "0"), 16, "ballast factor is 0"),
        (changed(11, "0", edition=1995), 17, "ballast-lamp photometric factor is 0"),
        (changed(3, "0"), 9, "number of vertical angles is 0"),
        (changed(3, "2.5"), 9, "number of vertical angles is 2.5"),
        (changed(4, "-3"), 10, "number of horizontal angles is -3"),
        (changed(5, "4"), 11, "photometric type is 4; allowed: 1 for C"),
        (changed(6, "3"), 12, "unit of length is 3; allowed: 1 for feet"),
        (changed(3, "4"), 22, "vertical angle 0 follows 90"),
        (changed(3, "2"), 22, "horizontal angle 0 follows 90"),
        (changed(14, "0"), 20, "vertical angle 0 stands twice"),
        (changed(14, "95"), 21, "vertical angle 90 follows 95"),
        (changed(17, "0"), 23, "horizontal angle 0 stands twice"),
        (changed(17, "100"), 23, "from 0 to 100 deg, which is no symmetry"),
        (changed(17, "1000"), 23, "horizontal angle 1000 is no angle"),
        (changed(13, "5"), 19, "vertical angles begin at 5"),
        (lm63(v=[45], h=[0, 90]), 8, "one vertical angle, 45 deg; type C needs two or more"),
        (changed(15, "200"), 21, "vertical angles end at 200"),
        (changed(20, "-3"), 26, "intensity -3 is negative"),
        (changed(20, "NaN"), 26, "'NaN' stands where intensity value 3 of 6"),
        (changed(20, "inf"), 26, "'inf' stands where"),
        (changed(20, "1_0"), 26, "'1_0' stands where"),
        (changed(20, "1e999"), 26, "intensity value '1e999' is too large"),
        (changed(20, "1e300"), 24, "more than any fixture gives"),
        (changed(23), 28, "ends after 5 of 6 intensity values"),
        (changed(23, "END"), 29, "'END' stands where intensity value 6 of 6"),
        (changed(3, "900000"), 29, "ends after 11 of 900000 vertical angles"),
        (changed(12, "sixty"), 18, "'sixty' stands where the input power"),
        (changed(2, "1e-300"), 24, "there is no light"),
        (lm63(table=[[0, 0]], v=[0, 90]), 10, "there is no light"),
        (lm63(tilt=["TILT=bench.tlt"]), 5, "in another file, 'bench.tlt', which is not read"),
        (lm63(tilt=["TILT="]), 5, "which is not read"),
        (lm63(tilt=["TILT=INCLUDE", "1", "two"]), 7, "number of tilt angles"),
        (lm63(tilt=["tilted"]), 1, "no line begins with TILT="),
        (lm63(kind="A", h=[-90, 0, 90], v=[-100, 0, 90]), 8, "does not exist in type A"),
        (lm63(kind="B", h=[10, 45, 90], v=[-90, 0, 90]), 9, "type B needs -90 to 90"),
        (lm63(kind="B", h=[0], v=[10, 45, 90]), 8, "single H needs"),
        (lm63().replace("TILT=NONE", "TILT=NONE\n\x1a"), 5, "ends before the number of lamps"),
        (b"", 1, "no line begins with TILT="),
        (b"x" * (8 * 1024 * 1024 + 1), 1, "bytes; a photometric file has at most"),
    ],
)
def test_refusals_name_line_value_and_remedy(text, line, words):
    with pytest.raises(CanopysimError) as caught:
        read(text)
    message = str(caught.value)
    assert message.startswith(f"bench.ies:{line}: ")
    assert words in message
    assert message.isprintable()
    assert re.search(r"[;,(]", message.split(": ", 1)[1])


def test_decimal_commas_are_suspected():
    text = lm63(table=[[10.5, 5.25]], v=[0, 90]).replace("10.5 5.25", "10,5 5,25")
    with pytest.raises(CanopysimError) as caught:
        read(text.replace("0.04 1.1 0", "0,04 1,1 0,0"))
    assert "write decimal points if those in '1 -1 1 2 1 1 2 0,04 1,1 0,0.0'" in str(caught.value)


@pytest.mark.parametrize("counts", ["8000000 8000000", "3 8000000", "900000 1"])
def test_huge_counts_are_refused_before_anything_grows(counts):
    text = lm63(v=[0, 45, 90], h=[0]).replace("1 -1 1 3 1 ", f"1 -1 1 {counts} ")
    tracemalloc.start()
    start = time.perf_counter()
    with pytest.raises(CanopysimError, match=r"ends after|follows|stands"):
        read(text)
    assert time.perf_counter() - start < 10.0
    assert tracemalloc.get_traced_memory()[1] < 2e6
    tracemalloc.stop()


def test_a_large_grid_is_read():
    """361 planes of 181 angles, about half a megabyte."""
    got = read(lm63(lopsided, h=range(361), v=range(181)))
    assert got.intensity.shape == (361, 181)
    assert np.isclose(flux(got), 4 * np.pi * 500, rtol=1e-3)


# Anything at all is a distribution or one sentence.


def accept_or_refuse(data):
    for reader in (parse_lm63, parse_photometric):
        try:
            got = reader(data, "bench.ies")
        except CanopysimError as error:
            assert re.match(r"bench\.ies:\d+: ", str(error))
            assert str(error).isprintable()
        else:
            assert np.isfinite(flux(got))
            assert flux(got) > 0.0
            for line in got.warnings:
                assert re.match(r"bench\.ies:\d+: ", line)
                assert line.isprintable()


@settings(max_examples=150)
@given(st.binary(max_size=300))
def test_any_bytes(data):
    accept_or_refuse(data)
    accept_or_refuse(b"TILT=NONE\n" + data)


@settings(max_examples=150)
@given(st.text(alphabet="0123456789 .,-+eE\r\n\t\x1a", max_size=300))
def test_any_numbers(text):
    accept_or_refuse(f"TILT=NONE\n1 -1 1 2 2 1 1 {text}".encode())
    accept_or_refuse(f"TILT=INCLUDE\n{text}".encode())


SMALL = [
    lm63(lopsided, h=[0, 90, 180, 270, 360], v=[0, 45, 90, 180]),
    lm63(long_bar, h=[0, 45, 90], v=[0, 45, 90], edition=2019, lumens=900, size=(-1, -1, 0)),
    lm63(long_bar, kind="A", h=[-90, 0, 90], v=[-90, 0, 90], edition=1995),
    lm63(long_bar, kind="B", h=[0, 45, 90], v=[0, 45, 90], edition=1991),
    lm63(long_bar, kind="B", h=[0], v=[-90, 0, 90], tilt=["TILT=INCLUDE", "1 1 0 1"]),
]
WORDS = [
    *("0", "-1", "1", "2", "3", "90", "180", "360", "-90", "1e300", "1e-300", "-0", ".5", "1e308"),
    *("89.9999999", "90.0000001", "1e-7", "nan", "TILT=NONE", "TILT=INCLUDE", "\x1a", "\0", "END"),
    *("[MORE] x", "IESNA91", "IES:LM-63-2019", "99999999999", "1,5", "\r", "\u2028", "\x85", "ü"),
]


@settings(max_examples=300)
@given(st.data())
def test_damaged_files(data):
    """Words of sound files are exchanged, dropped and put in at random."""
    words = re.split(r"( |\n)", data.draw(st.sampled_from(SMALL)))
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(words) - 1))
        word = data.draw(st.sampled_from(WORDS) | st.sampled_from(words) | st.text(max_size=6))
        how = data.draw(st.sampled_from(["replace", "insert", "drop"]))
        words[at : at + (how != "insert")] = [] if how == "drop" else [word]
    accept_or_refuse("".join(words).encode("utf-8", "surrogatepass"))


@settings(max_examples=150)
@given(st.data())
def test_damaged_bytes(data):
    raw = bytearray(data.draw(st.sampled_from(SMALL)).encode())
    for _ in range(data.draw(st.integers(1, 8))):
        raw[data.draw(st.integers(0, len(raw) - 1))] = data.draw(st.integers(0, 255))
    accept_or_refuse(bytes(raw[: data.draw(st.integers(0, len(raw)))]))


@pytest.mark.parametrize("unit", ["\r", "\n", " ", "\t", ",", "1", "1 ", "[", "IES ", "TILT", "-"])
def test_long_runs_do_not_hang(unit):
    start = time.perf_counter()
    accept_or_refuse((unit * 200_000).encode())
    accept_or_refuse(("IES" + unit * 200_000 + "\nTILT=NONE" + unit * 200_000).encode())
    assert time.perf_counter() - start < 10.0
