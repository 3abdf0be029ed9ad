"""The command line as a user meets it: what runs leave, what is refused, what is said."""

from __future__ import annotations

import json
import os
import re
import resource
import shutil
import signal
import statistics
import subprocess
import sys
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from canopysim import cli
from canopysim.errors import CanopysimError
from canopysim.results import FILE_NAME, Result
from canopysim.scene.load import load_scene, load_scene_text
from canopysim.tallies.stop import MIN_BATCH
from canopysim.tracing import run

SCENES = Path(__file__).parent.parent / "scenes"
SHIPPED = sorted(SCENES.glob("*.yaml"))
BAD = sorted((Path(__file__).parent / "data" / "bad_scenes").glob("*.yaml"))

# One plant, one bar, two planes; traced in half a second.
SMALL = """\
title: A pepper seedling in a small box
enclosure: {width: 40 cm, depth: 40 cm, height: 50 cm, lining: white}
surfaces:
  white: {diffuse: 80 %}
  green: {diffuse: 20 %}
leaves:
  soft: {like: pepper}
plants:
  seedling:
    leaf: soft
    stem: green
    nodes: 4
    internode: 3 cm
    first_leaf_height: 5 cm
    petiole_length: 2 cm
    petiole_angle: 60 deg
    blade_length: 6 cm
    blade_width: 3 cm
canopy:
  layers: 2
  plantings: [{plant: seedling, columns: 1, rows: 1}]
fixtures:
  bar:
    body: {length: 30 cm, width: 4 cm, height: 2 cm, surface: white}
    strips: [{length: 28 cm, width: 1 cm, lens: lambertian}]
    ppf: 50 umol/s
    spectrum: {400-500: 20 %, 500-600: 30 %, 600-700: 50 %}
lights:
  - {fixture: bar, group: overhead, at: [20 cm, 20 cm], height: 45 cm}
planes:
  - {name: canopy-top, above_canopy: 0 cm, cell: 10 cm}
  - {name: floor, height: 1 cm, cell: 10 cm}
tracing: {batch: 2048, max_packets: 80 thousand, seed: 5}
"""
# The same box without its plant and planes.
EMPTY = (
    SMALL[: SMALL.index("leaves:")]
    + SMALL[SMALL.index("fixtures:") : SMALL.index("planes:")]
    + SMALL[SMALL.index("tracing:") :]
)
FILES = {
    "result.nc", "layers.csv", "map-canopy-top.csv", "map-floor.csv", "report.html", "scene.png",
}  # fmt: skip


@dataclass(frozen=True)
class Answer:
    """What a command said, and its exit code."""

    code: int
    out: str
    err: str


@pytest.fixture
def place(tmp_path, monkeypatch):
    """A folder of one's own with the small scene in it; pictures need no graphics driver."""
    (tmp_path / "small.yaml").write_text(SMALL, "utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CANOPYSIM_DRAW", "raster")
    return tmp_path


@pytest.fixture
def command(place, monkeypatch, capsys):
    """Run the program within this process, from a folder with the small scene."""

    def answer(*words: str) -> Answer:
        monkeypatch.setattr(sys, "argv", ["canopysim", *map(str, words)])
        before = signal.getsignal(signal.SIGTERM)
        code = 0
        try:
            cli.main()
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else int(end.code is not None)
        finally:
            signal.signal(signal.SIGTERM, before)
        return Answer(code, *capsys.readouterr())

    return answer


@pytest.fixture
def only_the_books(monkeypatch):
    """Leave out figures and pictures, which take most of a short run."""
    for name in ("run", "resume"):
        monkeypatch.setattr(
            import_module(f"canopysim.commands.{name}"),
            "finish",
            lambda console, scene, world, result, to: result.save(to),
        )


def child(*words: str, code: str | None = None, **options: Any) -> subprocess.Popen[str]:
    """Start the program in a process of its own, where every warning is an error."""
    program = ["-m", "canopysim"] if code is None else ["-c", code]
    environment = {**os.environ, "CANOPYSIM_DRAW": "raster", **options.pop("env", {})}
    return subprocess.Popen(
        [sys.executable, "-W", "error", *program, *words],
        **{"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True, **options},
        env=environment,
    )


def finish(process: subprocess.Popen[str], timeout_s: float = 120.0) -> Answer:
    """Wait for a child's end."""
    try:
        out, err = process.communicate(timeout=timeout_s)
    except subprocess.TimeoutExpired:
        process.kill()
        process.communicate()
        raise
    return Answer(process.returncode, out or "", err or "")


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir()}


