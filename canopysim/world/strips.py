"""Placed strips and daylight as launch tables: packets per batch, channels, quanta."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.bands import within
from canopysim.light.lens_table import lens_table
from canopysim.light.placing import PlacedStrip
from canopysim.matter.enclosure import face_rectangles
from canopysim.transport.arrays import BEAM, LAMBERTIAN, PACKET_QUANTA, PARALLEL, TABLE

if TYPE_CHECKING:
    from canopysim.light.spectrum.spectrum import Spectrum
    from canopysim.scene.schema import Scene

LENS_CODE = {"lambertian": LAMBERTIAN, "beam": BEAM, "parallel": PARALLEL, "table": TABLE}


@dataclass(frozen=True)
class Channel:
    """Strips of one light, set together, alike in spectrum, flux and packets: the source axis.

    Attributes
    ----------
    group : str
        What they are answered for under.
    flux_umol_s : float
        Their photon flux over all bands at full output.
    output : float
        Share of full output; a factor at labelling, never in a history.
    packets : int
        Packets they launch in a batch.
    shares : tuple of float
        Share of each band.
    name : str
        Channel of the fixture; "" where that has none.
    """

    group: str
    flux_umol_s: float
    output: float
    packets: int
    shares: tuple[float, ...]
    name: str = ""

    @property
    def umol_s_per_quantum(self) -> float:
        """Flux that one quantum in one batch stands for, at the stated output."""
        return self.flux_umol_s * self.output / (self.packets * PACKET_QUANTA)


@dataclass(frozen=True)
class LaunchTables:
    """What `WorldArrays` and the driver need to know of the strips."""

    strip: NDArray[np.float32]
    lens: NDArray[np.int32]
    table: NDArray[np.int64]
    body: NDArray[np.int32]
    lens_numbers: NDArray[np.float32]
    channel: NDArray[np.int32]
    spectrum: NDArray[np.int32]
    quanta: NDArray[np.int64]
    first: NDArray[np.int64]
    channels: tuple[Channel, ...]


def exponent(width_rad: float) -> float:
    """Exponent m of cos^m whose full width at half maximum is `width_rad`: ln(1/2)/ln cos(w/2)."""
    # ln cos x = ln(1 - sin^2 x) / 2 keeps its digits for the narrowest beam.
    return math.log(0.5) / (0.5 * math.log1p(-(math.sin(width_rad / 2) ** 2)))


def daylight_strips(scene: Scene) -> list[PlacedStrip]:
    """Daylight through the open parts of the ceiling, as panels that lie in it.

    A uniform diffuse sky seen through an opening is a Lambertian panel there: its flux is the
    opening's area times the flux density on its plane. A beam is a panel whose rays are parallel.
    """
    strips = []
    width, depth, height = scene.enclosure.size
    face = scene.enclosure.face("ceiling")
    openings = [(np.zeros(2), np.array([width, depth]))] if face.open else []
    for patch in face.patches:
        low = np.minimum(patch.corner, patch.opposite)
        high = np.maximum(patch.corner, patch.opposite)
        # Later patches lie over earlier ones: cut, then open if the patch is an opening.
        openings = [
            (a + piece[0], a + piece[1])
            for a, b in openings
            for piece in face_rectangles(b - a, [(low - a, high - a)])
        ]
        if patch.open:
            openings.append((low, high))
    for number, light in enumerate(scene.daylight):
        shares = np.asarray(light.spectrum.values(scene.bands))
        par = float(shares[within(scene.bands)].sum())
        axes = np.eye(3)
        if light.beam is not None:
            zenith, azimuth = light.beam.zenith, light.beam.azimuth
            travel = (
                math.sin(zenith) * math.cos(azimuth),
                math.sin(zenith) * math.sin(azimuth),
                -math.cos(zenith),
            )
            # Only the last axis slants: the points stay in the ceiling, the rays do not.
            axes[2] = -np.asarray(travel)
        for low, high in openings:
            area = float(np.prod(high - low))
            strips.append(
                PlacedStrip(
                    light=-1 - number,
                    group=light.group,
                    centre=np.array([*(low + high) / 2, height]),
                    axes=axes,
                    length_m=float(high[0] - low[0]),
                    width_m=float(high[1] - low[1]),
                    lens="lambertian" if light.beam is None else "parallel",
                    along_rad=0.0,
                    across_rad=0.0,
                    distribution=None,
                    ghost_body=-1,
                    flux_umol_s=light.ppfd / par * area,
                    shares=tuple(float(v) for v in shares),
                    spectrum=light.spectrum.light,
                    output=1.0,
                )
            )
    return strips


def spectra_of(strips: list[PlacedStrip]) -> list[Spectrum]:
    """List the spectra of all strips, each once, in the order in which they come."""
    return list(dict.fromkeys(s.spectrum for s in strips))


def _lens_tables(strips: list[PlacedStrip]) -> tuple[NDArray[np.int64], NDArray[np.float32]]:
    """Tabulate the lenses that are given as tables, each once."""
    rows = np.zeros((len(strips), 3), np.int64)
    numbers: list[NDArray[np.float32]] = []
    known: dict[int, tuple[int, int, int]] = {}
    size = 0
    for row, strip in zip(rows, strips, strict=True):
        if strip.distribution is None:
            continue
        if id(strip.distribution) not in known:
            table = lens_table(strip.distribution)
            known[id(strip.distribution)] = (size, table.n_c, table.n_gamma)
            numbers.append(table.numbers)
            size += len(table.numbers)
        row[:] = known[id(strip.distribution)]
    return rows, np.concatenate([np.zeros(0, np.float32), *numbers])


def launch_tables(strips: list[PlacedStrip], batch: int) -> LaunchTables:
    """Share the packets of a batch among strips by their flux at full output.

    Parameters
    ----------
    strips : list of PlacedStrip
        At least one.
    batch : int
        Packets in a batch, about; every strip launches at least one.

    Returns
    -------
    LaunchTables
        A change of output changes none of the arrays, hence no history.
    """
    total = sum(s.flux_umol_s for s in strips)
    packets = [max(1, round(batch * s.flux_umol_s / total)) for s in strips]
    members: dict[tuple[object, ...], list[int]] = {}
    for i, (s, n) in enumerate(zip(strips, packets, strict=True)):
        key = (s.light, s.channel, s.shares, s.spectrum, s.flux_umol_s, n)
        members.setdefault(key, []).append(i)
    channels: list[Channel] = []
    number = np.empty(len(strips), np.int32)
    for mine in members.values():
        first = strips[mine[0]]
        number[mine] = len(channels)
        channels.append(
            Channel(
                group=first.group,
                flux_umol_s=first.flux_umol_s * len(mine),
                output=first.output,
                packets=packets[mine[0]] * len(mine),
                shares=first.shares,
                name=first.channel,
            )
        )
    rows = [
        [*s.centre, *s.axes.ravel(), s.length_m / 2, s.width_m / 2,
         exponent(s.along_rad) if s.lens == "beam" else 1.0,
         exponent(s.across_rad) if s.lens == "beam" else 1.0]
        for s in strips
    ]  # fmt: skip
    table, lens_numbers = _lens_tables(strips)
    return LaunchTables(
        table=table,
        body=np.array([s.ghost_body for s in strips], np.int32),
        lens_numbers=lens_numbers,
        strip=np.array(rows, np.float32),
        lens=np.array([LENS_CODE[s.lens] for s in strips], np.int32),
        channel=number,
        spectrum=np.array([spectra_of(strips).index(s.spectrum) for s in strips], np.int32),
        quanta=np.rint(np.array([s.shares for s in strips]) * PACKET_QUANTA).astype(np.int64),
        first=np.concatenate([[0], np.cumsum(packets)]).astype(np.int64),
        channels=tuple(channels),
    )
