"""A room that a user drew: its mesh file, and which of its parts are walls, floor and ceiling."""

from functools import partial
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from canopysim.scene.fields import Frozen, Name, found, parse_name, refuse
from canopysim.scene.schema_mesh import MeshFile, patterns
from canopysim.units import shown

Role = Literal["wall", "floor", "ceiling"]
ROLES: tuple[Role, ...] = ("wall", "floor", "ceiling")
OPEN = "open"
EXAMPLE = "{roof*: {ceiling: film}, wall*: {wall: film}, floor: {floor: tray}}"


class RoomPart(Frozen):
    """What a part of a room is, and its surface."""

    role: Role
    surface: Name

    @property
    def is_open(self) -> bool:
        """Whether photons leave through it."""
        return self.surface == OPEN


def _read_part(value: object) -> object:
    """Read ``{wall: film}`` or ``{ceiling: open}``."""
    if not isinstance(value, dict) or len(value) != 1:
        what = found(value) if not isinstance(value, dict) else f"{len(value)} entries stand here"
        raise ValueError(f"{what}; write one of {', '.join(ROLES)} and its surface: {{wall: film}}")
    ((role, surface),) = value.items()
    if role not in ROLES:
        raise ValueError(
            f"{shown(str(role))} is not a part of a room; allowed: {', '.join(ROLES)}, as in "
            "'{wall: film}'"
        )
    if not isinstance(surface, str) or not surface.strip():
        refuse(f"{found(surface)}; write the name of a surface, or 'open'", role)
    try:
        return {"role": role, "surface": parse_name(surface)}
    except ValueError as problem:
        refuse(str(problem), role)


_PART: dict[str, Any] = {
    "type": "object",
    "properties": {role: {"type": "string"} for role in ROLES},
    "minProperties": 1,
    "maxProperties": 1,
    "additionalProperties": False,
}


class RoomMesh(MeshFile):
    """A room of any shape: a closed mesh, seen from inside."""

    parts: Annotated[
        dict[str, Annotated[RoomPart, BeforeValidator(_read_part), WithJsonSchema(_PART)]],
        Field(min_length=1, max_length=200),
        BeforeValidator(partial(patterns, example=EXAMPLE)),
    ] = Field(
        description="What each part is, by its object, group, node or material name, and of which "
        f"surface ('open': photons leave): {EXAMPLE}; '*' stands for any letters, the first "
        "pattern that fits counts. Each pattern has its own line in the books."
    )
