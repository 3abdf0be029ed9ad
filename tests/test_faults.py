"""When things go wrong: interrupted, killed, torn, nowhere to write, nothing to draw with."""

from __future__ import annotations

import errno
import json
import os
import random
import re
import signal
import stat
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from fake_result import fake_result
from test_command_line import FILES, SMALL, TALKATIVE, child, command, finish, place

from canopysim.errors import CanopysimError, ResultError
from canopysim.matter.parts import Part
from canopysim.report import gl_probe
from canopysim.results import FILE_NAME, Result
from canopysim.scene.load import load_scene_text
from canopysim.sealed import remove_leftovers
from canopysim.transport import cache
from canopysim.world.compile import compile_world

__all__ = ["command", "place"]  # fixtures


def changed(before: str, after: str) -> str:
    """The small scene with one place written differently."""
    assert SMALL.count(before) == 1
    return SMALL.replace(before, after)


# --- Scenes that are well-formed and cannot be built. ---


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        (
            changed("at: [20 cm, 20 cm], height: 45 cm", "at: [10 cm, 20 cm], height: 45 cm"),
            [
                "29:5  lights[1]: reaches 5 cm beyond the left; move it, turn it or choose a "
                "smaller fixture",
            ],
        ),
        (
            changed("height: 45 cm}", "above_canopy: 34 cm}"),
            [
                "29:5  lights[1]: reaches 9.558 mm beyond the ceiling; move it, turn it or choose "
                "a smaller fixture"
            ],
        ),
        (
            changed(
                "planes:\n",
                "  - {fixture: bar, at: [20 cm, 20 cm], height: 46 cm}\nplanes:\n",
            ),
            [
                "30:5  lights[2]: a strip lies inside a fixture's body; give it a drop of a few "
                "mm below the body, or a wider gap in the row"
            ],
        ),
        (
            changed("above_canopy: 0 cm", "above_canopy: 40 cm"),
            ["31:5  planes[1]: lies at 54.76 cm above the floor; allowed is 0 cm to 50 cm"],
        ),
        (
            changed("above_canopy: 0 cm", "above_canopy: -20 cm"),
            ["31:5  planes[1]: lies at -5.244 cm above the floor; allowed is 0 cm to 50 cm"],
        ),
        (
            changed("    nodes: 4\n", "    nodes: 4\n    size_by_node: [0 %, 0 %]\n"),
            ["13:5  plants.seedling.size_by_node: is 0 % everywhere; the largest is 100 %"],
        ),
        (
            changed("    nodes: 4\n", "    nodes: 4\n    outline: [0 %, 0 %, 0 %]\n"),
            ["13:5  plants.seedling.outline: is 0 % everywhere; the widest part is 100 %"],
        ),
        (
            changed("blade_length: 6 cm", "blade_length: 30 cm"),
            [
                "21:15  canopy.plantings[1]: seedling-01 at 20 cm, 20 cm: leaf 2 (and 1 more "
                "of its leaves) hangs down to"
            ],
        ),
        (
            changed("    nodes: 4\n", "    nodes: 16\n"),
            [
                "21:15  canopy.plantings[1]: seedling-01 at 20 cm, 20 cm: its stem reaches "
                "50.4 cm above the floor and the ceiling is at 50 cm; lower base, nodes or "
                "internode"
            ],
        ),
        (
            changed("height: 1 cm, cell: 10 cm", "height: 1 cm, cell: 0.3 mm"),
            ["32:33  planes[2].cell: 0.3 mm makes 1776889 cells; at most 1000000, write more"],
        ),
    ],
    ids=[
        "beyond the wall", "beyond the ceiling", "strip in a body", "plane above the ceiling",
        "plane below the floor", "leaves of no size", "leaves of no width", "leaves too long",
        "stem too tall", "too many cells",
    ],
)  # fmt: skip
def test_what_cannot_be_built_is_told_by_line(command, place, text, lines):
    (place / "odd.yaml").write_text(text, "utf-8")
    for word in ("check", "run"):
        answer = command(word, "odd.yaml")
        assert (answer.code, answer.out) == (2, "")
        told = answer.err.splitlines()
        assert len(told) == len(lines)
        for line, expected in zip(told, lines, strict=True):
            assert line.startswith(f"odd.yaml:{expected}")
    # `run` makes its folder first and takes it away again.
    assert not (place / "results").exists()


