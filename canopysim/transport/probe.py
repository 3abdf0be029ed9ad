"""Light at a point: the length that every flight leaves in a small ball, seen from all sides.

Flight length per volume is the fluence rate averaged over the ball; weighed by the cosine of
incidence on a plane it is the flux density on that plane, for any number of planes at once.

Few flights pass a small ball. From where light leaves in a known spread (a lens, a diffuse meeting)
and not too near, the length is therefore looked for: a direction is drawn within the cone that the
ball fills, and what a flight that way would leave counts by the density with which it would have
been taken (a next-event estimate). Every other flight leaves its length when it passes. Which of
the two holds follows from where the light last left, so each length counts once.
"""

import numpy as np

from canopysim.transport.arrays import N_FACING, PARALLEL
from canopysim.transport.cloud import meet_cloud
from canopysim.transport.launch import launch_density
from canopysim.transport.random import ON_LOOKS, draw
from canopysim.transport.real import (
    HALF,
    ONE,
    TWO,
    TWO_PI,
    ZERO,
    F,
    across,
    sine_cosine_of_turn,
)
from canopysim.transport.target import fma, jit, jit_apart, root
from canopysim.transport.walk import nearest_triangle
from canopysim.transport.wall import wall_distance

# Steps of the cosine response between grazing and straight incidence.
N_COSINE = 32
# A ball is looked for from this many of its radii and farther: no single look then outweighs a
# packet, and the cone that the ball fills is narrow.
FAR_RADII = F(2)
# The block of draws of an event that looking for a probe has to itself.
LOOK_BLOCK = 2
# Tentative meetings with leaves in volumes that a look may have; more would let nothing through.
LEAVES_PER_LOOK = 2**12
ONE_OVER_PI = F(0.3183098861837907)
# How light last left: by a mirror, a parallel beam or an earlier side of an endless room (counted
# as it passes), from a lens, or diffusely from a meeting.
PASSING, FROM_LENS, FROM_MEETING = 0, 1, 2


@jit
def _length_inside(probe, k, ox, oy, oz, dx, dy, dz, t):
    """Length of a flight in ball k over its radius; not positive where it misses."""
    cx, cy, cz, r = probe[k, 0] - ox, probe[k, 1] - oy, probe[k, 2] - oz, probe[k, 3]
    along = fma(cx, dx, fma(cy, dy, cz * dz))
    # The foot's own vector keeps its digits where the difference of squares would not.
    qx, qy, qz = fma(-along, dx, cx), fma(-along, dy, cy), fma(-along, dz, cz)
    left = fma(-qx, qx, fma(-qy, qy, fma(-qz, qz, r * r)))
    if left <= ZERO:
        return ZERO
    half = root(left)
    return (min(along + half, t) - max(along - half, ZERO)) / r


@jit
def _seen(response, k, cosine):
    """Weigh light by its cosine of incidence as the meter of ball k does; 0 from behind."""
    if cosine <= ZERO:
        return ZERO
    at = min(cosine, ONE) * F(N_COSINE)
    step = min(np.int64(at), N_COSINE - 1)
    rest = at - F(step)
    return cosine * fma(rest, response[k, step + 1] - response[k, step], response[k, step])


