"""How a kind of plant is built: stems, leaves by rank, leaflets, what it bears, how old it is."""

import re
from collections.abc import Callable
from typing import Annotated, Any

from pydantic import (
    AfterValidator,
    ConfigDict,
    Field,
    PlainValidator,
    WithJsonSchema,
    model_validator,
)

from canopysim.scene.fields import (
    Angle,
    Bend,
    BranchAngle,
    FoldAngle,
    Frozen,
    HalfShare,
    LengthFromZero,
    Name,
    PositiveLength,
    PositiveShare,
    Share,
    UprightAngle,
    as_text,
    counted,
    default,
    measured,
    parse_count,
    refuse,
    whole,
)
from canopysim.scene.plant_library import either_like_or_whole, from_library
from canopysim.scene.schema_bearing import Bearing
from canopysim.units import parse_angle, parse_share, shown
from canopysim.units_days import parse_days

MOST_RANKS = 50
COARSE, MOST_TRIANGLES = 4, 400
LEAST_STAGE, FULL_STAGE = 0.05, 1.0
_read_stage, _stage = measured(
    parse_share, "60 %", r"^\s*[0-9.]+\s*(%|days?)\s*$", least="5 %", most="100 %"
)
_read_days, _days = measured(parse_days, "90 days", r"^\s*[0-9.]+\s*days?\s*$", more_than="0 days")
_IN_DAYS = re.compile(r"[0-9.]+\s*days?")


def _not_all_zero(whole_one: str) -> AfterValidator:
    """Refuse shares of a greatest size that are all nothing."""

    def check(shares: tuple[float, ...]) -> tuple[float, ...]:
        if max(shares) == 0:
            raise ValueError(f"is 0 % everywhere; {whole_one} is 100 %")
        return shares

    return AfterValidator(check)


def _by_rank(parse: Callable[[str], float], example: str, pattern: str) -> Any:
    """Make validator and JSON Schema of one value, or of values from the lowest leaf to the top."""

    def read(value: object) -> tuple[float, ...]:
        entries = value if isinstance(value, list | tuple) else [value]
        if not 1 <= len(entries) <= MOST_RANKS:
            raise ValueError(
                f"{len(entries)} values are listed; write one, or up to {MOST_RANKS} from the "
                "lowest leaf to the highest"
            )
        values: list[float] = []
        for index, entry in enumerate(entries):
            try:
                values.append(parse(as_text(entry, f"'{example}'")))
            except ValueError as error:
                if entries is not value:
                    raise
                refuse(str(error), index)
        return tuple(values)

    one = {"type": "string", "pattern": pattern, "examples": [example]}
    return (
        PlainValidator(read, json_schema_input_type=Any),
        WithJsonSchema({"anyOf": [one, {"type": "array", "items": one, "minItems": 1}]}),
    )


def _angle(least: str, most: str) -> Callable[[str], float]:
    """Make the reader of an angle within limits."""

    def read(text: str) -> float:
        value = parse_angle(text)
        if not parse_angle(least) <= value <= parse_angle(most):
            raise ValueError(f"{shown(text)} is out of range; allowed is {least} to {most}")
        return value

    return read


def _size(text: str) -> float:
    share = parse_share(text)
    if not share > 0:
        raise ValueError(f"{shown(text)} is too small; allowed is more than 0 %")
    return share


_DEGREES = r"^\s*[+-]?[0-9.]+\s*(deg|rad)\s*$"
UprightAngles = Annotated[
    tuple[float, ...], *_by_rank(_angle("0 deg", "180 deg"), "60 deg", _DEGREES)
]
Inclinations = Annotated[
    tuple[float, ...], *_by_rank(_angle("-90 deg", "90 deg"), "10 deg", _DEGREES)
]
Bends = Annotated[tuple[float, ...], *_by_rank(_angle("-180 deg", "180 deg"), "40 deg", _DEGREES)]
Sizes = Annotated[tuple[float, ...], *_by_rank(_size, "80 %", r"^\s*[0-9.]+\s*%\s*$")]
SizesByNode = Annotated[
    tuple[Share, ...], Field(min_length=1, max_length=200), _not_all_zero("the largest")
]


def _read_triangles(value: object) -> int:
    """Read a number of triangles, or the word for few."""
    text = as_text(value, "'16'").strip()
    return COARSE if text == "coarse" else parse_count(text, 2, MOST_TRIANGLES)


Triangles = Annotated[
    int,
    PlainValidator(_read_triangles, json_schema_input_type=Any),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "integer", "minimum": 2, "maximum": MOST_TRIANGLES},
                {"type": "string", "enum": ["coarse"]},
            ]
        }
    ),
]


class Leaflets(Frozen):
    """What makes a leaf compound: leaflets along a rachis, the line that goes on from the stalk."""

    pairs: Annotated[int, counted(1, 20), whole(1, 20)] = Field(
        description="Pairs of leaflets beside the one at the end."
    )
    rachis_length: PositiveLength = Field(
        description="From the first pair, at the leaf stalk's end, to the leaflet at the end."
    )
    angle: UprightAngle = default("60 deg", "Angle of the paired leaflets from the rachis.")
    size: Sizes = default(
        "80 %",
        "Length and width of the paired leaflets, as a share of those of the end one: one, or a "
        "list from the first pair to the last, interpolated.",
    )
    bend: Bend = default("0 deg", "Bend of the rachis from base to end, downwards.")


class Ripple(Frozen):
    """A wavy margin, as of a curled lettuce."""

    waves: Annotated[int, counted(1, 10), whole(1, 10)] = Field(
        description="Full waves along each margin."
    )
    height: PositiveShare = Field(
        description="Rise of the margin above the flat blade, as a share of half the width."
    )


