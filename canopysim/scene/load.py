"""From a scene file to a `Scene`: all that is wrong with it at once, line by line.

Each problem is one line, ``file:line:column  path: what is wrong; what is allowed``, in the order
in which it stands in the file.
"""

import os
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from canopysim.errors import SceneError
from canopysim.scene.body_files import read_bodies
from canopysim.scene.checks import find_contradictions
from canopysim.scene.document import Document, EntryPath, problem_line, write_path
from canopysim.scene.draft import make_draft
from canopysim.scene.mesh_files import mesh_bytes
from canopysim.scene.references import with_tables
from canopysim.scene.room_file import read_room
from canopysim.scene.schema import Scene
from canopysim.scene.yaml_text import (
    Flaw,
    Mapping,
    Node,
    Place,
    Text,
    UnreadableError,
    parse_yaml,
    plain,
    read_file,
)
from canopysim.units import shown

MOST_PROBLEMS = 100


def load_scene(path: str | os.PathLike[str], *, allow_outside: bool = False) -> Scene:
    """Read and check a scene file.

    Parameters
    ----------
    path : path
        A YAML file.
    allow_outside : bool
        Whether files that the scene refers to may lie outside its folder.

    Returns
    -------
    Scene
        Checked, unchangeable.

    Raises
    ------
    SceneError
        With every problem of the file and of the files that it refers to.
    """
    place = Path(path)
    name = str(place)
    try:
        text = read_file(place, name)
    except UnreadableError as error:
        raise SceneError(_lines(error.flaws)) from None
    return _read_scene(text, name, place, allow_outside)


def load_scene_text(
    text: str,
    *,
    path: str | os.PathLike[str] | None = None,
    allow_outside: bool = False,
) -> Scene:
    """Read and check a scene from text, as `load_scene` does from a file.

    Parameters
    ----------
    text : str
        YAML.
    path : path, optional
        Where the text belongs: its name in messages, and the folder from which the files that it
        refers to are found. Without it such references are refused.
    allow_outside : bool
        Whether files that the scene refers to may lie outside its folder.

    Returns
    -------
    Scene
        Checked, unchangeable.

    Raises
    ------
    SceneError
        With every problem.
    """
    place = None if path is None else Path(path)
    return _read_scene(text, "scene" if place is None else str(place), place, allow_outside)


def resolve_reference(
    scene_path: str | os.PathLike[str],
    text: str,
    allow_outside: bool = False,
    home_path: str | os.PathLike[str] | None = None,
) -> Path:
    """Find a file that a scene refers to.

    Parameters
    ----------
    scene_path : path
        The file that refers to it; relative references start in its folder.
    text : str
        The reference as written.
    allow_outside : bool
        Whether it may lie outside the scene's folder and the folders in it, links resolved.
    home_path : path, optional
        The scene itself, where another file of it refers.

    Returns
    -------
    Path
        An existing place, links resolved.

    Raises
    ------
    ValueError
        If the reference names nothing, or leaves the folder without permission.
    """
    if not text.strip() or not text.isprintable() or len(text) > 1000:
        raise ValueError(f"{shown(text)} is not a file name; write a path from the scene's folder")
    folder = Path(scene_path).parent
    try:
        home = Path(home_path or scene_path).parent.resolve()
        target = (folder / text).resolve()
        exists = target.exists()
    except (OSError, RuntimeError, ValueError):
        raise ValueError(
            f"{shown(text)} cannot be followed; write a path from the scene's folder"
        ) from None
    if not allow_outside and not target.is_relative_to(home):
        raise ValueError(
            f"{shown(text)} leads out of the scene's folder; move the file into it, or allow "
            "files outside"
        )
    if not exists:
        raise ValueError(f"{shown(text)}: there is no such file; write a path that exists")
    return target


def schema_json() -> dict[str, Any]:
    """Make the JSON Schema of a scene file, for editors that complete and check YAML.

    Returns
    -------
    dict
        JSON Schema, draft 2020-12.
    """
    schema = Scene.model_json_schema(mode="validation")
    _tidy(schema)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def _tidy(schema: Any) -> None:
    """Say what a file may hold: no nulls, and defaults of the type that is written."""
    if isinstance(schema, list):
        for entry in schema:
            _tidy(entry)
    if not isinstance(schema, dict):
        return
    # What may be left out is None in Python; in a file it is not written.
    if isinstance(schema.get("anyOf"), list) and {"type": "null"} in schema["anyOf"]:
        others = [entry for entry in schema.pop("anyOf") if entry != {"type": "null"}]
        schema.pop("default", None)
        schema.update(others[0] if len(others) == 1 else {"anyOf": others})
    default, kind = schema.get("default"), schema.get("type")
    if isinstance(default, str) and kind == "integer":
        schema["default"] = int(default)
    if isinstance(default, str) and kind == "number":
        schema["default"] = float(default)
    if isinstance(default, str) and kind == "boolean":
        schema["default"] = default == "true"
    if kind == "array" and schema.get("items", {}).get("type") == "number":
        schema["default"] = [float(entry) for entry in default or ()]
    for entry in schema.values():
        _tidy(entry)


@dataclass
class _Gathered:
    """Problems found so far, and the texts of the files read."""

    main: str
    sources: dict[str, str]
    problems: list[tuple[Place, str]] = field(default_factory=list)

    def lines(self) -> list[str]:
        """Write the problems in the order of the files and of their places, each once."""
        order = sorted(
            dict.fromkeys(self.problems),
            key=lambda p: (p[0].file != self.main, p[0].file, p[0].line, p[0].column),
        )
        lines = [problem_line(place, message) for place, message in order]
        if len(lines) > MOST_PROBLEMS:
            more = len(lines) - MOST_PROBLEMS
            lines = [*lines[:MOST_PROBLEMS], f"{self.main}  and {more} more; mend these first"]
        return lines


