"""Checks of what things are made of, and of the canopy."""

from collections.abc import Iterator

from canopysim.bands import range_label
from canopysim.library.leaves import LEAF_RANGE
from canopysim.scene.check_mesh import check_meshes
from canopysim.scene.check_plants import check_leaf_area
from canopysim.scene.check_space import (
    check_area,
    check_height,
    check_name,
    check_point,
)
from canopysim.scene.check_stand import check_stand, check_surface
from canopysim.scene.check_volume import check_volumes
from canopysim.scene.document import EntryPath
from canopysim.scene.draft import Draft, Problem
from canopysim.scene.schema_matter import LeafOptics, Planting
from canopysim.scene.spectral import BandValues
from canopysim.units import format_length, format_share, shown

MOST_TRIANGLES = 20_000_000
# Shares are decimal text: their sum may be off in the last bits.
SUM_SLACK = 1e-9


def check_matter(draft: Draft) -> Iterator[Problem]:
    """Check surfaces, leaves, plants and the canopy."""
    for name, surface in draft.scene.surfaces.items():
        yield from _check_sum(
            draft,
            ("surfaces", name),
            ("specular", surface.specular),
            ("diffuse", surface.diffuse),
            "a surface cannot reflect more than it receives (at most 100 %)",
        )
        if surface.spread > 0 and not any(value > 0 for _, _, value in surface.specular.pieces):
            yield (
                ("surfaces", name, "spread"),
                "there is no mirrored share that it could spread; write 'specular' too, or leave "
                "it out",
            )
    for name, leaf in draft.scene.leaves.items():
        yield from _check_leaf(draft, ("leaves", name), leaf)
    for name, plant in draft.scene.plants.items():
        yield from check_name(draft, ("plants", name, "leaf"), plant.leaf, "leaves")
        yield from check_surface(draft, ("plants", name, "stem"), plant.stem)
        for number, bearing in enumerate(plant.bears):
            yield from check_surface(
                draft, ("plants", name, "bears", number, "surface"), bearing.surface
            )
    if draft.scene.canopy is not None:
        yield from _check_canopy(draft)
        yield from check_stand(draft)


def _check_sum(
    draft: Draft,
    path: EntryPath,
    first: tuple[str, BandValues],
    second: tuple[str, BandValues],
    rule: str,
) -> Iterator[Problem]:
    """Check that two shares cover all bands and make at most 1 in each."""
    if not draft.sound("bands"):
        return
    edges = draft.scene.bands
    covered = True
    for key, values in (first, second):
        missing = values.uncovered(edges)
        if missing is not None:
            covered = False
            yield (
                (*path, key),
                f"gives no share for {missing} nm; the ranges must cover all bands "
                f"({range_label(edges[0], edges[-1])} nm)",
            )
    if not covered:
        return
    one, other = first[1].values(edges), second[1].values(edges)
    total = one + other
    worst = int(total.argmax())
    if total[worst] > 1 + SUM_SLACK:
        uniform = len(first[1].pieces) == len(second[1].pieces) == 1
        band = "" if uniform else f" in {draft.scene.band_names[worst]} nm"
        yield (
            (*path, first[0]),
            f"{format_share(one[worst])} with {second[0]} {format_share(other[worst])} makes "
            f"{format_share(total[worst])}{band}; {rule}",
        )


