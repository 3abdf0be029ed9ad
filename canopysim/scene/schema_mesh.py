"""Mesh files that a user drew, and plants of them: what their parts are, where they stand."""

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, PlainValidator, WithJsonSchema

from canopysim.scene.fields import (
    Frozen,
    LengthFromZero,
    Line,
    Name,
    Point,
    as_text,
    default,
    found,
    parse_decimal,
    refuse,
)
from canopysim.units import LENGTH_UNITS_M, parse_angle, shown

SUFFIXES = (".obj", ".ply", ".glb", ".stl", ".off")
MOST_PLACES = 10_000
MATTERS = ("leaf", "stem", "flower", "pot", "surface")
UNITS = ("mm", "cm", "m", "in", "ft")
_ANGLE = {"type": "string", "pattern": r"^\s*[+-]?[0-9.]+\s*(deg|rad)\s*$", "examples": ["30 deg"]}


def _mesh_name(name: str) -> str:
    """Refuse a file whose ending does not say how it is read."""
    if not name.lower().endswith(SUFFIXES):
        raise ValueError(f"{shown(name)} is no mesh file; allowed endings: {', '.join(SUFFIXES)}")
    return name


def one_of(*words: str) -> BeforeValidator:
    """Refuse other words."""

    def check(value: object) -> str:
        word = as_text(value, f"'{words[0]}'").strip()
        if word not in words:
            raise ValueError(f"{shown(word)} is not known here; allowed: {', '.join(words)}")
        return word

    return BeforeValidator(check)


def _read_scale(value: object) -> float:
    """Read a factor of size, a bare decimal number."""
    text = as_text(value, "'1.0'")
    scale = parse_decimal(text)
    if not 0.001 <= scale <= 1000:
        raise ValueError(f"{shown(text)} is out of range; allowed is 0.001 to 1000")
    return scale


def _read_turns(value: object) -> tuple[float, ...]:
    """Read one angle, or a list of them."""
    entries = value if isinstance(value, list | tuple) else [value]
    if not 1 <= len(entries) <= MOST_PLACES:
        raise ValueError(f"{len(entries)} turns are listed; write one angle, or one for each place")
    turns: list[float] = []
    for index, entry in enumerate(entries):
        try:
            turns.append(parse_angle(as_text(entry, "'30 deg'")))
        except ValueError as error:
            if entries is not value:
                raise
            refuse(str(error), index)
    return tuple(turns)


def patterns(value: object, example: str = "{leaf*: {leaf: pepper-leaf}}") -> object:
    """Refuse names that cannot be matched against anything."""
    if not isinstance(value, dict):
        raise ValueError(f"{found(value)}; write for example '{example}'")
    for pattern in value:
        if not pattern.strip() or not pattern.isprintable() or len(pattern) > 100:
            raise ValueError(
                f"{shown(pattern)} cannot be a pattern of names; write for example 'leaf*'"
            )
    return value


class MeshMatter(Frozen):
    """What a part of a mesh is: a kind of leaf, or something opaque and its surface."""

    leaf: Name | None = default(None, "Kind of leaf, a name under 'leaves'.")
    stem: Name | None = default(
        None, "Surface of a stem or stalk, a name under 'surfaces' or of the library."
    )
    flower: Name | None = default(None, "Surface of flowers or fruit.")
    pot: Name | None = default(None, "Surface of a pot, or of what is in it.")
    surface: Name | None = default(None, "Surface of anything else; it is counted with the stems.")

    @property
    def stated(self) -> dict[str, str]:
        """What is written: the word and the name."""
        return {word: name for word in MATTERS if (name := getattr(self, word)) is not None}


class MeshFile(Frozen):
    """A mesh file, and how its numbers are read."""

    file: Annotated[Line, AfterValidator(_mesh_name)] = Field(
        description="Mesh file (.obj, .ply, .glb, .stl or .off), from the scene's folder."
    )
    unit: Annotated[Literal["mm", "cm", "m", "in", "ft"], one_of(*UNITS)] = Field(
        description="Length that a 1 in the file stands for."
    )
    up: Annotated[Literal["z", "y"], one_of("z", "y")] = default(
        "z", "Axis of the file that points upwards (programs for drawing often use y)."
    )
    scale: Annotated[
        float,
        PlainValidator(_read_scale, json_schema_input_type=Any),
        WithJsonSchema({"type": "number", "minimum": 0.001, "maximum": 1000}),
    ] = default("1", "Factor by which the mesh is enlarged about its origin; areas by its square.")

    @property
    def metres(self) -> float:
        """Length that a 1 in the file becomes, m."""
        return float(LENGTH_UNITS_M[self.unit]) * self.scale


class MeshPlanting(MeshFile):
    """A plant, or a whole canopy, from a mesh file; its leaves keep the area that they have."""

    parts: Annotated[
        dict[str, MeshMatter], Field(min_length=1, max_length=200), BeforeValidator(patterns)
    ] = Field(
        description="What each part is, by its object, group, node or material name; '*' stands "
        "for any letters, the first pattern that fits counts. Parts without a name have the "
        "file's name without its ending."
    )
    positions: Annotated[tuple[Point, ...], Field(min_length=1, max_length=MOST_PLACES)] = Field(
        description="Places [x, y] at which the file's origin comes to stand; one plant at each."
    )
    base: LengthFromZero = default(
        "1 mm", "Height above the floor at which the file's origin comes to stand."
    )
    turn: Annotated[
        tuple[float, ...],
        PlainValidator(_read_turns, json_schema_input_type=Any),
        WithJsonSchema({"anyOf": [_ANGLE, {"type": "array", "items": _ANGLE, "minItems": 1}]}),
    ] = default(
        "0 deg", "Turn about the vertical through the origin: one angle, or one for each position."
    )
