"""The enclosing box, seen from inside."""

from canopysim.transport.real import BIG, TINY, ZERO, inverse
from canopysim.transport.target import jit


@jit
def wall_distance(box, ox, oy, oz, dx, dy, dz):
    """Distance to the enclosing box from inside, and the face met (lower axis first)."""
    tx = ((box[3] if dx > ZERO else box[0]) - ox) * inverse(dx)
    ty = ((box[4] if dy > ZERO else box[1]) - oy) * inverse(dy)
    tz = ((box[5] if dz > ZERO else box[2]) - oz) * inverse(dz)
    # What the sine of a round angle leaves (1e-16, of either sign) must not steer a ray.
    tx = tx if abs(dx) >= TINY else BIG
    ty = ty if abs(dy) >= TINY else BIG
    tz = tz if abs(dz) >= TINY else BIG
    t, face = tx, (1 if dx > ZERO else 0)
    if ty < t:
        t, face = ty, (3 if dy > ZERO else 2)
    if tz < t:
        t, face = tz, (5 if dz > ZERO else 4)
    return max(t, ZERO), face
