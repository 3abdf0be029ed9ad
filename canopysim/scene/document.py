"""A scene file as read: its nodes, and the way from an entry's path to its place and text."""

from dataclasses import dataclass, field
from pathlib import Path

from canopysim.scene.yaml_text import Mapping, Node, Place, Text
from canopysim.units import shown

EntryPath = tuple[str | int, ...]


def write_path(path: EntryPath) -> str:
    """Write a path for people: ``lights[1].height`` is the first light's height."""
    parts = ""
    for part in path:
        if isinstance(part, int):
            parts += f"[{part + 1}]"
        else:
            plain = part.isprintable() and len(part) <= 60 and part.strip() == part != ""
            parts += ("." if parts else "") + (part if plain else shown(part))
    return parts


@dataclass(frozen=True)
class Document:
    """The nodes of a scene file and of the files that it refers to.

    Parameters
    ----------
    path : Path or None
        Where it was read from.
    name : str
        How messages call it.
    root : Node
        The root of its nodes; a referenced fixture's nodes keep their own file's places.
    sources : dict of str to str
        Text of every file read, by the name that messages give it; the scene file first.
    meshes : dict of str to bytes
        Mesh files of the canopy, by the name that the scene gives them.
    """

    path: Path | None
    name: str
    root: Node
    sources: dict[str, str]
    meshes: dict[str, bytes] = field(default_factory=dict)

    @classmethod
    def unread(cls) -> "Document":
        """Stand in for the file of a scene that was made without one."""
        return cls(None, "scene", Text(Place("scene", 1, 1), ""), {})

    @property
    def text(self) -> str:
        """The scene file itself."""
        return self.sources.get(self.name, "")

    def _walk(self, path: EntryPath) -> tuple[Node | None, Place]:
        """Follow a path; the node is None where the path leads on beyond what is written."""
        node, place = self.root, self.root.place
        for part in path:
            if isinstance(node, Mapping) and part in node.entries:
                key_place, node = node.entries[str(part)]
                # What stands in another file is shown there, not where that file is named.
                place = key_place if key_place.file == node.place.file else node.place
            elif (
                not isinstance(node, Mapping | Text)
                and isinstance(part, int)
                and 0 <= part < len(node.items)
            ):
                node = node.items[part]
                place = node.place
            else:
                return None, place
        return node, place

    def place(self, path: EntryPath) -> Place:
        """Find where an entry, or the nearest one that holds it, is written."""
        return self._walk(path)[1]

    def has(self, path: EntryPath) -> bool:
        """Tell whether an entry is written."""
        return self._walk(path)[0] is not None

    def written(self, path: EntryPath) -> str | None:
        """Return an entry's text as written, or None if it is not one text or not written."""
        node = self._walk(path)[0]
        return node.value if isinstance(node, Text) else None

    def problem(self, path: EntryPath, message: str) -> str:
        """Write the line for a problem at an entry."""
        place = self.place(path)
        where = write_path(path)
        return problem_line(place, f"{where}: {message}" if where else message)


def problem_line(place: Place, message: str) -> str:
    """Write ``file:line:column  message`` on one line; for a whole file ``file  message``."""
    file = shown(place.file, 500).strip("'") if not place.file.isprintable() else place.file
    where = f":{place.line}:{place.column}" if place.line else ""
    return f"{file}{where}  {' '.join(message.splitlines())}"
