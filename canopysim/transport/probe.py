"""Light at a point: the length that every flight leaves in a small ball, seen from all sides.

Flight length per volume is the fluence rate averaged over the ball; weighed by the cosine of
incidence on a plane it is the flux density on that plane, for any number of planes at once.
"""

import numpy as np

from canopysim.transport.real import HALF, ONE, ZERO, F
from canopysim.transport.target import fma, jit_apart, root

# Steps of the cosine response between grazing and straight incidence.
N_COSINE = 32


@jit_apart
def pass_probes(probe, response, probed, channel, ox, oy, oz, dx, dy, dz, t, w):
    """Book a flight in every ball that it passes through.

    Parameters
    ----------
    probe : float32 (n_probe, 7)
        Centre x, y, z and radius in metres; unit normal of the meter.
    response : float32 (n_probe, N_COSINE + 1)
        What the meter makes of light over what it should, by the cosine of incidence 0 to 1.
    probed : int64 (n_channel, n_probe, 9, n_band)
        Length inside over the radius, times weight: on the normal, as the meter sees it, from all
        sides (no cosine), facing right, left, back, front, up, down.
    """
    for k in range(probe.shape[0]):
        cx, cy, cz, r = probe[k, 0] - ox, probe[k, 1] - oy, probe[k, 2] - oz, probe[k, 3]
        along = fma(cx, dx, fma(cy, dy, cz * dz))
        # The foot's own vector keeps its digits where the difference of squares would not.
        qx, qy, qz = fma(-along, dx, cx), fma(-along, dy, cy), fma(-along, dz, cz)
        left = fma(-qx, qx, fma(-qy, qy, fma(-qz, qz, r * r)))
        if left <= ZERO:
            continue
        half = root(left)
        length = (min(along + half, t) - max(along - half, ZERO)) / r
        if length <= ZERO:
            continue
        cosine = -fma(dx, probe[k, 4], fma(dy, probe[k, 5], dz * probe[k, 6]))
        met = ZERO
        if cosine > ZERO:
            at = min(cosine, ONE) * F(N_COSINE)
            step = min(np.int64(at), N_COSINE - 1)
            rest = at - F(step)
            met = cosine * fma(rest, response[k, step + 1] - response[k, step], response[k, step])
        for band in range(w.shape[0]):
            whole = F(w[band]) * length
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
