"""Files that are whole or refused: written aside, sealed by a digest, synced, renamed."""

from __future__ import annotations

import hashlib
import os
import tempfile
import time
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from canopysim.errors import ResultError

if TYPE_CHECKING:
    import xarray as xr

# The file ends with a digest of all that stands before it. NetCDF readers do not look there.
SEAL = b"\ncanopysim result, sha256 "
# Files that a killed program left aside. No write takes an hour: younger ones may be under way.
LEFTOVERS = (".result-*.part", ".report-*.part", ".selftest-*.part")
LEFTOVER_AGE_S = 3600.0


def write_sealed(nodes: dict[str, xr.Dataset], target: Path) -> None:
    """Write datasets as one NetCDF file that ends with a SHA-256 of its contents.

    Parameters
    ----------
    nodes : dict of str to xarray.Dataset
        Datasets by their path in the file; "/" is the root.
    target : Path
        Its folder is made if it does not exist. A kill leaves the old file or the new one.

    Raises
    ------
    ResultError
        Where it cannot be written.
    """
    import xarray as xr

    encoding = {
        path: {str(name): {"zlib": True, "complevel": 4} for name in node.data_vars}
        for path, node in nodes.items()
    }
    # HDF5 crashes where a disk runs full; bytes in memory are ours to write.
    body = bytes(xr.DataTree.from_dict(nodes).to_netcdf(engine="h5netcdf", encoding=encoding))
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        remove_leftovers(target.parent)
        handle, aside = tempfile.mkstemp(prefix=".result-", suffix=".part", dir=target.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(body + _seal(body))
            replace_synced(Path(aside), target)
        except BaseException:
            Path(aside).unlink(missing_ok=True)
            raise
    except OSError as problem:
        raise ResultError(
            f"{target}: cannot be written ({problem.strerror or problem}); "
            "make room there, or choose another folder with --out"
        ) from problem


def read_sealed(path: Path, form: str) -> xr.DataTree:
    """Read a file that `write_sealed` wrote, all of it into memory.

    Parameters
    ----------
    path : Path
        The file.
    form : str
        What the attribute "format" of its root must be.

    Returns
    -------
    xarray.DataTree
        Its datasets.

    Raises
    ------
    ResultError
        Where it is missing, torn, changed, foreign or of another version.
    """
    import xarray as xr

    if not path.is_file():
        raise ResultError(f"{path}: no result there; give the folder that a run wrote")
    try:
        data = path.read_bytes()
        body, mark, _ = data.rpartition(SEAL)
        if not mark or data != body + _seal(body):
            raise ResultError(
                f"{path}: is torn, was changed, or is not a result of canopysim; "
                "trace the scene again"
            )
        with xr.open_datatree(path, engine="h5netcdf") as opened:
            tree = opened.load()
    except ResultError:
        raise
    except Exception as problem:
        raise ResultError(f"{path}: cannot be read as a result ({problem})") from problem
    if tree.attrs.get("format") != form:
        raise ResultError(f"{path}: is not a result of this version of canopysim ({form})")
    return tree


def _seal(body: bytes) -> bytes:
    """Make the end of a file from all that stands before it."""
    return SEAL + hashlib.sha256(body).hexdigest().encode() + b"\n"


def remove_leftovers(folder: Path) -> None:
    """Remove what a program that was killed while writing left in a result folder.

    Parameters
    ----------
    folder : Path
        Existing folder. What is younger than an hour may be another program's, under way.
    """
    for pattern in LEFTOVERS:
        for left in folder.glob(pattern):
            with suppress(OSError):
                if time.time() - left.stat().st_mtime > LEFTOVER_AGE_S:
                    left.unlink()


def replace_synced(aside: Path, target: Path) -> None:
    """Bring a finished file to its place so that a power cut leaves the old one or the new one."""
    with aside.open("rb+") as file:
        os.fsync(file.fileno())
    # A temporary file is private; a result is as readable as the user's other files.
    mask = os.umask(0)
    os.umask(mask)
    aside.chmod(0o666 & ~mask)
    aside.replace(target)
    if os.name == "posix":
        folder = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def write_whole(path: Path, text: str) -> None:
    """Write a text file aside and rename it, so that what lies there is the old one or the new."""
    handle, aside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.stem}-", suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
        replace_synced(Path(aside), path)
    except BaseException:
        Path(aside).unlink(missing_ok=True)
        raise
