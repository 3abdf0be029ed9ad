"""Cuticles: Fresnel's formulas, what is left for the leaf below, what is refused."""

import numpy as np
import pytest
from build import plain_box, world_of

from canopysim.errors import SceneError
from canopysim.matter.cuticle import below_cuticle, fresnel, mean_reflectance
from canopysim.transport import cuticle as kernel

INDEX = 1.45


def fresnel_by_angles(angle):
    """Half the sum of Fresnel's sine and tangent formulas."""
    inside = np.arcsin(np.sin(angle) / INDEX)
    s = (np.sin(angle - inside) / np.sin(angle + inside)) ** 2
    p = (np.tan(angle - inside) / np.tan(angle + inside)) ** 2
    return (s + p) / 2


def test_fresnel_is_the_textbooks():
    angle = np.radians([1, 20, 45, 60, 75, 85, 89])
    wanted = fresnel_by_angles(angle)
    assert fresnel(np.cos(angle), INDEX) == pytest.approx(wanted, rel=1e-9)
    assert float(fresnel(1.0, INDEX)) == pytest.approx(((INDEX - 1) / (INDEX + 1)) ** 2, rel=1e-12)
    f = [float(kernel.fresnel(np.float32(np.cos(a)), np.float32(INDEX))) for a in angle]
    assert f == pytest.approx(wanted, rel=3e-5)
    mu = (np.arange(100_000) + 0.5) / 100_000
    mean = float((2 * mu * fresnel_by_angles(np.arccos(mu))).mean())
    assert mean_reflectance(INDEX, 0.0) == pytest.approx(mean, rel=1e-3)
    assert 0 < mean_reflectance(INDEX, np.radians(20)) < mean


def test_what_is_below_a_cuticle_adds_up():
    totals = np.array([[[0.3, 0.02], [0.4, 0.1]], [[0.2, 0.5], [0.6, 0.2]]])
    inside, kept = below_cuticle(totals, 0.08)
    r = 0.08 * kept
    assert r + (1 - r) * inside[:, 0] == pytest.approx(totals[:, 0])
    assert (1 - r) * inside[:, 1] == pytest.approx(totals[:, 1])
    assert kept.tolist() == [[1, 0.25], [1, 1]] and inside[0, 0, 1] == 0


def leaf(rho, tau, spread, **more):
    return {
        "reflectance": rho, "transmittance": tau,
        "cuticle": {"index": str(INDEX), "spread": spread},
    } | more  # fmt: skip


def sheet(leaf_optics, light: dict, **changes) -> dict:
    """A black box, its sides repeating, with a slab of level leaves."""
    data = plain_box(
        leaves={"sheet": leaf_optics},
        canopy={"layers": "1", "volumes": [
            {"shape": "slab", "leaf": "sheet", "bottom": "40 cm", "top": "60 cm",
             "angles": "level", "leaf_area_index": "1"}]},
        **changes,
    )  # fmt: skip
    data["enclosure"]["repeat"] = ["width", "depth"]
    return data | light


@pytest.mark.parametrize(
    ("film", "message"),
    [
        ({"index": "0.9"}, "allowed is 1.01 or more"),
        ({"spread": "60 deg"}, "allowed is 45 deg or less"),
    ],
)
def test_what_is_no_cuticle_is_told(film, message):
    with pytest.raises(SceneError, match=message):
        world_of(plain_box(leaves={"x": {"like": "pepper", "cuticle": film}}))