@jit
def _book(probe, response, lean, probed, channel, k, dx, dy, dz, amount, w):
    """Book a length in ball k, times the weights."""
    cosine = -fma(dx, probe[k, 4], fma(dy, probe[k, 5], dz * probe[k, 6]))
    met = _seen(response, k, cosine)
    for band in range(w.shape[0]):
        whole = F(w[band]) * amount
        book = probed[channel, k]
        book[0, band] += np.int64(whole * max(cosine, ZERO) + HALF)
        book[1, band] += np.int64(whole * met + HALF)
        book[2, band] += np.int64(whole + HALF)
        book[3, band] += np.int64(whole * max(-dx, ZERO) + HALF)
        book[4, band] += np.int64(whole * max(dx, ZERO) + HALF)
        book[5, band] += np.int64(whole * max(-dy, ZERO) + HALF)
        book[6, band] += np.int64(whole * max(dy, ZERO) + HALF)
        book[7, band] += np.int64(whole * max(-dz, ZERO) + HALF)
        book[8, band] += np.int64(whole * max(dz, ZERO) + HALF)
    for face in range(lean.shape[1]):
        cosine = -fma(dx, lean[k, face, 0], fma(dy, lean[k, face, 1], dz * lean[k, face, 2]))
        met = _seen(response, k, cosine)
        for band in range(w.shape[0]):
            whole = F(w[band]) * amount
            probed[channel, k, N_FACING + face, band] += np.int64(whole * met + HALF)


@jit
def _is_far(probe, k, x, y, z):
    """Whether ball k is looked for from a point, rather than passed."""
    cx, cy, cz, r = probe[k, 0] - x, probe[k, 1] - y, probe[k, 2] - z, FAR_RADII * probe[k, 3]
    return fma(cx, cx, fma(cy, cy, cz * cz)) >= r * r


@jit_apart
def pass_probes(splits, channel, origin, vx, vy, vz, ox, oy, oz, dx, dy, dz, t, w):
    """Book a flight in every ball that it passes through and that was not looked for.

    Parameters
    ----------
    splits : Splits
        `probe` (n_probe, 7): centre x, y, z and radius in metres, unit normal of the meter;
        `probe_response` (n_probe, N_COSINE + 1): what the meter makes of light over what it should,
        by the cosine of incidence 0 to 1; `probe_lean` (n_probe, n_lean, 3): normals of the same
        meter when it leans; `probed` (n_channel, n_probe, 9 + n_lean, n_band): length inside
        over the radius, times weight: on the normal, as the meter sees it, from all sides (no
        cosine), facing right, left, back, front, up, down, then as the meter sees it when it
        leans.
    channel : int
        Of the packet.
    origin : int
        How the light last left: PASSING, FROM_LENS or FROM_MEETING.
    vx, vy, vz : float32
        Where it last left, m.
    ox, oy, oz, dx, dy, dz, t : float32
        Origin in m, unit direction and length of the flight.
    w : int64 (n_band,)
        Its weights.
    """
    probe = splits.probe
    for k in range(probe.shape[0]):
        if origin != PASSING and splits.looks[0] == 1 and _is_far(probe, k, vx, vy, vz):
            continue
        length = _length_inside(probe, k, ox, oy, oz, dx, dy, dz, t)
        if length > ZERO:
            _book(
                probe, splits.probe_response, splits.probe_lean, splits.probed, channel, k,
                dx, dy, dz, length, w,
            )  # fmt: skip


@jit
def _pull(probe, k, origin, x, y, z, nx, ny, nz):
    """How likely ball k is to be looked for: about as its share of the light that leaves a point.

    Not by its size: small balls need as many looks as large ones. 0 only where no light can go.
    """
    cx, cy, cz, r = probe[k, 0] - x, probe[k, 1] - y, probe[k, 2] - z, probe[k, 3]
    square = fma(cx, cx, fma(cy, cy, cz * cz))
    if square < FAR_RADII * FAR_RADII * r * r:
        return ZERO
    if origin == FROM_LENS:
        return ONE / square
    # The whole ball counts, not its centre alone.
    above = fma(cx, nx, fma(cy, ny, cz * nz)) + r
    return max(above, ZERO) / (square * root(square))


