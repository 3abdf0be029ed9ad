"""Random numbers by address: Philox4x32-10 of (seed; photon, batch, event and block, strip).

Salmon, Moraes, Dror and Shaw 2011, "Parallel random numbers: as easy as 1, 2, 3" (SC'11). A number
is a pure function of where it is used, so threads, chunks and resumes cannot change a history.
"""

import numpy as np

from canopysim.transport.real import HALF, F
from canopysim.transport.target import jit_open

U32 = np.uint32
U64 = np.uint64
MULTIPLY_0, MULTIPLY_1 = U64(0xD2511F53), U64(0xCD9E8D57)
WEYL_0, WEYL_1 = U64(0x9E3779B9), U64(0xBB67AE85)
LOW, SHIFT = U64(0xFFFFFFFF), U64(32)
STEP = F(2.0**-23)
BLOCKS_PER_EVENT = 8
ON_FLIGHTS, ON_LOOKS = 2**30, 2**31
# The launch numbers of a batch are an additive sequence in four dimensions, in 2^-32: multiples of
# the powers of 1/x, x^5 = x + 1 (Roberts 2018, "The unreasonable effectiveness of quasirandom
# sequences"), moved as a whole by a random shift of their own for every strip and batch (Cranley
# and Patterson 1976, SIAM J. Numer. Anal. 13(6)). Of the sequences that were tried, this one left
# the smallest errors of layers and maps.
STRIDES = (U64(0xDB4F0B91), U64(0xBBE05633), U64(0xA0F2EC77), U64(0x89E18285))


@jit_open
def philox(c0, c1, c2, c3, k0, k1):
    """Ten rounds of Philox4x32; counters and keys are uint32, four uint32 come back."""
    for _ in range(10):
        # numba widens uint32 products to 64 bits: cast back at every step.
        p0 = MULTIPLY_0 * U64(c0)
        p1 = MULTIPLY_1 * U64(c2)
        a = U32((p1 >> SHIFT) ^ U64(c1) ^ U64(k0))
        b = U32((p0 >> SHIFT) ^ U64(c3) ^ U64(k1))
        c1 = U32(p1 & LOW)
        c3 = U32(p0 & LOW)
        c0, c2 = a, b
        k0 = U32((U64(k0) + WEYL_0) & LOW)
        k1 = U32((U64(k1) + WEYL_1) & LOW)
    return c0, c1, c2, c3


@jit_open
def unit(bits):
    """Map a uint32 to the middle of one of 2^23 equal cells of (0, 1): never 0, never 1."""
    return (F(np.int32(bits >> U32(9))) + HALF) * STEP


@jit_open
def draw(key0, key1, strip, batch, photon, event, block):
    """Four uniforms in (0, 1) that belong to one block of one event of one photon."""
    place = U32(U64(event) * U64(BLOCKS_PER_EVENT) + U64(block))
    a, b, c, d = philox(U32(photon), U32(batch), place, U32(strip), key0, key1)
    return unit(a), unit(b), unit(c), unit(d)


@jit_open
def draw_leaf(key0, key1, stream, batch, photon, number):
    """Four uniforms in (0, 1) for a tentative meeting with leaves that fill a volume.

    `stream` is the strip with one of the marks `ON_FLIGHTS` and `ON_LOOKS`, which no strip's own
    number reaches: tentative meetings are counted by themselves and shift no event.
    """
    a, b, c, d = philox(U32(photon), U32(batch), U32(number), U32(stream), key0, key1)
    return unit(a), unit(b), unit(c), unit(d)


@jit_open
def spread(key0, key1, strip, batch, photon):
    """Four uniforms in (0, 1) for a launch: evenly spread over the photons of a batch.

    Each photon's numbers are uniform over the random shifts, so nothing is biased; batches are
    independent, so their spread gives honest errors.
    """
    a, b, c, d = philox(U32(0), U32(batch), U32(1), U32(strip), key0, key1)
    n = U64(photon)
    return (
        unit(U32((U64(a) + n * STRIDES[0]) & LOW)),
        unit(U32((U64(b) + n * STRIDES[1]) & LOW)),
        unit(U32((U64(c) + n * STRIDES[2]) & LOW)),
        unit(U32((U64(d) + n * STRIDES[3]) & LOW)),
    )
