"""Colours and groups: figures of spectra, against sums over their tables and the eye's standard."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.book.bench import load
from canopysim.book.case import Case
from canopysim.book.cases.colours import (
    PHOTONS,
    RED_NM,
    RED_PHOTONS,
    WHITE_NM,
    WHITE_WATTS,
)
from canopysim.book.exact.goniometer import lopsided, table_flux
from canopysim.book.exact.spectra import Curve, band_mean, integral
from canopysim.book.outcome import Outcome
from canopysim.book.photometric_text import lm63
from canopysim.book.scenes import scene

if TYPE_CHECKING:
    from canopysim.book.bench import Bench

Array = NDArray[np.float64]
# The eye by daylight, CIE 1924, at some wavelengths in nm.
EYE = {450.0: 0.038, 510.0: 0.503, 555.0: 1.0, 610.0: 0.503, 650.0: 0.107}
# Half the width of a line, nm, and how far the bends of the eye's table matter within it.
LINE, LINE_ERR = 0.1, 1e-3
# Avogadro's number of photons of one nm, J nm per micromole.
JOULE_NM = 6.02214076e17 * 6.62607015e-34 * 299792458 * 1e9
# What a leaf makes of photons, say: straight lines, unlike zero beyond the eye's ends.
USE_NM, USE = (
    np.array([350.0, 440.0, 520.0, 610.0, 680.0, 760.0]),
    np.array([0.1, 0.8, 0.55, 1.0, 0.9, 0.0]),
)
BENDS = {"white": np.union1d(WHITE_NM, USE_NM), "red": np.union1d(RED_NM, USE_NM)}
ENDS = {"white": (390.0, 810.0), "red": (612.0, 777.0)}
# Photon fluxes of two lights, between edges that cut both short.
FLUXES, EDGES = {"white": 70.0, "red": 45.0}, (420.0, 600.0, 640.0, 740.0)
CLOSE = 1e-9


def use(nm: Array) -> Array:
    """Share of photons that are used."""
    return np.asarray(np.interp(nm, USE_NM, USE, left=0.0, right=0.0))


def _told(name: str, exact: float, value: float, rel_err: float = CLOSE) -> Outcome:
    return Outcome(name, exact, value, 0.0, exact_err=rel_err * abs(exact))


def _lines() -> list[Outcome]:
    """Lumens of lines of one colour."""
    from canopysim.light.meter import RESPONSES
    from canopysim.light.spectrum.measures import lumens_per_umol, photon_energy, umol_per_klm
    from canopysim.light.spectrum.spectrum import Spectrum

    found = []
    for nm, eye in EYE.items():
        line = Spectrum.of_photons([nm - LINE, nm, nm + LINE], [0.0, 1.0, 0.0])
        lumens = 683.0 * eye * JOULE_NM / nm
        lux = float(RESPONSES["lux"].per_band(line, (400.0, 700.0))[0])
        found += [
            _told(f"lumens per umol at {nm:g} nm", lumens, lumens_per_umol(line), LINE_ERR),
            _told(f"umol per klm at {nm:g} nm", 1000 / lumens, umol_per_klm(line), LINE_ERR),
            _told(f"lux per umol at {nm:g} nm", lumens, lux, LINE_ERR),
            _told(f"umol per joule at {nm:g} nm", nm / JOULE_NM, photon_energy(nm)),
        ]
    return found


def _tables() -> list[Outcome]:
    """Figures of two tables, one of watts and one of photons, alone and shining together."""
    from canopysim.light.colours import colours_of
    from canopysim.light.spectrum import measures
    from canopysim.light.spectrum.pieces import Pieces
    from canopysim.light.spectrum.spectrum import Spectrum

    weight = Pieces.from_points(USE_NM, USE)
    spectra = {"white": Spectrum.of_power(WHITE_NM, WHITE_WATTS),
               "red": Spectrum.of_photons(RED_NM, RED_PHOTONS)}  # fmt: skip

    def count(name: str, low: float, high: float) -> float:
        bends = np.union1d(BENDS[name], [low, high])
        return integral(PHOTONS[name], max(low, ENDS[name][0]), min(high, ENDS[name][1]), bends)

    def power(name: str) -> float:
        return integral(
            lambda nm: PHOTONS[name](nm) * JOULE_NM / nm, *ENDS[name], np.arange(390, 811, 0.5)
        )

    def used(name: str) -> float:
        curve: Curve = lambda nm: PHOTONS[name](nm) * use(nm)  # noqa: E731
        return integral(curve, *ENDS[name], BENDS[name])

    found = []
    for name, spectrum in spectra.items():
        par = count(name, 400, 700)
        figures = {
            "used per photon of 400-700 nm": (
                used(name) / par, measures.yield_per_par_photon(spectrum, weight)),
            "red to far-red": (count(name, 600, 700) / count(name, 700, 800),
                               measures.red_to_far_red_wide(spectrum)),
            "red to far-red, narrow": (count(name, 655, 665) / count(name, 725, 735),
                                       measures.red_to_far_red_narrow(spectrum)),
            "photons of 400-700 nm per joule": (par / power(name), measures.ppe_bound(spectrum)),
        }  # fmt: skip
        if name == "white":
            figures["blue share"] = (count(name, 400, 500) / par, measures.blue_share(spectrum))
        found += [_told(f"{key}, {name}", *both) for key, both in figures.items()]
    for name, spectrum in spectra.items():
        low, high = ENDS[name]
        whole = count(name, low, high)
        bands = pairwise(EDGES)
        split = spectrum.divide(EDGES)
        for (start, end), share in zip(bands, split.shares, strict=True):
            found.append(_told(f"share of {start:g}-{end:g} nm, {name}",
                               count(name, start, end) / whole, float(share)))  # fmt: skip
        beyond = count(name, low, max(low, EDGES[0])) + count(name, min(high, EDGES[-1]), high)
        found.append(_told(f"share beyond the edges, {name}", beyond / whole, split.outside))
        upto = spectrum.cumulative([700.0, 630.0])
        found += [_told(f"share up to {nm:g} nm, {name}", count(name, low, nm) / whole, float(one))
                  for nm, one in zip((700.0, 630.0), upto, strict=True)]  # fmt: skip
    # Each light has its flux between the edges, and shines beyond them all the same.
    scale = {k: FLUXES[k] / count(k, EDGES[0], EDGES[-1]) for k in FLUXES}

    def both(low: float, high: float) -> float:
        return sum(scale[name] * count(name, low, high) for name in scale)

    together = colours_of([(spectra[k], FLUXES[k]) for k in FLUXES], EDGES)
    found += [
        _told("blue share, together", both(400, 500) / both(400, 700), together.blue_share),
        _told("red to far-red, together", both(600, 700) / both(700, 800),
              together.red_to_far_red),
        _told("share of 400-700 nm, together", both(400, 700) / both(EDGES[0], EDGES[-1]),
              together.par_share),
    ]  # fmt: skip
    return found


def _means() -> list[Outcome]:
    """Means of a share over bands, with and without photons in them; and narrow bands."""
    from canopysim.light.spectrum.averages import band_means, narrow_edges
    from canopysim.light.spectrum.pieces import Pieces
    from canopysim.light.spectrum.spectrum import Spectrum

    red = Spectrum.of_photons(RED_NM, RED_PHOTONS)
    edges = (400.0, 500.0, 600.0, 620.0, 640.0, 690.0, 760.0)
    means = band_means(red, Pieces.from_points(USE_NM, USE), edges)
    found = []
    for low, high, value in zip(edges, edges[1:], means.values, strict=False):
        # Where there are no photons each wavelength counts alike.
        photons: Curve = PHOTONS["red"] if high > 612 else np.ones_like
        exact = band_mean(photons, use, low, high, BENDS["red"])
        found.append(_told(f"mean share of {low:g}-{high:g} nm", exact, float(value)))
    for step, wanted in ((10.0, [403, 410, 420, 425, 430, 431]), (7.0, [403, 406, 413, 420, 425,
                         427, 431])):  # fmt: skip
        cut = narrow_edges((403.0, 425.0, 431.0), step)
        same = len(cut) == len(wanted) and bool(np.allclose(cut, wanted))
        found.append(Outcome(f"bands of {step:g} nm", 1.0, float(same), 0.0, identity=True))
    return found


def _files() -> list[Outcome]:
    """Photon fluxes of fixtures with files of their own, half of whose photons no band holds."""
    from canopysim.light.fluxes import photometric_flux

    c, gamma = np.arange(0.0, 361.0, 30.0), np.arange(0.0, 91.0, 10.0)
    table = lopsided(c, gamma)
    lines = "".join(f"{nm - LINE}, 0\n{nm}, 1\n{nm + LINE}, 0\n" for nm in (555.0, 850.0))
    green, inside = 683.0 * JOULE_NM / 555.0, 0.5
    found = []
    for unit, per in (("photons", 1.0), ("candela", green * inside)):
        data = scene(
            "A file",
            fixtures={"lamp": {"photometry": {"file": "bench.ies", "intensity": unit},
                               "spectrum": {"table": f"nm, relative photons\n{lines}"}}},
            lights=[{"fixture": "lamp", "at": ["50 cm", "50 cm"], "height": "80 cm"}],
        )  # fmt: skip
        loaded = load(data, {"bench.ies": lm63(c, gamma, table, 0.2, 0.1).encode()})
        told = photometric_flux(loaded.fixtures["lamp"], loaded.bands)
        exact = table_flux(c, gamma, table) / per * inside
        found.append(_told(f"photon flux of a file in {unit}", exact, told, LINE_ERR))
    return found


def _measure(bench: Bench, case: Case) -> list[Outcome]:
    return _lines() + _tables() + _means() + _files()


CASES = (
    Case(
        name="figures of spectra",
        chapter="colours and groups",
        shows="Lumens and lux of lines, ratios and yields of tables alone and together, and shares "
        "averaged over bands.",
        source="683 lm/W times the eye's standard (CIE 1924) at each line; sums over the tables "
        "between all bends.",
        fails_if="Photons were weighed as watts, an edge of a range were another, or lights that "
        "shine beyond the bands were added up by less or more than their photons.",
        measure=_measure,
        packets=1,
    ),
)
