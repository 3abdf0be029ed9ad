"""What the header of a spectral table says: nm, and photons or power, by which unit."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from canopysim.light.spectrum.spectrum import Unit
from canopysim.units import shown


@dataclass(frozen=True)
class Column:
    """What the values of a table are.

    Attributes
    ----------
    basis : {"power", "photons"}
        What is straight between two rows.
    factor : float
        From the table's unit to W or µmol s⁻¹ per nm, per m² where `total` is per area.
    total : Unit
        Unit of the photons that the spectrum gets.
    """

    basis: Literal["power", "photons"]
    factor: float
    total: Unit


COLUMNS: dict[str, Column] = {
    "W/nm": Column("power", 1.0, "umol/s"),
    "mW/nm": Column("power", 1e-3, "umol/s"),
    "W/m2/nm": Column("power", 1.0, "umol/m2/s"),
    "mW/m2/nm": Column("power", 1e-3, "umol/m2/s"),
    "uW/cm2/nm": Column("power", 1e-2, "umol/m2/s"),
    "umol/s/nm": Column("photons", 1.0, "umol/s"),
    "umol/m2/s/nm": Column("photons", 1.0, "umol/m2/s"),
    "relative W": Column("power", 1.0, "relative"),
    "relative photons": Column("photons", 1.0, "relative"),
}
"""Units of a table's values, by the spelling that messages show."""

_SPELLINGS = str.maketrans("µμ⁰¹²³⁻−·⋅*()[],_", "uu0123--         ", "^.")
_PER = re.compile(r"\bper\b")
_TOKEN = re.compile(r"/|([a-z]+)(-?[0-9])?|\S")
_WAVELENGTH_WORDS = re.compile(r"[^a-z]+")
_OTHER_LENGTHS = {
    "um": "µm; multiply by 1000",
    "micron": "µm; multiply by 1000",
    "microns": "µm; multiply by 1000",
    "micrometre": "µm; multiply by 1000",
    "micrometer": "µm; multiply by 1000",
    "angstrom": "ångström; divide by 10",
    "ev": "eV; 1239.84 nm over the eV",
    "cm": "wave numbers per cm; 1e7 nm over them",
    "thz": "THz; 299792 nm over the THz",
}
_RELATIVE = {"relative", "rel", "normalised", "normalized", "arbitrary", "au"}
_POWER = {"w", "watt", "watts", "power", "radiant", "energy"}
_PHOTONS = {"photon", "photons", "umol", "quanta"}
_NOT_LIGHT = {
    "lm": "is weighed for human eyes",
    "lx": "is weighed for human eyes",
    "lux": "is weighed for human eyes",
    "lumen": "is weighed for human eyes",
    "lumens": "is weighed for human eyes",
    "cd": "is weighed for human eyes",
    "counts": "is not calibrated",
    "count": "is not calibrated",
    "j": "is energy, not power",
    "mj": "is energy, not power",
    "kj": "is energy, not power",
    "kwh": "is energy, not power",
}


def _dimensions(text: str) -> frozenset[tuple[str, int]] | None:
    """Exponent of each unit in a product such as ``w/m2/nm`` or ``w m-2 nm-1``.

    After a stroke everything is below it, as in ``w/(m2 nm)``.
    """
    powers: dict[str, int] = {}
    below = False
    for token in _TOKEN.finditer(text):
        if token[0] == "/":
            below = True
        elif token[1] is None or token[1] in powers:
            return None
        else:
            power = int(token[2] or 1)
            powers[token[1]] = -abs(power) if below else power
    return frozenset(powers.items())


_BY_DIMENSIONS = {
    _dimensions(unit.lower()): unit
    for unit, column in COLUMNS.items()
    if column.total != "relative"
}


def _plain(heading: str) -> str:
    return _PER.sub("/", heading.lower().translate(_SPELLINGS)).strip()


def wants_nm(heading: str) -> None:
    """Check that the first column is a wavelength in nm.

    Raises
    ------
    ValueError
        If its heading names another unit, or none.
    """
    words = _WAVELENGTH_WORDS.split(_plain(heading))
    if {"nm", "nanometre", "nanometres", "nanometer", "nanometers"} & set(words):
        return
    for word in words:
        if word in _OTHER_LENGTHS:
            raise ValueError(
                f"{shown(heading)}: wavelengths are in nm, not in {_OTHER_LENGTHS[word]}"
            )
    raise ValueError(
        f"{shown(heading)} does not say that wavelengths are in nm; write 'wavelength_nm'"
    )


def unit_of_values(heading: str, *, required: bool = True) -> str | None:
    """Find the unit in the heading of the second column.

    Parameters
    ----------
    heading : str
        Such as ``W/nm``, ``irradiance (W m⁻² nm⁻¹)`` or ``relative photons``.
    required : bool
        Whether a heading without a unit, such as ``value``, is an error.

    Returns
    -------
    str or None
        A key of `COLUMNS`; None where the heading tells none and none is required.

    Raises
    ------
    ValueError
        If it names a unit that a spectrum cannot have.
    """
    words = _plain(heading).split()
    for start in range(len(words)):
        unit = _BY_DIMENSIONS.get(_dimensions(" ".join(words[start:])))
        if unit is not None:
            return unit
    letters = set(re.split(r"[^a-z]+", _plain(heading)))
    if letters & _RELATIVE:
        if letters & _POWER:
            return "relative W"
        if letters & _PHOTONS:
            return "relative photons"
        raise ValueError(
            f"{shown(heading)} does not say relative what; write 'relative W' or 'relative photons'"
        )
    known = ", ".join(COLUMNS)
    for word, reason in _NOT_LIGHT.items():
        if word in letters:
            raise ValueError(f"{shown(heading)} {reason}; a spectrum is in one of {known}")
    if letters & (_POWER | _PHOTONS | {"mw", "uw"}):
        raise ValueError(
            f"{shown(heading)} is not per nm, or not a unit of a spectrum; write one of {known}"
        )
    if required:
        raise ValueError(f"{shown(heading)} does not name a unit; write one of {known}")
    return None
