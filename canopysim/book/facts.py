"""Cases of facts: numbers that the program reckons without a photon, beside what they must be."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import ArrayLike

from canopysim.book.case import Case
from canopysim.book.outcome import Outcome

# What it is, what it must be, what the program says; and what the first may be off, 0 for identity.
Fact = tuple[str, ArrayLike, ArrayLike] | tuple[str, ArrayLike, ArrayLike, float]
# What float64 leaves of sums of some thousand numbers; and the most numbers told one by one.
NEAR, FEW = 1e-10, 12


def told(figure: str, exact: ArrayLike, value: ArrayLike, off: float = NEAR) -> Iterator[Outcome]:
    """Hold numbers beside others, NaN beside NaN; of many, the greatest distance beside none.

    A figure that is unknown where it should not be, or the other way round, is infinitely far off.
    """
    wanted, found = np.asarray(exact, np.float64), np.asarray(value, np.float64)
    if wanted.shape != found.shape:
        raise ValueError(f"{figure}: {found.shape} for {wanted.shape}")
    if wanted.size > FEW:
        unlike = np.isnan(found) != np.isnan(wanted)
        apart = np.where(unlike, np.inf, np.nan_to_num(abs(found - wanted)))
        figure, wanted, found = f"{figure}: furthest off", np.zeros(()), apart.max()
    for at in np.ndindex(wanted.shape):
        label = f"{figure} [{', '.join(str(i) for i in at)}]" if at else figure
        one, other, near = float(wanted[at]), float(found[at]), float(off)
        if np.isnan(one):
            label, one, other, near = f"{label} is unknown", 1.0, float(np.isnan(other)), 0.0
        yield Outcome(label, one, other, 0.0, exact_err=near, identity=near == 0.0)


def fact_case(
    name: str, chapter: str, shows: str, source: str, fails_if: str,
    *facts: Callable[[], Iterator[Fact]],
) -> Case:  # fmt: skip
    """Give a case of numbers that need no trace."""

    def measure(bench: object, case: Case) -> list[Outcome]:
        return [outcome for each in facts for fact in each() for outcome in told(*fact)]

    return Case(name, chapter, shows, source, fails_if, packets=1, measure=measure)
