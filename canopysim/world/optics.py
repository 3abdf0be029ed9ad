"""Optics of every material in a scene as the kernels' integer and float tables."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.optics import leaf_values
from canopysim.transport.arrays import ABSORB_ONE, DIFFUSE, SPECULAR, TRANSMIT

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene

Array = NDArray[np.float64]


class OpticsTable:
    """Rows of reflectance and transmittance, one for each material that is met.

    Parameters
    ----------
    scene : Scene
        Its surfaces and leaves are looked up by name.
    """

    def __init__(self, scene: Scene) -> None:
        self._scene = scene
        self._rows: list[Array] = []
        self._rough: list[float] = []
        self._known: dict[tuple[str, str], int] = {}

    def surface(self, name: str) -> int:
        """Row of an opaque surface: both sides alike."""
        if ("surface", name) not in self._known:
            surface = self._scene.surfaces[name]
            side = np.zeros((3, len(self._scene.bands) - 1))
            side[DIFFUSE] = surface.diffuse.values(self._scene.bands)
            side[SPECULAR] = surface.specular.values(self._scene.bands)
            self._append(("surface", name), np.stack([side, side]), math.tan(surface.spread))
        return self._known["surface", name]

    def leaf(self, name: str) -> int:
        """Row of a bi-Lambertian leaf: reflected and transmitted by cosine, each side its own."""
        if ("leaf", name) not in self._known:
            values = leaf_values(self._scene.leaves[name], self._scene.bands)
            sides = np.zeros((2, 3, len(self._scene.bands) - 1))
            sides[:, DIFFUSE] = values[:, 0]
            sides[:, TRANSMIT] = values[:, 1]
            self._append(("leaf", name), sides)
        return self._known["leaf", name]

    @property
    def names(self) -> list[str]:
        """What each row is, such as ``surface lining`` or ``leaf pepper``."""
        return [f"{what} {name}" for what, name in self._known]

    def _append(self, key: tuple[str, str], sides: Array, rough: float = 0.0) -> None:
        self._known[key] = len(self._rows)
        self._rows.append(sides)
        self._rough.append(rough)

    @property
    def rough(self) -> NDArray[np.float32]:
        """Roughness of each row: tangent of the tilt that half of a mirror's facets stay below."""
        return np.array(self._rough, np.float32)

    def arrays(self) -> tuple[NDArray[np.int64], NDArray[np.float32], NDArray[np.int32]]:
        """Tables for the kernels.

        Returns
        -------
        absorb : int64 (n_surface, 2, n_band)
            Absorptance in 2^-24, rounded once here.
        ways : float32 (n_surface, 2, 3, n_band)
            Share of each way in what is not absorbed; zero where all is absorbed.
        way_open : int32 (n_surface, 2, 3)
            1 where any band goes that way.
        """
        n_band = len(self._scene.bands) - 1
        rows = np.stack(self._rows) if self._rows else np.zeros((0, 2, 3, n_band))
        kept = rows.sum(2)
        absorb: NDArray[np.int64] = np.rint((1.0 - np.minimum(kept, 1.0)) * ABSORB_ONE).astype(
            np.int64
        )
        ways = np.divide(
            rows, kept[:, :, None], out=np.zeros_like(rows), where=kept[:, :, None] > 0
        ).astype(np.float32)
        way_open = np.asarray((rows > 0).any(3), dtype=np.int32)
        return absorb, ways, way_open
