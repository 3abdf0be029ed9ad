"""What `check` says of plants: what was taken from the library, how far they have grown."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canopysim.bands import PAR
from canopysim.library.plants import library_plant
from canopysim.library.surfaces import library_surfaces
from canopysim.matter.stage import grown_shares
from canopysim.units import format_share

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene
    from canopysim.scene.schema_matter import Plant


def plant_lines(scene: Scene) -> list[str]:
    """Tell of every planted kind what the scene does not say itself.

    Parameters
    ----------
    scene : Scene
        A checked scene.

    Returns
    -------
    list of str
        Sentences; none for full-grown plants that the scene describes on its own.
    """
    if scene.canopy is None:
        return []
    lines: list[str] = []
    for name in dict.fromkeys(planting.plant for planting in scene.canopy.plantings):
        plant = scene.plants[name]
        lines += [f"{name}: {line}" for line in (*_like(scene, name, plant), *_stage(plant))]
    return lines + _surfaces(scene)


def _surfaces(scene: Scene) -> list[str]:
    """Say which surfaces are the library's, what they reflect, and how sure that is."""
    taken = [name for name in scene.surfaces if not scene.states("surfaces", name)]
    lines = []
    for name in taken:
        stock = library_surfaces()[name]
        mean = float(scene.surfaces[name].diffuse.values(PAR)[0])
        lines.append(
            f"surface {name} is the library's: {stock.title}, {format_share(round(mean, 3))} of "
            f"400–700 nm, usually {format_share(stock.low)} to {format_share(stock.high)} "
            f"({stock.source})."
        )
    return lines


def _like(scene: Scene, name: str, plant: Plant) -> list[str]:
    """Say how much of a plant is the library's."""
    if plant.like is None:
        return []
    stock = library_plant(plant.like)
    own = [key for key in stock.parameters if scene.states("plants", name, key)]
    taken = [key for key in stock.parameters if key not in own]
    assumed = [key for key in taken if stock.sources[key].startswith("assumed")]
    return [
        f"{len(taken)} entries are those of the library's {plant.like}, {len(assumed)} of them "
        "assumed; put in what you have measured."
    ]


def _stage(plant: Plant) -> list[str]:
    """Say how many leaves are out."""
    if plant.stage is None:
        return []
    grown = grown_shares(plant)
    full = int((grown == 1.0).sum())
    each = " of each stem" if plant.branches > 1 else ""
    return [
        f"at stage {format_share(plant.stage)}, {len(grown)} of {plant.nodes} leaves{each} are "
        f"out, {full} of them full grown."
    ]
