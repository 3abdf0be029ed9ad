"""What shines: fixtures with their strips and lenses, and where they hang."""

import math
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self

from pydantic import (
    ConfigDict,
    Field,
    PrivateAttr,
    ValidatorFunctionWrapHandler,
    WrapValidator,
    model_validator,
)

from canopysim.errors import CanopysimError
from canopysim.light.photometry.distribution import Distribution
from canopysim.scene.fields import (
    Angle,
    BeamWidth,
    Frozen,
    LengthFromZero,
    Line,
    Name,
    Point,
    PositiveFlux,
    PositiveLength,
    PositiveShare,
    Share,
    counted,
    default,
    refuse,
    whole,
)
from canopysim.scene.light_spectrum import (
    MISSING,
    SPECTRUM_MEANING,
    LightSpectrum,
    LightSpectrumField,
)
from canopysim.scene.schema_channel import MOST_CHANNELS, Channel, ChannelLoad, channel_load
from canopysim.scene.schema_mesh import MeshFile
from canopysim.scene.schema_power import Powered
from canopysim.units import shown

if TYPE_CHECKING:
    from canopysim.matter.body_mesh import DrawnBody

# A point source is given an opening of this size.
LEAST_OPENING_M = 1e-3
LensWord = Literal["lambertian", "parallel"]
LENS_WORDS: tuple[LensWord, ...] = ("lambertian", "parallel")


class BeamWidths(Frozen):
    """Full widths at half maximum of an asymmetric beam, rad."""

    along: BeamWidth = Field(description="Full width at half maximum along the strip.")
    across: BeamWidth = Field(description="Full width at half maximum across the strip.")


class Lens(Frozen):
    """How a strip's light spreads below it: cosine-distributed, straight ahead, or a beam."""

    beam: BeamWidths = Field(description="An asymmetric beam by its widths along and across.")
    _word: LensWord | None = PrivateAttr(default=None)
    _distribution: Distribution | None = PrivateAttr(default=None)

    @property
    def kind(self) -> Literal["lambertian", "parallel", "beam", "table"]:
        """The lens's law."""
        return "table" if self._distribution is not None else self._word or "beam"

    @property
    def distribution(self) -> Distribution | None:
        """The table of a photometric file, of which the shape counts; None for other lenses."""
        return self._distribution

    @classmethod
    def of_table(cls, distribution: Distribution) -> "Lens":
        """Make the lens of a photometric file."""
        lens = cls.model_construct(beam=BeamWidths.model_construct(along=0.0, across=0.0))
        lens._distribution = distribution
        return lens

    @property
    def along(self) -> float:
        """Full width at half maximum along the strip, rad."""
        return self.beam.along

    @property
    def across(self) -> float:
        """Full width at half maximum across the strip, rad."""
        return self.beam.across

    @classmethod
    def plain(cls, word: LensWord) -> "Lens":
        """Make the lens of a word: a Lambertian one is 120 deg wide, a parallel one 0."""
        width = math.radians(120) if word == "lambertian" else 0.0
        widths = BeamWidths.model_construct(along=width, across=width)
        lens = cls.model_construct(beam=widths)
        lens._word = word
        return lens


def _read_lens(value: object, read_mapping: ValidatorFunctionWrapHandler) -> Any:
    """Read a word, a beam or a photometric file."""
    if isinstance(value, dict) and ("file" in value or "table" in value):
        for key in value:
            if key not in ("file", "table"):
                refuse("cannot stand beside 'file'; leave it out", key)
        return Lens.of_table(read_distribution(value.get("file"), value.get("table")))
    if not isinstance(value, str):
        return read_mapping(value)
    for word in LENS_WORDS:
        if value == word:
            return Lens.plain(word)
    raise ValueError(
        f"{shown(value)} is not a lens; write 'lambertian', 'parallel' or "
        "{beam: {along: 120 deg, across: 60 deg}}, or {file: bar.ies}"
    )


class Photometry(Frozen):
    """The light of a whole fixture as it was measured, its body's shading included."""

    file: Line | None = default(
        None, "Photometric file (ANSI/IES LM-63 or EULUMDAT), from this file's folder."
    )
    table: str | None = default(None, "The text of such a file, instead of 'file'.")
    intensity: Literal["candela", "photons"] = default(
        "candela", "What its numbers are: 'candela', or 'photons' for µmol s⁻¹ sr⁻¹."
    )
    _distribution: Distribution | None = PrivateAttr(default=None)

    @model_validator(mode="after")
    def _read(self) -> Self:
        unit = "cd" if self.intensity == "candela" else "umol s-1 sr-1"
        self._distribution = read_distribution(self.file, self.table, unit)
        return self

    @property
    def distribution(self) -> Distribution:
        """What the file holds."""
        assert self._distribution is not None
        return self._distribution


