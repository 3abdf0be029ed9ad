"""A photometric file of either format, told apart by what it holds."""

from __future__ import annotations

import stat
from pathlib import Path

from canopysim.light.photometry.distribution import CANDELA, Distribution
from canopysim.light.photometry.eulumdat import parse_eulumdat
from canopysim.light.photometry.lm63 import parse_lm63
from canopysim.light.photometry.lm63_head import find_tilt
from canopysim.light.photometry.text import LARGEST_FILE, Remarks, file_lines


def read_photometric(path: Path, *, name: str | None = None, unit: str = CANDELA) -> Distribution:
    """Read an LM-63 or EULUMDAT file from disk.

    Parameters
    ----------
    path : Path
        A regular file of at most 8 MiB.
    name : str or None
        How messages call it; its path if None.
    unit : str
        What its table holds, a mere label: "cd" or "umol s-1 sr-1".

    Returns
    -------
    Distribution
        In the fixture's frame.

    Raises
    ------
    CanopysimError
        One sentence, ``NAME:LINE: what is wrong; what would help``.
    """
    called = str(path) if name is None else name
    remarks = Remarks(called)
    try:
        # A pipe or a device might never end.
        if not stat.S_ISREG(path.stat().st_mode):
            raise remarks.refusal(1, "this is no regular file; name a photometric file")
        with path.open("rb") as stream:
            data = stream.read(LARGEST_FILE + 1)
    except FileNotFoundError:
        raise remarks.refusal(1, "there is no such file; name one that exists") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise remarks.refusal(
            1, f"the file cannot be read ({reason}); name one that can be"
        ) from None
    return parse_photometric(data, called, unit=unit)


def parse_photometric(data: bytes, name: str, *, unit: str = CANDELA) -> Distribution:
    """Read a file of either format.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        How messages call it; its ending is not looked at.
    unit : str
        What its table holds, a mere label: "cd" or "umol s-1 sr-1".

    Returns
    -------
    Distribution
        In the fixture's frame.

    Raises
    ------
    CanopysimError
        One sentence, ``NAME:LINE: what is wrong; what would help``.
    """
    remarks = Remarks(name)
    lines = file_lines(data, remarks)
    if find_tilt(lines) is not None:
        return parse_lm63(data, name, unit=unit)
    if lines[0].lstrip().startswith("<"):
        raise remarks.refusal(
            1, "this looks like XML (TM-33?), which is not read; ask for an LM-63 or EULUMDAT file"
        )
    # The third line of EULUMDAT is its symmetry, a digit of its own.
    if len(lines) > 2 and lines[2].strip().isdecimal():
        return parse_eulumdat(data, name, unit=unit)
    raise remarks.refusal(
        1,
        "no line begins with TILT= as LM-63 files have it, and line 3 is no symmetry as EULUMDAT "
        "has it; ask for a photometric file in one of these formats",
    )
