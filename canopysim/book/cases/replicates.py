"""Colours and groups: several canopies in one run, and what each has of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from canopysim.book.case import Case
from canopysim.book.outcome import Outcome
from canopysim.book.readings import Share
from canopysim.book.scenes import box, panel, scene

if TYPE_CHECKING:
    from canopysim.book.bench import Bench

N = 3
ENDS = ("leaves", "stems", "floor", "left")


def _measure(bench: Bench, case: Case) -> Sequence[Outcome]:
    """Add up what single canopies have, and what their triangles have."""
    from canopysim.analysis.replicates import replicate_result

    result = bench.trace(case.scene, case.packets)
    rows = result.rows
    found = []
    for whole, part in (("absorbed", "replicate_absorbed"), ("crossed_sum", "replicate_crossed")):
        assert rows[part].sizes["replicate"] == N
        off = rows[part].sum("replicate").values != rows[whole].values
        found.append(Outcome(f"numbers of {part} that do not add up", 0.0, float(off.sum()), 0.0,
                             identity=True))  # fmt: skip
    each = [replicate_result(result, number) for number in range(N)]
    for end in ENDS:
        shares = [float(Share(end).read(one).value) for one in each]
        share = float(Share(end).read(result).value)
        found.append(Outcome(f"mean of {end}", share, float(np.mean(shares)), 0.0, exact_err=1e-12))
    area = [float(one.layers["leaf_area_m2"].sum()) for one in each if one.layers is not None]
    mean = float(result.layers["leaf_area_m2"].sum())  # type: ignore[index]
    found.append(Outcome("mean of leaf areas, m2", mean, float(np.mean(area)), 0.0, exact_err=1e-9))
    leaf = (rows["sink_end"] == "leaves").values
    of_leaves = rows["replicate_absorbed"].isel(sink=leaf)
    booked = of_leaves.sum(["batch", "channel", "sink", "traced_band"]).values
    by_triangle = rows["facet_absorbed"].values.sum((0, 2, 3, 4))
    of_leaf, canopy = rows["facet_layer"].values > 0, rows["facet_replicate"].values
    for number in range(N):
        here = int(by_triangle[of_leaf & (canopy == number)].sum())
        found.append(Outcome(f"quanta in leaves of canopy {number + 1}, less their triangles'", 0.0,
                             float(int(booked[number]) - here), 0.0, identity=True))  # fmt: skip
    for number, one in enumerate(each):
        # Triangles of stems belong to no layer.
        mine = one.rows["facet_layer"].values > 0
        drawn = float(one.rows["facet_area_m2"].values[mine].sum())
        found.append(Outcome(f"triangles of leaves of canopy {number + 1}, m2", area[number], drawn,
                             0.0, exact_err=1e-7))  # fmt: skip
    return found


CASES = (
    Case(
        name="several canopies in one run",
        chapter="colours and groups",
        shows="What single canopies, grown from seeds of their own, keep and let through adds up "
        "to what all of them do, and its leaves' triangles to it, to the quantum.",
        source="A sum is that of its parts.",
        fails_if="A canopy's numbers were lost or given to another, or its shares were of all "
        "light.",
        scene=scene(
            "Three canopies",
            enclosure=box("80 cm", "50 cm", "1 m"),
            leaves={"leaf": {"reflectance": "20 %", "transmittance": "30 %"}},
            plants={"herb": {"leaf": "leaf", "stem": "black", "nodes": "4", "internode": "7 cm",
                             "petiole_length": "3 cm", "petiole_angle": "60 deg",
                             "blade_length": "11 cm", "blade_width": "6 cm"}},
            canopy={"layers": "2", "replicates": str(N),
                    "plantings": [{"plant": "herb", "columns": "2", "rows": "1"}]},
            fixtures={"panel": panel("40 cm", "20 cm")},
            lights=[{"fixture": "panel", "at": ["40 cm", "25 cm"], "height": "90 cm"}],
            planes=[{"name": "mid", "height": "20 cm", "cell": "20 cm"}],
            also_count={"leaf_facets": "true"},
        ),
        measure=_measure,
        packets=1 << 18,
    ),
)  # fmt: skip
