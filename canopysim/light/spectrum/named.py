"""The spectra that ship with the program: invented LEDs, by name."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

from canopysim.light.spectrum.spectrum import Spectrum
from canopysim.light.spectrum.table import parse_spectrum
from canopysim.units import shown

SPECTRUM_NAMES: tuple[str, ...] = ("white_3000", "white_4000", "deep_red_660", "far_red_730")
"""Spectra of the library. The names are labels for invented LEDs, not measurements."""


@cache
def named_spectrum(name: str) -> Spectrum:
    """Look up a spectrum of the library.

    Parameters
    ----------
    name : str
        One of `SPECTRUM_NAMES`.

    Returns
    -------
    Spectrum
        Relative; a table made up of normal curves, see ``canopysim/library/spectra/README.md``.

    Raises
    ------
    ValueError
        If the library has no spectrum of that name.
    """
    if name not in SPECTRUM_NAMES:
        known = ", ".join(SPECTRUM_NAMES)
        raise ValueError(f"{shown(name)} is not a spectrum of the library; it has {known}")
    file = f"{name}.csv"
    text = files("canopysim.library").joinpath("spectra", file).read_text("utf-8")
    return parse_spectrum(text, file)
