"""The verification book as a page: the verdict, then each case and what it would take to fail."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from canopysim.errors import CanopysimError
from canopysim.report.markup import document, escape, folded_html, pairs_html, prose, table_html
from canopysim.report.rows import Table
from canopysim.report.selftest import (
    FORGIVEN,
    expected,
    failure_lines,
    far_off,
    number,
    precision_of,
    result_table,
    table_csv,
    table_markdown,
    verdict_sentences,
    z_text,
)
from canopysim.report.svg import PALETTE, drawing, new_figure
from canopysim.report.words import count, duration, percent, significant
from canopysim.sealed import write_whole

if TYPE_CHECKING:
    from canopysim.book.record import Record, Verdict


def page_html(verdict: Verdict) -> str:
    """Give the page: the verdict, then every case, what it shows and how it could fail."""
    title = "canopysim: the verification book"
    parts = [
        f"<h1>{escape(title)}</h1>",
        f'<p class="lead">{escape(_lead(verdict))}</p>',
    ]
    wrong = [line for r in verdict.failed for line in failure_lines(r)]
    if verdict.unlikely:
        wrong.append("Taken together the z do not scatter as chance has it; see below.")
    if wrong:
        items = "".join(f"<li>{prose(line)}</li>\n" for line in wrong)
        parts.append(
            '<div class="warning"><strong>The book does not hold on this machine.</strong> Do not '
            f"rely on figures of this installation.\n<ul>\n{items}</ul></div>"
        )
    parts += [f"<p>{prose(line)}</p>" for line in verdict_sentences(verdict)]
    z = [o.z for r in verdict.records for o in r.outcomes if o.is_sharp and math.isfinite(o.z)]
    if z:
        parts.append(
            f"<figure>{z_histogram(z)}<figcaption>How far {count(len(z))} figures are off, in "
            "standard errors, beside the normal law: those whose expected value is known to a "
            "tenth of that. Figures of one case may depend on each other.</figcaption></figure>"
        )
    parts.append(
        "<p>A case is a scene whose answer is known: by a closed formula, by quadrature, by a "
        "solution that shares no line with the program, or, where it says so, by another way of "
        "the program itself. It holds if every figure is within the standard errors that chance "
        "allows, to both sides, and as precise as stated.</p>"
    )
    chapters = dict.fromkeys(r.case.chapter for r in verdict.records)
    for chapter in chapters:
        records = [r for r in verdict.records if r.case.chapter == chapter]
        parts.append(f"<h2>{escape(chapter[0].upper() + chapter[1:])}</h2>")
        parts += [_case_html(r) for r in records]
    parts.append("<h2>The table</h2>\n" + table_html(result_table(verdict)))
    return document(title, "\n".join(parts))


def write_book(verdict: Verdict, folder: Path) -> list[Path]:
    """Write the page, the CSV file and the short table into an existing folder.

    They are called selftest, or selftest-part where not every case was asked for or the book was
    interrupted, so that a part does not take the place of the whole.

    Raises
    ------
    CanopysimError
        Where they cannot be written.
    """
    stem = "selftest" if len(verdict.records) == verdict.n_case else "selftest-part"
    texts = {f"{stem}.html": page_html(verdict), f"{stem}.csv": table_csv(verdict),
             f"{stem}.md": table_markdown(verdict)}  # fmt: skip
    try:
        for name, text in texts.items():
            write_whole(folder / name, text)
    except OSError as problem:
        raise CanopysimError(
            f"{folder}: cannot be written to ({problem.strerror}); choose another folder with --out"
        ) from None
    return [folder / name for name in texts]


def _lead(verdict: Verdict) -> str:
    from importlib.metadata import version

    seconds = sum(r.seconds for r in verdict.records)
    packets = sum(r.packets for r in verdict.records)
    return (
        f"canopysim {version('canopysim')}: {verdict.edition} edition, seed {verdict.seed}, "
        f"{count(packets)} photon packets, {duration(seconds)}."
    )


def _case_html(record: Record) -> str:
    case = record.case
    rows = tuple(
        (o.figure, expected(o), number(o.value, o.std_err),
         significant(o.std_err, 2) if o.is_random else "none", z_text(o.z))
        for o in record.outcomes
    )  # fmt: skip
    before = ", traced before" if record.kept else ""
    table = Table(
        f"{count(record.packets)} packets, seed {record.seed}, {duration(record.seconds)}{before}",
        ("Figure", "Expected", "Found", "± standard error", "z"), rows,
        f"z may reach {record.bound:.2f} to either side; errors may reach "
        f"{percent(record.precision)} {precision_of(record)}."
        + (f" {case.why_rough}" if case.why_rough else "")
        + (f" {FORGIVEN}" if any(" ± " in row[1] for row in rows) else ""),
    )  # fmt: skip
    body = pairs_html(
        [("Shows", case.shows), ("The expected value", case.source),
         ("What would make it fail", case.fails_if)]
    )  # fmt: skip
    verdict = "holds" if record.passed else "fails"
    title = f"{case.name}: {verdict}"
    if record.worst is not None:
        title += f", {far_off(record, record.worst)}"
    if record.problem:
        body += f'<p class="warning">{escape(record.problem)}</p>'
    return folded_html(title, body + (table_html(table) if rows else ""))


def z_histogram(z: list[float]) -> str:
    """Draw how far figures are off, beside the normal law; give SVG."""
    with drawing("z", "Histogram of z beside the normal law") as canvas:
        figure, axes = new_figure(5.0, 2.6)
        edges = np.linspace(-4.5, 4.5, 37).tolist()
        axes.hist(np.clip(z, -4.49, 4.49), edges, density=True, color=PALETTE[4],
                  label="figures of the book")  # fmt: skip
        x = np.linspace(-4.5, 4.5, 181)
        axes.plot(x, np.exp(-x * x / 2) / np.sqrt(2 * np.pi), color=PALETTE[5],
                  label="normal law")  # fmt: skip
        axes.set_xlabel("z, standard errors off")
        axes.set_ylabel("share per unit of z")
        axes.legend(frameon=False)
        canvas.finish(figure)
    return canvas.svg
