"""One photon's path for the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canopysim.bands import within

if TYPE_CHECKING:
    from rich.console import RenderableType

    from canopysim.follow import PhotonPath


def path_table(path: PhotonPath, edges: tuple[float, ...]) -> RenderableType:
    """Tell a path meeting by meeting.

    Parameters
    ----------
    path : PhotonPath
        From `canopysim.follow.follow`.
    edges : tuple of float
        Band edges, nm.

    Returns
    -------
    rich renderable
        Positions in cm; what arrived as shares of the packet's launch weight.
    """
    from rich.box import SIMPLE
    from rich.console import Group
    from rich.table import Table
    from rich.text import Text

    par = within(edges)
    table = Table(box=SIMPLE)
    for name in ("meeting", "x, y, z in cm", "at", "side"):
        table.add_column(name, justify="left" if name in ("at", "side") else "right")
    table.add_column("arriving, 400–700 nm", justify="right")
    table.add_column("other bands", justify="right")
    for m in path.meetings:
        inside = sum(w for w, p in zip(m.weights, par, strict=True) if p)
        cells = (
            str(m.number),
            ", ".join(f"{100 * v:.2f}" for v in m.position_m),
            m.place,
            m.side,
            f"{inside:.4g}",
            f"{sum(m.weights) - inside:.4g}",
        )
        table.add_row(*(Text(c) for c in cells))
    lead = (
        f"Photon {path.address} of the lights {path.group}: {len(path.meetings) - 1} meetings, "
        f"{path.length_m:.2f} m, {path.end}. Shares of its launch weight over all bands:"
    )
    return Group(Text(lead), table)
