"""The crops of the library: how their leaves turn absorbed light into carbon, with its sources."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from canopysim.errors import CanopysimError

CROP_NAMES: tuple[str, ...] = ("basil", "leaf-lettuce", "pepper", "strawberry", "tomato")
"""Crops of the library; each is a file of that name."""
UNITS = {
    "pm": "umol CO2 m-2 s-1",
    "phi": "mol mol-1",
    "theta": "1",
    "rd": "umol CO2 m-2 s-1",
    "limit": "umol m-2 s-1",
}
"""Parameters that every crop has, with the unit that its file must state."""


@dataclass(frozen=True)
class Parameter:
    """A number with its range and where it comes from.

    Attributes
    ----------
    value, low, high : float
        Used, and the ends of what leaves of the crop may have.
    unit : str
        As in the file.
    source : str
        A publication, or "assumed".
    """

    value: float
    low: float
    high: float
    unit: str
    source: str


@dataclass(frozen=True)
class Crop:
    """How a crop's leaves answer to light.

    Attributes
    ----------
    name, title : str
        In a scene, and for people.
    conditions : str
        For which the parameters hold.
    pm : Parameter
        Gross photosynthesis in saturating light, µmol CO2 m⁻² s⁻¹ of one-sided leaf area.
    phi : Parameter
        Initial slope, mol CO2 per mol of absorbed photons of 400–700 nm.
    theta : Parameter
        Curvature, 0 to 1.
    rd : Parameter
        Dark respiration, µmol CO2 m⁻² s⁻¹.
    limit : Parameter
        Absorbed 400–700 nm above which leaves may bleach, µmol m⁻² s⁻¹.
    """

    name: str
    title: str
    conditions: str
    pm: Parameter
    phi: Parameter
    theta: Parameter
    rd: Parameter
    limit: Parameter


@cache
def library_crop(name: str) -> Crop:
    """Read a crop of the library.

    Parameters
    ----------
    name : str
        One of `CROP_NAMES`.

    Returns
    -------
    Crop

    Raises
    ------
    CanopysimError
        If the library has no crop of that name.
    """
    if name not in CROP_NAMES:
        close = difflib.get_close_matches(name, CROP_NAMES, n=1)
        hint = f"did you mean {close[0]!r}? " if close else ""
        raise CanopysimError(
            f"{name!r} is not in the crop library; {hint}allowed: {', '.join(CROP_NAMES)}"
        )
    place = files("canopysim.library").joinpath("crops", f"{name}.yaml")
    return read_crop(name, place.read_text("utf-8"))


def read_crop(name: str, text: str) -> Crop:
    """Read the text of a crop file.

    Parameters
    ----------
    name : str
        What the crop is called.
    text : str
        YAML with ``title``, ``conditions`` and ``parameters``; each parameter of `UNITS` has
        ``value``, ``low``, ``high``, ``unit`` and ``source``.

    Returns
    -------
    Crop

    Raises
    ------
    CanopysimError
        Where something is missing, of another unit or outside its own range.
    """
    import yaml

    try:
        data = yaml.safe_load(text)
        given = data["parameters"]
        found = {
            key: Parameter(
                value=float(given[key]["value"]),
                low=float(given[key]["low"]),
                high=float(given[key]["high"]),
                unit=str(given[key]["unit"]),
                source=str(given[key]["source"]),
            )
            for key in UNITS
        }
        title, conditions = str(data["title"]), str(data["conditions"])
    except (yaml.YAMLError, KeyError, TypeError, ValueError) as problem:
        raise CanopysimError(f"crop {name}: cannot be read ({problem})") from problem
    for key, parameter in found.items():
        if parameter.unit != UNITS[key]:
            raise CanopysimError(
                f"crop {name}: {key} is in {parameter.unit!r}; allowed is {UNITS[key]!r}"
            )
        if not 0.0 < parameter.low <= parameter.value <= parameter.high < float("inf"):
            raise CanopysimError(
                f"crop {name}: {key} is {parameter.value:g}; allowed is more than 0, and its own "
                f"range {parameter.low:g} to {parameter.high:g}"
            )
    if not found["theta"].high <= 1.0:
        raise CanopysimError(f"crop {name}: theta reaches {found['theta'].high:g}; at most 1")
    if not found["rd"].value < found["pm"].value:
        raise CanopysimError(f"crop {name}: rd is not below pm, so no light would ever do")
    return Crop(name=name, title=title, conditions=conditions, **found)
