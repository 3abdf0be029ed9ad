"""The verification book: its short edition, and that a case which is wrong would be seen."""

import ast
import csv
import html
import io
import json
import math
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from typer.testing import CliRunner

import canopysim.book
from canopysim.book import cases as chapters
from canopysim.book.bench import Bench
from canopysim.book.budget import (
    N_TOGETHER,
    P_FAIL,
    case_bound,
    error_bound,
    together,
    together_bound,
)
from canopysim.book.cases import all_cases
from canopysim.book.outcome import Outcome
from canopysim.book.record import Record, Verdict
from canopysim.book.running import kept_name, read_book
from canopysim.cli import app
from canopysim.report.selftest import expected, failure_lines, table_csv, verdict_sentences
from canopysim.report.selftest_page import page_html

CASES = all_cases()
FOLDER = Path(canopysim.book.__file__).parent


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_quick_edition(case):
    """Every case holds; together they fail by chance once in ten thousand runs."""
    (record,) = read_book([case], edition="quick", n_case=len(CASES))
    assert record.passed, "\n".join(failure_lines(record))
    # As it is kept until the whole book is read.
    assert json.loads(json.dumps([asdict(o) for o in record.outcomes]))


def test_cases_say_what_they_are():
    assert len({case.name for case in CASES}) == len(CASES)
    for case in CASES:
        assert min(map(len, (case.name, case.shows, case.source, case.fails_if))) > 8, case.name
        assert case.precision <= 1e-3 or case.why_rough, case.name
        assert 0 < case.quick <= 1
        assert case.measure is not None or case.exact is not None, case.name


def test_exact_values_share_nothing_with_the_program():
    """No file of references imports canopysim, but for other files of references."""
    for path in (FOLDER / "exact").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            for name in names:
                inside = name.split(".")[0] == "canopysim"
                assert not inside or name.startswith("canopysim.book.exact"), (path.name, name)


# How far off is too far ---------------------------------------------------------------------------


def test_z_is_the_normal_law_of_students():
    few = Outcome("x", 1.0, 1.03, 0.01, n_row=8)
    assert stats.norm.sf(few.z) == pytest.approx(stats.t.sf(3.0, 7))
    assert Outcome("x", 1.0, 0.97, 0.01, n_row=8).z == pytest.approx(-few.z)
    # A normal error needs no change; what the reference may be off is forgiven.
    assert Outcome("x", 1.0, 1.03, 0.01).z == pytest.approx(3.0)
    assert Outcome("x", 1.0, 0.93, 0.03, exact_err=0.04).z == pytest.approx(-1.0)
    assert Outcome("x", 1.0, 1.03, 0.03, exact_err=0.04).z == 0.0
    # However far off, it stays a number.
    far = Outcome("x", 1.0, 1e4, 1.0, n_row=64).z
    assert 15 < far < math.inf
    assert Outcome("x", 1.0, 9.0, 1.0, law=(0.999, 1e-3)).z == pytest.approx(stats.norm.isf(1e-3))
    assert Outcome("x", 1.0, 0.1, 1.0, law=(1e-4, 1.0)).z == pytest.approx(-stats.norm.isf(1e-4))


@pytest.mark.parametrize(
    ("outcome", "z"),
    [
        (Outcome("x", 0.5, 0.5, 0.0), 0.0),
        (Outcome("x", 0.5, 0.5 + 1e-9, 0.0), 0.0),
        (Outcome("x", 0.5, 0.5001, 0.0), math.inf),
        (Outcome("x", 0.0, 0.0, math.nan), 0.0),
        (Outcome("x", 0.0, 1e-3, math.nan, scale=1.0), math.inf),
        (Outcome("x", 0.5, math.nan, math.nan), math.inf),
        (Outcome("x", 7, 7, 0.0, identity=True), 0.0),
        (Outcome("x", 2**53, 2**53 - 1, 0.0, identity=True), -math.inf),
    ],
)
def test_figures_without_chance(outcome, z):
    assert outcome.z == z
    assert not outcome.is_random
    assert outcome.rel_err == 0.0


def test_the_budget_is_shared_out():
    one = [Outcome("x", 1.0, 1.0, 0.1)]
    for n_case, n_figure in ((1, 1), (69, 1), (69, 40)):
        bound = case_bound(n_case, one * n_figure)
        share = P_FAIL / (n_case + N_TOGETHER) / n_figure
        # Half of it for the figure, to both sides, half for its error.
        assert 2 * stats.norm.sf(bound) == pytest.approx(share / 2)
        few = Outcome("x", 1.0, 1.0, 0.1, n_row=32)
        slack = error_bound(n_case, [few] * n_figure, few)
        assert stats.chi2.sf(31 * slack**2, 31) == pytest.approx(share / 2)
        assert error_bound(n_case, one, one[0]) == 1.0
    sure = Outcome("y", 1.0, 1.0, 0.0)
    assert case_bound(3, [*one, sure, sure]) == case_bound(3, one)
    assert together_bound(69) == pytest.approx(P_FAIL / 72)


