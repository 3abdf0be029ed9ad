"""A grower's own readings at several depths, read from a file and set beside the trace."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.books import UNKNOWN, Estimate, Span
from canopysim.analysis.jackknife import jackknife_error, leave_one_out
from canopysim.analysis.penetration import clear_of_noise
from canopysim.analysis.profile import profile
from canopysim.bands import PAR
from canopysim.errors import CanopysimError
from canopysim.units import LENGTH_UNITS_M, parse_length, shown

if TYPE_CHECKING:
    from canopysim.results import Result

Array = NDArray[np.float64]
MOST_BYTES = 2_000_000
MOST_READINGS = 10_000
MOST_PFD = 1e5
MOST_LAI = 50.0
COLUMNS = "height (each with its unit, or 'height cm'), or lai; then ppfd; perhaps error"


@dataclass(frozen=True)
class Reading:
    """One reading in the canopy.

    Attributes
    ----------
    height : float
        Above the floor, m; NaN where the place is given by leaf area.
    lai : float
        Leaf area index above the place, m² m⁻²; NaN where it is given by height.
    pfd : Estimate
        µmol m⁻² s⁻¹, and its standard error; NaN where the file has none.
    """

    height: float
    lai: float
    pfd: Estimate


@dataclass(frozen=True)
class Compared:
    """A reading beside the trace.

    Attributes
    ----------
    reading : Reading
        As measured.
    traced : Estimate
        Mean over the floor's extent at that place, µmol m⁻² s⁻¹; NaN outside the canopy.
    difference, ratio : Estimate
        Traced less measured, and traced over measured; an error that is not known is left out.
    z : float
        The difference over its standard error; NaN where the reading brings no error, since the
        trace's own is not the larger part.
    """

    reading: Reading
    traced: Estimate
    difference: Estimate
    ratio: Estimate
    z: float


def read_profile(path: str | Path) -> list[Reading]:
    """Read measured light by depth.

    Parameters
    ----------
    path : path
        CSV with one line of headings, parted by commas, semicolons or tabs: ``height`` whose cells
        carry a unit (``45 cm``), or ``height cm`` (mm, cm, m, in, ft) with bare numbers, or ``lai``
        (leaf area index above the place); ``ppfd`` (µmol m⁻² s⁻¹); perhaps ``error`` (one standard
        error, the same unit).

    Returns
    -------
    list of Reading
        In the order of the file.

    Raises
    ------
    CanopysimError
        With the line, what stands there and what is allowed.
    """
    place = Path(path)
    try:
        if place.stat().st_size > MOST_BYTES:
            raise CanopysimError(f"{place}: is larger than {MOST_BYTES} bytes; that is no profile")
        text = place.read_text("utf-8-sig")
    except (OSError, UnicodeDecodeError) as problem:
        raise CanopysimError(f"{place}: cannot be read as text ({problem})") from problem
    first = text.split("\n", 1)[0]
    delimiter = next((mark for mark in ";\t" if mark in first), ",")
    rows = csv.reader(io.StringIO(text), delimiter=delimiter)
    try:
        lines = [(rows.line_num, [c.strip() for c in row]) for row in rows if any(row)]
    except csv.Error as problem:
        raise CanopysimError(f"{place}:{rows.line_num}  is no CSV ({problem})") from problem
    if len(lines) < 2:
        raise CanopysimError(f"{place}: holds no readings; write headings {COLUMNS}, then readings")
    if len(lines) > MOST_READINGS + 1:
        raise CanopysimError(f"{place}: holds more than {MOST_READINGS} readings")
    columns = _columns(lines[0][1], f"{place}:{lines[0][0]}")
    return [_reading(cells, columns, f"{place}:{line}") for line, cells in lines[1:]]


def compare(
    result: Result,
    readings: list[Reading],
    *,
    span: Span = PAR,
    group: str = "all",
    flux: str = "down",
) -> list[Compared]:
    """Set readings beside the trace.

    Parameters
    ----------
    result : Result
        Whose profile is known; the flux downward has to be counted.
    readings : list of Reading
        From `read_profile`.
    span : (low, high)
        Range of whole traced bands that the meter counts, nm.
    group : str
        Group of lights that was on, or "all".
    flux : str
        "down" for a meter that looks up, "up" for one turned over, or "net".

    Returns
    -------
    list of Compared
        The trace between boundaries is interpolated in the logarithm, or in the flux itself where
        that is not clear of its noise. It is a mean over the floor's extent: the mean of several
        readings at one height is what to compare with.

    Raises
    ------
    CanopysimError
        Where the flux is not known.
    """
    of = profile(result, span=span, group=group)
    rows = np.asarray(getattr(of, flux))
    if not np.isfinite(rows).any():
        raise CanopysimError(
            f"the result tells the net flux alone, not the one {flux}; set 'profile: true' under "
            "'canopy' in the scene and trace again"
        )
    return [_compared(reading, of.height, of.lai, rows) for reading in readings]


def _columns(headings: list[str], where: str) -> dict[str, int]:
    """Which column holds what; a height's unit is part of its key."""
    found: dict[str, int] = {}
    for number, heading in enumerate(headings):
        words = heading.lower().replace("(", " ").replace(")", " ").replace(",", " ")
        parts = words.replace("_", " ").split()
        name = parts[0] if parts else ""
        if name == "height" and len(parts) > 1:
            if len(parts) > 2 or parts[1] not in LENGTH_UNITS_M:
                raise CanopysimError(
                    f"{where}  {shown(heading)}: no unit of length; allowed: "
                    f"{', '.join(LENGTH_UNITS_M)}"
                )
            name = f"height {parts[1]}"
        kind = name.split()[0] if name else ""
        if kind in ("height", "lai", "ppfd", "error"):
            if kind in (key.split()[0] for key in found):
                raise CanopysimError(f"{where}  {shown(heading)}: stands here twice")
            found[name] = number
    places = [key for key in found if key.startswith(("height", "lai"))]
    if len(places) != 1 or "ppfd" not in found:
        raise CanopysimError(f"{where}  the headings do not tell place and light; write {COLUMNS}")
    return found


