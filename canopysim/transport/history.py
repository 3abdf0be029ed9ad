"""One photon packet from launch to its end. Everything else in the program is a loop around it."""

import numpy as np

from canopysim.transport.arrays import (
    FLIES_FOR_EVER,
    INSIDE_A_SOLID,
    LEAK,
    LEFT_THE_WORLD,
    OPEN,
    REPEAT,
    SPECULAR,
    TOO_MANY_MEETINGS,
    TRANSMIT,
    UNTRACED_SINK,
    WITH_FILM,
)
from canopysim.transport.cloud import meet_cloud
from canopysim.transport.cuticle import leave_cuticle, meet_cuticle
from canopysim.transport.launch import launch
from canopysim.transport.mirror import flat_direction, rough_direction
from canopysim.transport.planes import cross_planes
from canopysim.transport.probe import (
    FROM_MEETING,
    PASSING,
    how_it_leaves,
    look_for_probe,
    pass_probes,
)
from canopysim.transport.random import ON_FLIGHTS, draw
from canopysim.transport.rare import OFFSET, leave_own_body, lose, plays_on, pulled_in
from canopysim.transport.real import (
    ONE,
    ZERO,
    F,
    cosine_direction,
)
from canopysim.transport.scatter import (
    choose_way,
    deposit,
    end_all,
    play_roulette,
    stop_between_facets,
)
from canopysim.transport.sides import pass_sides
from canopysim.transport.splits import (
    split_ended,
    split_launch,
    split_meeting,
    split_way,
)
from canopysim.transport.target import fma, jit, jit_open, note
from canopysim.transport.triangle import level_height, unit_normal
from canopysim.transport.walk import nearest_triangle
from canopysim.transport.wall import wall_distance

EVENT_LIMIT = 2**20
# Rounds of an endless room without meeting anything.
ROUND_LIMIT = 2**20


@jit
def _place_on_face(world, face, x, y, z):
    """Tell which place of a face is met: its own, or the last patch that covers the point."""
    a = y if face < 2 else x
    b = y if face > 3 else z
    for patch in range(world.patch_first[face + 1] - 1, world.patch_first[face] - 1, -1):
        o = 4 * patch
        if (
            world.patch_rect[o] <= a <= world.patch_rect[o + 2]
            and world.patch_rect[o + 1] <= b <= world.patch_rect[o + 3]
        ):
            return world.patch_place[patch]
    return world.face_place[face]


@jit
def _layer_of(world, z):
    """Layer of a height: 0 is the top; below the lowest floor counts as the lowest layer."""
    last = world.layer_floor.shape[0] - 1
    layer = 0
    while layer < last and not z > world.layer_floor[layer]:
        layer += 1
    return layer


