"""What came of the verification book, in words and tables: a line per case, CSV, Markdown."""

from __future__ import annotations

import csv
import io
import math
from typing import TYPE_CHECKING

from canopysim.book.budget import P_FAIL
from canopysim.report.rows import Table
from canopysim.report.words import count, duration, minus, percent, significant

if TYPE_CHECKING:
    from canopysim.book.running import Record, Verdict

COLUMNS = ("Case", "Figure", "Exact", "Found", "± standard error", "z", "Packets", "Seconds")
"""Of the table that stands beside the README."""


def z_text(z: float) -> str:
    """Write standard errors off: "+0.42"; "exact" is not said of chance."""
    if math.isinf(z):
        return "beyond all chance"
    return minus(f"{z:+.2f}")


def number(value: float, std_err: float) -> str:
    """Write a number to the digits that its error leaves it, two of which are uncertain."""
    if not math.isfinite(value) or value == 0.0:
        return significant(value)
    if not std_err > 0.0:
        return significant(value, 7)
    digits = 2 + math.floor(math.log10(abs(value))) - math.floor(math.log10(std_err))
    return significant(value, min(max(digits, 2), 9))


def case_line(record: Record) -> str:
    """Say in a line what came of a case."""
    worst, rough = record.worst, record.roughest
    mark = "holds" if record.passed else "FAILS"
    n = len(record.outcomes)
    figures = "1 figure" if n == 1 else f"{n} figures"
    text = f"{mark}  {record.case.name}: {figures}, largest z {z_text(worst.z)}"
    if rough.rel_err > 0.0:
        text += f", errors up to {percent(rough.rel_err)}"
    how = ", traced before" if record.kept else ""
    return f"{text}  ({count(record.packets)} packets, {duration(record.seconds)}{how})"


def failure_lines(record: Record) -> list[str]:
    """Say what is wrong with a case, by how much, and with which seed it can be seen again."""
    lines = []
    for o in record.outcomes:
        if abs(o.z) > record.bound:
            off = "differs, and must not" if o.identity or math.isinf(o.z) else (
                f"is {abs(o.z):.2f} standard errors off; {record.bound:.2f} may be chance"
            )  # fmt: skip
            lines.append(
                f"{record.case.name}, {o.figure}: {o.value:.9g} where {o.exact:.9g} is exact, "
                f"{off} (seed {record.seed}). It would take this: {record.case.fails_if}"
            )
        elif o.rel_err > record.precision:
            lines.append(
                f"{record.case.name}, {o.figure}: the standard error {percent(o.rel_err)} is "
                f"larger than the {percent(record.precision)} that the case states "
                f"(seed {record.seed})."
            )
    return lines


def verdict_sentences(verdict: Verdict) -> list[str]:
    """Say whether the book holds, what was furthest off, and how z scatter."""
    records = verdict.records
    n_figure = sum(len(r.outcomes) for r in records)
    held = len(records) - len(verdict.failed)
    lines = [
        f"{held} of {len(records)} cases hold, {count(n_figure)} figures in all; a sound program "
        f"fails the book once in {count(round(1 / P_FAIL))} runs."
    ]
    random = [r for r in records if any(o.is_random for o in r.outcomes)]
    if random:
        worst = max(random, key=lambda r: abs(r.worst.z))
        lines.append(
            f"Furthest off: {worst.case.name}, {worst.worst.figure}, z {z_text(worst.worst.z)}; "
            f"up to {worst.bound:.2f} may be chance."
        )
    if math.isnan(verdict.p_normal):
        lines.append("Too few cases to tell whether their z scatter as a normal law's.")
    else:
        how = "scatter as a normal law's" if verdict.is_normal else "DO NOT scatter as a normal law"
        lines.append(
            f"The z of the cases' first figures {how} (Kolmogorov–Smirnov, "
            f"P = {significant(verdict.p_normal, 2)})."
        )
    return lines


def result_table(verdict: Verdict) -> Table:
    """Give one row per case: its figure that is furthest off."""
    rows = []
    for r in verdict.records:
        o = r.worst
        rows.append(
            (r.case.name, o.figure, number(o.exact, o.std_err), number(o.value, o.std_err),
             significant(o.std_err, 2) if o.is_random else "none", z_text(o.z),
             count(r.packets), f"{r.seconds:.1f}")
        )  # fmt: skip
    return Table(
        f"All cases, {verdict.edition} edition, seed {verdict.seed}: of each the figure that is "
        "furthest off",
        COLUMNS,
        tuple(rows),
        "z: standard errors between found and exact, brought to the normal law. Seconds include "
        "the exact value.",
    )


def table_markdown(verdict: Verdict) -> str:
    """Give the same table as the file that stands beside the README."""
    table = result_table(verdict)

    def line(cells: tuple[str, ...]) -> str:
        return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"

    lines = [
        "# The verification book",
        "",
        "Written by `canopysim selftest`; every figure of every case is in `selftest.csv` beside "
        "the page that the command makes.",
        "",
        *verdict_sentences(verdict),
        "",
        f"{table.caption}.",
        "",
        line(table.columns),
        line(("---",) * 2 + ("---:",) * 6),
        *(line(row) for row in table.rows),
        "",
        table.note,
    ]
    return "\n".join(lines) + "\n"


def table_csv(verdict: Verdict) -> str:
    """Give every figure of every case, a row each."""
    out = io.StringIO()
    write = csv.writer(out, lineterminator="\n").writerow
    write(["chapter", "case", "figure", "exact", "exact_err", "found", "std_err", "rows", "z",
           "z_bound", "relative_error", "relative_error_bound", "passed", "packets", "seconds",
           "seed", "edition"])  # fmt: skip
    for r in verdict.records:
        for o in r.outcomes:
            passed = abs(o.z) <= r.bound and o.rel_err <= r.precision
            write([r.case.chapter, r.case.name, o.figure, *(f"{x:.12g}" for x in (
                o.exact, o.exact_err, o.value, o.std_err)), o.n_row, f"{o.z:.6g}",
                f"{r.bound:.6g}", f"{o.rel_err:.6g}", f"{r.precision:.6g}",
                "yes" if passed else "no", r.packets, f"{r.seconds:.3f}", r.seed,
                verdict.edition])  # fmt: skip
    return out.getvalue()
