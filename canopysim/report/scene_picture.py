"""A picture of the scene as PNG, with a graphics driver or without one."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO, TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.errors import CanopysimError
from canopysim.report.camera import box_corners, frame_box
from canopysim.report.gl_probe import chosen_window, working_window
from canopysim.report.shading import COLOURS, NEAR_EDGES, Soup, bent_edges, paint

if TYPE_CHECKING:
    from canopysim.matter.parts import Part

DRAW_VARIABLE = "CANOPYSIM_DRAW"
PYVISTA = "pyvista"
RASTERISER = "built-in rasteriser"
_NOTES = {
    PYVISTA: "picture drawn with pyvista",
    RASTERISER: "picture drawn with the built-in rasteriser; no graphics driver was used",
}


def draw_scene(
    parts: Sequence[Part],
    size: tuple[float, float, float],
    colours: Mapping[str, str] | None,
    path: Path | IO[bytes],
    width_px: int = 1200,
    *,
    strips: Sequence[NDArray[np.float64]] = (),
    drawn_room: bool = False,
    walls: bool = True,
) -> str:
    """Draw the scene from the front and above, front wall and ceiling cut away.

    Parameters
    ----------
    parts : sequence of Part
        Meshes in the world frame, m; leaves, stems and fixture bodies are drawn.
    size : (width, depth, height)
        Inner size of the enclosure, m.
    colours : mapping or None
        Colours (#rrggbb) by surface or leaf name, or by a key of `shading.COLOURS`; None for the
        standard ones.
    path : Path or binary file
        PNG file to write; its folder exists.
    width_px : int
        Width of the picture, pixels; a tall box makes a narrower one.
    strips : sequence of (4, 3) float64
        Corners of the luminous rectangles in order round the edge, m, world frame, as
        `shading.luminous_rectangles` makes them. Without them the undersides of the fixtures are
        shown luminous.
    drawn_room : bool
        Whether the parts of kind "wall" are the room; else it is a box.
    walls : bool
        Whether the enclosure's walls and edges are drawn, or its floor alone.

    Returns
    -------
    str
        What drew it: "pyvista" or "built-in rasteriser"; `renderer_note` says it in a line.

    Raises
    ------
    CanopysimError
        If CANOPYSIM_DRAW asks for something that cannot be done.

    Notes
    -----
    Drawn at double size and averaged. The environment variable CANOPYSIM_DRAW ("vtk" or "raster")
    chooses the renderer; otherwise pyvista is used where a child process has shown that it works.
    """
    from PIL import Image, ImageDraw

    camera = frame_box(size, 2 * width_px)
    soup = paint(parts, size, colours or {}, strips, camera, drawn_room=drawn_room, walls=walls)
    used, image, nearness = _render(soup, camera.size)

    from canopysim.report.raster import darken_hollows

    diagonal = float(np.linalg.norm(size))
    image = darken_hollows(image, nearness, radius=max(2, width_px // 40), scale=0.2 * diagonal)
    double = Image.fromarray(np.round(np.clip(image, 0.0, 1.0) * 255.0).astype(np.uint8))

    # The edges in front of everything come last, so that they darken nothing behind them.
    pen = ImageDraw.Draw(double)
    near = box_corners(size)[np.array(NEAR_EDGES)]
    if drawn_room:
        _, near = bent_edges([part for part in parts if part.kind == "wall"], camera)
    edge = {**COLOURS, **(colours or {})}["edge"]
    for a, b in camera.project(near)[..., :2] if walls else ():
        pen.line([*a, *b], fill=edge, width=max(2, width_px // 400))
    double.reduce(2).save(path, format="PNG")
    return used


def renderer_note(used: str) -> str:
    """One line for the user about the renderer that `draw_scene` returned."""
    return _NOTES[used]


def _render(
    soup: Soup, size: tuple[int, int]
) -> tuple[str, NDArray[np.float32], NDArray[np.float64]]:
    """Draw with the renderer that is asked for, or with the best that works here."""
    wanted = os.environ.get(DRAW_VARIABLE, "").strip().lower()
    if wanted not in ("", "vtk", "raster"):
        raise CanopysimError(
            f"{DRAW_VARIABLE} is {wanted!r}; allowed are vtk, raster, or leave it unset"
        )
    window = None if wanted == "raster" else working_window()
    if window is not None:
        try:
            return (PYVISTA, *_render_vtk(soup, size, window))
        except (ImportError, RuntimeError, ValueError):
            if wanted == "vtk":
                raise
    elif wanted == "vtk":
        raise CanopysimError(
            f"{DRAW_VARIABLE}=vtk, but VTK cannot draw here (no working libEGL, libGL or "
            "libOSMesa); install one, or unset the variable to use the built-in rasteriser"
        )
    from canopysim.report.raster import draw_triangles

    return (RASTERISER, *draw_triangles(soup.screen, soup.colours, size=size))


def _render_vtk(
    soup: Soup, size: tuple[int, int], window: str
) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """Draw the projected triangles through pyvista: a parallel camera on the screen's own axes."""
    import pyvista

    width, height = size
    n = len(soup.screen)
    points = soup.screen.reshape(-1, 3).copy()
    # Screen rows count downwards; nearness becomes height above the picture, from 0 to 1.
    points[:, 1] = height - points[:, 1]
    nearest = float(points[:, 2].max())
    points[:, 2] /= nearest
    faces = np.column_stack([np.full(n, 3), np.arange(3 * n).reshape(n, 3)]).ravel()
    mesh = pyvista.PolyData(points, faces=faces)
    mesh.point_data["rgb"] = np.round(soup.colours.reshape(-1, 3) * 255.0).astype(np.uint8)

    with chosen_window(window):
        plotter = pyvista.Plotter(off_screen=True, window_size=[width, height], lighting="none")
        try:
            plotter.background_color = pyvista.Color("white")
            plotter.add_mesh(mesh, scalars="rgb", rgb=True, lighting=False, show_scalar_bar=False)
            camera = plotter.camera
            camera.parallel_projection = True
            camera.position = (0.5 * width, 0.5 * height, 2.0)
            camera.focal_point = (0.5 * width, 0.5 * height, 0.0)
            camera.up = (0.0, 1.0, 0.0)
            camera.parallel_scale = 0.5 * height
            camera.clipping_range = (0.5, 2.5)
            plotter.render()
            image = np.asarray(plotter.screenshot(None, return_img=True))
            away = np.asarray(plotter.get_image_depth(), np.float64)
        finally:
            plotter.close()
    nearness = np.where(np.isnan(away), 0.0, (away + 2.0) * nearest)
    return (image[:, :, :3] / 255.0).astype(np.float32), np.maximum(nearness, 0.0)
