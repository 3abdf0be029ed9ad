"""What came of a case, and of the whole book."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from canopysim.book.bench import Edition
from canopysim.book.budget import case_bound, error_bound, together, together_bound
from canopysim.book.case import Case
from canopysim.book.outcome import Outcome


@dataclass(frozen=True)
class Record:
    """One case after it was traced.

    Attributes
    ----------
    case : Case
        What was traced.
    outcomes : tuple of Outcome
        Every figure of it; none where `problem` says why.
    n_case : int
        Cases that share the error budget.
    precision : float
        Largest relative error that this edition may leave.
    seed : int
        First seed of its photons; 0 where it takes none.
    packets : int
    seconds : float
        By the clock, the exact value included.
    kept : bool
        Whether it was traced before, and taken from what was kept.
    problem : str
        What stopped it; "" where nothing did.
    """

    case: Case
    outcomes: tuple[Outcome, ...]
    n_case: int
    precision: float
    seed: int
    packets: int
    seconds: float
    kept: bool = False
    problem: str = ""

    @cached_property
    def bound(self) -> float:
        """Largest |z| that passes."""
        return case_bound(self.n_case, self.outcomes)

    @cached_property
    def worst(self) -> Outcome | None:
        """The figure that is furthest off."""
        return max(self.outcomes, key=lambda o: abs(o.z), default=None)

    @cached_property
    def roughest(self) -> Outcome | None:
        """The figure with the largest relative error."""
        return max(self.outcomes, key=lambda o: o.rel_err, default=None)

    @cached_property
    def chief(self) -> Outcome | None:
        """The first figure whose z is chance's, or the first: it stands for the case."""
        every = self.outcomes
        return next((o for o in every if o.is_sharp), every[0] if every else None)

    @property
    def is_random(self) -> bool:
        """Whether there is chance in any figure."""
        return any(o.is_random for o in self.outcomes)

    def is_off(self, outcome: Outcome) -> bool:
        """Whether a figure is further off than chance has it."""
        return not abs(outcome.z) <= self.bound

    def is_rough(self, outcome: Outcome) -> bool:
        """Whether a figure's error is larger than the case states, beyond its own chance."""
        slack = error_bound(self.n_case, self.outcomes, outcome)
        return not outcome.rel_err <= self.precision * slack

    @cached_property
    def passed(self) -> bool:
        """Whether it was traced, is right and as precise as it states."""
        return (
            not self.problem
            and bool(self.outcomes)
            and not any(self.is_off(o) or self.is_rough(o) for o in self.outcomes)
        )


@dataclass(frozen=True)
class Verdict:
    """What the book says.

    Attributes
    ----------
    edition : "quick" or "full"
    seed : int
        Of the book.
    records : tuple of Record
        Cases that were traced.
    n_asked : int
        Cases that were asked for.
    n_case : int
        Cases of the whole book, which share the error budget.
    """

    edition: Edition
    seed: int
    records: tuple[Record, ...]
    n_asked: int
    n_case: int

    @property
    def failed(self) -> list[Record]:
        """Cases that do not hold."""
        return [r for r in self.records if not r.passed]

    @cached_property
    def together(self) -> dict[str, float]:
        """Probabilities that chance gives z of the cases' first figures that are so unlike normal.

        See `budget.together`.
        """
        return together([r.chief for r in self.records if r.chief is not None])

    @property
    def unlikely(self) -> list[str]:
        """Which of those tests do not pass."""
        return [name for name, p in self.together.items() if p < together_bound(self.n_case)]

    @property
    def passed(self) -> bool:
        """Whether the book holds, as far as it was read."""
        return not self.failed and not self.unlikely
