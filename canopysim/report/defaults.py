"""What a scene leaves to the program: each default once, as one would write it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from canopysim.scene.schema import DEFAULT_PACKETS, STOP_RULES
from canopysim.units import format_share

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene

# Path of the holder, name, default as written, field.
Left = tuple[str, str, object, FieldInfo]
_NUMBER = re.compile(r"\[([0-9]+)\]")


@dataclass(frozen=True)
class DefaultUsed:
    """A default that holds in one or more places.

    Parameters
    ----------
    entry : str
        Where, such as ``lights[1..3].pitch``; several places are parted by commas.
    value : str
        As the scene file would have it.
    meaning : str
        The entry's description.
    """

    entry: str
    value: str
    meaning: str


def defaults_used(scene: Scene) -> list[DefaultUsed]:
    """List the entries that were not written and whose default is something.

    Parameters
    ----------
    scene : Scene
        A checked scene.

    Returns
    -------
    list of DefaultUsed
        In the order of the file. The same entry of many lights, strips or plants is one default.
    """
    places: dict[tuple[str, str, str], list[str]] = {}
    for path, name, value, field in (*_unwritten(scene, ""), *_stop_rules(scene)):
        places.setdefault((name, _written(value), field.description or ""), []).append(path)
    return [
        DefaultUsed(", ".join(_joined(path, name) for path in _merged(paths)), value, meaning)
        for (name, value, meaning), paths in places.items()
    ]


def _unwritten(model: BaseModel, path: str) -> Iterator[Left]:
    """Go through the fields that were left out."""
    for name, field in type(model).model_fields.items():
        value = getattr(model, name)
        if name in model.model_fields_set:
            yield from _within(value, _joined(path, name))
        elif isinstance(field.default, dict) and isinstance(value, BaseModel):
            if _all_off(value):
                yield path, name, "nothing", field
                continue
            yield from _unwritten(value, _joined(path, name))
        elif field.default_factory is not None:
            yield path, name, value, field  # such as a group that is named after its fixture
        elif field.default not in (None, (), {}, [], "") and not _is_empty(value):
            yield path, name, field.default, field


def _stop_rules(scene: Scene) -> Iterator[Left]:
    """Go through the rules that the schema fills in where a scene states none."""
    rules = type(scene.tracing).model_fields
    if any(scene.states("tracing", rule) for rule in STOP_RULES):
        return
    if scene.tracing.target is not None:
        aims = [f"{name}: {format_share(share)}" for name, share in scene.tracing.target.items()]
        yield "tracing", "target", f"{{{', '.join(aims)}}}", rules["target"]
    if scene.tracing.max_packets is not None:
        yield "tracing", "max_packets", DEFAULT_PACKETS, rules["max_packets"]


def _within(value: object, path: str) -> Iterator[Left]:
    """Go on into what was written."""
    if isinstance(value, BaseModel):
        yield from _unwritten(value, path)
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from _within(item, f"{path}.{key}")
    elif isinstance(value, tuple | list):
        for number, item in enumerate(value, 1):
            yield from _within(item, f"{path}[{number}]")


def _joined(path: str, name: str) -> str:
    return f"{path}.{name}" if path else name


def _merged(paths: list[str]) -> list[str]:
    """Write paths that differ in one number as one: ``a[1].b`` and ``a[2].b`` as ``a[1..2].b``.

    The last number is merged first, then those before it.
    """
    depth = max(len(_NUMBER.findall(path)) for path in paths)
    for place in reversed(range(depth)):
        numbers: dict[tuple[str, str], list[int]] = {}
        for path in paths:
            pieces = re.split(r"(\[[0-9.,]+\])", path)
            at = 2 * place + 1
            single = _NUMBER.fullmatch(pieces[at]) if at < len(pieces) else None
            key = ("".join(pieces[:at]), "".join(pieces[at + 1 :])) if single else (path, "")
            numbers.setdefault(key, []).extend([int(single[1])] if single else [])
        paths = [f"{before}{_runs(found)}{after}" for (before, after), found in numbers.items()]
    return paths


def _runs(numbers: list[int]) -> str:
    """Write ascending numbers in brackets: ``[1..3,5]``; nothing for none."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    text = ",".join(str(low) if low == high else f"{low}..{high}" for low, high in runs)
    return f"[{text}]" if text else ""


def _all_off(model: BaseModel) -> bool:
    """Tell a section that was left out and is only switches, all of them off."""
    values = [getattr(model, name) for name in type(model).model_fields]
    return all(value is None or value is False for value in values)


def _is_empty(value: object) -> bool:
    return isinstance(value, tuple | dict | list) and len(value) == 0


def _written(value: object) -> str:
    """Write a default as the scene file would have it."""
    if isinstance(value, tuple | list):
        return "[" + ", ".join(_written(v) for v in value) + "]"
    return str(value)
