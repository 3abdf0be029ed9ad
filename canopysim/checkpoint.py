"""Checkpoints: the rows of a run on disk, and the way back to a run from them."""

from __future__ import annotations

import json
import tempfile
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from canopysim.errors import ResultError, SceneError
from canopysim.kept_meshes import GROUP, is_mesh, kept_mesh, mesh_dataset, meshes_in
from canopysim.limits import Limits
from canopysim.results import FILE_NAME, FORMAT
from canopysim.sealed import read_sealed, write_sealed

if TYPE_CHECKING:
    import xarray as xr

    from canopysim.scene.schema import Scene
    from canopysim.tallies.rows import BatchRows
    from canopysim.world.compile import World

CHECKPOINT_NAME = "checkpoint.nc"
CHECKPOINT_FORMAT = "canopysim checkpoint 3"


class Checkpointer:
    """Writes checkpoints now and then.

    Parameters
    ----------
    folder : Path or None
        Where; nowhere if None.
    every_s : float
        Seconds from one to the next.
    share : float
        Largest share of the time that writing may take.
    """

    def __init__(self, folder: Path | None, every_s: float, share: float) -> None:
        self._folder = folder
        self._every_s = every_s
        self._share = share
        self._last = time.perf_counter()
        self._wait_s = every_s

    def due(self) -> bool:
        """Tell whether it is time for the next one."""
        return self._folder is not None and time.perf_counter() - self._last >= self._wait_s

    def write(self, rows: BatchRows, meta: dict[str, Any], meshes: dict[str, bytes]) -> None:
        """Write one aside, sync and rename it."""
        assert self._folder is not None
        start = time.perf_counter()
        write_checkpoint(self._folder, rows, meta, meshes)
        self._last = time.perf_counter()
        self._wait_s = max(self._every_s, (self._last - start) / self._share)


def write_checkpoint(
    folder: Path, rows: BatchRows, meta: dict[str, Any], meshes: dict[str, bytes]
) -> Path:
    """Write the rows of a run and what is needed to take it up.

    Parameters
    ----------
    folder : Path
        Made if it does not exist.
    rows : BatchRows
        At least one batch.
    meta : dict
        From `run_meta`.
    meshes : dict of str to bytes
        From `meshes_of`.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    ResultError
        Where it cannot be written.
    """
    import xarray as xr

    target = folder / CHECKPOINT_NAME
    root = xr.Dataset(attrs={"format": CHECKPOINT_FORMAT, "meta": json.dumps(meta)})
    nodes = {"/": root, "/rows": rows.dataset()}
    if meshes:
        nodes[GROUP] = mesh_dataset(meshes)
    write_sealed(nodes, target)
    return target


def remove_checkpoint(folder: Path) -> None:
    """Remove the checkpoint of a run whose result is saved."""
    with suppress(OSError):
        (folder / CHECKPOINT_NAME).unlink()


@dataclass(frozen=True)
class OldRun:
    """A run as it was left.

    Attributes
    ----------
    scene, world : Scene, World
        Read and compiled again; the world's digest is that of the run.
    rows : BatchRows
        All its batches.
    limits : Limits
        What was to stop it.
    seed : int
        Of its photons.
    seconds : float
        Spent tracing.
    stopped_by : str
        Why it ended.
    """

    scene: Scene
    world: World
    rows: BatchRows
    limits: Limits
    seed: int
    seconds: float
    stopped_by: str

    @property
    def finished(self) -> bool:
        """Whether it came to its end by itself."""
        return self.stopped_by != "interrupted"


def read_run(folder: Path) -> OldRun:
    """Read a run back: from its result or its checkpoint, whichever has more batches.

    Parameters
    ----------
    folder : Path
        Folder of the run.

    Returns
    -------
    OldRun
        Ready to be traced further.

    Raises
    ------
    ResultError
        Where there is neither, where both are torn, or where the program or a file that the scene
        refers to has changed so that the photons would meet another world.
    """
    meta, data, meshes = _fullest(folder)
    from canopysim.tallies.rows import BatchRows
    from canopysim.world.compile import compile_world
    from canopysim.world.replicates import with_replicates

    scene = with_replicates(_scene_of(meta, folder, meshes), int(meta["settings"]["replicates"]))
    world = compile_world(scene)
    if world.digest != meta["digest"]:
        raise ResultError(
            f"{folder}: this version of canopysim makes another world of the scene than the run "
            f"had (canopysim {meta['versions']['canopysim']}); trace it again"
        )
    settings = meta["settings"]
    time_s = settings["max_time_s"]
    return OldRun(
        scene=scene,
        world=world,
        rows=BatchRows.of_dataset(data, tuple(p.cells for p in world.planes)),
        limits=Limits(
            target={str(k): float(v) for k, v in settings["target"].items()},
            max_packets=int(settings["max_packets"]),
            max_time_s=float("inf") if time_s is None else float(time_s),
        ),
        seed=int(meta["seed"]),
        seconds=float(meta["seconds"]),
        stopped_by=str(meta["stopped_by"]),
    )


def _fullest(folder: Path) -> tuple[dict[str, Any], xr.Dataset, dict[str, bytes]]:
    """Meta, rows and mesh files of the sound file to go on from.

    A result that is saved takes its checkpoint away, so a checkpoint of another run beside a
    result is of a later run that was killed. Of the same run the one with more batches is taken.
    """
    found: list[tuple[int, dict[str, Any], xr.Dataset, dict[str, bytes]]] = []
    problems: list[ResultError] = []
    for name, form in ((FILE_NAME, FORMAT), (CHECKPOINT_NAME, CHECKPOINT_FORMAT)):
        if not (folder / name).exists():
            continue
        try:
            tree = read_sealed(folder / name, form)
        except ResultError as problem:
            problems.append(problem)
            continue
        meta = json.loads(tree.attrs["meta"])
        found.append((int(meta["n_batch"]), meta, tree["/rows"].to_dataset(), meshes_in(tree)))
    if not found:
        if problems:
            raise problems[0]
        raise ResultError(
            f"{folder}: no run there; give the folder that a run wrote. One that is killed within "
            "its first 20 seconds leaves nothing to take up: run it again"
        )
    one, other = found[0], found[-1]
    same = all(one[1][key] == other[1][key] for key in ("digest", "seed"))
    _, meta, data, meshes = max(found, key=lambda f: f[0]) if same else other
    return meta, data, meshes


def _scene_of(meta: dict[str, Any], folder: Path, meshes: dict[str, bytes]) -> Scene:
    """Read the scene again from the texts and meshes that were kept with the run."""
    from canopysim.scene.load import load_scene, load_scene_text

    files = meta["files"]
    try:
        if not files:
            return load_scene_text(meta["scene_text"])
        with tempfile.TemporaryDirectory(prefix="canopysim-") as place:
            root = Path(place).resolve()
            for name, text in files.items():
                target = (root / name).resolve()
                if root not in target.parents:
                    raise ResultError(
                        f"{folder}: the scene refers to {name} outside its folder, which is not "
                        "kept with a result; trace it again"
                    )
                target.parent.mkdir(parents=True, exist_ok=True)
                if is_mesh(text):
                    target.write_bytes(kept_mesh(name, text, meshes, folder))
                else:
                    target.write_text(text, "utf-8")
            return load_scene(root / meta["scene_name"])
    except SceneError as problem:
        raise ResultError(
            f"{folder}: this version of canopysim cannot read the run's scene any more: {problem}"
        ) from None
