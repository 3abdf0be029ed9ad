"""Fixtures in the world: every light of a scene turned into placed strips and bodies."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.errors import SceneError
from canopysim.light.fluxes import strip_fluxes
from canopysim.matter.parts import Part
from canopysim.units import format_length

if TYPE_CHECKING:
    from canopysim.light.photometry import Distribution
    from canopysim.light.spectrum.spectrum import Spectrum
    from canopysim.matter.body_mesh import DrawnBody
    from canopysim.scene.schema import Scene
    from canopysim.scene.schema_light import Fixture, Light, Strip

Array = NDArray[np.float64]
# Two triangles a face, wound so that normals point out of the box.
BOX_FACES = np.array(
    [
        [0, 2, 1], [1, 2, 3], [4, 5, 6], [5, 7, 6], [0, 1, 4], [1, 5, 4],
        [2, 6, 3], [3, 6, 7], [0, 4, 2], [2, 4, 6], [1, 3, 5], [3, 7, 5],
    ],
    dtype=np.int32,
)  # fmt: skip


@dataclass(frozen=True)
class PlacedStrip:
    """A strip in the world's frame.

    Attributes
    ----------
    light : int
        Index of the light in the scene.
    group : str
        What it is answered for under.
    centre : numpy.ndarray (3,)
        Middle of the luminous rectangle, m.
    axes : numpy.ndarray (3, 3)
        Rows: the strip's x (along), y (across) and z axis; light leaves towards -z.
    length_m, width_m : float
        Luminous rectangle.
    lens : str
        "lambertian", "parallel", "beam" or "table".
    along_rad, across_rad : float
        Full widths at half maximum of a beam; 0 otherwise.
    distribution : Distribution or None
        The table of a lens "table".
    ghost_body : int
        Number of the body that its photons ignore until their first meeting, or -1.
    flux_umol_s : float
        Photon flux over all bands at full output.
    shares : tuple of float
        Share of each band in that flux.
    spectrum : Spectrum
        Its light over wavelength, by which optics are averaged.
    output : float
        Share of full output.
    channel : str
        Channel of its fixture; "" where that has none.
    """

    light: int
    group: str
    centre: Array
    axes: Array
    length_m: float
    width_m: float
    lens: str
    along_rad: float
    across_rad: float
    distribution: Distribution | None
    ghost_body: int
    flux_umol_s: float
    shares: tuple[float, ...]
    spectrum: Spectrum
    output: float
    channel: str = ""


def rotation(turn: float, pitch: float, tilt: float) -> Array:
    """Rotate from a fixture's frame into the world's: Rz(turn) Ry(pitch) Rx(tilt), right-handed.

    Parameters
    ----------
    turn, pitch, tilt : float
        Radians. tilt > 0 swings the beam (-z) towards the fixture's +y; pitch > 0 lowers its +x
        end.

    Returns
    -------
    numpy.ndarray (3, 3)
        Columns are the fixture's axes in the world.
    """
    c, s = math.cos(turn), math.sin(turn)
    rz = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
    c, s = math.cos(pitch), math.sin(pitch)
    ry = np.array([[c, 0, s], [0, 1.0, 0], [-s, 0, c]])
    c, s = math.cos(tilt), math.sin(tilt)
    rx = np.array([[1.0, 0, 0], [0, c, -s], [0, s, c]])
    turned: Array = rz @ ry @ rx
    return turned


def box_corners(low: Array, high: Array) -> Array:
    """Eight corners of a box, x running fastest, z slowest, as `BOX_FACES` expects."""
    return np.array(
        [[x, y, z] for z in (low[2], high[2]) for y in (low[1], high[1]) for x in (low[0], high[0])]
    )


def _extent(fixture: Fixture) -> tuple[Array, Array]:
    """Low and high corner of the body, or of the luminous areas, in the fixture's frame."""
    if fixture.body is not None and fixture.body.drawn is not None:
        return fixture.body.drawn.low, fixture.body.drawn.high
    if fixture.body is not None:
        half = np.array([fixture.body.length / 2, fixture.body.width / 2])
        base = fixture.body.standoff
        return np.array([*-half, base]), np.array([*half, base + fixture.body.height])
    corners = np.concatenate([_strip_corners(s) for s in fixture.strips])
    return corners.min(0), corners.max(0)


def _strip_frame(strip: Strip) -> tuple[Array, Array]:
    """Centre and rotation of a strip in its fixture's frame."""
    centre = np.array([strip.at[0], strip.at[1], -strip.drop])
    return centre, rotation(0.0, 0.0, strip.tilt)


def _strip_corners(strip: Strip) -> Array:
    centre, turned = _strip_frame(strip)
    a, b = strip.length / 2, strip.width / 2
    flat = np.array([[-a, -b, 0], [a, -b, 0], [a, b, 0], [-a, b, 0]])
    return centre + flat @ turned.T


def pivots(light: Light, fixture: Fixture, canopy_top_m: float) -> list[Array]:
    """Pivots of all fixtures that a light stands for: one, or a row centred on `at`."""
    height = light.height if light.height is not None else canopy_top_m + (light.above_canopy or 0)
    middle = np.array([light.at[0], light.at[1], height])
    if light.row is None:
        return [middle]
    axis = 0 if light.row.direction == "width" else 1
    low, high = _extent(fixture)
    turned = rotation(light.turn, light.pitch, light.tilt)
    width = float(np.abs(turned[axis]) @ (high - low))
    step = np.zeros(3)
    step[axis] = width + light.row.gap
    count = light.row.count
    return [middle + (i - (count - 1) / 2) * step for i in range(count)]


