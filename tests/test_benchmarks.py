"""The benchmarks' judge of unlike hits, their statistics, their table and their command line."""

import sys
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

# They lie beside the package and are not installed with it.
sys.path.append(str(Path(__file__).parent.parent))
unlike, passing, measure, table, program = (
    import_module(f"benchmarks.{name}")
    for name in ("unlike", "passing", "measure", "table", "__main__")
)

# Two triangles that share the edge from (0, 0) to (0, 1) at z = 1, and a large one behind at z = 2.
SHEETS = np.array(
    [
        [[0, 0, 1], [1, 0, 1], [0, 1, 1]],
        [[0, 0, 1], [0, 1, 1], [-1, 0, 1]],
        [[-9, -9, 2], [9, -9, 2], [0, 9, 2]],
    ],
    np.float32,
)
RIGHT, LEFT, BEHIND, NONE = 0, 1, 2, -1
UP = np.array([0.0, 0.0, 1.0])


def judge(x, y, ours, theirs, z=0.0, d=UP, sheets=SHEETS):
    return unlike.Judge(sheets).judge(np.array([x, y, z]), d, ours, theirs)


# One step of rounding at the largest coordinate, which is 9 m.
STEP = 9 * 2.0**-23


def test_a_shared_edge_is_a_tie():
    assert judge(0.0, 0.3, RIGHT, LEFT) == ("tie", 0.0, [RIGHT, LEFT])
    # Beside the edge only one of the two is right, but rounding may choose the other.
    kind, _, first = judge(STEP / 4, 0.3, RIGHT, LEFT)
    assert (kind, first) == ("tie", [RIGHT])


@pytest.mark.parametrize("beyond", [-0.5, 0.0, 0.5])
def test_an_outer_edge_may_be_met_or_not(beyond):
    x, y = 0.3, -beyond * STEP
    kind, edge_m, first = judge(x, y, RIGHT, BEHIND)
    assert kind == "edge"
    assert edge_m == pytest.approx(abs(y), abs=1e-15)
    assert first == ([BEHIND] if beyond > 0 else [RIGHT])
    assert judge(x, y, BEHIND, RIGHT)[0] == "edge"


def test_what_slips_between_neighbours_is_a_leak():
    """Explained where Embree lets it through, not where canopysim does."""
    for x in (-STEP / 3, 0.0, STEP / 3):
        for side in (LEFT, RIGHT):
            assert judge(x, 0.3, side, BEHIND)[0] == "leak"
            assert judge(x, 0.3, BEHIND, side)[0] == "unexplained"
    # At a corner where the outline begins, and at a fold whose two sides lie on one side of it.
    assert {judge(0.0, 0.0, BEHIND, side)[0] for side in (LEFT, RIGHT)} == {"edge"}
    folded = SHEETS.copy()
    folded[LEFT, 2] = [0.5, 0, 1.5]
    assert judge(-STEP / 3, 0.3, RIGHT, BEHIND, sheets=folded)[0] == "edge"


@pytest.mark.parametrize(
    ("x", "y", "ours", "theirs"),
    [
        (0.3, 0.3, RIGHT, BEHIND),  # one overlooks what is met in its middle
        (0.3, 0.3, BEHIND, NONE),  # both do
        (0.3, 3 * STEP, RIGHT, BEHIND),  # the edge is farther away than rounding reaches
        (0.3, -3 * STEP, RIGHT, BEHIND),
        (0.3, 0.3, RIGHT, LEFT),  # one reports what is not on the ray's way
        (0.3, 0.3, RIGHT, NONE),
        (0.3, -0.3, BEHIND, NONE),
    ],
)
def test_a_wrong_answer_is_unexplained(x, y, ours, theirs):
    assert judge(x, y, ours, theirs)[0] == "unexplained"
    assert judge(x, y, theirs, ours)[0] == "unexplained"


def test_what_lies_behind_the_ray_is_unexplained():
    assert judge(0.3, 0.3, RIGHT, BEHIND, z=1.5)[0] == "unexplained"


def test_a_triangle_at_the_origin_may_be_met_or_not():
    for z in (1 - STEP / 2, 1 + STEP / 2):
        assert judge(0.3, 0.3, RIGHT, BEHIND, z=z)[0] == "start"
    assert judge(0.3, 0.3, RIGHT, BEHIND, z=1 - 2 * STEP)[0] == "unexplained"


def test_distances_of_grazing_rays_are_blurred():
    """Two sheets a hundred steps apart along a ray that grazes both at half a degree."""
    d = np.array([np.cos(0.01), 0, np.sin(0.01)])
    sheets = np.stack([SHEETS[2], SHEETS[2] + np.float32([0, 0, STEP])])
    kind, _, first = judge(-5.0, 0.0, 1, 0, z=1.95, d=d, sheets=sheets)
    assert (kind, first) == ("tie", [0])
    assert judge(0.0, 0.0, 1, 0, z=1.0, sheets=sheets)[0] == "tie"
    apart = np.stack([SHEETS[2], SHEETS[2] + np.float32([0, 0, 8 * STEP])])
    assert judge(0.0, 0.0, 1, 0, z=1.0, sheets=apart)[0] == "unexplained"


def test_exact_arithmetic_sees_what_double_precision_does_not():
    """An edge through (0, 0) and (1, 2^60): a ray at x = 2^-60, y = 1 lies on it, to the bit."""
    corners = np.array([[[0, 0, 1], [1, 2.0**60, 1], [-1, 0, 1]]])
    for x, met in ((2.0**-60, [0]), (2.0**-60 * (1 + 2.0**-52), [])):
        assert passing.first_exactly(np.array([x, 1.0, 0.0]), UP, corners) == met


