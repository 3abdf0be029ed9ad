"""YAML as plain text with positions: nothing is guessed, nothing executes, everything is bounded.

Every scalar stays the text that the user wrote (``no``, ``1e3``, ``12:30`` and ``~`` are text).
The events of PyYAML's parser are composed into nodes here, so that size, depth and number of
nodes are limited before anything grows. Anchors, aliases and tags are refused.
"""

import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from canopysim.units import shown

LARGEST_FILE = 1024 * 1024
DEEPEST = 16
MOST_NODES = 50_000
# What the parser writes for a leading '!!'.
YAML_TAGS = "tag:yaml.org,2002:"
# An escape such as "\\ud800" makes text that cannot be stored.
SURROGATE = re.compile("[\ud800-\udfff]")


@dataclass(frozen=True, slots=True)
class Place:
    """A position in a file; line and column count from 1, line 0 is the file as a whole."""

    file: str
    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Text:
    """A scalar, as the text that was written (without its quotes)."""

    place: Place
    value: str


@dataclass(frozen=True, slots=True)
class Listing:
    """A list of nodes."""

    place: Place
    items: tuple["Node", ...]


@dataclass(frozen=True, slots=True)
class Mapping:
    """Keys with the places where they stand, and their nodes."""

    place: Place
    entries: dict[str, tuple[Place, "Node"]]


Node = Text | Listing | Mapping


@dataclass(frozen=True, slots=True)
class Flaw:
    """Something that keeps a file from being read, and where."""

    place: Place
    message: str


class UnreadableError(Exception):
    """All flaws of one file that were found before its contents were looked at."""

    def __init__(self, flaws: list[Flaw]) -> None:
        self.flaws = flaws
        super().__init__("; ".join(flaw.message for flaw in flaws))


def read_file(path: Path, name: str) -> str:
    """Read a file as UTF-8 text of bounded size.

    Parameters
    ----------
    path : Path
        A regular file; pipes and devices are refused, since reading them may never end.
    name : str
        How messages call it.

    Returns
    -------
    str
        The text without a byte order mark.

    Raises
    ------
    UnreadableError
        If it is no regular file, cannot be read, is too large or is not UTF-8 text.
    """

    def refuse(message: str, line: int = 0, column: int = 0) -> UnreadableError:
        return UnreadableError([Flaw(Place(name, line, column), message)])

    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            raise refuse("is a folder; name a YAML file in it")
        if not stat.S_ISREG(mode):
            raise refuse("is not a regular file; name a YAML file")
        with path.open("rb") as stream:
            data = stream.read(LARGEST_FILE + 1)
    except FileNotFoundError:
        raise refuse("there is no such file; name a YAML file that exists") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise refuse(f"cannot be read ({reason}); name a YAML file that can be") from None
    if len(data) > LARGEST_FILE:
        raise refuse("is too large; at most 1 MiB (1048576 bytes)")
    try:
        return data.removeprefix(b"\xef\xbb\xbf").decode("utf-8")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8", errors="replace")
        raise refuse(
            f"the byte 0x{data[error.start]:02x} is not UTF-8 text; save the file as UTF-8",
            before.count("\n") + 1,
            len(before) - (before.rfind("\n") + 1) + 1,
        ) from None


def parse_yaml(text: str, name: str) -> Node:
    """Compose one YAML document into nodes.

    Parameters
    ----------
    text : str
        The whole file.
    name : str
        How messages call the file.

    Returns
    -------
    Node
        The document's root.

    Raises
    ------
    UnreadableError
        If the text is empty, too large, not YAML, or uses what is not read here.
    """
    if len(text.encode("utf-8", errors="replace")) > LARGEST_FILE:
        raise UnreadableError(
            [Flaw(Place(name, 0, 0), "is too large; at most 1 MiB (1048576 bytes)")]
        )
    bad = yaml.reader.Reader.NON_PRINTABLE.search(text)
    if bad is not None:
        line = text.count("\n", 0, bad.start()) + 1
        column = bad.start() - (text.rfind("\n", 0, bad.start()) + 1) + 1
        message = f"the character U+{ord(bad[0]):04X} cannot stand in a YAML file; remove it"
        raise UnreadableError([Flaw(Place(name, line, column), message)])
    composer = _Composer(name)
    try:
        return composer.document(yaml.parse(text, Loader=yaml.SafeLoader))
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        composer.flaws.append(Flaw(_place(name, mark), _syntax_message(error, text)))
    except (yaml.YAMLError, ValueError, OverflowError) as error:
        # PyYAML lets a few odd escapes, as in "\UFFFFFFFF", out as plain Python errors.
        composer.flaws.append(Flaw(Place(name, 1, 1), f"is not YAML: {shown(str(error), 120)}"))
    except _TooMuch:
        pass
    raise UnreadableError(composer.flaws)


def _place(name: str, mark: Any) -> Place:
    """Turn a parser's mark, which counts from 0, into a place."""
    return Place(name, mark.line + 1, mark.column + 1) if mark else Place(name, 1, 1)


