"""Optics of every material in a scene as the kernels' integer and float tables."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.cuticle import below_cuticle, mean_reflectance
from canopysim.matter.optics import leaf_values
from canopysim.transport.arrays import ABSORB_ONE, DIFFUSE, SPECULAR, TRANSMIT

if TYPE_CHECKING:
    from canopysim.light.spectrum.spectrum import Spectrum
    from canopysim.scene.schema import Scene

Array = NDArray[np.float64]


class OpticsTable:
    """Rows of reflectance and transmittance, one for each material that is met and light it meets.

    The rows of all materials under the first spectrum come first, then those under the second: a
    packet adds its spectrum's first row to the number of the material.

    Parameters
    ----------
    scene : Scene
        Its surfaces and leaves are looked up by name.
    lights : list of Spectrum
        The spectra of all strips, each once.
    """

    def __init__(self, scene: Scene, lights: list[Spectrum]) -> None:
        self._scene = scene
        self._lights = lights
        self._rows: list[Array] = []
        self._rough: list[float] = []
        # By number of the material: what its cuticle keeps under each light, its index and mean.
        self._films: dict[int, tuple[Array, float, float]] = {}
        self._known: dict[tuple[str, str], int] = {}

    def surface(self, name: str) -> int:
        """Row of an opaque surface: both sides alike."""
        if ("surface", name) not in self._known:
            surface = self._scene.surfaces[name]
            rows = np.zeros((len(self._lights), 2, 3, len(self._scene.bands) - 1))
            for row, light in zip(rows, self._lights, strict=True):
                row[:, DIFFUSE] = surface.diffuse.means(light, self._scene.bands)
                row[:, SPECULAR] = surface.specular.means(light, self._scene.bands)
            self._append(("surface", name), rows, math.tan(surface.spread))
        return self._known["surface", name]

    def leaf(self, name: str) -> int:
        """Row of a bi-Lambertian leaf: reflected and transmitted by cosine, each side its own.

        Under a cuticle the row is that of the leaf inside.
        """
        if ("leaf", name) not in self._known:
            leaf = self._scene.leaves[name]
            rows = np.zeros((len(self._lights), 2, 3, len(self._scene.bands) - 1))
            kept = np.zeros((len(self._lights), 2, len(self._scene.bands) - 1))
            film = leaf.cuticle
            mean = 0.0 if film is None else mean_reflectance(film.index, film.spread)
            for number, light in enumerate(self._lights):
                values = leaf_values(leaf, self._scene.bands, light)
                if film is not None:
                    values, kept[number] = below_cuticle(values, mean)
                rows[number, :, DIFFUSE] = values[:, 0]
                rows[number, :, TRANSMIT] = values[:, 1]
            if film is not None:
                self._films[len(self._rows)] = (kept, film.index, mean)
            self._append(("leaf", name), rows, 0.0 if film is None else math.tan(film.spread))
        return self._known["leaf", name]

    @property
    def names(self) -> list[str]:
        """What each row is, such as ``surface lining`` or ``leaf pepper``."""
        return [f"{what} {name}" for what, name in self._known]

    def _append(self, key: tuple[str, str], rows: Array, rough: float = 0.0) -> None:
        self._known[key] = len(self._rows)
        self._rows.append(rows)
        self._rough.append(rough)

    @property
    def rough(self) -> NDArray[np.float32]:
        """Roughness of each row: tangent of the tilt that half of a mirror's facets stay below."""
        return np.tile(np.array(self._rough, np.float32), len(self._lights))

    def films(self) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
        """Give `film`, `film_index` and `film_mean` of `WorldArrays`; of length 0 without any."""
        n_light, n_band = len(self._lights), len(self._scene.bands) - 1
        n = len(self._rows) if self._films else 0
        kept = np.zeros((n_light, n, 2, n_band), np.float32)
        index, mean = np.ones((n_light, n), np.float32), np.zeros((n_light, n), np.float32)
        for number, film in self._films.items():
            kept[:, number], index[:, number], mean[:, number] = film
        return kept.reshape(-1, 2, n_band), index.ravel(), mean.ravel()

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
        rows = np.zeros((0, 2, 3, n_band))
        if self._rows:
            rows = np.concatenate(np.stack(self._rows, axis=1))
        kept = rows.sum(2)
        absorb: NDArray[np.int64] = np.rint((1.0 - np.minimum(kept, 1.0)) * ABSORB_ONE).astype(
            np.int64
        )
        ways = np.divide(
            rows, kept[:, :, None], out=np.zeros_like(rows), where=kept[:, :, None] > 0
        ).astype(np.float32)
        way_open = np.asarray((rows > 0).any(3), dtype=np.int32)
        return absorb, ways, way_open