@pytest.fixture(scope="module")
def first_run(tmp_path_factory):
    """The scene's folder after `canopysim run small.yaml --threads 2`, and what was said."""
    folder = tmp_path_factory.mktemp("first")
    (folder / "small.yaml").write_text(SMALL, "utf-8")
    return folder, finish(child("run", "small.yaml", "--threads", "2", cwd=folder))


def test_a_run_leaves_its_files_and_says_where(first_run):
    folder, answer = first_run
    assert (answer.code, answer.err) == (0, "")
    made = folder / "results" / "small"
    assert {p.name for p in made.iterdir()} == FILES
    assert "Results in results/small; open next: \n  results/small/report.html" in answer.out
    assert (made / "scene.png").read_bytes().startswith(b"\x89PNG\r\n")
    assert "A pepper seedling in a small box" in (made / "report.html").read_text("utf-8")
    assert "Partial" not in answer.out
    result = Result.load(made)
    assert (result.n_packet, result.stopped_by, result.threads) == (79_872, "packet budget", 2)


def test_output_into_a_file_is_plain_text(first_run):
    _, answer = first_run
    assert "\x1b" not in answer.out
    assert "\r" not in answer.out
    assert "tracing" not in answer.out
    assert answer.out.count("(picture drawn with the built-in rasteriser; ") == 1


def test_the_next_run_takes_the_next_name_and_other_threads_change_nothing(
    first_run, command, monkeypatch
):
    folder, _ = first_run
    before = contents(folder / "results" / "small")
    monkeypatch.chdir(folder)
    answer = command("run", "small.yaml", "--threads", "1")
    assert (answer.code, answer.err) == (0, "")
    assert "results/small-2/report.html" in answer.out
    assert contents(folder / "results" / "small") == before
    one, two = Result.load("results/small-2"), Result.load("results/small")
    assert (one.threads, two.threads) == (1, 2)
    assert one.rows.identical(two.rows)
    assert one.layers is not None
    assert one.layers.identical(two.layers)
    # Tables and picture hold no time or number of threads: the very same files.
    after = contents(folder / "results" / "small-2")
    for name in FILES - {"result.nc", "report.html"}:
        assert after[name] == before[name]


def test_an_existing_result_is_kept_unless_it_is_to_be_replaced(first_run, command, place):
    shutil.copytree(first_run[0] / "results" / "small", place / "kept")
    before = contents(place / "kept")
    assert set(before) == FILES

    refused = command("run", "small.yaml", "--out", "kept", "--seed", "9")
    assert refused.code == 2
    assert refused.err == "kept: holds results already; choose another --out, or add --replace\n"
    assert contents(place / "kept") == before

    # A scene with less to tell leaves none of the old tables, and nothing of the user's is touched.
    (place / "kept" / "notes.txt").write_text("mine", "utf-8")
    (place / "empty.yaml").write_text(EMPTY, "utf-8")
    replaced = command("run", "empty.yaml", "--out", "kept", "--replace", "--seed", "9")
    assert (replaced.code, replaced.err) == (0, "")
    left = contents(place / "kept")
    assert set(left) == {"result.nc", "report.html", "scene.png", "notes.txt"}
    assert left["report.html"] != before["report.html"]
    again = Result.load(place / "kept")
    assert (again.seed, again.layers, again.planes) == (9, None, {})


@pytest.mark.usefixtures("only_the_books")
def test_an_existing_folder_without_a_result_is_used(command, place):
    (place / "mine").mkdir()
    (place / "mine" / "notes.txt").write_text("mine", "utf-8")
    assert command("run", "small.yaml", "--out", "mine", "--max-packets", "4096").code == 0
    assert {p.name for p in (place / "mine").iterdir()} == {FILE_NAME, "notes.txt"}


