"""selftest: read the verification book on this machine."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from canopysim.commands.around_a_run import INTERRUPTED, steady_console
from canopysim.commands.options import MOST_THREADS, Threads, read_option
from canopysim.errors import CanopysimError

if TYPE_CHECKING:
    from canopysim.book.bench import Edition
    from canopysim.book.case import Case
    from canopysim.book.record import Record

NOT_HELD = 1
EVERY_S = 0.2


def selftest(
    quick: Annotated[
        bool,
        typer.Option("--quick", help="Fewer packets: a minute or two, not a quarter of an hour."),
    ] = False,
    only: Annotated[
        str | None,
        typer.Option(help="Only cases whose chapter or name has this text.", metavar="TEXT"),
    ] = None,
    out: Annotated[
        Path,
        typer.Option(help="Folder for the page and the tables; finished cases are kept there."),
    ] = Path("results/selftest"),
    seed: Annotated[
        str, typer.Option(help="Seed of the whole book, a whole number.", metavar="NUMBER")
    ] = "1",
    threads: Threads = None,
    list_cases: Annotated[
        bool, typer.Option("--list", help="List the cases and trace nothing.")
    ] = False,
) -> None:
    """Trace the verification book: scenes whose answers are known, held beside those answers.

    Writes selftest.html, selftest.csv and selftest.md (selftest-part with --only). A whole book
    that was interrupted goes on where it stopped. Exit code 1 if a case does not hold.
    """
    from canopysim.book.cases import all_cases
    from canopysim.book.record import Verdict
    from canopysim.book.running import read_book
    from canopysim.report.selftest import case_line, failure_lines, verdict_sentences
    from canopysim.report.selftest_page import write_book
    from canopysim.report.words import count
    from canopysim.scene.fields import parse_count

    console = steady_console()
    every = all_cases()
    word = (only or "").lower()
    cases = [c for c in every if word in c.chapter.lower() or word in c.name.lower()]
    if not cases:
        raise CanopysimError(
            f"--only: no case has {only!r} in its chapter or name; see canopysim selftest --list"
        )
    if list_cases:
        for case in cases:
            console.print(f"{case.chapter}: {case.name}", markup=False, highlight=False)
        return
    number = read_option("--seed", seed, parse_count)
    n_thread = read_option("--threads", threads, lambda t: parse_count(t, 1, MOST_THREADS))
    assert number is not None
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise CanopysimError(
            f"{out}: cannot be written to ({problem.strerror}); choose another folder with --out"
        ) from None
    _say_what_compiles(console)
    edition: Edition = "quick" if quick else "full"
    records: list[Record] = []
    interrupted = False
    shown = console.status("", spinner="dots") if console.is_terminal else None
    last = time.monotonic()

    def on_progress(case: Case, packets: int, wanted: int) -> None:
        nonlocal last
        if shown is not None and time.monotonic() - last > EVERY_S:
            last = time.monotonic()
            shown.update(
                f"case {len(records) + 1} of {len(cases)}: {case.name}, {count(packets)} of "
                f"{count(wanted)} packets"
            )

    try:
        if shown is not None:
            shown.start()
        for record in read_book(
            cases, edition=edition, seed=number, threads=n_thread, n_case=len(every),
            kept=out if len(cases) == len(every) else None, on_progress=on_progress,
        ):  # fmt: skip
            records.append(record)
            console.print(
                f"{len(records):3d}/{len(cases)}  {case_line(record)}",
                style="" if record.passed else "bold red", markup=False, highlight=False,
            )  # fmt: skip
    except KeyboardInterrupt:
        interrupted = True
    finally:
        if shown is not None:
            shown.stop()
    if not records:
        typer.echo("Interrupted before a case was done.", err=True)
        raise typer.Exit(INTERRUPTED)
    verdict = Verdict(edition, number, tuple(records), len(cases), len(every))
    paths = write_book(verdict, out)
    console.print()
    for record in verdict.failed:
        for line in failure_lines(record):
            console.print(line, style="bold red", markup=False, highlight=False)
    for line in verdict_sentences(verdict):
        console.print(line, markup=False, highlight=False)
    console.print(f"The page: {paths[0]}", markup=False, highlight=False)
    if interrupted:
        typer.echo(
            f"Interrupted after {len(records)} of {len(cases)} cases ({edition} edition)"
            + ("; the same command goes on from there." if len(cases) == len(every) else "."),
            err=True,
        )
        raise typer.Exit(INTERRUPTED)
    if not verdict.passed:
        raise typer.Exit(NOT_HELD)


def _say_what_compiles(console: object) -> None:
    """Tell of the wait where kernels have to be compiled first."""
    from rich.console import Console

    from canopysim.transport.cache import choose_cache_folder, compiled_before

    assert isinstance(console, Console)
    if choose_cache_folder() is None:
        console.print(
            "No folder can keep the compiled photon kernels: compiling them for this book, up to a "
            "minute. Set CANOPYSIM_CACHE_DIR to a folder that you may write to.",
            style="dim",
        )
    elif not all(compiled_before(told_apart=t) for t in (False, True)):
        console.print(
            "First book on this machine: compiling the photon kernels, up to a minute, once.",
            style="dim",
        )
