"""A grower's own readings: the file in every spelling, mistakes named, set beside the trace."""

from __future__ import annotations

import numpy as np
import pytest
from fake_result import GROUND
from test_penetration import with_levels

from canopysim.analysis.measured_profile import compare, read_profile
from canopysim.analysis.profile import profile
from canopysim.errors import CanopysimError


@pytest.fixture(scope="module")
def result():
    return with_levels()


@pytest.mark.parametrize(
    "text",
    [
        "height,ppfd,error\n80 cm,300,6\n0.5 m,120,\n",
        "Height (cm);PPFD (umol m-2 s-1);error\n80;300,0;6,0\n50;120;\n",
        "\ufeffheight_m\tppfd\terror\n0.80\t300\t6\n0.5\t120\t\n",
    ],
)
def test_readings_by_height_in_every_spelling(text, tmp_path):
    path = tmp_path / "mine.csv"
    path.write_text(text, "utf-8")
    one, other = read_profile(path)
    assert (one.height, one.pfd.value, one.pfd.std_err) == pytest.approx((0.8, 300.0, 6.0))
    assert (other.height, other.pfd.value) == pytest.approx((0.5, 120.0))
    assert np.isnan([one.lai, other.pfd.std_err]).all()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "holds no readings"),
        ("height,ppfd\n", "holds no readings"),
        ("depth,ppfd\n1,2\n", "do not tell place and light"),
        ("height,lai,ppfd\n1 cm,1,2\n", "do not tell place and light"),
        ("lai,light\n1,2\n", "do not tell place and light"),
        ("lai,ppfd,PPFD\n1,2,3\n", "stands here twice"),
        ("height parsec,ppfd\n1,2\n", "no unit of length"),
        ("height,ppfd\n80,300\n", r":2  height: '80' has no unit"),
        ("lai,ppfd\n1,2\n2,dim\n", r":3  ppfd: 'dim' is not a number"),
        ("lai,ppfd\n1,-2\n", r":2  ppfd: '-2' is out of range"),
        ("lai,ppfd\nnan,2\n", r":2  lai: 'nan' is out of range"),
        ("lai,ppfd\n300,2\n", "are the columns swapped"),
        ("lai,ppfd\n1\n", r":2  ppfd: '' is not a number"),
    ],
)
def test_readings_that_cannot_be_read_are_named(text, message, tmp_path):
    path = tmp_path / "mine.csv"
    path.write_text(text, "utf-8")
    with pytest.raises(CanopysimError, match=message):
        read_profile(path)


def test_files_that_are_no_text_are_named(tmp_path):
    with pytest.raises(CanopysimError, match="cannot be read as text"):
        read_profile(tmp_path / "none.csv")
    (tmp_path / "raw.csv").write_bytes(b"\xff\xfe\x00\x81")
    with pytest.raises(CanopysimError, match="cannot be read as text"):
        read_profile(tmp_path / "raw.csv")


def test_readings_beside_the_trace(result, tmp_path):
    """An exponential between boundaries is interpolated exactly, by leaf area and by height."""
    path = tmp_path / "mine.csv"
    flux = float(result.launched.sel(group="top bars", band="400-500")) / GROUND
    path.write_text("lai,ppfd,error\n0,200,4\n0.5,100,\n2.4,7,1\n3.5,1,1\n")
    found = compare(result, read_profile(path), span=(400.0, 500.0), group="top bars")
    k = 0.7 * 1.1
    wanted = [1.1 * flux * np.exp(-k * lai) for lai in (0, 0.5, 2.4)]
    assert [c.traced.value for c in found[:3]] == pytest.approx(wanted, rel=1e-6)
    assert np.isnan(found[3].traced.value)  # deeper than the lowest leaf
    first, second = found[:2]
    assert first.difference.value == pytest.approx(wanted[0] - 200)
    assert first.difference.std_err == pytest.approx(np.hypot(4, first.traced.std_err))
    assert first.ratio.value == pytest.approx(wanted[0] / 200)
    relative = np.hypot(4 / 200, first.traced.std_err / wanted[0])
    assert first.ratio.std_err == pytest.approx(first.ratio.value * relative)
    assert first.z == pytest.approx(first.difference.value / first.difference.std_err)
    assert np.isnan(second.z)  # a reading without an error is not judged
    of = profile(result, span=(400.0, 500.0), group="top bars")
    middle = 0.5 * (of.height[1] + of.height[2])
    path.write_text(f"height,ppfd\n{middle:.12f} m,100\n")
    (by_height,) = compare(
        result, read_profile(path), span=(400.0, 500.0), group="top bars", flux="net"
    )
    wanted = flux * np.exp(-k * 0.5 * (of.lai[1] + of.lai[2]))
    assert by_height.traced.value == pytest.approx(wanted, rel=1e-6)
