"""The head of an LM-63 file: edition, labels, and the TILT line that ends it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from canopysim.light.photometry.text import Remarks
from canopysim.light.photometry.words import is_number
from canopysim.units import shown

# As written: 'IESNA91', 'IESNA:LM-63-1995', 'IES:LM-63-2019', and with blanks or in small letters.
_VERSION = re.compile(r"IES(?:NA)?[\s:_-]*(?:LM[\s_-]*63)?[\s:_-]*([0-9]{4}|[0-9]{2})", re.I)
# The pattern would be slow on a long run of blanks.
LONGEST_VERSION = 60
_TILT = re.compile(r"TILT\s*=\s*(.*)", re.I)
_LABEL = re.compile(r"\[([^\[\]]{1,80})\](.*)")
_EDITIONS = (2019, 2002, 1995, 1991, 1986)


@dataclass(frozen=True)
class Head:
    """What stands before the numbers.

    Attributes
    ----------
    edition : int
        1986, 1991, 1995, 2002 or 2019.
    version_is_guessed : bool
        Whether the file has no version line that could be read; such files are of 1986.
    labels : tuple of (str, str)
        Keyword without its brackets, or "" for free text, and text; [MORE] is joined on.
    tilt_line : int
        Line of TILT=, counted from 1.
    tilt_included : bool
        Whether a block of tilt factors follows.
    after_tilt : str
        Numbers that follow on the TILT line itself; "" for anything else there.
    """

    edition: int
    version_is_guessed: bool
    labels: tuple[tuple[str, str], ...]
    tilt_line: int
    tilt_included: bool
    after_tilt: str


def find_tilt(lines: list[str]) -> tuple[int, str] | None:
    """Find the line that begins with TILT=, and what it says.

    Parameters
    ----------
    lines : list of str
        The file.

    Returns
    -------
    (int, str) or None
        Line counted from 1, and the text after the equals sign. A line that says NONE or INCLUDE
        goes before others, because a label may happen to begin like one.
    """
    found = None
    for number, row in enumerate(lines, 1):
        match = _TILT.fullmatch(row.strip())
        if match is None:
            continue
        if _tilt_words(match[1])[0] in ("NONE", "INCLUDE"):
            return number, match[1]
        found = found or (number, match[1])
    return found


def _tilt_words(text: str) -> tuple[str, list[str]]:
    words = text.replace(",", " ").split()
    return (words[0].upper() if words else ""), words[1:]


def read_head(lines: list[str], remarks: Remarks) -> Head:
    """Read edition, labels and the TILT line.

    Parameters
    ----------
    lines : list of str
        The file.
    remarks : Remarks
        Takes warnings, makes refusals.

    Returns
    -------
    Head
        What they say.

    Raises
    ------
    CanopysimError
        If there is no TILT line, or it names another file.
    """
    found = find_tilt(lines)
    if found is None:
        raise remarks.refusal(
            1, "no line begins with TILT=, so this is no LM-63 file; ask for a file that has it"
        )
    tilt_line, text = found
    word, rest = _tilt_words(text)
    if word not in ("NONE", "INCLUDE"):
        raise remarks.refusal(
            tilt_line,
            f"the tilt factors are in another file, {shown(text)}, which is not read; put them "
            "here after TILT=INCLUDE, or write TILT=NONE (right for LEDs)",
        )
    head = [(number, row.strip()) for number, row in enumerate(lines[: tilt_line - 1], 1)]
    head = [(number, row) for number, row in head if row]
    edition, guessed = 1986, True
    if head and head[0][1].upper().startswith("IES"):
        edition, guessed = _edition(*head.pop(0), remarks)
    return Head(
        edition=edition,
        version_is_guessed=guessed,
        labels=_labels([row for _, row in head]),
        tilt_line=tilt_line,
        tilt_included=word == "INCLUDE",
        after_tilt=" ".join(rest) if all(is_number(word) for word in rest) else "",
    )


def _edition(line: int, row: str, remarks: Remarks) -> tuple[int, bool]:
    """Edition of a version line, and whether it is a guess."""
    match = _VERSION.fullmatch(row) if len(row) <= LONGEST_VERSION else None
    if match is None:
        remarks.warn(
            line,
            f"the version {shown(row)} is not known; read as a file of 1986, so write for example "
            "IES:LM-63-2019 if it is newer",
        )
        return 1986, True
    year = int(match[1])
    if year < 100:
        year += 1900 if year > 80 else 2000
    return next((e for e in _EDITIONS if year >= e), 1986), False


def _labels(rows: list[str]) -> tuple[tuple[str, str], ...]:
    """Pair keywords with their texts; unprintable characters are left out."""
    labels: list[tuple[str, str]] = []
    for row in rows:
        clean = "".join(character for character in row if character.isprintable())
        match = _LABEL.fullmatch(clean)
        keyword, text = (match[1].strip().upper(), match[2].strip()) if match else ("", clean)
        if keyword == "MORE" and labels:
            before, begun = labels.pop()
            labels.append((before, f"{begun} {text}".strip()))
        else:
            labels.append((keyword, text))
    return tuple(labels)
