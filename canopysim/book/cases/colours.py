"""Colours and groups: wavebands on shared paths, and matter as each light's own photons meet it."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from canopysim.book.case import Case, Exact
from canopysim.book.dark_rooms import FLUX, SIZE, hung, metres, room
from canopysim.book.exact.factors import parallel
from canopysim.book.exact.plates import plates
from canopysim.book.exact.spectra import (
    band_mean,
    band_shares,
    photons_of_rows,
    photons_of_watts,
    steps,
)
from canopysim.book.readings import PlaneMean, Reading, Share
from canopysim.book.scenes import WALLS, WHITE, Data, box, panel, percent, scene

Array = NDArray[np.float64]
EDGES = (400.0, 500.0, 600.0, 700.0, 750.0, 800.0)
BANDS = tuple(WHITE)
# Absorptances are whole multiples of 2^-24, weights of 2^-32.
GRAIN = 1e-6


def _by_band(values: tuple[float, ...]) -> Data:
    return {"diffuse": {band: percent(v) for band, v in zip(BANDS, values, strict=True)}}


def _plates_case(name: str, floor: tuple[float, ...], ceiling: tuple[float, ...], packets: int,
                 why_rough: str = "", precision: float = 1e-3) -> Case:  # fmt: skip
    """Five bands of one path between plates that reflect them unlike."""
    enclosure = box("80 cm", "50 cm", "1 m", floor="floor", ceiling="ceiling",
                    **dict.fromkeys(WALLS, "mirror"))  # fmt: skip
    figures: dict[str, Reading] = {}
    for band in BANDS:
        figures[f"floor keeps, {band}"] = Share("floor", band=band)
        figures[f"ceiling keeps, {band}"] = Share("ceiling", band=band)

    def exact() -> Exact:
        found: dict[str, float] = {}
        for band, low, high in zip(BANDS, floor, ceiling, strict=True):
            series = plates(low, high)
            found[f"floor keeps, {band}"] = series["floor"]
            found[f"ceiling keeps, {band}"] = series["ceiling"]
        return found

    return Case(
        name=name,
        chapter="colours and groups",
        shows="Five bands on shared paths, each with its own reflectances.",
        source="Geometric series, band by band.",
        fails_if="the correction for a path chosen for all bands were wrong or drawn from the "
        "wrong band, or faint bands were ended with bias.",
        scene=scene(
            name, enclosure=enclosure,
            surfaces={"mirror": {"specular": "100 %"}, "floor": _by_band(floor),
                      "ceiling": _by_band(ceiling)},
            fixtures={"ceiling": panel("80 cm", "50 cm", spectrum=WHITE)},
            lights=[{"fixture": "ceiling", "at": ["40 cm", "25 cm"], "height": "1 m"}],
        ),
        figures=figures,
        exact=exact,
        packets=packets,
        precision=precision,
        scale=1.0,
        why_rough=why_rough,
    )  # fmt: skip


# Watts of a white light and photons of a red one, in rows that are no band's edges.
WHITE_NM = np.arange(390.0, 811.0, 7.0)
WHITE_WATTS = np.round(
    0.9 * np.exp(-(((WHITE_NM - 452) / 14) ** 2)) + np.exp(-(((WHITE_NM - 585) / 75) ** 2)), 6
)
RED_NM = np.array([612.0, 655.0, 663.0, 690.0, 731.0, 777.0])
RED_PHOTONS = np.array([0.0, 0.4, 1.0, 0.15, 0.3, 0.0])
GREEN_NM, GREEN_PHOTONS = np.array([483.0, 530.0, 571.0, 655.0]), np.array([0.0, 1.0, 0.35, 0.0])
# A leaf-green paint in steps of 10 nm.
PAINT_NM = np.arange(400.0, 801.0, 10.0)
_MIDDLES = (PAINT_NM[1:] + PAINT_NM[:-1]) / 2
PAINT = np.round(
    0.06
    + 0.25 * np.exp(-(((_MIDDLES - 548) / 28) ** 2))
    + 0.55 / (1 + np.exp(-(_MIDDLES - 715) / 9)),
    4,
)
BENDS = {"white": np.concatenate([WHITE_NM, PAINT_NM]), "red": np.concatenate([RED_NM, PAINT_NM]),
         "green": np.concatenate([GREEN_NM, PAINT_NM])}  # fmt: skip
PHOTONS = {
    "white": photons_of_watts(WHITE_NM, WHITE_WATTS),
    "red": photons_of_rows(RED_NM, RED_PHOTONS),
    "green": photons_of_rows(GREEN_NM, GREEN_PHOTONS),
}
LIT = {"white": BANDS, "red": ("600-700", "700-750", "750-800"),
       "green": ("400-500", "500-600", "600-700")}  # fmt: skip
FLUXES = {"white": 90.0, "red": 35.0, "green": 60.0}


def _table(unit: str, nm: Array, values: Array) -> Data:
    rows = [f"{x:g}, {y:.6f}" for x, y in zip(nm, values, strict=True)]
    return {"table": "\n".join([f"nm, {unit}", *rows]) + "\n"}


def _paint_case() -> Case:
    """Three lights straight down on one floor, which reflects each as its own photons meet it."""
    spectra = {"white": _table("W/nm", WHITE_NM, WHITE_WATTS),
               "red": _table("relative photons", RED_NM, RED_PHOTONS),
               "green": _table("relative photons", GREEN_NM, GREEN_PHOTONS)}  # fmt: skip
    figures: dict[str, Reading] = {}
    for group, bands in LIT.items():
        for band in bands:
            figures[f"{group}, floor keeps, {band}"] = Share("floor", group, band)
            figures[f"{group}, PFD, {band}"] = PlaneMean("floor", "down", group, band)

    def exact() -> Exact:
        paint = steps(PAINT_NM, PAINT)
        found: dict[str, float] = {}
        for group, photons in PHOTONS.items():
            shares = band_shares(photons, EDGES, BENDS[group])
            for band, share in zip(BANDS, shares, strict=True):
                if band not in LIT[group]:
                    continue
                low, high = (float(edge) for edge in band.split("-"))
                kept = 1.0 - band_mean(photons, paint, low, high, BENDS[group])
                found[f"{group}, floor keeps, {band}"] = kept
                found[f"{group}, PFD, {band}"] = FLUXES[group] * share / (SIZE[0] * SIZE[1])
        return found

    return Case(
        name="a paint under three lights of unlike spectra",
        chapter="colours and groups",
        shows="Photons per band of a table, and a reflectance averaged by each light's photons.",
        source="Quadrature of the spectra and of their products with the paint, between all bends; "
        "photons are as watts times wavelength.",
        fails_if="watts were taken for photons, all lights met the paint as even light does, or "
        "as the other light does.",
        scene=scene(
            "Three lights on a paint", enclosure=room(floor="paint"),
            surfaces={"paint": {"diffuse": {
                f"{a:g}-{b:g}": percent(p)
                for a, b, p in zip(PAINT_NM, PAINT_NM[1:], PAINT, strict=False)}}},
            fixtures={k: panel("20 cm", "10 cm", "parallel", f"{FLUXES[k]:g} umol/s", spectra[k])
                      for k in spectra},
            lights=[hung("white", (0.4, 0.3, 0.7)), hung("red", (0.7, 0.4, 0.6)),
                    hung("green", (0.3, 0.5, 0.5))],
            planes=[{"name": "floor", "height": "0 m", "cell": "50 cm"}],
        ),
        figures=figures,
        exact=exact,
        exact_err=dict.fromkeys(figures, GRAIN) | {
            key: GRAIN * FLUX for key in figures if "PFD" in key},
        packets=1 << 16,
        scale={key: 1.0 if "keeps" in key else FLUX for key in figures},
    )  # fmt: skip


def _channels_case() -> Case:
    """Set three channels of a bar apart, each with a strip in its own place."""
    length, width = 0.3, 0.04
    x, y, z = 0.48, 0.31, 0.72
    strips = {"white": -0.12, "red": 0.02, "far": 0.15}
    outputs = {"white": 0.8, "red": 0.35, "far": 0.6}
    made = {"white": {"400-500": 0.25, "500-700": 0.70, "700-750": 0.05},
            "red": {"600-700": 1.0}, "far": {"700-750": 1.0}}  # fmt: skip
    # PPF of 80 is 95 % of the white channel's photons.
    full = {"white": 80 / 0.95, "red": 30.0, "far": 45.0}

    def exact() -> Exact:
        area = SIZE[0] * SIZE[1]
        arrives = {}
        for name, offset in strips.items():
            own = (x - length / 2, x + length / 2, y + offset - width / 2, y + offset + width / 2)
            reached = parallel(own, (0, SIZE[0], 0, SIZE[1]), z)
            arrives[name] = full[name] * outputs[name] * reached / area
        white = arrives["white"]
        return {
            "400-500": 0.25 * white, "500-600": 0.35 * white,
            "600-700": 0.35 * white + arrives["red"], "700-750": 0.05 * white + arrives["far"],
            "400-700": 0.95 * white + arrives["red"],
        }  # fmt: skip

    def spectrum(name: str) -> dict[str, str]:
        return {band: percent(share) for band, share in made[name].items()}

    bands = ("400-500", "500-600", "600-700", "700-750", "400-700")
    fixture: dict[str, Any] = {
        "strips": [{"length": metres(length), "width": metres(width), "lens": "lambertian",
                    "at": ["0 m", metres(offset)], "channel": name}
                   for name, offset in strips.items()],
        "channels": {"white": {"ppf": "80 umol/s", "spectrum": spectrum("white")},
                     "red": {"ppf": "30 umol/s", "spectrum": spectrum("red")},
                     "far": {"photon_flux": "45 umol/s", "spectrum": spectrum("far")}},
    }  # fmt: skip
    return Case(
        name="three channels of a bar, set apart",
        chapter="colours and groups",
        shows="Photons, spectrum, place and output of each channel.",
        source="Howell's C-13 for each strip, times its channel's photons and output.",
        fails_if="an output were given to another channel or twice, or PPF were taken for the "
        "photons of all bands.",
        scene=scene(
            "A bar of three channels", enclosure=room(), fixtures={"bar": fixture},
            lights=[hung("bar", (x, y, z), output=percent(outputs["far"]),
                         outputs={k: percent(outputs[k]) for k in ("white", "red")})],
            planes=[{"name": "floor", "height": "0 m", "cell": "1 m"}],
        ),
        figures={band: PlaneMean("floor", band=band) for band in bands},
        exact=exact,
        packets=1 << 21,
    )  # fmt: skip


def _ppf_case() -> Case:
    """State the PPF of a bar whose strips have unlike shares of its photons and unlike spectra."""
    length, width, (x, y, z) = 0.3, 0.04, (0.48, 0.31, 0.72)
    ppf, bands = 90.0, ("400-500", "600-700", "700-750", "400-700")
    # Name: place across the bar, share of the photons, share of these in each band.
    strips = {"broad": (-0.12, 0.8, {"400-500": 0.3, "600-700": 0.6, "700-750": 0.1}),
              "far": (0.09, 0.2, {"600-700": 0.05, "700-750": 0.95})}  # fmt: skip

    def exact() -> Exact:
        within = sum(share * sum(v for b, v in made.items() if b != "700-750")
                     for _, share, made in strips.values())  # fmt: skip
        found = dict.fromkeys(bands, 0.0)
        for offset, share, made in strips.values():
            own = (x - length / 2, x + length / 2, y + offset - width / 2, y + offset + width / 2)
            reached = parallel(own, (0, SIZE[0], 0, SIZE[1]), z)
            for band, part in made.items():
                found[band] += ppf / within * share * part * reached / (SIZE[0] * SIZE[1])
        return found | {"400-700": found["400-500"] + found["600-700"]}

    fixture: dict[str, Any] = {
        "ppf": f"{ppf:g} umol/s",
        "strips": [{"length": metres(length), "width": metres(width), "lens": "lambertian",
                    "at": ["0 m", metres(offset)], "share": percent(share),
                    "spectrum": {band: percent(part) for band, part in made.items()}}
                   for offset, share, made in strips.values()],
    }  # fmt: skip
    return Case(
        name="a stated PPF shared out to unlike strips",
        chapter="colours and groups",
        shows="PPF counts what each strip makes in 400-700 nm, by its share of all photons.",
        source="All photons are the PPF over the mean of the strips' shares in 400-700 nm, weighed "
        "by their shares of the photons; Howell's C-13 for what reaches the floor.",
        fails_if="that mean were taken over strips alike, or shares were of the PPF.",
        scene=scene(
            "A bar of two strips", enclosure=room(), fixtures={"bar": fixture},
            lights=[hung("bar", (x, y, z))],
            planes=[{"name": "floor", "height": "0 m", "cell": "1 m"}],
        ),
        figures={band: PlaneMean("floor", band=band) for band in bands},
        exact=exact,
        packets=1 << 20,
    )  # fmt: skip


CASES = (
    _plates_case(
        "five bands between plates",
        (0.25, 0.45, 0.35, 0.6, 0.75), (0.8, 0.55, 0.7, 0.3, 0.9), 1 << 19,
    ),
    _plates_case(
        "five bands between plates, as unlike as can be",
        (0.05, 0.95, 0.1, 0.9, 0.5), (0.9, 0.9, 0.2, 0.95, 0.0), 1 << 17,
    ),
    _paint_case(),
    _channels_case(),
    _ppf_case(),
)  # fmt: skip
