"""The spectrum of a light as a scene writes it: shares of ranges, a library name, or a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
import numpy.typing as npt
from pydantic import PlainValidator, WithJsonSchema

from canopysim.errors import CanopysimError
from canopysim.light.spectrum.headings import COLUMNS
from canopysim.light.spectrum.measures import photons_per_joule
from canopysim.light.spectrum.named import SPECTRUM_NAMES, named_spectrum
from canopysim.light.spectrum.spectrum import Spectrum
from canopysim.light.spectrum.table import parse_spectrum
from canopysim.scene.fields import as_text, refuse
from canopysim.scene.spectral import RANGES_SCHEMA, BandShares, read_band_shares
from canopysim.units import shown

FloatArray = npt.NDArray[np.float64]
# Stands where a spectrum is needed and none is written, so that it is missed with all else.
MISSING = object()
SPECTRUM_MEANING = (
    "Make-up of the photons: {400-500: 20 %, ...}, together 100 %; {like: white_4000}, a spectrum "
    "of the library; or {file: bar.csv}, a table."
)
EXAMPLE = "{400-500: 20 %, 500-600: 80 %}, {like: white_4000} or {file: bar.csv}"


@dataclass(frozen=True)
class TableSpectrum:
    """A light's photons over wavelength, from a table.

    Parameters
    ----------
    light : Spectrum
        As measured, or as the library has it.
    name : str
        What it is called: a name of the library, or of a file.
    """

    light: Spectrum
    name: str

    @property
    def tells_lumens(self) -> bool:
        """A table does: wavelength by wavelength."""
        return True

    @property
    def library_name(self) -> str | None:
        """Its name in the library; None for a table."""
        return self.name if self.name in SPECTRUM_NAMES else None

    def misfit(self, edges: Sequence[float]) -> str | None:
        """Name the bands, if they hold none of the photons, or None."""
        held = self.light.divide(edges).shares.sum()
        return None if held > 0 else f"{edges[0]:g}-{edges[-1]:g}"

    def values(self, edges: Sequence[float]) -> FloatArray:
        """Divide the photons within the bands over them, (n_band,), together 1."""
        return self.light.divide(edges).scaled()

    def photons_per_joule(self, edges: Sequence[float]) -> float:
        """Photons in bands per radiant energy of all wavelengths, µmol J⁻¹."""
        return photons_per_joule(self.light, (edges[0], edges[-1]))

    def most_photons_per_joule(self, edges: Sequence[float]) -> float:
        """Do as `photons_per_joule`: a table knows its wavelengths."""
        return self.photons_per_joule(edges)

    def outside(self, edges: Sequence[float]) -> float:
        """Share of all photons that lies in no band."""
        return self.light.divide(edges).outside


LightSpectrum = BandShares | TableSpectrum


def read_light_spectrum(value: object) -> LightSpectrum:
    """Read shares of ranges, ``like`` a spectrum of the library, or a ``table`` of a ``file``.

    Raises
    ------
    ValueError
        With what to write instead.
    """
    if isinstance(value, BandShares | TableSpectrum):
        return value
    if value is MISSING:
        raise ValueError(f"is missing; needed is: {SPECTRUM_MEANING}")
    if not isinstance(value, dict):
        raise ValueError(f"{shown(str(value))} is not a spectrum; write for example {EXAMPLE}")
    kinds = [key for key in ("like", "table", "file") if key in value]
    if not kinds:
        return read_band_shares(value)
    allowed = {"like"} if "like" in value else {"table", "file", "unit"}
    for key in value:
        if key not in allowed:
            refuse(f"cannot stand beside '{kinds[0]}'; leave it out", key)
    if "like" in value:
        name = as_text(value["like"], "'white_4000'").strip()
        return TableSpectrum(named_spectrum(name), name)
    if "table" not in value:
        raise ValueError("the table of its file could not be read")
    name = str(value.get("file", "table"))
    unit = value.get("unit")
    if unit is not None and unit not in COLUMNS:
        refuse(f"{shown(str(unit))} is not known; allowed are {', '.join(COLUMNS)}", "unit")
    try:
        return TableSpectrum(parse_spectrum(str(value["table"]), name, unit), name)
    except CanopysimError as error:
        raise ValueError(str(error)) from None


LightSpectrumField = Annotated[
    LightSpectrum,
    PlainValidator(read_light_spectrum, json_schema_input_type=Any),
    WithJsonSchema(
        {
            "anyOf": [
                RANGES_SCHEMA,
                {
                    "type": "object",
                    "properties": {"like": {"enum": list(SPECTRUM_NAMES)}},
                    "required": ["like"],
                    "additionalProperties": False,
                },
                {
                    "type": "object",
                    "properties": {
                        "file": {"type": "string"},
                        "table": {"type": "string"},
                        "unit": {"enum": list(COLUMNS)},
                    },
                    "minProperties": 1,
                    "additionalProperties": False,
                },
            ]
        }
    ),
]
