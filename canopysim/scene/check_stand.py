"""Checks of pots, nets, and of leaves that go on beyond sides that repeat."""

from collections.abc import Iterator

from canopysim.library.surfaces import SURFACE_NAMES
from canopysim.scene.check_space import check_area, check_height, check_name
from canopysim.scene.document import EntryPath
from canopysim.scene.draft import Draft, Problem
from canopysim.units import format_length

# Text in inches and text in cm need not meet to the last bit.
SLACK_M = 1e-9


def check_stand(draft: Draft) -> Iterator[Problem]:
    """Check what stands and hangs among the plants."""
    canopy = draft.scene.canopy
    assert canopy is not None
    for index, planting in enumerate(canopy.plantings):
        path: EntryPath = ("canopy", "plantings", index)
        if planting.positions is not None and planting.offset_rows:
            yield (
                (*path, "offset_rows"),
                "stands beside 'positions', which say where every plant is; leave one of them out",
            )
        pot = planting.pot
        if pot is None:
            continue
        yield from check_surface(draft, (*path, "pot", "surface"), pot.surface)
        yield from check_surface(draft, (*path, "pot", "soil"), pot.soil)
        if planting.base < pot.height - SLACK_M:
            yield (
                (*path, "base"),
                f"{format_length(planting.base)} is the height of the soil, and the pot is "
                f"{format_length(pot.height)} high; write at least that, or leave 'base' out",
            )
    for index, net in enumerate(canopy.nets):
        path = ("canopy", "nets", index)
        yield from check_surface(draft, (*path, "surface"), net.surface)
        yield from check_height(draft, (*path, "height"), net.height)
        if net.thread > 0.5 * net.mesh:
            yield (
                (*path, "thread"),
                f"{format_length(net.thread)} is more than half of the mesh, "
                f"{format_length(net.mesh)}; write less",
            )
        stated = [key for key in ("corner", "opposite") if getattr(net, key) is not None]
        if len(stated) == 1:
            yield (*path, stated[0]), "stands alone; write both 'corner' and 'opposite', or neither"
        if net.corner is not None and net.opposite is not None:
            yield from check_area(draft, path, net.corner, net.opposite)
    if canopy.wrap and draft.sound("enclosure") and not draft.scene.enclosure.repeating:
        yield (
            ("canopy", "wrap"),
            "needs sides that repeat; write 'repeat: [width, depth]' under 'enclosure', or leave "
            "it out",
        )


def check_surface(draft: Draft, path: EntryPath, name: str) -> Iterator[Problem]:
    """Check that a surface is defined in the scene or in the library."""
    if name not in SURFACE_NAMES:
        yield from check_name(draft, path, name, "surfaces")
