"""The array world: everything a photon can meet, as flat arrays in SI units, without names."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]
I32 = NDArray[np.int32]
U32 = NDArray[np.uint32]
I64 = NDArray[np.int64]

# What lies behind a place.
SURFACE, OPEN, LEAK, REPEAT, WITH_FILM = 0, 1, 2, 3, 4
# Kinds of lens.
LAMBERTIAN, BEAM, PARALLEL, TABLE = 0, 1, 2, 3
# Shapes of volumes filled with leaves: a box, an ellipsoid, elliptic cylinders along x and along y.
CLOUD_BOX, CLOUD_ELLIPSOID, CLOUD_ROW_X, CLOUD_ROW_Y = 0, 1, 2, 3
# Ways to go on from a meeting.
DIFFUSE, SPECULAR, TRANSMIT = 0, 1, 2

# Counts up when the same world gives other histories than before: part of the world's digest, so
# that a run is never taken up by a program that would trace it differently.
HISTORY_VERSION = 5

# Quanta of a packet whose band shares sum to one. A deposit is rounded to one quantum, so a history
# of 10^3 meetings is off by less than 10^-6 of its launch weight; a batch of 2^24 packets stays
# below 2^57 and a tally row below 2^63.
PACKET_QUANTA = 2**32
# Absorptances are held in 2^-24.
ABSORB_ONE = 2**24


# Addresses of untraced photons that books keep.
N_LOST = 16
# Ways to look at the light of a probe: on the meter's face, as the meter reads it, from all sides,
# then on planes that face right, left, back, front, up and down; faces that lean come after them.
N_FACING = 9
# Why a photon could not be followed.
LEFT_THE_WORLD, INSIDE_A_SOLID, TOO_MANY_MEETINGS, FLIES_FOR_EVER = 1, 2, 3, 4
# Books end with three sinks of their own: these, counted from the end.
UNTRACED_SINK, ROULETTE_SINK, CHOICE_SINK = 3, 2, 1


class WorldArrays(NamedTuple):
    """What a photon can meet; triangles in the blocks of their tree.

    A *place* is one answer to "where was it absorbed": a wall, a patch, the leaves of one optical
    kind, the stems, the body of a fixture. `place_kind` tells what happens there, `place_surface`
    which optics hold, `place_sink` where the first of its tally bins is; a layered place has two
    bins (upper and lower side) for each canopy layer. The books of a light channel have one row per
    sink; the last three sinks are untraced, roulette and choice.
    """

    box: F32  # (6,) low corner, high corner of the enclosing box, m
    face_place: I32  # (6,) left, right, front, back, floor, ceiling
    patch_first: I32  # (7,) first patch of each face, then the total
    patch_rect: F32  # (4 n_patch,) low a, low b, high a, high b in the face's two axes, m
    patch_place: I32  # (n_patch,)
    nodes: F32  # (64 n_node,) planes of eight children each, m: see build.py
    children: U32  # (64 n_node,) the same memory: children in the places 48 to 55 of a node
    triangles: F32  # (72 n_block,) corner by corner, axis by axis, eight lanes, m
    triangle_id: I32  # (8 n_block,) by slot: block times eight plus lane; -1 in empty lanes
    triangle_place: I32  # (8 n_block,)
    place_kind: I32  # (n_place,)
    place_surface: I32  # (n_place,) row of its optics under the first spectrum
    place_sink: I32  # (n_place,)
    place_layered: I32  # (n_place,)
    place_solid: I32  # (n_place,) 1: its inside must not be reachable
    absorb: I64  # (n_row, 2 sides, n_band) in 2^-24; n_row = n_spectrum n_surface
    ways: F32  # (n_row, 2 sides, 3 ways, n_band) share of what is not absorbed
    way_open: I32  # (n_row, 2 sides, 3 ways) whether any band goes that way
    rough: F32  # (n_row,) tangent of the tilt that half of a mirror's facets stay below
    layer_floor: F32  # (n_layer,) lower height of each layer, top layer first, m
    plane: F32  # (n_plane, 7) height, low x, low y, high x, high y, cells per m in x, in y
    plane_cells: I64  # (n_plane, 3) cells in x, in y, first bin
    strip: F32  # (n_strip, 16) centre, axes x y z, half length, half width, m along, m across
    strip_lens: I32  # (n_strip,)
    strip_table: I64  # (n_strip, 3) first number, planes and angles of its table, if it has one
    strip_ignores: (
        I64  # (n_strip,) place that its photons fly through until they meet another, or -1
    )
    lens_numbers: F32  # (n,) tables of lenses, see light/lens_table.py
    strip_channel: I32  # (n_strip,)
    strip_optics: I32  # (n_strip,) first row of the optics under its spectrum
    strip_quanta: I64  # (n_strip, n_band) launch weight of a packet
    # Cuticles of leaves, see matter/cuticle.py; all of length 0 where no leaf has one.
    film: F32  # (n_row, 2 sides, n_band) share of Fresnel's reflectance that it has
    film_index: F32  # (n_row,) its refractive index
    film_mean: F32  # (n_row,) what it mirrors of even light, by Fresnel's reflectance
    # Volumes filled with leaves, see world/clouds.py; all of length 0 where there are none.
    cloud_kind: I32  # (n_cloud,) CLOUD_BOX, CLOUD_ELLIPSOID, CLOUD_ROW_X or CLOUD_ROW_Y
    cloud_shape: F32  # (n_cloud, 6) centre, half extents, m
    cloud_density: F32  # (n_cloud, 65) leaf area that light meets at heights from the bottom, 1/m
    cloud_cosine: F32  # (n_cloud, 1025) cosine of inclination by probability, descending
    cloud_rate: F32  # (n_cloud,) greatest of its densities, 1/m
    cloud_place: I32  # (n_cloud,)
    sizes: I64  # (4,) n_channel, n_sink, n_band, n_plane_bin


# What packets are told apart by.
LINING_MEETINGS, FIRST_FLIGHT, LAST_SURFACE, LAUNCH_CELLS = 0, 1, 2, 3


# What takes light inside the canopy's box.
BY_LEAVES, BY_STEMS, BY_OTHERS, BY_CORRECTIONS = 0, 1, 2, 3


class CanopyArrays(NamedTuple):
    """The box around all plants, cut into the canopy's layers, and what is counted of it.

    The bins of `counted` are, one part after the other: each layer's sides (left, right, front,
    back; inwards, outwards); each level (downwards, upwards); what is sent out inside each layer;
    what stays inside each layer (four kinds); each plant's leaves. See transport/sides.py.
    """

    box: F32  # (4,) low x, high x, low y, high y, m; out of reach where sides repeat
    level: F32  # (n_layer + 1,) top first, m; (0,) where the box is not asked for
    sink_kind: I32  # (n_sink,) BY_LEAVES, BY_STEMS, BY_OTHERS or BY_CORRECTIONS
    facet_plant: I32  # (n_facet,) plant that a leaf triangle belongs to, -1 for stems; or (0,)
    first: I64  # (5,) first bin of each part
    counted: I64  # (n_channel, n_bin, n_band)
    point: F32  # (3,) where the packet is, m
    cell: I64  # (1,) layer of the box in which it is, or -1


class Splits(NamedTuple):
    """What is counted on demand: tallies told apart by a packet's past, facets, probes.

    The rows of `absorbed` and `crossed` are those of all splits one after the other, then one for
    each way on from each surface: there the amounts are multiplied by the number of times that the
    packet went that way, which makes them derivatives (see `world/splits.py`).
    """

    kind: I32  # (n_split,) LINING_MEETINGS, FIRST_FLIGHT, LAST_SURFACE or LAUNCH_CELLS
    first: I64  # (n_split,) its first row
    n_row: I64  # (n_split,)
    cells: I64  # (3,) cells along a strip, in height and in turn of the launch direction
    turn_edge: F32  # (cells in turn,) where each begins, as the way around a diamond, 0 to 4
    place_lining: I32  # (n_place,) 1: the lining of the enclosure
    place_last: I64  # (n_place,) row of the split by last surface, 0 is the light itself
    on_cells: I64  # (1,) 1: `crossed` has a column for each cell, else for each plane and direction
    absorbed: I64  # (n_channel, n_row, n_sink, n_band)
    crossed: I64  # (n_channel, n_row, n_column, n_band)
    facet: I64  # (n_facet, 2 sides, n_channel, n_band)
    probe: F32  # (n_probe, 7) centre and radius of the ball, m; unit normal of the meter
    probe_response: F32  # (n_probe, N_COSINE + 1) see transport/probe.py
    probe_lean: F32  # (n_probe, n_lean, 3) unit normals of leaning faces of the same meter
    looks: I64  # (1,) 1: small balls are looked for, 0: only what passes them counts
    probed: (
        I64  # (n_channel, n_probe, N_FACING + n_lean, n_band) length in the ball over its radius
    )
    at: I64  # (n_split,) the row of each split that the packet is in
    passed: I64  # (3 n_surface,) or (0,) how often it went each way
    amounts: I64  # (n_band,) scratch
    canopy: CanopyArrays | None = None  # the box around the canopy, where it is asked for


class Soup(NamedTuple):
    """Triangles and their tree alone: all that a walk needs of a world."""

    nodes: F32
    children: U32
    triangles: F32
    triangle_id: I32


class Books(NamedTuple):
    """Integer tallies of one batch, or of one thread's part of it, in quanta."""

    absorbed: I64  # (n_channel, n_sink, n_band)
    crossed: I64  # (n_channel, n_plane_bin, n_band)
    met: I64  # (n_channel, n_sink) meetings that left something in a sink
    counters: I64  # (4,) packets, meetings, untraced, deepest event
    lost: I64  # (N_LOST, 5) addresses of untraced photons: strip, photon, event, place, why
