"""Checks of the meshes in a canopy that need no look into their files."""

from collections.abc import Iterator

from canopysim.scene.check_space import check_name, check_point
from canopysim.scene.check_stand import check_surface
from canopysim.scene.document import EntryPath
from canopysim.scene.draft import Draft, Problem
from canopysim.scene.schema_mesh import MATTERS


def check_meshes(draft: Draft) -> Iterator[Problem]:
    """Check what a canopy is made of, and the names and places of its meshes."""
    canopy = draft.scene.canopy
    assert canopy is not None
    if not canopy.plantings:
        if not canopy.meshes and not canopy.volumes:
            yield (
                ("canopy",),
                "holds no plants; write 'plantings' (grown plants), 'meshes' (drawn ones) or "
                "'volumes' (of which only density and angles are known)",
            )
        for key in ("leaf_area_index", "leaf_area"):
            if getattr(canopy, key) is None:
                continue
            if canopy.meshes:
                yield (
                    ("canopy", key),
                    "scales grown plants, and there are none; meshes keep their leaf area: leave "
                    "it out, or write 'scale' beside their 'file'",
                )
            elif canopy.volumes:
                yield (
                    ("canopy", key),
                    "scales grown plants, and there are none; write it within the entry of "
                    "'volumes' that it belongs to",
                )
    for index, mesh in enumerate(canopy.meshes):
        path: EntryPath = ("canopy", "meshes", index)
        for pattern, matter in mesh.parts.items():
            at: EntryPath = (*path, "parts", pattern)
            if len(matter.stated) != 1:
                *first, last = (f"'{word}: ...'" for word in MATTERS)
                yield at, f"is one thing; write one of {', '.join(first)} or {last}"
            for word, name in matter.stated.items():
                if word == "leaf":
                    yield from check_name(draft, (*at, word), name, "leaves")
                else:
                    yield from check_surface(draft, (*at, word), name)
        for number, point in enumerate(mesh.positions):
            yield from check_point(draft, (*path, "positions", number), point)
        if len(mesh.turn) not in (1, len(mesh.positions)):
            yield (
                (*path, "turn"),
                f"lists {len(mesh.turn)} angles for {len(mesh.positions)} positions; write one "
                "angle, or one for each position",
            )
