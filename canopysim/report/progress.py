"""What a run shows while it goes on: a bar on a terminal, a line now and then elsewhere."""

from __future__ import annotations

import math
import time
from types import TracebackType
from typing import TYPE_CHECKING

from canopysim.report.words import count, duration, percent

if TYPE_CHECKING:
    from rich.console import Console

    from canopysim.tallies.stop import Progress

LINE_EVERY_S = 10.0


def describe(now: Progress) -> str:
    """Say where a run stands: packets, rate, the limiting tally with its error, time left.

    The time left is told once two batches or more have given an error: a guess from one batch, or
    from the budget while the target is likely to end the run, would be far off.
    """
    rate = now.n_packet / now.seconds if now.seconds > 0 else math.nan
    text = f"{count(now.n_packet)} packets, {rate / 1000:.0f} thousand/s"
    known = not math.isnan(now.rel_err)
    if now.canopies > 1:
        each = count(now.n_packet // now.canopies)
        text += f"; batch {now.n_batch}: {each} in each of {now.canopies} canopies"
    if now.limiting:
        error = f"± {percent(now.rel_err)}" if known else "not yet known"
        text += f"; {now.limiting} {error} (target {percent(now.wanted)})"
    settled = now.n_batch >= 2 and (known or not now.limiting)
    if settled and not math.isnan(now.packets_wanted):
        left = max(0.0, now.packets_wanted - now.n_packet) / rate
        text += f"; about {duration(left)} left"
    return text


class RunDisplay:
    """Shows progress; use as a context, call with a `Progress` after every batch.

    Parameters
    ----------
    console : rich.console.Console
        Where it is shown. Without a terminal there is no bar, only a line every ten seconds.
    """

    def __init__(self, console: Console) -> None:
        from rich.progress import BarColumn, TextColumn
        from rich.progress import Progress as Bar

        self._console = console
        self._bar = Bar(
            TextColumn("tracing"),
            BarColumn(bar_width=24),
            TextColumn("{task.description}", markup=False),
            console=console,
            transient=True,
            disable=not console.is_terminal,
        )
        self._task = self._bar.add_task("the first batch is on its way", total=1.0)
        self._last_line = time.monotonic()

    def __enter__(self) -> RunDisplay:
        self._bar.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._bar.stop()

    def __call__(self, now: Progress) -> None:
        """Take in where the run stands."""
        done = 0.0
        if not math.isnan(now.packets_wanted):
            done = min(1.0, now.n_packet / now.packets_wanted)
        self._bar.update(self._task, completed=done, description=describe(now))
        if not self._console.is_terminal and time.monotonic() - self._last_line > LINE_EVERY_S:
            self._last_line = time.monotonic()
            self._console.print(describe(now), markup=False, highlight=False)
