"""Light at the boundaries between layers: what goes down, what comes up, what stays.

What is known of it, and from what:

- With ``canopy: {profile: true}`` the photons that cross every boundary are counted, so the fluxes
  downward and upward are known by themselves, walls and side lights or not.
- Without, the books tell the *net* flux where light can get below a boundary in no other way than
  through it and every place below it is known: the sides repeat, so that there are no walls, and
  every light hangs above the canopy. Then the net flux at a boundary is what leaves and stems below
  it and the floor absorb. Roulette and choice below it, whose means are zero, are left out.
- Walls are booked as wholes, not by height, so beside them the books alone do not tell it.

The net flux at the top less that at the bottom of a layer, plus what comes in sideways (light sent
out inside less what walls and fixtures inside take), is what leaves and stems in it absorb.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.books import (
    Estimate,
    Span,
    absorbed_in_parts,
    absorbed_per_batch,
    channel_scale,
    in_span,
    mean,
    ratio,
)
from canopysim.analysis.ends import End, sink_mask, sinks_of
from canopysim.analysis.far_red import FAR_RED, RED, has_red_to_far_red
from canopysim.bands import PAR
from canopysim.errors import CanopysimError
from canopysim.world.planes import LEVEL
from canopysim.world.sinks import ESCAPE, FACE, IN_LAYERS, LEAF, NET, PATCH, POT

if TYPE_CHECKING:
    from canopysim.results import Result

Array = NDArray[np.float64]
SIDES = ("front", "back", "left", "right")


@dataclass(frozen=True)
class Profile:
    """Flux densities at the boundaries between layers, top first, batch by batch.

    Attributes
    ----------
    group : str
        Group of lights, or "all".
    span : (low, high)
        Wavelengths, nm.
    height : numpy.ndarray (n_level,)
        Above the floor, m.
    lai : numpy.ndarray (n_level,)
        Leaf area index above the boundary, m² m⁻² of ground area.
    down, up : numpy.ndarray (n_batch, n_level)
        Mean PFD over the whole floor's extent, cosine-weighted, µmol m⁻² s⁻¹; NaN where only the
        net flux is known.
    net : numpy.ndarray (n_batch, n_level)
        Down less up; NaN where it is not known.
    absorbed : numpy.ndarray (n_batch, n_layer)
        By leaves and stems of each layer, over the floor's area, µmol m⁻² s⁻¹. The lowest layer's
        stems reach down to the floor.
    counted : bool
        Whether the boundaries were counted, rather than the net flux told by the books.
    from_above : bool
        Whether all lights of the group hang above the canopy.
    """

    group: str
    span: Span
    height: Array
    lai: Array
    down: Array
    up: Array
    net: Array
    absorbed: Array
    counted: bool
    from_above: bool

    @property
    def sideways(self) -> Array:
        """What comes into each layer other than through its boundaries, (n_batch, n_layer).

        Light sent out inside it less what walls and fixtures there take; below zero where walls
        take more. The corrections of roulette and choice, zero but for chance, are in it.
        """
        return self.absorbed - (self.net[:, :-1] - self.net[:, 1:])

    def estimates(self, what: str) -> list[Estimate]:
        """Mean and standard error of ``down``, ``up``, ``net``, ``absorbed`` or ``sideways``."""
        return [mean(column) for column in np.asarray(getattr(self, what)).T]


def has_levels(result: Result) -> bool:
    """Whether the boundaries between layers were counted."""
    return bool(_levels(result))


def knows_profile(result: Result) -> bool:
    """Whether the net flux at the boundaries is known, counted or from the books."""
    return result.layers is not None and (has_levels(result) or not _why_unknown(result))


def profile(result: Result, *, span: Span = PAR, group: str = "all") -> Profile:
    """Flux densities at the boundaries between layers.

    Parameters
    ----------
    result : Result
        With layers.
    span : (low, high)
        Range of whole traced bands, nm.
    group : str
        Group of lights, or "all".

    Returns
    -------
    Profile

    Raises
    ------
    CanopysimError
        Without a canopy, and where neither the boundaries were counted nor the books tell them.
    """
    if result.layers is None:
        raise CanopysimError("the result has no canopy, so it has no layers with boundaries")
    layers = result.layers
    floor_area = float(result.settings["width_m"]) * float(result.settings["depth_m"])
    # Of a drawn room the box round it says too much.
    floor_area = float(result.settings.get("floor_area_m2", floor_area))
    height = np.concatenate([layers["z_top_m"].values[:1], layers["z_bottom_m"].values])
    shares = _sinks_by_layer(result)
    absorbed = absorbed_in_parts(result, shares, span=span, group=group) / floor_area
    if has_levels(result):
        crossed = _crossed(result, span, group) / floor_area
        down, up = crossed[..., 0], crossed[..., 1]
        net = down - up
    else:
        why = _why_unknown(result)
        if why:
            raise CanopysimError(
                f"the result does not tell what passes the boundaries between layers ({why}); set "
                "'profile: true' under 'canopy' in the scene and trace again"
            )
        net = _net_of_books(result, absorbed, span, group, floor_area)
        down = up = np.full_like(net, np.nan)
    inside = result.meta.get("inside_canopy", {}).get("groups", [])
    return Profile(
        group=group,
        span=span,
        height=np.asarray(height, np.float64),
        lai=np.insert(np.asarray(layers["cumulative_lai"], np.float64), 0, 0.0),
        down=down,
        up=up,
        net=net,
        absorbed=absorbed,
        counted=has_levels(result),
        from_above=not inside if group == "all" else group not in inside,
    )


def red_to_far_red_by_depth(
    result: Result, *, group: str = "all", direction: str = "down"
) -> list[Estimate]:
    """Ratio of 600–700 over 700–800 nm at every boundary, as `far_red.red_to_far_red` on a plane.

    Parameters
    ----------
    result : Result
        Whose boundaries were counted.
    group : str
        Group of lights, or "all".
    direction : str
        "down" or "up", the way the photons travel.

    Returns
    -------
    list of Estimate
        Top first; empty where the traced bands have no edge at 600 or 800 nm, or where nothing was
        counted.
    """
    if not has_red_to_far_red(result) or not has_levels(result):
        return []
    way = ("down", "up").index(direction)
    red, far_red = (_crossed(result, span, group)[..., way] for span in (RED, FAR_RED))
    return [ratio(a, b) for a, b in zip(red.T, far_red.T, strict=True)]


def _levels(result: Result) -> list[int]:
    """Numbers of the counted boundaries among all planes of the books, top first."""
    if "plane" not in result.rows.coords:
        return []
    names = [str(name) for name in result.rows["plane"].values]
    return [number for number, name in enumerate(names) if name.startswith(LEVEL)]


def _crossed(result: Result, span: Span, group: str) -> Array:
    """Flux through the boundaries, (n_batch, n_level, down and up), µmol s⁻¹."""
    bands = np.flatnonzero(in_span(result, span))
    dims = ("batch", "channel", "plane", "direction", "traced_band")
    quanta = result.rows["crossed_sum"].transpose(*dims).values[:, :, _levels(result)]
    chosen = quanta[..., bands].sum(axis=-1, dtype=np.float64)
    return np.asarray(np.einsum("bcpd,c->bpd", chosen, channel_scale(result, group)), np.float64)


def _sinks_by_layer(result: Result) -> Array:
    """Rows of the books that are leaves and stems of each layer, ones in (n_layer, n_sink)."""
    assert result.layers is not None
    layer = np.asarray(result.rows["sink_layer"], np.int64)
    plants = sink_mask(result, lambda end: end.kind in IN_LAYERS)
    return np.asarray(plants * (layer == result.layers["layer"].values[:, None]), np.float64)


def _under(end: End) -> bool:
    """Whether photons end there below all layers: the floor, its patches and openings."""
    return end.face == "floor" and end.kind in (FACE, PATCH, ESCAPE)


def _why_unknown(result: Result) -> str:
    """Say why the books do not tell what passes a boundary; nothing where they do."""
    inside = result.meta.get("inside_canopy")
    if not inside:
        return "it does not say where its lights hang"
    if inside["groups"] or inside["bodies"]:
        return "lights hang below the canopy's top"
    if "drawn_room" in result.settings or any(end.face in SIDES for end in sinks_of(result)):
        return "what walls take is not booked by height"
    layer = result.rows["sink_layer"].values
    if any(e.kind in (POT, NET) and n < 1 for e, n in zip(sinks_of(result), layer, strict=True)):
        return "what pots, and nets outside the canopy, take is not booked by height"
    return ""


def _net_of_books(
    result: Result, absorbed: Array, span: Span, group: str, floor_area: float
) -> Array:
    """Net flux downward through each boundary, (n_batch, n_level): all that is absorbed below."""
    under = absorbed_per_batch(result, sink_mask(result, _under), span=span, group=group)
    below = np.cumsum(absorbed[:, ::-1], axis=1)[:, ::-1]
    net = np.concatenate([below, np.zeros_like(below[:, :1])], axis=1)
    net += under[:, None] / floor_area
    stems = sink_mask(result, lambda end: end.kind in IN_LAYERS and end.kind != LEAF)
    if absorbed_per_batch(result, stems, span=span, group=group).any():
        # Stems under the lowest leaf are booked with the lowest layer: its bottom is not known.
        net[:, -1] = np.nan
    return net
