"""What a plant bears beside its leaves: flowers and fruit, as simple solids."""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from canopysim.scene.fields import (
    Frozen,
    LengthFromZero,
    Name,
    PositiveLength,
    UprightAngle,
    YesNo,
    as_text,
    counted,
    default,
    refuse,
    whole,
)
from canopysim.units import shown

SHAPES = ("ellipsoid", "cone")


def _shape(value: object) -> str:
    """Refuse other shapes."""
    word = as_text(value, "'ellipsoid'").strip()
    if word not in SHAPES:
        raise ValueError(f"{shown(word)} is no shape known here; allowed: {', '.join(SHAPES)}")
    return word


_AGE = (counted(0, 200), whole(0, 200))


class Bearing(Frozen):
    """Flowers or fruit of one kind: where they sit, how large they are, and when they are there."""

    shape: Annotated[Literal["ellipsoid", "cone"], BeforeValidator(_shape)] = default(
        "ellipsoid", "Ellipsoid, or a cone with a round top whose tip is the far end."
    )
    length: PositiveLength = Field(description="Length along its own axis, full grown.")
    width: PositiveLength = Field(description="Greatest width across that axis, full grown.")
    surface: Name = Field(description="A name under 'surfaces', or a surface of the library.")
    number: Annotated[int, counted(1, 40), whole(1, 40)] = default(
        "1", "How many share a stalk, in two rows along its outer part."
    )
    stalk_length: LengthFromZero = default("2 cm", "Length of the stalk, from the stem.")
    stalk_angle: UprightAngle = default(
        "90 deg", "Angle of the stalk from the stem's upward direction."
    )
    hangs: YesNo = default("true", "Whether it hangs straight down, or points on along its stalk.")
    first_node: Annotated[int, counted(1, 200), whole(1, 200)] = default(
        "1", "Lowest node that bears, counted from 1 at the bottom."
    )
    every: Annotated[int, counted(1, 50), whole(1, 50)] = default(
        "1", "Bears at every so many nodes from there on."
    )
    after: Annotated[int, *_AGE] = default(
        "0", "It comes when so many leaves have come out above its node."
    )
    full_after: Annotated[int, *_AGE] | None = default(
        None, "It is full grown when so many leaves are out above; five after it came if left out."
    )
    gone_after: Annotated[int, *_AGE] | None = default(
        None, "It is gone, or picked, when so many leaves are out above; never if left out."
    )

    @model_validator(mode="before")
    @classmethod
    def _ages_ascend(cls, data: Any) -> Any:
        """Refuse what is full grown before it comes, or gone before that."""
        if not isinstance(data, dict):
            return data
        ages = {}
        for key in ("after", "full_after", "gone_after"):
            text = data.get(key, "0" if key == "after" else "")
            if isinstance(text, str) and text.strip().isdigit():
                ages[key] = int(text)
        for key in ("full_after", "gone_after"):
            if key in ages and "after" in ages and ages[key] <= ages["after"]:
                refuse(f"{ages[key]} is not more than 'after', {ages['after']}; write more", key)
        return data

    @property
    def grows_over(self) -> int:
        """Leaves that come out above while it grows."""
        return 5 if self.full_after is None else self.full_after - self.after
