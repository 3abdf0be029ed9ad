"""What stands and hangs among plants: pots with soil, nets that hold stems upright."""

from typing import Annotated

from pydantic import Field

from canopysim.scene.fields import Frozen, Name, Point, PositiveLength, default, measured
from canopysim.units import parse_length

_read_mesh, _mesh = measured(
    parse_length, "15 cm", r"^\s*[0-9.]+\s*(mm|cm|m|in|ft)\s*$", least="1 cm", most="10 m"
)
_read_thread, _thread = measured(
    parse_length, "2 mm", r"^\s*[0-9.]+\s*(mm|cm|m|in|ft)\s*$", least="0.1 mm", most="5 cm"
)


class Pot(Frozen):
    """A round pot, filled with soil to its rim; the stem's foot stands on the soil."""

    diameter: PositiveLength = Field(description="Of the rim.")
    height: PositiveLength = Field(description="Of the pot.")
    bottom_diameter: PositiveLength | None = default(
        None, "Of the bottom; three quarters of the rim's if left out."
    )
    surface: Name = default(
        "black-plastic", "Surface of its wall, a name under 'surfaces' or of the library."
    )
    soil: Name = default(
        "potting-mix", "Surface of the soil, a name under 'surfaces' or of the library."
    )

    @property
    def bottom(self) -> float:
        """Diameter of the bottom, m."""
        return 0.75 * self.diameter if self.bottom_diameter is None else self.bottom_diameter


class Net(Frozen):
    """A level net of flat threads, stretched over the floor or a part of it."""

    height: PositiveLength = Field(description="Above the floor.")
    mesh: Annotated[float, _read_mesh, _mesh] = default(
        "15 cm", "Distance between threads, about: meshes are made equal to fill the area."
    )
    thread: Annotated[float, _read_thread, _thread] = default("2 mm", "Width of a thread.")
    surface: Name = default(
        "white-net", "Surface of the threads, a name under 'surfaces' or of the library."
    )
    corner: Point | None = default(None, "One corner [x, y]; the whole floor if left out.")
    opposite: Point | None = default(None, "The diagonally opposite corner [x, y].")
