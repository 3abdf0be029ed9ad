"""Plain values that go with a result: title, conditions, versions."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from canopysim.limits import Limits

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene
    from canopysim.tallies.stop import Progress
    from canopysim.world.compile import World


def _versions() -> dict[str, str]:
    """Versions that a figure may depend on."""
    import platform
    from importlib.metadata import version

    names = ("canopysim", "numpy", "numba", "llvmlite", "xarray")
    return {"python": platform.python_version()} | {name: version(name) for name in names}


def run_meta(
    scene: Scene,
    world: World,
    limits: Limits,
    seed: int,
    now: Progress,
    stopped_by: str,
    threads: int,
) -> dict[str, Any]:
    """Plain values that go with the result."""
    enclosure = scene.enclosure
    layers = world.layers
    finite_time = limits.max_time_s if limits.max_time_s != float("inf") else None
    return {
        "title": scene.title,
        "scene_name": scene.path.name if scene.path is not None else "",
        "scene_text": scene.text,
        "files": scene_files(scene),
        "seed": seed,
        "n_packet": now.n_packet,
        "n_batch": now.n_batch,
        "stopped_by": stopped_by,
        "limiting": now.limiting,
        "limiting_rel_err": now.rel_err if now.rel_err == now.rel_err else None,
        "seconds": now.seconds,
        "threads": threads,
        "versions": _versions(),
        "digest": world.digest,
        "band_names": list(scene.band_names),
        "told_apart": _told_apart(scene, world),
        "settings": {
            "width_m": enclosure.width,
            "depth_m": enclosure.depth,
            "height_m": enclosure.height,
            "lining": enclosure.lining,
            "with_plants": layers is not None,
            "ground_area_m2": layers.ground_area if layers is not None else None,
            "canopy_height_m": layers.top if layers is not None else None,
            "leaf_area_m2": float(layers.leaf_area.sum()) if layers is not None else None,
            "target": limits.target,
            "target_floor": scene.tracing.floor,
            "max_packets": limits.max_packets,
            "max_time_s": finite_time,
            "batch_packets": world.batch_packets,
            "n_triangle": world.n_triangle,
        },
    }


def _told_apart(scene: Scene, world: World) -> dict[str, Any]:
    """Give names of the rows of what is told apart, and what their analysis has to know."""
    plan = world.splits
    if plan is None:
        return {}
    lining = scene.surfaces[scene.enclosure.lining]
    reflectance = lining.diffuse.values(scene.bands) + lining.specular.values(scene.bands)
    return {
        "splits": [{"name": s.name, "first": s.first, "rows": list(s.rows)} for s in plan.splits],
        "on_cells": plan.on_cells,
        "facets": plan.n_facet > 0,
        "lining_reflectance": [float(v) for v in reflectance],
        "lined_ends": sorted(
            {name for name, lined in zip(world.places, plan.place_lining, strict=True) if lined}
        ),
        "cells": [int(n) for n in plan.cells],
        "n_strip": len(world.strips),
    }


def scene_files(scene: Scene) -> dict[str, str]:
    """Every file that a scene was read from, by its path from the scene's folder.

    Parameters
    ----------
    scene : Scene
        Read from a file or from text.

    Returns
    -------
    dict of str to str
        Text by path; the scene itself under its own name. Enough to read the scene again.
    """
    if scene.path is None:
        return {}
    folder = scene.path.resolve().parent
    return {
        os.path.relpath(Path(name).resolve(), folder): text for name, text in scene.sources.items()
    }
