"""Tables that a scene refers to: spectra and photometric files, read where the scene names them."""

from __future__ import annotations

import stat
from collections.abc import Callable
from pathlib import Path

from canopysim.scene.yaml_text import Flaw, Listing, Mapping, Node, Text, UnreadableError

# Entries whose value may be a mapping with 'file'.
TABLE_KEYS = ("spectrum", "lens", "photometry", "response")
LARGEST_TABLE = 8 * 1024 * 1024
Resolve = Callable[[Path, str], Path]


def with_tables(
    node: Node, resolve: Resolve | None, sources: dict[str, str], flaws: list[Flaw]
) -> Node:
    """Put the text of every table beside the name of its file, as the entry 'table'.

    Parameters
    ----------
    node : Node
        Any part of a scene.
    resolve : callable, optional
        Finds a file from the file that refers to it and the reference as written; None where the
        scene has no folder. It raises ValueError with what is wrong.
    sources : dict of str to str
        Texts that were read, by the name that messages have; added to.
    flaws : list of Flaw
        What could not be read; added to.

    Returns
    -------
    Node
        The same node where nothing is referred to.
    """
    if isinstance(node, Listing):
        return Listing(
            node.place, tuple(with_tables(n, resolve, sources, flaws) for n in node.items)
        )
    if not isinstance(node, Mapping):
        return node
    entries = {}
    for key, (place, value) in node.entries.items():
        if key in TABLE_KEYS and isinstance(value, Mapping) and "file" in value.entries:
            try:
                value = _with_table(value, resolve, sources)
            except UnreadableError as error:
                flaws.extend(error.flaws)
        else:
            value = with_tables(value, resolve, sources, flaws)
        entries[key] = (place, value)
    return Mapping(node.place, entries)


def _with_table(node: Mapping, resolve: Resolve | None, sources: dict[str, str]) -> Mapping:
    """Read one table."""
    place, reference = node.entries["file"]
    if "table" in node.entries:
        message = "table: stands beside 'file'; write one of the two"
        raise UnreadableError([Flaw(node.entries["table"][0], message)])
    if not isinstance(reference, Text):
        message = "file: is not a file name; write a path from the folder of this file"
        raise UnreadableError([Flaw(place, message)])
    if resolve is None:
        message = "file: cannot be found for a scene without a folder; write its text as 'table'"
        raise UnreadableError([Flaw(place, message)])
    home = Path(place.file)
    try:
        target = resolve(home, reference.value)
    except ValueError as error:
        raise UnreadableError([Flaw(place, f"file: {error}")]) from None
    name = str(home.parent / reference.value)
    text = sources.get(name) or _read(target, Flaw(place, f"file: {reference.value}: "))
    sources[name] = text
    return Mapping(node.place, {**node.entries, "table": (place, Text(place, text))})


def _read(path: Path, flaw: Flaw) -> str:
    """Read a table of bounded size; bytes that are not UTF-8 are taken as Windows-1252."""

    def refuse(what: str) -> UnreadableError:
        return UnreadableError([Flaw(flaw.place, flaw.message + what)])

    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise refuse("is not a regular file; name the file itself")
        with path.open("rb") as stream:
            data = stream.read(LARGEST_TABLE + 1)
    except OSError as problem:
        raise refuse(f"cannot be read ({problem.strerror}); name a file that can be") from None
    if len(data) > LARGEST_TABLE:
        raise refuse(f"is too large; at most {LARGEST_TABLE // 2**20} MiB")
    try:
        return data.removeprefix(b"\xef\xbb\xbf").decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")
