"""From the validator's error records to sentences that say what is wrong and what is allowed."""

import difflib
from collections.abc import Iterable, Iterator
from typing import Any, get_args, get_origin

from pydantic import BaseModel, ValidationError

from canopysim.scene.document import EntryPath
from canopysim.scene.fields import found
from canopysim.units import shown

MOST_LISTED = 12
MOST_HOMES = 2


def nearest(name: str, known: Iterable[str]) -> str | None:
    """Find the known name that a wrong one was probably meant to be."""
    options = sorted(known)
    folded = {option.casefold(): option for option in options}
    close = difflib.get_close_matches(name.casefold()[:60], folded, n=1, cutoff=0.6)
    return folded[close[0]] if close else None


def instead(name: str, known: Iterable[str], nothing: str) -> str:
    """Say what could stand in the place of a wrong name.

    Parameters
    ----------
    name : str
        What was written.
    known : iterable of str
        What is allowed.
    nothing : str
        What to say where nothing is allowed.

    Returns
    -------
    str
        A near miss, or the allowed names.
    """
    options = sorted(known)
    close = nearest(name, options)
    if close is not None:
        return f"did you mean {shown(close)}?"
    if not options:
        return nothing
    more = f" and {len(options) - MOST_LISTED} more" if len(options) > MOST_LISTED else ""
    return f"allowed: {', '.join(shown(o)[1:-1] for o in options[:MOST_LISTED])}{more}"


def entry_path(record: Any) -> EntryPath:
    """Return the path of a validation error's record.

    A mapping's wrong key is marked by the validator with a last part ``[key]``.
    """
    location: EntryPath = record["loc"]
    marked = location[-1:] == ("[key]",) and record["type"] != "extra_forbidden"
    return location[:-1] if marked else location


def explain(error: ValidationError, model: type[BaseModel]) -> Iterator[tuple[EntryPath, str]]:
    """Turn each record of a validation error into a path and a sentence.

    Parameters
    ----------
    error : ValidationError
        What pydantic raised.
    model : type of BaseModel
        The model that was read.

    Yields
    ------
    path : tuple of str and int
        The entry, from the model's root.
    message : str
        What is wrong; what is allowed.
    """
    records = error.errors(include_url=False)
    meant = set()
    homes: dict[EntryPath, list[str]] = {}
    missing = {entry_path(record) for record in records if record["type"] == "missing"}
    holders = {path[:depth] for path in map(entry_path, records) for depth in range(len(path))}
    for record in records:
        if record["type"] == "extra_forbidden":
            path = entry_path(record)
            close = nearest(str(path[-1]), _model_at(model, path[:-1]).model_fields)
            meant.add((*path[:-1], close))
            misplaced = _homes(model, path)
            needed = {home: hint for home, hint in misplaced.items() if home in missing}
            homes[path] = list((needed or misplaced).values())
            meant.update(misplaced)
    for record in records:
        path = entry_path(record)
        # A misspelt or misplaced entry is reported once, as that, not as missing too.
        if record["type"] == "missing" and path in meant:
            continue
        # The validator counts sound entries only: wrong ones within explain themselves.
        if record["type"] == "too_short" and path in holders:
            continue
        context = record.get("ctx", {})
        kind = record["type"]
        if kind == "scene_problem":
            yield (*path, *context["at"]), context["text"]
        elif kind == "value_error":
            yield path, str(context["error"])
        else:
            within = homes.get(path, [])
            if 1 <= len(within) <= MOST_HOMES:
                hint = "look at the lines above and at its indentation"
                yield path, f"is not known here; it belongs {' or '.join(within)}: {hint}"
                continue
            yield path, _container_message(kind, path, record, context, model)


def _container_message(
    kind: str, path: EntryPath, record: Any, context: dict[str, Any], model: type[BaseModel]
) -> str:
    """Explain what is wrong with a mapping or list rather than with a value."""
    holder = _model_at(model, path[:-1])
    if kind == "missing" and path and isinstance(path[-1], int):
        return "is missing; write two lengths, as in [75 cm, 45 cm]"
    if kind == "missing":
        field = holder.model_fields.get(str(path[-1]))
        meaning = field.description if field is not None else None
        return f"is missing; needed is: {meaning or 'a value'}"
    if kind == "extra_forbidden":
        name = str(path[-1])
        options = instead(name, holder.model_fields, "nothing is allowed here")
        return f"is not known here; {options}"
    got = found(record.get("input"))
    named = holder.model_fields.get(str(path[-1])) if path else None
    leave = "" if named is not None and named.is_required() else ", or leave the entry out"
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return f"{got}; write a mapping of 'name: value' entries{leave}"
    if kind in ("tuple_type", "list_type") and named is not None and _is_point(named.annotation):
        return f"{got}; write two lengths, as in [75 cm, 45 cm]{leave}"
    if kind in ("tuple_type", "list_type"):
        return f"{got}; write a list, each entry after a '- '{leave}"
    if kind == "too_short":
        return f"holds {context['actual_length']} entries; at least {context['min_length']}"
    if kind == "too_long":
        return f"holds {context['actual_length']} entries; at most {context['max_length']}"
    return f"{got}: {record['msg']}; see 'canopysim schema' for what is allowed"


def _homes(model: type[BaseModel], path: EntryPath) -> dict[EntryPath, str]:
    """Find where an entry that is unknown in its place would be known by its exact name.

    Returns its paths there, each with a hint. What is indented too little or too far ends up
    beside or within the entry that it belongs into.
    """
    name, holder = str(path[-1]), _model_at(model, path[:-1])
    homes: dict[EntryPath, str] = {}
    for depth in range(len(path) - 2, -1, -1):
        beside = path[depth]
        if isinstance(beside, str) and name in _model_at(model, path[:depth]).model_fields:
            homes[(*path[:depth], name)] = f"beside '{beside}'"
            break
    for field, info in holder.model_fields.items():
        inner = _model_at(holder, (field,))
        several = any(get_origin(kind) in (tuple, dict) for kind in _parts(info.annotation))
        if inner is not holder and not several and name in inner.model_fields:
            homes[(*path[:-1], field, name)] = f"under '{field}'"
    return homes


def _is_point(annotation: Any) -> bool:
    """Tell whether a field holds pairs."""
    kinds = [kind for kind in _parts(annotation) if get_origin(kind) is tuple]
    return bool(kinds) and ... not in get_args(kinds[0])


def _model_at(model: type[BaseModel], path: EntryPath) -> type[BaseModel]:
    """Follow a path through the models to the one that holds its last entry."""
    key_follows = False
    for part in path:
        if isinstance(part, int) or key_follows:
            key_follows = False
            continue
        field = model.model_fields.get(part)
        if field is None:
            break
        key_follows = any(get_origin(kind) is dict for kind in _parts(field.annotation))
        inner = [k for k in _parts(field.annotation) if isinstance(k, type)]
        model = next((k for k in inner if issubclass(k, BaseModel)), model)
    return model


def _parts(annotation: Any) -> Iterator[Any]:
    """List an annotation and all annotations within it."""
    yield annotation
    for inner in get_args(annotation):
        yield from _parts(inner)
