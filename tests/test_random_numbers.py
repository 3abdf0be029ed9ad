"""Philox against its published vectors, and uniforms that are uniform."""

import numpy as np
import pytest
from scipy import stats

from canopysim.transport.random import draw, philox, spread, unit

# Known answers of the authors' own distribution (Random123, kat_vectors, philox4x32-10).
KNOWN = [
    ((0, 0, 0, 0), (0, 0), (0x6627E8D5, 0xE169C58D, 0xBC57AC4C, 0x9B00DBD8)),
    (
        (0xFFFFFFFF,) * 4,
        (0xFFFFFFFF,) * 2,
        (0x408F276D, 0x41C83B0E, 0xA20BC7C6, 0x6D5451FD),
    ),
    (
        (0x243F6A88, 0x85A308D3, 0x13198A2E, 0x03707344),
        (0xA4093822, 0x299F31D0),
        (0xD16CFE09, 0x94FDCCEB, 0x5001E420, 0x24126EA1),
    ),
]


@pytest.mark.parametrize(("counter", "key", "expected"), KNOWN)
def test_known_answers(counter, key, expected):
    found = philox(*(np.uint32(c) for c in counter), *(np.uint32(k) for k in key))
    assert tuple(int(x) for x in found) == expected


def test_unit_is_never_zero_or_one():
    ends = [unit(np.uint32(0)), unit(np.uint32(0xFFFFFFFF))]
    assert ends[0] == 2.0**-24
    assert ends[1] == 1 - 2.0**-24


def test_draws_are_uniform_and_addresses_do_not_meet(p_fail):
    key = (np.uint32(5), np.uint32(0))
    values = np.array([draw(*key, 3, 7, photon, 1, 0) for photon in range(20_000)])
    for column in values.T:
        assert stats.kstest(column, "uniform").pvalue > p_fail / 12
    # Each part of the address matters, and neighbours are not related.
    base = np.array([draw(*key, 3, 7, p, 1, 0)[0] for p in range(5000)])
    for moved in (
        [draw(*key, 4, 7, p, 1, 0)[0] for p in range(5000)],
        [draw(*key, 3, 8, p, 1, 0)[0] for p in range(5000)],
        [draw(*key, 3, 7, p, 2, 0)[0] for p in range(5000)],
        [draw(*key, 3, 7, p, 1, 1)[0] for p in range(5000)],
        [draw(np.uint32(6), np.uint32(0), 3, 7, p, 1, 0)[0] for p in range(5000)],
        [draw(np.uint32(5), np.uint32(1), 3, 7, p, 1, 0)[0] for p in range(5000)],
    ):
        assert stats.pearsonr(base, np.array(moved)).pvalue > p_fail / 12
        assert not (base == np.array(moved)).all()


def test_launches_are_uniform_one_by_one_and_even_together(p_fail):
    """Each photon's numbers are uniform over batches; a batch fills the hypercube evenly."""
    key = (np.uint32(8), np.uint32(0))
    for photon in (0, 1, 77, 65535):
        values = np.array([spread(*key, 2, batch, photon) for batch in range(4000)])
        for column in values.T:
            assert stats.kstest(column, "uniform").pvalue > p_fail / 16
        # The shifts of the four numbers are independent.
        table = np.corrcoef(values.T)[np.triu_indices(4, 1)]
        assert np.abs(table).max() < stats.norm.isf(p_fail / 48) / np.sqrt(4000)
    # In a batch each number fills its range far more evenly than chance does.
    for n in (4096, 20000):
        batch = np.array([spread(*key, 2, 9, photon) for photon in range(n)])
        for column in batch.T:
            counts, _ = np.histogram(column, bins=32, range=(0, 1))
            chi2 = ((counts - n / 32) ** 2 / (n / 32)).sum()
            # Independent numbers stay below this once in 10^5 times.
            assert chi2 < stats.chi2.ppf(1e-5, 31), (n, chi2)
    assert not np.allclose(batch, [spread(*key, 3, 9, photon) for photon in range(n)])