@pytest.mark.parametrize(
    ("options", "stopped_by", "settings"),
    [
        ((), "packet budget", {"target": {}, "max_packets": 80_000, "max_time_s": None}),
        (("--max-packets", "9 thousand"), "packet budget", {"max_packets": 9000}),
        (("--max-packets", "1"), "packet budget", {"max_packets": 1}),
        (("--max-packets", "1e9", "--max-time", "0.5 s"), "time budget", {"max_time_s": 0.5}),
        (("--target", "20 %"), "target", {"target": {"layers": 0.2}, "max_packets": 80_000}),
        (
            ("--target", "planes: 5 %", "--target", "layers:30%"),
            "target",
            {"target": {"planes": 0.05, "layers": 0.3}},
        ),
    ],
)
@pytest.mark.usefixtures("only_the_books")
def test_options_stand_before_the_scenes_own_settings(command, options, stopped_by, settings):
    answer = command("run", "small.yaml", "--out", "o", *options)
    assert (answer.code, answer.err) == (0, "")
    result = Result.load("o")
    assert result.stopped_by == stopped_by
    assert settings.items() <= result.settings.items()
    # Whole batches within the budget, but at least one.
    assert result.n_packet == result.n_batch * 2048
    assert result.n_packet <= max(result.settings["max_packets"], 2048)
    if stopped_by == "target":
        assert result.n_batch >= MIN_BATCH
    if stopped_by == "time budget":
        assert result.seconds >= 0.5


@pytest.mark.usefixtures("only_the_books")
def test_the_seed_is_the_scenes_unless_one_is_given(command):
    results = []
    for words in ((), ("--seed", "5"), ("--seed", "4294967295")):
        assert command("run", "small.yaml", "--max-packets", "4096", *words).code == 0
        results.append(Result.load(f"results/small{'' if not results else f'-{len(results) + 1}'}"))
    assert [r.seed for r in results] == [5, 5, 4294967295]
    assert results[0].rows.identical(results[1].rows)
    assert not results[0].rows["absorbed"].equals(results[2].rows["absorbed"])


@pytest.mark.parametrize(
    ("option", "value", "allowed"),
    [
        ("--seed", "-1", "write digits only, as in '8'"),
        ("--seed", "7.5", "write digits only, as in '8'"),
        ("--seed", "4294967296", "allowed is 0 to 4294967295"),
        ("--threads", "0", "allowed is 1 to 1024"),
        ("--threads", "many", "write digits only, as in '8'"),
        ("--threads", "1025", "allowed is 1 to 1024"),
        ("--max-packets", "0", "allowed is 1 to 1e13 packets"),
        ("--max-packets", "lots", "write for example '2e8' or '200 million'"),
        ("--max-packets", "1e300", "write for example '2e8' or '200 million'"),
        ("--max-time", "5", "write for example '5 s'"),
        ("--max-time", "0 s", "allowed is more than 0 s"),
        ("--max-time", "-5 s", "a time is at least 0 s"),
        ("--max-time", "nan s", "write for example '5 min'"),
        ("--max-time", "5 weeks", "allowed: s, min, h"),
        ("--target", "2", "write shares in per cent, as in '12 %'"),
        ("--target", "0 %", "allowed is more than 0 %"),
        ("--target", "planes: 200 %", "allowed is 0 % to 100 %"),
        ("--target", "planes:", "write for example '12 %'"),
        ("--target", "walls: 1 %", "allowed are layers and planes"),
    ],
)
def test_a_bad_option_is_one_line_and_leaves_nothing(command, place, option, value, allowed):
    for out in ((), ("--out", "a/b/c")):
        answer = command("run", "small.yaml", *out, option, value)
        assert (answer.code, answer.out) == (2, "")
        assert answer.err.count("\n") == 1
        assert answer.err.startswith(f"{option}: ")
        assert value.removeprefix("planes:").removesuffix(": 1 %").strip() in answer.err
        assert allowed in answer.err
        assert [p.name for p in place.iterdir()] == ["small.yaml"]


def test_a_target_on_nothing_is_refused(command, place):
    """It could never be met: such a run would end only with its budget."""
    (place / "empty.yaml").write_text(EMPTY, "utf-8")
    for value, line in (
        ("layers: 1 %", "--target: 'layers: 1 %': the scene has no layers\n"),
        ("1 %", "--target: '1 %': the scene has no planes\n"),
    ):
        answer = command("run", "empty.yaml", "--target", value)
        assert (answer.code, answer.err) == (2, line)
    scene = load_scene_text(EMPTY)
    with pytest.raises(CanopysimError, match="no canopy"):
        run(scene, target={"layers": 0.01})
    with pytest.raises(CanopysimError, match="no planes"):
        run(scene, target=0.01)


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"max_time": 0.0}, "more than 0 s"),
        ({"max_time": float("nan")}, "more than 0 s"),
        ({"max_packets": float("nan")}, "1 to 1e"),
        ({"max_packets": float("inf")}, "1 to 1e"),
        ({"max_packets": 0.5}, "1 to 1e"),
        ({"target": float("nan")}, "up to 100 %"),
        ({"target": {"walls": 0.1}}, "layers and planes"),
        ({"seed": -1}, "0 to 4294967295"),
        ({"threads": 0}, "1 or more"),
    ],
)
def test_settings_from_python_are_held_to_the_same_limits(settings, words):
    with pytest.raises(CanopysimError, match=re.escape(words)):
        run(load_scene_text(SMALL), **settings)


