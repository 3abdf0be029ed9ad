"""Plain values that go with a result: title, conditions, versions."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from canopysim.light.facts import fixture_facts
from canopysim.light.meter import RESPONSES
from canopysim.light.power import power_facts
from canopysim.limits import Limits
from canopysim.world.band_cost import narrow_optics

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
        "electricity": electricity_meta(scene, world),
        "fixtures": fixture_facts(scene),
        "channels": _channels(scene, world),
        "channel_yield": channel_yield(world),
        "band_cost": narrow_optics(scene, world),
        "inside_canopy": _inside_canopy(world),
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
            **_drawn_room(scene),
            **({"n_volume": len(world.volumes)} if world.volumes else {}),
            "replicates": max(1, len(world.replicates)),
            **_leaves(scene),
        },
    }


def _leaves(scene: Scene) -> dict[str, Any]:
    """Give what the scene says of its leaves' photosynthesis; nothing where it names no crop."""
    canopy = scene.canopy
    if canopy is None or canopy.crop is None:
        return {}
    found: dict[str, Any] = {"crop": canopy.crop}
    if canopy.acclimation is not None:
        found["acclimation"] = canopy.acclimation
    if canopy.bright_limit is not None:
        found["bright_limit_umol_m2_s"] = canopy.bright_limit
    return found


def _drawn_room(scene: Scene) -> dict[str, Any]:
    """Give the file of a drawn room, and its floor; nothing for a box."""
    enclosure = scene.enclosure
    if enclosure.mesh is None:
        return {}
    return {"drawn_room": enclosure.mesh.file, "floor_area_m2": enclosure.floor_area}


def _inside_canopy(world: World) -> dict[str, Any]:
    """Tell which groups of lights shine from below the canopy's top, and whether a body is there.

    Light that does not only come from above has no extinction coefficient.
    """
    if world.layers is None:
        return {}
    groups, bodies = set(), False
    for one in world.replicates or (world,):
        assert one.layers is not None
        top = float(one.layers.z_top[0])
        for strip in one.strips:
            reach = np.abs(strip.axes[:2, 2]) @ (strip.length_m, strip.width_m)
            if strip.centre[2] - 0.5 * reach < top:
                groups.add(strip.group)
        lows = [part.vertices[:, 2].min() for part in one.parts if part.kind == "fixture"]
        bodies |= any(float(z) < top for z in lows)
    return {"groups": sorted(groups), "bodies": bodies}


def electricity_meta(scene: Scene, world: World) -> dict[str, Any]:
    """Give what the scene states of electricity, and what its channels launch at full output.

    Parameters
    ----------
    scene, world : Scene, World
        A checked scene and the same compiled.

    Returns
    -------
    dict
        As `power_facts`, and for every channel the number of its light, from 1 (0: daylight), its
        name in the fixture ("": none), and the flux at full output that a quantum stands for;
        empty where nothing is stated.
    """
    facts = power_facts(scene)
    if not facts:
        return {}
    lights = [0] * len(world.channels)
    for strip, channel in zip(world.strips, world.arrays.strip_channel, strict=True):
        lights[int(channel)] = max(strip.light + 1, 0)
    full = [replace(channel, output=1.0).umol_s_per_quantum for channel in world.channels]
    return {
        **facts,
        "channel_light": lights,
        "channel_name": [channel.name for channel in world.channels],
        "channel_full_umol_s_per_quantum": full,
    }


def _channels(scene: Scene, world: World) -> list[dict[str, Any]]:
    """Tell what each channel of the tallies is, and what a quantum of it stands for at full output.

    None for daylight.
    """
    found: list[dict[str, Any]] = [
        {"of": None, "full": replace(channel, output=1.0).umol_s_per_quantum}
        for channel in world.channels
    ]
    for strip, number in zip(world.strips, world.arrays.strip_channel, strict=True):
        if strip.light >= 0:
            found[int(number)]["of"] = {
                "light": strip.light + 1,
                "fixture": scene.lights[strip.light].fixture,
                "group": strip.group,
                "name": strip.channel,
                "output": strip.output,
            }
    return found


def channel_yield(world: World) -> list[list[float]]:
    """Yield photon flux per photon of each channel and band, as its light was launched."""
    response = RESPONSES["ypf"]
    found: list[list[float]] = [[]] * len(world.channels)
    for strip, channel in zip(world.strips, world.arrays.strip_channel, strict=True):
        if not found[int(channel)]:
            found[int(channel)] = response.per_band(strip.spectrum, world.edges).tolist()
    return found


def _told_apart(scene: Scene, world: World) -> dict[str, Any]:
    """Give names of the rows of what is told apart, and what their analysis has to know."""
    plan = world.splits
    if plan is None:
        return {}
    lining = scene.surfaces[scene.enclosure.lining]
    # The greatest under any of the lights.
    reflectance = np.max(
        [
            lining.diffuse.means(light, scene.bands) + lining.specular.means(light, scene.bands)
            for light in dict.fromkeys(strip.spectrum for strip in world.strips)
        ],
        axis=0,
    )
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
        "canopy": {} if plan.canopy is None else plan.canopy.meta(),
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
