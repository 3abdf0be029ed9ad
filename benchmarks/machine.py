"""What the figures were measured on: processor, Python and the packages that matter."""

from __future__ import annotations

import datetime
import os
import platform
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

PACKAGES = ("numpy", "numba", "llvmlite", "embreex")


def processor() -> str:
    """Name the processor, as its maker does where the system tells."""
    cpuinfo = Path("/proc/cpuinfo")
    if cpuinfo.exists():
        for line in cpuinfo.read_text("utf-8", errors="replace").splitlines():
            name, _, value = line.partition(":")
            if name.strip() == "model name" and value.strip():
                return value.strip()
    return platform.processor() or platform.machine()


def package(name: str) -> str:
    """Name a package and its version."""
    try:
        return f"{name} {version(name)}"
    except PackageNotFoundError:
        return f"{name} missing"


def load() -> str:
    """Tell how busy other programs keep the machine: seconds by the clock hang on that."""
    if not hasattr(os, "getloadavg"):
        return ""
    return f", load of the last minute {os.getloadavg()[0]:.1f}"


def describe() -> str:
    """Give two lines: the machine with the day, and the versions."""
    import llvmlite.binding

    vectors = [v for v in ("avx2", "avx512f") if llvmlite.binding.get_host_cpu_features().get(v)]
    return (
        f"{datetime.date.today()}, {processor()} ({platform.machine()}, "
        f"{', '.join(vectors) or 'no AVX2'}), {os.cpu_count()} cores, {platform.system()}{load()}\n"
        f"Python {platform.python_version()}, {', '.join(package(name) for name in PACKAGES)}"
    )
