"""What it costs to take a canopy's leaves as small and loose: the same light, traced both ways."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from canopysim.analysis.books import Estimate, absorbed_per_batch, launched, mean
from canopysim.analysis.ends import End, is_leaf, sink_mask
from canopysim.analysis.layers import layer_flux
from canopysim.analysis.penetration import penetration_of
from canopysim.analysis.profile import knows_profile, profile
from canopysim.errors import CanopysimError
from canopysim.scene.load import load_scene_text

if TYPE_CHECKING:
    from canopysim.results import Result
    from canopysim.scene.schema import Scene

How = Literal["slab", "crowns"]


@dataclass(frozen=True)
class Cost:
    """One figure of both traces.

    Attributes
    ----------
    name : str
        What it is.
    unit : str
        "µmol m⁻² s⁻¹", "share" (of the launched light) or "".
    drawn, turbid : Estimate
        With leaves as they are drawn, and as a turbid canopy.
    """

    name: str
    unit: str
    drawn: Estimate
    turbid: Estimate

    @property
    def change(self) -> Estimate:
        """Turbid over drawn, less one; NaN where the drawn figure is nothing.

        The two traces follow other photons, so their errors are independent.
        """
        if not self.drawn.value > 0.0:
            return Estimate(float("nan"), float("nan"))
        ratio = self.turbid.value / self.drawn.value
        relative = np.hypot(
            self.turbid.std_err / self.drawn.value, ratio * self.drawn.std_err / self.drawn.value
        )
        return Estimate(ratio - 1.0, float(relative))


def simplify_scenes(scene: Scene, how: How, *, allow_outside: bool = False) -> tuple[Scene, Scene]:
    """Make the two scenes to be compared from one.

    Parameters
    ----------
    scene : Scene
        With plants or meshes, read from text.
    how : "slab" or "crowns"
        What their leaves become.
    allow_outside : bool
        As in `load_scene`.

    Returns
    -------
    drawn, turbid : Scene
        The scene with the light between the layers counted, where it does not say otherwise, and
        the same with ``as_volume``; both without single leaf triangles. Everything else is as
        written.

    Raises
    ------
    CanopysimError
        If there is nothing to simplify.
    SceneError
        If the new texts are no good scenes.
    """
    canopy = scene.canopy
    if canopy is None or not (canopy.plantings or canopy.meshes):
        raise CanopysimError(
            scene.problem(("canopy",), "has no plants and no meshes whose leaves could be taken as "
                          "a turbid canopy; write 'plantings' or 'meshes'")
        )  # fmt: skip
    if canopy.as_volume is not None:
        raise CanopysimError(
            scene.problem(("canopy", "as_volume"), "takes the leaves as turbid already; leave it "
                          "out to compare")
        )  # fmt: skip
    if not scene.text:
        raise CanopysimError("the scene was not read from text; load it from a file to simplify it")
    text = scene.text
    if scene.also_count.leaf_facets:
        text = _changed(text, scene.where("also_count", "leaf_facets"), "leaf_facets", "false")
    written = [key for key in type(canopy).model_fields if scene.states("canopy", key)]
    first = min(scene.where("canopy", key) for key in written)
    if "profile" not in written:
        text = _inserted(text, first, "profile: true")
    turbid = _inserted(text, first, f"as_volume: {how}")
    drawn_scene, turbid_scene = (
        load_scene_text(each, path=scene.path, allow_outside=allow_outside)
        for each in (text, turbid)
    )
    return drawn_scene, turbid_scene


def simplification_costs(drawn: Result, turbid: Result) -> list[Cost]:
    """Hold the figures of both traces beside each other, 400-700 nm, all lights.

    Parameters
    ----------
    drawn, turbid : Result
        Of the two scenes of `simplify_scenes`.

    Returns
    -------
    list of Cost
        Absorbed by each layer, by all leaves and by the floor; the extinction coefficient, where it
        is known in both.
    """
    assert drawn.layers is not None and turbid.layers is not None
    costs = []
    n_layer = drawn.layers.sizes["layer"]
    for layer in (int(n) for n in drawn.layers["layer"].values):
        each = []
        for result in (drawn, turbid):
            assert result.layers is not None
            ground = float(result.settings["ground_area_m2"])
            found = layer_flux(result, layer)
            each.append(Estimate(found.value / ground, found.std_err / ground))
        where = " (top)" if layer == 1 else " (lowest)" if layer == n_layer else ""
        costs.append(Cost(f"absorbed by layer {layer}{where}", "µmol m⁻² s⁻¹", *each))
    costs.append(_share("absorbed by all leaves", drawn, turbid, leaf=True))
    costs.append(_share("absorbed by the floor", drawn, turbid, leaf=False))
    if knows_profile(drawn) and knows_profile(turbid):
        k = [penetration_of(profile(result)).k for result in (drawn, turbid)]
        costs.append(Cost("extinction coefficient k of the net flux", "", *k))
    return costs


def leaf_areas(drawn: Result, turbid: Result) -> list[tuple[float, float]]:
    """Leaf area of each layer in both, m2, top first."""
    assert drawn.layers is not None and turbid.layers is not None
    return [
        (float(a), float(b))
        for a, b in zip(
            drawn.layers["leaf_area_m2"].values, turbid.layers["leaf_area_m2"].values, strict=True
        )
    ]


def _is_floor(end: End) -> bool:
    return end.face == "floor"


def _share(name: str, drawn: Result, turbid: Result, *, leaf: bool) -> Cost:
    """Share of the launched light that ends in leaves, or in the floor."""
    found = []
    for result in (drawn, turbid):
        mask = sink_mask(result, is_leaf if leaf else _is_floor)
        flux = mean(absorbed_per_batch(result, mask))
        whole = launched(result)
        found.append(Estimate(flux.value / whole, flux.std_err / whole))
    return Cost(name, "share", *found)


def _inserted(text: str, place: tuple[int, int], entry: str) -> str:
    """Write an entry before the first of a mapping, which begins at a line and column from 1."""
    lines = text.splitlines(keepends=True)
    line, column = place[0] - 1, place[1] - 1
    before, after = lines[line][:column], lines[line][column:]
    # A mapping of its own lines, or one in braces.
    lines[line] = f"{before}{entry}\n{lines[line]}" if not before.strip() else (
        f"{before}{entry}, {after}"
    )  # fmt: skip
    return "".join(lines)


def _changed(text: str, place: tuple[int, int], key: str, value: str) -> str:
    """Write another value of an entry that begins at a line and column from 1."""
    lines = text.splitlines(keepends=True)
    line, column = place[0] - 1, place[1] - 1
    pattern = rf"{key}(['\"]?\s*:\s*)['\"]?\w+['\"]?"
    before, after = lines[line][:column], lines[line][column:]
    lines[line] = before + re.sub(pattern, rf"{key}\g<1>{value}", after, count=1)
    return "".join(lines)
