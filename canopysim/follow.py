"""One photon followed alone: from its address to its path, meeting by meeting."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.errors import CanopysimError

if TYPE_CHECKING:
    from canopysim.world.compile import World


@dataclass(frozen=True)
class Address:
    """Where a photon's random numbers come from.

    Attributes
    ----------
    strip : int
        Number of the strip, from 0 in the order of `check`.
    batch : int
        Number of the batch, from 0.
    photon : int
        Number of the packet within its strip and batch, from 0.
    """

    strip: int
    batch: int
    photon: int

    @staticmethod
    def parse(text: str) -> Address:
        """Read ``strip:batch:photon``.

        Raises
        ------
        CanopysimError
            For anything else.
        """
        parts = text.split(":")
        if len(parts) != 3 or not all(p.isascii() and p.isdigit() and len(p) < 11 for p in parts):
            raise CanopysimError(
                f"address: {text!r} is no address; write strip:batch:photon, as in 0:12:345"
            )
        return Address(*(int(p) for p in parts))

    def __str__(self) -> str:
        return f"{self.strip}:{self.batch}:{self.photon}"


@dataclass(frozen=True)
class Meeting:
    """One point of a path.

    Attributes
    ----------
    number : int
        0 is the launch.
    position_m : tuple of float
        World frame, m.
    place : str
        What was met; "launch" at the start.
    side : str
        "upper" or "lower" for leaves and stems, otherwise "".
    weights : tuple of float
        Share of the packet's launch weight (all bands) that arrived, band by band.
    """

    number: int
    position_m: tuple[float, float, float]
    place: str
    side: str
    weights: tuple[float, ...]


@dataclass(frozen=True)
class PhotonPath:
    """A path and its end."""

    address: Address
    group: str
    meetings: tuple[Meeting, ...]
    end: str

    @property
    def length_m(self) -> float:
        """Length of the way flown, m."""
        points = np.array([m.position_m for m in self.meetings])
        return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())

    def to_csv(self, edges: tuple[float, ...]) -> str:
        """Give the path as CSV text; weights are shares of the launched packet, by band."""
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        bands = [f"weight_{a:g}_{b:g}_nm" for a, b in pairwise(edges)]
        writer.writerow(["meeting", "x_m", "y_m", "z_m", "place", "side", *bands])
        for m in self.meetings:
            where = [f"{v:.9g}" for v in m.position_m]
            writer.writerow([m.number, *where, m.place, m.side, *(f"{w:.9g}" for w in m.weights)])
        return text.getvalue()


def follow(world: World, seed: int, address: Address) -> PhotonPath:
    """Trace one photon alone, in plain Python, as the run traced it.

    Parameters
    ----------
    world : World
        The compiled scene.
    seed : int
        Seed of the run.
    address : Address
        Which photon.

    Returns
    -------
    PhotonPath
        Launch, meetings and end.

    Raises
    ------
    CanopysimError
        If there is no such photon.
    """
    from canopysim.tallies.books import open_books
    from canopysim.transport.arrays import PACKET_QUANTA
    from canopysim.transport.plain import load_physics, target

    if world.replicates:
        world = world.replicates[address.batch % len(world.replicates)]
    arrays = world.arrays
    n_strip = len(arrays.strip_lens)
    if address.strip >= n_strip:
        raise CanopysimError(
            f"address: {address} names strip {address.strip}; allowed are 0 to {n_strip - 1}"
        )
    packets = int(np.diff(world.strip_first)[address.strip])
    if address.photon >= packets:
        raise CanopysimError(
            f"address: {address} names photon {address.photon}; strip {address.strip} launches "
            f"0 to {packets - 1} in a batch"
        )
    books = open_books(arrays)
    n_band = arrays.strip_quanta.shape[1]
    target.DIARY.clear()
    with np.errstate(all="ignore"):
        load_physics().trace_photon(
            arrays, books, None, address.strip, np.uint32(seed), np.uint32(seed >> 32),
            address.batch, address.photon, np.empty(n_band, np.int64), None, None,
        )  # fmt: skip
    meetings = []
    for note in target.DIARY:
        layered = note.place >= 0 and arrays.place_layered[note.place] == 1
        meetings.append(
            Meeting(
                number=note.event,
                position_m=(note.x, note.y, note.z),
                place="launch" if note.place < 0 else world.places[note.place],
                side=("upper", "lower")[note.side] if layered else "",
                weights=tuple(float(v) / PACKET_QUANTA for v in note.weights),
            )
        )
    target.DIARY.clear()
    return PhotonPath(
        address=address,
        group=world.channels[arrays.strip_channel[address.strip]].group,
        meetings=tuple(meetings),
        end=_end(world, books.absorbed.sum((0, 2)), meetings[-1]),
    )


def _end(world: World, taken: NDArray[np.int64], last: Meeting) -> str:
    """Say how a path ended, from what the books took."""
    kinds = {world.sinks[i].kind for i in np.flatnonzero(taken)}
    if "untraced" in kinds:
        return f"could not be followed beyond {last.place}"
    if last.place.startswith("escaped"):
        return last.place
    if "roulette" in kinds and taken[-2] > 0:
        return f"ended as a faint packet by roulette at {last.place}"
    return f"absorbed at {last.place}"


def write_path(path: PhotonPath, edges: tuple[float, ...], folder: Path) -> Path:
    """Write a path beside a result as ``photon-STRIP-BATCH-PHOTON.csv``."""
    target = folder / f"photon-{str(path.address).replace(':', '-')}.csv"
    target.write_text(path.to_csv(edges), "utf-8")
    return target
