"""Pieces of scenes that cases have in common, in the words of a scene file."""

from __future__ import annotations

from typing import Any

Data = dict[str, Any]
WALLS = ("left", "right", "front", "back")
ONE_BAND = {"400-500": "100 %"}
# Five bands, as unlike in strength as those of a white light.
WHITE = {"400-500": "20 %", "500-600": "35 %", "600-700": "38 %", "700-750": "4 %",
         "750-800": "3 %"}  # fmt: skip


def panel(length: str, width: str, lens: Any = "lambertian", flux: str = "100 umol/s",
          spectrum: Any = None) -> Data:  # fmt: skip
    """Give a bare luminous rectangle."""
    return {"photon_flux": flux, "spectrum": spectrum or ONE_BAND,
            "strips": [{"length": length, "width": width, "lens": lens}]}  # fmt: skip


def box(width: str = "1 m", depth: str = "1 m", height: str = "1 m", **faces: Any) -> Data:
    """Give a box whose faces are black, unless they are named with a surface."""
    whole: Data = {"width": width, "depth": depth, "height": height, "lining": "black"}
    return whole | ({"faces": faces} if faces else {})


def scene(title: str, **parts: Any) -> Data:
    """Put a scene together; its surfaces always have a black one."""
    whole: Data = {"title": title, "enclosure": box()}
    whole |= parts
    return whole | {"surfaces": {"black": {}} | whole.get("surfaces", {})}


def percent(share: float) -> str:
    """Write a share as a scene file has it, to all digits."""
    return f"{100.0 * share:.12g} %"
