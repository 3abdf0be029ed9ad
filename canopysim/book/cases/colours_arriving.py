"""Colours and groups: colours of the light that comes to planes and probes, and their errors."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.book.case import Case
from canopysim.book.dark_rooms import hung, room
from canopysim.book.facts import told
from canopysim.book.outcome import Outcome
from canopysim.book.readings import AtProbe, PlaneMean
from canopysim.book.scenes import WHITE, panel, percent, scene

if TYPE_CHECKING:
    from canopysim.analysis.books import Estimate
    from canopysim.book.bench import Bench
    from canopysim.results import Result

Array = NDArray[np.float64]
BANDS = tuple(WHITE)
EDGES = [tuple(float(edge) for edge in band.split("-")) for band in BANDS]
RED = {"600-700": 0.7, "700-750": 0.3}
SHARES = {"white": [float(share.split()[0]) / 100 for share in WHITE.values()],
          "red": [RED.get(band, 0.0) for band in BANDS]}  # fmt: skip
GROUPS = (*SHARES, "all")
BLUE, PAR = [0], [0, 1, 2]
R, FR = [2], [3, 4]
# Errors by leaving out rows and to first order agree within this.
CLOSE = 0.05


def _yields() -> Array:
    """Mean relative quantum yield in each band, filled evenly; nothing beyond the curve's ends."""
    table = files("canopysim.library").joinpath("weights/quantum_yield_mccree1972.csv")
    rows = [line for line in table.read_text("utf-8").splitlines() if line[:1].isdigit()]
    nm, weight = np.array([[float(x) for x in row.split(",")] for row in rows]).T
    found = []
    for low, high in EDGES:
        inside = nm[(nm > low) & (nm < high)]
        at = np.clip(np.concatenate([[low], inside, [high]]), nm[0], nm[-1])
        found.append(np.trapezoid(np.interp(at, nm, weight), at) / (high - low))
    return np.array(found)


def _jackknife(figure: Callable[[Array], float], rows: Array) -> float:
    """Find the standard error of a figure of rows (n, band), each left out once."""
    n = len(rows)
    without = [figure(np.delete(rows, i, axis=0).sum(axis=0)) for i in range(n)]
    return float(np.sqrt((n - 1) * np.var(without)))


def _ratio(part: list[int], whole: list[int]) -> Callable[[Array], float]:
    def figure(bands: Array) -> float:
        below = bands[whole].sum()
        return float(bands[part].sum() / below) if below > 0 else np.nan

    return figure


def _held(what: str, found: object, bands: Array, rows: Array, yields: Array
          ) -> Iterator[Outcome]:  # fmt: skip
    """Hold four figures and their errors beside those of flux densities by band."""
    figures: dict[str, Callable[[Array], float]] = {
        "blue_share": _ratio(BLUE, PAR),
        "red_to_far_red": _ratio(R, FR),
        "ypf_per_par": lambda b: float(b @ yields / b[PAR].sum()),
    }
    for name, figure in figures.items():
        told_: Estimate = getattr(found, name)
        error = _jackknife(figure, rows)
        yield from told(f"{what}, {name}", figure(bands), told_.value, 1e-6)
        # Where a light has but one make-up it is the same in every batch.
        near = CLOSE * error + 1e-9
        yield from told(f"{what}, {name}, its error", error, told_.std_err, near)
    ypfd: Estimate = found.ypfd  # type: ignore[attr-defined]
    yield from told(f"{what}, ypfd", bands @ yields, ypfd.value, 1e-6 * float(bands @ yields))


def _rows(result: Result, name: str, at: dict[str, int], group: str) -> Array:
    """Give what comes to a place in rows of batches, (row, band), but for a common factor."""
    of_group = np.asarray(result.rows["channel_group"], object) == group
    scale = np.asarray(result.rows["channel_umol_s_per_quantum"]) * (of_group | (group == "all"))
    quanta = result.rows[name].isel(at)
    first = next(dim for dim in quanta.dims if dim in ("batch", "row"))
    counted = quanta.transpose(first, "channel", "traced_band").values
    return np.asarray(np.einsum("ncb,c->nb", counted, scale))


def _measure(bench: Bench, case: Case) -> Sequence[Outcome]:
    from canopysim.analysis.colours import at_probe, on_plane

    result = bench.trace(case.scene, case.packets)
    assert result.probes is not None
    yields = _yields()
    found: list[Outcome] = []
    for group in GROUPS:
        for number, way in enumerate(("down", "up")):
            bands = [float(PlaneMean("mid", way, group, band).read(result).value) for band in BANDS]
            rows = _rows(result, "crossed_sum", {"plane": 1, "direction": number}, group)
            here = on_plane(result, "mid", group=group, direction=way)
            found += _held(f"plane, {way}, {group}", here, np.array(bands), rows, yields)
        for facing in ("all sides", "right"):
            bands = [float(AtProbe("p", facing, group, band).read(result).value) for band in BANDS]
            number = result.probes["facing"].values.tolist().index(facing)
            rows = _rows(result, "probed", {"probe_number": 1, "facing_number": number}, group)
            here = at_probe(result, "p", group=group, facing=facing)
            found += _held(f"probe, {facing}, {group}", here, np.array(bands), rows, yields)
    return found


CASES = (
    Case(
        name="colours where light arrives",
        chapter="colours and groups",
        shows="Blue share, red to far-red and yield photon flux of what comes to a plane either "
        "way and to a probe, of single lights and of both, and their errors.",
        source="Ratios of flux densities by band; mean yields of evenly filled bands by parts of "
        "the curve; errors by leaving out one row after the other.",
        fails_if="A band were in another range, a light had the yields of another, a plane or a "
        "probe another area, or the errors of what varies together were added.",
        scene=scene(
            "Colours", enclosure=room(left="film", back="paint", floor="board"),
            surfaces={"film": {"diffuse": "40 %"},
                      "paint": {"diffuse": {"400-500": "20 %", "500-700": "60 %",
                                            "700-800": "80 %"}},
                      "board": {"diffuse": "55 %"}},
            fixtures={"white": panel("36 cm", "20 cm", spectrum=WHITE),
                      "red": panel("20 cm", "10 cm",
                                   spectrum={b: percent(share) for b, share in RED.items()})},
            lights=[hung("white", (0.43, 0.29, 0.78), (0.0, 0.0, 0.0), group="white"),
                    hung("red", (0.3, 0.35, 0.2), (0.0, 20.0, 150.0), group="red")],
            planes=[{"name": "low", "height": "3 cm", "cell": "20 cm"},
                    {"name": "mid", "height": "35 cm", "cell": "20 cm"}],
            probes=[{"name": "q", "at": ["20 cm", "30 cm"], "height": "60 cm", "radius": "4 cm"},
                    {"name": "p", "at": ["70 cm", "30 cm"], "height": "40 cm", "radius": "6 cm"}],
        ),
        measure=_measure,
        packets=1 << 20,
    ),
)  # fmt: skip
