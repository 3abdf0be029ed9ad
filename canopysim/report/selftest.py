"""What came of the verification book, in words and tables: a line per case, CSV, Markdown."""

from __future__ import annotations

import csv
import io
import math
from typing import TYPE_CHECKING

from canopysim.book.budget import P_FAIL
from canopysim.book.outcome import SHARP
from canopysim.report.rows import Table
from canopysim.report.words import count, duration, minus, percent, significant

if TYPE_CHECKING:
    from canopysim.book.outcome import Outcome
    from canopysim.book.record import Record, Verdict

COLUMNS = ("Case", "Figure", "Expected", "Found", "± standard error", "z", "Packets", "Seconds")
"""Of the table that stands beside the README."""

# What an expected value may be off is told where it shows in the digits that are written.
# Of a figure that must be 0 no digits are written: there what rounding leaves is not told.
SHOWN, ROUNDED = 1e-5, 1e-9
FORGIVEN = "What an expected value may itself be off stands behind it (±), and is forgiven."


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


def expected(outcome: Outcome) -> str:
    """Write what is expected; with what it may be off itself where that is more than a hair."""
    text = number(outcome.exact, outcome.std_err)
    shown = SHARP * outcome.std_err if outcome.is_random else SHOWN * outcome.size
    off = outcome.exact_err
    return f"{text} ± {significant(off, 2)}" if off > max(shown, ROUNDED) else text


def precision_of(record: Record) -> str:
    """Say what errors are relative to."""
    if record.case.measure is not None:
        return "of what each figure is held against"
    if record.case.scale is None:
        return "of the figure itself"
    if record.case.scale == 1.0:
        return "of all light"
    return "of all light, or of the flux density that it makes"


def case_line(record: Record) -> str:
    """Say in a line what came of a case."""
    mark = "holds" if record.passed else "FAILS"
    how = ", traced before" if record.kept else ""
    spent = f"({count(record.packets)} packets, {duration(record.seconds)}{how})"
    worst, rough = record.worst, record.roughest
    if worst is None or rough is None:
        return f"{mark}  {record.case.name}: {record.problem}  {spent}"
    n = len(record.outcomes)
    figures = "1 figure" if n == 1 else f"{n} figures"
    text = f"{mark}  {record.case.name}: {figures}, {far_off(record, worst)}"
    if rough.rel_err > 0.0:
        text += f", errors up to {percent(rough.rel_err)} {precision_of(record)}"
    return f"{text}  {spent}"


def far_off(record: Record, worst: Outcome) -> str:
    """Say how far the figure of a case is off that is furthest off."""
    if not record.is_random and worst.z == 0.0:
        return "no chance in it"
    return f"largest z {z_text(worst.z)}"


def failure_lines(record: Record) -> list[str]:
    """Say what is wrong with a case, by how much, and with which seed it can be seen again."""
    name = record.case.name
    if record.problem:
        return [f"{name}: could not be traced (seed {record.seed}): {record.problem}"]
    lines = []
    for o in record.outcomes:
        if record.is_off(o):
            off = (
                "and must be the same"
                if o.identity or math.isinf(o.z)
                else f"{abs(o.z):.2f} standard errors off; {record.bound:.2f} may be chance"
            )
            lines.append(
                f"{name}, {o.figure}: {o.value:.9g} where {o.exact:.9g} is expected, {off} "
                f"(seed {record.seed}). What can be wrong: {record.case.fails_if}"
            )
        elif record.is_rough(o):
            lines.append(
                f"{name}, {o.figure}: the standard error is {percent(o.rel_err)}, more than the "
                f"{percent(record.precision)} that the case states (seed {record.seed})."
            )
    return lines


TOGETHER = {
    "law": "their distribution (Kolmogorov–Smirnov)",
    "mean": "their mean",
    "spread": "the sum of their squares (chi squared)",
}


def verdict_sentences(verdict: Verdict) -> list[str]:
    """Say whether the book holds, what was furthest off, and how z scatter."""
    records = verdict.records
    n_figure = sum(len(r.outcomes) for r in records)
    held = len(records) - len(verdict.failed)
    lines = [
        f"{held} of {len(records)} cases hold, {count(n_figure)} figures in all; a sound program "
        f"fails the book once in {count(round(1 / P_FAIL))} runs."
    ]
    if verdict.n_asked < verdict.n_case:
        lines.append(f"That is a part: the book has {verdict.n_case} cases.")
    if len(records) < verdict.n_asked:
        lines.append(f"It was interrupted: {verdict.n_asked} cases were to be read.")
    random = [r for r in records if r.is_random]
    if random:
        far = max(random, key=lambda r: abs(r.worst.z) / r.bound if r.worst else 0.0)
        if far.worst is not None:
            lines.append(
                f"Furthest off: {far.case.name}, {far.worst.figure}, z {z_text(far.worst.z)}; "
                f"up to {far.bound:.2f} may be chance."
            )
    if not verdict.together:
        lines.append("Too few cases to tell whether their z scatter as a normal law's.")
    else:
        how = "DO NOT scatter as a normal law's" if verdict.unlikely else (
            "scatter as a normal law's"
        )  # fmt: skip
        tests = "; ".join(
            f"{TOGETHER[name]}: P = {significant(p, 2)}" for name, p in verdict.together.items()
        )
        lines.append(f"The z of the cases' first figures {how}. By {tests}.")
    return lines


def result_table(verdict: Verdict) -> Table:
    """Give one row per case: its figure that is furthest off."""
    rows = []
    for r in verdict.records:
        o = r.worst
        found = ("not traced", "–", "–", "–", "–") if o is None else (
            o.figure, expected(o), number(o.value, o.std_err),
            significant(o.std_err, 2) if o.is_random else "none", z_text(o.z),
        )  # fmt: skip
        rows.append((r.case.name, *found, count(r.packets), f"{r.seconds:.1f}"))
    return Table(
        f"All cases, {verdict.edition} edition, seed {verdict.seed}: of each the figure that is "
        "furthest off",
        COLUMNS,
        tuple(rows),
        "z: standard errors between found and expected, brought to the normal law. "
        f"{FORGIVEN} Seconds include the expected value.",
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
    write(["chapter", "case", "figure", "expected", "expected_off_at_most", "found", "std_err",
           "rows", "z", "z_bound", "relative_error", "relative_error_bound", "passed", "packets",
           "seconds", "seed", "edition"])  # fmt: skip
    for r in verdict.records:
        for o in r.outcomes:
            passed = not r.is_off(o) and not r.is_rough(o)
            write([r.case.chapter, r.case.name, o.figure, *(f"{x:.12g}" for x in (
                o.exact, o.exact_err, o.value, o.std_err)), o.n_row, f"{o.z:.6g}",
                f"{r.bound:.6g}", f"{o.rel_err:.6g}", f"{r.precision:.6g}",
                "yes" if passed else "no", r.packets, f"{r.seconds:.3f}", r.seed,
                verdict.edition])  # fmt: skip
    return out.getvalue()