def test_a_bare_stem_and_one_small_leaf_are_a_canopy(command, place):
    (place / "tiny.yaml").write_text(changed("    nodes: 4\n", "    nodes: 1\n"), "utf-8")
    answer = command("check", "tiny.yaml")
    assert (answer.code, answer.err) == (0, "")
    assert "cumulative LAI" in answer.out


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_a_mesh_with_a_number_that_is_none_is_named(bad):
    leaf = np.array([[0.1, 0.1, 0.1], [0.2, 0.1, 0.1], [0.2, 0.2, 0.2]])
    stem = np.array([[0.3, 0.1, 0.1], [bad, 0.1, 0.1], [0.3, 0.2, 0.2]])
    faces = np.array([[0, 1, 2]], np.int32)
    scene = load_scene_text(SMALL)
    sound = Part("maize-01", "leaf", leaf, faces, "soft", False)
    with pytest.raises(CanopysimError, match="maize-01-stem"):
        compile_world(
            scene, plants=[sound, Part("maize-01-stem", "stem", stem, faces, "green", False)]
        )


def test_plants_for_a_scene_without_canopy_are_refused():
    start, end = SMALL.index("canopy:"), SMALL.index("fixtures:")
    scene = load_scene_text((SMALL[:start] + SMALL[end:]).replace("above_canopy: 0", "height: 9"))
    with pytest.raises(CanopysimError, match="no canopy"):
        compile_world(scene, plants=[])


def test_maps_that_would_not_fit_into_memory_are_refused(command, place):
    text = changed("height: 1 cm, cell: 10 cm", "height: 1 cm, cell: 0.4 mm").replace(
        "cell: 10 cm}", "cell: 0.4 mm}"
    )
    (place / "fine.yaml").write_text(text, "utf-8")
    answer = command("run", "fine.yaml", "--out", "fine", "--threads", "1")
    assert answer.code == 2
    assert re.fullmatch(
        r"planes: 2000000 cells for 1 light channels and 5 bands would need \d\.\d GiB of memory; "
        r"allowed are "
        r"4 GiB: choose larger cells, fewer planes or fewer threads\n",
        answer.err,
    )
    assert not (place / "fine").exists()


# --- Interrupted. ---


def read_until(process: subprocess.Popen[str], pattern: str) -> None:
    """Read a child's lines until one matches."""
    assert process.stdout is not None
    for line in process.stdout:
        if re.search(pattern, line):
            return
    raise AssertionError(f"no {pattern!r}: {finish(process)}")


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_an_interrupted_run_keeps_what_it_traced(place, number):
    (place / "long.yaml").write_text(changed("max_packets: 80 thousand", "max_time: 2 h"), "utf-8")
    process = child("run", "long.yaml", cwd=place, code=TALKATIVE)
    read_until(process, r"^[\d\N{NO-BREAK SPACE}]+ packets, \d+ thousand/s")
    process.send_signal(number)
    answer = finish(process)
    assert (answer.code, answer.err) == (130, "")
    assert "Partial run: it ended early because it was interrupted." in answer.out
    folder = place / "results" / "long"
    assert {p.name for p in folder.iterdir()} == FILES
    assert "Partial run." in (folder / "report.html").read_text("utf-8")
    result = Result.load(folder)
    assert (result.stopped_by, result.partial) == ("interrupted", True)
    assert result.n_batch >= 1
    assert result.n_packet == 2048 * result.n_batch == int(result.rows["counters"][0])


# Says when tracing begins. A batch of 16 million packets takes minutes: none is ever complete.
TELLS_WHEN_TRACING = (
    "from canopysim.tallies import driver; warm = driver.BatchTracer.warm_up; "
    "driver.BatchTracer.warm_up = lambda self: (warm(self), print('tracing now', flush=True)); "
    "from canopysim.cli import main; main()"
)


