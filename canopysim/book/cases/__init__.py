"""The chapters of the book."""

from __future__ import annotations

from canopysim.book.case import Case


def all_cases() -> tuple[Case, ...]:
    """Give every case, chapter by chapter; their names are unlike."""
    from canopysim.book.cases import (
        alike,
        backwards,
        balances,
        crowns,
        drawn,
        films,
        plates,
        scattering,
        slabs,
    )  # fmt: skip

    cases = (
        *plates.CASES, *slabs.CASES, *scattering.CASES, *crowns.CASES, *drawn.CASES, *films.CASES,
        *balances.CASES, *backwards.CASES, *alike.CASES,
    )  # fmt: skip
    assert len({case.name for case in cases}) == len(cases)
    return cases
