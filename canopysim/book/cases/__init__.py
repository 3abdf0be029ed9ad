"""The chapters of the book."""

from __future__ import annotations

from canopysim.book.case import Case


def all_cases() -> tuple[Case, ...]:
    """Give every case, chapter by chapter; their names are unlike."""
    from canopysim.book.cases import (
        boxes,
        furnaces,
        mirrors,
        openings,
        plates,
        rough_mirrors,
        spheres,
    )

    cases = (
        *plates.CASES,
        *boxes.CASES,
        *mirrors.CASES,
        *rough_mirrors.CASES,
        *furnaces.CASES,
        *spheres.CASES,
        *openings.CASES,
    )
    assert len({case.name for case in cases}) == len(cases)
    return cases