class Plant(Frozen):
    """A kind of plant: upright stems that carry simple or compound leaves in a spiral."""

    model_config = ConfigDict(json_schema_extra=either_like_or_whole)

    like: Name | None = default(
        None, "A plant of the library, such as 'pepper', for all that is not written here."
    )
    leaf: Name = Field(description="Kind of leaf, a name under 'leaves'.")
    stem: Name = Field(
        description="Surface of stem and leaf stalks, a name under 'surfaces' or of the library."
    )
    nodes: Annotated[int, counted(1, 200), whole(1, 200)] = Field(
        description="Number of places along each stem from which leaves grow."
    )
    leaves_per_node: Annotated[int, counted(1, 6), whole(1, 6)] = default(
        "1", "Leaves that leave the stem at one place: 2 are a pair."
    )
    stage: Annotated[float, _read_stage, _stage] | None = default(
        None,
        "Share of its leaves that are out, the upper ones still unfolding, or days as in '30 "
        "days'; all if left out.",
    )
    full_grown_after: Annotated[float, _read_days, _days] | None = default(
        None, "Days from the first leaf to the full-grown plant, for a stage in days."
    )
    internode: PositiveLength = Field(description="Distance along the stem between leaves.")
    internode_by_node: SizesByNode | None = default(
        None,
        "Length of the internodes along the stem from bottom to top, as shares of 'internode'; "
        "interpolated. All alike if left out.",
    )
    first_leaf_height: LengthFromZero = default(
        "4 cm", "Height of the lowest leaf on the stem, from the stem's foot."
    )
    spiral: Angle = default("137.5 deg", "Turn about the stem from one leaf to the next.")
    petiole_length: PositiveLength = Field(description="Length of the leaf stalk.")
    petiole_by_node: SizesByNode | None = default(
        None,
        "Length of the leaf stalks along the stem from bottom to top, as shares of what the "
        "leaf's size makes it; interpolated. All alike if left out.",
    )
    petiole_angle: UprightAngles = Field(
        description="Angle of the leaf stalk from the stem's upward direction; one, or a list "
        "from the lowest leaf upwards, interpolated."
    )
    blade_length: PositiveLength = Field(
        description="Length of the blade (of the leaflet at the end) along its midrib."
    )
    blade_width: PositiveLength = Field(
        description="Greatest width of the blade (of the leaflet at the end)."
    )
    leaflets: Leaflets | None = default(None, "Leaflets of a compound leaf; simple if left out.")
    blade_angle: Inclinations = default(
        "10 deg",
        "Droop of the blade at its base: below the horizontal is positive; one, or a list upwards.",
    )
    curvature: Bends = default(
        "40 deg",
        "Bend of the midrib from base to tip, downwards; one, or a list upwards.",
    )
    fold: FoldAngle = default("10 deg", "Rise of each half of the blade from the midrib, a V.")
    ripple: Ripple | None = default(None, "Waves of the blade's margin; smooth if left out.")
    outline: Annotated[
        tuple[Share, ...], Field(min_length=3, max_length=50), _not_all_zero("the widest part")
    ] = default(
        ("8 %", "70 %", "100 %", "92 %", "66 %", "30 %", "0 %"),
        "Widths at equally spaced stations from base to tip, as shares of the greatest.",
    )
    size_by_node: SizesByNode = default(
        ("60 %", "100 %", "100 %", "90 %", "50 %"),
        "Leaf size along the stem from bottom to top, as shares of the greatest; interpolated.",
    )
    stem_radius: PositiveLength = default("4 mm", "Radius of the stem.")
    petiole_radius: PositiveLength = default("1.2 mm", "Radius of the leaf stalks.")
    triangles_per_leaf: Triangles = default(
        "16",
        "Triangles that a blade or leaflet is made of, 12 or more, or 'coarse' for 4, which shows "
        "outline and bend roughly.",
    )
    branches: Annotated[int, counted(1, 12), whole(1, 12)] = default(
        "1", "Number of equal main stems, leaving at the first leaf's height."
    )
    branch_angle: BranchAngle = default(
        "25 deg", "Lean of the main stems from the vertical, where there are several."
    )
    bears: Annotated[tuple[Bearing, ...], Field(max_length=20)] = default(
        (), "Flowers and fruit, as simple solids on stalks of their own."
    )
    variation: HalfShare = default(
        "10 %", "Random spread of size and angles from leaf to leaf, by the canopy's seed."
    )

    @model_validator(mode="before")
    @classmethod
    def _start_from_library(cls, data: Any) -> Any:
        """Take from the library's plant what is not written; tell a stage in days as a share."""
        return _days_as_share(from_library(data))


def _days_as_share(data: Any) -> Any:
    """Turn a stage in days into the share of the days that a plant takes to be full grown."""
    if not isinstance(data, dict) or not isinstance(data.get("stage"), str):
        return data
    stage = data["stage"].strip()
    if _IN_DAYS.fullmatch(stage) is None:
        return data
    given = data.get("full_grown_after")
    if not isinstance(given, str):
        refuse(
            f"{shown(stage)} needs to know how long the plant takes; write 'full_grown_after: 90 "
            "days' beside it, or the stage as a share",
            "stage",
        )
    try:
        days, full = parse_days(stage), parse_days(given)
    except ValueError:
        return data  # told where it is read
    if full > 0 and not LEAST_STAGE * full <= days <= FULL_STAGE * full:
        refuse(
            f"{shown(stage)} is out of range for a plant that is full grown after {given.strip()}; "
            f"allowed is {LEAST_STAGE * full:g} to {full:g} days",
            "stage",
        )
    return {**data, "stage": f"{100 * days / full:.9g} %"} if full > 0 else data
