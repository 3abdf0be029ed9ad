"""The luminous opening of a fixture, as photometric files describe it."""

from __future__ import annotations

from dataclasses import dataclass

from canopysim.light.photometry.text import Remarks

METRES_PER_UNIT: dict[float, float] = {1: 0.3048, 2: 1.0}
# A fixture's opening beyond this is a slip of the unit more often than a fixture.
LARGEST_OPENING_M = 5.0

# Shapes by the signs of width, length and height. A negative size means a rounded outline.
# Editions up to 1995 give a diameter once and write 0 for the other; 2002 and later repeat it.
_LM63_SHAPES = {
    (0, 0, 0): "point",
    (1, 1, 0): "rectangle",
    (1, 1, 1): "box",
    (-1, 0, 0): "circle",
    (-1, -1, 0): "circle",
    (-1, 1, 0): "ellipse",
    (-1, 0, 1): "vertical cylinder",
    (-1, -1, 1): "vertical cylinder",
    (-1, 1, 1): "vertical cylinder",
    (-1, 0, -1): "sphere",
    (-1, -1, -1): "sphere",
    (-1, 1, -1): "horizontal cylinder along x",
    (0, 1, -1): "horizontal cylinder along x",
    (1, -1, -1): "horizontal cylinder along y",
    (1, 0, -1): "horizontal cylinder along y",
}
_UNROUND = {"circle": "ellipse", "sphere": "ellipsoid"}


@dataclass(frozen=True)
class Opening:
    """Where light leaves a fixture.

    Attributes
    ----------
    shape : str
        "point", "rectangle", "box", "circle", "ellipse", "vertical cylinder", "horizontal
        cylinder along x", "horizontal cylinder along y", "sphere" or "ellipsoid".
    length_m, width_m, height_m : float
        Extent along the fixture's x, y and z axis; 0 for a point, height 0 for a flat opening.
    """

    shape: str
    length_m: float
    width_m: float
    height_m: float


def _sign(value: float) -> int:
    return (value > 0.0) - (value < 0.0)


def _warn_of_size(opening: Opening, line: int, remarks: Remarks) -> None:
    greatest = max(opening.length_m, opening.width_m, opening.height_m)
    if greatest > LARGEST_OPENING_M:
        remarks.warn(
            line,
            f"the luminous opening is {greatest:g} m large; check its size and whether the unit "
            "(feet, metres or millimetres) is the one that the format asks for",
        )


def lm63_opening(
    width: float, length: float, height: float, metres: float, line: int, remarks: Remarks
) -> Opening:
    """Read the opening of an LM-63 file, of any edition.

    The signs tell the shape (ANSI/IESNA LM-63-02, and LM-63-1995 for the older forms). Length
    lies in the 0-180 plane, our x; width in the 90-270 plane, our y.

    Parameters
    ----------
    width, length, height : float
        As written, with their signs.
    metres : float
        Metres in their unit.
    line : int
        Where they stand.
    remarks : Remarks
        Takes warnings.

    Returns
    -------
    Opening
        Metres; a rectangle of the sizes' amounts, with a warning, where the signs mean nothing.
    """
    signs = (_sign(width), _sign(length), _sign(height))
    shape = _LM63_SHAPES.get(signs)
    if shape is None:
        shape = "rectangle"
        remarks.warn(
            line,
            f"width {width:g}, length {length:g} and height {height:g} describe no luminous shape "
            "of the standard; taken as a rectangle, so correct the three numbers if it is none",
        )
    y, x, z = (abs(size) * metres for size in (width, length, height))
    if signs[1] == 0 and shape in ("circle", "vertical cylinder", "sphere"):
        x = y
    if shape.startswith("horizontal cylinder"):
        y, x = y or z, x or z
    if x != y or (shape == "sphere" and z != x):
        shape = _UNROUND.get(shape, shape)
    opening = Opening(shape, x, y, z)
    _warn_of_size(opening, line, remarks)
    return opening


def eulumdat_opening(
    length_mm: float, width_mm: float, height_mm: float, line: int, remarks: Remarks
) -> Opening:
    """Read the opening of an EULUMDAT file.

    Parameters
    ----------
    length_mm, width_mm : float
        Luminous area: length along C90-C270, which becomes our x; width 0 means a circle of the
        diameter `length_mm`.
    height_mm : float
        Greatest of the four luminous heights.
    line : int
        Where the length stands.
    remarks : Remarks
        Takes warnings.

    Returns
    -------
    Opening
        Metres.
    """
    length, width, height = (abs(size) / 1000.0 for size in (length_mm, width_mm, height_mm))
    if length == 0.0 and width == 0.0:
        opening = Opening("point", 0.0, 0.0, 0.0)
    elif width == 0.0:
        shape = "vertical cylinder" if height > 0.0 else "circle"
        opening = Opening(shape, length, length, height)
    else:
        opening = Opening("box" if height > 0.0 else "rectangle", length, width, height)
    _warn_of_size(opening, line, remarks)
    return opening
