"""Every file of the corpus: the flux, light, opening and doubts expected of it, or its refusal."""

import json
import re

import numpy as np
import pytest
from corpus import FOLDER, cases
from corpus.__main__ import index

from canopysim.errors import CanopysimError
from canopysim.light.photometry import flux, intensity_at, read_photometric

CASES = cases()
READ = [case for case in CASES if case.refusal is None]
REFUSED = [case for case in CASES if case.refusal is not None]
named = pytest.mark.parametrize


def read(case):
    return read_photometric(FOLDER / case.name, name=case.name)


def test_the_files_are_those_that_the_generator_writes():
    assert {path.name for path in FOLDER.iterdir()} == {"expected.json", *(c.name for c in CASES)}
    for case in CASES:
        assert (FOLDER / case.name).read_bytes() == case.data, case.name
    assert json.loads((FOLDER / "expected.json").read_text("utf-8")) == json.loads(index())


@named("case", READ, ids=lambda case: case.name)
def test_a_file_holds_what_it_was_made_from(case):
    got = read(case)
    assert flux(got) == pytest.approx(case.flux, rel=case.rel)
    assert got.source == case.source
    if case.opening:
        shape, *metres = case.opening
        found = got.opening
        assert found.shape == shape
        assert [found.length_m, found.width_m, found.height_m] == pytest.approx(metres)
    told = [re.fullmatch(r"(.+):(\d+): (.+)", line).groups() for line in got.warnings]
    assert len(told) == len(case.doubts), got.warnings
    for (name, line, sentence), (wanted, words) in zip(told, case.doubts, strict=True):
        assert (name, int(line)) == (case.name, wanted), sentence
        assert words in sentence
    if case.shine:
        # Any direction, so that a turned, mirrored or unmirrored table shows.
        rng = np.random.default_rng(4)
        d = rng.normal(size=(2000, 3))
        d /= np.linalg.norm(d, axis=1)[:, None]
        # A cut at the level plane is a step that a table may shift by a node.
        d = d[np.abs(d[:, 2]) > 0.1]
        c, gamma = np.arctan2(d[:, 1], d[:, 0]), np.arccos(-d[:, 2])
        exact = case.shine(d)
        assert np.abs(intensity_at(got, c, gamma) - exact).max() < 0.03 * exact.max()


@named("case", REFUSED, ids=lambda case: case.name)
def test_a_file_that_cannot_be_read_is_told_by_line(case):
    with pytest.raises(CanopysimError) as caught:
        read(case)
    message = str(caught.value)
    line, words = case.refusal
    assert message.startswith(f"{case.name}:{line}: ")
    assert words in message
    assert message.isprintable()
    assert re.search(r"[;,(]", message.split(": ", 1)[1])


def test_the_corpus_covers_what_files_may_be():
    names = " ".join(case.name for case in CASES)
    for edition in (1986, 1991, 1995, 2002, 2019):
        assert f"edition-{edition}" in names
        assert f"factors-{edition}" in names
    for kind in "ABC":
        assert any(case.source.endswith(f"type {kind}") for case in READ)
    shapes = {case.opening[0] for case in READ if case.opening}
    assert len(shapes) == 10
    assert len(CASES) > 150
