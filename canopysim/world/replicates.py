"""The same scene with plants grown from several seeds: one world for each, and their mean.

A batch of a run with N replicates is one small batch in each of the N canopies, added up: rows of
batches then tell the noise of the light for these very plants, and what the canopies have of their
own is kept beside them, from which the spread from plant to plant follows.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from canopysim.errors import CanopysimError

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene
    from canopysim.world.canopy_box import CanopyPlan
    from canopysim.world.compile import World
    from canopysim.world.layers import LayerTable
    from canopysim.world.planes import PlaneTable
    from canopysim.world.splits import SplitPlan

MOST_REPLICATES = 64
SEEDS = 2**32


def replicates_of(scene: Scene) -> int:
    """Canopies that a scene asks for; 1 without a canopy."""
    return 1 if scene.canopy is None else scene.canopy.replicates


def with_replicates(scene: Scene, number: int | None) -> Scene:
    """Ask a scene for another number of replicate canopies; None leaves it as it is.

    Raises
    ------
    CanopysimError
        Where nothing grows from a seed, or the number is out of range.
    """
    if number is None or number == replicates_of(scene):
        return scene
    if not 1 <= number <= MOST_REPLICATES:
        raise CanopysimError(
            f"replicates: {number} is out of range; allowed is 1 to {MOST_REPLICATES}"
        )
    if scene.canopy is None or not scene.canopy.plantings:
        raise CanopysimError(
            "replicates: no plants of this scene grow from a seed, so all replicates would be the "
            "same; leave it out"
        )
    return scene.model_copy(
        update={"canopy": scene.canopy.model_copy(update={"replicates": number})}
    )


def replicate_scenes(scene: Scene) -> list[Scene]:
    """One scene for each replicate: its own plant seed, its share of the packets of a batch."""
    n = replicates_of(scene)
    assert scene.canopy is not None
    tracing = scene.tracing.model_copy(update={"batch": max(1, round(scene.tracing.batch / n))})
    return [
        scene.model_copy(
            update={
                "canopy": scene.canopy.model_copy(
                    update={"seed": (scene.canopy.seed + number) % SEEDS, "replicates": 1}
                ),
                "tracing": tracing,
            }
        )
        for number in range(n)
    ]


def mean_world(worlds: list[World]) -> World:
    """Put replicates together: sizes and heights are means, a batch is a batch in each of them.

    Parameters
    ----------
    worlds : list of World
        Of `replicate_scenes`, at least two.

    Returns
    -------
    World
        Its arrays, parts and strips are those of the first replicate, and `replicates` holds all.
    """
    first, n = worlds[0], len(worlds)
    for world in worlds[1:]:
        # Plants differ; what is counted and what shines may not.
        assert world.sinks == first.sinks
        assert world.channels == first.channels
        assert [p.cells for p in world.planes] == [p.cells for p in first.planes]
    digest = hashlib.sha256(" ".join(w.digest for w in worlds).encode())
    return replace(
        first,
        strip_first=first.strip_first * n,
        channels=tuple(replace(c, packets=c.packets * n) for c in first.channels),
        layers=_mean_layers([w.layers for w in worlds if w.layers is not None]),
        planes=tuple(_mean_plane([w.planes[i] for w in worlds]) for i in range(len(first.planes))),
        splits=_joined_plan([w.splits for w in worlds if w.splits is not None]),
        digest=digest.hexdigest(),
        replicates=tuple(worlds),
    )


def _mean_layers(tables: list[LayerTable]) -> LayerTable:
    """Means of heights and leaf areas, layer by layer."""
    return replace(
        tables[0],
        z_top=np.mean([t.z_top for t in tables], 0),
        z_bottom=np.mean([t.z_bottom for t in tables], 0),
        leaf_area=np.mean([t.leaf_area for t in tables], 0),
        top=float(np.mean([t.top for t in tables])),
    )


def _mean_plane(planes: list[PlaneTable]) -> PlaneTable:
    """One plane at the mean of its heights, which differ where they count from the canopy's top."""
    heights = {p.height for p in planes}
    return (
        planes[0]
        if len(heights) == 1
        else replace(planes[0], height=float(np.mean([p.height for p in planes])))
    )


def _joined_plan(plans: list[SplitPlan]) -> SplitPlan | None:
    """Join what is told apart: the same rows, and the triangles of one after those of the other."""
    if not plans:
        return None
    canopies = [plan.canopy for plan in plans if plan.canopy is not None]
    return replace(
        plans[0],
        n_facet=sum(plan.n_facet for plan in plans),
        canopy=_mean_canopy(canopies) if canopies else None,
    )


def _mean_canopy(plans: list[CanopyPlan]) -> CanopyPlan:
    """Means of the boxes and of each plant's leaf area."""
    areas = np.mean([[plant.leaf_area for plant in plan.plants] for plan in plans], 0)
    return replace(
        plans[0],
        box=np.mean([plan.box for plan in plans], 0).astype(np.float32),
        level=np.mean([plan.level for plan in plans], 0).astype(np.float32),
        plants=tuple(
            replace(plant, leaf_area=float(area))
            for plant, area in zip(plans[0].plants, areas, strict=True)
        ),
    )