def read_distribution(file: str | None, table: str | None, unit: str = "cd") -> Distribution:
    """Read the text of a photometric file.

    Raises
    ------
    ValueError
        With the file, its line and what is wrong; and for one without any light.
    """
    from canopysim.light.photometry import flux, parse_photometric

    if table is None:
        raise ValueError("write 'file' with the name of a photometric file")
    name = file or "table"
    try:
        found = parse_photometric(table.encode("utf-8"), name, unit=unit)
    except CanopysimError as error:
        raise ValueError(str(error)) from None
    if not flux(found) > 0:
        raise ValueError(f"{name}: holds no light")
    return found


class Strip(Frozen):
    """A luminous rectangle of a fixture; its light leaves downwards before tilt."""

    length: PositiveLength = Field(description="Extent along the fixture's x.")
    width: PositiveLength = Field(description="Extent along the fixture's y.")
    at: Point = default(
        ("0 cm", "0 cm"), "Centre of the strip [x, y] in the fixture's luminous plane."
    )
    drop: LengthFromZero = default("0 mm", "How far it stands below the luminous plane.")
    tilt: Angle = default(
        "0 deg", "Turn about the strip's own x axis; positive swings its light towards +y."
    )
    lens: Annotated[Lens, WrapValidator(_read_lens, json_schema_input_type=LensWord | Lens)] = (
        Field(
            description="'lambertian', 'parallel', {beam: {along: ..., across: ...}}, or {file: "
            "bar.ies}: the shape of a photometric file."
        )
    )
    share: PositiveShare | None = default(
        None,
        "Share of the fixture's photons, or of its channel's where that states them; an equal part "
        "of what is left if not written.",
    )
    channel: Name | None = default(
        None, "Channel of the fixture that it belongs to, a name under the fixture's 'channels'."
    )
    spectrum: LightSpectrumField | None = default(
        None, "Make-up of this strip's photons, where it differs from the channel's or fixture's."
    )


def _size_or_mesh(schema: dict[str, Any]) -> None:
    """Say to editors that a drawn body needs no size."""
    schema["required"] = ["surface"]
    schema["anyOf"] = [{"required": ["length", "width", "height"]}, {"required": ["mesh"]}]


class Body(Frozen):
    """The box above the luminous plane, or a mesh: it shades, reflects and absorbs.

    Length, width and height of a mesh are those of the box round it.
    """

    model_config = ConfigDict(json_schema_extra=_size_or_mesh)

    length: PositiveLength = Field(description="Extent along the fixture's x.")
    width: PositiveLength = Field(description="Extent along the fixture's y.")
    height: PositiveLength = Field(description="Extent upwards.")
    surface: Name = Field(description="Surface of the body, a name under 'surfaces'.")
    standoff: PositiveLength = default("2 mm", "Gap between luminous plane and the underside.")
    mesh: MeshFile | None = default(
        None,
        "A mesh file instead of a box. Its origin is the middle of the luminous plane, its x runs "
        "along the fixture, up is away from the light. Closed, it is solid; else it is sheets.",
    )

    # A mesh as it was understood; set by what loads the scene.
    _drawn: "DrawnBody | None" = PrivateAttr(default=None)

    @property
    def drawn(self) -> "DrawnBody | None":
        """The mesh, or None for a box."""
        return self._drawn


