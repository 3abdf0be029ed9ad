"""What a run refuses: tallies too large for memory, books that do not balance, lost photons."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from canopysim.errors import CanopysimError, UntracedError
from canopysim.transport.arrays import (
    FLIES_FOR_EVER,
    INSIDE_A_SOLID,
    LEFT_THE_WORLD,
    TOO_MANY_MEETINGS,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from canopysim.tallies.rows import BatchRows
    from canopysim.world.compile import World

UNTRACED_LIMIT = 1e-6
BOOKS_LIMIT_BYTES = 4 * 2**30
WHY_LOST = {
    LEFT_THE_WORLD: "left the world through",
    INSIDE_A_SOLID: "came out inside",
    FLIES_FOR_EVER: "flew for ever through",
    TOO_MANY_MEETINGS: "met more things than can be followed, last",
}


def split_bytes(world: World, threads: int) -> dict[str, int]:
    """Memory that the tallies told apart will take, by the array that takes it."""
    from canopysim.tallies.split_rows import FACET_FOLD, FOLD

    if world.splits is None:
        return {}
    # A set for each thread of two batches, the rows, and the rows once more while they are saved.
    copies = (2 * FOLD, 2 * FOLD, 2 * FACET_FOLD, 2 * FOLD, 2 * FOLD)
    return {
        name: 8 * math.prod(shape) * (2 * threads + 2 + n)
        for name, shape, n in zip(
            ("ends", "planes", "facets", "probes", "canopy"),
            world.splits.shapes(world.arrays),
            copies,
            strict=True,
        )
    }


def _refuse_large_splits(world: World, threads: int) -> None:
    """Refuse tallies told apart that would not fit into memory, with what makes them large."""
    need = split_bytes(world, threads)
    if sum(need.values()) <= BOOKS_LIMIT_BYTES:
        return
    assert world.splits is not None
    most = max(need, key=need.__getitem__)
    widest = max(world.splits.splits, key=lambda s: len(s.rows), default=None)
    if most == "probes":
        what, remedy = f"{len(world.probes)} probes", "place fewer"
    elif most == "canopy":
        what, remedy = "layers and plants", "leave canopy_sides or each_plant out"
    elif most == "facets" or widest is None:
        what, remedy = f"{world.splits.n_facet} triangles", "leave leaf_facets out"
    else:
        what = f"{len(widest.rows)} rows of {widest.name} for each of the {most}"
        remedy = f"ask for fewer {widest.name}"
        if world.splits.on_cells and most == "planes":
            remedy = f"leave on_cells out, choose larger cells, or {remedy}"
    raise CanopysimError(
        f"also_count: {what} would need {sum(need.values()) / 2**30:.1f} GiB of memory; allowed "
        f"are {BOOKS_LIMIT_BYTES / 2**30:.0f} GiB: {remedy}, or use fewer bands or threads"
    )


def plane_bytes(world: World, threads: int) -> int:
    """Memory that the cells of all planes will take: each thread's, and the rows."""
    from canopysim.tallies.split_rows import FOLD

    n_channel, _, n_band, n_bin = (int(n) for n in world.arrays.sizes)
    return 8 * n_channel * n_bin * n_band * (2 * threads + FOLD + 4)


def refuse_large(world: World, threads: int) -> None:
    """Refuse tallies that would not fit into memory, with what makes them large."""
    _refuse_large_splits(world, threads)
    n_channel, n_band = int(world.arrays.sizes[0]), int(world.arrays.sizes[2])
    need = plane_bytes(world, threads)
    if need > BOOKS_LIMIT_BYTES:
        cells = sum(p.cells[0] * p.cells[1] for p in world.planes)
        raise CanopysimError(
            f"planes: {cells} cells for {n_channel} light channels and {n_band} bands would need "
            f"{need / 2**30:.1f} GiB of memory; allowed are {BOOKS_LIMIT_BYTES / 2**30:.0f} GiB: "
            "choose larger cells, fewer planes or fewer threads"
        )


def most_batches(world: World) -> int:
    """Give the number of batches whose rows fit into memory, twice: labelling holds them again."""
    n_channel, n_sink, n_band, _ = (int(n) for n in world.arrays.sizes)
    row = 8 * n_channel * n_band * (n_sink + 2 * len(world.planes)) * (1 + len(world.replicates))
    return max(1, BOOKS_LIMIT_BYTES // (2 * row))


def refuse_imbalance(rows: BatchRows, launched: NDArray[np.int64]) -> None:
    """Check the books of the latest batch to the quantum."""
    from canopysim.tallies.books import imbalance

    if (imbalance(rows.absorbed[-1], launched) != 0).any():
        raise UntracedError(
            f"the books of batch {rows.n_batch - 1} do not balance: a defect of the program; "
            "please report it with the scene file and the seed"
        )


def refuse_untraced(world: World, rows: BatchRows, *, final: bool) -> None:
    """Fail loudly above one untraced packet in a million; early only where that is beyond doubt."""
    n_packet, _, untraced, _ = (int(c) for c in rows.counters)
    if untraced <= UNTRACED_LIMIT * n_packet or (not final and untraced < 10):
        return
    strip, photon, event, place, why = (int(v) for v in rows.lost[0][0][1:])
    batch = int(rows.lost[0][0][0])
    raise UntracedError(
        f"{untraced} of {n_packet} packets could not be followed (allowed: one in a million); the "
        f"first, strip {strip}, batch {batch}, photon {photon}, {WHY_LOST[why]} "
        f"{world.places[place]} at meeting {event}; look for a hole or overlap in that mesh"
    )
