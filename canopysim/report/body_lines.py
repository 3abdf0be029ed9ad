"""What `check` says of fixtures' bodies that are meshes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canopysim.report.words import count
from canopysim.units import in_centimetres

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene


def body_lines(scene: Scene) -> list[str]:
    """Tell what was read of every body that is a mesh.

    Parameters
    ----------
    scene : Scene
        A checked scene.

    Returns
    -------
    list of str
        A sentence each.
    """
    lines = []
    for name, fixture in scene.fixtures.items():
        body = fixture.body
        if body is None or body.drawn is None or body.mesh is None:
            continue
        drawn = body.drawn
        reach = " and ".join(
            f"{axis} {in_centimetres(float(low))} to {in_centimetres(float(high))}"
            for axis, low, high in zip("xyz", drawn.low, drawn.high, strict=True)
        ).replace(" and ", ", ", 1)
        kind = "it is closed and solid"
        if not drawn.solid:
            edges = "1 edge" if drawn.n_open == 1 else f"{count(drawn.n_open)} edges"
            kind = (
                f"doubt: it is not closed ({edges}), so it is taken as sheets whose two sides both "
                "reflect"
            )
        n = drawn.n_degenerate
        faces = f"{count(len(drawn.faces))} triangles"
        faces += f" ({count(n)} without area left out)" if n else ""
        lines.append(
            f"{name}: with 1 of {body.mesh.file} as 1 {body.mesh.unit}, its body reaches from "
            f"{reach} cm about the middle of the luminous plane; {faces}, {drawn.area * 1e4:.4g} "
            f"cm² of {body.surface}; {kind}."
        )
    return lines
