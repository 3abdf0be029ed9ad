"""The same physics in plain Python: slow, obvious, and equal to the compiled kernels byte for byte.

The sources of `transport` are run once more with other primitives in place of numba's: a fused
multiply-add by exact arithmetic, bit casts by numpy, a nearest hit that looks at every triangle.
"""

import sys
import threading
from importlib import import_module
from pathlib import Path
from types import ModuleType

PACKAGE = "canopysim.transport"
# In the order in which they import each other; `target` and `walk` are replaced.
PHYSICS = (
    "real", "random", "triangle", "wall", "lens", "launch", "sides", "splits", "planes",
    "mirror", "cloud", "probe", "scatter", "cuticle", "rare", "history",
)  # fmt: skip
REPLACED = {"target": "target", "walk": "walk"}
_lock = threading.Lock()


def load_physics() -> ModuleType:
    """Give the module `history` in plain Python, with everything that it calls.

    Returns
    -------
    module
        `trace_photon` and `trace_range` take the arguments that the compiled ones take.

    Notes
    -----
    While the sources run, the names under which they import each other stand for the plain
    versions; afterwards the compiled ones are back. The sources themselves are not changed.
    """
    with _lock:
        before = {
            name: sys.modules.get(name)
            for name in (f"{PACKAGE}.{short}" for short in (*PHYSICS, *REPLACED))
        }
        loaded: dict[str, ModuleType] = {}
        try:
            sys.modules[f"{PACKAGE}.target"] = import_module(f"{PACKAGE}.plain.target")
            for short in PHYSICS:
                if short == "lens":
                    # The plain walk uses the plain triangle test, which is loaded by now.
                    sys.modules[f"{PACKAGE}.walk"] = _run(Path(__file__).parent / "walk.py", "walk")
                name = f"{PACKAGE}.{short}"
                loaded[short] = _run(Path(__file__).parent.parent / f"{short}.py", short)
                sys.modules[name] = loaded[short]
        finally:
            for name, module in before.items():
                if module is None:
                    sys.modules.pop(name, None)
                else:
                    sys.modules[name] = module
    return loaded["history"]


def _run(source: Path, short: str) -> ModuleType:
    """Run a source file as a new module."""
    module = ModuleType(f"{PACKAGE}.plain.{short}")
    module.__file__ = str(source)
    exec(compile(source.read_text("utf-8"), str(source), "exec"), module.__dict__)
    return module
