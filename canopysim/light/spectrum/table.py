"""Spectral tables: two columns of text, wavelengths in nm against photons or power."""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path
from typing import NoReturn

from canopysim.bands import range_label
from canopysim.errors import CanopysimError
from canopysim.light.spectrum.headings import COLUMNS, unit_of_values, wants_nm
from canopysim.light.spectrum.spectrum import WAVELENGTHS_NM, Spectrum
from canopysim.units import shown

MOST_ROWS = 20_000
MOST_BYTES = 4_000_000
LONGEST_LINE = 400
LARGEST_VALUE = 1e12
# A table that stays below this everywhere holds nothing.
LEAST_PEAK = 1e-12
PLANT_LIGHT_NM = (300.0, 1100.0)
"""A table must hold light somewhere in here, nm; one that does not is no light for plants."""

_NUMBER = re.compile(
    r"[+-]?(?:[0-9]{1,20}(?:\.[0-9]{0,25})?|\.[0-9]{1,25})(?:[eE][+-]?[0-9]{1,3})?"
)
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+(?:[eE][+-]?[0-9]{1,3})?")
_NO_NUMBERS = {"", "nan", "na", "n/a", "#n/a", "-", "inf", "+inf", "-inf", "infinity", "null"}

Cells = list[str]


def read_spectrum(path: str | Path, unit: str | None = None) -> Spectrum:
    """Read a spectral table from a file.

    Parameters
    ----------
    path : str or Path
        Text in UTF-8 or, as older spreadsheets write it, Windows-1252.
    unit : str, optional
        As for `parse_spectrum`.

    Returns
    -------
    Spectrum

    Raises
    ------
    CanopysimError
        If the file cannot be read, or as in `parse_spectrum`.
    """
    try:
        with Path(path).open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise CanopysimError(f"{path}: cannot be read ({reason})") from None
    if len(data) > MOST_BYTES:
        raise CanopysimError(f"{path}: larger than {MOST_BYTES // 1_000_000} MB; thin out the rows")
    if b"\0" in data:
        raise CanopysimError(f"{path}: is not a text file in UTF-8; save it as plain CSV")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    return parse_spectrum(text, str(path), unit)


def parse_spectrum(text: str, name: str, unit: str | None = None) -> Spectrum:
    """Read a spectral table from text.

    Two columns, wavelength and value, between commas, semicolons or tabs; numbers take a decimal
    point. Lines that begin with ``#`` and empty lines are left out. The first line left may name
    the columns with their units, such as ``wavelength_nm, W/nm``.

    Parameters
    ----------
    text : str
        The table: 2 to 20,000 rows, wavelengths ascending in any steps.
    name : str
        What messages call the table, such as the name of its file.
    unit : str, optional
        Unit of the values, one of `headings.COLUMNS`; needed where no header tells it. A header
        that tells another one is an error.

    Returns
    -------
    Spectrum
        Straight between the rows in what the unit names, photons or power; zero outside the table.

    Raises
    ------
    CanopysimError
        One sentence, ``name:line: what is wrong; what to do``, on the first mistake.
    ValueError
        If `unit` is not one of those known.
    """
    if unit is not None and unit not in COLUMNS:
        raise ValueError(f"{shown(unit)} is not a unit of a spectrum; known: {', '.join(COLUMNS)}")
    rows = _rows(text, name)
    if not rows:
        _refuse(
            name, 1, "no rows; write wavelength and value, for example '450, 1.25', line by line"
        )
    line, first = rows[0]
    headed = _NUMBER.fullmatch(first[0]) is None and _DECIMAL_COMMA.fullmatch(first[0]) is None
    if headed:
        unit = _header(name, line, first, unit)
        rows = rows[1:]
    elif unit is None:
        known = ", ".join(COLUMNS)
        _refuse(
            name,
            line,
            "nothing says what the values are; write a first line such as 'wavelength_nm, W/nm' "
            f"(units: {known})",
        )
    return _spectrum(name, line, rows, unit)


def _refuse(name: str, line: int, what: str) -> NoReturn:
    raise CanopysimError(f"{name}:{line}: {what}")


