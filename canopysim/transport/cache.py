"""Where compiled kernels are kept: a folder keyed by everything that shapes the machine code."""

import hashlib
import os
import tempfile
from contextlib import suppress
from pathlib import Path

import llvmlite
import llvmlite.binding
import numba
import numpy as np

TOLD_APART = "told-apart"


def kernel_digest() -> str:
    """Name the compiled code by its sources and tool versions.

    numba notices an edit in the file of a kernel but not in a file that it imports, so all kernel
    sources go into one digest.

    Returns
    -------
    str
        20 hexadecimal digits.
    """
    digest = hashlib.sha256()
    for source in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(source.name.encode())
        digest.update(source.read_bytes())
    host = llvmlite.binding.get_host_cpu_name() + llvmlite.binding.get_host_cpu_features().flatten()
    for word in (numba.__version__, llvmlite.__version__, np.__version__, host):
        digest.update(word.encode())
    return digest.hexdigest()[:20]


def _candidates() -> list[Path]:
    """Folders to try, best first."""
    found = []
    named = os.environ.get("CANOPYSIM_CACHE_DIR")
    if named:
        found.append(Path(named))
    shared = os.environ.get("XDG_CACHE_HOME")
    if shared:
        found.append(Path(shared) / "canopysim")
    # A home that cannot be told (no such user, no variable) is one candidate less, not an error.
    with suppress(RuntimeError):
        found.append(Path.home() / ".cache" / "canopysim")
    user = os.getuid() if hasattr(os, "getuid") else 0
    found.append(Path(tempfile.gettempdir()) / f"canopysim-cache-{user}")
    return found


def _private_folder(folder: Path) -> bool:
    """Make a folder that only this user writes; False where that cannot be had."""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        if hasattr(os, "getuid") and folder.stat().st_uid != os.getuid():
            return False
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def choose_cache_folder() -> Path | None:
    """Find a writable folder for compiled kernels.

    Returns
    -------
    pathlib.Path or None
        None where no folder is writable: the kernels are then compiled anew in every process.
    """
    digest = kernel_digest()
    for base in _candidates():
        folder = base / f"kernels-{digest}"
        if _private_folder(folder):
            return folder
    return None


def compiled_before(*, told_apart: bool = False) -> bool:
    """Whether the photon kernels of this version lie compiled in the cache.

    Parameters
    ----------
    told_apart : bool
        Those that tell light apart by its past, which are compiled when they are first asked for.
    """
    folder = choose_cache_folder()
    if folder is None:
        return False
    if told_apart:
        return (folder / TOLD_APART).exists()
    return any(folder.rglob("history.trace_range*.nbc"))


def note_told_apart() -> None:
    """Leave a mark that the kernels which tell light apart are compiled."""
    folder = choose_cache_folder()
    if folder is not None:
        with suppress(OSError):
            (folder / TOLD_APART).touch()
