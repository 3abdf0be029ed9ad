"""Sources: a fixture whose measured light comes out through its own body."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from canopysim.book.case import Case, Exact
from canopysim.book.cases.probes_hidden import FILES, HEIGHT_M, LAMP, lamp
from canopysim.book.dark_rooms import FLUX, SHAPE, SIZE, hung, metres, room
from canopysim.book.exact.backward import sheet
from canopysim.book.exact.frames import cells, gauss, rectangle
from canopysim.book.exact.tiles import obj_of
from canopysim.book.outcome import Outcome
from canopysim.book.readings import PlaneCells, Share
from canopysim.book.readings_apart import on_leaves
from canopysim.book.scenes import scene

if TYPE_CHECKING:
    from canopysim.book.bench import Bench

AT = (0.52, 0.37, 0.60)
# A leaf of two triangles in a corner, and a plane that cuts the body.
LEAF = sheet((0.16, 0.14, 0.12), 0.18, 0.13, 35.0, 25.0, -20.0)
CUTS_M = AT[2] + 0.8 * HEIGHT_M
BLACK = {"reflectance": "0 %", "transmittance": "0 %"}
# Two such fixtures, one above the other: each sees the level face of the other's body alone.
UPPER_AT, LOWER_AT = (0.50, 0.36, 0.62), (0.47, 0.30, 0.52)
# A body begins 2 mm above its luminous plane where the file does not say otherwise.
BODY_M, GAP_M = (0.40, 0.20), 0.002


def _on_triangles() -> NDArray[np.float64]:
    """Share of the light on the two triangles of the leaf, both from above."""
    a, wa = gauss(0.0, 1.0, 24)
    b, wb = gauss(0.0, 1.0, 24)
    # From a triangle's first corner: so far out, and there so far from one side to the other.
    out, between = np.meshgrid(a, b, indexing="ij")
    weights = 2 * np.outer(a * wa, wb)
    corners = LEAF.corners
    found = []
    for one, two in ((corners[1], corners[2]), (corners[2], corners[3])):
        first = corners[0]
        points = first + out[..., None] * ((one - first) + between[..., None] * (two - one))
        area = np.linalg.norm(np.cross(one - first, two - first)) / 2
        density = lamp(AT).arriving(points.reshape(-1, 3), (32, 8)) @ -LEAF.normal
        found.append(area * float(density @ weights.ravel()))
    return np.array(found)


def _up_through() -> NDArray[np.float64]:
    """Flux density up through the cells of the plane that cuts the body, (n_y, n_x)."""
    found = np.zeros(SHAPE[::-1])
    for j, row in enumerate(cells((0.0, 0.0), SIZE[:2], SHAPE)):
        for i, (x0, x1, y0, y1) in enumerate(row):
            points, weights = rectangle((x0, y0, CUTS_M), (x1 - x0, 0, 0), (0, y1 - y0, 0), 6, 8)
            up = lamp(AT).arriving(points, (32, 8))[:, 2]
            found[j, i] = FLUX * float(up @ weights) / ((x1 - x0) * (y1 - y0))
    return found


def _measure(bench: Bench, case: Case) -> list[Outcome]:
    result = bench.trace(case.scene, case.packets, files=case.files)
    leaf = on_leaves(result, of=1).found()
    first, second = _on_triangles()
    outcomes = [
        Outcome(f"{side} of triangle {number}", wanted, float(leaf.value[k]),
                float(leaf.std_err[k]), leaf.n_row, 2e-6, scale=1.0)
        for k, (number, side, wanted) in enumerate((
            (0, "upper", first), (0, "lower", 0.0), (1, "upper", second), (1, "lower", 0.0),
        ))
    ]  # fmt: skip
    up = PlaneCells("cuts", "up").read(result)
    level = FLUX / (SIZE[0] * SIZE[1])
    outcomes += [
        Outcome(f"PFD up through the body's own plane [{j}, {i}]", float(wanted),
                float(up.value[j, i]), float(up.std_err[j, i]), up.n_row, 1e-4 * level, scale=level)
        for (j, i), wanted in np.ndenumerate(_up_through())
    ]  # fmt: skip
    return outcomes


def _on_each_other() -> Exact:
    """Give the share of the light of each on the body of the other."""
    found: dict[str, Any] = {}
    for name, light, body, z, way in (
        ("upper", UPPER_AT, LOWER_AT, LOWER_AT[2] + GAP_M + HEIGHT_M, -1),
        ("lower", LOWER_AT, UPPER_AT, UPPER_AT[2] + GAP_M, 1),
    ):
        (a, b), (x, y) = BODY_M, body[:2]
        points, weights = rectangle((x - a / 2, y - b / 2, z), (a, 0, 0), (0, b, 0), 8, 8)
        found[name] = float(way * lamp(light).arriving(points, (32, 8))[:, 2] @ weights)
    return found


CASES = (
    Case(
        name="two bodies with light of their own, one above the other",
        chapter="light",
        shows="What each of two measured fixtures gives the body of the other; its own body gets "
        "nothing of it.",
        source="Quadrature of the table over strip and body.",
        fails_if="Light passed the body of another fixture as it passes its own, or met its own.",
        scene=scene(
            "Two fixtures", enclosure=room(),
            fixtures={"lamp": LAMP},
            lights=[hung("lamp", UPPER_AT, group="upper"), hung("lamp", LOWER_AT, group="lower")],
        ),
        files=FILES,
        figures={name: Share("fixture bodies", name) for name in ("upper", "lower")},
        exact=_on_each_other,
        # The table bends within pieces of the quadrature.
        exact_err=dict.fromkeys(("upper", "lower"), 3e-6),
        packets=1 << 20,
        scale=1.0,
    ),
    Case(
        name="a leaf and a plane about a body with its own light",
        chapter="light",
        shows="What two triangles of a leaf get of a measured fixture, and its light up through a "
        "plane that cuts its own body.",
        source="Quadrature of the table over strip, triangles and cells.",
        fails_if="Light that came through its own body, or none, went on from elsewhere or passed "
        "a triangle as if it had left it, or a plane was crossed elsewhere in the body.",
        scene=scene(
            "About a body", enclosure=room(),
            leaves={"leaf": BLACK},
            canopy={"layers": "2",
                    "meshes": [{"file": "leaf.obj", "unit": "m", "parts": {"*": {"leaf": "leaf"}},
                                "positions": [["0 cm", "0 cm"]], "base": "0 cm"}]},
            fixtures={"lamp": LAMP},
            lights=[hung("lamp", AT)],
            planes=[{"name": "cuts", "height": metres(CUTS_M), "cell": "36 cm"}],
            also_count={"leaf_facets": "true"},
        ),
        files=FILES | {"leaf.obj": obj_of(LEAF.corners[None])},
        measure=_measure,
        packets=1 << 20,
        quick=1 / 4,
    ),
)  # fmt: skip
