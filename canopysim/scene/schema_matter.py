"""What grows: leaf optics, and how plants are planted into a canopy."""

import difflib
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from canopysim.library.crops import CROP_NAMES
from canopysim.library.leaves import LEAF_NAMES
from canopysim.scene.fields import (
    Acclimation,
    Frozen,
    LeafAreaIndex,
    LengthFromZero,
    Name,
    Point,
    PositiveFluxDensity,
    PositiveLength,
    Seed,
    YesNo,
    as_text,
    counted,
    default,
    measured,
    whole,
)
from canopysim.scene.schema_cuticle import Cuticle
from canopysim.scene.schema_layers import Layers
from canopysim.scene.schema_mesh import MeshPlanting
from canopysim.scene.schema_plant import Plant
from canopysim.scene.schema_stand import Net, Pot
from canopysim.scene.schema_volume import FilledVolume
from canopysim.scene.spectral import SpectralShare
from canopysim.units import shown
from canopysim.units_area import parse_area

__all__ = ["Area", "Canopy", "LeafOptics", "LeafSide", "Plant", "Planting"]

_read_area, _area = measured(
    parse_area, "0.35 m2", r"^\s*[0-9.]+\s*c?m(2|²)\s*$", least="0.01 cm2", most="1000 m2"
)
LeafArea = Annotated[float, _read_area, _area]


def _of_library(what: str, names: tuple[str, ...]) -> AfterValidator:
    """Refuse a name that a part of the library does not hold."""

    def check(name: str) -> str:
        if name not in names:
            close = difflib.get_close_matches(name, names, n=1)
            hint = f"did you mean '{close[0]}'? " if close else ""
            raise ValueError(
                f"{shown(name)} is not in the {what} library; {hint}allowed: {', '.join(names)}"
            )
        return name

    return AfterValidator(check)


class LeafSide(Frozen):
    """Reflectance and transmittance of light that meets one side of a leaf."""

    reflectance: SpectralShare = Field(description="Share reflected, diffusely.")
    transmittance: SpectralShare = Field(description="Share let through, diffusely.")


class LeafOptics(Frozen):
    """A kind of leaf: one from the library, or its own reflectance and transmittance."""

    like: Annotated[Name, _of_library("leaf", LEAF_NAMES)] | None = default(
        None, "A leaf of the library, such as 'pepper'."
    )
    reflectance: SpectralShare | None = default(
        None, "Share reflected of what meets the upper side (both sides, unless lower is written)."
    )
    transmittance: SpectralShare | None = default(
        None, "Share let through of what meets the upper side (both, unless lower is written)."
    )
    lower: LeafSide | None = default(None, "The lower side, where it differs from the upper.")
    cuticle: Cuticle | None = default(
        None,
        "A film that mirrors; reflectance and transmittance stay the leaf's totals under even "
        "light. Without it a leaf is dull.",
    )


class Area(Frozen):
    """A rectangle on the floor."""

    corner: Point = Field(description="One corner [x, y], from the floor's front-left corner.")
    opposite: Point = Field(description="The diagonally opposite corner [x, y].")

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Least x, least y, greatest x, greatest y, in m."""
        (x0, y0), (x1, y1) = self.corner, self.opposite
        return (min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1))

    @property
    def size_m2(self) -> float:
        """Ground area in m²."""
        x0, y0, x1, y1 = self.bounds
        return (x1 - x0) * (y1 - y0)


_PER_SIDE = (counted(1, 200), whole(1, 200))


class Planting(Frozen):
    """Plants of one kind, in columns and rows or at stated places."""

    plant: Name = Field(description="Kind of plant, a name under 'plants'.")
    columns: Annotated[int, *_PER_SIDE] | None = default(None, "Number of plants along x.")
    rows: Annotated[int, *_PER_SIDE] | None = default(None, "Number of plants along y.")
    area: Area | None = default(
        None, "Rectangle whose equal cells hold the plants; the planted area if left out."
    )
    offset_rows: YesNo = default("false", "Whether every second row is shifted by half a column.")
    positions: Annotated[tuple[Point, ...], Field(min_length=1, max_length=10000)] | None = default(
        None, "Places of the stems as a list of [x, y], instead of columns and rows."
    )
    pot: Pot | None = default(None, "The pot of each plant; none is shown if left out.")
    base: LengthFromZero = default(
        "0 cm", "Height of the stem's foot above the floor; the pot's height if a pot is stated."
    )
    pruned_below: PositiveLength | None = default(
        None,
        "Leaves, flowers and fruit that leave the stem lower than this above its foot are "
        "taken off.",
    )
    leaf_area: LeafArea | None = default(
        None, "Mean one-sided leaf area of these plants; their blades are scaled to meet it."
    )

    @model_validator(mode="before")
    @classmethod
    def _stands_on_its_soil(cls, data: Any) -> Any:
        """Put the stem's foot on the soil of a pot that stands on the floor."""
        pot = data.get("pot") if isinstance(data, dict) else None
        if isinstance(pot, dict) and isinstance(pot.get("height"), str) and "base" not in data:
            return {**data, "base": pot["height"]}
        return data