def _check_leaf(draft: Draft, path: EntryPath, leaf: LeafOptics) -> Iterator[Problem]:
    rule = "a leaf cannot give back more than it receives (at most 100 %)"
    given = [k for k in ("reflectance", "transmittance", "lower") if getattr(leaf, k) is not None]
    if leaf.like is not None:
        for key in given:
            yield (*path, key), "stands beside 'like'; write 'like' or the leaf's own values"
        low, high = LEAF_RANGE
        bands = draft.scene.bands
        if draft.sound("bands") and (bands[0] < low or bands[-1] > high):
            yield (
                (*path, "like"),
                f"the leaf library holds {range_label(low, high)} nm but the bands are "
                f"{range_label(bands[0], bands[-1])} nm; narrow the bands or write "
                "'reflectance' and 'transmittance'",
            )
        return
    if not given:
        yield path, "is empty; write 'like: pepper' or 'reflectance' and 'transmittance'"
        return
    for key in ("reflectance", "transmittance"):
        if key not in given:
            yield (*path, key), "is missing; a leaf's own values are 'reflectance' and this"
    if leaf.reflectance is not None and leaf.transmittance is not None:
        upper = (("transmittance", leaf.transmittance), ("reflectance", leaf.reflectance))
        yield from _check_sum(draft, path, *upper, rule)
    if leaf.lower is not None:
        below = (
            ("transmittance", leaf.lower.transmittance),
            ("reflectance", leaf.lower.reflectance),
        )
        yield from _check_sum(draft, (*path, "lower"), *below, rule)


def _check_canopy(draft: Draft) -> Iterator[Problem]:
    canopy = draft.scene.canopy
    assert canopy is not None
    if isinstance(canopy.layers, tuple):
        for index, height in enumerate(canopy.layers):
            yield from check_height(draft, ("canopy", "layers", index), height)
    if canopy.height is not None:
        yield from check_height(draft, ("canopy", "height"), canopy.height)
    if canopy.crop is None:
        for key in ("acclimation", "bright_limit"):
            if getattr(canopy, key) is not None:
                yield (
                    ("canopy", key),
                    "needs the leaves of a crop; write for example 'crop: pepper'",
                )
    elif canopy.bright_limit is not None and not draft.scene.also_count.leaf_facets:
        yield (
            ("canopy", "bright_limit"),
            "needs single leaf triangles; write 'leaf_facets: true' under 'also_count'",
        )
    if canopy.planted is not None:
        area = canopy.planted
        yield from check_area(draft, ("canopy", "planted"), area.corner, area.opposite)
    yield from check_leaf_area(canopy)
    yield from check_meshes(draft)
    yield from check_volumes(draft)
    n_triangle = 0
    for index, planting in enumerate(canopy.plantings):
        path: EntryPath = ("canopy", "plantings", index)
        yield from check_name(draft, (*path, "plant"), planting.plant, "plants")
        yield from _check_places(draft, path, planting)
        plant = draft.scene.plants.get(planting.plant)
        if plant is None:
            continue
        each = plant.nodes * plant.leaves_per_node * plant.branches * plant.triangles_per_leaf
        each *= 1 if plant.leaflets is None else 1 + 2 * plant.leaflets.pairs
        n_plant = len(planting.positions or ()) or (planting.columns or 0) * (planting.rows or 0)
        n_triangle += each * n_plant
        if draft.sound("enclosure"):
            lowest = planting.base + plant.first_leaf_height
            if lowest >= draft.scene.enclosure.height:
                yield (
                    (*path, "base"),
                    f"puts the lowest leaf at {format_length(lowest)}, above the ceiling at "
                    f"{format_length(draft.scene.enclosure.height)}; lower it",
                )
    if n_triangle > MOST_TRIANGLES:
        yield (
            ("canopy", "plantings"),
            f"make {n_triangle} leaf triangles; at most {MOST_TRIANGLES}: plant fewer, or lower "
            "'nodes' or 'triangles_per_leaf'",
        )


def _check_places(draft: Draft, path: EntryPath, planting: Planting) -> Iterator[Problem]:
    """Check that the plants' places are given in exactly one way, on the floor."""
    grid = [k for k in ("columns", "rows", "area") if getattr(planting, k) is not None]
    if planting.positions is not None:
        for key in grid:
            yield (*path, key), "stands beside 'positions'; write columns and rows, or positions"
        for index, point in enumerate(planting.positions):
            yield from check_point(draft, (*path, "positions", index), point)
        return
    missing = [k for k in ("columns", "rows") if k not in grid]
    if missing:
        which = " and ".join(shown(k) for k in missing)
        yield path, f"lacks {which}; write 'columns' and 'rows', or 'positions'"
    if planting.area is not None:
        area = planting.area
        yield from check_area(draft, (*path, "area"), area.corner, area.opposite)
