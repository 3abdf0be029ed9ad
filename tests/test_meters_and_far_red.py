"""A far-red-rich light under an ideal 400-700 nm and an ideal 400-750 nm meter.

On a bare floor the first reads what the spectrum says of the second. Below leaves, which let
far-red through, it reads less; below one closed leaf exactly what its transmittance makes of it.
"""

import copy
import csv
from pathlib import Path

import numpy as np
import pytest
from build import panel, plain_box, trace, world_of
from conftest import P_FAIL
from scipy.stats import t as student

from canopysim.matter.parts import Part
from canopysim.tallies.label import Labeller
from canopysim.tallies.label_probes import label_probes

NM = np.arange(400, 801)
LEAVES = Path(__file__).parent.parent / "canopysim" / "library" / "leaf_spectra_10nm.csv"
N_BATCH = 32


def bell(peak, width):
    return np.exp(-4 * np.log(2) * ((NM - peak) / width) ** 2)


# Blue, a broad phosphor, deep red and far-red diodes, as photons per nm.
PHOTONS = 0.9 * bell(450, 20) + 0.5 * bell(580, 110) + 1.6 * bell(660, 20) + 0.6 * bell(730, 30)
TABLE = "nm, relative photons\n" + "\n".join(
    f"{x}, {y:.9f}" for x, y in zip(NM, PHOTONS, strict=True)
)
FINE = np.linspace(400, 750, 35001)


def counted(share=None):
    """Photons in 400-700 over those in 400-750 nm, after a share of each is let through."""
    light = np.interp(FINE, NM, PHOTONS)
    if share is not None:
        light = light * np.interp(FINE, *share)
    step = FINE <= 700
    return np.trapezoid(light[step], FINE[step]) / np.trapezoid(light, FINE)


def transmittance(leaf):
    """The library's own table, nm and share."""
    with LEAVES.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(row for row in file if not row.startswith("#")))
    (column,) = [name for name in rows[0] if name.startswith(leaf) and name.endswith("T")]
    return tuple(
        np.array([float(row[name]) for row in rows]) for name in (next(iter(rows[0])), column)
    )


def box(**changes):
    """A black box with two meters at one place near the floor, below a wide light."""
    light = panel("60 cm", "60 cm", "lambertian")
    light["spectrum"] = {"table": TABLE}
    data = plain_box(
        fixtures={"panel": light},
        lights=[{"fixture": "panel", "at": ["50 cm", "50 cm"], "height": "90 cm"}],
        meters={"quantum": {"response": "par"}, "wide": {"response": "epar"}},
        probes=[
            {"name": name, "at": ["50 cm", "50 cm"], "height": "5 cm", "radius": "3 cm",
             "meter": name}
            for name in ("quantum", "wide")
        ],
        tracing={"batch": "20000"},
    )  # fmt: skip
    data.update(copy.deepcopy(changes))
    return data


def under_reading(data, n_batch=N_BATCH, **options):
    """Readings of the first meter over the second, and the error; both as single probes."""
    world = world_of(data, **options)
    probes = label_probes(Labeller(world), trace(world, n_batch)).sel(group="all")
    value, error = probes["reading"].values, probes["reading_std_err"].values
    ratio = value[0] / value[1]
    # The two share photons, which can only make the true error smaller.
    return ratio, ratio * np.hypot(*(error / value)), probes["over_true"].values


def test_the_bare_floor_shows_what_the_spectrum_says():
    ratio, error, over = under_reading(box())
    wanted = counted()
    assert 0.85 < wanted < 0.87
    assert error < 0.003
    bound = student.isf(P_FAIL / 2, N_BATCH - 1)
    assert abs(ratio - wanted) < bound * error, (ratio, wanted, error)
    # Of one ball, batch by batch, there is no noise: all bands come alike.
    assert over[0] == pytest.approx(1, abs=1e-6)
    assert over[1] == pytest.approx(1 / wanted, rel=1e-4)


CANOPY = {
    "leaves": {"leaf": {"like": "basil"}},
    "plants": {
        "any": {"leaf": "leaf", "stem": "black", "nodes": "1", "internode": "1 cm",
                "petiole_length": "1 cm", "petiole_angle": "60 deg", "blade_length": "3 cm",
                "blade_width": "2 cm"},
    },
    "canopy": {"layers": ["30 cm", "70 cm"],
               "plantings": [{"plant": "any", "columns": "1", "rows": "1"}]},
}  # fmt: skip


def sheet(z):
    """One leaf across the whole box."""
    corners = np.array([[-0.1, -0.1, z], [1.1, -0.1, z], [1.1, 1.1, z], [-0.1, 1.1, z]])
    return Part("sheet", "leaf", corners, np.array([[0, 1, 2], [0, 2, 3]], np.int32), "leaf", False)


def test_below_one_closed_leaf_its_transmittance_says_it():
    ratio, error, over = under_reading(box(**CANOPY), plants=[sheet(0.5)])
    wanted = counted(transmittance("basil"))
    # Most of what comes through is far-red.
    assert wanted < 0.75 * counted()
    assert error < 0.01
    bound = student.isf(P_FAIL / 2, N_BATCH - 1)
    assert abs(ratio - wanted) < bound * error, (ratio, wanted, error)
    assert over[1] == pytest.approx(1 / wanted, rel=2e-4)


def test_below_a_canopy_it_is_another():
    """Between the floor and the closed leaf: some light comes through gaps, some through leaves."""
    canopy = copy.deepcopy(CANOPY)
    canopy["plants"]["any"] |= {"nodes": "8", "internode": "3 cm", "blade_length": "9 cm",
                                "blade_width": "6 cm"}  # fmt: skip
    canopy["canopy"] = {
        "leaf_area_index": "1.5",
        "layers": "2",
        "plantings": [{"plant": "any", "columns": "5", "rows": "5", "base": "12 cm"}],
    }
    ratio, error, over = under_reading(box(**canopy))
    bound = student.isf(P_FAIL / 3, N_BATCH - 1)
    bare, closed = counted(), counted(transmittance("basil"))
    assert closed + bound * error < ratio < bare - bound * error, (closed, ratio, bare)
    # The same light in ten times finer bands, in which leaves differ less: another way to count.
    fine = box(**canopy) | {"bands": [str(x) for x in (*range(400, 760, 10), 800)]}
    again, error_again, _ = under_reading(fine)
    assert abs(ratio - again) < bound * np.hypot(error, error_again) + 0.01, (ratio, again)
    # One correction for the floor would be wrong here by more than its error.
    assert over[1] * bare > 1 + 0.01
