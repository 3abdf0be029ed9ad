"""The whole scene as the user declares it: checked, unchangeable, in SI numbers.

`Scene` objects come from `canopysim.scene.load`; it also runs the checks that need more than one
entry. YAML text with units becomes floats in m, rad, s, µmol s⁻¹, µmol m⁻² s⁻¹ and shares 0..1.
"""

from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import (
    BeforeValidator,
    Field,
    PlainValidator,
    PrivateAttr,
    WithJsonSchema,
    model_validator,
)

from canopysim.bands import range_label
from canopysim.scene.document import Document, EntryPath
from canopysim.scene.fields import (
    Duration,
    FileSafeName,
    Frozen,
    Length,
    LengthFromZero,
    Line,
    Name,
    Packets,
    Point,
    PositiveLength,
    PositiveShare,
    Seed,
    as_text,
    counted,
    default,
    found,
    parse_decimal,
    refuse,
    whole,
)
from canopysim.scene.light_spectrum import TableSpectrum
from canopysim.scene.schema_channel import Channel
from canopysim.scene.schema_daylight import Daylight, SunBeam
from canopysim.scene.schema_electricity import Electricity, Period
from canopysim.scene.schema_enclosure import Enclosure, Face, FaceName, Patch, Surface
from canopysim.scene.schema_light import (
    BeamWidths,
    Body,
    Fixture,
    FixtureFile,
    Lens,
    Light,
    Row,
    Strip,
)
from canopysim.scene.schema_matter import Area, Canopy, LeafOptics, LeafSide, Plant, Planting
from canopysim.scene.schema_meter import Meter, Probe
from canopysim.scene.schema_splits import AlsoCount, LaunchCells
from canopysim.scene.schema_volume import FilledVolume
from canopysim.scene.spectral import BandShares, BandValues
from canopysim.scene.surface_library import library_surfaces_of
from canopysim.units import shown

DEFAULT_BANDS = ("400", "500", "600", "700", "750", "800")
NEEDED_EDGES = (400.0, 700.0, 750.0)
MOST_BANDS = 48
STOP_RULES = {"target", "max_packets", "max_time"}
DEFAULT_PACKETS = "2e8"
# The first that the scene has something for.
DEFAULT_TARGETS = (("canopy", {"layers": "1 %"}), ("planes", {"planes": "1 %"}))


def _read_bands(value: object) -> tuple[float, ...]:
    """Read ascending band edges in nm, 400, 700 and 750 among them."""
    if not isinstance(value, list | tuple):
        raise ValueError(
            f"{found(value)}; write a list of edges in nm, as in [400, 500, 600, 700, 750, 800]"
        )
    if len(value) > MOST_BANDS + 1:
        raise ValueError(f"{len(value)} edges are too many; at most {MOST_BANDS + 1}")
    edges: list[float] = []
    for index, entry in enumerate(value):
        try:
            edge = parse_decimal(as_text(entry, "'400'").strip().removesuffix("nm").rstrip())
        except ValueError as error:
            refuse(str(error), index)
        if not 300 <= edge <= 1100:
            refuse(f"{shown(entry)} nm is out of range; allowed is 300 to 1100 nm", index)
        if edges and edge <= edges[-1]:
            refuse(f"{shown(entry)} does not ascend; list the edges from short to long", index)
        edges.append(edge)
    missing = [f"{edge:g}" for edge in NEEDED_EDGES if edge not in edges]
    if missing:
        raise ValueError(f"{' and '.join(missing)} nm missing; 400, 700 and 750 must be among them")
    return tuple(edges)


class Plane(Frozen):
    """A horizontal grid on which the flux densities down and up are counted."""

    name: FileSafeName = Field(
        description="Name, also of its map file: small letters, digits, '-'."
    )
    height: LengthFromZero | None = default(None, "Height above the floor; or write above_canopy.")
    above_canopy: Length | None = default(
        None, "Height above the canopy's top (negative: below it); instead of height."
    )
    cell: PositiveLength = default(
        "5 cm", "Side of a cell, about: cells are made equal to fill the plane."
    )
    corner: Point | None = default(None, "One corner [x, y]; the whole floor if left out.")
    opposite: Point | None = default(None, "The diagonally opposite corner [x, y].")


def _target_name(value: object) -> object:
    """Refuse targets on anything but layers and planes."""
    if value not in ("layers", "planes"):
        raise ValueError(f"{shown(str(value))} cannot have a target; allowed: layers, planes")
    return value


TargetName = Annotated[Literal["layers", "planes"], BeforeValidator(_target_name)]
Targets = Annotated[dict[TargetName, PositiveShare], Field(min_length=1)]


class Tracing(Frozen):
    """How many photons are followed, and when to stop."""

    seed: Seed = default("1", "Number from which all random draws come.")
    batch: Annotated[int, counted(1, 2**24), whole(1, 2**24)] = default(
        "65536", "Photon packets per batch, the unit of the statistics."
    )
    target: (
        Annotated[
            Targets, BeforeValidator(lambda v: v, json_schema_input_type=PositiveShare | Targets)
        ]
        | None
    ) = default(
        None,
        "Relative standard errors at which to stop: of every layer's 400-700 nm absorption, "
        "of every plane's mean; one share alone is for the layers, or the planes of a scene "
        "without a canopy.",
    )
    max_packets: Packets | None = default(None, "Stop after so many packets.")
    max_time: Duration | None = default(None, "Stop after this time.")
    floor: PositiveShare = default(
        "0.01 %", "Share of the launched 400-700 nm flux below which the target asks no more."
    )


