"""Rooms: the integrating sphere, drawn with ever more facets."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from canopysim.book.case import Case
from canopysim.book.exact.sphere import facets, sphere
from canopysim.book.outcome import Outcome
from canopysim.book.readings import PlaneMean, Share
from canopysim.book.scenes import panel, percent, scene

if TYPE_CHECKING:
    from canopysim.book.bench import Bench

RADIUS, FLUX = 0.5, 100.0
LEVELS = (1, 2, 3)
# Errors are a polynomial in one over the number of facets, which grows by four: these cancel its
# first two terms. Packets are shared out by them.
WEIGHTS = np.array([1.0, -20.0, 64.0]) / 45.0
PACKETS = (1 / 32, 1 / 4, 23 / 32)


def drawn(level: int) -> bytes:
    """Write a sphere of so many facets; the two faces at the top are a part of their own."""
    corners, root = facets(level)
    # The two faces with an edge along x, y or z at the top.
    top = [r for r in range(20) if corners[root == r][:, :, 2].min() > 0.5]
    assert len(top) == 2
    lines, n = [], 0
    for name, some in (("patch", np.isin(root, top)), ("wall", ~np.isin(root, top))):
        lines.append(f"o {name}")
        for triangle in RADIUS * (corners[some] + 1):
            lines += ["v " + " ".join(repr(float(v)) for v in point) for point in triangle]
            lines.append(f"f {n + 1} {n + 2} {n + 3}")
            n += 3
    return ("\n".join(lines) + "\n").encode()


def _measure(bench: Bench, case: Case) -> Sequence[Outcome]:
    """Trace it with every number of facets, and extrapolate to none that is flat."""
    values, errors, rows = [], [], 0
    for level, share in zip(LEVELS, PACKETS, strict=True):
        result = bench.trace(case.scene, int(case.packets * share),
                             files={"sphere.obj": drawn(level)})  # fmt: skip
        found = [reading.read(result) for reading in case.figures.values()]
        values.append([float(f.value) for f in found])
        errors.append([float(f.std_err) for f in found])
        rows = found[0].n_row
    assert case.exact is not None
    wanted = case.exact()
    value = WEIGHTS @ np.array(values)
    error = np.sqrt(WEIGHTS**2 @ np.array(errors) ** 2)
    return [
        Outcome(name, float(wanted[name]), float(value[i]), float(error[i]), rows)
        for i, name in enumerate(case.figures)
    ]


def _case(rho: float, rho_patch: float) -> Case:
    def exact() -> dict[str, float]:
        found = sphere(rho, 0.1, rho_patch)
        density = FLUX / (np.pi * RADIUS**2)
        return {"patch": found["patch"], "wall": found["wall"], "PFD down": found["down"] * density,
                "PFD up": found["up"] * density}  # fmt: skip

    return Case(
        name=f"a sphere of {percent(rho)} with a patch of {percent(rho_patch)}", chapter="rooms",
        shows="Diffuse light in a sphere is even: a part keeps by its area, however it is lit.",
        source="The integrating sphere in closed form (Howell C-121: from any spot to any patch, "
        "share of area), reached from 80, 320 and 1,280 facets by extrapolation in 1/facets.",
        fails_if="Facets of a drawn room leaked or were lit by another law than the cosine's, a "
        "part took another's light, or areas of cut cells were wrong.",
        scene=scene(
            "The integrating sphere",
            enclosure={"lining": "wall", "mesh": {"file": "sphere.obj", "unit": "m", "parts": {
                "patch": {"ceiling": "patch"}, "wall": {"floor": "wall"}}}},
            surfaces={"wall": {"diffuse": percent(rho)}, "patch": {"diffuse": percent(rho_patch)}},
            fixtures={"lamp": panel("10 cm", "4 cm")},
            lights=[{"fixture": "lamp", "at": ["62 cm", "41 cm"], "height": "42 cm"}],
            planes=[{"name": "equator", "height": "50 cm", "cell": "2 m"}],
        ),
        figures={"patch": Share("patch"), "wall": Share("wall"), "PFD down": PlaneMean("equator"),
                 "PFD up": PlaneMean("equator", "up")},
        exact=exact,
        packets=1 << 21,
        precision=2e-3,
        why_rough="Extrapolation to the smooth sphere doubles the error.",
        measure=_measure,
    )  # fmt: skip


CASES = (_case(0.8, 0.8), _case(0.97, 0.3))
