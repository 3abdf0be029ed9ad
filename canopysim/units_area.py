"""Text with a unit, for areas: square metres and square centimetres."""

from decimal import Decimal

from canopysim.units_text import bounded, number_and_unit, refuse_unit, shown

AREA_UNITS_M2 = {"m2": Decimal(1), "cm2": Decimal("0.0001")}
AREA_LIMIT_M2 = 1e6
DENSITY_UNITS = ("m2/m3", "/m")


def parse_area(text: str) -> float:
    """Read an area such as ``0.35 m2`` or ``80 cm²``.

    Parameters
    ----------
    text : str
        One number, not negative, with m2 or cm2.

    Returns
    -------
    float
        Area in m2, at most a square kilometre.

    Raises
    ------
    ValueError
        If the text is anything else.
    """
    number, unit = number_and_unit(text, "'0.35 m2'")
    if unit not in AREA_UNITS_M2:
        raise refuse_unit(text, unit, "area", list(AREA_UNITS_M2), "'0.35 m2'")
    if number < 0:
        raise ValueError(f"{shown(text)} is negative; an area is at least 0 m2")
    return bounded(number * AREA_UNITS_M2[unit], AREA_LIMIT_M2, text, "1000000 m2")


def parse_area_density(text: str) -> float:
    """Read a leaf area density such as ``8 m2/m3`` or ``8 /m``.

    Parameters
    ----------
    text : str
        One number, not negative, with m2/m3 or /m.

    Returns
    -------
    float
        In m2 m-3.

    Raises
    ------
    ValueError
        If the text is anything else.
    """
    number, unit = number_and_unit(text.replace("³", "3"), "'8 m2/m3'")
    if unit not in DENSITY_UNITS:
        raise refuse_unit(text, unit, "leaf area density", list(DENSITY_UNITS), "'8 m2/m3'")
    if number < 0:
        raise ValueError(f"{shown(text)} is negative; a density is at least 0 m2/m3")
    return bounded(number, AREA_LIMIT_M2, text, "1000000 m2/m3")
