"""Mesh files kept inside results and checkpoints, by their digest, so that a run can be resumed."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

import numpy as np

from canopysim.errors import ResultError
from canopysim.scene.mesh_files import MESH_MARK

if TYPE_CHECKING:
    import xarray as xr

    from canopysim.scene.schema import Scene

GROUP = "/meshes"
# Names in a file begin with a letter; a digest may not.
_NAME = "sha256_"


def meshes_of(scene: Scene) -> dict[str, bytes]:
    """Bytes of all mesh files of a scene by their SHA-256, each once."""
    return {hashlib.sha256(data).hexdigest(): data for data in scene.all_mesh_bytes()}


def mesh_dataset(meshes: dict[str, bytes]) -> xr.Dataset:
    """Put files into a dataset, a variable each."""
    import xarray as xr

    return xr.Dataset(
        {
            _NAME + digest: (f"byte_{number}", np.frombuffer(data, np.uint8))
            for number, (digest, data) in enumerate(sorted(meshes.items()))
        }
    )


def meshes_in(tree: xr.DataTree) -> dict[str, bytes]:
    """Take the mesh files out of a result or checkpoint that was read."""
    name = GROUP.removeprefix("/")
    if name not in tree.children:
        return {}
    return {
        str(variable).removeprefix(_NAME): values.values.astype(np.uint8).tobytes()
        for variable, values in tree[name].to_dataset().data_vars.items()
    }


def is_mesh(text: str) -> bool:
    """Tell whether a text among a run's files stands for a mesh."""
    return text.startswith(MESH_MARK)


def kept_mesh(name: str, text: str, meshes: dict[str, bytes], folder: object) -> bytes:
    """Find a mesh file that was kept with a run.

    Parameters
    ----------
    name : str
        As the scene has it.
    text : str
        What stands for it among the run's files: its digest.
    meshes : dict of str to bytes
        What was kept.
    folder : path
        Of the run, for messages.

    Raises
    ------
    ResultError
        Where it was not kept, or is not the file that was traced.
    """
    digest = text.removeprefix(MESH_MARK).strip()
    data = meshes.get(digest)
    if data is None:
        raise ResultError(
            f"{folder}: the scene's mesh {name} (SHA-256 {digest[:12]}...) was not kept with this "
            "run; trace the scene again"
        )
    if hashlib.sha256(data).hexdigest() != digest:
        raise ResultError(
            f"{folder}: the mesh {name} that was kept with this run is not the one that was traced "
            f"(SHA-256 {digest[:12]}...); trace the scene again"
        )
    return data
