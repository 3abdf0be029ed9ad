"""What shines: fixtures with their strips and lenses, where they hang, and daylight."""

import math
from typing import Annotated, Any, Literal

from pydantic import (
    BeforeValidator,
    Field,
    PrivateAttr,
    ValidatorFunctionWrapHandler,
    WrapValidator,
)

from canopysim.scene.fields import (
    Angle,
    BeamWidth,
    Frozen,
    LengthFromZero,
    Line,
    Name,
    Point,
    PositiveFlux,
    PositiveFluxDensity,
    PositiveLength,
    PositiveShare,
    Share,
    Zenith,
    counted,
    default,
    whole,
)
from canopysim.scene.light_spectrum import LightSpectrumField
from canopysim.scene.schema_power import Powered
from canopysim.units import shown

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

    @property
    def kind(self) -> Literal["lambertian", "parallel", "beam"]:
        """The lens's law."""
        return self._word or "beam"

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
    """Read a word or a beam."""
    if not isinstance(value, str):
        return read_mapping(value)
    for word in LENS_WORDS:
        if value == word:
            return Lens.plain(word)
    raise ValueError(
        f"{shown(value)} is not a lens; write 'lambertian', 'parallel' or "
        "{beam: {along: 120 deg, across: 60 deg}}"
    )


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
        Field(description="'lambertian', 'parallel' or {beam: {along: ..., across: ...}}.")
    )
    share: PositiveShare | None = default(
        None, "Share of the fixture's photons; an equal part of what is left if not written."
    )
    spectrum: LightSpectrumField | None = default(
        None, "Make-up of this strip's photons, where it differs from the fixture's."
    )


class Body(Frozen):
    """The box above the luminous plane: it shades, reflects and absorbs."""

    length: PositiveLength = Field(description="Extent along the fixture's x.")
    width: PositiveLength = Field(description="Extent along the fixture's y.")
    height: PositiveLength = Field(description="Extent upwards.")
    surface: Name = Field(description="Surface of the body, a name under 'surfaces'.")
    standoff: PositiveLength = default("2 mm", "Gap between luminous plane and the underside.")


class Fixture(Powered):
    """A kind of light: a body with one or more luminous strips."""

    body: Body | None = default(None, "The box that carries the strips.")
    strips: Annotated[tuple[Strip, ...], Field(min_length=1, max_length=500)] = Field(
        description="The luminous strips."
    )
    ppf: PositiveFlux | None = default(
        None, "Photons of 400-700 nm leaving the whole fixture at full output."
    )
    photon_flux: PositiveFlux | None = default(
        None, "Photons of all bands of the scene leaving the fixture; instead of ppf."
    )
    spectrum: LightSpectrumField = Field(
        description="Make-up of the photons: {400-500: 20 %, ...}, together 100 %; {like: "
        "white_4000}, a spectrum of the library; or {file: bar.csv}, a table."
    )


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
    row: Row | None = default(None, "Several equal fixtures side by side.")


class SunBeam(Frozen):
    """Direction of a parallel beam."""

    zenith: Zenith = Field(description="Angle of the beam from the vertical.")
    azimuth: Angle = Field(
        description="Direction the light travels towards, from +x (right) towards +y (back)."
    )


def _ceiling(value: object) -> object:
    """Refuse every other face."""
    if value != "ceiling":
        raise ValueError(f"{shown(str(value))} cannot let daylight in; allowed: ceiling")
    return value


class Daylight(Frozen):
    """Photons from outside that enter through an open face."""

    through: Annotated[Literal["ceiling"], BeforeValidator(_ceiling)] = default(
        "ceiling", "The open face through which it enters."
    )
    group: Name = default("daylight", "Name under which its photons are answered for.")
    ppfd: PositiveFluxDensity = Field(
        description="Photon flux density of 400-700 nm on the plane of the opening."
    )
    spectrum: LightSpectrumField = Field(description="Make-up of the photons, together 100 %.")
    beam: SunBeam | None = default(
        None, "Direction of a parallel beam; a uniform diffuse sky if left out."
    )