def _reading(cells: list[str], columns: dict[str, int], where: str) -> Reading:
    """Read one line."""
    height, lai = float("nan"), float("nan")
    values: dict[str, float] = {}
    for name, number in columns.items():
        cell = cells[number] if number < len(cells) else ""
        if name == "height":
            try:
                height = parse_length(cell)
            except ValueError as problem:
                raise CanopysimError(f"{where}  height: {problem}") from None
        elif name == "error" and not cell:
            continue
        else:
            values[name.split()[0]] = _number(cell, f"{where}  {name}")
        if name.startswith("height ") and "height" in values:
            height = values["height"] * float(LENGTH_UNITS_M[name.split()[1]])
    lai = values.get("lai", lai)
    if lai > MOST_LAI or values["ppfd"] > MOST_PFD:
        raise CanopysimError(f"{where}  no canopy has such a reading; are the columns swapped?")
    return Reading(height, lai, Estimate(values["ppfd"], values.get("error", float("nan"))))


def _number(cell: str, where: str) -> float:
    """Read a bare number that is not negative; a decimal comma is one."""
    try:
        value = float(cell.replace(",", ".") if cell.count(",") == 1 else cell)
    except ValueError:
        raise CanopysimError(f"{where}: {shown(cell)} is not a number") from None
    if not (math.isfinite(value) and value >= 0.0):
        raise CanopysimError(f"{where}: {shown(cell)} is out of range; allowed is 0 or more")
    return value


def _compared(reading: Reading, height: Array, lai: Array, rows: Array) -> Compared:
    traced = _traced(reading, height, lai, rows)
    measured = reading.pfd
    both = np.hypot(np.nan_to_num(traced.std_err), np.nan_to_num(measured.std_err))
    difference = Estimate(traced.value - measured.value, float(both))
    quotient = UNKNOWN
    if measured.value > 0.0:
        value = traced.value / measured.value
        own = np.nan_to_num([traced.std_err, value * measured.std_err])
        quotient = Estimate(value, float(np.hypot(*own) / measured.value))
    known = math.isfinite(measured.std_err) and both > 0.0
    return Compared(
        reading=reading,
        traced=traced,
        difference=difference,
        ratio=quotient,
        z=difference.value / float(both) if known else float("nan"),
    )


def _traced(reading: Reading, height: Array, lai: Array, rows: Array) -> Estimate:
    """Find what the trace has at a reading's place."""
    by_height = math.isfinite(reading.height)
    scale, at = (-height, -reading.height) if by_height else (lai, reading.lai)
    if not scale[0] <= at <= scale[-1]:
        return UNKNOWN
    below = int(np.clip(np.searchsorted(scale, at), 1, len(scale) - 1))
    step = scale[below] - scale[below - 1]
    part = (at - scale[below - 1]) / step if step > 0.0 else 0.0
    pair = rows[:, below - 1 : below + 1]
    positive = bool(clear_of_noise(pair).all())

    def between(flux: Array) -> Array:
        high, low = flux[..., 0], flux[..., 1]
        if positive:
            return np.asarray(high * (low / high) ** part)
        return np.asarray(high + part * (low - high))

    error = jackknife_error(between(leave_one_out(pair)))
    return Estimate(float(between(pair.mean(axis=0))), float(error))