def place_lights(scene: Scene, canopy_top_m: float) -> tuple[list[PlacedStrip], list[Part]]:
    """Place every strip and body of a scene.

    Parameters
    ----------
    scene : Scene
        A checked scene.
    canopy_top_m : float
        Height of the canopy's top above the floor, from which "above canopy" counts.

    Returns
    -------
    strips : list of PlacedStrip
        World frame, metres.
    bodies : list of Part
        Closed boxes of kind "fixture".

    Raises
    ------
    SceneError
        For a fixture that reaches out of the enclosure or a strip inside a body.
    """
    strips: list[PlacedStrip] = []
    bodies: list[Part] = []
    boxes: list[tuple[int, Array, Array, Array, Array]] = []
    drawn_bodies: list[DrawnBody | None] = []
    for index, light in enumerate(scene.lights):
        fixture = scene.fixtures[light.fixture]
        turned = rotation(light.turn, light.pitch, light.tilt)
        fluxes = strip_fluxes(fixture, scene.bands)
        ignores_body = fixture.photometry is not None and fixture.body is not None
        for pivot in pivots(light, fixture, canopy_top_m):
            if fixture.body is not None:
                low, high = _extent(fixture)
                name = f"{light.fixture}-{len(bodies) + 1}"
                drawn = fixture.body.drawn
                points = box_corners(low, high) if drawn is None else drawn.vertices
                bodies.append(
                    Part(
                        name, "fixture", pivot + points @ turned.T,
                        BOX_FACES if drawn is None else drawn.faces,
                        fixture.body.surface, solid=drawn is None or drawn.solid,
                    )
                )  # fmt: skip
                boxes.append((index, pivot, turned, low, high))
                drawn_bodies.append(drawn)
            for strip, (flux, shares) in zip(fixture.strips, fluxes, strict=True):
                centre, own = _strip_frame(strip)
                strips.append(
                    PlacedStrip(
                        light=index,
                        group=light.group,
                        centre=pivot + turned @ centre,
                        axes=(turned @ own).T,
                        length_m=strip.length,
                        width_m=strip.width,
                        lens=strip.lens.kind,
                        along_rad=strip.lens.along,
                        across_rad=strip.lens.across,
                        distribution=strip.lens.distribution,
                        ghost_body=len(bodies) - 1 if ignores_body else -1,
                        flux_umol_s=flux,
                        shares=tuple(float(v) for v in shares),
                        spectrum=fixture.spectrum_of(strip).light,
                        output=light.output_of(strip.channel),
                        channel=strip.channel or "",
                    )
                )
    _refuse_outside(scene, strips, boxes, drawn_bodies)
    return strips, bodies


def luminous_corners(strip: PlacedStrip) -> Array:
    """Four corners of a placed strip's luminous rectangle, (4, 3) m."""
    a = strip.axes[0] * strip.length_m / 2
    b = strip.axes[1] * strip.width_m / 2
    return np.array([strip.centre + i * a + j * b for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1))])


def _refuse_outside(
    scene: Scene,
    strips: list[PlacedStrip],
    boxes: list[tuple[int, Array, Array, Array, Array]],
    drawn: list[DrawnBody | None],
) -> None:
    """Raise for everything that sticks out of the enclosure or into a body."""
    size = np.array([scene.enclosure.width, scene.enclosure.depth, scene.enclosure.height])
    outlines = [
        (i, p + (box_corners(lo, hi) if body is None else body.vertices) @ r.T)
        for (i, p, r, lo, hi), body in zip(boxes, drawn, strict=True)
    ]
    outlines += [(s.light, luminous_corners(s)) for s in strips]
    # Of each light, and of a whole row, only what reaches farthest is told.
    worst: dict[int, tuple[float, str]] = {}
    for index, corners in outlines:
        beyond = np.concatenate([-corners.min(0), corners.max(0) - size])
        side = int(beyond.argmax())
        if beyond[side] > max(1e-9, worst.get(index, (0.0, ""))[0]):
            face = ("left", "front", "floor", "right", "back", "ceiling")[side]
            worst[index] = (float(beyond[side]), face)
    problems = []
    for index, (overhang, face) in sorted(worst.items()):
        in_row = ", or lessen the row's count or gap" if scene.lights[index].row else ""
        message = (
            f"reaches {format_length(overhang)} beyond the {face}; "
            f"move it, turn it or choose a smaller fixture{in_row}"
        )
        problems.append(scene.problem(("lights", index), message))
    for index in sorted(_buried(strips, boxes, drawn)):
        message = (
            "a strip lies inside a fixture's body; give it a drop of a few mm "
            "below the body, or a wider gap in the row"
        )
        problems.append(scene.problem(("lights", index), message))
    if problems:
        raise SceneError(problems)


def _buried(
    strips: list[PlacedStrip],
    boxes: list[tuple[int, Array, Array, Array, Array]],
    drawn: list[DrawnBody | None],
) -> set[int]:
    """Lights of which a strip has a corner or its middle inside any solid body."""
    found: set[int] = set()
    if not strips:
        return found
    points = np.array([[*luminous_corners(s), s.centre] for s in strips])
    own = np.array([s.ghost_body for s in strips])
    for number, (_, pivot, turned, low, high) in enumerate(boxes):
        inside = (points - pivot) @ turned
        within = np.all((inside > low) & (inside < high), axis=2)
        body = drawn[number]
        if body is not None:
            for strip, corner in np.argwhere(within):
                within[strip, corner] = body.holds(inside[strip, corner])
        hit = np.any(within, axis=1) & (own != number)
        found.update(strips[i].light for i in np.flatnonzero(hit))
    return found