def _syntax_message(error: yaml.MarkedYAMLError, text: str) -> str:
    """Put a YAML syntax error on one line, with what to look for."""
    problem = " ".join((error.problem or error.context or "unknown syntax").split())
    if "\\t" in problem or "tab" in problem:
        return "is not YAML: a tab stands here; indent with spaces"
    if problem == "mapping values are not allowed here":
        mark = error.problem_mark
        before = text.splitlines()[mark.line][: mark.column] if mark is not None else ""
        if ": " not in before:
            return (
                "is not YAML: this entry is indented further than the one above; look at the line "
                "above and indent entries of one mapping alike"
            )
        return "is not YAML: a second ': ' on this line; put quotes around text that holds ': '"
    if problem.startswith("expected <block end>") and error.context_mark is not None:
        what = "list" if "sequence" in (error.context or "") else "mapping"
        return (
            "is not YAML: this does not stand in line with the entries above, which begin in line "
            f"{error.context_mark.line + 1}; look at the line above and indent entries of one "
            f"{what} alike"
        )
    begin = ""
    if error.context and error.context_mark is not None and error.problem:
        begin = f" ({' '.join(error.context.split())} from line {error.context_mark.line + 1})"
    return f"is not YAML: {problem}{begin}; check indentation, quotes and brackets"


class _TooMuch(Exception):
    """Composing stops: the flaw is already noted."""


class _Composer:
    """Turns parser events into nodes, noting what is refused."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.flaws: list[Flaw] = []
        self.n_node = 0

    def place(self, event: yaml.Event) -> Place:
        return _place(self.name, event.start_mark)

    def note(self, event: yaml.Event, message: str) -> None:
        self.flaws.append(Flaw(self.place(event), message))
        if len(self.flaws) >= 50:
            raise _TooMuch

    def document(self, events: Iterator[yaml.Event]) -> Node:
        root: Node | None = None
        for event in events:
            if isinstance(event, yaml.DocumentStartEvent):
                if root is not None:
                    self.note(event, "a second document begins here; write one document per file")
                    raise _TooMuch
                root = self.node(next(events), events, 1)
        if root is None or (isinstance(root, Text) and not root.value.strip()):
            self.flaws.append(Flaw(Place(self.name, 1, 1), "is empty; write a mapping of entries"))
        if self.flaws or root is None:
            raise _TooMuch
        return root

    def node(
        self, event: yaml.Event, events: Iterator[yaml.Event], depth: int, in_list: bool = False
    ) -> Node:
        self.n_node += 1
        place = self.place(event)
        if self.n_node > MOST_NODES:
            self.note(event, f"has too many entries; at most {MOST_NODES} per file")
            raise _TooMuch
        if depth > DEEPEST:
            self.note(event, f"is nested too deeply; at most {DEEPEST} levels")
            raise _TooMuch
        anchor = getattr(event, "anchor", None)
        if isinstance(event, yaml.AliasEvent):
            self.note(event, f"the alias {shown(f'*{anchor}')} is not read; write the values out")
            return Text(place, "")
        if anchor is not None:
            self.note(event, f"the anchor {shown(f'&{anchor}')} is not read; write the values out")
        tag = getattr(event, "tag", None)
        # A lone '!' and quotes give the tag '!': text, as everything is.
        if tag not in (None, "!"):
            short = tag.replace(YAML_TAGS, "!!")
            self.note(event, f"the tag {shown(short)} is not read; remove it")
        if isinstance(event, yaml.SequenceStartEvent):
            items = []
            while not isinstance(inner := next(events), yaml.SequenceEndEvent):
                items.append(self.node(inner, events, depth + 1, in_list=True))
            return Listing(place, tuple(items))
        if isinstance(event, yaml.MappingStartEvent):
            return Mapping(place, self.entries(events, depth, in_list))
        value = str(getattr(event, "value", ""))
        if SURROGATE.search(value):
            self.note(event, f"{shown(value)} holds half a character; write the character itself")
        return Text(place, value)

    def entries(
        self, events: Iterator[yaml.Event], depth: int, in_list: bool
    ) -> dict[str, tuple[Place, Node]]:
        entries: dict[str, tuple[Place, Node]] = {}
        # A list's entry that begins anew in its own middle lacks the dash of the next one.
        begun_anew = False
        while not isinstance(event := next(events), yaml.MappingEndEvent):
            key = self.node(event, events, depth + 1)
            value = self.node(next(events), events, depth + 1)
            if not isinstance(key, Text) or not key.value.strip():
                self.note(event, "a key must be a plain word; write 'name: value'")
            elif key.value in entries:
                again = f"the key {shown(key.value)} stands here again (first in line "
                again += f"{entries[key.value][0].line}); "
                if in_list and key.value == next(iter(entries)) and not begun_anew:
                    begun_anew = True
                    self.note(event, f"{again}does a '- ' lack before {shown(key.value)}?")
                elif not begun_anew:
                    self.note(event, f"{again}write each key once")
            else:
                entries[key.value] = (key.place, value)
        return entries


def plain(node: Node) -> Any:
    """Turn nodes into dicts, lists and texts."""
    if isinstance(node, Mapping):
        return {key: plain(value) for key, (_, value) in node.entries.items()}
    if isinstance(node, Listing):
        return [plain(item) for item in node.items]
    return node.value
