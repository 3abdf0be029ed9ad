"""What is sound of a scene file, so that one pass finds its wrong values and its contradictions.

An entry with a wrong value is set aside; everything else is still checked against each other, and
a name counts as defined even where its definition is wrong.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from canopysim.scene.document import Document, EntryPath
from canopysim.scene.messages import entry_path, explain, nearest
from canopysim.scene.schema import Scene
from canopysim.scene.schema_matter import Canopy

Problem = tuple[EntryPath, str]
NAMED = ("surfaces", "leaves", "plants", "fixtures", "meters")
LISTED = ("lights", "daylight", "planes", "probes")
# These take the place of what is wrong where something must stand; nothing is checked against them.
STAND_INS: dict[str, Any] = {
    "title": "none",
    "surfaces": {},
    "enclosure": {"width": "1 m", "depth": "1 m", "height": "1 m", "lining": "none"},
}


@dataclass(frozen=True)
class Draft:
    """The sound part of a scene.

    Parameters
    ----------
    scene : Scene
        Sound entries only, with stand-ins for what is wrong.
    document : Document
        Places and texts.
    broken : frozenset of str
        Top-level entries of which nothing sound is left.
    names : dict of str to tuple of str
        All names written under surfaces, leaves, plants, fixtures and meters, sound or not.
    numbers : dict of str to tuple of int
        Of lights, daylight, planes and probes: each sound entry's number in the file.
    """

    scene: Scene
    document: Document
    broken: frozenset[str]
    names: dict[str, tuple[str, ...]]
    numbers: dict[str, tuple[int, ...]]

    def sound(self, *entries: str) -> bool:
        """Tell whether all these top-level entries are sound."""
        return self.broken.isdisjoint(entries)

    def written(self, path: EntryPath, value: float, write: Callable[[float], str]) -> str:
        """Quote a value as the user wrote it, or as text where a default holds."""
        text = self.document.written(path)
        return " ".join(text.split()) if text is not None else write(value)

    def listed(self, section: str) -> Iterator[tuple[EntryPath, Any]]:
        """Go through the sound entries of a list with their paths in the file."""
        entries = getattr(self.scene, section)
        for number, entry in zip(self.numbers[section], entries, strict=True):
            yield (section, number), entry

    @property
    def canopy(self) -> Canopy | None:
        """The canopy, if there is a sound one."""
        return self.scene.canopy


def make_draft(
    document: Document, data: dict[str, Any], unread: frozenset[str] = frozenset()
) -> tuple[Draft, list[Problem]]:
    """Read what is sound, and list what is not.

    Parameters
    ----------
    document : Document
        The file's nodes.
    data : dict
        The same as plain dicts, lists and texts.
    unread : frozenset of str
        Names of fixtures that are defined in files which could not be read.

    Returns
    -------
    draft : Draft
        The sound part.
    problems : list of (path, message)
        Each wrong value.
    """
    names = {s: tuple(data[s]) if isinstance(data.get(s), dict) else () for s in NAMED}
    if unread:
        fixtures = {k: v for k, v in data["fixtures"].items() if k not in unread}
        data = {**data, "fixtures": fixtures}
    wanted = {s: list(enumerate(data[s])) if isinstance(data.get(s), list) else [] for s in LISTED}
    problems: list[Problem] = []
    try:
        scene = Scene.model_validate(data)
        broken: set[str] = set()
    except ValidationError as error:
        problems = list(explain(error, Scene))
        bad = {entry_path(record)[:2] for record in error.errors()}
        entrywise = {s for s in NAMED if isinstance(data.get(s), dict)}
        entrywise |= {s for s in LISTED if isinstance(data.get(s), list)}
        whole = {str(path[0]) for path in bad if len(path) == 1 or path[0] not in entrywise}
        # A misspelt section is missed by its right name; what refers to it is not wrong too.
        unknown = whole - Scene.model_fields.keys()
        absent = Scene.model_fields.keys() - data.keys()
        broken = whole - unknown | {nearest(section, absent) or section for section in unknown}
        kept: dict[str, Any] = {}
        for section, value in data.items():
            if section in whole:
                continue
            if section in NAMED and isinstance(value, dict):
                kept[section] = {k: v for k, v in value.items() if (section, k) not in bad}
            elif section in LISTED and isinstance(value, list):
                wanted[section] = [(n, v) for n, v in wanted[section] if (section, n) not in bad]
                kept[section] = [entry for _, entry in wanted[section]]
            else:
                kept[section] = value
        scene = Scene.model_validate({**STAND_INS, **kept})
    numbers = {s: tuple(number for number, _ in wanted[s]) for s in LISTED}
    return Draft(scene, document, frozenset(broken), names, numbers), problems