@pytest.mark.parametrize("out", ["small.yaml", "small.yaml/in/a/file", "x" * 300, "/dev/null/x"])
def test_a_folder_that_cannot_be_made_is_told_before_tracing(command, place, out):
    answer = command("run", "small.yaml", "--out", out)
    assert (answer.code, answer.out) == (2, "")
    assert answer.err.startswith(f"{out}: cannot be written to (")
    assert answer.err.endswith("; choose another folder with --out\n")
    assert [p.name for p in place.iterdir()] == ["small.yaml"]


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: p.stem)
def test_check_reads_every_shipped_scene_back(command, path):
    answer = command("check", str(path))
    assert (answer.code, answer.err) == (0, "")
    scene = load_scene(path)
    assert answer.out.startswith(scene.title)
    assert f"{path.name}: no problem found." in answer.out
    for light in (*scene.lights, *scene.daylight):
        assert light.group in answer.out
    for plane in scene.planes:
        assert plane.name in answer.out
    listed = answer.out.split("Defaults used")[1]
    # All shipped scenes leave the size of a batch to the program.
    assert "  tracing.batch: 65536\n" in listed
    # A terminal's lines are short; the sentence is looked for in one piece.
    whole = " ".join(answer.out.split())
    found = re.search(r"on ([0-9.]+) m² of ground: LAI ([0-9.]+); top at ([0-9.]+) cm", whole)
    assert (found is not None) == (scene.canopy is not None)
    if found is not None and scene.canopy is not None:
        stated = scene.canopy.leaf_area_index
        assert float(found[2]) > 0
        if stated is not None:
            assert float(found[2]) == pytest.approx(stated, rel=1e-3)


def test_shipped_scenes_are_there():
    assert len(SHIPPED) >= 7
    assert len(BAD) >= 30


@pytest.mark.parametrize("path", BAD, ids=lambda p: p.stem)
def test_every_bad_scene_is_refused_line_by_line(command, path):
    answer = command("check", str(path))
    assert (answer.code, answer.out) == (2, "")
    lines = answer.err.splitlines()
    assert lines
    for line in lines:
        assert re.match(rf"{re.escape(str(path))}:[1-9]\d*:[1-9]\d*  \S", line), line


def test_a_bad_scene_in_a_process_of_its_own_shows_no_traceback(place):
    (place / "bad.yaml").write_text(SMALL.replace("height: 45 cm", "height: 45"), "utf-8")
    answer = finish(child("run", "bad.yaml", cwd=place))
    assert (answer.code, answer.out) == (2, "")
    assert answer.err == (
        "bad.yaml:29:57  lights[1].height: '45' has no unit; write for example '45 cm'\n"
    )
    assert not (place / "results").exists()


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("nothing.yaml", "there is no such file"),
        ("folder", "is a folder"),
        ("small.yaml/deeper.yaml", "cannot be read (Not a directory)"),
        ("loop.yaml", "cannot be read ("),
        ("pipe.yaml", "is not a regular file"),
        ("latin.yaml", "the byte 0xe9 is not UTF-8 text"),
        ("picture.yaml", "is not UTF-8 text"),
    ],
)
def test_what_is_no_scene_file_is_told_in_a_line(command, place, name, words):
    (place / "folder").mkdir()
    (place / "loop.yaml").symlink_to("loop.yaml")
    os.mkfifo(place / "pipe.yaml")
    (place / "latin.yaml").write_bytes("title: été\n".encode("latin-1"))
    (place / "picture.yaml").write_bytes(b"\x89PNG\r\n\x1a\n\x00\x00\xff")
    for word in ("check", "run"):
        answer = command(word, name)
        assert (answer.code, answer.out) == (2, "")
        assert answer.err.count("\n") == 1
        assert re.match(rf"{re.escape(name)}(:\d+:\d+)?  ", answer.err)
        assert words in answer.err
    assert not (place / "results").exists()


