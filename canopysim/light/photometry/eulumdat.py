"""EULUMDAT files: one value per line, intensities in candela per 1000 lm of the lamps.

Candela = value x flux of all lamp sets / 1000 x conversion factor.

C is counter-clockwise seen from above as in LM-63, but C0 lies across a lamp and C90 along it,
where LM-63 has 0 along and 90 across. With our x along the lamp there is a quarter turn on import:
our C = C + 90 deg, so C0 becomes +y and C270 becomes +x.

How sure this is: that the turn is a quarter and that both formats count the same way is the rule
of the trade; files keep it for bars and linear lamps, less so for street lights, whose makers put
C0 and the 0 plane alike along the street. The sign of the turn is a convention of this program:
neither format says which end of a lamp is which. It keeps the favoured side of a fixture that
shines to one side of its lamp, C0 here and 90 in LM-63. The other sign would be a half turn about
the vertical, which a light's `turn: 180 deg` makes; fixtures that are symmetric about both upright
planes do not feel it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from canopysim.light.photometry.distribution import CANDELA, Distribution, flux
from canopysim.light.photometry.doubts import (
    doubt_down_share,
    doubt_efficacy,
    doubt_fixture_flux,
    doubt_lamp_flux,
    read_watts,
    refuse_no_light,
)
from canopysim.light.photometry.opening import eulumdat_opening
from canopysim.light.photometry.planes import warn_of_poles, whole_sphere, whole_turn
from canopysim.light.photometry.summary import cone_share
from canopysim.light.photometry.text import Remarks, file_lines
from canopysim.light.photometry.words import NEAR_ANGLE, Array, Axis, Numbers, is_number, whole
from canopysim.units import shown

TURN_DEG = 90.0
# Lines before the lamp sets, lines of a set, and ratios after them.
N_HEAD, N_SET, N_RATIO = 26, 6, 10
# Symmetry: first and last stored plane, in degrees.
_STORED = {2: (0.0, 180.0), 3: (270.0, 450.0), 4: (0.0, 90.0)}
_LABELS = {1: "COMPANY", 8: "REPORT", 9: "LUMINAIRE", 10: "NUMBER", 11: "FILE", 12: "DATE"}


@dataclass(frozen=True)
class _Lamps:
    """All lamp sets together: count, flux in lm, watts and the lines of the latter two."""

    count: int
    flux: float
    flux_line: int
    absolute: bool
    watts: float
    watts_line: int


class _Fields:
    """Lines of the head, by their number, as text or number."""

    def __init__(self, lines: list[str], remarks: Remarks) -> None:
        self._lines = lines
        self._remarks = remarks

    def number(self, line: int, what: str, unknown: float | None = None) -> float:
        """Read a number; a blank line is `unknown`, if it may be."""
        text = self._lines[line - 1].strip()
        if not text and unknown is not None:
            return unknown
        word = decimal_point(text)
        value = float(word) if is_number(word) else np.inf
        if not np.isfinite(value):
            raise self._remarks.refusal(
                line,
                f"{shown(text)} stands where the {what} is expected; write a number there, and "
                "check that every value has its own line",
            )
        return value

    def count(self, line: int, what: str, least: int) -> int:
        """Read a whole number, at least `least`."""
        return whole(self.number(line, what), line, what, self._remarks, least)

    def labels(self) -> tuple[tuple[str, str], ...]:
        """Texts that are not blank."""
        texts = [(word, self._lines[line - 1].strip()) for line, word in _LABELS.items()]
        return tuple((word, "".join(filter(str.isprintable, text))) for word, text in texts if text)


def decimal_point(word: str) -> str:
    """Write a decimal comma as a point."""
    return word.replace(",", ".") if word.count(",") == 1 and "." not in word else word


def split_words(row: str) -> list[str]:
    """Cut a line at blanks, tabs and semicolons; commas are decimal."""
    return [decimal_point(word) for word in row.replace(";", " ").split()]


def parse_eulumdat(data: bytes, name: str, *, unit: str = CANDELA) -> Distribution:
    """Read an EULUMDAT file.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        How messages call it.
    unit : str
        What the table holds per 1000 lm, a mere label: "cd" or "umol s-1 sr-1".

    Returns
    -------
    Distribution
        In the fixture's frame, symmetries unfolded, turned by 90 degrees; doubts in its
        `warnings`.

    Raises
    ------
    CanopysimError
        One sentence, ``NAME:LINE: what is wrong; what would help``.
    """
    remarks = Remarks(name)
    lines = file_lines(data, remarks)
    last = max((number for number, row in enumerate(lines, 1) if row.strip()), default=1)
    if last < N_HEAD:
        raise remarks.refusal(
            last,
            f"the file ends after {last} lines, but one with a symmetry on line 3 is EULUMDAT, "
            f"which has {N_HEAD} and more; it is cut off or no photometric file",
        )
    fields = _Fields(lines, remarks)
    symmetry = fields.count(3, "symmetry", 0)
    if symmetry > 4:
        raise remarks.refusal(3, f"the symmetry is {symmetry}; allowed: 0, 1, 2, 3 and 4")
    n_plane = fields.count(4, "number of C planes", 1)
    n_gamma = fields.count(6, "number of angles in a plane", 2)
    conversion = fields.number(24, "conversion factor")
    if conversion <= 0.0:
        raise remarks.refusal(
            24, f"the conversion factor is {conversion:g}, which leaves no light; write 1"
        )
    tilt = fields.number(25, "tilt while measured", 0.0)
    if tilt != 0.0:
        remarks.warn(
            25,
            f"the fixture was tilted by {tilt:g} deg while measured and is not tilted back; tilt "
            "the light in the scene if the table is for the tilted fixture",
        )
    n_set = fields.count(26, "number of lamp sets", 1)
    if n_set > (len(lines) - N_HEAD) // N_SET:
        raise remarks.refusal(
            26, f"{n_set} lamp sets of {N_SET} lines do not fit the file; correct their number"
        )
    lamps = _read_lamps(fields, n_set, remarks)
    start = N_HEAD + N_SET * n_set
    numbers = Numbers(enumerate(lines[start:], start + 1), split_words, remarks)
    numbers.take(N_RATIO, "direct ratio")
    c = numbers.take_angles(n_plane, "C angle")
    gamma = numbers.take_angles(n_gamma, "gamma angle")
    stored = _stored_planes(c, symmetry, remarks)
    table_line = numbers.line(numbers.at)
    with np.errstate(over="ignore", invalid="ignore"):
        table = numbers.take_table(len(stored.degrees), n_gamma)
        table = table * (lamps.flux / 1000.0 * conversion)
    refuse_no_light(table, table_line, remarks)
    numbers.warn_of_surplus(f"the {len(stored.degrees)} x {n_gamma} of symmetry {symmetry}")
    warn_of_poles(gamma, table, remarks)
    gamma_deg, table = whole_sphere(gamma, table, remarks)
    c_deg, table = whole_turn(*_ended(stored, table, symmetry), remarks, TURN_DEG)
    return _finish(fields, lamps, c_deg, gamma_deg, table, unit, remarks)


def _read_lamps(fields: _Fields, n_set: int, remarks: Remarks) -> _Lamps:
    """Add up the lamp sets; a negative number of lamps marks absolute photometry."""
    firsts = range(N_HEAD + 1, N_HEAD + 1 + N_SET * n_set, N_SET)
    counts = [fields.number(first, "number of lamps", 1.0) for first in firsts]
    total = sum(fields.number(first + 2, "flux of the lamps") for first in firsts)
    watts = sum(fields.number(first + 5, "input power", 0.0) for first in firsts)
    line = firsts[0]
    if not 0.0 < total < np.inf:
        raise remarks.refusal(
            line + 2,
            f"the lamps' flux is {total:g} lm, but the table is in candela per 1000 lm of it; "
            "write the flux in lm (1000 if the table holds candela)",
        )
    if n_set > 1:
        remarks.warn(
            line,
            f"there are {n_set} lamp sets, whose fluxes and powers are added up to {total:g} lm; "
            "delete all but one if they are alternatives",
        )
    count = int(np.clip(sum(abs(count) for count in counts), 0, 1e9))
    return _Lamps(count, total, line + 2, min(counts) < 0.0, watts, line + 5)


def _stored_planes(c: Axis, symmetry: int, remarks: Remarks) -> Axis:
    """Angles of the planes that the table holds, which the symmetry tells, ascending."""
    if symmetry == 0:
        return c
    if symmetry == 1:
        return Axis(c.degrees[:1], c.lines[:1])
    first, last = _STORED[symmetry]
    # Planes are listed over the whole turn; C270 to C90 runs through the end of the list.
    angles = np.concatenate([c.degrees, c.degrees + 360.0])
    inside = (angles >= first - NEAR_ANGLE) & (angles <= last + NEAR_ANGLE)
    lines = tuple(line for line, keep in zip(c.lines * 2, inside, strict=True) if keep)
    angles = angles[inside]
    # A list that names 360 as well as 0 names one plane twice.
    once = np.append(True, np.diff(angles) > NEAR_ANGLE)
    lines = tuple(line for line, keep in zip(lines, once, strict=True) if keep)
    angles = angles[once]
    if len(angles) < 2 or max(abs(angles[[0, -1]] - (first, last))) > NEAR_ANGLE:
        raise remarks.refusal(
            c.lines[0],
            f"symmetry {symmetry} stores the planes from C{first:g} to C{last % 360:g}, but these "
            "are not both listed; correct the symmetry or the C angles",
        )
    return Axis(angles, lines)


def _ended(stored: Axis, table: Array, symmetry: int) -> tuple[Axis, Array]:
    """Repeat C0 at C360, which EULUMDAT leaves out of a full turn."""
    degrees = stored.degrees
    if symmetry != 0 or len(degrees) == 1 or degrees[-1] - degrees[0] >= 360.0 - NEAR_ANGLE:
        return stored, table
    again = Axis(np.append(degrees, degrees[0] + 360.0), (*stored.lines, stored.lines[-1]))
    return again, np.concatenate([table, table[:1]])


def _finish(
    fields: _Fields,
    lamps: _Lamps,
    c_deg: Array,
    gamma_deg: Array,
    table: Array,
    unit: str,
    remarks: Remarks,
) -> Distribution:
    """Build the distribution, then doubt what the head says of it."""
    heights = [fields.number(line, "luminous height", 0.0) for line in (18, 19, 20, 21)]
    length, width = (fields.number(line, "size of the luminous area", 0.0) for line in (16, 17))
    ratio = fields.number(23, "light output ratio", 0.0) / 100.0
    if lamps.absolute and ratio <= 0.0:
        # The flux of an absolute file is that of the fixture.
        ratio = 1.0
    stated = lamps.flux * ratio
    down = fields.number(22, "downward flux fraction", 0.0) / 100.0
    watts = read_watts(lamps.watts, lamps.watts_line, remarks)
    opening = eulumdat_opening(length, width, max(map(abs, heights)), 16, remarks)
    result = Distribution(
        name=remarks.name,
        source="EULUMDAT",
        unit=unit,
        c_rad=np.radians(c_deg),
        gamma_rad=np.radians(gamma_deg),
        intensity=table,
        opening=opening,
        stated_flux=stated if stated > 0.0 else lamps.flux,
        watts=watts,
        n_lamp=lamps.count,
        labels=fields.labels(),
    )
    total = flux(result)
    if stated > 0.0:
        doubt_fixture_flux(total, stated, 23, unit, remarks)
    else:
        doubt_lamp_flux(total, lamps.flux, lamps.flux_line, unit, remarks)
    if down > 0.0:
        doubt_down_share(cone_share(result, np.pi / 2.0), down, 22, remarks)
    if watts is not None:
        doubt_efficacy(total, watts, lamps.watts_line, unit, remarks)
    return replace(result, warnings=tuple(remarks.warnings))