@pytest.mark.parametrize(
    ("factor", "shift", "seen"),
    [(1.0, 0.0, set()), (1.6, 0.0, {"spread"}), (0.55, 0.0, {"spread"}), (1.0, 0.7, {"mean"})],
)
def test_z_that_scatter_otherwise_are_seen(factor, shift, seen):
    """At the book's own size and bound: errors half as large again, or a bias that all share."""
    z = np.random.default_rng(5).standard_normal(len(CASES)) * factor + shift
    p = together([Outcome("x", 0.0, x, 1.0, scale=1.0) for x in z])
    assert {name for name, x in p.items() if x < together_bound(len(CASES))} >= seen
    if not seen:
        assert min(p.values()) > 0.01
    assert together([Outcome("x", 0.0, 1.0, 1.0)]) == {}
    # What is forgiven is 0 more often than chance has it: it says nothing of the law.
    forgiven = [Outcome("x", 0.0, 0.5, 1.0, exact_err=2.0, scale=1.0)] * 40
    assert together([Outcome("x", 0.0, x, 1.0, scale=1.0) for x in z] + forgiven) == p


# A case that is wrong -----------------------------------------------------------------------------


def wrong(factor=1.01):
    """The first case with an exact value that is a little off."""
    first = CASES[0]
    exact = {name: np.asarray(value) * factor for name, value in first.exact().items()}
    return replace(first, name="a wrong one", exact=lambda: exact)


def test_a_wrong_value_fails_and_is_told_with_its_seed():
    (record,) = read_book([wrong()], edition="quick", n_case=70)
    assert not record.passed
    lines = failure_lines(record)
    assert lines
    assert all(f"(seed {record.seed})" in line for line in lines)
    assert "standard errors off" in lines[0]
    assert record.case.fails_if in lines[0]
    verdict = Verdict("quick", 1, (record,), 70, 70)
    assert not verdict.passed
    page = page_html(verdict)
    assert "does not hold on this machine" in page
    assert "<script" not in page
    rows = list(csv.DictReader(io.StringIO(table_csv(verdict))))
    assert "no" in {row["passed"] for row in rows}


def test_a_rough_case_fails():
    (record,) = read_book([replace(CASES[0], precision=1e-6)], edition="quick", n_case=70)
    assert not any(record.is_off(o) for o in record.outcomes)
    assert not record.passed
    assert "more than the 0.00160 % that the case states" in failure_lines(record)[0]


def test_a_case_that_cannot_be_traced_does_not_hold():
    """The others are read all the same; what stopped it is told, on the page too."""
    case = replace(CASES[0], name="one that breaks", exact=lambda: {"something": 1.0})
    records = tuple(read_book([case, CASES[0]], n_case=70))
    assert [r.passed for r in records] == [False, True]
    assert "unlike names" in failure_lines(records[0])[0]
    verdict = Verdict("quick", 1, records, 2, 2)
    assert not verdict.passed
    assert "unlike names" in page_html(verdict)
    assert "1 of 2 cases hold" in verdict_sentences(verdict)[0]


def test_seeds_follow_from_the_book_and_the_case():
    seeds = {Bench(name, seed=seed).next_seed() for name in ("a", "b", "c") for seed in (1, 2, 3)}
    assert len(seeds) == 9
    bench = Bench("a", seed=1)
    assert [bench.next_seed(), bench.next_seed()] != [bench.next_seed()] * 2
    assert bench.seeds[0] == Bench("a", seed=1).next_seed()


# The command --------------------------------------------------------------------------------------


@pytest.fixture
def short_book(monkeypatch):
    """Two cases that hold."""
    monkeypatch.setattr(chapters, "all_cases", lambda: CASES[:2])
    return CASES[:2]


def selftest(*arguments):
    return CliRunner().invoke(app, ["selftest", "--quick", *arguments], catch_exceptions=False)


def test_the_command_writes_page_and_tables(short_book, tmp_path):
    answer = selftest("--out", str(tmp_path))
    assert answer.exit_code == 0, answer.output
    assert "2 of 2 cases hold" in answer.output
    page = (tmp_path / "selftest.html").read_text("utf-8")
    rows = list(csv.DictReader(io.StringIO((tmp_path / "selftest.csv").read_text("utf-8"))))
    table = (tmp_path / "selftest.md").read_text("utf-8")
    for case in short_book:
        assert case.name in table
        assert html.escape(case.fails_if) in page
        assert {row["case"] for row in rows} == {c.name for c in short_book}
    assert {row["passed"] for row in rows} == {"yes"}


