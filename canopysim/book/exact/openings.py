"""Straight light from a Lambertian rectangle on the floor of a box to rectangles on its faces."""

from __future__ import annotations

from canopysim.book.exact.rectangles import parallel, perpendicular

Rectangle = tuple[tuple[float, float], tuple[float, float]]


def share_on(
    face: str, part: Rectangle, lamp: Rectangle, size: tuple[float, float, float]
) -> float:
    """Share of the lamp's light that flies straight to a part of a face.

    Parameters
    ----------
    face : str
        Any but the floor.
    part : two (low, high)
        In the face's two axes, m: ceiling x, y; front and back x, z; left and right y, z.
    lamp : two (low, high)
        x and y, m; it shines upwards.
    size : (float, float, float)
        Extents of the box, m.
    """
    area = (lamp[0][1] - lamp[0][0]) * (lamp[1][1] - lamp[1][0])
    if face == "ceiling":
        return float(parallel(*part, *lamp, size[2]).item() / area)
    axis = 0 if face in ("left", "right") else 1
    wall = size[axis] if face in ("right", "back") else 0.0
    away = [abs(end - wall) for end in lamp[axis]]
    return float(perpendicular(*part, lamp[1 - axis], away).item() / area)
