"""Meters: what they make of slanting light and of wavelengths, and what leaning does to them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from canopysim.book.case import Case, Exact, Scene
from canopysim.book.cases.beams import bar
from canopysim.book.cases.measured_lights import GREEN, GREEN_ERR, LUMENS_PER_UMOL
from canopysim.book.cases.probes import PANEL, X, Y, Z, probe
from canopysim.book.dark_rooms import FLUX, lit, room
from canopysim.book.exact.batches import mean_of
from canopysim.book.exact.frames import ball
from canopysim.book.exact.sensors import FACINGS, below_panel, cosine_share, fluence, normal
from canopysim.book.exact.strips import Strip, beam
from canopysim.book.outcome import Outcome
from canopysim.book.readings import GRID_ROWS, AtProbe, MeterReading
from canopysim.book.scenes import panel, percent, scene

if TYPE_CHECKING:
    from canopysim.book.bench import Bench

# The meters' cosines are kept at 32 equal steps: 0.75 is one of them.
INCIDENCE = float(np.degrees(np.arccos(0.75)))
# A figure without chance in it passes through single precision.
SINGLE = 1e-6


def _sun_case() -> Case:
    """Cosine, response and factor of a meter that leans away from a beam."""
    zenith, azimuth, density = 18.0, 50.0, 200.0
    tilt = INCIDENCE - zenith
    blue, far_red, share, factor = 0.6, 0.4, 0.93, 1.07

    def exact() -> Exact:
        # The response is straight, and each band is level: it counts as at the band's middle.
        seen = blue * (0.5 + 0.4 * (450 - 380) / 400) + far_red * (0.5 + 0.4 * (725 - 380) / 400)
        ratio = factor * share * seen / blue
        true = density / np.cos(np.radians(zenith)) * 0.75
        return {"over true": ratio, "true": true, "reading": ratio * true}

    return Case(
        name="worn meter that leans away from the sun",
        chapter="meters",
        shows="A meter's cosine response, response by wavelength and calibration factor together.",
        source="Trigonometry; a straight response counts a level band as at its middle.",
        fails_if="the cosine of the lens were taken twice or from the wrong normal, far-red were "
        "not counted, or the factor were left out.",
        scene=scene(
            "Sun on a meter", enclosure=room(ceiling="open"),
            daylight=[{"ppfd": f"{density:g} umol/m2/s",
                       "spectrum": {"400-500": percent(blue), "700-750": percent(far_red)},
                       "beam": {"zenith": f"{zenith:g} deg", "azimuth": f"{azimuth:g} deg"}}],
            meters={"worn": {
                "cosine": {"30 deg": "99 %", f"{INCIDENCE:.12g} deg": percent(share),
                           "85 deg": "60 %"},
                "factor": f"{factor:g}",
                "response": {"table": "nm, share\n380, 0.5\n780, 0.9\n"}}},
            probes=[probe("p", (0.55, 0.4, 0.6), 0.12, tilt, azimuth, meter="worn")],
        ),
        figures={"over true": MeterReading("p", over_true=True), "true": AtProbe("p", "normal"),
                 "reading": MeterReading("p")},
        exact=exact,
        exact_err={"over true": SINGLE},
        packets=1 << 20,
    )  # fmt: skip


# Straight ahead goes without saying.
ANGLES = np.array([0.0, 55.0, 75.0, 90.0])
SHARES = np.array([1.0, 0.92, 0.75, 0.40])
# Between 32 steps of the cosine the response is taken as straight, not between its angles.
STEP_ERR = 1e-4


def _slanting_case() -> Case:
    """Put a poor cosine response below a bar."""
    place, turned, widths = (0.5, 0.3, 0.75), (15.0, -8.0, 20.0), (110.0, 60.0)
    near, radius, lean = (0.72, 0.42, 0.4), 0.04, (25.0, 120.0)

    def exact() -> Exact:
        strip = Strip(place, turned, 0.4, 0.03, beam(*widths))
        points, weights = ball(near, radius)
        face = normal(*lean)
        cosine = strip.seen(points, lambda ray: np.maximum(-ray @ face, 0.0)) @ weights
        met = strip.seen(
            points,
            lambda ray: np.maximum(-ray @ face, 0.0) * cosine_share(ANGLES, SHARES, -ray @ face),
        )
        return {"over true": met @ weights / cosine, "reading": FLUX * met @ weights}

    table = {f"{a:g} deg": percent(s) for a, s in zip(ANGLES[1:], SHARES[1:], strict=True)}
    return Case(
        name="poor cosine response below a strip",
        chapter="meters",
        shows="What a meter that loses slanting light reads of light from many angles.",
        source="Quadrature of beam, ball and the response, straight between its angles.",
        fails_if="the response were looked up by the angle from upwards instead of incidence.",
        scene=lit("A poor meter below a bar", bar(0.4, 0.03, *widths), place, turned,
                  meters={"poor": {"cosine": table}},
                  probes=[probe("p", near, radius, *lean, meter="poor")]),
        figures={"over true": MeterReading("p", over_true=True), "reading": MeterReading("p")},
        exact=exact,
        exact_err={"over true": STEP_ERR, "reading": STEP_ERR * FLUX},
        packets=1 << 19,
        quick=1 / 8,
    )  # fmt: skip


def _with_ideal(data: Scene) -> Scene:
    """Put a probe without a meter, which reads the truth, beside the others."""
    probes = [*data["probes"], probe("ideal", (0.5, 0.3, 0.4), 0.04)]
    return dict(data) | {"probes": probes}


def _error_of_ratio(bench: Bench, case: Case) -> Sequence[Outcome]:
    """Reckon the error of what a meter shows over the truth from the rows of batches."""
    # Rows of two batches and of three.
    result = bench.trace(case.scene, case.packets, n_batch=80)
    counted = result.rows["probed"].isel(channel=0, probe_number=0)
    each = counted.transpose("row", "facing_number", "traced_band").values.sum(-1)
    true, met = each[:, 0].astype(np.float64), each[:, 1].astype(np.float64)
    n = np.bincount(np.arange(result.n_batch) % len(each), minlength=len(each)).astype(np.float64)
    ratio = met.sum() / true.sum()
    _, error = mean_of(met - ratio * true, n)
    here = result.probes.sel(probe="p", group="all")  # type: ignore[union-attr]
    told = float(here["over_true_std_err"] / here["over_true"])
    ideal = result.probes.sel(probe="ideal", group="all")  # type: ignore[union-attr]
    return [
        Outcome("error over the ratio", error / (ratio * true.sum() / n.sum()), told, 0.0,
                exact_err=1e-9),
        # It reads the truth in every batch.
        Outcome("ratio of an ideal meter", 1.0, float(ideal["over_true"]), 0.0, exact_err=1e-12),
        Outcome("error of that", 0.0, float(ideal["over_true_std_err"]), 0.0, identity=True),
    ]  # fmt: skip


LEAN, PLACE, RADIUS = 7.0, (0.74, 0.47, 0.3), 0.03


def _levelling(bench: Bench, case: Case) -> Sequence[Outcome]:
    """Hold the changes of a leaning meter beside those of the vector of light."""
    result = bench.trace(case.scene, case.packets)
    here = result.probes.sel(probe="p", group="all")  # type: ignore[union-attr]
    up, right, left, back, front = (
        below_panel(PANEL, Z, PLACE, RADIUS, np.array(FACINGS[facing])) for facing in FACINGS
    )
    d = np.radians(LEAN)
    slope = np.sin(d) * np.hypot(right - left, back - front) / up
    exact = {
        "lowest": np.cos(d) - 1 - slope,
        "highest": np.cos(d) - 1 + slope,
        "rms": np.hypot(np.cos(d) - 1, slope / np.sqrt(2)),
    }
    found = [
        # Sides are looked at in steps of half a degree, which lessens a wave by one in 10^5.
        Outcome(f"change, {name}", float(value), float(here["leaning"].sel(change=name)),
                float(here["leaning_std_err"].sel(change=name)), GRID_ROWS, 1e-5 * slope, 1.0)
        for name, value in exact.items()
    ]  # fmt: skip
    # What lies across the slope turns it: as uncertain as what lies along.
    highest = float(np.degrees(np.arctan2(back - front, right - left)))
    for name, side in (("lowest", highest + 180.0), ("highest", highest)):
        off = (float(here[f"leaning_{name}_turn"]) - side + 180.0) % 360.0 - 180.0
        error = np.degrees(float(here["leaning_std_err"].sel(change=name)) / slope)
        found.append(Outcome(f"turn, {name}", side, side + off, error, GRID_ROWS, 0.25, 360.0))
    return found


def _green_case() -> Case:
    """Lux of light at 555 nm: 683 lm/W, by which the lumen is defined."""

    def exact() -> Exact:
        umol = FLUX * below_panel(PANEL, Z, PLACE, RADIUS, np.array(FACINGS["up"]))
        return {"over true": LUMENS_PER_UMOL, "reading": LUMENS_PER_UMOL * umol,
                "fluence rate": FLUX * fluence(PANEL, Z, PLACE)}  # fmt: skip

    return Case(
        name="lux of green light",
        chapter="meters",
        shows="Micromoles become lux by the light's own spectrum.",
        source="683 lm/W at 555 nm, and the energy of its photons, N_A h c / 555 nm.",
        fails_if="lux were those of the band's middle, or photons were not turned into watts.",
        scene=lit("Green light on a lux meter",
                  panel("36 cm", "20 cm", spectrum={"table": GREEN}), (X, Y, Z),
                  meters={"eye": {"response": "lux"}},
                  probes=[probe("p", PLACE, RADIUS, meter="eye")]),
        figures={"over true": MeterReading("p", over_true=True), "reading": MeterReading("p"),
                 "fluence rate": AtProbe("p")},
        exact=exact,
        exact_err={"over true": GREEN_ERR * LUMENS_PER_UMOL,
                   "reading": GREEN_ERR * LUMENS_PER_UMOL * FLUX},
        packets=1 << 19,
    )  # fmt: skip


CASES = (
    _sun_case(),
    _slanting_case(),
    Case(
        name="error of a meter's ratio",
        chapter="meters",
        shows="How sure a reading over the truth is, which the same flights make.",
        source="The error of the mean of reading less ratio times truth, batch by batch.",
        fails_if="the two were taken for independent, or rows not weighed by their batches.",
        scene=_with_ideal(_slanting_case().scene),
        measure=_error_of_ratio,
        packets=1 << 17,
    ),
    Case(
        name="levelling error below a panel",
        chapter="meters",
        shows="What leaning by 7 degrees to the worst side does to a reading off the axis.",
        source="A face reads the vector of light times its normal: cos(lean) up + sin(lean) "
        "sideways; the vector by Lambert's polygons, averaged over the ball.",
        fails_if="faces leaned by another angle or to another side, or the worst side were missed.",
        scene=lit("A leaning meter", panel("36 cm", "20 cm"), (X, Y, Z),
                  meters={"m": {"levelling": f"{LEAN:g} deg"}},
                  probes=[probe("p", PLACE, RADIUS, meter="m")]),
        measure=_levelling,
        packets=1 << 18,
    ),
    _green_case(),
)  # fmt: skip