def test_an_interrupted_book_goes_on_where_it_stopped(short_book, tmp_path, monkeypatch):
    real = Bench.trace

    def stop(self, *arguments, **options):
        if self.name == short_book[1].name:
            raise KeyboardInterrupt
        return real(self, *arguments, **options)

    (tmp_path / "selftest.html").write_text("of a whole book")
    monkeypatch.setattr(Bench, "trace", stop)
    answer = selftest("--out", str(tmp_path))
    assert answer.exit_code == 130
    assert (tmp_path / "selftest.html").read_text() == "of a whole book"
    assert "It was interrupted" in (tmp_path / "selftest-part.html").read_text("utf-8")
    assert "1 of 1 cases hold" in answer.output
    assert "It was interrupted: 2 cases were to be read." in answer.output.replace("\n", " ")
    monkeypatch.undo()
    monkeypatch.setattr(chapters, "all_cases", lambda: short_book)
    # A line that was being written is traced again.
    done = tmp_path / kept_name("quick", 1)
    with done.open("a", encoding="utf-8") as file:
        file.write('{"case": "half a li')
    answer = selftest("--out", str(tmp_path))
    assert answer.exit_code == 0
    assert answer.output.count("traced before") == 1
    # A book that was finished is read from the start when it is read again.
    assert not done.exists()
    assert "traced before" not in selftest("--out", str(tmp_path)).output


def test_what_was_kept_of_another_program_is_traced_again(short_book, tmp_path):
    done = tmp_path / kept_name("quick", 1)
    entry = {"case": short_book[0].name, "outcomes": [], "seed": 1, "packets": 1, "seconds": 1.0,
             "problem": "none of this"}  # fmt: skip
    done.write_text(f'{{"program": "another"}}\n{json.dumps(entry)}\n', "utf-8")
    answer = selftest("--out", str(tmp_path))
    assert answer.exit_code == 0
    assert "traced before" not in answer.output


def test_a_folder_that_cannot_be_written_to(short_book, tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(canopysim.CanopysimError, match="choose another folder with --out"):
        selftest("--out", str(tmp_path / "file" / "book"))


def test_a_book_that_does_not_hold_ends_with_1(monkeypatch, tmp_path):
    monkeypatch.setattr(chapters, "all_cases", lambda: (wrong(),))
    answer = selftest("--out", str(tmp_path))
    assert answer.exit_code == 1
    assert "FAILS" in answer.output
    assert "a wrong one" in (tmp_path / "selftest.html").read_text("utf-8")


def test_cases_can_be_listed_and_chosen(short_book, tmp_path):
    answer = selftest("--list")
    assert [line.split(": ", 1)[1] for line in answer.output.splitlines()] == [
        case.name for case in short_book
    ]
    part = short_book[0].name
    answer = selftest("--only", part.upper(), "--out", str(tmp_path))
    assert answer.exit_code == 0
    assert (tmp_path / "selftest-part.html").exists()
    assert not (tmp_path / "selftest.html").exists()
    with pytest.raises(canopysim.CanopysimError, match="--only: no case has 'xyz'"):
        selftest("--only", "xyz", "--out", str(tmp_path / "none"))
    assert not (tmp_path / "none").exists()


def test_sentences_name_the_furthest():
    outcomes = [Outcome("small", 1.0, 1.001, 0.001), Outcome("great", 1.0, 1.003, 0.001)]
    record = Record(CASES[0], tuple(outcomes), 70, 1e-3, 1, 100, 1.0)
    text = " ".join(verdict_sentences(Verdict("full", 1, (record,), 1, 1)))
    assert "great, z +3.00" in text
    assert "Too few cases" in text


def test_what_an_expected_value_may_be_off_is_shown():
    """Where it shows beside chance, or in the digits where there is no chance."""
    assert expected(Outcome("", 2.0, 2.0, 0.0, exact_err=0.02)) == "2.000000 ± 0.020"
    assert expected(Outcome("", 2.0, 2.0, 0.0, exact_err=1e-9)) == "2.000000"
    assert expected(Outcome("", 2.0, 2.0, 0.01, 64, exact_err=0.004)) == "2.000 ± 0.0040"
    assert expected(Outcome("", 2.0, 2.0, 0.01, 64, exact_err=0.0005)) == "2.000"
    assert expected(Outcome("", 0.0, 0.0, 0.0, exact_err=1e-10)) == "0"
    assert expected(Outcome("", 0.0, 0.0, 0.0, exact_err=1e-4)) == "0 ± 0.00010"
