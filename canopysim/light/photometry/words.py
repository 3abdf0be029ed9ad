"""Lines of text to numbers that know their line.

Nothing here trusts a count that a file states: numbers are taken from the words that are there.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopysim.light.photometry.text import LARGEST_FILE, Remarks
from canopysim.units import shown

Array = NDArray[np.float64]

# Longer runs of digits are no measurement. Words such as 'nan', 'inf' and '1_000' do not pass.
NUMBER = re.compile(r"[+-]?(?:[0-9]{1,30}\.?[0-9]{0,30}|\.[0-9]{1,30})(?:[eE][+-]?[0-9]{1,3})?")
# Angles nearer to each other than the first, in degrees, are one angle written twice; an angle
# nearer than the second to 90 is 90. Far apart, so that snapping never changes an order.
SAME_ANGLE = 1e-4
NEAR_ANGLE = 1e-6


@dataclass(frozen=True, eq=False)
class Axis:
    """Ascending angles as a file states them.

    Attributes
    ----------
    degrees : numpy.ndarray (n,)
        The angles.
    lines : tuple of int
        The line on which each stands.
    """

    degrees: Array
    lines: tuple[int, ...]


def is_number(word: str) -> bool:
    """Say whether a word is one plain decimal number."""
    return NUMBER.fullmatch(word) is not None


class Numbers:
    """The words of some lines, taken one group after the other as numbers.

    Parameters
    ----------
    rows : iterable of (int, str)
        Line numbers with what stands there.
    split : callable
        Cuts a line into words.
    remarks : Remarks
        Makes refusals.
    """

    def __init__(
        self,
        rows: Iterable[tuple[int, str]],
        split: Callable[[str], list[str]],
        remarks: Remarks,
    ) -> None:
        self._words: list[str] = []
        self._lines: list[int] = []
        self._remarks = remarks
        self._last_line = 0
        self.at = 0
        for line, row in rows:
            words = split(row)
            self._words += words
            self._lines += [line] * len(words)
            # Blank lines at the end are not where a file ends for its reader.
            self._last_line = line if words or not self._last_line else self._last_line

    def line(self, index: int) -> int:
        """Line of the word with this index, or the last line that holds one."""
        return self._lines[index] if index < len(self._lines) else self._last_line

    def take(self, count: int, what: str) -> Array:
        """Take the next numbers.

        Parameters
        ----------
        count : int
            How many, at least 0.
        what : str
            What one of them is, for messages.

        Returns
        -------
        numpy.ndarray (count,)
            Finite numbers.

        Raises
        ------
        CanopysimError
            If fewer words are left, or one is no finite number.
        """
        # The slice is as long as what is there, however large the count.
        words = self._words[self.at : self.at + count]
        for index, word in enumerate(words):
            if not is_number(word):
                which = f"the {what}" if count == 1 else f"{what} {index + 1} of {count}"
                raise self._remarks.refusal(
                    self.line(self.at + index),
                    f"{shown(word)} stands where {which} is expected; write a number, or check the "
                    "counts above",
                )
        if len(words) < count:
            which = f"before the {what}" if count == 1 else f"after {len(words)} of {count} {what}s"
            raise self._remarks.refusal(
                self._last_line,
                f"the file ends {which}; it is cut off, or a count in it is wrong",
            )
        values = np.array([float(word) for word in words], dtype=np.float64)
        if not np.isfinite(values).all():
            index = int(np.flatnonzero(~np.isfinite(values))[0])
            raise self._remarks.refusal(
                self.line(self.at + index),
                f"the {what} {shown(words[index])} is too large to be read; check it",
            )
        self.at += count
        return values

    def take_count(self, what: str, least: int = 1) -> int:
        """Take one whole number that is at least `least`; `what` names it in messages."""
        line = self.line(self.at)
        return whole(float(self.take(1, what)[0]), line, what, self._remarks, least)

    def take_angles(self, count: int, what: str) -> Axis:
        """Take ascending angles in degrees, or refuse them.

        Parameters
        ----------
        count : int
            How many.
        what : str
            What one of them is, for messages.

        Returns
        -------
        Axis
            Strictly ascending, each within a turn either way.

        Raises
        ------
        CanopysimError
            If they are missing, out of range, unsorted or duplicate.
        """
        first = self.at
        degrees = self.take(count, what)
        lines = tuple(self._lines[first : self.at])
        for index, angle in enumerate(degrees):
            if abs(angle) > 360.0:
                raise self._remarks.refusal(
                    lines[index],
                    f"the {what} {angle:g} is no angle in degrees from -360 to 360; check the "
                    "counts of angles above",
                )
            if index and angle - degrees[index - 1] <= SAME_ANGLE:
                again = abs(angle - degrees[index - 1]) <= SAME_ANGLE
                how = "stands twice" if again else f"follows {degrees[index - 1]:g}"
                raise self._remarks.refusal(
                    lines[index],
                    f"the {what} {angle:g} {how}; angles must ascend, each once (are the two "
                    "counts of angles swapped?)",
                )
        return Axis(degrees, lines)

    def take_table(self, n_plane: int, n_angle: int) -> Array:
        """Take the intensities, plane by plane.

        Parameters
        ----------
        n_plane, n_angle : int
            Planes, and angles in each.

        Returns
        -------
        numpy.ndarray (n_plane, n_angle)
            As written, none negative.

        Raises
        ------
        CanopysimError
            If values are missing, no numbers or negative.
        """
        first = self.at
        values = self.take(n_plane * n_angle, "intensity value")
        if (values < 0.0).any():
            index = int(np.flatnonzero(values < 0.0)[0])
            raise self._remarks.refusal(
                self.line(first + index),
                f"the intensity {values[index]:g} is negative; write 0 where no light goes",
            )
        # Adding zero turns -0.0 into 0.0.
        return values.reshape(n_plane, n_angle) + 0.0

    def warn_of_surplus(self, expected: str) -> None:
        """Warn if numbers follow the last one that was expected; other text may follow.

        Parameters
        ----------
        expected : str
            The table's size in words.
        """
        count = 0
        while self.at + count < len(self._words) and is_number(self._words[self.at + count]):
            count += 1
        if count:
            self._remarks.warn(
                self.line(self.at),
                f"{count} more numbers than {expected} stand here and are not used; check the "
                "counts of angles",
            )


def whole(value: float, line: int, what: str, remarks: Remarks, least: int = 1) -> int:
    """Turn a number that counts something into an int, or refuse it.

    Parameters
    ----------
    value : float
        The number.
    line : int
        Where it stands.
    what : str
        What it counts, for messages.
    remarks : Remarks
        Makes the refusal.
    least : int
        Least count that is allowed.

    Returns
    -------
    int
        The count.

    Raises
    ------
    CanopysimError
        If it is no whole number, less than `least` or more than a file can hold.
    """
    if value != round(value) or not least <= value <= LARGEST_FILE:
        raise remarks.refusal(
            line, f"the {what} is {value:g}; it must be a whole number, at least {least}"
        )
    return int(value)