def test_verdicts_count_every_unlike_ray():
    x, y = np.array([0.3, 0.0, 0.3, 0.3]), np.array([0.3, 0.3, 0.0, 0.3])
    origins = np.stack([x, y, 0 * x], 1).astype(np.float32)
    directions = np.broadcast_to(UP.astype(np.float32), origins.shape)
    ours, theirs = np.array([RIGHT, LEFT, BEHIND, BEHIND]), np.array([RIGHT] * 4)
    found = unlike.Judge(SHEETS).verdicts(origins, directions, ours, theirs)
    assert found.kinds == {"tie": 1, "edge": 1, "unexplained": 1}
    assert found.right == {"ours": 1, "theirs": 3}
    assert found.text(4).startswith("3 unlike of 4 (7.5e-01): 1 tie, 1 edge")


def test_rounds_are_interleaved_and_the_first_does_not_count():
    seen = []
    jobs = {name: (lambda number, name=name: seen.append((number, name))) for name in "abc"}
    ticks = iter(range(1000))
    times = measure.interleave(jobs, 20, clock=lambda: next(ticks))
    rounds = [seen[3 * k : 3 * k + 3] for k in range(21)]
    for number, done in enumerate(rounds):
        assert sorted(done) == [(number, name) for name in "abc"]
    assert len({tuple(name for _, name in done) for done in rounds}) > 1
    assert all(times[name].cpu == [1] * 20 and len(times[name].wall) == 20 for name in "abc")


def test_ratios_are_paired():
    """Rounds that differ a hundredfold tell a ratio of two exactly if they are paired."""
    below = np.geomspace(1, 100, 15)
    assert measure.ratio_text(2 * below, below) == "2.000  [2.000, 2.000]"


def test_bootstrap_bounds_hold_the_true_median_as_often_as_they_say(p_fail):
    rng = np.random.default_rng(3)
    n_run, inside = 400, 0
    for _ in range(n_run):
        text = measure.ratio_text(rng.lognormal(0, 0.3, 15), np.ones(15))
        low, high = (float(x) for x in text.partition("[")[2].rstrip("]").split(","))
        inside += low <= 1.0 <= high
    # The order statistics of 15 values that bound their median with 95 % hold it in 96.5 %
    # (binomial, 4th to 12th); of a bootstrap one more or less may be taken: 88.2 to 99.3 %.
    error = np.sqrt(0.882 * 0.118 / n_run)
    reach = norm.isf(p_fail / 2)
    assert 0.882 - reach * error < inside / n_run < 0.993 + reach * error


def test_the_table_is_written_as_printed_between_its_marks(tmp_path):
    page = tmp_path / "page.md"
    page.write_text(f"before\n{table.BEGIN}\nold\n{table.END}\nafter µ\n", "utf-8")
    for printed in ("one µm\n", "a\n\\1 b\n"):
        table.write_table(page, printed)
        assert page.read_text("utf-8") == (
            f"before\n{table.BEGIN}\n```\n{printed}```\n{table.END}\nafter µ\n"
        )


@pytest.mark.parametrize("text", ["", table.BEGIN, f"{table.END} {table.BEGIN}", table.BEGIN * 2])
def test_a_page_without_marks_is_left_alone(tmp_path, text):
    page = tmp_path / "page.md"
    page.write_text(text, "utf-8")
    with pytest.raises(ValueError, match="needs the marks"):
        table.write_table(page, "new")
    assert page.read_text("utf-8") == text


def test_the_benchmarks_page_has_the_marks(tmp_path):
    copy = tmp_path / "README.md"
    copy.write_bytes(program.README.read_bytes())
    table.write_table(copy, "new\n")
    assert "```\nnew\n```" in copy.read_text("utf-8")


def test_every_part_has_its_program_and_its_line_on_the_page():
    page = program.README.read_text("utf-8")
    for part, (module, _) in program.PARTS.items():
        assert callable(import_module(f"benchmarks.{module}").main)
        assert f"| `{part}` |" in page


def test_parts_run_in_their_own_order():
    asked = program.arguments(["--only", "band-number", "demo", "--rounds", "3"])
    assert (asked.parts, asked.rounds, asked.write) == (["demo", "band-number"], 3, False)


@pytest.mark.parametrize(
    "wrong", [["--only", "nothing"], ["--only", "demo", "--rounds", "1"], ["--only"]]
)
def test_wrong_commands_are_refused(wrong, capsys):
    with pytest.raises(SystemExit) as refused:
        program.arguments(wrong)
    assert refused.value.code == 2
    assert "error" in capsys.readouterr().err


def test_parts_that_need_embree_say_so(monkeypatch, capsys):
    monkeypatch.setattr(program.importlib.util, "find_spec", lambda name: None)
    assert program.arguments(["--only", "demo", "memory"]).parts == ["demo", "memory"]
    with pytest.raises(SystemExit) as refused:
        program.arguments(["--only", "demo", "hits"])
    assert refused.value.code == 2
    assert "hits need embreex" in capsys.readouterr().err


def test_unexplained_hits_end_with_exit_code_one(monkeypatch, capsys):
    from benchmarks import demo

    for unexplained, code in ((None, 0), (0, 0), (2, 1)):
        monkeypatch.setattr(demo, "main", lambda rounds, n=unexplained: n)
        monkeypatch.setattr(sys, "argv", ["benchmarks", "--only", "demo"])
        assert program.main() == code
    assert "2 UNEXPLAINED" in capsys.readouterr().out
