"""Our own polynomials against double precision over their whole range."""

import numpy as np
from numba import njit

from canopysim.transport.real import (
    cosine_direction,
    exp_of,
    log_of,
    one_minus_exp,
    sine_cosine_of_turn,
)

F = np.float32


@njit
def over(function, x):
    y = np.empty_like(x)
    for i in range(len(x)):
        y[i] = function(x[i])
    return y


@njit
def over_turns(x):
    s, c = np.empty_like(x), np.empty_like(x)
    for i in range(len(x)):
        s[i], c[i] = sine_cosine_of_turn(x[i])
    return s, c


def test_sine_and_cosine():
    x = np.concatenate([np.linspace(-1, 1, 400_001), [0.125, -0.125, 0.375, 0.875]]).astype(F)
    s, c = over_turns(x)
    exact = 2 * np.pi * x.astype(np.float64)
    assert np.abs(s - np.sin(exact)).max() < 2.5e-7
    assert np.abs(c - np.cos(exact)).max() < 2.5e-7


def test_logarithm():
    x = np.concatenate(
        [np.geomspace(2.0**-24, 2.0**24, 400_001), 1 + np.linspace(-1e-3, 1e-3, 4001)]
    ).astype(F)
    exact = np.log(x.astype(np.float64))
    error = np.abs(over(log_of, x) - exact)
    assert (error <= 2e-7 * np.abs(exact) + 1e-12).all()


def test_exponential():
    x = np.linspace(-87, 87, 400_001).astype(F)
    exact = np.exp(x.astype(np.float64))
    assert np.abs(over(exp_of, x) / exact - 1).max() < 4e-7
    assert exp_of(F(-1000)) == 0


def test_one_minus_exponential_keeps_its_digits():
    x = np.concatenate([np.geomspace(1e-12, 80, 400_001), [0.0, 0.05]]).astype(F)
    exact = -np.expm1(-x.astype(np.float64))
    found = over(one_minus_exp, x)
    assert (np.abs(found - exact) <= 1.5e-6 * exact).all()


def test_cosine_direction_is_a_unit_vector_on_its_side():
    rng = np.random.default_rng(3)
    normals = rng.normal(size=(2000, 3))
    normals[:6] = [[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]]
    normals = (normals / np.linalg.norm(normals, axis=1)[:, None]).astype(F)
    for n in normals:
        u, v = F(rng.uniform(1e-6, 1 - 1e-6)), F(rng.uniform(1e-6, 1 - 1e-6))
        d = np.array(cosine_direction(*n, u, v), np.float64)
        assert abs(np.linalg.norm(d) - 1) < 3e-7
        assert abs(d @ n - np.sqrt(1 - float(u))) < 1e-6
