"""Probes of a scene: where they are, how they lie, and what their meters count."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.errors import SceneError
from canopysim.light.meter import RESPONSES, Response
from canopysim.transport.probe import N_COSINE
from canopysim.units import format_length

if TYPE_CHECKING:
    from canopysim.light.spectrum.spectrum import Spectrum
    from canopysim.scene.schema import Scene
    from canopysim.scene.schema_meter import Probe

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ProbeTable:
    """A point with a meter.

    Attributes
    ----------
    name : str
        Of the probe.
    meter : str
        Of its meter; "ideal" where none is named.
    response : Response
        What the meter counts of each photon.
    factor : float
        By which it multiplies.
    centre : numpy.ndarray (3,)
        m.
    radius : float
        Of the ball over which light is averaged, m.
    normal : numpy.ndarray (3,)
        Of the meter's face.
    per_band : numpy.ndarray (n_spectrum, n_band)
        Reading per flux density, under each spectrum of the scene.
    levelling : float
        Angle by which its face may lean unawares, rad.
    """

    name: str
    meter: str
    response: Response
    factor: float
    centre: Array
    radius: float
    normal: Array
    per_band: Array
    levelling: float = 0.0


def probe_tables(scene: Scene, canopy_top: float, lights: list[Spectrum]) -> tuple[ProbeTable, ...]:
    """Settle the probes of a scene.

    Raises
    ------
    SceneError
        For a ball that reaches out of the enclosure.
    """
    tables, problems = [], []
    size = np.array(scene.enclosure.size)
    for index, probe in enumerate(scene.probes):
        centre = _centre(probe, canopy_top)
        beyond = float(np.concatenate([probe.radius - centre, centre + probe.radius - size]).max())
        if beyond > 1e-9:
            message = (
                f"its ball reaches {format_length(beyond)} out of the enclosure; move it inwards "
                "or give it a smaller radius"
            )
            problems.append(scene.problem(("probes", index), message))
        meter = scene.meters[probe.meter] if probe.meter is not None else None
        response = meter.response if meter is not None else RESPONSES["par"]
        factor = meter.factor if meter is not None else 1.0
        tables.append(
            ProbeTable(
                name=probe.name,
                meter=probe.meter or "ideal",
                response=response,
                factor=factor,
                centre=centre,
                radius=probe.radius,
                normal=_normal(probe),
                per_band=np.stack([response.per_band(light, scene.bands) for light in lights]),
                levelling=_levelling(scene, probe),
            )
        )
    if problems:
        raise SceneError(problems)
    return tuple(tables)


def probe_arrays(
    scene: Scene, canopy_top: float
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """Rows for the kernels: `probe`, `probe_response` and `probe_lean` of `Splits`."""
    rows = [[*_centre(probe, canopy_top), probe.radius, *_normal(probe)] for probe in scene.probes]
    cosine = np.linspace(0, 1, N_COSINE + 1)
    response = [
        _cosine_response(scene.meters[p.meter].cosine if p.meter is not None else (), cosine)
        for p in scene.probes
    ]
    return (
        np.array(rows, np.float32).reshape(-1, 7),
        np.array(response, np.float32).reshape(-1, N_COSINE + 1),
        _leaning(scene),
    )


def _leaning(scene: Scene) -> NDArray[np.float32]:
    """Give the normals of every meter when it leans by its levelling error, (n_probe, 4 or 0, 3).

    Towards four sides, a quarter turn apart, of which the first is where its face leans already
    (+x, if it faces up). A meter without that error keeps its normal; no face leans if none has it.
    """
    angles = [_levelling(scene, probe) for probe in scene.probes]
    if not any(angles):
        return np.zeros((len(angles), 0, 3), np.float32)
    rows = []
    for probe, angle in zip(scene.probes, angles, strict=True):
        normal = _normal(probe)
        onwards = _normal(probe, math.pi / 2)
        side = np.cross(normal, onwards)
        turns = (onwards, side, -onwards, -side)
        rows.append([math.cos(angle) * normal + math.sin(angle) * turn for turn in turns])
    return np.array(rows, np.float32)


def _levelling(scene: Scene, probe: Probe) -> float:
    return scene.meters[probe.meter].levelling if probe.meter is not None else 0.0


def _centre(probe: Probe, canopy_top: float) -> Array:
    height = probe.height
    if height is None:
        height = canopy_top + (probe.above_canopy or 0.0)
    return np.array([*probe.at, height])


def _normal(probe: Probe, more: float = 0.0) -> Array:
    """Give the unit normal of the face: up, leaned by the tilt (and more) towards the turn."""
    tilt = probe.tilt + more
    s = math.sin(tilt)
    return np.array([s * math.cos(probe.turn), s * math.sin(probe.turn), math.cos(tilt)])


def _cosine_response(shares: tuple[tuple[float, float], ...], cosine: Array) -> Array:
    """Share of the cosine law by the cosine of incidence; straight ahead a meter is calibrated."""
    if not shares:
        return np.ones_like(cosine)
    angles = np.array([angle for angle, _ in shares])
    values = np.array([value for _, value in shares])
    if angles[0] > 0:
        angles, values = np.insert(angles, 0, 0.0), np.insert(values, 0, 1.0)
    return np.asarray(np.interp(np.arccos(cosine), angles, values), np.float64)
