"""Leaves: endless slabs that scatter, against discrete ordinates, layer by layer."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from canopysim.book.case import Case, Exact
from canopysim.book.cases.slabs import (
    BY_HEIGHT,
    CUTS,
    PANEL,
    pencils,
    sides_of,
    slab_scene,
)
from canopysim.book.exact.leaves import DENSITY, Density, Side, ellipsoid, shares_of_area
from canopysim.book.exact.ordinates import converged, sky
from canopysim.book.readings import AtLevels, LayerSides, Reading, Share

SLANTS = (24, 57)
GROUPS = {"diffuse": "even", **{f"{s} deg": f"from-{s}" for s in SLANTS}}
FLUX, AREA = 100.0, 0.8
# What the references may be off, from half as many nodes again; `converged` stays well below it.
OFF = 3e-6


def _exact(
    density: Density, lai: float, upper: Side, lower: Side, rho_floor: float
) -> Callable[[], Exact]:
    def exact() -> Exact:
        found: dict[str, Any] = {}
        layers = lai * shares_of_area(BY_HEIGHT, CUTS)
        lights = [sky(), *([(float(np.cos(np.radians(s))), 1.0)] for s in SLANTS)]
        for name, beams in zip(GROUPS, lights, strict=True):
            of, off = converged(density, layers, upper, lower, rho_floor, beams)
            if off > OFF:
                raise ArithmeticError(f"the ordinates have not converged: {off}")
            found[f"sides, {name}"] = of.sides
            found[f"floor, {name}"] = of.down[-1] * (1 - rho_floor)
            found[f"ceiling, {name}"] = of.up[0]
            found[f"down, {name}"] = of.down * FLUX / AREA
            found[f"up, {name}"] = of.up * FLUX / AREA
        return found

    return exact


def _case(
    name: str, density: Density, angles: Any, lai: float, upper: Side, lower: Side,
    rho_floor: float, *, mirrors: bool = False,
) -> Case:  # fmt: skip
    figures: dict[str, Reading] = {}
    for light, group in GROUPS.items():
        figures[f"sides, {light}"] = LayerSides(group)
        figures[f"floor, {light}"] = Share("floor", group)
        figures[f"ceiling, {light}"] = Share("ceiling", group)
        figures[f"down, {light}"] = AtLevels("down", group)
        figures[f"up, {light}"] = AtLevels("up", group)
    # Relative to all light: 1 for shares, its mean over the bay for planes.
    scale = {n: FLUX / AREA if isinstance(r, AtLevels) else 1.0 for n, r in figures.items()}
    sides = ", between perfect mirrors" if mirrors else ""
    return Case(
        name=f"scattering leaves, {name}{sides}",
        chapter="leaves",
        shows="What sides of leaves absorb and what passes between layers, down and up, where "
        "leaves scatter: under diffuse light and two beams.",
        source="Discrete ordinates of the bi-Lambertian slab (Ross 1981; Shultis and Myneni "
        "1988), written out in exact/ordinates.py; balances, level leaves and black leaves are "
        "its limits.",
        fails_if="A leaf scattered about another normal than the one that was met, by another law "
        "than Lambert's, with its sides or ways exchanged, or a second meeting were chosen by "
        "another rate than the first.",
        scene=slab_scene(
            sides_of(upper, lower), {"leaf_area_index": str(lai), "angles": angles},
            lights=[light | {"group": "even"} for light in PANEL] + pencils(*SLANTS),
            rho_floor=rho_floor, mirrors=mirrors, profile="true",
        ),
        figures=figures,
        exact=_exact(density, lai, upper, lower, rho_floor),
        exact_err={n: OFF * s for n, s in scale.items()},
        packets=3 << 19,
        scale=scale,
    )  # fmt: skip


CASES = (
    _case("spherical", DENSITY["spherical"], "spherical",
          2.0, (0.10, 0.40), (0.30, 0.20), 0.3),
    _case("planophile", DENSITY["planophile"], "planophile",
          1.6, (0.35, 0.25), (0.35, 0.25), 0.6),
    _case("erectophile", DENSITY["erectophile"], "erectophile",
          2.4, (0.15, 0.55), (0.45, 0.30), 0.2),
    _case("uniform", DENSITY["uniform"], "uniform",
          1.2, (0.50, 0.40), (0.55, 0.35), 0.4),
    _case("Campbell's ellipsoid of 0.5", ellipsoid(0.5), {"ellipsoid": "0.5"},
          1.8, (0.30, 0.05), (0.05, 0.30), 0.4),
    _case("plagiophile", DENSITY["plagiophile"], "plagiophile",
          1.5, (0.20, 0.45), (0.40, 0.10), 0.7, mirrors=True),
)  # fmt: skip
