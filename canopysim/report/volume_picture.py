"""Filled volumes in a picture: a few thousand leaves drawn from them, so that one sees through."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from canopysim.matter.turbid.drawn import drawn_leaves

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canopysim.matter.parts import Part
    from canopysim.matter.turbid.volume import Volume

MOST_LEAVES = 8000
LARGEST_LEAF_M2 = 12e-4
SMALLEST_SHARE = 20


def picture_leaves(volumes: Sequence[Volume], size: tuple[float, float, float]) -> list[Part]:
    """Draw leaves that show where volumes are, how dense they are and how their leaves stand.

    Parameters
    ----------
    volumes : sequence of Volume
        Any number.
    size : (width, depth, height)
        Inner size of the enclosure, m; what repeats beyond it is drawn at the other side.

    Returns
    -------
    list of Part
        One for each volume. All together have the volumes' leaf area, or less where that would
        take very large or very many leaves; their number and size are the picture's, not the
        scene's.
    """
    total = sum(v.leaf_area for v in volumes)
    parts = []
    for number, volume in enumerate(volumes):
        n = max(SMALLEST_SHARE, round(MOST_LEAVES * volume.leaf_area / total))
        area = min(volume.leaf_area / n, LARGEST_LEAF_M2)
        part = drawn_leaves(volume, n, seed=number, area_m2=area)
        leaves = part.vertices.reshape(n, 4, 3)
        # A leaf whose middle lies beyond a side that repeats is shown at the other one.
        room = np.array(size)
        leaves = leaves - np.floor(leaves.mean(axis=1) / room)[:, None] * room
        inside = np.clip(leaves, 0.0, room)
        parts.append(replace(part, vertices=inside.reshape(-1, 3)))
    return parts
