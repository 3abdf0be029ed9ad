"""A scene's plant that starts from one of the library: `like`, and what the scene says instead."""

from __future__ import annotations

import difflib
from typing import Any

from canopysim.library.plants import PLANT_NAMES, library_plant
from canopysim.scene.fields import refuse
from canopysim.units import shown


def from_library(data: Any) -> Any:
    """Fill in what a plant does not say from the library's plant that it is like.

    Parameters
    ----------
    data : Any
        A plant's entries as text; anything else, or one without ``like``, is given back as it is.

    Returns
    -------
    Any
        The plant's own entries win; of entries that are mappings, those within win.

    Raises
    ------
    PydanticCustomError
        At ``like``, if the library has no such plant.
    """
    if not isinstance(data, dict) or not isinstance(data.get("like"), str):
        return data
    name = data["like"].strip()
    if name not in PLANT_NAMES:
        close = difflib.get_close_matches(name[:60], PLANT_NAMES, n=1)
        hint = f"did you mean '{close[0]}'? " if close else ""
        refuse(
            f"{shown(name)} is not in the plant library; {hint}allowed: {', '.join(PLANT_NAMES)}",
            "like",
        )
    filled = {**library_plant(name).parameters, **data}
    for key, stock in library_plant(name).parameters.items():
        if isinstance(stock, dict) and isinstance(filled[key], dict):
            filled[key] = {**stock, **filled[key]}
    return filled


def either_like_or_whole(schema: dict[str, Any]) -> None:
    """Say in a plant's JSON Schema that ``like`` stands in for the entries that must be written."""
    own = {"leaf", "stem"}
    rest = [key for key in schema["required"] if key not in own]
    schema["required"] = [key for key in schema["required"] if key in own]
    schema["anyOf"] = [{"required": ["like"]}, {"required": rest}]
