"""Volumes filled with leaves, of which only density and angles are known."""

from typing import Annotated, Any, Literal, NamedTuple

from pydantic import BeforeValidator, Field, PlainValidator, WithJsonSchema

from canopysim.scene.fields import (
    Frozen,
    LeafAreaIndex,
    LengthFromZero,
    Name,
    Point,
    PositiveLength,
    as_text,
    counted,
    default,
    measured,
    parse_decimal,
    refuse,
    whole,
)
from canopysim.units import parse_share, shown
from canopysim.units_area import parse_area, parse_area_density

SHAPES = ("slab", "box", "ellipsoid", "row")
ANGLE_WORDS = (
    "planophile", "erectophile", "plagiophile", "extremophile", "uniform", "spherical", "level",
    "upright",
)  # fmt: skip
MOST_VOLUMES = 1000
FEWEST_LISTED, MOST_LISTED = 2, 65
SHARE_SLACK = 0.005
LIKE_HEIGHTS = "'even', '{beta: [2.5, 2.5]}' or a list of shares such as [20 %, 100 %, 60 %]"
LIKE_ANGLES = "'spherical', '{ellipsoid: 1.5}' or a list of shares such as [50 %, 30 %, 20 %]"

_read_area, _area = measured(
    parse_area, "0.35 m2", r"^\s*[0-9.]+\s*c?m(2|²)\s*$", least="0.01 cm2", most="1000 m2"
)
_read_density, _density = measured(
    parse_area_density, "8 m2/m3", r"^\s*[0-9.]+\s*(m2/m3|m²/m³|/m)\s*$",
    least="0.001 m2/m3", most="1000 m2/m3",
)  # fmt: skip
_SHARES = {"type": "array", "items": {"type": "string", "pattern": r"^\s*[0-9.]+\s*%\s*$"}}


class Beta(NamedTuple):
    """Densities in proportion to x^(p-1) (1-x)^(q-1), x from bottom to top."""

    p: float
    q: float


def _decimal(value: object, example: str, least: float, most: float) -> float:
    """Read a bare decimal number within limits."""
    text = as_text(value, f"'{example}'")
    number = parse_decimal(text.strip())
    if not least <= number <= most:
        raise ValueError(f"{shown(text)} is out of range; allowed is {least:g} to {most:g}")
    return number


def _shares(value: list[Any] | tuple[Any, ...]) -> tuple[float, ...]:
    """Read a list of shares that are not all nothing."""
    if not FEWEST_LISTED <= len(value) <= MOST_LISTED:
        raise ValueError(
            f"{len(value)} shares are listed; write {FEWEST_LISTED} to {MOST_LISTED} of them"
        )
    shares: list[float] = []
    for index, entry in enumerate(value):
        try:
            shares.append(parse_share(as_text(entry, "'20 %'")))
        except ValueError as error:
            refuse(str(error), index)
    if max(shares) == 0:
        raise ValueError("is 0 % everywhere; some share must be more")
    return tuple(shares)


def _one_entry(value: dict[Any, Any], key: str, like: str) -> object:
    """Give the value of a mapping's only entry, whose name must be `key`."""
    if list(value) != [key]:
        raise ValueError(f"holds {', '.join(map(shown, value)) or 'nothing'}; write {like}")
    return value[key]


def _read_heights(value: object) -> str | Beta | tuple[float, ...]:
    """Read how densely leaves stand by height."""
    if isinstance(value, dict):
        pair = _one_entry(value, "beta", LIKE_HEIGHTS)
        if not isinstance(pair, list | tuple) or len(pair) != 2:
            refuse("is not two numbers; write for example '{beta: [2.5, 2.5]}'", "beta")
        numbers = []
        for index, entry in enumerate(pair):
            try:
                numbers.append(_decimal(entry, "2.5", 1.0, 50.0))
            except ValueError as error:
                refuse(str(error), "beta", index)
        return Beta(*numbers)
    if isinstance(value, list | tuple):
        return _shares(value)
    word = as_text(value, "'even'").strip()
    if word != "even":
        raise ValueError(f"{shown(word)} is not known here; write {LIKE_HEIGHTS}")
    return word


def _read_angles(value: object) -> str | float | tuple[float, ...]:
    """Read how leaves are inclined."""
    if isinstance(value, dict):
        try:
            return _decimal(_one_entry(value, "ellipsoid", LIKE_ANGLES), "1.5", 0.05, 20.0)
        except ValueError as error:
            if list(value) != ["ellipsoid"]:
                raise
            refuse(str(error), "ellipsoid")
    if isinstance(value, list | tuple):
        shares = _shares(value)
        if abs(sum(shares) - 1.0) > SHARE_SLACK:
            raise ValueError(
                f"makes {100 * sum(shares):.4g} % in all; the shares of leaf area in equally wide "
                "classes of inclination, from level to upright, make 100 %"
            )
        return shares
    word = as_text(value, "'spherical'").strip()
    if word not in ANGLE_WORDS:
        raise ValueError(
            f"{shown(word)} is not known here; allowed: {', '.join(ANGLE_WORDS)}, "
            "'{ellipsoid: 1.5}', or a list of shares from level to upright"
        )
    return word


def _read_clumping(value: object) -> float:
    """Read the factor of clumping."""
    return _decimal(value, "0.85", 0.1, 1.5)


