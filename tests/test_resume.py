"""A run that is interrupted, killed or extended has the tallies of one that never was."""

import json
import os
import signal
import subprocess
import sys
import time

import h5py
import numpy as np
import pytest
from build import plain_box, scene_of
from test_canopy_light import STAND_IN
from torture import torture

import canopysim
from canopysim import tracing
from canopysim.checkpoint import CHECKPOINT_NAME, read_run
from canopysim.errors import CanopysimError, ResultError
from canopysim.results import FILE_NAME
from canopysim.world.compile import compile_world

BOOKS = (
    "absorbed", "crossed", "crossed_sum", "row_batches", "met", "counters", "lost",
    "split_absorbed", "split_crossed", "facet_absorbed",
)  # fmt: skip
# More batches than the rows into which grids are folded.
N_BATCH = 37
BATCH = 400


N_KILL = 50


def data() -> dict:
    """The torture scene, with some of what can be told apart."""
    return torture(BATCH) | {
        "also_count": {
            "first_flight": "true", "lining_meetings": "2", "leaf_facets": "true",
            "sensitivities": "true",
        }
    }  # fmt: skip


@pytest.fixture(scope="module")
def scene():
    return scene_of(data())


@pytest.fixture(scope="module")
def undisturbed(scene):
    result = canopysim.run(scene, target={"layers": 1e-6}, max_packets=N_BATCH * 500)
    assert result.n_batch > N_BATCH
    assert set(BOOKS) <= set(result.rows)
    return result


def same_books(one, other):
    assert set(one.rows) == set(other.rows)
    return all(one.rows[name].identical(other.rows[name]) for name in BOOKS if name in one.rows)


@pytest.mark.parametrize("n_first", [1, 2, 31, 32, 33])
def test_a_run_taken_up_again_is_the_undisturbed_run(scene, undisturbed, n_first, tmp_path):
    packets = undisturbed.settings["batch_packets"]
    canopysim.run(scene, max_packets=n_first * packets, target={"layers": 1e-6}).save(tmp_path)
    # Once more in between, so that a resumed run can be resumed.
    middle = canopysim.resume(tmp_path, max_packets=(n_first + 2) * packets)
    assert middle.n_batch == n_first + 2
    middle.save(tmp_path)
    result = canopysim.resume(tmp_path, max_packets=undisturbed.settings["max_packets"])
    assert result.n_batch == undisturbed.n_batch
    assert same_books(result, undisturbed)
    assert result.layers.identical(undisturbed.layers)
    assert result.ends.identical(undisturbed.ends)
    assert all(result.planes[p].identical(undisturbed.planes[p]) for p in undisturbed.planes)


def test_a_target_stops_a_resumed_run_where_it_stops_an_undisturbed_one(scene, tmp_path):
    target = {"layers": "3 %", "planes": "2 %"}
    whole = canopysim.run(scene, target=target)
    assert whole.stopped_by == "target"
    packets = whole.settings["batch_packets"]
    canopysim.run(scene, target=target, max_packets=20 * packets).save(tmp_path)
    result = canopysim.resume(tmp_path, max_packets=1e7)
    assert result.stopped_by == "target"
    assert result.n_batch == whole.n_batch
    assert same_books(result, whole)
    # It is finished now, and says so unless it is asked for more.
    result.save(tmp_path)
    with pytest.raises(CanopysimError, match=r"the run is finished \(target\)"):
        canopysim.resume(tmp_path)
    with pytest.raises(CanopysimError, match="target"):
        canopysim.resume(tmp_path, target={"leaves": "1 %"})
    more = canopysim.resume(tmp_path, target={"layers": "2.6 %"})
    assert more.n_batch > result.n_batch
    assert more.stopped_by == "target"


def test_seconds_add_up_and_threads_do_not_matter(scene, tmp_path):
    canopysim.run(scene, target=1e-6, max_packets=2000, threads=1).save(tmp_path)
    before = canopysim.Result.load(tmp_path)
    result = canopysim.resume(tmp_path, max_packets=4000, threads=3)
    assert result.seconds > before.seconds
    assert result.threads == 3


def test_what_cannot_be_taken_up_is_refused(scene, tmp_path):
    with pytest.raises(ResultError, match="no run there"):
        canopysim.resume(tmp_path)
    result = canopysim.run(scene, target=1e-6, max_packets=2000)
    result.meta["digest"] = "0" * 64
    result.save(tmp_path)
    with pytest.raises(ResultError, match="another world"):
        canopysim.resume(tmp_path, max_packets=4000)
    (tmp_path / FILE_NAME).write_bytes((tmp_path / FILE_NAME).read_bytes()[:-100])
    with pytest.raises(ResultError, match="torn"):
        canopysim.resume(tmp_path, max_packets=4000)


