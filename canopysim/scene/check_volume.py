"""Checks of volumes filled with leaves: their size and place, and how much is in them."""

import math
from collections.abc import Iterator

from canopysim.scene.check_space import SLACK_M, check_height, check_name
from canopysim.scene.document import EntryPath
from canopysim.scene.draft import Draft, Problem
from canopysim.scene.schema_matter import Canopy
from canopysim.scene.schema_volume import MOST_VOLUMES, FilledVolume
from canopysim.units import format_length

EXTENTS = ("width", "depth")
SIDES = (("left", "right"), ("front", "back"))
AMOUNTS = ("leaf_area", "leaf_area_index", "density")
MOST_DENSITY = 1000.0
SHARE_OF_BOX = {"slab": 1.0, "box": 1.0, "ellipsoid": math.pi / 6, "row": math.pi / 4}
Bounds = tuple[float, float, float, float]


def check_volumes(draft: Draft) -> Iterator[Problem]:
    """Check every volume of the canopy, and what cannot be had beside volumes."""
    canopy = draft.scene.canopy
    assert canopy is not None
    bounds = _planted(draft, canopy)
    n_volume = 0
    for index, volume in enumerate(canopy.volumes):
        path: EntryPath = ("canopy", "volumes", index)
        yield from check_name(draft, (*path, "leaf"), volume.leaf, "leaves")
        yield from _check_heights(draft, path, volume)
        yield from _check_amount(path, volume)
        problems = [*_check_shape(path, volume), *_check_spots(path, volume)]
        yield from problems
        n_volume += len(volume.places((0.0, 0.0, 1.0, 1.0)))
        if not problems and bounds is not None:
            yield from _check_room(draft, path, volume, bounds)
            yield from _check_density(path, volume, bounds)
    if n_volume > MOST_VOLUMES:
        yield (
            ("canopy", "volumes"),
            f"make {n_volume} volumes; at most {MOST_VOLUMES}: join neighbours into rows or a slab",
        )
    turbid = "volumes" if canopy.volumes else "as_volume" if canopy.as_volume else None
    if turbid is not None and draft.scene.also_count.leaf_facets:
        yield (
            ("also_count", "leaf_facets"),
            f"counts single leaf triangles, and leaves of 'canopy.{turbid}' have none; leave one "
            "of the two out",
        )
    if canopy.as_volume is not None and not canopy.plantings and not canopy.meshes:
        yield (
            ("canopy", "as_volume"),
            "turns plants into volumes, and there are none; leave it out, or write 'plantings' or "
            "'meshes'",
        )


def _planted(draft: Draft, canopy: Canopy) -> Bounds | None:
    """Bounds of the planted area or the floor, m; None where they are not known."""
    if canopy.planted is not None:
        return canopy.planted.bounds
    if not draft.sound("enclosure"):
        return None
    return (0.0, 0.0, draft.scene.enclosure.width, draft.scene.enclosure.depth)


def _check_heights(draft: Draft, path: EntryPath, volume: FilledVolume) -> Iterator[Problem]:
    if volume.top <= volume.bottom + SLACK_M:
        top = draft.written((*path, "top"), volume.top, format_length)
        bottom = draft.written((*path, "bottom"), volume.bottom, format_length)
        yield (*path, "top"), f"{top} is not above the bottom at {bottom}; raise it"
    yield from check_height(draft, (*path, "top"), volume.top)


def _check_amount(path: EntryPath, volume: FilledVolume) -> Iterator[Problem]:
    given = [key for key in AMOUNTS if getattr(volume, key) is not None]
    if not given:
        yield path, f"does not say how many leaves it holds; write one of {', '.join(AMOUNTS)}"
    for key in given[1:]:
        yield (*path, key), f"stands beside '{given[0]}'; write one of the two"


def _check_shape(path: EntryPath, volume: FilledVolume) -> Iterator[Problem]:
    """Check that a shape has the extents it needs and no others."""
    if volume.shape == "row" and volume.direction is None:
        yield path, "lacks 'direction'; a row runs along the 'width' (x) or the 'depth' (y)"
        return
    if volume.shape != "row" and volume.direction is not None:
        yield (*path, "direction"), f"is for rows, and this is a {volume.shape}; leave it out"
    for key in EXTENTS:
        needed = volume.shape in ("box", "ellipsoid") or (
            volume.shape == "row" and volume.direction != key
        )
        if needed and getattr(volume, key) is None:
            axis = "xy"[EXTENTS.index(key)]
            yield path, f"lacks '{key}', the extent in {axis} of each {volume.shape}"


def _check_density(path: EntryPath, volume: FilledVolume, bounds: Bounds) -> Iterator[Problem]:
    """Check that no absurd amount of leaves is crammed into a volume."""
    width, depth = volume.extent(0, bounds), volume.extent(1, bounds)
    assert width is not None and depth is not None
    size = SHARE_OF_BOX[volume.shape] * width * depth * (volume.top - volume.bottom)
    if volume.leaf_area is not None:
        key, area = "leaf_area", volume.leaf_area
    elif volume.leaf_area_index is not None:
        ground = (bounds[2] - bounds[0]) * (bounds[3] - bounds[1])
        key = "leaf_area_index"
        area = volume.leaf_area_index * ground / len(volume.places(bounds))
    else:
        return
    if size > 0 and area > MOST_DENSITY * size:
        yield (
            (*path, key),
            f"puts {area:.3g} m2 of leaves into {size:.3g} m3, {area / size:.3g} m2/m3; allowed is "
            f"{MOST_DENSITY:g} m2/m3 or less: is a length or an area in the wrong unit?",
        )


def _check_spots(path: EntryPath, volume: FilledVolume) -> Iterator[Problem]:
    """Check that places are given in one way."""
    grid = [key for key in ("columns", "rows") if getattr(volume, key) is not None]
    if volume.positions is not None:
        for key in grid:
            yield (*path, key), "stands beside 'positions'; write columns and rows, or positions"


def _check_room(
    draft: Draft, path: EntryPath, volume: FilledVolume, bounds: Bounds
) -> Iterator[Problem]:
    """Check that every volume lies within the enclosure, but for sides that repeat."""
    if not draft.sound("enclosure"):
        return
    enclosure = draft.scene.enclosure
    for spot, place in enumerate(volume.places(bounds)):
        at = (*path, "positions", spot) if volume.positions is not None else path
        for axis, key in enumerate(EXTENTS):
            extent = volume.extent(axis, bounds)
            assert extent is not None
            room = enclosure.size[axis]
            repeats = SIDES[axis][0] in enclosure.repeating
            if repeats and extent > room + SLACK_M:
                yield (
                    (*path, key),
                    f"{format_length(extent)} is more than the {format_length(room)} after which "
                    "the room repeats; volumes would lie in their own copies",
                )
                return
            # Beyond a side that repeats it goes on at the other one; its middle must be inside.
            reach = 0.0 if repeats else extent / 2
            low, high = place[axis] - reach, place[axis] + reach
            for side, over in zip(SIDES[axis], (-low, high - room), strict=True):
                if over > SLACK_M:
                    what = "has its middle" if repeats else "sticks"
                    yield (
                        at,
                        f"the {volume.shape} at {format_length(place[0])}, "
                        f"{format_length(place[1])} {what} {format_length(over)} out through the "
                        f"{side}; move it" + ("" if repeats else f", or write a smaller '{key}'"),
                    )
                    return