def _one_of(*words: str) -> BeforeValidator:
    """Refuse other words."""

    def check(value: object) -> str:
        word = as_text(value, f"'{words[0]}'").strip()
        if word not in words:
            raise ValueError(f"{shown(word)} is not known here; allowed: {', '.join(words)}")
        return word

    return BeforeValidator(check)


class FilledVolume(Frozen):
    """A slab, boxes, ellipsoids or rows, filled with leaves too small and many to be drawn."""

    shape: Annotated[Literal["slab", "box", "ellipsoid", "row"], _one_of(*SHAPES)] = Field(
        description="'slab': a level layer over the planted area (the floor, if none is written); "
        "'box'; 'ellipsoid': a crown; 'row': a long heap with an elliptic section."
    )
    leaf: Name = Field(description="Kind of leaf, a name under 'leaves'.")
    bottom: LengthFromZero = Field(description="Height of its lowest point above the floor.")
    top: PositiveLength = Field(description="Height of its highest point above the floor.")
    width: PositiveLength | None = default(
        None,
        "Extent in x; a slab's, and that of a row along it, is the planted area's if left out.",
    )
    depth: PositiveLength | None = default(
        None,
        "Extent in y; a slab's, and that of a row along it, is the planted area's if left out.",
    )
    direction: Annotated[Literal["width", "depth"], _one_of("width", "depth")] | None = default(
        None, "What a row runs along: 'width' (x) or 'depth' (y)."
    )
    positions: Annotated[tuple[Point, ...], Field(min_length=1, max_length=MOST_VOLUMES)] | None = (
        default(None, "Middles [x, y], one volume at each; the planted area's middle if left out.")
    )
    columns: Annotated[int, counted(1, 200), whole(1, 200)] | None = default(
        None, "Number of volumes along x in equal cells of the planted area, instead of positions."
    )
    rows: Annotated[int, counted(1, 200), whole(1, 200)] | None = default(
        None, "Number of volumes along y, beside 'columns'."
    )
    leaf_area: Annotated[float, _read_area, _area] | None = default(
        None, "One-sided leaf area of each; or write leaf_area_index, or density."
    )
    leaf_area_index: LeafAreaIndex | None = default(
        None, "One-sided leaf area of all of them together per planted area (or floor)."
    )
    density: Annotated[float, _read_density, _density] | None = default(
        None, "Mean leaf area density in it, such as '8 m2/m3'."
    )
    by_height: Annotated[
        str | Beta | tuple[float, ...],
        PlainValidator(_read_heights, json_schema_input_type=Any),
        WithJsonSchema(
            {
                "anyOf": [
                    {"type": "string", "enum": ["even"]},
                    {
                        "type": "object",
                        "properties": {"beta": {"type": "array", "items": {"type": "number"}}},
                        "required": ["beta"],
                        "additionalProperties": False,
                    },
                    _SHARES,
                ]
            }
        ),
    ] = default(
        "even",
        "Density by height: 'even', '{beta: [2.5, 2.5]}' for x^1.5 (1-x)^1.5 with x from bottom to "
        "top, or a list of shares of the greatest at equally spaced heights, the bottom first.",
    )
    angles: Annotated[
        str | float | tuple[float, ...],
        PlainValidator(_read_angles, json_schema_input_type=Any),
        WithJsonSchema(
            {
                "anyOf": [
                    {"type": "string", "enum": list(ANGLE_WORDS)},
                    {
                        "type": "object",
                        "properties": {"ellipsoid": {"type": "number"}},
                        "required": ["ellipsoid"],
                        "additionalProperties": False,
                    },
                    _SHARES,
                ]
            }
        ),
    ] = default(
        "spherical",
        "How leaves are inclined: a word; '{ellipsoid: 1.5}', level over vertical half axis, more "
        "is more level; or shares of leaf area in equally wide classes from level to upright.",
    )
    clumping: Annotated[
        float,
        PlainValidator(_read_clumping, json_schema_input_type=Any),
        WithJsonSchema({"type": "number", "minimum": 0.1, "maximum": 1.5}),
    ] = default(
        "1", "Factor of the density that light meets; below 1 for leaves that stand in tufts."
    )

    def extent(self, axis: int, bounds: tuple[float, float, float, float]) -> float | None:
        """Extent in x (0) or y (1), m; None where one is missing.

        `bounds` are least x, least y, greatest x and greatest y of the planted area.
        """
        stated = (self.width, self.depth)[axis]
        runs = self.shape == "slab" or (
            self.shape == "row" and self.direction == ("width", "depth")[axis]
        )
        if stated is None and runs:
            return bounds[axis + 2] - bounds[axis]
        return stated

    def places(self, bounds: tuple[float, float, float, float]) -> list[tuple[float, float]]:
        """Middles (x, y) of all its volumes, m: columns run fastest."""
        if self.positions is not None:
            return list(self.positions)
        n_x, n_y = self.columns or 1, self.rows or 1
        x0, y0, x1, y1 = bounds
        return [
            (x0 + (x1 - x0) * (i + 0.5) / n_x, y0 + (y1 - y0) * (j + 0.5) / n_y)
            for j in range(n_y)
            for i in range(n_x)
        ]
