"""The chapters of the book."""

from __future__ import annotations

from canopysim.book.case import Case


def all_cases() -> tuple[Case, ...]:
    """Give every case, chapter by chapter; their names are unlike."""
    from canopysim.book.cases import (
        beams,
        bodies,
        colours,
        groups,
        measured_lights,
        meters,
        panels,
        parallel_beams,
        planes,
        plates,
        probes,
    )

    cases = (
        *panels.CASES,
        *beams.CASES,
        *parallel_beams.CASES,
        *measured_lights.CASES,
        *bodies.CASES,
        *probes.CASES,
        *planes.CASES,
        *meters.CASES,
        *colours.CASES,
        *groups.CASES,
        *plates.CASES,
    )
    assert len({case.name for case in cases}) == len(cases)
    return cases
