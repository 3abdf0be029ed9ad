"""The latest table: what a run printed, kept between two marks of a file."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TextIO

BEGIN, END = "<!-- table: written by --write -->", "<!-- end of the table -->"


class Copy(io.TextIOBase):
    """A stream that hands everything on at once and keeps it.

    Parameters
    ----------
    stream : text stream
        Where it goes.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._kept = io.StringIO()

    def write(self, text: str) -> int:
        """Take text."""
        self._kept.write(text)
        self._stream.write(text)
        self._stream.flush()
        return len(text)

    def text(self) -> str:
        """All that was written."""
        return self._kept.getvalue()


def write_table(path: Path, printed: str) -> None:
    """Put what was printed between the marks, as it is; all else in the file stays.

    Raises
    ------
    ValueError
        If the marks are not there, once each and in their order.
    """
    text = path.read_text("utf-8")
    if text.count(BEGIN) != 1 or text.count(END) != 1 or text.index(BEGIN) > text.index(END):
        raise ValueError(f"{path}: needs the marks '{BEGIN}' and '{END}', once each, in this order")
    before, _, rest = text.partition(BEGIN)
    after = rest.partition(END)[2]
    path.write_text(f"{before}{BEGIN}\n```\n{printed}```\n{END}{after}", "utf-8")