def _as_volume(value: object) -> str:
    """Refuse other words."""
    word = as_text(value, "'slab'").strip()
    if word not in ("slab", "crowns"):
        raise ValueError(f"{shown(word)} is not known here; allowed: slab, crowns")
    return word


class Canopy(Frozen):
    """All plants, and the layers in which their light is counted."""

    seed: Seed = default("1", "Number from which the plants' random spread grows.")
    replicates: Annotated[int, counted(1, 64), whole(1, 64)] = default(
        "1",
        "Canopies grown from this seed and the next; the result is their mean, with an error for "
        "the plants.",
    )
    layers: Layers = Field(
        description="Number of equally high layers, '{equal_leaf_area: 8}' for layers that hold "
        "equal leaf area, or heights of the boundaries from the floor up; layer 1 is the top."
    )
    planted: Area | None = default(
        None, "Ground area to which the leaf area index refers; the whole floor if left out."
    )
    height: PositiveLength | None = default(
        None, "Stated height of the canopy above the floor; its highest leaf if left out."
    )
    leaf_area_index: LeafAreaIndex | None = default(
        None, "One-sided leaf area per ground area; all blades are scaled alike to meet it."
    )
    leaf_area: LeafArea | None = default(
        None, "Mean one-sided leaf area of a plant, instead of the leaf area index."
    )
    crop: Annotated[Name, _of_library("crop", CROP_NAMES)] | None = default(
        None, "Crop of the library whose leaf photosynthesis the report shows, such as 'pepper'."
    )
    acclimation: Acclimation | None = default(
        None,
        "How strongly leaves fit their capacity to their light: photosynthesis and respiration of "
        "a layer's leaves fall with its light to this power, 0 (not at all) to 2; about 0.3 to 0.6 "
        "in many canopies (assumed). It needs 'crop'.",
    )
    bright_limit: PositiveFluxDensity | None = default(
        None,
        "Absorbed 400-700 nm per leaf area above which leaf area is told; the crop's, if left out. "
        "It needs 'crop', and 'leaf_facets' under 'also_count'.",
    )
    profile: YesNo = default(
        "false", "Count the light that passes every boundary between layers, downwards and upwards."
    )
    plantings: Annotated[tuple[Planting, ...], Field(max_length=100)] = default(
        (), "What is planted where; or write 'meshes' or 'volumes', or several of them."
    )
    nets: Annotated[tuple[Net, ...], Field(max_length=20)] = default(
        (), "Level nets that hold the stems upright."
    )
    wrap: YesNo = default(
        "false", "Whether leaves go on through sides that repeat, rather than turning off them."
    )
    meshes: Annotated[tuple[MeshPlanting, ...], Field(max_length=100)] = default(
        (), "Plants that are drawn in mesh files, and where they stand."
    )
    volumes: Annotated[tuple[FilledVolume, ...], Field(max_length=100)] = default(
        (), "Volumes filled with leaves of which only density and angles are known."
    )
    as_volume: Annotated[Literal["slab", "crowns"], BeforeValidator(_as_volume)] | None = default(
        None,
        "Trace the leaves of all plants as if they were small and loose: in a 'slab' over the "
        "planted area, or in 'crowns', an ellipsoid for each plant; as many, as high up and "
        "inclined as they are.",
    )
