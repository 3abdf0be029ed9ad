"""The plants of the library: how full-grown ones are built, with the sources of every number."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from canopysim.errors import CanopysimError
from canopysim.units import parse_angle, parse_length

PLANT_NAMES: tuple[str, ...] = ("basil", "leaf-lettuce", "pepper", "strawberry", "tomato")
"""Plants of the library; each is a file of that name."""


@dataclass(frozen=True)
class LibraryPlant:
    """A kind of plant, full grown.

    Attributes
    ----------
    name, title : str
        In a scene, and for people.
    conditions : str
        For which plants the parameters hold.
    parameters : dict of str to text, list or dict
        Entries of a scene's plant, as a scene would have them.
    sources : dict of str to str
        Where each comes from: a publication, a collection of facts, or "assumed".
    height : (float, float), m
        Between which the height of the plant, from the stem's foot to its highest point, must lie.
    leaf_angle : (float, float), rad
        Between which the mean inclination of its leaf area to the level must lie.
    """

    name: str
    title: str
    conditions: str
    parameters: dict[str, Any]
    sources: dict[str, str]
    height: tuple[float, float]
    leaf_angle: tuple[float, float]


@cache
def library_plant(name: str) -> LibraryPlant:
    """Read a plant of the library.

    Parameters
    ----------
    name : str
        One of `PLANT_NAMES`.

    Returns
    -------
    LibraryPlant

    Raises
    ------
    CanopysimError
        If the library has no plant of that name.
    """
    if name not in PLANT_NAMES:
        raise CanopysimError(
            f"{name!r} is not in the plant library; allowed: {', '.join(PLANT_NAMES)}"
        )
    place = files("canopysim.library").joinpath("plants", f"{name}.yaml")
    return read_plant(name, place.read_text("utf-8"))


def read_plant(name: str, text: str) -> LibraryPlant:
    """Read the text of a plant file.

    Parameters
    ----------
    name : str
        What the plant is called.
    text : str
        YAML with ``title``, ``conditions``, ``parameters`` (each with ``value`` and ``source``) and
        ``ranges`` of ``height`` and ``leaf_angle`` (each with ``low``, ``high`` and ``source``).

    Returns
    -------
    LibraryPlant
        Values are text, as those of a scene are until its schema reads them.

    Raises
    ------
    CanopysimError
        Where something is missing or is not what it should be.
    """
    import yaml

    try:
        # Every scalar stays the text that a scene file would hold.
        data = yaml.load(text, Loader=yaml.BaseLoader)
        given, ranges = data["parameters"], data["ranges"]
        height, angle = (ranges[key] for key in ("height", "leaf_angle"))
        plant = LibraryPlant(
            name=name,
            title=data["title"],
            conditions=" ".join(data["conditions"].split()),
            parameters={key: entry["value"] for key, entry in given.items()},
            sources={
                **{key: entry["source"] for key, entry in given.items()},
                **{key: entry["source"] for key, entry in ranges.items()},
            },
            height=(parse_length(height["low"]), parse_length(height["high"])),
            leaf_angle=(parse_angle(angle["low"]), parse_angle(angle["high"])),
        )
    except (yaml.YAMLError, AttributeError, KeyError, TypeError, ValueError) as problem:
        raise CanopysimError(f"plant {name}: cannot be read ({problem!r})") from problem
    for key, (low, high) in (("height", plant.height), ("leaf_angle", plant.leaf_angle)):
        if not low < high:
            raise CanopysimError(f"plant {name}: ranges.{key} is empty; write low below high")
    for key, source in plant.sources.items():
        if not source.strip():
            raise CanopysimError(f"plant {name}: {key} has no source; write one, or 'assumed'")
    return plant
