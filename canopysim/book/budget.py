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
# Tests of all z together: their law, their mean, their spread. Each has a share like a case's.
N_TOGETHER = 3


def case_bound(n_case: int, outcomes: Sequence[Outcome]) -> float:
    """Give the largest |z| that a figure of a case may have.

    Parameters
    ----------
    n_case : int
        Cases in the whole book; the tests of all z together count as three more.
    outcomes : sequence of Outcome
        Of this case; figures without chance in them take no share.

    Notes
    -----
    Bonferroni: P_FAIL is shared out evenly among cases, half of a case's share is for its figures,
    two-sided, and half for their errors (`error_bound`). It holds whatever depends on whatever.
    """
    return float(stats.norm.isf(_share(n_case, outcomes) / 4))


def error_bound(n_case: int, outcomes: Sequence[Outcome], outcome: Outcome) -> float:
    """Give how much larger than the stated error one may look that is not.

    An error from n rows scatters itself: its square over the true one's is chi squared with n - 1
    degrees of freedom, over n - 1.
    """
    if outcome.n_row < 2:
        return 1.0
    freedom = outcome.n_row - 1
    return float(np.sqrt(stats.chi2.isf(_share(n_case, outcomes) / 2, freedom) / freedom))


def _share(n_case: int, outcomes: Sequence[Outcome]) -> float:
    """Probability that a figure of a case may take of the budget."""
    return P_FAIL / (n_case + N_TOGETHER) / max(sum(o.is_random for o in outcomes), 1)


def together(outcomes: Sequence[Outcome]) -> dict[str, float]:
    """Test whether z scatter as a standard normal law has it.

    Parameters
    ----------
    outcomes : sequence of Outcome
        One of each case, so that they do not depend on each other; only those whose z is chance's.

    Returns
    -------
    dict of str to float
        Two-sided probabilities that chance gives z so unlike: ``law`` (Kolmogorov, Smirnov),
        ``mean`` (a bias that all have), ``spread`` (the sum of their squares is chi squared: errors
        that are all too small or too large). Empty for less than eight.
    """
    z = np.clip([o.z for o in outcomes if o.is_sharp], -40.0, 40.0)
    if len(z) < 8:
        return {}
    squares = float((z * z).sum())
    tail = min(stats.chi2.sf(squares, len(z)), stats.chi2.cdf(squares, len(z)))
    return {
        "law": float(stats.kstest(z, stats.norm.cdf).pvalue),
        "mean": float(2.0 * stats.norm.sf(abs(z.sum()) / np.sqrt(len(z)))),
        "spread": min(2.0 * float(tail), 1.0),
    }


def together_bound(n_case: int) -> float:
    """Least probability of `together` that passes: one share of the budget each."""
    return P_FAIL / (n_case + N_TOGETHER)
