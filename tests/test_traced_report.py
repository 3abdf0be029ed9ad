"""The report of a traced scene, with what made-up results lack: real books, bands beyond 800 nm."""

from __future__ import annotations

import csv
import io

import pytest
from build import panel, plain_box, scene_of
from rich.console import Console

from canopysim.analysis import ends
from canopysim.analysis.books import launched
from canopysim.analysis.far_red import far_red_span, red_to_far_red
from canopysim.analysis.planes import plane_mean
from canopysim.report import rows
from canopysim.report.conditions import condition_rows
from canopysim.report.page import page_text
from canopysim.report.summary import summary_text
from canopysim.report.tables import write_tables
from canopysim.results import Result
from canopysim.tracing import run


@pytest.fixture(scope="module")
def traced() -> Result:
    """A box with an opening, patches, bands beyond 800 nm, and a second light that is off."""
    lamp = panel("20 cm", "4 cm", flux="100 umol/s")
    lamp["spectrum"] = {"400-600": "40 %", "600-700": "30 %", "700-800": "20 %", "800-850": "10 %"}
    return run(
        scene_of(
            plain_box(
                bands=[400, 500, 600, 700, 750, 800, 850],
                surfaces={"black": {}, "grey": {"diffuse": {"400-700": "60 %", "700-850": "30 %"}}},
                enclosure={
                    "width": "1 m",
                    "depth": "1 m",
                    "height": "1 m",
                    "lining": "grey",
                    "faces": {
                        "front": "open",
                        "floor": {
                            "patches": [
                                {
                                    "surface": "black",
                                    "corner": ["0 cm", "0 cm"],
                                    "opposite": ["50 cm", "50 cm"],
                                }
                            ]
                        },
                    },
                },
                fixtures={"panel": lamp},
                lights=[
                    {"fixture": "panel", "at": ["50 cm", "50 cm"], "height": "80 cm", **more}
                    for more in ({"group": "on"}, {"group": "off", "output": "0 %"})
                ],
                planes=[
                    {"name": "upper", "height": "60 cm", "cell": "25 cm"},
                    {"name": "lower", "height": "20 cm", "cell": "25 cm"},
                ],
                tracing={"batch": "4096"},
            )
        ),
        max_packets=4 * 8192,
    )


def test_traced_planes_and_ends_agree_with_their_books(traced):
    for name, plane in traced.planes.items():
        for band in ("400-700", "600-700", "700-750"):
            for direction in ("down", "up"):
                here = plane.sel(group="on", band=band, direction=direction)
                got = plane_mean(
                    traced,
                    name,
                    span=(float(here["low_nm"]), float(here["high_nm"])),
                    group="on",
                    direction=direction,
                )
                assert got.value == pytest.approx(float(here["mean"]), rel=1e-9)
                assert got.std_err == pytest.approx(float(here["mean_std_err"]), rel=1e-9)
    everything = ends.share_at(traced, lambda end: True)
    assert everything.value == pytest.approx(1.0, rel=1e-9)
    parts = [ends.share_at(traced, w).value for w in (ends.is_wall, ends.is_floor, ends.is_opening)]
    assert all(part > 0.01 for part in parts)
    assert sum(parts) == pytest.approx(1.0, abs=0.01)


def test_traced_far_red_ends_at_800_nm(traced, tmp_path):
    assert far_red_span(traced) == (700.0, 800.0)
    assert launched(traced, span=(700.0, 800.0), group="on") == pytest.approx(20.0, rel=1e-6)
    ratio_of = red_to_far_red(traced, "upper", group="on")
    # The lamp launches 30 to 20, and the lining keeps more of the far-red than of the red.
    assert ratio_of.value > 1.5
    assert ratio_of.std_err < 0.1
    table = rows.plane_table(traced)
    row = next(row for row in table.rows if row[1] == "off, down")
    assert row[2:7] == ("0", "0", "–", "0", "0")
    pairs = dict(condition_rows(traced))
    assert pairs["Launched by on, 700–800 nm"] == "20.00 µmol s⁻¹"
    assert pairs["Launched by off, 700–800 nm"] == "0 µmol s⁻¹"
    text = io.StringIO()
    Console(file=text, width=120).print(summary_text(traced))
    assert "Far-red" in text.getvalue()
    assert "700–850 nm" not in text.getvalue()
    assert "750–800 nm" in page_text(traced)
    write_tables(traced, tmp_path)
    with (tmp_path / "map-upper.csv").open(encoding="utf-8", newline="") as file:
        first = next(csv.DictReader(file))
    assert not any("850" in column for column in first)
    far_red = [column for column in first if column.startswith("on_down_7")]
    assert {column[8:15] for column in far_red} in ({"700-800"}, {"700-750", "750-800"})
    assert first["off_down_400-700nm_std_err_umol_m2_s"] == "0"
