"""canopysim: ray-traced canopy irradiance, leaf layer by leaf layer, with error bars.

>>> import canopysim
>>> scene = canopysim.load("scenes/pepper-tent.yaml")
>>> result = canopysim.run(scene, target={"layers": "1 %"}, seed=7)
>>> result.layers  # absorbed flux by layer and band, with standard errors
>>> result.ends  # where every photon ended
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from canopysim.errors import CanopysimError, ResultError, SceneError, UntracedError

if TYPE_CHECKING:
    from canopysim.results import Result
    from canopysim.scene.load import load_scene as load
    from canopysim.tracing import resume, run

__all__ = [
    "CanopysimError",
    "Result",
    "ResultError",
    "SceneError",
    "UntracedError",
    "load",
    "resume",
    "run",
]

# Imported on first use, so that `import canopysim` stays quick.
_LATE = {
    "Result": ("canopysim.results", "Result"),
    "load": ("canopysim.scene.load", "load_scene"),
    "resume": ("canopysim.tracing", "resume"),
    "run": ("canopysim.tracing", "run"),
}


def __getattr__(name: str) -> Any:
    if name in _LATE:
        module, attribute = _LATE[name]
        value = getattr(import_module(module), attribute)
        globals()[name] = value
        return value
    raise AttributeError(f"module 'canopysim' has no attribute {name!r}")
