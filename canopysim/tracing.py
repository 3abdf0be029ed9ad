"""A run from a checked scene to a labelled result, and a run taken up again."""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from canopysim.errors import CanopysimError
from canopysim.guards import most_batches, refuse_imbalance, refuse_large, refuse_untraced
from canopysim.kept_meshes import meshes_of
from canopysim.limits import Limits, Target, settle_limits, settle_seed, settle_threads
from canopysim.results import Result
from canopysim.run_meta import run_meta
from canopysim.tallies.stop import Progress, TargetWatch

if TYPE_CHECKING:
    from canopysim.checkpoint import OldRun
    from canopysim.scene.schema import Scene
    from canopysim.tallies.rows import BatchRows
    from canopysim.world.compile import World

# Seconds between checkpoints; writing one may take a twentieth of the time at most.
CHECKPOINT_EVERY_S = 20.0
CHECKPOINT_SHARE = 0.05


def run(
    scene: Scene,
    *,
    target: Target = None,
    max_packets: float | None = None,
    max_time: float | None = None,
    seed: int | None = None,
    threads: int | None = None,
    progress: Callable[[Progress], None] | None = None,
    world: World | None = None,
    checkpoint: str | Path | None = None,
    replicates: int | None = None,
) -> Result:
    """Trace a scene until a target error or a budget is reached, whichever comes first.

    Parameters
    ----------
    scene : Scene
        From `canopysim.load`.
    target : dict, str or float, optional
        Relative standard error, such as ``{"layers": "1 %"}`` (every layer's 400-700 nm
        absorption) or ``{"planes": 0.005}`` (every plane's mean downward 400-700 nm PFD);
        a single value is meant for the layers, or for the planes of a scene without a canopy.
        The scene's `tracing` holds otherwise.
    max_packets : float, optional
        Packet budget; at least one batch is traced.
    max_time : float, optional
        Time budget for tracing, s.
    seed : int, optional
        From 0 to 2^32 - 1.
    threads : int, optional
        All cores if left out. No number of threads changes a tally.
    progress : callable, optional
        Called with a `Progress` after every batch.
    world : World, optional
        The compiled scene, if the caller has it.
    checkpoint : path, optional
        Folder for a checkpoint, written every 20 s or so; `resume` takes it up after a kill.
    replicates : int, optional
        Canopies grown from as many seeds, instead of the number that the scene states.

    Returns
    -------
    Result
        Marked as partial where Ctrl-C or SIGTERM ended it.

    Raises
    ------
    CanopysimError
        For settings that cannot be used, and for tallies that would not fit into memory.
    UntracedError
        If more than one packet in a million could not be followed.
    """
    from canopysim.tallies.rows import BatchRows
    from canopysim.world.compile import compile_world
    from canopysim.world.replicates import with_replicates

    scene = with_replicates(scene, replicates)
    limits = settle_limits(scene, target, max_packets, max_time)
    if world is not None and replicates not in (None, max(len(world.replicates), 1)):
        raise CanopysimError(
            f"replicates: {replicates} were asked for, but the compiled world has "
            f"{max(len(world.replicates), 1)}"
        )
    world = world or compile_world(scene)
    n_thread = settle_threads(threads)
    refuse_large(world, n_thread)
    rows = BatchRows.empty(world)
    return _trace(
        scene,
        world,
        rows,
        limits,
        settle_seed(scene, seed),
        n_thread,
        progress=progress,
        checkpoint=None if checkpoint is None else Path(checkpoint),
    )


def resume(
    folder: str | Path,
    *,
    target: Target = None,
    max_packets: float | None = None,
    max_time: float | None = None,
    threads: int | None = None,
    progress: Callable[[Progress], None] | None = None,
    checkpoint: bool = True,
) -> Result:
    """Take up a run that was interrupted or killed, or extend one that is finished.

    Every photon has its address, so the tallies are those of a run that was never interrupted.

    Parameters
    ----------
    folder : path
        The folder of the run: its result or checkpoint, whichever has more batches.
    target, max_packets, max_time, threads, progress
        As for `run`. What is left out holds as in the run itself; a time budget counts from now,
        and the old one is not taken over.
    checkpoint : bool
        Whether to go on writing checkpoints into the folder.

    Returns
    -------
    Result
        Of all batches, old and new. It is not saved yet.

    Raises
    ------
    CanopysimError
        For a run that has nothing left to do, and as for `run`.
    ResultError
        For a folder without a result or checkpoint, or one that is torn, foreign or of another
        version of the program.
    """
    from canopysim.checkpoint import read_run

    return resume_run(
        read_run(Path(folder)),
        Path(folder),
        target=target,
        max_packets=max_packets,
        max_time=max_time,
        threads=threads,
        progress=progress,
        checkpoint=checkpoint,
    )


