"""Rooms in balance: every face shines alike from every spot, so that light is the same everywhere.

Kirchhoff: whatever keeps nothing, or as much as it sends out, changes nothing there.
"""

from __future__ import annotations

from canopysim.book.exact.frames import Triple
from canopysim.book.scenes import Data, panel

# Walls shine from so far inside of them: light that starts in a triangle has no side.
IN = 5e-6
# What that leaves of the light between a wall and what shines there, of all light.
IN_OFF = 1e-5


def face_areas(size: Triple) -> dict[str, float]:
    """Areas of the six faces of a box, m2."""
    w, d, h = size
    return {"left": d * h, "right": d * h, "front": w * h, "back": w * h, "floor": w * d,
            "ceiling": w * d}  # fmt: skip


def shining_walls(size: Triple, exitance: float) -> Data:
    """Give fixtures and lights that make every face of a box shine inwards, in µmol m⁻² s⁻¹."""
    w, d, h = size
    places = [
        ((w, d), (w / 2, d / 2), h - IN, {}),
        ((w, d), (w / 2, d / 2), IN, {"tilt": "180 deg"}),
        ((h, d), (IN, d / 2), h / 2, {"pitch": "-90 deg"}),
        ((h, d), (w - IN, d / 2), h / 2, {"pitch": "90 deg"}),
        ((w, h), (w / 2, IN), h / 2, {"tilt": "90 deg"}),
        ((w, h), (w / 2, d - IN), h / 2, {"tilt": "-90 deg"}),
    ]
    fixtures, lights = {}, []
    for n, ((a, b), (x, y), z, aim) in enumerate(places):
        name = f"face-{n}"
        fixtures[name] = panel(f"{a - 2 * IN:.6f} m", f"{b - 2 * IN:.6f} m",
                               flux=f"{exitance * a * b:.12f} umol/s")  # fmt: skip
        lights.append({"fixture": name, "group": "walls", "at": [f"{x:.6f} m", f"{y:.6f} m"],
                       "height": f"{z:.6f} m"} | aim)  # fmt: skip
    return {"fixtures": fixtures, "lights": lights}
