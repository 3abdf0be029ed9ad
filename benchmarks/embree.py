"""Embree's single-ray call, from the library that the embreex wheel carries, without a compiler."""

from __future__ import annotations

import ctypes
from pathlib import Path
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

TRIANGLES, INDEX, VERTEX, UINT3, FLOAT3 = 0, 0, 1, 0x5003, 0x9003
ROBUST = 4
MEDIUM_QUALITY = 1
MODES = ("robust", "default")


def library() -> ctypes.CDLL:
    """Load it; embreex says where it is."""
    import embreex
    import embreex.rtcore_scene

    folder = Path(embreex.__file__).parent.parent / "embreex.libs"
    found = sorted(folder.glob("libembree4*.so*")) or sorted(folder.glob("*embree4*"))
    lib = ctypes.CDLL(str(found[0]))
    pointer, integer = ctypes.c_void_p, ctypes.c_int
    for name, result, arguments in (
        ("rtcNewDevice", pointer, [ctypes.c_char_p]),
        ("rtcReleaseDevice", None, [pointer]),
        ("rtcNewScene", pointer, [pointer]),
        ("rtcNewGeometry", pointer, [pointer, integer]),
        ("rtcSetSharedGeometryBuffer", None,
         [pointer, integer, ctypes.c_uint, integer, pointer] + [ctypes.c_size_t] * 3),
        ("rtcCommitGeometry", None, [pointer]),
        ("rtcAttachGeometry", ctypes.c_uint, [pointer, pointer]),
        ("rtcReleaseGeometry", None, [pointer]),
        ("rtcSetSceneBuildQuality", None, [pointer, integer]),
        ("rtcSetSceneFlags", None, [pointer, integer]),
        ("rtcCommitScene", None, [pointer]),
        ("rtcReleaseScene", None, [pointer]),
        ("rtcIntersect1", None, [pointer, pointer, pointer]),
    ):  # fmt: skip
        function = getattr(lib, name)
        function.restype, function.argtypes = result, arguments
    return lib


class Mesh:
    """Triangles in the memory that Embree reads, without a copy.

    Parameters
    ----------
    triangles : numpy.ndarray of float32 (n, 3, 3)
        Corners, m.
    """

    def __init__(self, triangles: NDArray[np.float32]) -> None:
        self.n = len(triangles)
        # Embree may read sixteen bytes at the last vertex.
        self.vertices = np.zeros((3 * self.n + 1, 3), np.float32)
        self.vertices[:-1] = triangles.reshape(-1, 3)
        self.faces = np.arange(3 * self.n, dtype=np.uint32)


class EmbreeScene:
    """A mesh in Embree with its tree, built on one thread; as long as it lives, so must the mesh.

    Parameters
    ----------
    lib : ctypes.CDLL
        From `library`.
    mesh : Mesh
        The triangles.
    robust : bool
        Embree's robust mode, in which shared edges do not leak.
    """

    def __init__(self, lib: ctypes.CDLL, mesh: Mesh, *, robust: bool) -> None:
        self._lib, self._mesh = lib, mesh
        self._device = lib.rtcNewDevice(b"threads=1")
        self.handle = lib.rtcNewScene(self._device)
        lib.rtcSetSceneBuildQuality(self.handle, MEDIUM_QUALITY)
        lib.rtcSetSceneFlags(self.handle, ROBUST if robust else 0)
        shape = lib.rtcNewGeometry(self._device, TRIANGLES)
        vertices, faces, n = mesh.vertices.ctypes.data, mesh.faces.ctypes.data, mesh.n
        lib.rtcSetSharedGeometryBuffer(shape, VERTEX, 0, FLOAT3, vertices, 0, 12, 3 * n)
        lib.rtcSetSharedGeometryBuffer(shape, INDEX, 0, UINT3, faces, 0, 12, n)
        lib.rtcCommitGeometry(shape)
        lib.rtcAttachGeometry(self.handle, shape)
        lib.rtcReleaseGeometry(shape)
        lib.rtcCommitScene(self.handle)

    def __del__(self) -> None:
        self._lib.rtcReleaseScene(self.handle)
        self._lib.rtcReleaseDevice(self._device)


def single_ray_loop(lib: ctypes.CDLL) -> Any:
    """Compile a loop that calls rtcIntersect1 ray by ray, as a program that uses Embree does."""
    intersect = lib.rtcIntersect1

    @njit(nogil=True)
    def trace(scene, record, words, origins, directions, found, distance):
        for i in range(origins.shape[0]):
            record[0], record[1], record[2] = origins[i, 0], origins[i, 1], origins[i, 2]
            record[3] = 0.0
            record[4], record[5], record[6] = directions[i, 0], directions[i, 1], directions[i, 2]
            record[7] = 0.0
            record[8] = 1e30
            words[9], words[10], words[11] = 0xFFFFFFFF, 0, 0
            words[17] = words[18] = words[19] = words[20] = 0xFFFFFFFF
            intersect(scene, record.ctypes.data, 0)
            distance[i] = record[8]
            found[i] = np.int64(np.int32(words[17]))

    return trace


def ray_record() -> tuple[NDArray[np.float32], NDArray[np.uint32]]:
    """Give one RTCRayHit, sixteen-byte aligned, as floats and as words."""
    raw = np.zeros(64 * 4 + 64, np.uint8)
    start = -raw.ctypes.data % 64
    record = raw[start : start + 256].view(np.float32)
    return record, record.view(np.uint32)