class Fixture(Powered):
    """A kind of light: a body with one or more luminous strips."""

    body: Body | None = default(None, "The box that carries the strips.")
    strips: Annotated[tuple[Strip, ...], Field(max_length=500)] = default(
        (), "The luminous strips; or write photometry."
    )
    photometry: Photometry | None = default(
        None, "A photometric file of the whole fixture, instead of strips."
    )
    ppf: PositiveFlux | None = default(
        None, "Photons of 400-700 nm leaving the whole fixture at full output."
    )
    photon_flux: PositiveFlux | None = default(
        None, "Photons of all bands of the scene leaving the fixture; instead of ppf."
    )
    spectrum: LightSpectrumField | None = default(
        None,
        f"{SPECTRUM_MEANING} Needed unless all channels or strips have their own.",
    )
    channels: Annotated[dict[Name, Channel], Field(max_length=MOST_CHANNELS)] = default(
        {}, "Channels by name, which are set apart from each other: white, far-red, ..."
    )

    @model_validator(mode="before")
    @classmethod
    def _spectrum_is_needed(cls, data: Any) -> Any:
        """Miss the spectrum in the same pass as all else, where nothing stands in for it."""
        if not isinstance(data, dict) or "spectrum" in data or data.get("channels"):
            return data
        strips = data.get("strips")
        each = strips if isinstance(strips, list) and strips else [None]
        told = all(isinstance(strip, dict) and "spectrum" in strip for strip in each)
        misspelt = data.keys() - cls.model_fields.keys()
        return data if told or misspelt else {**data, "spectrum": MISSING}

    @model_validator(mode="after")
    def _luminous_opening(self) -> Self:
        """Let the light of a photometric file leave from the opening that it states."""
        if self.photometry is not None and not self.strips:
            shape = self.photometry.distribution
            strip = Strip.model_construct(
                length=max(shape.opening.length_m, LEAST_OPENING_M),
                width=max(shape.opening.width_m, LEAST_OPENING_M),
                at=(0.0, 0.0), drop=0.0, tilt=0.0, lens=Lens.of_table(shape), share=None,
                spectrum=None, channel=None,
            )  # fmt: skip
            self.__dict__["strips"] = (strip,)
        return self

    @property
    def own_strips(self) -> bool:
        """Whether its strips are written out, rather than taken from a photometric file."""
        return "strips" in self.model_fields_set

    def spectrum_stated(self, strip: Strip) -> LightSpectrum | None:
        """Make-up of a strip's photons: its own, its channel's, or the fixture's."""
        channel = self.channels.get(strip.channel) if strip.channel is not None else None
        of_channel = channel.spectrum if channel is not None else None
        return strip.spectrum or of_channel or self.spectrum

    def spectrum_of(self, strip: Strip) -> LightSpectrum:
        """As `spectrum_stated`, of a checked fixture, in which every strip has one."""
        found = self.spectrum_stated(strip)
        assert found is not None
        return found

    def strips_of(self, channel: str) -> tuple[Strip, ...]:
        """List the strips of a channel."""
        return tuple(strip for strip in self.strips if strip.channel == channel)

    @property
    def channels_state_flux(self) -> bool:
        """Whether channels state their photons, each of them in a checked fixture."""
        return any(c.ppf is not None or c.photon_flux is not None for c in self.channels.values())

    @property
    def channel_loads(self) -> dict[str, ChannelLoad]:
        """What each channel states that it draws."""
        stated = super().full_power
        return {name: channel_load(channel, stated) for name, channel in self.channels.items()}

    @property
    def full_power(self) -> float | None:
        """Input power at full output, W, or the sum of its channels'; None where not stated."""
        stated = super().full_power
        parts = [load.full_power for load in self.channel_loads.values()]
        if stated is not None or not parts or None in parts:
            return stated
        return sum(part for part in parts if part is not None)


class FixtureFile(Frozen):
    """A fixture that is described in a file of its own."""

    file: Line = Field(description="Path of the fixture's file, from the scene's folder.")


class Row(Frozen):
    """Several equal fixtures side by side, centred on the light's place."""

    count: Annotated[int, counted(1, 200), whole(1, 200)] = Field(description="Number of fixtures.")
    gap: LengthFromZero = Field(description="Clear space between neighbouring bodies.")
    direction: Literal["width", "depth"] = Field(
        description="'width': side by side along x; 'depth': along y."
    )


class Light(Frozen):
    """A fixture, or a row of them, hung in its place."""

    fixture: Name = Field(description="Kind of light, a name under 'fixtures'.")
    group: Name = Field(
        default_factory=lambda data: data.get("fixture", ""),
        description="Name under which its photons are answered for; the fixture's if left out.",
    )
    at: Point = Field(description="Place [x, y] of the pivot, the luminous plane's centre.")
    height: LengthFromZero | None = default(
        None, "Height of the luminous plane above the floor; or write above_canopy."
    )
    above_canopy: LengthFromZero | None = default(
        None, "Height of the luminous plane above the canopy's top; instead of height."
    )
    turn: Angle = default("0 deg", "Turn about the vertical, from +x towards +y.")
    pitch: Angle = default("0 deg", "Turn about the fixture's y: positive lowers its +x end.")
    tilt: Angle = default(
        "0 deg", "Turn about the fixture's long axis: positive swings its light towards its +y."
    )
    output: Share = default("100 %", "Share of full output.")
    outputs: dict[Name, Share] = default(
        {},
        "Outputs of single channels by name, each a share of the channel's full output; channels "
        "that are not named here have 'output'.",
    )
    row: Row | None = default(None, "Several equal fixtures side by side.")

    def output_of(self, channel: str | None) -> float:
        """Share of full output of a channel; of the whole light for None."""
        return self.output if channel is None else self.outputs.get(channel, self.output)
