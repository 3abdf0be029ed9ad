"""Whether VTK can draw here, found out in a child process.

Creating a VTK render window without a working libGL or libEGL is a segmentation fault, not an
exception. So the question is asked in a child, which renders 8 × 8 pixels: only it can die.
"""

from __future__ import annotations

import functools
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

WINDOW_VARIABLE = "VTK_DEFAULT_OPENGL_WINDOW"
TIMEOUT_S = 30.0

# A white 8 × 8 background, rendered and read back, with as little of VTK as that takes; a core dump
# of a dying child helps nobody.
_CHILD = """
import sys
try:
    import resource
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
except ImportError:
    pass
import vtkmodules.vtkRenderingOpenGL2
from vtkmodules.vtkRenderingCore import vtkRenderer, vtkRenderWindow, vtkWindowToImageFilter
window = vtkRenderWindow()
window.OffScreenRenderingOn()
window.SetSize(8, 8)
renderer = vtkRenderer()
renderer.SetBackground(1.0, 1.0, 1.0)
window.AddRenderer(renderer)
picture = vtkWindowToImageFilter()
picture.SetInput(window)
picture.Update()
image = picture.GetOutput()
white = all(image.GetPointData().GetScalars().GetRange(k) == (255.0, 255.0) for k in range(3))
sys.exit(0 if image.GetDimensions() == (8, 8, 1) and white else 3)
"""


def probe(window: str, *, python: str = sys.executable, timeout_s: float = TIMEOUT_S) -> bool:
    """Try to render 8 × 8 pixels in a child process.

    Parameters
    ----------
    window : str
        VTK's render window class for the child, or "" for VTK's own choice.
    python : str
        Interpreter to start.
    timeout_s : float
        Seconds after which a hanging driver counts as none.

    Returns
    -------
    bool
        True only if the child ended well; a crash, a hang or a missing interpreter is False.
    """
    environment = {**os.environ}
    environment.pop(WINDOW_VARIABLE, None)
    if window:
        environment[WINDOW_VARIABLE] = window
    try:
        child = subprocess.run(
            [python, "-c", _CHILD],
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=timeout_s,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return False
    return child.returncode == 0


def candidates() -> list[str]:
    """Render window classes worth trying here, the likeliest first ("" is VTK's own choice)."""
    stated = os.environ.get(WINDOW_VARIABLE)
    if stated:
        return [stated]
    if not sys.platform.startswith("linux"):
        return [""]
    headless = ["vtkEGLRenderWindow", "vtkOSOpenGLRenderWindow"]
    return ["", *headless] if os.environ.get("DISPLAY") else headless


@functools.cache
def working_window() -> str | None:
    """Render window class that can draw on this machine, asked once per process.

    Returns
    -------
    str or None
        A class name, "" for VTK's own choice, or None if nothing can draw.
    """
    return next((window for window in candidates() if probe(window)), None)


@contextmanager
def chosen_window(window: str) -> Iterator[None]:
    """Let VTK make windows of this class inside the block; the environment is put back after."""
    before = os.environ.get(WINDOW_VARIABLE)
    if window:
        os.environ[WINDOW_VARIABLE] = window
    try:
        yield
    finally:
        if before is None:
            os.environ.pop(WINDOW_VARIABLE, None)
        else:
            os.environ[WINDOW_VARIABLE] = before
