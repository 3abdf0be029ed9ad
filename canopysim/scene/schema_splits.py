"""What else a run counts: tallies told apart by what a photon went through before."""

from typing import Annotated

from canopysim.scene.fields import Frozen, YesNo, counted, default, whole


class LaunchCells(Frozen):
    """Cells of launch position and direction, on every strip; directions in the world's frame."""

    along: Annotated[int, counted(1, 64), whole(1, 64)] = default(
        "1", "Equal parts of a strip's length."
    )
    polar: Annotated[int, counted(1, 180), whole(1, 180)] = default(
        "12", "Rings of directions from straight up to straight down, of equal solid angle."
    )
    around: Annotated[int, counted(1, 180), whole(1, 180)] = default(
        "12", "Equal sectors of each ring, from the width's direction towards the depth's."
    )


class AlsoCount(Frozen):
    """Tallies beyond the books; each costs memory and some time, none changes a photon."""

    first_flight: YesNo = default("false", "Tell light straight from the lamps from later light.")
    last_surface: YesNo = default("false", "Tell light apart by the surface that it comes from.")
    lining_meetings: Annotated[int, counted(2, 256), whole(2, 256)] | None = default(
        None,
        "Tell light apart by its meetings with the lining, none to this many and more, so that one "
        "run answers for other linings.",
    )
    launch_cells: LaunchCells | None = default(
        None,
        "Tell light apart by where on a strip and in which direction it started, so that one run "
        "answers for other lenses, tilts and turns.",
    )
    sensitivities: YesNo = default(
        "false", "Derivatives by the reflectance and transmittance of every surface and leaf."
    )
    leaf_facets: YesNo = default("false", "What every leaf triangle absorbs, side by side.")
    canopy_sides: YesNo = default(
        "false",
        "What passes the four sides and the levels of the box around all plants, layer by layer.",
    )
    each_plant: YesNo = default("false", "What the leaves of every plant absorb.")
    on_cells: YesNo = default(
        "false", "The same for every cell of the planes rather than for planes as a whole."
    )

    @property
    def counts_anything(self) -> bool:
        """Whether anything is asked for beyond the books."""
        return bool(
            self.first_flight
            or self.last_surface
            or self.lining_meetings is not None
            or self.launch_cells is not None
            or self.sensitivities
            or self.leaf_facets
            or self.canopy_sides
            or self.each_plant
        )