class Scene(Frozen):
    """A scene file, checked; SI numbers.

    See Also
    --------
    canopysim.scene.load.load_scene : reads one from a file.
    """

    title: Line = Field(description="One line that says what the scene is.")
    bands: Annotated[
        tuple[float, ...],
        PlainValidator(_read_bands, json_schema_input_type=Any),
        WithJsonSchema({"type": "array", "items": {"type": "number"}, "minItems": 3}),
    ] = default(DEFAULT_BANDS, "Edges of the wavebands in nm; 400, 700 and 750 among them.")
    enclosure: Enclosure = Field(description="The box that holds everything.")
    surfaces: dict[Name, Surface] = Field(description="Opaque surfaces by name.")
    leaves: dict[Name, LeafOptics] = default({}, "Kinds of leaf by name.")
    plants: dict[Name, Plant] = default({}, "Kinds of plant by name.")
    fixtures: dict[
        Name,
        Annotated[
            Fixture, BeforeValidator(lambda v: v, json_schema_input_type=Fixture | FixtureFile)
        ],
    ] = default({}, "Kinds of light by name, described here or in a file of their own.")
    lights: tuple[Light, ...] = default((), "The lights, hung in their places.")
    daylight: tuple[Daylight, ...] = default((), "Light that enters through an open ceiling.")
    canopy: Canopy | None = default(None, "What is planted; an empty enclosure if left out.")
    planes: tuple[Plane, ...] = default((), "Grids on which light is counted.")
    electricity: Electricity | None = default(
        None, "What feeds the lights, what that costs, and the hours in which they shine."
    )
    meters: dict[Name, Meter] = default({}, "Light meters by name.")
    probes: tuple[Probe, ...] = default((), "Points at which light is told from all sides.")
    tracing: Tracing = default({}, "How long photons are followed before the answer is given.")
    also_count: AlsoCount = default({}, "What else is counted of the same photons.")

    _document: Document | None = PrivateAttr(default=None)

    @model_validator(mode="before")
    @classmethod
    def _when_to_stop(cls, data: Any) -> Any:
        """Say what a lone share aims at; fill in a target and a budget where none is stated."""
        tracing = data.get("tracing", {}) if isinstance(data, dict) else None
        if not isinstance(tracing, dict):
            return data
        lone = tracing.get("target")
        if isinstance(lone, str) and lone.strip():
            aimed = {"layers" if data.get("canopy") else "planes": lone}
            return {**data, "tracing": {**tracing, "target": aimed}}
        if tracing.keys() & STOP_RULES:
            return data
        filled = {**tracing, "max_packets": DEFAULT_PACKETS}
        aim = next((aim for key, aim in DEFAULT_TARGETS if data.get(key)), None)
        if aim is not None:
            filled["target"] = aim
        return {**data, "tracing": filled}

    @model_validator(mode="after")
    def _library_surfaces(self) -> Self:
        """Define the surfaces of the library that plants, pots and nets name."""
        self.surfaces.update(library_surfaces_of(self))
        return self

    @property
    def band_names(self) -> tuple[str, ...]:
        """Names of the bands, such as ``400-500``."""
        return tuple(range_label(low, high) for low, high in pairwise(self.bands))

    @property
    def path(self) -> Path | None:
        """Where the scene was read from, or None."""
        return self._document.path if self._document else None

    @property
    def text(self) -> str:
        """The scene file as read, without the files that it refers to."""
        return self._document.text if self._document else ""

    @property
    def sources(self) -> dict[str, str]:
        """Every file that the scene was read from: name as shown in messages to its text."""
        return dict(self._document.sources) if self._document else {}

    def mesh_bytes(self, file: str) -> bytes:
        """Return the bytes of a mesh file of the canopy; ValueError without one."""
        if self._document is None or file not in self._document.meshes:
            raise ValueError("was not read; load the scene from its file")
        return self._document.meshes[file]

    def all_mesh_bytes(self) -> list[bytes]:
        """Return the bytes of all mesh files of the scene."""
        return list(self._document.meshes.values()) if self._document is not None else []

    def states(self, *path: str | int) -> bool:
        """Tell whether the file states an entry; all is taken as stated of a scene without one.

        Parameters
        ----------
        *path : str or int
            Keys and list indices (from 0), such as ``"tracing", "target"``.

        Returns
        -------
        bool
        """
        return self._document is None or self._document.has(path)

    def where(self, *path: str | int) -> tuple[int, int]:
        """Find the line and column (from 1) of an entry, or of the nearest one that holds it.

        Parameters
        ----------
        *path : str or int
            Keys and list indices (from 0), such as ``"lights", 0, "height"``.

        Returns
        -------
        line, column : int
            In the file that holds the entry; (1, 1) if the scene was not read from text.
        """
        if self._document is None:
            return (1, 1)
        place = self._document.place(path)
        return (place.line, place.column)

    def problem(self, path: EntryPath, message: str) -> str:
        """Write a line for `SceneError`: ``file:line:column  path: message``.

        Parameters
        ----------
        path : tuple of str and int
            Keys and list indices (from 0).
        message : str
            What is wrong; what is allowed.

        Returns
        -------
        str
            One line. List entries are counted from 1 in it: ``lights[1].height``.
        """
        document = self._document or Document.unread()
        return document.problem(path, message)


__all__ = [
    "AlsoCount",
    "Area",
    "BandShares",
    "BandValues",
    "BeamWidths",
    "Body",
    "Canopy",
    "Channel",
    "Daylight",
    "Electricity",
    "Enclosure",
    "Face",
    "FaceName",
    "FilledVolume",
    "Fixture",
    "LaunchCells",
    "LeafOptics",
    "LeafSide",
    "Lens",
    "Light",
    "Patch",
    "Period",
    "Plane",
    "Plant",
    "Planting",
    "Row",
    "Scene",
    "Strip",
    "SunBeam",
    "Surface",
    "TableSpectrum",
    "Tracing",
]
