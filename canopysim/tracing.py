"""A run from a checked scene to a labelled result."""

from __future__ import annotations

import operator
import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from canopysim.errors import CanopysimError, UntracedError
from canopysim.results import Result
from canopysim.tallies.stop import Progress, TargetWatch
from canopysim.transport.arrays import INSIDE_A_SOLID, LEFT_THE_WORLD, TOO_MANY_MEETINGS
from canopysim.units import parse_share

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from canopysim.scene.schema import Scene
    from canopysim.tallies.rows import BatchRows
    from canopysim.world.compile import World

DEFAULT_MAX_PACKETS = 200_000_000
MOST_PACKETS = 10**13
UNTRACED_LIMIT = 1e-6
# More than any core traces; bounds the rows that a time budget can leave.
FASTEST_PACKETS_S = 5e6
BOOKS_LIMIT_BYTES = 4 * 2**30
WHY_LOST = {
    LEFT_THE_WORLD: "left the world through",
    INSIDE_A_SOLID: "came out inside",
    TOO_MANY_MEETINGS: "met more things than can be followed, last",
}


def run(
    scene: Scene,
    *,
    target: dict[str, str | float] | str | float | None = None,
    max_packets: float | None = None,
    max_time: float | None = None,
    seed: int | None = None,
    threads: int | None = None,
    progress: Callable[[Progress], None] | None = None,
    world: World | None = None,
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
    from canopysim.tallies.books import launched_quanta
    from canopysim.tallies.driver import BatchTracer, available_threads
    from canopysim.tallies.label import label
    from canopysim.tallies.rows import BatchRows
    from canopysim.world.compile import compile_world

    settings = _settings(scene, target, max_packets, max_time, seed)
    threads = available_threads() if threads is None else operator.index(threads)
    if threads < 1:
        raise CanopysimError(f"threads: {threads} is too few; allowed is 1 or more")
    world = world or compile_world(scene)
    _refuse_large(world, settings, threads)
    launched = launched_quanta(world)
    watch = TargetWatch(world, settings["target"], scene.tracing.floor)
    rows = BatchRows(plane_cells=tuple(p.cells for p in world.planes))
    tracer = BatchTracer(
        world.arrays, world.strip_first, world.depth, seed=settings["seed"], threads=threads
    )
    stopped_by = "interrupted"
    try:
        tracer.warm_up()
        start = time.perf_counter()
        with _asked_to_stop() as asked:
            for books in tracer.batches(0, asked):
                rows.append(books)
                _refuse_imbalance(world, rows, launched)
                watch.append(rows)
                now = watch.progress(time.perf_counter() - start)
                now = _within_budgets(now, settings)
                _refuse_untraced(world, rows, final=False)
                if progress is not None:
                    progress(now)
                if now.met:
                    stopped_by = "target"
                elif now.n_packet + world.batch_packets > settings["max_packets"]:
                    stopped_by = "packet budget"
                elif now.seconds >= settings["max_time"]:
                    stopped_by = "time budget"
                else:
                    continue
                break
    finally:
        tracer.close()
    if rows.n_batch == 0:
        raise KeyboardInterrupt
    _refuse_untraced(world, rows, final=True)
    now = watch.progress(time.perf_counter() - start)
    return label(world, rows, _meta(scene, world, settings, now, stopped_by, threads))


def _within_budgets(now: Progress, settings: dict[str, Any]) -> Progress:
    """Cut the packets that are expected at the target down to what the budgets allow."""
    limits = [settings["max_packets"], now.n_packet * settings["max_time"] / now.seconds]
    if now.packets_wanted == now.packets_wanted:
        limits.append(now.packets_wanted)
    return replace(now, packets_wanted=float(min(limits)))


def _share(value: str | float, name: str) -> float:
    """Read a target, given as text with a unit or as a plain share."""
    try:
        share = parse_share(value) if isinstance(value, str) else float(value)
    except ValueError as problem:
        raise CanopysimError(f"target {name}: {problem}") from problem
    if not 0 < share <= 1:
        raise CanopysimError(f"target {name}: {value} is no relative error; allowed is up to 100 %")
    return share


def _settings(
    scene: Scene,
    target: dict[str, str | float] | str | float | None,
    max_packets: float | None,
    max_time: float | None,
    seed: int | None,
) -> dict[str, Any]:
    """Settle what stops the run: the call first, then the scene, then the defaults."""
    wanted: dict[str, float]
    main = "layers" if scene.canopy is not None else "planes"
    if target is None:
        # The loader has settled what holds where the file is silent.
        wanted = {str(k): float(v) for k, v in (scene.tracing.target or {}).items()}
    else:
        given = target if isinstance(target, dict) else {main: target}
        wanted = {name: _share(value, name) for name, value in given.items()}
    unknown = set(wanted) - {"layers", "planes"}
    if unknown:
        raise CanopysimError(
            f"target: {sorted(unknown)[0]!r} is not known; allowed are layers and planes"
        )
    # A target on nothing would never be met, and the run would go on to its budget.
    if "layers" in wanted and scene.canopy is None:
        raise CanopysimError("target layers: the scene has no canopy; allowed is planes")
    if "planes" in wanted and not scene.planes:
        raise CanopysimError("target planes: the scene has no planes; allowed is layers")
    if max_packets is None:
        max_packets = scene.tracing.max_packets or DEFAULT_MAX_PACKETS
    if max_time is None:
        max_time = scene.tracing.max_time
    seed = scene.tracing.seed if seed is None else operator.index(seed)
    if not 0 <= seed < 2**32:
        raise CanopysimError(f"seed: {seed} is out of range; allowed is 0 to 4294967295")
    if not 1 <= max_packets <= MOST_PACKETS:
        raise CanopysimError(
            f"max_packets: {max_packets} is out of range; allowed is 1 to {MOST_PACKETS:.0e}"
        )
    if max_time is not None and not max_time > 0:
        raise CanopysimError(f"max_time: {max_time} s is too short; allowed is more than 0 s")
    return {
        "target": wanted,
        "max_packets": int(max_packets),
        "max_time": float("inf") if max_time is None else float(max_time),
        "seed": seed,
    }


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


def _refuse_large(world: World, settings: dict[str, Any], threads: int) -> None:
    """Refuse tallies that would not fit into memory, with what makes them large."""
    from canopysim.tallies.rows import FOLD

    n_channel, n_sink, n_band, n_bin = (int(n) for n in world.arrays.sizes)
    grids = 8 * n_channel * n_bin * n_band * (2 * threads + FOLD + 4)
    most = min(settings["max_packets"], settings["max_time"] * threads * FASTEST_PACKETS_S)
    n_batch = max(1, int(most) // world.batch_packets)
    # Every batch keeps its row; labelling holds it a second time.
    rows = 8 * n_channel * n_sink * n_band * (2 * n_batch + 2 * threads)
    if grids + rows <= BOOKS_LIMIT_BYTES:
        return
    allowed = f"allowed are {BOOKS_LIMIT_BYTES / 2**30:.0f} GiB"
    if grids > rows:
        cells = sum(p.cells[0] * p.cells[1] for p in world.planes)
        raise CanopysimError(
            f"planes: {cells} cells for {n_channel} light channels and {n_band} bands would need "
            f"{grids / 2**30:.1f} GiB of memory; {allowed}: choose larger cells, fewer planes or fewer threads"
        )
    raise CanopysimError(
        f"tracing: {n_batch} batches of {n_channel} light channels, {n_sink} places and {n_band} "
        f"bands would need {rows / 2**30:.1f} GiB of memory; {allowed}: choose a larger batch, a "
        "smaller max_packets, or fewer layers or bands"
    )


def _refuse_imbalance(world: World, rows: BatchRows, launched: NDArray[np.int64]) -> None:
    """Check the books of the latest batch to the quantum."""
    from canopysim.tallies.books import imbalance

    if (imbalance(rows.absorbed[-1], launched) != 0).any():
        raise UntracedError(
            f"the books of batch {rows.n_batch - 1} do not balance: a defect of the program; "
            "please report it with the scene file and the seed"
        )


def _refuse_untraced(world: World, rows: BatchRows, *, final: bool) -> None:
    """Fail loudly above one untraced packet in a million; early only where that is beyond doubt."""
    n_packet, _, untraced, _ = (int(c) for c in rows.counters)
    if untraced <= UNTRACED_LIMIT * n_packet or (not final and untraced < 10):
        return
    strip, photon, event, place, why = (int(v) for v in rows.lost[0][0][1:])
    batch = int(rows.lost[0][0][0])
    raise UntracedError(
        f"{untraced} of {n_packet} packets could not be followed (allowed: one in a million); the "
        f"first, strip {strip}, batch {batch}, photon {photon}, {WHY_LOST[why]} "
        f"{world.places[place]} at meeting {event}; look for a hole or overlap in that mesh"
    )


def _versions() -> dict[str, str]:
    """Versions that a figure may depend on."""
    import platform
    from importlib.metadata import version

    names = ("canopysim", "numpy", "numba", "llvmlite", "xarray")
    return {"python": platform.python_version()} | {name: version(name) for name in names}


def _meta(
    scene: Scene,
    world: World,
    settings: dict[str, Any],
    now: Progress,
    stopped_by: str,
    threads: int,
) -> dict[str, Any]:
    """Plain values that go with the result."""
    enclosure = scene.enclosure
    layers = world.layers
    finite_time = settings["max_time"] if settings["max_time"] != float("inf") else None
    return {
        "title": scene.title,
        "scene_name": scene.path.name if scene.path is not None else "",
        "scene_text": scene.text,
        "sources": scene.sources,
        "seed": settings["seed"],
        "n_packet": now.n_packet,
        "n_batch": now.n_batch,
        "stopped_by": stopped_by,
        "limiting": now.limiting,
        "limiting_rel_err": now.rel_err if now.rel_err == now.rel_err else None,
        "seconds": now.seconds,
        "threads": threads,
        "versions": _versions(),
        "digest": world.digest,
        "band_names": list(scene.band_names),
        "settings": {
            "width_m": enclosure.width,
            "depth_m": enclosure.depth,
            "height_m": enclosure.height,
            "lining": enclosure.lining,
            "with_plants": layers is not None,
            "ground_area_m2": layers.ground_area if layers is not None else None,
            "canopy_height_m": layers.top if layers is not None else None,
            "leaf_area_m2": float(layers.leaf_area.sum()) if layers is not None else None,
            "target": settings["target"],
            "target_floor": scene.tracing.floor,
            "max_packets": settings["max_packets"],
            "max_time_s": finite_time,
            "batch_packets": world.batch_packets,
            "n_triangle": world.n_triangle,
        },
    }