@pytest.mark.parametrize(
    ("number", "out"), [(signal.SIGINT, ()), (signal.SIGTERM, ("--out", "a/b"))]
)
def test_interrupted_before_the_first_batch_nothing_is_left(place, number, out):
    (place / "long.yaml").write_text(changed("batch: 2048", "batch: 16777216"), "utf-8")
    process = child("run", "long.yaml", *out, cwd=place, code=TELLS_WHEN_TRACING)
    read_until(process, "^tracing now")
    time.sleep(0.3)
    process.send_signal(number)
    answer = finish(process)
    assert (answer.code, answer.out) == (130, "")
    assert answer.err == "Interrupted before a result was at hand: nothing was written.\n"
    assert {p.name for p in place.iterdir()} == {"long.yaml", "small.yaml"}


def test_interrupted_while_writing_it_says_what_may_be_missing(command, place, monkeypatch):
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("canopysim.report.tables.write_tables", interrupted)
    answer = command("run", "small.yaml", "--max-packets", "1")
    assert answer.code == 130
    assert answer.err == (
        "Interrupted while the files were being written: results/small may lack some.\n"
    )
    assert not Result.load("results/small").partial


# --- Killed, torn, no room. ---

# Forks a writer again and again, kills it some time after its first file, and reads what is there.
# What takes the time of a save but touches no file is done beforehand.
KILLED_WHILE_WRITING = """
import json, os, signal, sys, time
from pathlib import Path
sys.path.insert(0, sys.argv[1])
import xarray as xr
from fake_result import fake_result
from canopysim.results import Result
folder, delays = Path(sys.argv[2]), json.loads(sys.argv[3])
results = [fake_result(title=title, planes=()) for title in ("one", "two")]
made, to_netcdf = {}, xr.DataTree.to_netcdf
def once(tree, **options):
    meta = tree.attrs["meta"]
    return made[meta] if meta in made else made.setdefault(meta, to_netcdf(tree, **options))
xr.DataTree.to_netcdf = once
for result in results:
    result.save(folder)
for delay in delays:
    heard, tell = os.pipe()
    writer = os.fork()
    if writer == 0:
        number = 0
        while True:
            results[number % 2].save(folder)
            number += 1
            os.write(tell, b".")
    os.read(heard, 1)
    time.sleep(delay)
    os.kill(writer, signal.SIGKILL)
    os.waitpid(writer, 0)
    os.close(heard)
    os.close(tell)
    loaded = Result.load(folder)
    print(loaded.title, loaded.rows.equals(results[loaded.title == "two"].rows))
"""


def test_a_kill_at_any_moment_leaves_the_old_result_or_the_new_one(tmp_path):
    random_delay = random.Random(11)
    delays = [random_delay.uniform(0.0, 0.06) for _ in range(16)]
    answer = finish(
        child(
            str(Path(__file__).parent), str(tmp_path), json.dumps(delays), code=KILLED_WHILE_WRITING
        )
    )
    assert (answer.code, answer.err) == (0, "")
    lines = [line.split() for line in answer.out.splitlines()]
    assert len(lines) == len(delays)
    assert {title for title, _ in lines} == {"one", "two"}
    assert {is_whole for _, is_whole in lines} == {"True"}
    # What was left aside disturbs no later run, and goes once it is certainly nobody's.
    (tmp_path / ".result-killed.part").write_bytes(b"half")
    for path in tmp_path.glob(".result-*.part"):
        os.utime(path, (1e9, 1e9))
    fake_result(title="three").save(tmp_path)
    assert Result.load(tmp_path).title == "three"
    assert [p.name for p in tmp_path.iterdir()] == [FILE_NAME]


def test_only_old_leftovers_of_our_own_are_removed(tmp_path):
    old = [".result-a1.part", ".report-b2.part"]
    for name in (*old, "notes.part", ".result.nc", ".result-young.part"):
        (tmp_path / name).write_bytes(b"x")
        os.utime(tmp_path / name, (1e9, 1e9))
    (tmp_path / ".result-young.part").touch()
    remove_leftovers(tmp_path)
    assert {p.name for p in tmp_path.iterdir()} == {
        "notes.part", ".result.nc", ".result-young.part"
    }  # fmt: skip


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> bytes:
    """Bytes of a sound result file."""
    return fake_result(n_cell=(6, 5)).save(tmp_path_factory.mktemp("whole")).read_bytes()


