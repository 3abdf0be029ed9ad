"""What grows: leaf optics, plants, and how they are planted into a canopy."""

import difflib
from typing import Annotated, Any

from pydantic import (
    AfterValidator,
    ConfigDict,
    Field,
    model_validator,
)

from canopysim.library.crops import CROP_NAMES
from canopysim.library.leaves import LEAF_NAMES
from canopysim.scene.fields import (
    Acclimation,
    Angle,
    Bend,
    BranchAngle,
    FoldAngle,
    Frozen,
    HalfShare,
    Inclination,
    LeafAreaIndex,
    LengthFromZero,
    Name,
    Point,
    PositiveFluxDensity,
    PositiveLength,
    PositiveShare,
    Seed,
    Share,
    UprightAngle,
    YesNo,
    counted,
    default,
    measured,
    whole,
)
from canopysim.scene.plant_library import either_like_or_whole, from_library
from canopysim.scene.schema_layers import Layers
from canopysim.scene.schema_mesh import MeshPlanting
from canopysim.scene.schema_volume import FilledVolume
from canopysim.scene.spectral import SpectralShare
from canopysim.units import parse_share, shown
from canopysim.units_area import parse_area

_read_stage, _stage = measured(
    parse_share, "60 %", r"^\s*[0-9.]+\s*%\s*$", least="5 %", most="100 %"
)
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


def _not_all_zero(whole_one: str) -> AfterValidator:
    """Refuse shares of a greatest size that are all nothing."""

    def check(shares: tuple[float, ...]) -> tuple[float, ...]:
        if max(shares) == 0:
            raise ValueError(f"is 0 % everywhere; {whole_one} is 100 %")
        return shares

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


class Leaflets(Frozen):
    """What makes a leaf compound: leaflets along a rachis, the line that goes on from the stalk."""

    pairs: Annotated[int, counted(1, 20), whole(1, 20)] = Field(
        description="Pairs of leaflets beside the one at the end."
    )
    rachis_length: PositiveLength = Field(
        description="From the first pair, at the leaf stalk's end, to the leaflet at the end."
    )
    angle: UprightAngle = default("60 deg", "Angle of the paired leaflets from the rachis.")
    size: PositiveShare = default(
        "80 %", "Length and width of the paired leaflets, as a share of those of the end one."
    )


class Plant(Frozen):
    """A kind of plant: upright stems that carry simple or compound leaves in a spiral."""

    model_config = ConfigDict(json_schema_extra=either_like_or_whole)

    like: Name | None = default(
        None, "A plant of the library, such as 'pepper', for all that is not written here."
    )
    leaf: Name = Field(description="Kind of leaf, a name under 'leaves'.")
    stem: Name = Field(description="Surface of stem and leaf stalks, a name under 'surfaces'.")
    nodes: Annotated[int, counted(1, 200), whole(1, 200)] = Field(
        description="Number of leaves along each stem."
    )
    stage: Annotated[float, _read_stage, _stage] | None = default(
        None, "Share of its leaves that are out, the upper ones still unfolding; all if left out."
    )
    internode: PositiveLength = Field(description="Distance along the stem between leaves.")
    first_leaf_height: LengthFromZero = default(
        "4 cm", "Height of the lowest leaf on the stem, from the stem's foot."
    )
    spiral: Angle = default("137.5 deg", "Turn about the stem from one leaf to the next.")
    petiole_length: PositiveLength = Field(description="Length of the leaf stalk.")
    petiole_angle: UprightAngle = Field(
        description="Angle of the leaf stalk from the stem's upward direction."
    )
    blade_length: PositiveLength = Field(
        description="Length of the blade (of the leaflet at the end) along its midrib."
    )
    blade_width: PositiveLength = Field(
        description="Greatest width of the blade (of the leaflet at the end)."
    )
    leaflets: Leaflets | None = default(None, "Leaflets of a compound leaf; simple if left out.")
    blade_angle: Inclination = default(
        "10 deg", "Droop of the blade at its base: below the horizontal is positive."
    )
    curvature: Bend = default("40 deg", "Bend of the midrib from base to tip, downwards.")
    fold: FoldAngle = default("10 deg", "Rise of each half of the blade from the midrib, a V.")
    outline: Annotated[
        tuple[Share, ...], Field(min_length=3, max_length=50), _not_all_zero("the widest part")
    ] = default(
        ("8 %", "70 %", "100 %", "92 %", "66 %", "30 %", "0 %"),
        "Widths at equally spaced stations from base to tip, as shares of the greatest.",
    )
    size_by_node: Annotated[
        tuple[Share, ...], Field(min_length=1, max_length=200), _not_all_zero("the largest")
    ] = default(
        ("60 %", "100 %", "100 %", "90 %", "50 %"),
        "Leaf size along the stem from bottom to top, as shares of the greatest; interpolated.",
    )
    stem_radius: PositiveLength = default("4 mm", "Radius of the stem.")
    petiole_radius: PositiveLength = default("1.2 mm", "Radius of the leaf stalks.")
    triangles_per_leaf: Annotated[int, counted(2, 400), whole(2, 400)] = default(
        "16",
        "Triangles that a blade or leaflet is made of; fewer than 12 show its outline coarsely.",
    )
    branches: Annotated[int, counted(1, 12), whole(1, 12)] = default(
        "1", "Number of equal main stems, leaving at the first leaf's height."
    )
    branch_angle: BranchAngle = default(
        "25 deg", "Lean of the main stems from the vertical, where there are several."
    )
    variation: HalfShare = default(
        "10 %", "Random spread of size and angles from leaf to leaf, by the canopy's seed."
    )

    @model_validator(mode="before")
    @classmethod
    def _start_from_library(cls, data: Any) -> Any:
        """Take from the library's plant what is not written."""
        return from_library(data)


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
    positions: Annotated[tuple[Point, ...], Field(min_length=1, max_length=10000)] | None = default(
        None, "Places of the stems as a list of [x, y], instead of columns and rows."
    )
    base: LengthFromZero = default("0 cm", "Height of the stem's foot above the floor (its pot).")
    leaf_area: LeafArea | None = default(
        None, "Mean one-sided leaf area of these plants; their blades are scaled to meet it."
    )


class Canopy(Frozen):
    """All plants, and the layers in which their light is counted."""

    seed: Seed = default("1", "Number from which the plants' random spread grows.")
    replicates: Annotated[int, counted(1, 64), whole(1, 64)] = default(
        "1",
        "Canopies that are grown, from this seed and the next ones, and traced in turn; the result "
        "is their mean, with an error for the light and one for the plants.",
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
    meshes: Annotated[tuple[MeshPlanting, ...], Field(max_length=100)] = default(
        (), "Plants that are drawn in mesh files, and where they stand."
    )
    volumes: Annotated[tuple[FilledVolume, ...], Field(max_length=100)] = default(
        (), "Volumes filled with leaves of which only density and angles are known."
    )