@jit
def trace_photon(world, books, splits, strip, key0, key1, batch, photon, w, stack, lanes):
    """Trace one packet to its end.

    Parameters
    ----------
    world : WorldArrays
        What it can meet.
    books : Books
        Where it leaves its quanta.
    splits : Splits or None
        Where they are told apart by its past.
    strip, batch, photon : int
        Its address.
    key0, key1 : uint32
        The run's seed.
    w : int64 (n_band,)
        Scratch for the band weights.
    stack, lanes : uint64 and float32 (8,)
        Scratch for the walk through the tree.
    """
    channel = world.strip_channel[strip]
    optics = world.strip_optics[strip]
    for band in range(w.shape[0]):
        w[band] = world.strip_quanta[strip, band]
    ox, oy, oz, dx, dy, dz = launch(
        world.strip, world.strip_lens, world.strip_table, world.lens_numbers, strip, key0, key1,
        batch, photon,
    )  # fmt: skip
    note(0, ox, oy, oz, -1, 0, w)
    if splits is not None:
        split_launch(world, splits, strip, ox, oy, oz, dx, dy, dz)
    left_triangle = np.int64(-1)
    if splits is not None:
        origin = how_it_leaves(world.strip_lens[strip])
        vx, vy, vz = ox, oy, oz
        if origin != PASSING:
            look_for_probe(
                world, splits, origin, strip, key0, key1, batch, photon, 0, ox, oy, oz,
                ZERO, ZERO, ZERO, left_triangle, w, stack, lanes,
            )  # fmt: skip
    if world.strip_ignores[strip] >= 0:
        ox, oy, oz, left_triangle = leave_own_body(
            world, books, splits, strip, channel, ox, oy, oz, dx, dy, dz, w, stack, lanes
        )
    # The height of the last meeting, not of the shifted origin, decides which planes are crossed.
    from_z = oz
    event = 0
    x, y, z = ox, oy, oz
    out_x, out_y, out_z = ZERO, ZERO, ZERO
    attempt, rounds, why = 0, 0, 0
    n_cloud, n_drawn = world.cloud_kind.shape[0], np.int64(0)
    while True:
        event += 1
        # Fly to the nearest thing.
        t, face = wall_distance(world.box, ox, oy, oz, dx, dy, dz)
        triangle, t = nearest_triangle(
            world, ox, oy, oz, dx, dy, dz, t, left_triangle, stack, lanes
        )
        cloud = np.int64(-1)
        # A flight that is flown again has passed the leaves already.
        if n_cloud > 0 and attempt == 0:
            t, cloud, n_drawn, nx, ny, nz = meet_cloud(
                world, key0, key1, strip + ON_FLIGHTS, batch, photon, n_drawn,
                ox, oy, oz, dx, dy, dz, t,
            )  # fmt: skip
        left_x, left_y, left_z = x, y, z
        x = min(max(fma(t, dx, ox), world.box[0]), world.box[3])
        y = min(max(fma(t, dy, oy), world.box[1]), world.box[4])
        z = min(max(fma(t, dz, oz), world.box[2]), world.box[5])
        # What is it, which side, which normal towards the ray?
        if cloud >= 0:
            triangle = np.int64(-1)
            place = np.int64(world.cloud_place[cloud])
            side = 0
            if fma(nx, dx, fma(ny, dy, nz * dz)) > ZERO:
                side = 1
                nx, ny, nz = -nx, -ny, -nz
        elif triangle >= 0:
            place = np.int64(world.triangle_place[triangle])
            # A level triangle is met at its own height, or planes and layers in it would not agree.
            z = level_height(world.triangles, triangle, z)
            nx, ny, nz = unit_normal(world.triangles, triangle)
            side = 0
            if fma(nx, dx, fma(ny, dy, nz * dz)) > ZERO:
                side = 1
                nx, ny, nz = -nx, -ny, -nz
        else:
            side = 0
            nx, ny, nz = ZERO, ZERO, ZERO
            if face == 0:
                x, nx = world.box[0], ONE
            elif face == 1:
                x, nx = world.box[3], -ONE
            elif face == 2:
                y, ny = world.box[1], ONE
            elif face == 3:
                y, ny = world.box[4], -ONE
            elif face == 4:
                z, nz = world.box[2], ONE
            else:
                z, nz = world.box[5], -ONE
            place = np.int64(_place_on_face(world, face, x, y, z))
        kind = world.place_kind[place]
        inside = side == 1 and world.place_solid[place] == 1
        if (inside or kind == LEAK) and attempt < 2 and event > 1:
            # Unreachable: rounding at an edge, or things that touch. Fly the same way once more
            # from the meeting point itself, then from a point pulled off the triangle's edges.
            attempt += 1
            x, y, z = left_x, left_y, left_z
            ox, oy, oz = x, y, z
            if attempt == 2:
                ox, oy, oz = pulled_in(
                    world.triangles, world.box, left_triangle, x, y, z, out_x, out_y, out_z
                )
            event -= 1
            continue
        attempt = 0
        cross_planes(world, books, splits, channel, ox, oy, oz, dx, dy, dz, t, from_z, z, w)
        from_z = z
        if splits is not None:
            pass_sides(splits.canopy, channel, x, y, z, w)
            pass_probes(splits, channel, origin, vx, vy, vz, ox, oy, oz, dx, dy, dz, t, w)
        if kind == REPEAT:
            # What leaves on one side enters on the other and flies on; no random number is drawn.
            rounds += 1
            if rounds > ROUND_LIMIT:
                why = FLIES_FOR_EVER
                break
            if face < 2:
                x = world.box[3] if face == 0 else world.box[0]
            else:
                y = world.box[4] if face == 2 else world.box[1]
            ox, oy, oz = x, y, z
            left_triangle = np.int64(-1)
            if splits is not None:
                origin = PASSING
            event -= 1
            continue
        rounds = 0
        books.counters[1] += 1
        note(event, x, y, z, place, side, w)
        # Places where the flight ends.
        if kind == OPEN:
            end_all(books, splits, channel, world.place_sink[place], w)
            break
        if kind == LEAK:
            why = LEFT_THE_WORLD
            break
        if inside:
            why = INSIDE_A_SOLID
            break
        # Absorb, then choose the way on.
        sink = np.int64(world.place_sink[place])
        if world.place_layered[place] == 1:
            sink += 2 * _layer_of(world, z) + side
        surface = world.place_surface[place] + optics
        facet = np.int64(-1)
        if splits is not None and triangle >= 0:
            facet = np.int64(world.triangle_id[triangle])
        mirrored, rx, ry, rz = False, dx, dy, dz
        if kind == WITH_FILM:
            mirrored, rx, ry, rz = meet_cuticle(
                world, books, splits, channel, surface, side, w, nx, ny, nz, dx, dy, dz,
                key0, key1, strip, batch, photon, event,
            )  # fmt: skip
        left = ONE
        if not mirrored:
            left = deposit(world, books, splits, channel, sink, surface, side, facet, w)
        if splits is not None:
            split_meeting(splits, place)
        if left == ZERO:
            break
        if event >= EVENT_LIMIT:
            why = TOO_MANY_MEETINGS
            break
        way = np.int64(SPECULAR)
        u_polar, u_turn = ZERO, ZERO
        if not mirrored:
            u_way, u_polar, u_turn, u_life = draw(key0, key1, strip, batch, photon, event, 0)
            if not play_roulette(books, splits, channel, left, w, u_life):
                break
            left = ZERO
            for band in range(w.shape[0]):
                left += F(w[band])
            way = np.int64(choose_way(world, books, splits, channel, surface, side, left, w, u_way))
            if splits is not None:
                split_way(splits, surface, way)
        # Leave on the chosen side.
        if mirrored:
            dx, dy, dz = rx, ry, rz
        elif way == SPECULAR:
            if world.rough[surface] == ZERO:
                dx, dy, dz = flat_direction(nx, ny, nz, dx, dy, dz)
            else:
                dx, dy, dz, kept = rough_direction(
                    nx, ny, nz, dx, dy, dz, world.rough[surface], u_polar, u_turn
                )
                if not stop_between_facets(books, splits, channel, sink, kept, w):
                    break
                if not plays_on(books, splits, channel, w, key0, key1, strip, batch, photon, event):
                    break
        else:
            if way == TRANSMIT:
                nx, ny, nz = -nx, -ny, -nz
            dx, dy, dz = cosine_direction(nx, ny, nz, u_polar, u_turn)
            if kind == WITH_FILM:
                leave_cuticle(
                    world, books, splits, channel, surface, side if way != TRANSMIT else 1 - side,
                    w, nx, ny, nz, dx, dy, dz, key0, key1, strip, batch, photon, event,
                )  # fmt: skip
        ox, oy, oz = x, y, z
        if triangle >= 0:
            # Start off the triangle by more than the rounding of the meeting point, so that its
            # neighbours are not met from behind.
            shift = OFFSET * max(max(abs(x), abs(y)), max(abs(z), t))
            ox, oy, oz = fma(shift, nx, x), fma(shift, ny, y), fma(shift, nz, z)
        out_x, out_y, out_z = nx, ny, nz
        left_triangle = triangle
        if splits is not None:
            # What a cuticle lets out is not spread by the cosine alone.
            origin = PASSING if way == SPECULAR or kind == WITH_FILM else FROM_MEETING
            vx, vy, vz = ox, oy, oz
            if origin != PASSING:
                look_for_probe(
                    world, splits, origin, strip, key0, key1, batch, photon, event, ox, oy, oz,
                    nx, ny, nz, left_triangle, w, stack, lanes,
                )  # fmt: skip
    if why != 0:
        if splits is not None:
            split_ended(splits, channel, books.absorbed.shape[1] - UNTRACED_SINK, w)
        lose(
            books.absorbed, books.met, books.counters, books.lost, channel, w, strip, photon,
            event, place, why,
        )  # fmt: skip
    books.counters[0] += 1
    books.counters[3] = max(books.counters[3], event)


@jit_open
def trace_range(world, books, splits, strip_first, key0, key1, batch, first, last, stack_need):
    """Trace packets first .. last - 1 of a batch, counted through all strips in order.

    Parameters
    ----------
    splits : Splits or None
        None compiles a kernel that knows nothing of them.
    strip_first : int64 (n_strip + 1,)
        Number of the first packet of each strip in the batch, then the total.
    stack_need : int
        Stack entries a walk can need.
    """
    w = np.empty(world.strip_quanta.shape[1], np.int64)
    stack = np.empty(stack_need, np.uint64)
    lanes = np.empty(8, np.float32)
    strip = 0
    for packet in range(first, last):
        while packet >= strip_first[strip + 1]:
            strip += 1
        photon = packet - strip_first[strip]
        trace_photon(world, books, splits, strip, key0, key1, batch, photon, w, stack, lanes)
