"""The surfaces of the library: stems, flowers, fruit, pots and soils, with ranges and sources."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from canopysim.errors import CanopysimError
from canopysim.units import parse_share

SURFACE_NAMES: tuple[str, ...] = (
    "green-stem",
    "woody-stem",
    "white-petal",
    "yellow-petal",
    "green-spike",
    "green-fruit",
    "red-fruit",
    "peat",
    "potting-mix",
    "coco",
    "dry-soil",
    "perlite",
    "white-film",
    "white-mulch",
    "black-plastic",
    "terracotta",
    "white-net",
    "concrete",
)
"""Surfaces of the library, all of them matt."""


@dataclass(frozen=True)
class LibrarySurface:
    """One surface.

    Attributes
    ----------
    title : str
        For people.
    diffuse : dict of str to str
        Share reflected by range of wavelengths in nm, as a scene would have it.
    low, high : float
        Range in which the mean over 400-700 nm of such surfaces usually lies.
    source : str
        Where the values come from; what is assumed says so.
    """

    title: str
    diffuse: dict[str, str]
    low: float
    high: float
    source: str


@cache
def library_surfaces() -> dict[str, LibrarySurface]:
    """Read all surfaces of the library.

    Returns
    -------
    dict of str to LibrarySurface
        By name, in the order of `SURFACE_NAMES`.

    Raises
    ------
    CanopysimError
        Where the file lacks something, or an entry has no source.
    """
    import yaml

    text = files("canopysim.library").joinpath("surfaces.yaml").read_text("utf-8")
    try:
        data = yaml.load(text, Loader=yaml.BaseLoader)
        found = {
            name: LibrarySurface(
                title=data[name]["title"],
                diffuse=dict(data[name]["diffuse"]),
                low=parse_share(data[name]["range"]["low"]),
                high=parse_share(data[name]["range"]["high"]),
                source=data[name]["source"],
            )
            for name in SURFACE_NAMES
        }
    except (yaml.YAMLError, KeyError, TypeError, ValueError) as problem:
        raise CanopysimError(f"surfaces of the library: cannot be read ({problem!r})") from problem
    for name, surface in found.items():
        if not surface.source.strip() or not surface.low < surface.high:
            raise CanopysimError(f"surface {name} of the library: needs a source and a range")
    return found
