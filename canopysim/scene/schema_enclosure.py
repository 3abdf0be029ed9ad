"""What the room is made of: surfaces, the enclosure, its faces and their patches."""

from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, ConfigDict, Field, PrivateAttr

from canopysim.scene.fields import FacetAngle, Frozen, Name, Point, RoomLength, YesNo, default
from canopysim.scene.schema_room import RoomMesh
from canopysim.scene.spectral import SpectralShare
from canopysim.units import shown

if TYPE_CHECKING:
    from canopysim.matter.room import Room

FaceName = Literal["floor", "ceiling", "front", "back", "left", "right"]
FACE_NAMES: tuple[FaceName, ...] = ("floor", "ceiling", "front", "back", "left", "right")
# The two world axes (0 x, 1 y, 2 z) in which the points of each face are written.
FACE_AXES: dict[FaceName, tuple[int, int]] = {
    "floor": (0, 1),
    "ceiling": (0, 1),
    "front": (0, 2),
    "back": (0, 2),
    "left": (1, 2),
    "right": (1, 2),
}


class Surface(Frozen):
    """An opaque surface: a share reflected diffusely, a share like a mirror, the rest absorbed."""

    diffuse: SpectralShare = default(
        "0 %", "Share reflected in all directions (Lambertian): '12 %' or {400-700: 12 %, ...}."
    )
    specular: SpectralShare = default(
        "0 %", "Share reflected as by a mirror: '74 %' or {400-700: 74 %, ...}."
    )
    spread: FacetAngle = default(
        "0 deg",
        "Roughness of the mirror, as of creased or embossed film: half of its small facets are "
        "tilted by less than this; 0 is flat. What facets hide from each other is absorbed.",
    )


class Patch(Frozen):
    """A rectangle of another surface, or an opening, on a face; later ones lie over earlier."""

    surface: Name | None = default(None, "Surface of the patch; or write 'open: true'.")
    open: YesNo = default("false", "Whether photons leave through the patch.")
    corner: Point = Field(
        description="One corner, in the face's two axes: floor and ceiling [x, y]; front and back "
        "[x, z]; left and right [y, z]."
    )
    opposite: Point = Field(description="The diagonally opposite corner, in the same axes.")


class Face(Frozen):
    """One of the six faces of the enclosure."""

    surface: Name | None = default(None, "Surface of the face; the lining if left out.")
    open: YesNo = default("false", "Whether photons leave through the face.")
    patches: tuple[Patch, ...] = default((), "Rectangles of other surfaces and openings.")


def _expand_face(value: object) -> object:
    """Read the short form: a surface's name, or the word open."""
    if isinstance(value, str):
        if not value.strip():
            raise ValueError("nothing is written here; write a surface's name, 'open' or a mapping")
        return {"open": "true"} if value == "open" else {"surface": value}
    return value


def _face_name(value: object) -> object:
    """Refuse what is not one of the six faces."""
    if value not in FACE_NAMES:
        raise ValueError(f"{shown(str(value))} is not a face; allowed: {', '.join(FACE_NAMES)}")
    return value


Extent = Literal["width", "depth"]
REPEATING_SIDES: dict[Extent, tuple[FaceName, FaceName]] = {
    "width": ("left", "right"),
    "depth": ("front", "back"),
}


def _extent(value: object) -> object:
    """Refuse what a room cannot repeat along."""
    if value not in REPEATING_SIDES:
        raise ValueError(
            f"{shown(str(value))} cannot repeat; allowed: {', '.join(REPEATING_SIDES)}"
        )
    return value


def _once(value: tuple[Extent, ...]) -> tuple[Extent, ...]:
    """Refuse an extent that is named twice."""
    if len(set(value)) < len(value):
        raise ValueError(f"'{value[0]}' stands twice; name each extent once")
    return value


UNIQUE = AfterValidator(_once)


def _size_or_mesh(schema: dict[str, Any]) -> None:
    """Say to editors that a drawn room needs no size."""
    sizes = [key for key in ("width", "depth", "height") if key in schema["required"]]
    schema["required"] = [key for key in schema["required"] if key not in sizes]
    schema["anyOf"] = [{"required": sizes}, {"required": ["mesh"]}]


class Enclosure(Frozen):
    """The box that holds everything; its origin is the floor's front-left corner.

    A drawn room takes its size from its mesh: the box round it.
    """

    model_config = ConfigDict(json_schema_extra=_size_or_mesh)

    width: RoomLength = Field(description="Inner extent along x, from the left to the right wall.")
    depth: RoomLength = Field(description="Inner extent along y, from the front to the back wall.")
    height: RoomLength = Field(description="Inner extent along z, from the floor to the ceiling.")
    lining: Name = Field(description="Surface of every face that does not say otherwise.")
    mesh: RoomMesh | None = default(
        None, "A drawn room of any shape, instead of width, depth, height and faces."
    )
    faces: dict[
        Annotated[FaceName, BeforeValidator(_face_name)],
        Annotated[Face, BeforeValidator(_expand_face, json_schema_input_type=str | Face)],
    ] = default(
        {}, "Faces that differ from the lining: a surface's name, the word 'open', or a mapping."
    )

    repeat: Annotated[tuple[Annotated[Extent, BeforeValidator(_extent)], ...], UNIQUE] = default(
        (),
        "Extents along which the room repeats without end, 'width' or 'depth' or both: what leaves "
        "through one side enters through the opposite one, as in the middle of many bays.",
    )

    # A mesh as it was understood; set by what loads the scene.
    _room: "Room | None" = PrivateAttr(default=None)

    @property
    def room(self) -> "Room | None":
        """The drawn room, or None for a box."""
        return self._room

    @property
    def floor_area(self) -> float:
        """Area of the floor, m2; of a drawn room as seen from above."""
        return self.width * self.depth if self._room is None else self._room.floor_area

    @property
    def repeating(self) -> frozenset[FaceName]:
        """Sides that repeat: left and right for the width, front and back for the depth."""
        return frozenset(side for extent in self.repeat for side in REPEATING_SIDES[extent])

    @property
    def size(self) -> tuple[float, float, float]:
        """Width, depth and height in m."""
        return (self.width, self.depth, self.height)

    def face(self, name: FaceName) -> Face:
        """Return a face as declared, or a plain face of the lining."""
        return self.faces.get(name, Face())

    def face_extents(self, name: FaceName) -> tuple[float, float]:
        """Return the face's extents in m along its two axes."""
        first, second = FACE_AXES[name]
        return (self.size[first], self.size[second])
