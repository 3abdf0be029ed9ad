"""Light from outside: a diffuse sky, or a sunbeam, through an open ceiling."""

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from canopysim.scene.fields import Angle, Frozen, Name, PositiveFluxDensity, Zenith, default
from canopysim.scene.light_spectrum import LightSpectrumField
from canopysim.units import shown


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
