"""A thousand damaged photometric files: lenses or one-line refusals, quick and small."""

import pytest

pytest.importorskip("resource")
from fuzz_photometric import judge_some

# Other files than those of the long run by hand, which begins at 0.
FIRST, COUNT = 10**6, 1000


def test_damaged_files_are_lenses_or_refused():
    counts, failed, slowest, largest = judge_some(1, FIRST, FIRST + COUNT, True)
    assert not failed
    assert sum(counts.values()) == COUNT
    # Of either there are enough to tell something.
    assert counts["lens"] + counts["lens with doubts"] > COUNT / 10
    assert counts["refused"] > COUNT / 3
    assert slowest > 0
    assert largest > 2**20
