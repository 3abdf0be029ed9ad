"""A leaf's cuticle: part of the light is mirrored before it enters, and on its way out of the leaf.

The cuticle is a film of small facets (see `mirror`) over a leaf that scatters by Lambert's law. A
facet mirrors as Fresnel's equations have it, times a share that each band keeps; all else goes
through, so that nothing is absorbed there. Light that leaves the leaf's inside meets the same
film: its directions follow the cosine times what the film lets out, and the leaf is reciprocal.
What the film turns back inside is part of the leaf's own optics (`matter/cuticle.py`).
"""

from canopysim.transport.arrays import CHOICE_SINK
from canopysim.transport.mirror import flat_direction, rough_direction
from canopysim.transport.random import draw
from canopysim.transport.real import HALF, ONE, ZERO, F
from canopysim.transport.scatter import reweigh
from canopysim.transport.splits import split_ended
from canopysim.transport.target import fma, jit, jit_apart, jit_open, root

# Blocks of draws of an event that are the cuticle's.
ARRIVAL_BLOCK, EXIT_BLOCK = 3, 4


@jit_open
def fresnel(cosine, index):
    """Reflectance for unpolarised light from air (Born and Wolf, Principles of Optics, 1.5)."""
    g = root(fma(cosine, cosine, fma(index, index, -ONE)))
    a, b = g - cosine, g + cosine
    one = a / b
    two = fma(cosine, b, -ONE) / fma(cosine, a, ONE)
    return HALF * one * one * fma(two, two, ONE)


@jit
def _at_facet(roughness, index, nx, ny, nz, dx, dy, dz, u, v):
    """Mirror a ray at one facet: where it goes, and which share of it does."""
    if roughness == ZERO:
        ox, oy, oz = flat_direction(nx, ny, nz, dx, dy, dz)
        kept = ONE
    else:
        ox, oy, oz, kept = rough_direction(nx, ny, nz, dx, dy, dz, roughness, u, v)
    # Half the angle between both directions is that of incidence on the facet.
    cosine = root(max(HALF * (ONE - fma(dx, ox, fma(dy, oy, dz * oz))), ZERO))
    return ox, oy, oz, kept * fresnel(min(cosine, ONE), index)


@jit_apart
def meet_cuticle(
    world, books, splits, channel, surface, side, w, nx, ny, nz, dx, dy, dz,
    key0, key1, strip, batch, photon, event,
):  # fmt: skip
    """Choose whether a packet is mirrored by the cuticle or goes on into the leaf.

    All bands go one way, with the probability of the summed weights, and each band's weight is
    corrected for the choice, as in `choose_way`.

    Returns
    -------
    bool
        Whether it is mirrored.
    x, y, z : float32
        Where to.
    """
    u, v, u_choice, _ = draw(key0, key1, strip, batch, photon, event, ARRIVAL_BLOCK)
    ox, oy, oz, share = _at_facet(
        world.rough[surface], world.film_index[surface], nx, ny, nz, dx, dy, dz, u, v
    )
    whole, mirrored = ZERO, ZERO
    for band in range(w.shape[0]):
        weight = F(w[band])
        whole += weight
        mirrored += weight * world.film[surface, side, band] * share
    if whole <= ZERO:
        return False, ox, oy, oz
    is_mirrored = u_choice * whole < mirrored
    p = mirrored / whole
    choice = books.absorbed.shape[1] - CHOICE_SINK
    for band in range(w.shape[0]):
        f = world.film[surface, side, band] * share
        ratio = f / p if is_mirrored else (ONE - f) / (ONE - p)
        reweigh(books, splits, channel, choice, band, ratio, w)
    if splits is not None:
        split_ended(splits, channel, choice, splits.amounts)
    return is_mirrored, ox, oy, oz


@jit_apart
def leave_cuticle(
    world, books, splits, channel, surface, side, w, nx, ny, nz, dx, dy, dz,
    key0, key1, strip, batch, photon, event,
):  # fmt: skip
    """Weigh what leaves the leaf by what the cuticle lets out that way over its mean.

    Directions come by Lambert's law. By reciprocity a ray that came from there would be mirrored
    by the share of the facet that is drawn for it; the mean weight over all directions is 1.

    Parameters
    ----------
    side : int
        On which it leaves.
    nx, ny, nz, dx, dy, dz : float32
        Unit normal of that side, and unit direction in which it leaves.
    """
    u, v, _, _ = draw(key0, key1, strip, batch, photon, event, EXIT_BLOCK)
    _, _, _, share = _at_facet(
        world.rough[surface], world.film_index[surface], nx, ny, nz, -dx, -dy, -dz, u, v
    )
    choice = books.absorbed.shape[1] - CHOICE_SINK
    for band in range(w.shape[0]):
        kept = world.film[surface, side, band]
        ratio = fma(-kept, share, ONE) / fma(-kept, world.film_mean[surface], ONE)
        reweigh(books, splits, channel, choice, band, ratio, w)
    if splits is not None:
        split_ended(splits, channel, choice, splits.amounts)
