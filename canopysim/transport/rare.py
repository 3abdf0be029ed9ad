"""What happens to few packets: calls of their own, out of the way of the common path."""

import numpy as np

from canopysim.transport.arrays import N_LOST, UNTRACED_SINK
from canopysim.transport.planes import cross_planes
from canopysim.transport.random import draw
from canopysim.transport.real import FOUR, HALF, ONE, TINY, ZERO, F
from canopysim.transport.scatter import play_roulette
from canopysim.transport.target import fma, jit_apart, root
from canopysim.transport.triangle import centroid
from canopysim.transport.walk import nearest_triangle
from canopysim.transport.wall import wall_distance

# A new ray starts so many times its coordinates (or the last flight, if longer) off the triangle
# that it leaves: 16 units in the last place, 2 micrometres at 2 m.
OFFSET = F(2.0**-20)


@jit_apart
def leave_own_body(world, books, splits, strip, channel, ox, oy, oz, dx, dy, dz, w, stack, lanes):
    """Fly out of the fixture's own body: its shading is in a lens that was measured with it.

    Returns
    -------
    ox, oy, oz : float32
        Where the photon comes out, m; where it started if the body is not in its way.
    left_triangle : int
        What it comes out of, or -1.
    """
    left_triangle = np.int64(-1)
    while True:
        t, _ = wall_distance(world.box, ox, oy, oz, dx, dy, dz)
        triangle, t = nearest_triangle(
            world, ox, oy, oz, dx, dy, dz, t, left_triangle, stack, lanes
        )
        if triangle < 0 or world.triangle_place[triangle] != world.strip_ignores[strip]:
            return ox, oy, oz, left_triangle
        x, y, z = fma(t, dx, ox), fma(t, dy, oy), fma(t, dz, oz)
        cross_planes(world, books, splits, channel, ox, oy, oz, dx, dy, dz, t, oz, z, w)
        ox, oy, oz, left_triangle = x, y, z, triangle


@jit_apart
def pulled_in(triangles, box, triangle, x, y, z, nx, ny, nz):
    """Move a meeting point off the edges of what was met, and off its plane, by a few roundings.

    At an edge the rounded point can lie in the plane of the neighbour, which a ray from there does
    not meet.
    """
    if triangle >= 0:
        cx, cy, cz = centroid(triangles, triangle)
    else:
        cx = HALF * (box[0] + box[3])
        cy = HALF * (box[1] + box[4])
        cz = HALF * (box[2] + box[5])
    dx, dy, dz = cx - x, cy - y, cz - z
    far = root(fma(dx, dx, fma(dy, dy, dz * dz)))
    shift = OFFSET * max(max(abs(x), abs(y)), max(abs(z), far))
    pull = min(ONE, FOUR * shift / max(far, TINY))
    return (
        fma(pull, dx, fma(shift, nx, x)),
        fma(pull, dy, fma(shift, ny, y)),
        fma(pull, dz, fma(shift, nz, z)),
    )


@jit_apart
def lose(absorbed, met, counters, lost, channel, w, strip, photon, event, place, why):
    """Book a photon that cannot be followed, with its address: a program error, never hidden."""
    sink = absorbed.shape[1] - UNTRACED_SINK
    for band in range(w.shape[0]):
        absorbed[channel, sink, band] += w[band]
    met[channel, sink] += 1
    n = counters[2]
    if n < N_LOST:
        lost[n, 0], lost[n, 1], lost[n, 2] = strip, photon, event
        lost[n, 3], lost[n, 4] = place, why
    counters[2] = n + 1


@jit_apart
def plays_on(books, splits, channel, w, key0, key1, strip, batch, photon, event):
    """Play roulette once more with what a rough mirror lets out.

    What grazes out keeps next to nothing, and might fly through an endless room for ever.
    """
    left = ZERO
    for band in range(w.shape[0]):
        left += F(w[band])
    u, _, _, _ = draw(key0, key1, strip, batch, photon, event, 1)
    return play_roulette(books, splits, channel, left, w, u)
