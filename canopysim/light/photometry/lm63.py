"""ANSI/IES LM-63 files of every edition: 1986, 1991, 1995, 2002, 2019.

After the labels and the line that begins with TILT= a file is a stream of numbers: ten that
describe table and fixture, three about ballast and power, the vertical angles V, the horizontal
angles H, and for each H the intensities at all V. Where lines break means nothing.

Candela = table x candela multiplier x ballast factor; editions up to 1995 multiply by the
ballast-lamp photometric factor too. In the 2002 edition that place is unused, and in 2019 it holds
a code of how the file came about, which multiplies nothing. Relative tables are for the stated
flux of the lamps already, and are never scaled to it.

Type C has V = 0 straight down and H counter-clockwise seen from above (LM-63-02), and its 0-180
plane lies along the length of the opening: with our x along the length and z up, H is our C,
without a turn or a mirror. That files keep to the 0-180 plane along the length is the rule of the
trade, not a thing that a file can prove: one that was measured across needs `turn: 90 deg` of its
light. Types A and B are explained in `goniometer`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from itertools import islice

import numpy as np

from canopysim.errors import CanopysimError
from canopysim.light.photometry.distribution import CANDELA, Distribution, flux
from canopysim.light.photometry.doubts import (
    doubt_efficacy,
    doubt_lamp_flux,
    read_watts,
    refuse_no_light,
)
from canopysim.light.photometry.goniometer import resample, round_beam
from canopysim.light.photometry.lm63_head import Head, read_head
from canopysim.light.photometry.opening import METRES_PER_UNIT, lm63_opening
from canopysim.light.photometry.planes import warn_of_poles, whole_sphere, whole_turn
from canopysim.light.photometry.text import Remarks, file_lines
from canopysim.light.photometry.words import Array, Axis, Numbers, whole
from canopysim.units import shown

TYPES: dict[float, str] = {1: "C", 2: "B", 3: "A"}
_NAMES = (
    "number of lamps",
    "lumens per lamp",
    "candela multiplier",
    "number of vertical angles",
    "number of horizontal angles",
    "photometric type",
    "unit of length",
    "width",
    "length",
    "height",
    "ballast factor",
    "number after the ballast factor",
    "input power",
)
_SEPARATORS = re.compile(r"[\s,]+")
_DECIMAL_COMMA = re.compile(r"(?:^|\s)[+-]?[0-9]+,[0-9]+(?:\s|$)")
# Digits of the code of the 2019 edition after its point, from the first, and what a 1 there says.
_CODE_WORDS = (None, "partly interpolated", "scaled", "computed, not measured", "of unknown origin")


def split_words(row: str) -> list[str]:
    """Cut a line at blanks, tabs and commas."""
    return [word for word in _SEPARATORS.split(row) if word]


def parse_lm63(data: bytes, name: str, *, unit: str = CANDELA) -> Distribution:
    """Read an LM-63 file.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        How messages call it.
    unit : str
        What the table holds, a mere label: "cd" or "umol s-1 sr-1".

    Returns
    -------
    Distribution
        In the fixture's frame, symmetries unfolded; doubts in its `warnings`.

    Raises
    ------
    CanopysimError
        One sentence, ``NAME:LINE: what is wrong; what would help``.
    """
    remarks = Remarks(name)
    lines = file_lines(data, remarks)
    head = read_head(lines, remarks)
    try:
        return _read_numbers(head, lines, remarks, unit)
    except CanopysimError as error:
        commas = (row for _, row in _rows(head, lines) if _DECIMAL_COMMA.search(row))
        row = next(commas, None)
        if row is None:
            raise
        raise CanopysimError(
            f"{error} (LM-63 separates numbers by commas, so write decimal points if those in "
            f"{shown(row.strip(), 40)} are decimal commas)"
        ) from None


def _rows(head: Head, lines: list[str]) -> Iterator[tuple[int, str]]:
    """Rows of numbers with their lines: the rest of the TILT line, and all that follows."""
    yield head.tilt_line, head.after_tilt
    yield from enumerate(islice(lines, head.tilt_line, None), head.tilt_line + 1)


def _read_numbers(head: Head, lines: list[str], remarks: Remarks, unit: str) -> Distribution:
    numbers = Numbers(_rows(head, lines), split_words, remarks)
    if head.tilt_included:
        _pass_tilt(numbers, remarks)

    line = [numbers.line(numbers.at + index) for index in range(len(_NAMES))]
    head_of_table = [float(numbers.take(1, name)[0]) for name in _NAMES]
    n_lamp, lumens, multiplier, *counts = head_of_table[:5]
    n_v, n_h = (whole(count, line[at], _NAMES[at], remarks) for at, count in enumerate(counts, 3))
    kind, metres = TYPES.get(head_of_table[5]), METRES_PER_UNIT.get(head_of_table[6])
    if kind is None:
        raise remarks.refusal(
            line[5],
            f"the photometric type is {head_of_table[5]:g}; allowed: 1 for C, 2 for B, 3 for A",
        )
    if metres is None:
        raise remarks.refusal(
            line[6],
            f"the unit of length is {head_of_table[6]:g}; allowed: 1 for feet, 2 for metres",
        )
    width, length, height, *three = head_of_table[7:]
    ballast = _lamp_factor(head, three, line, remarks)
    factor = _positive(multiplier, "candela multiplier", line[2], remarks) * ballast

    v = numbers.take_angles(n_v, "vertical angle")
    h = numbers.take_angles(n_h, "horizontal angle")
    table_line = numbers.line(numbers.at)
    with np.errstate(over="ignore", invalid="ignore"):
        table = numbers.take_table(n_h, n_v) * factor
    refuse_no_light(table, table_line, remarks)
    numbers.warn_of_surplus(f"the {n_h} x {n_v} of the table")
    opening = lm63_opening(width, length, height, metres, line[7], remarks)
    watts = read_watts(three[2], line[12], remarks)
    c, gamma, full, error = _unfold(kind, v, h, table, remarks)
    stated = _stated_flux(n_lamp, lumens, line[1], remarks)
    result = Distribution(
        name=remarks.name,
        source=f"LM-63-{head.edition}, type {kind}",
        unit=unit,
        c_rad=np.radians(c),
        gamma_rad=np.radians(gamma),
        intensity=full,
        opening=opening,
        stated_flux=stated,
        watts=watts,
        n_lamp=int(np.clip(n_lamp, -1e9, 1e9)),
        labels=head.labels,
        resampling_error=error,
    )
    if stated is not None:
        doubt_lamp_flux(flux(result) / ballast, stated, line[1], unit, remarks)
    if watts is not None:
        doubt_efficacy(flux(result), watts, line[12], unit, remarks)
    # Made anew, because some doubts need the finished distribution.
    return replace(result, warnings=tuple(remarks.warnings))


def _pass_tilt(numbers: Numbers, remarks: Remarks) -> None:
    """Read past the block of TILT=INCLUDE: for an upright fixture its factor is that at 0."""
    numbers.take(1, "lamp-to-luminaire geometry")
    count = numbers.take_count("number of tilt angles", least=0)
    angles = numbers.take(count, "tilt angle")
    first = numbers.at
    factors = numbers.take(count, "tilt factor")
    for index in np.flatnonzero((angles == 0.0) & (factors != 1.0)):
        remarks.warn(
            numbers.line(first + int(index)),
            f"the factor for no tilt is {factors[index]:g}, not 1, and is not used; multiply the "
            "flux by it if the lamp loses light even when it hangs level",
        )


def _positive(value: float, what: str, line: int, remarks: Remarks) -> float:
    if value <= 0.0:
        raise remarks.refusal(
            line, f"the {what} is {value:g}, which leaves no light; write 1 if there is none"
        )
    return value


def _lamp_factor(head: Head, three: list[float], line: list[int], remarks: Remarks) -> float:
    """Ballast factor, times the ballast-lamp photometric factor in editions that have one."""
    ballast = _positive(three[0], "ballast factor", line[10], remarks)
    second = three[1]
    if head.edition <= 1995:
        if head.version_is_guessed and second != 1.0 and _code_digits(second) is not None:
            remarks.warn(
                line[11],
                f"{second:g} multiplies the table as the ballast-lamp factor of the 1986 edition, "
                "which a file without a version line is; if it is the code of a newer edition, "
                "write IES:LM-63-2019 as the first line",
            )
        return ballast * _positive(second, "ballast-lamp photometric factor", line[11], remarks)
    if head.edition < 2019:
        if second != 1.0:
            remarks.warn(
                line[11],
                f"the number after the ballast factor is {second:g}; the 2002 edition keeps it for "
                "the future and it multiplies nothing, so correct the table if it should",
            )
        return ballast
    digits = _code_digits(second)
    if digits is None:
        remarks.warn(
            line[11],
            f"{second:g} is not a file-generation code (1.00000 to 1.11111) of the 2019 edition "
            "and multiplies nothing; correct the table if it should",
        )
        return ballast
    words = [word for word, digit in zip(_CODE_WORDS, digits, strict=True) if word and digit == "1"]
    if words:
        remarks.warn(
            line[11],
            f"the file-generation code {second:.5f} says that the file is {' and '.join(words)}; "
            "ask for the measured one if there is one",
        )
    return ballast


def _code_digits(value: float) -> str | None:
    """Five digits of a file-generation code, each 0 or 1; None if the value is no code."""
    if not 1.0 <= value < 1.2:
        return None
    digits = f"{round((value - 1.0) * 1e5):05d}"
    exact = abs((value - 1.0) * 1e5 - int(digits)) < 1e-3
    return digits if exact and set(digits) <= {"0", "1"} else None


def _unfold(
    kind: str, v: Axis, h: Axis, table: Array, remarks: Remarks
) -> tuple[Array, Array, Array, float]:
    """C and gamma in degrees, the table on them, and the error of resampling."""
    if kind != "C" and len(h.degrees) > 1:
        return resample(v, h, table, kind, remarks)
    if kind != "C":
        v, table = round_beam(v, table, remarks)
    warn_of_poles(v, table, remarks)
    gamma, table = whole_sphere(v, table, remarks)
    c, table = whole_turn(h, table, remarks)
    return c, gamma, table, 0.0


def _stated_flux(n_lamp: float, lumens: float, line: int, remarks: Remarks) -> float | None:
    """Flux of all lamps; None for absolute photometry (-1 lumens)."""
    if lumens == -1.0:
        return None
    stated = n_lamp * lumens
    if lumens <= 0.0 or n_lamp <= 0.0 or not 0.0 < stated < np.inf:
        remarks.warn(
            line,
            f"{n_lamp:g} lamps of {lumens:g} lumens are no flux; the table is taken as absolute "
            "candela, which -1 lumens would say",
        )
        return None
    return stated
