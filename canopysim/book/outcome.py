"""One figure beside its exact value, and by how many standard errors it is off."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import stats

# Absorptances are multiples of 2^-24 and weights pass through float32: no figure is nearer than
# that to its exact value, of the scale it stands on.
ROUNDING = 1e-7
# By so much of a standard error the expected value may be off where z are held beside a law.
SHARP = 0.1


@dataclass(frozen=True)
class Outcome:
    """One figure of a case.

    Attributes
    ----------
    figure : str
        What it is, with its unit or what it is a share of.
    exact : float
        What it must be.
    value : float
        What the trace found.
    std_err : float
        Standard error of `value`; NaN where nothing arrived, 0 where no chance is in it.
    n_row : int
        Independent rows behind `std_err`; 0 where its law is normal and not from rows.
    exact_err : float
        By how much `exact` itself may be off at most; as much is forgiven. A reference that is
        itself random has its error in `std_err`.
    scale : float or None
        What the stated precision is relative to; `exact` if left out.
    identity : bool
        Whether both must be equal to the last digit.
    law : tuple of float or None
        Of a figure that is not normal: probabilities that chance gives so little or less, and so
        much or more.
    """

    figure: str
    exact: float
    value: float
    std_err: float
    n_row: int = 0
    exact_err: float = 0.0
    scale: float | None = None
    identity: bool = False
    law: tuple[float, float] | None = None

    @property
    def size(self) -> float:
        """What the precision is relative to."""
        return abs(self.exact if self.scale is None else self.scale)

    @property
    def is_random(self) -> bool:
        """Whether the figure scatters, so that its z is one of the normal law."""
        return not self.identity and self.std_err > ROUNDING * self.size

    @property
    def is_sharp(self) -> bool:
        """Whether its z is chance's: what `exact_err` forgives is a tenth of the error at most."""
        return self.is_random and self.exact_err <= SHARP * self.std_err

    @property
    def rel_err(self) -> float:
        """Standard error over what the precision is relative to; 0 where there is no chance."""
        if not self.is_random:
            return 0.0
        return self.std_err / self.size if self.size > 0 else math.inf

    @property
    def z(self) -> float:
        """Standard errors between the two, as many as a normal law would need to be as unlikely.

        The mean of few rows over its own error has Student's law; a figure without chance in it is
        0 where it is right within rounding, and infinite elsewhere. One that has a law of its own
        is as far off as the smaller of its two tails says.
        """
        if self.law is not None:
            below, above = self.law
            z = stats.norm.isf(min(below, above, 0.5))
            return float(math.copysign(z, -1.0 if below < above else 1.0))
        off = self.value - self.exact
        if self.identity:
            return 0.0 if off == 0.0 else math.copysign(math.inf, off)
        if math.isnan(off):
            return math.inf
        off = math.copysign(max(abs(off) - self.exact_err, 0.0), off)
        if not self.is_random:
            right = abs(off) <= ROUNDING * self.size or off == 0.0
            return 0.0 if right else math.copysign(math.inf, off)
        t = off / self.std_err
        if self.n_row < 2:
            return t
        # In logarithms, so that what is far off stays finite.
        tail = stats.t.logsf(abs(t), self.n_row - 1)
        z = stats.norm.isf(math.exp(tail)) if tail > -700.0 else math.sqrt(-2.0 * tail)
        return float(math.copysign(z, t))
