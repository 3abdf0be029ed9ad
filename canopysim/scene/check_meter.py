"""Checks of meters and probes."""

from collections.abc import Iterator

from canopysim.scene.check_space import check_either_height, check_name, check_point
from canopysim.scene.draft import Draft, Problem
from canopysim.units import shown

MOST_PROBES = 500


def check_meters(draft: Draft) -> Iterator[Problem]:
    """Check that probes have names of their own, lie inside, and know their meters."""
    seen: set[str] = set()
    for path, probe in draft.listed("probes"):
        if probe.name in seen:
            yield (*path, "name"), f"{shown(probe.name)} names another probe; give each its own"
        seen.add(probe.name)
        yield from check_either_height(draft, path, probe.height, probe.above_canopy)
        yield from check_point(draft, (*path, "at"), probe.at)
        if probe.meter is not None:
            yield from check_name(draft, (*path, "meter"), probe.meter, "meters")
    if len(draft.scene.probes) > MOST_PROBES:
        yield ("probes",), f"{len(draft.scene.probes)} are too many; at most {MOST_PROBES}"
