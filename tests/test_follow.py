"""One photon followed alone is the photon of the run."""

import csv

import numpy as np
import pytest
from build import scene_of, world_of
from torture import torture

import canopysim
from canopysim.errors import CanopysimError
from canopysim.follow import Address, follow, write_path
from canopysim.tallies.books import open_books
from canopysim.transport.history import trace_range


@pytest.fixture(scope="module")
def world():
    return world_of(torture(500))


def test_a_path_is_the_compiled_history(world, tmp_path):
    """Number of meetings and everything that was absorbed agree with the compiled photon."""
    kinds = set()
    for strip in range(len(world.strips)):
        for photon in range(3):
            path = follow(world, 9, Address(strip, 2, photon))
            books = open_books(world.arrays)
            packet = int(world.strip_first[strip]) + photon
            trace_range(
                world.arrays, books, None, world.strip_first, np.uint32(9), np.uint32(0), 2,
                packet, packet + 1, world.depth,
            )  # fmt: skip
            assert len(path.meetings) - 1 == books.counters[1]
            # Flights are straight lines inside the box.
            for m in path.meetings:
                assert all(-1e-6 <= v <= s + 1e-6 for v, s in zip(m.position_m, (0.9, 0.7, 1.1),
                                                                  strict=True))  # fmt: skip
            assert sum(path.meetings[0].weights) == pytest.approx(1.0, abs=1e-8)
            kinds.add(path.end.split(" ")[0])
    assert {"absorbed", "escaped"} <= kinds
    written = write_path(path, world.edges, tmp_path)
    with written.open(encoding="utf-8") as file:
        table = list(csv.DictReader(file))
    assert len(table) == len(path.meetings)
    assert float(table[0]["weight_400_500_nm"]) == pytest.approx(path.meetings[0].weights[0])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("7", "is no address; write strip:batch:photon"),
        ("1:2:x", "is no address"),
        ("-1:0:0", "is no address"),
        ("99:0:0", "names strip 99; allowed are 0 to"),
        ("0:0:99999", "names photon 99999; strip 0 launches 0 to"),
    ],
)
def test_addresses_that_do_not_exist(world, text, message):
    with pytest.raises(CanopysimError, match=message):
        follow(world, 1, Address.parse(text))


def test_follow_on_the_command_line(tmp_path, capsys):
    from canopysim import cli

    result = canopysim.run(scene_of(torture(500)), target=1e-6, max_packets=500)
    result.save(tmp_path)
    cli.app(["follow", str(tmp_path), "0:0:5"], standalone_mode=False)
    text = capsys.readouterr().out
    assert "Photon 0:0:5 of the lights top" in text
    assert (tmp_path / "photon-0-0-5.csv").exists()
