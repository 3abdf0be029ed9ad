"""Bytes of a photometric file to lines of text, and what is to be said of a line."""

from __future__ import annotations

from canopysim.errors import CanopysimError
from canopysim.units import shown

# A table of 721 planes with 361 angles takes 1 to 4 MiB.
LARGEST_FILE = 8 * 1024 * 1024


class Remarks:
    """Warnings and refusals of one file, each ``NAME:LINE: sentence``.

    Parameters
    ----------
    name : str
        How messages call the file.
    """

    def __init__(self, name: str) -> None:
        self.name = shown(name, 200)[1:-1]
        self.warnings: list[str] = []

    def warn(self, line: int, message: str) -> None:
        """Keep one sentence about a line that makes the file doubtful, but not unreadable."""
        self.warnings.append(f"{self.name}:{line}: {message}")

    def refusal(self, line: int, message: str) -> CanopysimError:
        """Make the error for a line that keeps the file from being read."""
        return CanopysimError(f"{self.name}:{line}: {message}")


def file_lines(data: bytes, remarks: Remarks) -> list[str]:
    """Decode a file and cut it into lines.

    Parameters
    ----------
    data : bytes
        The whole file: UTF-8, UTF-16 with a mark, or else Windows-1252; lines end with CR, LF or
        both, also mixed. NUL bytes are dropped; Ctrl-Z ends the file, as it did in DOS.
    remarks : Remarks
        Makes the refusal.

    Returns
    -------
    list of str
        Lines without their ends.

    Raises
    ------
    CanopysimError
        If the file is larger than 8 MiB.
    """
    if len(data) > LARGEST_FILE:
        raise remarks.refusal(
            1, f"the file has {len(data)} bytes; a photometric file has at most {LARGEST_FILE}"
        )
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = data.decode("utf-16", errors="replace")
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = data.removeprefix(b"\xef\xbb\xbf").decode("cp1252", errors="replace")
    text = text.replace("\0", "").partition("\x1a")[0]
    # Replaced one after the other: a pattern for all of them would be slow on a run of CR.
    for end in ("\r\r\n", "\r\n", "\r"):
        text = text.replace(end, "\n")
    return text.split("\n")