@jit_apart
def look_for_probe(
    world, splits, origin, strip, key0, key1, batch, photon, event, vx, vy, vz, nx, ny, nz,
    left_triangle, w, stack, lanes,
):  # fmt: skip
    """Look for one ball, drawn among all, from where light leaves in a known spread.

    Parameters
    ----------
    origin : int
        FROM_LENS (of the strip) or FROM_MEETING (cosine about the unit normal n).
    vx, vy, vz : float32
        Where it leaves, m.
    left_triangle : int
        What it leaves, or -1.
    """
    probe = splits.probe
    n_probe = probe.shape[0]
    if n_probe == 0 or splits.looks[0] == 0:
        return
    # One ball of those that are far enough, the nearer the likelier, as their shares of light go.
    whole = ZERO
    for k in range(n_probe):
        whole += _pull(probe, k, origin, vx, vy, vz, nx, ny, nz)
    if whole <= ZERO:
        return
    u_which, u_polar, u_turn, _ = draw(key0, key1, strip, batch, photon, event, LOOK_BLOCK)
    k, so_far, pull = np.int64(-1), ZERO, ZERO
    while k < n_probe - 1 and (so_far <= u_which * whole or pull <= ZERO):
        k += 1
        pull = _pull(probe, k, origin, vx, vy, vz, nx, ny, nz)
        so_far += pull
    if pull <= ZERO:
        return
    # A direction of the cone that the ball fills, all alike.
    cx, cy, cz = probe[k, 0] - vx, probe[k, 1] - vy, probe[k, 2] - vz
    distance = root(fma(cx, cx, fma(cy, cy, cz * cz)))
    s = probe[k, 3] / distance
    s = s * s
    # 1 - cos of its half angle, with all digits.
    cap = s / (ONE + root(ONE - s))
    height = u_polar * cap
    sine, cosine = sine_cosine_of_turn(u_turn)
    dx, dy, dz = across(
        cx / distance, cy / distance, cz / distance, sine, cosine,
        root(height * (TWO - height)), ONE - height,
    )  # fmt: skip
    if origin == FROM_LENS:
        density = launch_density(
            world.strip, world.strip_lens, world.strip_table, world.lens_numbers, strip, dx, dy, dz
        )
    else:
        density = ONE_OVER_PI * fma(nx, dx, fma(ny, dy, nz * dz))
    if density <= ZERO:
        return
    ignored = np.int64(-1)
    if origin == FROM_LENS:
        ignored = world.strip_ignores[strip]
    t = _clear_length(
        world, vx, vy, vz, dx, dy, dz, distance + probe[k, 3], left_triangle, ignored, stack, lanes
    )
    if world.cloud_kind.shape[0] > 0:
        # Leaves that fill a volume let through what a flight that way would have survived.
        t, _, _, _, _, _ = meet_cloud(
            world, key0, key1, strip + ON_LOOKS, batch, photon, event * LEAVES_PER_LOOK,
            vx, vy, vz, dx, dy, dz, t,
        )  # fmt: skip
    length = _length_inside(probe, k, vx, vy, vz, dx, dy, dz, t)
    if length <= ZERO:
        return
    amount = whole / pull * density * TWO_PI * cap * length
    _book(
        probe, splits.probe_response, splits.probe_lean, splits.probed, world.strip_channel[strip],
        k, dx, dy, dz, amount, w,
    )  # fmt: skip


@jit
def _clear_length(
    world, ox, oy, oz, dx, dy, dz, limit, left_triangle, ignored, stack, lanes
):  # fmt: skip
    """How far a flight comes, up to a limit; through the ignored place it goes on."""
    gone = ZERO
    while True:
        wall, _ = wall_distance(world.box, ox, oy, oz, dx, dy, dz)
        triangle, t = nearest_triangle(
            world, ox, oy, oz, dx, dy, dz, min(wall, limit - gone), left_triangle, stack, lanes
        )
        if triangle < 0 or world.triangle_place[triangle] != ignored:
            return gone + t
        gone += t
        ox, oy, oz = fma(t, dx, ox), fma(t, dy, oy), fma(t, dz, oz)
        left_triangle = triangle


@jit
def how_it_leaves(lens):
    """How a packet leaves a strip: from a lens of known density, or straight ahead."""
    return PASSING if lens == PARALLEL else FROM_LENS