# Loads everything once, then lets a child of its own run into each folder that it is told.
NURSERY = """
import json, os, sys
sys.path.insert(0, {tests!r})
from build import scene_of
import canopysim
import canopysim.checkpoint, canopysim.tallies.label, canopysim.world.compile
from canopysim import tracing
tracing.CHECKPOINT_EVERY_S, tracing.CHECKPOINT_SHARE = 0.01, 1e9
scenes = [scene_of(data) for data in json.loads(sys.stdin.readline())]
for scene in scenes:
    canopysim.run(scene, max_packets=1)
for line in sys.stdin:
    number, folder = json.loads(line)
    pid = os.fork()
    if pid == 0:
        canopysim.run(
            scenes[number], target={{"layers": 1e-6}}, max_packets=1e7, checkpoint=folder
        )
        os._exit(0)
    print(pid, flush=True)
    os.waitpid(pid, 0)
    print("gone", flush=True)
"""


def wait_for_a_new(path):
    """Wait until a file is renamed into this place that was not there before."""

    def number():
        return path.stat().st_ino if path.exists() else None

    before, until = number(), time.monotonic() + 120
    while number() in (before, None) and time.monotonic() < until:
        time.sleep(0.001)


def test_every_kill_leaves_a_run_that_resumes_to_the_same_bytes(scene, tmp_path, request):
    """kill -9 at random moments, also while a checkpoint is being written.

    Most of a single plant, which is soon written and read; each fifth where all is counted.
    """
    small = plain_box(**STAND_IN, tracing={"batch": str(BATCH)})
    scenes = [scene_of(small), scene]
    rng = np.random.default_rng(11)
    code = NURSERY.format(tests=str(request.path.parent))
    nursery = subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert nursery.stdin is not None
    assert nursery.stdout is not None
    print(json.dumps([small, data()]), file=nursery.stdin, flush=True)
    seen, wholes = [], {}
    batch_packets = [compile_world(s).batch_packets for s in scenes]
    try:
        for number in range(N_KILL):
            folder = tmp_path / str(number)
            which = int(number % 5 == 0)
            print(json.dumps([which, str(folder)]), file=nursery.stdin, flush=True)
            pid = int(nursery.stdout.readline())
            # After so many checkpoints and a moment more, however busy the machine is.
            for _ in range(int(rng.integers(1, 8))):
                wait_for_a_new(folder / CHECKPOINT_NAME)
            time.sleep(rng.uniform(0, 0.06))
            os.kill(pid, signal.SIGKILL)
            assert nursery.stdout.readline() == "gone\n"
            # To read all of it is left to what takes it up.
            with h5py.File(folder / CHECKPOINT_NAME) as file:
                seen.append(len(file["rows/batch"]))
            # One to eight more, so that few undisturbed runs answer for all.
            n_batch = 8 * (seen[-1] // 8 + 1)
            packets = n_batch * batch_packets[which]
            result = canopysim.resume(folder, max_packets=packets, checkpoint=False)
            if (which, n_batch) not in wholes:
                wholes[which, n_batch] = canopysim.run(
                    scenes[which], target={"layers": 1e-6}, max_packets=packets
                )
            whole = wholes[which, n_batch]
            assert result.n_batch == whole.n_batch == n_batch
            assert same_books(result, whole)
    finally:
        nursery.stdin.close()
        nursery.wait()
        nursery.stdout.close()
    # The moments were not all alike: one to seven checkpoints had been written.
    assert len(set(seen)) > 5


def test_checkpoints_come_and_go(scene, tmp_path, monkeypatch):
    monkeypatch.setattr(tracing, "CHECKPOINT_EVERY_S", 0.0)
    monkeypatch.setattr(tracing, "CHECKPOINT_SHARE", 1e9)
    result = canopysim.run(scene, target=1e-6, max_packets=6000, checkpoint=tmp_path)
    # The last batch ends the run: the checkpoint holds those before it.
    assert read_run(tmp_path).rows.n_batch == result.n_batch - 1
    meta = json.loads(json.dumps(result.meta))
    assert meta["stopped_by"] == "packet budget"
    result.save(tmp_path)
    assert read_run(tmp_path).rows.n_batch == result.n_batch


def test_a_smaller_budget_than_what_is_traced_is_refused(scene, tmp_path):
    canopysim.run(scene, target=1e-6, max_packets=6000).save(tmp_path)
    with pytest.raises(CanopysimError, match=r"less than the .* packets that are traced already"):
        canopysim.resume(tmp_path, max_packets=3000)


def test_a_new_run_does_not_overwrite_the_checkpoint_of_a_killed_one(scene, tmp_path):
    from canopysim.output import result_folder

    folder = tmp_path / "killed"
    folder.mkdir()
    (folder / CHECKPOINT_NAME).write_bytes(b"of a long run")
    with (
        pytest.raises(CanopysimError, match="take it up with 'canopysim resume"),
        result_folder(folder, tmp_path / "scene.yaml", False),
    ):
        pass
    assert (folder / CHECKPOINT_NAME).read_bytes() == b"of a long run"
