"""The chapters of the book."""

from __future__ import annotations

from importlib import import_module

from canopysim.book.case import Case

# In the order in which light goes: its sources, rooms, leaves, what is read, how sure it is.
FILES = (
    "panels", "beams", "parallel_beams", "measured_lights", "light_files", "bodies", "own_bodies",
    "plates", "boxes", "mirrors", "rough_mirrors", "spheres", "drawn_rooms", "furnaces", "openings",
    "slabs", "scattering", "crowns", "drawn", "drawn_fields", "turbid", "films", "leaf_facts",
    "planes", "probes", "probes_hidden", "meters",
    "colours", "spectra", "groups", "replicates", "told_apart", "canopy_box",
    "plant_facts", "depths", "reach", "colours_arriving", "canopy_figures",
    "balances", "backwards", "alike", "figures_read",
    "errors", "run_facts", "kernel_functions",
)  # fmt: skip


def all_cases() -> tuple[Case, ...]:
    """Give every case, chapter by chapter; their names are unlike."""
    cases = tuple(
        case for name in FILES for case in import_module(f"canopysim.book.cases.{name}").CASES
    )
    assert len({case.name for case in cases}) == len(cases)
    return cases
