"""Layers of a canopy, as a scene states them: by height, or by the leaf area that each holds."""

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import PlainValidator, WithJsonSchema

from canopysim.scene.fields import LENGTH_PATTERN, as_text, parse_count, refuse
from canopysim.units import parse_length, shown

MOST_LAYERS = 200
BY_AREA = "equal_leaf_area"


@dataclass(frozen=True)
class EqualLeafArea:
    """So many layers, cut at the heights at which each holds the same leaf area.

    Attributes
    ----------
    count : int
        Layers; 1 is the top.
    """

    count: int


def _read_layers(value: object) -> int | EqualLeafArea | tuple[float, ...]:
    """Read a count of layers, or the heights of their boundaries from the floor upwards."""
    if isinstance(value, dict):
        if list(value) != [BY_AREA]:
            wrong = next((key for key in value if key != BY_AREA), "")
            there = f"{shown(wrong)} stands here" if wrong else "nothing stands in it"
            raise ValueError(
                f"{there}; layers are a count such as '8', '{{{BY_AREA}: 8}}' or a list of heights"
            )
        try:
            return EqualLeafArea(parse_count(as_text(value[BY_AREA], "'8'"), 1, MOST_LAYERS))
        except ValueError as error:
            refuse(str(error), BY_AREA)
    if isinstance(value, EqualLeafArea):
        return value
    if not isinstance(value, list | tuple):
        return parse_count(as_text(value, "'8'"), 1, MOST_LAYERS)
    if not 2 <= len(value) <= MOST_LAYERS + 1:
        raise ValueError(
            f"{len(value)} heights are listed; write 2 to {MOST_LAYERS + 1} boundaries"
        )
    heights: list[float] = []
    for index, entry in enumerate(value):
        try:
            height = parse_length(as_text(entry, "'45 cm'"))
        except ValueError as error:
            refuse(str(error), index)
        if height < 0 or (heights and height <= heights[-1]):
            refuse(f"{shown(entry)} does not ascend; list the boundaries from the floor up", index)
        heights.append(height)
    return tuple(heights)


_COUNT_SCHEMA = {"type": "integer", "minimum": 1, "maximum": MOST_LAYERS}
Layers = Annotated[
    int | EqualLeafArea | tuple[float, ...],
    PlainValidator(_read_layers, json_schema_input_type=Any),
    WithJsonSchema(
        {
            "anyOf": [
                _COUNT_SCHEMA,
                {
                    "type": "object",
                    "properties": {BY_AREA: _COUNT_SCHEMA},
                    "required": [BY_AREA],
                    "additionalProperties": False,
                },
                {
                    "type": "array",
                    "items": {"type": "string", "pattern": LENGTH_PATTERN},
                    "minItems": 2,
                    "maxItems": MOST_LAYERS + 1,
                },
            ]
        }
    ),
]