def test_files_outside_the_scenes_folder_need_permission(command, place):
    (place / "bar.yaml").write_text(
        "strips: [{length: 28 cm, width: 1 cm, lens: lambertian}]\n"
        "ppf: 50 umol/s\nspectrum: {400-700: 100 %}\n",
        "utf-8",
    )
    (place / "inner").mkdir()
    start, end = SMALL.index("    body:"), SMALL.index("lights:")
    text = SMALL[:start] + "    file: ../bar.yaml\n" + SMALL[end:]
    (place / "inner" / "small.yaml").write_text(text, "utf-8")
    refused = command("check", "inner/small.yaml")
    assert refused.code == 2
    assert "leads out of the scene's folder" in refused.err
    assert command("check", "inner/small.yaml", "--allow-outside").code == 0


def test_schema_is_json_schema_of_the_scene(command):
    answer = command("schema")
    assert (answer.code, answer.err) == (0, "")
    schema = json.loads(answer.out)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["type"] == "object"
    assert schema["additionalProperties"] is False
    assert {"title", "enclosure", "surfaces"} == set(schema["required"])
    # Every entry is explained, and every reference within the schema leads somewhere.
    for model in (schema, *schema["$defs"].values()):
        for name, entry in model.get("properties", {}).items():
            assert entry.get("description"), name
    references = re.findall(r'"\$ref": "([^"]+)"', answer.out)
    assert len(references) > 20
    for reference in references:
        start, _, name = reference.rpartition("/")
        assert start == "#/$defs"
        assert name in schema["$defs"]


@pytest.mark.parametrize(
    ("word", "wanted"), [("--version", r"^canopysim \d+\.\d+"), ("--help", r"\bschema\b")]
)
def test_first_words_come_quickly(word, wanted):
    """Time on a core, so that other work on the machine does not count."""
    spent = []
    for _ in range(3):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        answer = finish(child(word))
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        spent.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
        assert (answer.code, answer.err) == (0, "")
        assert re.search(
            r"canopysim \d+\.\d+" if word == "--version" else r"\bschema\b", answer.out
        )
    assert statistics.median(spent) < 2.0


def test_importing_the_package_loads_nothing_heavy():
    heavy = ["numba", "xarray", "matplotlib", "pyvista", "h5netcdf", "trimesh", "scipy", "pandas"]
    code = f"import sys, canopysim, canopysim.cli; print([m for m in {heavy} if m in sys.modules])"
    answer = finish(child(code=code))
    assert (answer.code, answer.out, answer.err) == (0, "[]\n", "")


@pytest.mark.parametrize("words", [("sow",), ("run",), ("run", "small.yaml", "--deeper")])
def test_a_command_that_is_not_there_is_refused(command, place, words):
    answer = command(*words)
    assert answer.code == 2
    assert "Usage: " in answer.err
    assert [p.name for p in place.iterdir()] == ["small.yaml"]


def without_reader(*words: str, cwd: Path, code: str | None = None) -> Answer:
    """Run a command whose standard output nobody reads any more."""
    read_end, write_end = os.pipe()
    os.close(read_end)
    try:
        process = child(*words, code=code, cwd=cwd, stdout=write_end)
    finally:
        os.close(write_end)
    return finish(process)


@pytest.mark.parametrize("words", [("schema",), ("check", "small.yaml")])
def test_a_reader_that_leaves_gets_no_traceback(place, words):
    answer = without_reader(*words, cwd=place)
    assert answer.err == ""
    assert answer.code in (0, 1)


def test_head_gets_its_line(place):
    line = f"{sys.executable} -m canopysim schema | head -n 1"
    done = subprocess.run(["sh", "-c", line], cwd=place, capture_output=True, text=True, check=True)
    assert (done.stdout, done.stderr) == ("{\n", "")


# Speaks after every batch instead of every ten seconds.
TALKATIVE = (
    "from canopysim.report import progress; progress.LINE_EVERY_S = 0.0; "
    "from canopysim.cli import main; main()"
)


def test_a_run_goes_on_when_its_reader_leaves(place):
    """As in `canopysim run tent.yaml | head`: what was traced is kept."""
    answer = without_reader("run", "small.yaml", cwd=place, code=TALKATIVE)
    assert (answer.code, answer.err) == (0, "")
    assert {p.name for p in (place / "results" / "small").iterdir()} == FILES
    assert not Result.load(place / "results" / "small" / FILE_NAME).partial


def test_a_seed_from_numpy_is_a_seed(tmp_path):
    """As in `for seed in np.arange(10)`: the result can be saved, and says which it was."""
    seed, threads = np.array([7, 1])
    result = run(load_scene_text(EMPTY), seed=seed, threads=threads, max_packets=1)
    result.save(tmp_path)
    again = Result.load(tmp_path)
    assert (again.seed, again.threads, again.meta) == (7, 1, result.meta)
