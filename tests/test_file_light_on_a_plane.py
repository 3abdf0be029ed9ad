"""Light of a file on a bare floor between black walls: what quadrature of the file gives.

The reference goes from a direction to the angles of the file's own goniometer and between its
nodes in these angles, and over the luminous opening and every cell by Gauss and Legendre.
"""

import numpy as np
import pytest
from build import panel, plain_box, scene_of
from conftest import P_FAIL
from corpus import table_flux
from oracles import cell_points, rotation
from photometric_files import BEAM, RIGHT, UP, eulumdat, goniometer, lm63
from scipy.stats import t as student

import canopysim

CELLS = (5, 5)
N_BATCH = 32
LENGTH, WIDTH, HEIGHT = 0.3, 0.06, 0.6
AT = np.array([0.45, 0.55, HEIGHT])
TURNED = (35.0, 8.0, -12.0)


def bench(d):
    """Leans along and across and is twisted; fades out towards the level plane."""
    ahead = np.clip(-d[..., 2], 0.0, None)
    return 40 * ahead**2 * (1 + 0.5 * d[..., 0] + 0.3 * d[..., 1] + 0.4 * d[..., 0] * d[..., 1])


def angles(kind, d):
    """H and V in degrees of directions in the fixture's frame, as a goniometer defines them."""
    ahead, up, right = d @ BEAM, d @ UP, d @ RIGHT
    if kind == "C":
        return np.degrees(np.arctan2(d[..., 1], d[..., 0])) % 360, np.degrees(np.arccos(ahead))
    if kind == "A":
        return np.degrees(np.arctan2(right, ahead)), np.degrees(np.arcsin(up))
    return np.degrees(np.arcsin(right)), np.degrees(np.arctan2(up, ahead))


def between(h, v, table, at_h, at_v):
    """Straight between the nodes in both angles; 0 beyond the last."""
    h, v = np.asarray(h, float), np.asarray(v, float)
    i = np.clip(np.searchsorted(h, at_h) - 1, 0, len(h) - 2)
    j = np.clip(np.searchsorted(v, at_v) - 1, 0, len(v) - 2)
    s, t = (at_h - h[i]) / (h[i + 1] - h[i]), (at_v - v[j]) / (v[j + 1] - v[j])
    near = (1 - s) * table[i, j] + s * table[i + 1, j]
    far = (1 - s) * table[i, j + 1] + s * table[i + 1, j + 1]
    inside = (at_h >= h[0]) & (at_h <= h[-1]) & (at_v >= v[0]) & (at_v <= v[-1])
    return np.where(inside, (1 - t) * near + t * far, 0.0)


FRONT = np.arange(-90, 91, 3)
GRIDS = {
    "C": (np.arange(0, 361, 10), np.arange(0, 91, 3)),
    "A": (FRONT, FRONT),
    "B": (FRONT, FRONT),
}


def expected(kind, h, v, table, turn):
    """Irradiance per cell (ny, nx), in the table's unit per m²."""
    points, weights = cell_points((0, 0), (1, 1), CELLS, 0.0, n=8)
    axes = rotation(*np.radians(turn))
    total = np.zeros(points.shape[:-1])
    a, wa = np.polynomial.legendre.leggauss(12)
    b, wb = np.polynomial.legendre.leggauss(4)
    for x, wx in zip(a, wa, strict=True):
        for y, wy in zip(b, wb, strict=True):
            ray = points - AT - axes @ [x * LENGTH / 2, y * WIDTH / 2, 0.0]
            r2 = (ray**2).sum(-1)
            ray = ray / np.sqrt(r2)[..., None]
            light = between(h, v, table, *angles(kind, ray @ axes))
            total += wx * wy / 4 * light * -ray[..., 2] / r2
    return total @ weights


def cases(kind):
    h, v = GRIDS[kind]
    table = np.round(bench(goniometer(kind, h, v)), 4)
    return h, v, table, lm63(kind=kind, h=h, v=v, table=table, size=(WIDTH, LENGTH, 0), watts=1)


def traced(fixture, turn):
    data = plain_box(
        fixtures={"bench": fixture},
        planes=[{"name": "floor", "height": "0 cm", "cell": "20 cm"}],
        lights=[
            {"fixture": "bench", "at": [f"{AT[0]} m", f"{AT[1]} m"], "height": f"{HEIGHT} m"}
            | {k: f"{a} deg" for k, a in zip(("turn", "pitch", "tilt"), turn, strict=True)}
        ],
        tracing={"batch": "80000", "max_packets": str(81000 * N_BATCH)},
    )
    floor = canopysim.run(scene_of(data)).planes["floor"]
    at = {"group": "all", "band": "400-500", "direction": "down"}
    return tuple(
        np.asarray(floor[name].sel(at)) for name in ("pfd", "pfd_std_err", "mean", "mean_std_err")
    )


def agrees(found, wanted):
    """Every cell and the mean, two-sided; and the errors are small enough to tell something."""
    pfd, error, mean, mean_error = found
    bound = student.isf(P_FAIL / (pfd.size + 1) / 2, N_BATCH - 1)
    assert mean_error < 0.002 * mean
    assert np.median(error / pfd) < 0.002
    assert abs(mean - wanted.mean()) < bound * mean_error
    z = (pfd - wanted) / error
    assert np.abs(z).max() < bound, np.round(z, 1)


def strip(text, flux):
    return panel(f"{LENGTH} m", f"{WIDTH} m", {"table": text}, f"{flux!r} umol/s")


@pytest.mark.parametrize("turn", [(0.0, 0.0, 0.0), TURNED], ids=["level", "turned"])
@pytest.mark.parametrize("kind", GRIDS)
def test_a_lens_from_a_file(kind, turn):
    """The strip has a stated flux, and of the file only the shape."""
    h, v, table, text = cases(kind)
    wanted = expected(kind, h, v, table, turn)
    agrees(traced(strip(text, table_flux(kind, h, v, table)), turn), wanted)


def test_a_whole_fixture_whose_file_holds_photons():
    """Flux and opening come from the file too, and the body takes nothing of its own light."""
    h, v, table, text = cases("C")
    fixture = {
        "body": {"length": "40 cm", "width": "20 cm", "height": "5 cm", "surface": "black"},
        "photometry": {"table": text, "intensity": "photons"},
        "spectrum": {"400-500": "100 %"},
    }
    agrees(traced(fixture, TURNED), expected("C", h, v, table, TURNED))


def test_eulumdat():
    """C0 lies across the length: C turned by a quarter is the H of LM-63."""
    h, v, table, _ = cases("C")
    planes = np.arange(0, 360, 10)
    stored = table[(planes + 90) % 360 // 10]
    text = "\n".join(eulumdat(symmetry=0, planes=planes, gamma=v, table=stored, lamp_flux=1000))
    agrees(
        traced(strip(text, table_flux("C", h, v, table)), TURNED),
        expected("C", h, v, table, TURNED),
    )
