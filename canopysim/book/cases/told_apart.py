"""Told apart: light by its past, single triangles, and what more reflectance would change."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from canopysim.book.case import Case, Exact
from canopysim.book.cases.alike import odd_room
from canopysim.book.cases.drawn import BAY, BEAMS, CUTS_CM, bay_with_mesh, beams, random_tiles
from canopysim.book.cases.slabs import BLACK, PANEL, sides_of, slab_scene
from canopysim.book.exact.batches import mean_of
from canopysim.book.exact.frames import gauss, rotation
from canopysim.book.exact.leaves import Side, beam_through, two_streams
from canopysim.book.exact.strips import Intensity, beam
from canopysim.book.exact.tiles import lit_shares, tile_mesh
from canopysim.book.facts import told
from canopysim.book.outcome import Outcome
from canopysim.book.readings import PAR, Reading
from canopysim.book.readings_apart import Parts, RowsOf, launched_in, on_leaves
from canopysim.book.scenes import box, panel, percent, scene

if TYPE_CHECKING:
    from canopysim.book.bench import Bench
    from canopysim.results import Result

Array = NDArray[np.float64]
Figures = dict[str, float]


# Plates without end, the floor lined: what each keeps and what a plane between counts, by rows.
LINING, CEILING = (0.45, 0.20), 0.8
N_MEETING = 6
TALLIES = ("floor", "ceiling", "mid, down", "mid, up")


def _series(lined: float, ceiling: float) -> Figures:
    """All light of a ceiling that shines, between plates; by hand."""
    falls = 1 / (1 - lined * ceiling)
    return {"floor": falls * (1 - lined), "ceiling": falls * lined * (1 - ceiling),
            "mid, down": falls, "mid, up": falls * lined}  # fmt: skip


def _slopes(of: Callable[..., Any], at: tuple[float, ...], step: float = 1e-5) -> list[Any]:
    """Give derivatives by the logarithm of each number: central differences."""
    found = []
    for k in range(len(at)):
        high, low = (
            of(*(x * (1 + sign * step) if n == k else x for n, x in enumerate(at)))
            for sign in (1, -1)
        )
        found.append(
            {name: (high[name] - low[name]) / (2 * step) for name in high}
            if isinstance(high, Mapping) else (high - low) / (2 * step)
        )  # fmt: skip
    return found


def _plates() -> Case:
    lined, names = sum(LINING), tuple(str(k) for k in range(N_MEETING))
    rows = (*names, f"{N_MEETING} or more")

    def exact() -> Exact:
        found: dict[str, Any] = {}
        k = np.arange(N_MEETING)
        down = (lined * CEILING) ** k
        # It rises once it has met the floor, so often; each time but the first from the ceiling.
        up = np.where(k > 0, lined**k * CEILING ** np.maximum(k - 1.0, 0.0), 0.0)
        whole = _series(lined, CEILING)
        for name, by_row in (("floor", down * (1 - lined)), ("ceiling", up * (1 - CEILING)),
                             ("mid, down", down), ("mid, up", up)):  # fmt: skip
            found[f"{name}, by meetings"] = np.append(by_row, whole[name] - by_row.sum())
        straight = {"floor": 1 - lined, "ceiling": 0.0, "mid, down": 1.0, "mid, up": 0.0}
        for name in TALLIES:
            found[f"{name}, by flight"] = np.array([straight[name], whole[name] - straight[name]])
            # What comes down last left the lamp or the ceiling; what rises, the floor.
            falls = name in ("floor", "mid, down")
            later = whole[name] - straight[name]
            found[f"{name}, by last surface"] = np.array(
                [straight[name], later if falls else 0.0, 0.0 if falls else later]
            )
        slopes = _slopes(lambda a, b, c: _series(a + b, c), (*LINING, CEILING))
        for name in TALLIES:
            found[f"{name}, slopes"] = np.array([slope[name] for slope in slopes])
        return found

    figures: dict[str, Reading] = {}
    for name in TALLIES:
        figures |= {
            f"{name}, by meetings": RowsOf("lining meetings", name, rows),
            f"{name}, by flight": RowsOf("first flight", name, ("first flight", "later")),
            f"{name}, by last surface": RowsOf(
                "last surface", name, ("the lamps themselves", "ceiling", "floor")
            ),
            f"{name}, slopes": RowsOf(
                "sensitivities",
                name,
                ("surface film: diffuse", "surface film: specular", "surface pale: diffuse"),
            ),
        }
    return Case(
        name="light between plates, told apart by its past",
        chapter="told apart",
        shows="By meetings with the lining, by first flight, by the surface that it comes from, "
        "and how each figure changes with each reflectance.",
        source="The terms of the geometric series, one by one, and its derivatives.",
        fails_if="A meeting were counted before what it absorbs, a row took another's light, or a "
        "way that was taken were not counted as a factor.",
        scene=scene(
            "Plates, told apart",
            enclosure={"width": "80 cm", "depth": "50 cm", "height": "1 m", "lining": "film",
                       "repeat": ["width", "depth"], "faces": {"ceiling": "pale"}},
            surfaces={"film": {"diffuse": percent(LINING[0]), "specular": percent(LINING[1])},
                      "pale": {"diffuse": percent(CEILING)}},
            fixtures={"ceiling": panel("80 cm", "50 cm")},
            lights=[{"fixture": "ceiling", "at": ["40 cm", "25 cm"], "height": "1 m"}],
            planes=[{"name": "mid", "height": "37 cm", "cell": "1 m"}],
            also_count={"first_flight": "true", "last_surface": "true",
                        "lining_meetings": str(N_MEETING), "sensitivities": "true"},
        ),
        figures=figures,
        exact=exact,
        packets=1 << 22,
        quick=1 / 16,
        precision=2e-3,
        scale=1.0,
        why_rough="Derivatives weigh each packet by how often it went a way, and rows fold batches "
        "into 32.",
    )  # fmt: skip


def _slab() -> Case:
    lai, upper, lower, floor = 2.0, (0.30, 0.25), (0.20, 0.40), 0.3
    # As the scene's layers cut a slab that is equally dense everywhere.
    parts = lai * np.array([0.25, 0.35, 0.4])

    def of(reflect: float, transmit: float, ground: float) -> Array:
        """Give what layers absorb, top first, for factors on the leaves' shares and the floor's."""
        sides: list[Side] = [(r * reflect, t * transmit) for r, t in (upper, lower)]
        return np.asarray(two_streams(parts, sides[0], sides[1], floor * ground)[0].sum(1))

    def exact() -> Exact:
        straight, _ = beam_through(1.0, parts)
        first = straight * (1 - sum(upper))
        whole = of(1, 1, 1)
        found = {f"layer {k + 1}, by flight": np.array([first[k], whole[k] - first[k]])
                 for k in range(3)}  # fmt: skip
        slopes = _slopes(of, (1.0, 1.0, 1.0))
        return found | {
            f"layer {k + 1}, slopes": np.array([s[k] for s in slopes]) for k in range(3)
        }

    figures: dict[str, Reading] = {}
    ways = ("leaf leaf: reflectance", "leaf leaf: transmittance", "surface floor: diffuse")
    for k in (1, 2, 3):
        figures[f"layer {k}, by flight"] = RowsOf(
            "first flight", f"layer {k}", ("first flight", "later")
        )
        figures[f"layer {k}, slopes"] = RowsOf("sensitivities", f"layer {k}", ways)
    data = slab_scene(
        sides_of(upper, lower),
        {"leaf_area_index": str(lai), "angles": "level", "bottom": "20 cm", "top": "60 cm",
         "by_height": "even"},
        lights=PANEL, rho_floor=floor, layers=["20 cm", "36 cm", "50 cm", "60 cm"],
    )  # fmt: skip
    return Case(
        name="light among level leaves, told apart by its past",
        chapter="told apart",
        shows="What each layer absorbs straight from the lamp, and how what it absorbs changes "
        "with the reflectance and transmittance of the leaves and of the floor.",
        source="Beer's law, two streams, and their derivatives by central differences.",
        fails_if="The two sides of a leaf had unlike derivatives, its own absorption's were left "
        "out or had the wrong sign, or leaves in a volume kept a packet in its first flight.",
        scene=dict(data) | {"also_count": {"first_flight": "true", "sensitivities": "true"}},
        figures=figures,
        exact=exact,
        packets=1 << 22,
        quick=1 / 16,
        precision=2e-3,
        scale=1.0,
        why_rough="Derivatives weigh each packet by how often it went a way, and rows fold batches "
        "into 32.",
    )


# What hardly a packet comes to is put together.
FEW = 2e-3


def _held(what: str, exact: Array, parts: Parts) -> list[Outcome]:
    """Hold shares (n,) beside what they must be; the smallest together."""
    few = exact < FEW
    found = parts.merged(few).found()
    wanted = np.append(exact[~few], exact[few].sum())
    names = [*(str(k) for k in np.flatnonzero(~few)), "the rest"]
    return [
        Outcome(f"{what} [{name}]", float(wanted[k]), float(found.value[k]),
                float(found.std_err[k]), found.n_row, scale=1.0)
        for k, name in enumerate(names)
    ]  # fmt: skip


def _facets() -> Case:
    tiles = random_tiles()

    def measure(bench: Bench, case: Case) -> list[Outcome]:
        result = bench.trace(case.scene, case.packets, files=case.files)
        over = np.array([t.turned_over for t in tiles])
        outcomes = []
        for name, (zenith, azimuth) in BEAMS.items():
            tan, way = np.tan(np.radians(zenith)), np.radians(azimuth)
            each, _ = lit_shares(tiles, BAY, (tan * np.cos(way), tan * np.sin(way)))
            sides = np.stack([np.where(over, 0.0, each), np.where(over, each, 0.0)], 1)
            outcomes += _held(f"sides, {name}", sides.ravel(), on_leaves(result, name))
        # Counted from the top; each leaf is two triangles.
        layer = len(CUTS_CM) - np.searchsorted(np.array(CUTS_CM) * 10, [t.z for t in tiles])
        unlike = np.repeat(layer, 2) != result.rows["facet_layer"].values
        outcomes.append(Outcome("triangles in another layer", 0.0, float(unlike.sum()), 0.0,
                                identity=True))  # fmt: skip
        return outcomes

    return Case(
        name="single leaves among others",
        chapter="told apart",
        shows="What each side of each of a hundred drawn leaves gets of parallel light.",
        source="The bay cut along all edges of all shadows, each cell given to its highest leaf.",
        fails_if="A triangle's light went to another, to its other side or into another layer.",
        scene=bay_with_mesh(BLACK, [f"{z} cm" for z in CUTS_CM], daylight=beams(**BEAMS),
                            also_count={"leaf_facets": "true"}),
        files={"leaves.obj": tile_mesh(tiles)},
        measure=measure,
        packets=1 << 21,
        quick=1 / 8,
        precision=1e-3,
        scale=1.0,
    )  # fmt: skip


# Cells of launch: parts of the strip, of the cosine from straight up, and of the compass.
N_ALONG, N_POLAR, N_AROUND = 3, 8, 12
# Hardly askew, so that every quarter of the compass gets its part.
TURNED = (-150.0, 6.0, 10.0)
WIDTHS = (110.0, 45.0)


def by_direction(intensity: Intensity, axes: Array, n_polar: int, n_around: int) -> Array:
    """Share of a strip's light in cells of equal height and turn, (n_polar, n_around).

    The first has the directions nearest to straight up, from +x on towards +y.
    """
    found = np.zeros((n_polar, n_around))
    for i in range(n_polar):
        z, wz = gauss(1 - 2 * (i + 1) / n_polar, 1 - 2 * i / n_polar, 24, 6)
        for j in range(n_around):
            phi, wphi = gauss(2 * np.pi * j / n_around, 2 * np.pi * (j + 1) / n_around, 24, 6)
            flat = np.sqrt(1 - z**2)[:, None]
            d = np.stack([flat * np.cos(phi), flat * np.sin(phi), np.repeat(z[:, None],
                          len(phi), 1)], -1)  # fmt: skip
            found[i, j] = wz @ intensity(d @ axes) @ wphi
    return found


def _cells() -> Case:
    def measure(bench: Bench, case: Case) -> list[Outcome]:
        share = by_direction(beam(*WIDTHS), rotation(*TURNED), N_POLAR, N_AROUND)
        result = bench.trace(case.scene, case.packets)
        exact = np.tile(share.ravel() / N_ALONG, N_ALONG)
        return _held("cell", exact, launched_in(result, "launch cells"))

    turn, pitch, tilt = TURNED
    return Case(
        name="cells of launch of a strip that hangs askew",
        chapter="told apart",
        shows="How much light starts on each third of a strip in each part of all directions.",
        source="The lens integrated over cells of height and turn, in the frame of the room.",
        fails_if="A launch were put into a cell by the strip's own frame, by another axis or end, "
        "or the turn's quadrants were exchanged.",
        scene=scene(
            "Cells of launch",
            # Black everywhere: what ends, ends where it was sent.
            enclosure=box("2 m", "2 m", "2 m"),
            fixtures={"bar": panel("60 cm", "4 cm", {"beam": {"along": f"{WIDTHS[0]} deg",
                                                              "across": f"{WIDTHS[1]} deg"}})},
            lights=[{"fixture": "bar", "at": ["1 m", "1 m"], "height": "1 m",
                     "turn": f"{turn} deg", "pitch": f"{pitch} deg", "tilt": f"{tilt} deg"}],
            also_count={"launch_cells": {"along": str(N_ALONG), "polar": str(N_POLAR),
                                         "around": str(N_AROUND)}},
        ),
        measure=measure,
        packets=1 << 21,
        scale=1.0,
    )  # fmt: skip


def _as_told(result: Result) -> list[Outcome]:
    """Hold what is told of planes, cells and shares beside the planes themselves and the rows."""
    from canopysim.analysis.told_apart import map_apart, tell_apart

    split = "first flight"
    found: list[Outcome] = []
    apart = tell_apart(result, split, group=str(result.rows["channel_group"].values[0]))
    first = np.eye(len(apart.rows))[0]
    for plane, grid in result.planes.items():
        area = float(grid.attrs["cell_x_m"] * grid.attrs["cell_y_m"])
        for way in ("down", "up"):
            name = f"{plane}, {way}"
            here = grid.sel(direction=way, group="all", band=PAR)
            cells = here["pfd"].transpose("y", "x").values
            each, _ = map_apart(result, split, plane, direction=way)
            found += told(f"cells of {name}", cells, each.sum(0), 1e-9)
            flux = apart.flux[:, :, apart.tallies.index(name)]
            mean = flux.sum() / apart.batches.sum()
            found += told(f"flux through {name}", cells.sum() * area, mean, 1e-9)
            share = flux[:, 0].sum() / flux.sum()
            _, error = mean_of(flux[:, 0] - share * flux.sum(1), apart.batches)
            exact = [share, error / mean]
            one = apart.shares(first)[apart.tallies.index(name)]
            found += told(f"share of the first row in {name}", exact, [one.value, one.std_err])
    return found


def _sums(bench: Bench, case: Case) -> list[Outcome]:
    """Count the numbers in the books that the rows of each split do not add up to."""
    data, files = odd_room()
    counted = {
        "first_flight": "true", "last_surface": "true", "lining_meetings": "3",
        "launch_cells": {"along": "2", "polar": "3", "around": "4"},
        "on_cells": "true", "each_plant": "true",
    }  # fmt: skip
    planes = [{"name": "low", "height": "9 cm", "cell": "20 cm"},
              {"name": "high", "height": "50 cm", "cell": "30 cm"}]  # fmt: skip
    leaf = data["leaves"]["leaf"] | {"cuticle": {"index": "1.45", "spread": "0 deg"}}
    result = bench.trace(
        dict(data) | {"planes": planes, "also_count": counted, "leaves": {"leaf": leaf}},
        case.packets, files=files,
    )  # fmt: skip
    books = result.rows["absorbed"].transpose("batch", "channel", "sink", "traced_band")
    crossed = result.rows["crossed_sum"]
    found = []
    found += _as_told(result)
    for split in result.meta["told_apart"]["splits"]:
        if split["name"] == "sensitivities":
            continue
        rows = slice(split["first"], split["first"] + len(split["rows"]))
        ended = result.rows["split_absorbed"].values[:, :, rows].sum((0, 2))
        off = int((ended != books.values.sum(0)).sum())
        found.append(
            Outcome(f"ends that {split['name']} does not add up to", 0.0, float(off), 0.0,
                    identity=True)
        )  # fmt: skip
        columns = result.rows["split_crossed"].values[:, :, rows].sum((0, 2))
        sums, start = [], 0
        for grid in result.planes.values():
            n = grid.sizes["x"] * grid.sizes["y"]
            for way in (0, 1):
                first = start + way * n
                sums.append(columns[:, first : first + n].sum(1))
            start += 2 * n
        whole = crossed.values.sum(0).reshape(np.stack(sums, 1).shape)
        off = int((np.stack(sums, 1) != whole).sum())
        found.append(
            Outcome(f"fluxes through planes that {split['name']} does not add up to", 0.0,
                    float(off), 0.0, identity=True)
        )  # fmt: skip
    return found


CASES = (
    _plates(), _slab(), _facets(), _cells(),
    Case(
        name="parts add up to the whole",
        chapter="told apart",
        shows="In a room in which nothing is alike, with rough mirrors, cuticles, drawn leaves and "
        "a crown, the rows of each split add up to what the books hold, to the quantum.",
        source="Identity: every quantum is in one row.",
        fails_if="Anything were booked that is not told apart, or told apart that is not booked.",
        packets=1 << 19,
        measure=_sums,
    ),
)  # fmt: skip
