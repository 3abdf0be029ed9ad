"""What happens at a meeting: deposit, choice of the way on, roulette. Weights are integers."""

import numpy as np

from canopysim.transport.arrays import (
    CHOICE_SINK,
    DIFFUSE,
    PACKET_QUANTA,
    ROULETTE_SINK,
    SPECULAR,
    TRANSMIT,
)
from canopysim.transport.real import HALF, ONE, ZERO, F
from canopysim.transport.splits import split_ended, split_facet, split_own
from canopysim.transport.target import jit

# Four units in the last place of a probability.
ROUNDING = F(2.0**-22)
HALF_ABSORB = np.int64(2**23)
ABSORB_BITS = np.int64(24)
# A packet whose weight over all bands is below this share of a launch plays for its life.
# The figures of merit of other shares, and of other ways to choose, are in benchmarks/README.md.
ROULETTE_BELOW = F(0.05 * PACKET_QUANTA)


@jit
def deposit(world, books, splits, channel, sink, surface, side, facet, w):
    """Leave the absorbed part of each band in a sink; the rest stays in `w`.

    Returns
    -------
    float32
        Weight left over all bands, in quanta.
    """
    left = ZERO
    some = np.int64(0)
    for band in range(w.shape[0]):
        lost = (w[band] * world.absorb[surface, side, band] + HALF_ABSORB) >> ABSORB_BITS
        books.absorbed[channel, sink, band] += lost
        w[band] -= lost
        some |= lost
        left += F(w[band])
        if splits is not None:
            splits.amounts[band] = lost
    if some != 0:
        books.met[channel, sink] += 1
    if splits is not None:
        split_ended(splits, channel, sink, splits.amounts)
        split_facet(splits, facet, side, channel, splits.amounts)
        split_own(world, splits, channel, sink, surface, side, w)
    return left


@jit
def stop_between_facets(books, splits, channel, sink, kept, w):
    """Leave in a sink what a rough mirror stops on its way out.

    Returns
    -------
    bool
        Whether anything goes on.
    """
    some = np.int64(0)
    for band in range(w.shape[0]):
        on = np.int64(F(w[band]) * kept + HALF)
        # The rounding of a large weight to float32 must not make light.
        on = min(on, w[band])
        books.absorbed[channel, sink, band] += w[band] - on
        if splits is not None:
            splits.amounts[band] = w[band] - on
        w[band] = on
        some |= on
    if splits is not None:
        split_ended(splits, channel, sink, splits.amounts)
    return some != 0


@jit
def end_all(books, splits, channel, sink, w):
    """Leave every band's whole weight in a sink and end the packet."""
    if splits is not None:
        split_ended(splits, channel, sink, w)
    for band in range(w.shape[0]):
        books.absorbed[channel, sink, band] += w[band]
        w[band] = 0
    books.met[channel, sink] += 1


@jit
def reweigh(books, splits, channel, choice, band, ratio, w):
    """Multiply a band's weight, and book what that adds or takes."""
    # A band that agrees with the choice to rounding keeps its weight as it is.
    new = np.int64(F(w[band]) * ratio + HALF)
    new = new if abs(ratio - ONE) > ROUNDING else w[band]
    books.absorbed[channel, choice, band] -= new - w[band]
    if splits is not None:
        splits.amounts[band] = w[band] - new
    w[band] = new


@jit
def choose_way(world, books, splits, channel, surface, side, left, w, u):
    """Choose how all bands go on together, and correct each band's weight for the choice.

    A way is chosen with the probability p of the summed weights; a band whose own share of that
    way is f goes on with w f / p. Its mean over the ways is w, and the sum over the bands keeps
    its value, so no band's weight can outgrow the packet's. What the correction adds or takes is
    booked in the sink "choice".

    Parameters
    ----------
    left : float32
        Sum of `w`.
    u : float32
        Uniform in (0, 1).

    Returns
    -------
    int
        DIFFUSE, SPECULAR or TRANSMIT.
    """
    scatters = world.way_open[surface, side, DIFFUSE] == 1
    mirrors = world.way_open[surface, side, SPECULAR] == 1
    lets_through = world.way_open[surface, side, TRANSMIT] == 1
    # One way only: nothing to choose, nothing to correct.
    if not mirrors and not lets_through:
        return DIFFUSE
    if not scatters and mirrors != lets_through:
        return SPECULAR if mirrors else TRANSMIT
    diffuse, specular, through = ZERO, ZERO, ZERO
    for band in range(w.shape[0]):
        weight = F(w[band])
        diffuse += weight * world.ways[surface, side, DIFFUSE, band]
        specular += weight * world.ways[surface, side, SPECULAR, band]
        through += weight * world.ways[surface, side, TRANSMIT, band]
    x = u * left
    if scatters and x < diffuse:
        way, p = DIFFUSE, diffuse / left
    elif mirrors and (x < diffuse + specular or not lets_through):
        way, p = SPECULAR, specular / left
    elif lets_through:
        way, p = TRANSMIT, through / left
    else:
        way, p = DIFFUSE, diffuse / left
    if p <= ZERO:
        p = ONE
    choice = books.absorbed.shape[1] - CHOICE_SINK
    for band in range(w.shape[0]):
        reweigh(books, splits, channel, choice, band, world.ways[surface, side, way, band] / p, w)
    if splits is not None:
        split_ended(splits, channel, choice, splits.amounts)
    return way


@jit
def play_roulette(books, splits, channel, left, w, u):
    """End faint packets without bias: survive with probability p, then weigh 1/p as much.

    Returns
    -------
    bool
        Whether the packet lives on.
    """
    if left >= ROULETTE_BELOW:
        return True
    sink = books.absorbed.shape[1] - ROULETTE_SINK
    alive = u * ROULETTE_BELOW < left
    gain = ROULETTE_BELOW / left if alive else ZERO
    for band in range(w.shape[0]):
        new = np.int64(F(w[band]) * gain + HALF)
        books.absorbed[channel, sink, band] -= new - w[band]
        if splits is not None:
            splits.amounts[band] = w[band] - new
        w[band] = new
    if splits is not None:
        split_ended(splits, channel, sink, splits.amounts)
    return alive