def test_a_sound_file_loads_as_it_was_and_is_plain_netcdf(tmp_path, whole):
    (tmp_path / FILE_NAME).write_bytes(whole)
    made, read = fake_result(n_cell=(6, 5)), Result.load(tmp_path / FILE_NAME)
    assert read.meta == made.meta
    assert read.rows.equals(made.rows)
    assert read.ends.equals(made.ends)
    assert read.launched.equals(made.launched)
    assert made.layers is not None
    assert made.layers.equals(read.layers)
    assert list(read.planes) == list(made.planes)
    for name, plane in made.planes.items():
        assert read.planes[name].identical(plane)
    with xr.open_datatree(tmp_path / FILE_NAME, engine="h5netcdf") as tree:
        assert set(tree.children) == {"ends", "rows", "layers", "planes"}


def refused(path: Path, data: bytes) -> str:
    path.write_bytes(data)
    with pytest.raises(ResultError) as caught:
        Result.load(path.parent)
    text = str(caught.value)
    assert text.startswith(f"{path}: ")
    assert "\n" not in text
    return text


def test_a_torn_file_is_refused_at_any_length(tmp_path, whole):
    n = len(whole)
    lengths = {0, 1, 7, 8, 9, 100, n // 3, n // 2, n - 4096, n - 100, n - 65, n - 64, n - 2, n - 1}
    for length in sorted(lengths):
        text = refused(tmp_path / FILE_NAME, whole[:length])
        assert "is torn, was changed, or is not a result of canopysim" in text


def test_a_flipped_bit_anywhere_is_refused(tmp_path, whole):
    """HDF5 itself reads most of them as if nothing were wrong."""
    places = np.random.default_rng(3).integers(0, 8 * len(whole), 150)
    for place_of_bit in [0, 8 * len(whole) - 1, *places]:
        data = bytearray(whole)
        data[place_of_bit // 8] ^= 1 << (place_of_bit % 8)
        refused(tmp_path / FILE_NAME, bytes(data))


def test_foreign_files_are_refused(tmp_path, whole):
    path = tmp_path / FILE_NAME
    refused(path, b"title: a scene\n")
    refused(path, b"\x89PNG\r\n\x1a\n" + bytes(1000))
    refused(path, whole + b"\n")
    refused(path, whole + whole)
    refused(path, bytes(xr.Dataset({"a": ("x", [1.0])}).to_netcdf(engine="h5netcdf")))
    path.unlink()
    path.mkdir()
    with pytest.raises(ResultError, match=re.escape(str(path))):
        Result.load(tmp_path)
    with pytest.raises(ResultError, match="no result there"):
        Result.load(tmp_path / "nothing")


def test_another_versions_result_is_refused_as_such(tmp_path, monkeypatch):
    monkeypatch.setattr("canopysim.results.FORMAT", "canopysim result 99")
    fake_result(n_cell=(6, 5)).save(tmp_path)
    monkeypatch.undo()
    with pytest.raises(ResultError, match="not a result of this version of canopysim"):
        Result.load(tmp_path)


# No file may grow beyond so many bytes, as where a disk is full.
LITTLE_ROOM = (
    "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, ({n}, {n})); "
    "from canopysim.cli import main; main()"
)


def test_a_full_disk_costs_nothing_that_was_there(place):
    fake_result(title="before", n_cell=(6, 5)).save(place / "out")
    before = (place / "out" / FILE_NAME).read_bytes()
    words = ("run", "small.yaml", "--out", "out", "--replace")
    answer = finish(child(*words, code=LITTLE_ROOM.format(n=20_000), cwd=place))
    assert answer.code == 2
    assert answer.err == (
        f"out/{FILE_NAME}: cannot be written ({os.strerror(errno.EFBIG)}); make room there, or "
        "choose another folder with --out\n"
    )
    assert [p.name for p in (place / "out").iterdir()] == [FILE_NAME]
    assert (place / "out" / FILE_NAME).read_bytes() == before


def test_a_report_that_cannot_be_written_does_not_cost_the_result(command, place):
    (place / "out" / "report.html").mkdir(parents=True)
    answer = command("run", "small.yaml", "--out", "out", "--max-packets", "1")
    assert answer.code == 2
    assert answer.err.count("\n") == 1
    assert f"cannot be written ({os.strerror(errno.EISDIR)})" in answer.err
    assert answer.err.endswith("; the result itself is in out/result.nc\n")
    assert Result.load("out").n_batch == 1
    assert {p.name for p in (place / "out").iterdir()} == FILES


# --- Nowhere to write, nothing to draw with. ---


def nowhere(folder: Path) -> dict[str, str]:
    """An environment in which every usual place lies below a regular file, which binds root too."""
    (folder / "file").write_text("", "utf-8")
    names = ("HOME", "XDG_CACHE_HOME", "XDG_CONFIG_HOME", "CANOPYSIM_CACHE_DIR", "TMPDIR")
    return {name: str(folder / "file" / name.lower()) for name in names}


def test_kernels_go_to_the_first_folder_that_can_be_written(tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "file" / "tmp"))
    for name, value in nowhere(tmp_path).items():
        monkeypatch.setenv(name, value)
    assert cache.choose_cache_folder() is None
    assert cache.compiled_before() is False
    steps = (
        (tempfile, "tempdir", f"canopysim-cache-{os.getuid()}"),
        ("HOME", None, ".cache/canopysim"),
        ("XDG_CACHE_HOME", None, "canopysim"),
        ("CANOPYSIM_CACHE_DIR", None, "."),
    )
    for number, (holder, attribute, below) in enumerate(steps):
        base = tmp_path / f"base-{number}"
        base.mkdir()
        if attribute is not None:
            monkeypatch.setattr(holder, attribute, str(base))
        else:
            monkeypatch.setenv(holder, str(base))
        folder = cache.choose_cache_folder()
        assert folder == base / below / f"kernels-{cache.kernel_digest()}"
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700
        assert list(folder.iterdir()) == []


def test_with_nowhere_to_keep_kernels_a_run_compiles_its_own(place):
    code = (
        "from pathlib import Path; from canopysim.transport import cache; "
        "cache._candidates = lambda: [Path(r'{}')]; from canopysim.cli import main; main()"
    ).format(place / "file" / "cache")
    # matplotlib tells on standard error that it made a folder of its own, so no warnings here.
    answer = finish(
        child("run", "small.yaml", code=code, cwd=place, env=nowhere(place)), timeout_s=300
    )
    assert answer.code == 0
    assert answer.out.startswith("No folder can keep the compiled photon kernels: compiling them ")
    assert "Traceback" not in answer.err
    assert {p.name for p in (place / "results" / "small").iterdir()} == FILES
    assert not Result.load(place / "results" / "small").partial


@pytest.fixture
def crashing_driver(tmp_path, monkeypatch):
    """A graphics driver that takes the process asking for it down, as a broken libGL does."""
    stub = tmp_path / "python"
    stub.write_text("#!/bin/sh\nkill -SEGV $$\n")
    stub.chmod(0o755)
    monkeypatch.setitem(gl_probe.probe.__kwdefaults__, "python", str(stub))
    monkeypatch.delenv("CANOPYSIM_DRAW", raising=False)
    gl_probe.working_window.cache_clear()
    yield monkeypatch
    gl_probe.working_window.cache_clear()


@pytest.mark.skipif(sys.platform == "win32", reason="the stub is a shell script")
def test_a_crashing_graphics_driver_costs_one_line(command, place, crashing_driver):
    answer = command("run", "small.yaml", "--max-packets", "1")
    assert (answer.code, answer.err) == (0, "")
    notes = [line for line in answer.out.splitlines() if "picture" in line]
    assert len(notes) == 1
    assert notes[0].startswith("(picture drawn with the built-in rasteriser; no graphics driver")
    assert {p.name for p in (place / "results" / "small").iterdir()} == FILES


@pytest.mark.skipif(sys.platform == "win32", reason="the stub is a shell script")
def test_a_picture_that_was_asked_for_in_vain_costs_no_report(command, place, crashing_driver):
    crashing_driver.setenv("CANOPYSIM_DRAW", "vtk")
    answer = command("run", "small.yaml", "--max-packets", "1")
    assert answer.code == 2
    assert answer.err.count("\n") == 1
    assert answer.err.startswith("CANOPYSIM_DRAW=vtk, but VTK cannot draw here")
    assert {p.name for p in (place / "results" / "small").iterdir()} == FILES - {"scene.png"}
