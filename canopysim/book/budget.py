"""One error budget for the whole book: how far off a figure may be before it fails."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from scipy import stats

if TYPE_CHECKING:
    from canopysim.book.outcome import Outcome

# A sound program fails the book once in ten thousand runs.
P_FAIL = 1e-4


def case_bound(n_case: int, outcomes: Sequence[Outcome]) -> float:
    """Give the largest |z| that a figure of a case may have.

    Parameters
    ----------
    n_case : int
        Cases in the whole book; the test of all z together counts as one more.
    outcomes : sequence of Outcome
        Of this case; figures without chance in them take no share.

    Notes
    -----
    Bonferroni: P_FAIL is shared out evenly among cases, and in a case among its figures, two-sided.
    It holds whatever depends on whatever.
    """
    n = max(sum(o.is_random for o in outcomes), 1)
    return float(stats.norm.isf(P_FAIL / (n_case + 1) / n / 2))


def normal_p(outcomes: Sequence[Outcome]) -> float:
    """Probability that z so unlike a standard normal law come from it (Kolmogorov, Smirnov).

    Parameters
    ----------
    outcomes : sequence of Outcome
        One of each case, so that they do not depend on each other; only those with chance in them.
    """
    z = np.array([o.z for o in outcomes if o.is_random])
    if len(z) < 8:
        return float("nan")
    return float(stats.kstest(np.clip(z, -40.0, 40.0), stats.norm.cdf).pvalue)


def normal_bound(n_case: int) -> float:
    """Least probability of `normal_p` that passes: one share of the budget."""
    return P_FAIL / (n_case + 1)