def _rows(text: str, name: str) -> list[tuple[int, Cells]]:
    """Split the lines that are neither empty nor comments into cells."""
    rows: list[tuple[int, Cells]] = []
    separator = ""
    lines = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n")
    for number, line in enumerate(lines, 1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        if len(line) > LONGEST_LINE:
            _refuse(name, number, f"longer than {LONGEST_LINE} characters; one row has two numbers")
        separator = separator or next((s for s in ";\t," if s in line), "")
        if not separator:
            _refuse(
                name,
                number,
                f"{shown(line.strip())} is one column; put a comma, a semicolon or a tab between "
                "wavelength and value",
            )
        rows.append((number, _cells(name, number, line, separator)))
    return rows


def _cells(name: str, number: int, line: str, separator: str) -> Cells:
    """Cells of a line, of which there must be two; empty ones at its end do not count."""
    cells = [cell.strip() for cell in next(csv.reader([line], delimiter=separator))]
    while len(cells) > 2 and not cells[-1]:
        cells.pop()
    if len(cells) != 2:
        word = {",": "commas", ";": "semicolons", "\t": "tabs"}[separator]
        count = f"{len(cells)} column{'s' if len(cells) > 1 else ''}"
        _refuse(
            name,
            number,
            f"{count} between {word} where a spectrum has two, wavelength and value; "
            "numbers take a decimal point",
        )
    return cells


def _header(name: str, line: int, cells: Cells, unit: str | None) -> str:
    """Find the unit of the values: in the header or, where it tells none, as given."""
    try:
        wants_nm(cells[0])
        told = unit_of_values(cells[1], required=unit is None)
    except ValueError as error:
        _refuse(name, line, str(error))
    if unit is None or told == unit:
        assert told is not None
        return told
    if told is not None:
        _refuse(
            name, line, f"the header says {told}, but {unit} was asked for; mend one of the two"
        )
    return unit


def _number(name: str, line: int, cell: str, what: str) -> float:
    """Read a finite number that is not negative."""
    if cell.lower() in _NO_NUMBERS:
        _refuse(name, line, f"{shown(cell)} is no number for the {what}; leave out the row")
    if _DECIMAL_COMMA.fullmatch(cell):
        point = cell.replace(",", ".")
        _refuse(name, line, f"{shown(cell)} has a decimal comma; write it with a point, {point!r}")
    if _NUMBER.fullmatch(cell) is None:
        _refuse(name, line, f"{shown(cell)} is not a number for the {what}; write it as in '1.25'")
    value = float(cell)
    if value < 0:
        remedy = "write 0 where noise fell below it" if what == "value" else "give it in nm"
        _refuse(name, line, f"{shown(cell)} is negative for the {what}; {remedy}")
    if not math.isfinite(value) or value > LARGEST_VALUE:
        _refuse(name, line, f"{shown(cell)} is too large for the {what}; at most {LARGEST_VALUE:g}")
    return value


def _wavelength(name: str, line: int, cell: str, before: float) -> float:
    """Read a wavelength that ascends from the one before."""
    nm = _number(name, line, cell, "wavelength")
    if not WAVELENGTHS_NM[0] <= nm <= WAVELENGTHS_NM[1]:
        remedy = "is it in µm? multiply by 1000" if nm < WAVELENGTHS_NM[0] else "is it in nm?"
        allowed = range_label(*WAVELENGTHS_NM)
        _refuse(name, line, f"wavelength {cell} is outside {allowed} nm; {remedy}")
    if nm == before:
        _refuse(name, line, f"wavelength {cell} nm is there twice; keep one row of each wavelength")
    if nm < before:
        _refuse(
            name, line, f"wavelength {cell} nm comes after {before:g} nm; sort the rows to ascend"
        )
    return nm


def _spectrum(name: str, line: int, rows: list[tuple[int, Cells]], unit: str) -> Spectrum:
    """Turn rows into a spectrum; `line` is where the table begins."""
    if len(rows) > MOST_ROWS:
        at = rows[MOST_ROWS][0]
        _refuse(name, at, f"more than {MOST_ROWS} rows; thin out the table, 1 nm is plenty")
    if len(rows) < 2:
        count = "1 row" if rows else "no row"
        _refuse(name, line, f"{count} of numbers; a spectrum needs at least 2")
    wavelengths: list[float] = []
    values: list[float] = []
    for at, cells in rows:
        before = wavelengths[-1] if wavelengths else -math.inf
        wavelengths.append(_wavelength(name, at, cells[0], before))
        values.append(_number(name, at, cells[1], "value"))
    if max(values) < LEAST_PEAK:
        _refuse(name, line, f"no value above {LEAST_PEAK:g}: no light; is it the right column?")
    column = COLUMNS[unit]
    make = Spectrum.of_power if column.basis == "power" else Spectrum.of_photons
    spectrum = make(wavelengths, [column.factor * value for value in values], column.total)
    if not spectrum.photons(*PLANT_LIGHT_NM) > 0:
        _refuse(
            name,
            line,
            f"no light within {range_label(*PLANT_LIGHT_NM)} nm; the table covers "
            f"{range_label(wavelengths[0], wavelengths[-1])} nm",
        )
    return spectrum