def _lines(flaws: list[Flaw]) -> list[str]:
    return [problem_line(flaw.place, flaw.message) for flaw in flaws]


def _read_scene(text: str, name: str, path: Path | None, allow_outside: bool) -> Scene:
    """Compose, validate, cross-check."""
    try:
        root = parse_yaml(text, name)
    except UnreadableError as error:
        raise SceneError(_lines(error.flaws)) from None
    if not isinstance(root, Mapping):
        raise SceneError([problem_line(root.place, "is not a mapping; write 'title: ...' first")])
    gathered = _Gathered(name, {name: text})
    root, unread = _with_fixture_files(root, path, allow_outside, gathered)
    root = _with_tables(root, path, allow_outside, gathered)
    drawn = read_room(root, _resolver(path, allow_outside), gathered.sources)
    bodies = read_bodies(drawn.root, _resolver(path, allow_outside), gathered.sources)
    root = bodies.root
    meshes = _mesh_bytes(root, path, allow_outside, gathered)
    document = Document(path, name, root, gathered.sources, {**meshes, **drawn.data, **bodies.data})
    draft, problems = make_draft(document, plain(root), unread)
    if drawn.unknown:
        draft = replace(draft, broken=draft.broken | {"enclosure"})
    for where, message in (
        *problems,
        *drawn.problems,
        *bodies.problems,
        *find_contradictions(draft),
    ):
        gathered.problems.append((document.place(where), _with_path(where, message)))
    if gathered.problems:
        raise SceneError(gathered.lines())
    draft.scene._document = document
    draft.scene.enclosure._room = drawn.room
    for fixture, body in bodies.bodies.items():
        carried = draft.scene.fixtures[fixture].body
        if carried is not None:
            carried._drawn = body
    return draft.scene


def _resolver(path: Path | None, allow_outside: bool) -> Callable[[Path, str], Path] | None:
    """Make what finds the files that a scene refers to; nothing finds those of a mere text."""
    if path is None:
        return None
    return lambda home, reference: resolve_reference(home, reference, allow_outside, path)


def _with_path(where: EntryPath, message: str) -> str:
    path = write_path(where)
    return f"{path}: {message}" if path else message


def _with_fixture_files(
    root: Mapping, path: Path | None, allow_outside: bool, gathered: _Gathered
) -> tuple[Mapping, frozenset[str]]:
    """Put the contents of fixtures' own files where the scene names them.

    Returns the new root and the names of the fixtures whose files could not be read.
    """
    key_place, section = root.entries.get("fixtures", (root.place, None))
    if not isinstance(section, Mapping):
        return root, frozenset()
    fixtures = dict(section.entries)
    unread = set()
    for name, (place, node) in section.entries.items():
        if isinstance(node, Mapping) and "file" in node.entries:
            try:
                fixtures[name] = (place, _fixture_file(name, node, path, allow_outside, gathered))
            except UnreadableError as error:
                gathered.problems.extend((flaw.place, flaw.message) for flaw in error.flaws)
                unread.add(name)
    whole = Mapping(section.place, fixtures)
    return Mapping(root.place, {**root.entries, "fixtures": (key_place, whole)}), frozenset(unread)


def _with_tables(
    root: Mapping, path: Path | None, allow_outside: bool, gathered: _Gathered
) -> Mapping:
    """Put the tables that lights refer to where they name them."""
    resolve = _resolver(path, allow_outside)
    flaws: list[Flaw] = []
    entries = dict(root.entries)
    for section in ("fixtures", "daylight", "meters"):
        if section in entries:
            place, node = entries[section]
            node = with_tables(node, resolve, gathered.sources, flaws)
            entries[section] = (place, node)
    gathered.problems.extend((flaw.place, flaw.message) for flaw in flaws)
    return Mapping(root.place, entries)


def _mesh_bytes(
    root: Mapping, path: Path | None, allow_outside: bool, gathered: _Gathered
) -> dict[str, bytes]:
    """Read the mesh files that the canopy names."""
    resolve = _resolver(path, allow_outside)
    flaws: list[Flaw] = []
    files = mesh_bytes(root, resolve, gathered.sources, flaws)
    gathered.problems.extend((flaw.place, flaw.message) for flaw in flaws)
    return files


def _fixture_file(
    name: str, node: Mapping, path: Path | None, allow_outside: bool, gathered: _Gathered
) -> Node:
    """Read the file of one fixture."""
    where = f"fixtures.{name}"
    place, reference = node.entries["file"]
    others = [key for key in node.entries if key != "file"]
    if others:
        message = f"{where}.{others[0]}: stands beside 'file'; write it in that file instead"
        raise UnreadableError([Flaw(node.entries[others[0]][0], message)])
    if not isinstance(reference, Text):
        message = f"{where}.file: is not a file name; write a path from the scene's folder"
        raise UnreadableError([Flaw(place, message)])
    if path is None:
        message = f"{where}.file: cannot be found for a scene without a folder; write it out here"
        raise UnreadableError([Flaw(place, message)])
    try:
        target = resolve_reference(path, reference.value, allow_outside)
    except ValueError as error:
        raise UnreadableError([Flaw(place, f"{where}.file: {error}")]) from None
    shown_name = str(path.parent / reference.value)
    text = read_file(target, shown_name)
    fixture = parse_yaml(text, shown_name)
    if not isinstance(fixture, Mapping):
        message = "is not a mapping; write the fixture's 'strips', 'ppf' and 'spectrum'"
        raise UnreadableError([Flaw(fixture.place, message)])
    gathered.sources[shown_name] = text
    return fixture
