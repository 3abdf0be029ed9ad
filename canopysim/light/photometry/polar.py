"""The polar plot of a distribution: intensity by direction, in two upright planes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from canopysim.light.photometry.distribution import CANDELA, Distribution
from canopysim.light.photometry.summary import peak, plane_profile
from canopysim.light.photometry.words import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# A plane through the peak is drawn too if it is this far from the other two.
OWN_PLANE_RAD = np.radians(5.0)
# Chords are as good as arcs at this step.
STEP_RAD = np.radians(1.0)
# Less than this share of the peak above the level plane is not worth the paper.
FAINT = 0.01
# Room for the angles around the outermost ring, of its radius 1.
MARGIN = 1.16
STYLES = ("-", "--", ":")


def polar_plot(distribution: Distribution, *, band: str | None = None, name: str = "polar") -> str:
    """Draw a distribution as inline SVG.

    Parameters
    ----------
    distribution : Distribution
        Any.
    band : str or None
        Waveband of photon intensities, as in "400–700 nm"; neither format tells it. Candela need
        none: they are weighted by the eye.
    name : str
        Prefix of all ids inside, unique on the page; letters, digits and hyphens.

    Returns
    -------
    str
        SVG element: straight ahead (-z) is down. The planes 0-180 and 90-270, and that of the
        peak if it lies in neither, differ in line style, not in colour.
    """
    # On use: matplotlib is slow to import.
    from canopysim.report.svg import PALETTE, drawing, new_figure

    planes = [
        (label, *_dense(*plane_profile(distribution, c))) for label, c in _planes(distribution)
    ]
    top = peak(distribution)
    level = np.pi / 2.0 + 1e-3
    highest = max(float(value[np.abs(angle) > level].max()) for _, angle, value in planes)
    ceiling = MARGIN if highest > FAINT * top.intensity else 0.14
    with drawing(name, f"Intensity by direction: {distribution.name}") as d:
        # Both axes have one scale, so the paper follows what is drawn, with room for the words.
        height = 3.9 * (MARGIN + ceiling) / (2.0 * MARGIN) + 0.4 + 0.2 * len(planes)
        figure, axes = new_figure(4.6, height)
        reach = _rings(axes, top.intensity)
        for (label, angle, value), style in zip(planes, STYLES, strict=False):
            x, y = value * np.sin(angle), -value * np.cos(angle)
            axes.plot(x, y, style, color=PALETTE[0], linewidth=1.6, label=label)
        axes.set_xlim(-MARGIN * reach, MARGIN * reach)
        axes.set_ylim(-MARGIN * reach, ceiling * reach)
        axes.set_aspect("equal")
        axes.set_axis_off()
        axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), frameon=False)
        figure.supxlabel(_quantity(distribution, band), fontsize=9)
        d.finish(figure)
    return d.svg


def _quantity(distribution: Distribution, band: str | None) -> str:
    if distribution.unit == CANDELA:
        return "luminous intensity (cd, weighted by the eye)"
    return f"photon intensity (µmol s⁻¹ sr⁻¹, {band or 'waveband not stated in the file'})"


def _planes(distribution: Distribution) -> list[tuple[str, float]]:
    """Planes to draw: their words and the half plane of positive angles, to the right."""
    planes = [("along, 0–180° (+x to the right)", 0.0)]
    planes.append(("across, 90–270° (+y to the right)", np.pi / 2.0))
    top = peak(distribution)
    beside = top.c_rad % (np.pi / 2.0)
    if min(beside, np.pi / 2.0 - beside) > OWN_PLANE_RAD:
        degrees = np.degrees(top.c_rad)
        planes.append((f"of the peak, {degrees:.0f}–{(degrees + 180) % 360:.0f}°", top.c_rad))
    return planes


def _dense(angle: Array, value: Array) -> tuple[Array, Array]:
    """Put nodes between, so that straight pieces of the curve look round."""
    fine = np.linspace(-np.pi, np.pi, round(2.0 * np.pi / STEP_RAD) + 1)
    # 0 stands twice; both halves keep their own value there.
    parts = []
    for side in (angle < 0.0, angle > 0.0):
        at = angle[side]
        nodes = np.union1d(at, fine[(fine >= at.min()) & (fine <= at.max())])
        parts.append((nodes, np.interp(nodes, at, value[side])))
    middle = np.flatnonzero(angle == 0.0)
    return (
        np.concatenate([parts[0][0], angle[middle], parts[1][0]]),
        np.concatenate([parts[0][1], value[middle], parts[1][1]]),
    )


def _rings(axes: Axes, greatest: float) -> float:
    """Draw rings of equal intensity and rays every 30 degrees; return the outermost ring."""
    from matplotlib.ticker import MaxNLocator

    from canopysim.report.svg import INK

    values = [v for v in MaxNLocator(4).tick_values(0.0, greatest) if v > 0.0]
    reach = float(values[-1])
    turn = np.linspace(0.0, 2.0 * np.pi, 181)
    for value in values:
        axes.plot(value * np.sin(turn), -value * np.cos(turn), color=INK, linewidth=0.5, alpha=0.25)
        axes.text(0.0, -value, f" {value:g}", fontsize=7.5, va="bottom", ha="left")
    for degrees in range(-150, 181, 30):
        x, y = np.sin(np.radians(degrees)), -np.cos(np.radians(degrees))
        axes.plot([0.0, reach * x], [0.0, reach * y], color=INK, linewidth=0.5, alpha=0.25)
        axes.text(
            1.08 * reach * x,
            1.08 * reach * y,
            f"{abs(degrees)}°",
            fontsize=7.5,
            ha="center",
            va="center",
            clip_on=True,
        )
    return reach
