"""Checks of where things are: faces and patches, planes, and the stop rules that refer to them."""

from collections.abc import Iterator

from canopysim.scene.document import EntryPath
from canopysim.scene.draft import Draft, Problem
from canopysim.scene.messages import instead
from canopysim.scene.schema import Plane
from canopysim.scene.schema_enclosure import FACE_AXES, FaceName
from canopysim.units import format_length, shown

MOST_CELLS = 1_000_000
# Points may lie on an edge: text in inches and text in cm need not meet to the last bit.
SLACK_M = 1e-9
EXTENTS = ("width", "depth", "height")


def check_space(draft: Draft) -> Iterator[Problem]:
    """Check the enclosure's faces, the planes and the tracing targets."""
    if draft.sound("enclosure") or draft.scene.enclosure.mesh is not None:
        yield from _check_faces(draft)
    seen: dict[str, int] = {}
    numbers = draft.numbers["planes"]
    for number, (path, plane) in zip(numbers, draft.listed("planes"), strict=True):
        first = seen.setdefault(plane.name, number)
        if first != number:
            line = draft.document.place(("planes", first)).line
            yield (
                (*path, "name"),
                f"{shown(plane.name)} already names the plane in line {line}; "
                "give each plane a name of its own",
            )
        yield from _check_plane(draft, path, plane)
    yield from _check_targets(draft)


def check_name(draft: Draft, path: EntryPath, name: str, section: str) -> Iterator[Problem]:
    """Check that a name is defined under a section."""
    known = draft.names[section]
    if name not in known and draft.sound(section):
        options = instead(name, known, f"nothing is defined under '{section}' yet")
        yield path, f"{shown(name)} is not defined under '{section}'; {options}"


def check_area(
    draft: Draft,
    path: EntryPath,
    corner: tuple[float, float],
    opposite: tuple[float, float],
    face: FaceName = "floor",
) -> Iterator[Problem]:
    """Check that a rectangle has an area and lies on its face."""
    for key, point in (("corner", corner), ("opposite", opposite)):
        yield from check_point(draft, (*path, key), point, face)
    if any(abs(a - b) <= SLACK_M for a, b in zip(corner, opposite, strict=True)):
        yield (*path, "opposite"), "has no area with 'corner'; name the diagonally opposite corner"


def check_point(
    draft: Draft, path: EntryPath, point: tuple[float, float], face: FaceName = "floor"
) -> Iterator[Problem]:
    """Check that a point, in the axes of a face, lies on it."""
    if not draft.sound("enclosure"):
        return
    enclosure = draft.scene.enclosure
    for index, (value, axis) in enumerate(zip(point, FACE_AXES[face], strict=True)):
        extent = enclosure.size[axis]
        if not -SLACK_M <= value <= extent + SLACK_M:
            at: EntryPath = (*path, index)
            limit = draft.written(("enclosure", EXTENTS[axis]), extent, format_length)
            yield (
                at,
                f"{'xyz'[axis]} = {draft.written(at, value, format_length)} is outside the "
                f"{'enclosure' if face == 'floor' else f'{face} face'}; allowed is 0 to {limit}",
            )


def check_height(draft: Draft, path: EntryPath, height: float) -> Iterator[Problem]:
    """Check that a height is not above the ceiling."""
    ceiling = draft.scene.enclosure.height
    if draft.sound("enclosure") and height > ceiling + SLACK_M:
        text = draft.written(path, height, format_length)
        limit = draft.written(("enclosure", "height"), ceiling, format_length)
        yield path, f"{text} is above the ceiling; allowed is at most {limit}"


def check_either_height(
    draft: Draft, path: EntryPath, height: float | None, above_canopy: float | None
) -> Iterator[Problem]:
    """Check that exactly one of height and above_canopy is given and can be met."""
    if height is None and above_canopy is None:
        yield path, "has no height; write 'height' (from the floor) or 'above_canopy'"
    if height is not None and above_canopy is not None:
        yield (*path, "above_canopy"), "stands beside 'height'; write one of the two"
    if height is not None:
        yield from check_height(draft, (*path, "height"), height)
    if above_canopy is not None and draft.sound("canopy") and draft.scene.canopy is None:
        yield (*path, "above_canopy"), "there is no canopy; write 'height' (from the floor) instead"


def _check_faces(draft: Draft) -> Iterator[Problem]:
    enclosure = draft.scene.enclosure
    yield from check_name(draft, ("enclosure", "lining"), enclosure.lining, "surfaces")
    if enclosure.mesh is not None:
        for pattern, part in enclosure.mesh.parts.items():
            if not part.is_open:
                at: EntryPath = ("enclosure", "mesh", "parts", pattern, part.role)
                yield from check_name(draft, at, part.surface, "surfaces")
        return
    for name, face in enclosure.faces.items():
        path: EntryPath = ("enclosure", "faces", name)
        if name in enclosure.repeating:
            yield path, "repeats (see 'repeat'), so it has no surface; leave this entry out"
            continue
        if face.surface is not None:
            short = draft.document.written(path) is not None
            at = path if short else (*path, "surface")
            yield from check_name(draft, at, face.surface, "surfaces")
            if face.open:
                yield (*path, "open"), "stands beside 'surface'; a face is open or has a surface"
        for index, patch in enumerate(face.patches):
            at = (*path, "patches", index)
            if patch.surface is None and not patch.open:
                yield at, "is neither open nor of a surface; write 'surface: ...' or 'open: true'"
            if patch.surface is not None:
                yield from check_name(draft, (*at, "surface"), patch.surface, "surfaces")
                if patch.open:
                    yield (*at, "open"), "stands beside 'surface'; write one of the two"
            yield from check_area(draft, at, patch.corner, patch.opposite, name)


def _check_plane(draft: Draft, path: EntryPath, plane: Plane) -> Iterator[Problem]:
    yield from check_either_height(draft, path, plane.height, plane.above_canopy)
    if (plane.corner is None) != (plane.opposite is None):
        given, missing = ("corner", "opposite") if plane.corner else ("opposite", "corner")
        yield (*path, given), f"stands without '{missing}'; write both or neither"
    if not draft.sound("enclosure"):
        return
    extents = draft.scene.enclosure.face_extents("floor")
    if plane.corner is not None and plane.opposite is not None:
        yield from check_area(draft, path, plane.corner, plane.opposite)
        (x0, y0), (x1, y1) = plane.corner, plane.opposite
        extents = (abs(x1 - x0), abs(y1 - y0))
    n_cell = max(1, round(extents[0] / plane.cell)) * max(1, round(extents[1] / plane.cell))
    if n_cell > MOST_CELLS:
        text = draft.written((*path, "cell"), plane.cell, format_length)
        yield (*path, "cell"), f"{text} makes {n_cell} cells; at most {MOST_CELLS}, write more"


def _check_targets(draft: Draft) -> Iterator[Problem]:
    target = draft.scene.tracing.target or {}
    path: EntryPath = ("tracing", "target")
    if not draft.document.has(path):
        # Not written: the default suits what the scene has.
        return
    no_planes = draft.sound("planes") and not draft.document.has(("planes", 0))
    if draft.document.written(path) is not None:
        if "planes" in target and no_planes and draft.sound("canopy"):
            yield path, "there are neither layers nor planes to aim at; leave the target out"
        return
    if "layers" in target and draft.sound("canopy") and draft.scene.canopy is None:
        yield (*path, "layers"), "there is no canopy; write 'planes' or leave the target out"
    if "planes" in target and no_planes:
        yield (*path, "planes"), "there are no planes; write 'layers' or leave the target out"