def resume_run(
    old: OldRun,
    folder: Path,
    *,
    target: Target = None,
    max_packets: float | None = None,
    max_time: float | None = None,
    threads: int | None = None,
    progress: Callable[[Progress], None] | None = None,
    checkpoint: bool = True,
) -> Result:
    """Do as `resume` with a run that has been read back."""
    if target is None and max_packets is None and max_time is None:
        if old.finished:
            raise CanopysimError(
                f"{folder}: the run is finished ({old.stopped_by}); to extend it, give a smaller "
                "target or a larger budget"
            )
        limits = replace(old.limits, max_time_s=float("inf"))
    else:
        asked = settle_limits(old.scene, target, max_packets, max_time)
        limits = Limits(
            target=asked.target if target is not None else old.limits.target,
            max_packets=asked.max_packets if max_packets is not None else old.limits.max_packets,
            max_time_s=asked.max_time_s if max_time is not None else float("inf"),
        )
        traced = old.rows.n_batch * old.world.batch_packets
        if max_packets is not None and max_packets < traced:
            raise CanopysimError(
                f"{folder}: max_packets {max_packets:.6g} is less than the {traced:.6g} packets "
                "that are traced already; the budget counts all of them, so give a larger one"
            )
    refuse_large(old.world, settle_threads(threads))
    return _trace(
        old.scene,
        old.world,
        old.rows,
        limits,
        old.seed,
        settle_threads(threads),
        progress=progress,
        checkpoint=folder if checkpoint else None,
        seconds_before=old.seconds,
    )


def _trace(
    scene: Scene,
    world: World,
    rows: BatchRows,
    limits: Limits,
    seed: int,
    threads: int,
    *,
    progress: Callable[[Progress], None] | None,
    checkpoint: Path | None,
    seconds_before: float = 0.0,
) -> Result:
    """Trace batch after batch, from where the rows end, until something stops it."""
    from canopysim.checkpoint import Checkpointer
    from canopysim.tallies.books import launched_quanta
    from canopysim.tallies.replicates import ReplicateTracer, join

    launched = launched_quanta(world)
    meshes = meshes_of(scene)
    watch = TargetWatch(world, limits.target, scene.tracing.floor)
    for absorbed, crossed in zip(rows.absorbed, rows.crossed_sum, strict=True):
        watch.append(absorbed, crossed)
    tracer = ReplicateTracer(world, seed=seed, threads=threads)
    stopped_by = _enough(watch.progress(seconds_before), world, limits, 0.0) or "interrupted"
    saver = Checkpointer(checkpoint, CHECKPOINT_EVERY_S, CHECKPOINT_SHARE)
    try:
        tracer.warm_up()
        start = time.perf_counter()
        with _asked_to_stop() as asked:
            for parts in () if stopped_by != "interrupted" else tracer.batches(rows.n_batch, asked):
                rows.append(join(parts), parts)
                refuse_imbalance(rows, launched)
                refuse_untraced(world, rows, final=False)
                watch.append(rows.absorbed[-1], rows.crossed_sum[-1])
                spent = time.perf_counter() - start
                now = watch.progress(seconds_before + spent)
                if progress is not None:
                    progress(_within_budgets(now, world, limits, spent))
                reason = _enough(now, world, limits, spent)
                if reason is not None:
                    stopped_by = reason
                    break
                if saver.due():
                    meta = run_meta(scene, world, limits, seed, now, "interrupted", threads)
                    saver.write(rows, meta, meshes)
    finally:
        tracer.close()
    if rows.n_batch == 0:
        raise KeyboardInterrupt
    # Slow to import, and nobody waits for it before the first packet.
    from canopysim.tallies.label import label

    refuse_untraced(world, rows, final=True)
    now = watch.progress(seconds_before + time.perf_counter() - start)
    meta = run_meta(scene, world, limits, seed, now, stopped_by, threads)
    return replace(label(world, rows, meta), meshes=meshes)


def _enough(now: Progress, world: World, limits: Limits, spent_s: float) -> str | None:
    """Say what stops the run here, if anything does."""
    if now.met:
        return "target"
    if now.n_batch and now.n_packet + world.batch_packets > limits.max_packets:
        return "packet budget"
    if now.n_batch and spent_s >= limits.max_time_s:
        return "time budget"
    if now.n_batch >= most_batches(world):
        return "memory budget"
    return None


def _within_budgets(now: Progress, world: World, limits: Limits, spent_s: float) -> Progress:
    """Cut the packets that are expected at the target down to what the budgets allow."""
    most = limits.max_packets // world.batch_packets * world.batch_packets
    ends = [float(max(most, world.batch_packets)), now.n_packet * limits.max_time_s / spent_s]
    if now.packets_wanted == now.packets_wanted:
        ends.append(now.packets_wanted)
    return replace(now, packets_wanted=min(ends))


@contextmanager
def _asked_to_stop() -> Iterator[Callable[[], bool]]:
    """Turn Ctrl-C and SIGTERM into a question that is asked between batches; a second one raises.

    Signals belong to the main thread: in another one nothing is caught.
    """
    asked = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield asked.is_set
        return

    def note(number: int, frame: object) -> None:
        if asked.is_set():
            raise KeyboardInterrupt
        asked.set()

    before = {n: signal.signal(n, note) for n in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield asked.is_set
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
