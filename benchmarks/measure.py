"""Medians, spreads and ratios with bootstrap bounds."""

from __future__ import annotations

import statistics

import numpy as np


def spread(values: list[float]) -> str:
    """Median with the quartiles around it."""
    low, middle, high = statistics.quantiles(values, n=4)
    return f"{middle:9.3g}  ({low:.3g} – {high:.3g})"


def ratio_text(above: list[float], below: list[float]) -> str:
    """Median of the ratios of paired rounds, with the 95 % bounds of a bootstrap."""
    ratio = np.asarray(above) / np.asarray(below)
    rng = np.random.default_rng(0)
    draws = np.median(rng.choice(ratio, (4000, len(ratio))), axis=1)
    low, high = np.quantile(draws, [0.025, 0.975])
    return f"{np.median(ratio):.3f}  [{low:.3f}, {high:.3f}]"
