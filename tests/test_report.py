"""The report: figures shown are the result's, pages are self-contained, text stays text."""

from __future__ import annotations

import base64
import csv
import html
import io
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from fake_result import BANDS, GROUND, OTHER_ENDS, fake_result
from matplotlib import colormaps
from PIL import Image

from canopysim.analysis.books import absorbed_per_batch, in_band, mean, ratio
from canopysim.analysis.ends import is_wall, walls_share
from canopysim.analysis.layers import cumulative_share, lower_half_share
from canopysim.analysis.planes import plane_statistics
from canopysim.report import figures, rows
from canopysim.report.conditions import condition_rows
from canopysim.report.fitted_table import packed
from canopysim.report.page import CAUTIONS, page_text, write_report
from canopysim.report.summary import summary_text
from canopysim.report.tables import write_layers_csv, write_map_csv, write_tables
from canopysim.report.words import (
    FLUX_DENSITY,
    count,
    duration,
    percent,
    significant,
    with_error,
)

VOID = {"meta", "img", "br", "hr", "input", "link"}
EVIL = '<script>alert("x")</script> & $x_1$'


class Reader(HTMLParser):
    """Reads a page: complains of unbalanced elements, collects tables, ids and tags."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.ids: list[str] = []
        self.references: list[str] = []
        self.tables: dict[str, list[list[str]]] = {}
        self._rows: list[list[str]] | None = None
        self._cell = False

    def handle_starttag(self, tag, attrs):
        values = dict(attrs)
        self.tags.append(tag)
        if "id" in values:
            self.ids.append(values["id"])
        for name, value in values.items():
            if name in ("src", "href", "action", "data", "poster", "srcset"):
                self.references.append(value)
        if tag not in VOID:
            self.open.append(tag)
        if tag == "table":
            self._rows = self.tables.setdefault(values["aria-label"], [])
        if tag == "tr" and self._rows is not None:
            self._rows.append([])
        if tag in ("td", "th"):
            self._cell = True
            self._rows[-1].append("")

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.handle_endtag(tag)

    def handle_endtag(self, tag):
        assert self.open, f"</{tag}> without a start"
        assert self.open.pop() == tag
        if tag in ("td", "th"):
            self._cell = False
        if tag == "table":
            self._rows = None

    def handle_data(self, data):
        if self._cell:
            self._rows[-1][-1] += data


def read(text: str) -> Reader:
    reader = Reader()
    reader.feed(text)
    reader.close()
    assert reader.open == []
    return reader


@pytest.fixture(scope="module")
def result():
    return fake_result()


@pytest.fixture(scope="module")
def picture(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("picture") / "scene.png"
    Image.new("RGB", (8, 8), "green").save(path)
    return path


@pytest.fixture(scope="module")
def page(result, picture) -> str:
    return page_text(result, picture)


# The page -------------------------------------------------------------------------------------


def test_page_is_balanced_and_asks_nothing_of_the_world(page):
    reader = read(page)
    words = re.sub(r"data:image/png;base64,[A-Za-z0-9+/=\s]+", "", page)
    assert not re.search(r"https?:|//[a-z]|@import|url\((?!#)", words, re.IGNORECASE)
    assert all(ref.startswith(("#", "data:image/png;base64,")) for ref in reader.references)
    assert not {"script", "iframe", "link", "object", "embed"} & set(reader.tags)
    assert "default-src 'none'; img-src data:; style-src 'unsafe-inline'" in page
    assert not re.search(r"\son\w+=", page)


def test_ids_are_unique_and_every_reference_inside_finds_one(page):
    reader = read(page)
    assert len(reader.ids) == len(set(reader.ids))
    inside = re.findall(r'(?:url\(|href=")#([\w-]+)', page)
    assert inside
    assert set(inside) <= set(reader.ids)


def test_page_has_its_tables_and_pictures(page):
    reader = read(page)
    captions = " | ".join(reader.tables)
    for wanted in (
        "What each layer absorbs",
        "Absorbed per leaf area by lights",
        "Far-red, apart",
        "Other wavebands",
        "PPFD on the planes",
        "Where the photons ended",
    ):
        assert wanted in captions
    assert page.count("<svg") == 5
    assert page.count('src="data:image/png;base64,') == 1
    for line in CAUTIONS:
        assert html.escape(line, quote=True) in re.sub(r"</?span[^>]*>", "", page)


def test_headline_comes_first_and_names_band_and_unit(page, result):
    top = page[: page.index("<h2")]
    assert "400–700 nm" in top
    assert FLUX_DENSITY in top
    figure = plane_statistics(result.planes["canopy-top"])
    assert with_error(figure.mean, figure.mean_std_err) in top
    walls = walls_share(result)
    assert percent(walls.value, walls.std_err) in top
    order = [page.index(f"<h2>{name}") for name in ("What each layer", "Light on", "Where the")]
    assert order == sorted(order)


@pytest.mark.parametrize("field", ["title", "groups", "lining", "text", "versions"])
def test_text_of_the_user_stays_text(field, picture):
    given = {
        "title": {"title": EVIL},
        "groups": {"groups": (EVIL, "b")},
        "lining": {"meta": {"settings": {"lining": EVIL, "width_m": 1.0}}},
        "text": {"meta": {"scene_text": EVIL}},
        "versions": {"meta": {"versions": {"numpy": EVIL}}},
    }[field]
    page = page_text(fake_result(**given, planes=("canopy-top",)), picture)
    reader = read(page)
    assert "script" not in reader.tags
    assert "<script" not in page.lower()
    assert "&lt;script&gt;" in page
    # A dollar sign is a dollar sign, in the drawings too.
    assert "x_1" in page


def test_names_in_any_script_can_be_drawn():
    page = page_text(fake_result(title="唐辛子 פלפל", groups=("上", "side"), planes=()))
    read(page)
    assert "唐辛子" in page


def test_scene_file_comes_back_to_the_letter(page, result):
    inside = page[page.index("<pre>") + 5 : page.index("</pre>")]
    assert html.unescape(inside) == result.scene_text


def test_equal_results_give_equal_bytes(tmp_path, picture, page):
    again = write_report(fake_result(), tmp_path, picture).read_bytes()
    assert again == page.encode("utf-8")
    assert [path.name for path in tmp_path.iterdir()] == ["report.html"]


def test_failed_report_leaves_the_old_one(tmp_path):
    path = tmp_path / "report.html"
    path.write_text("the old one")
    short = fake_result(planes=(), with_plants=False)
    with pytest.raises(FileNotFoundError):
        write_report(short, tmp_path, tmp_path / "no-such.png")
    assert path.read_text() == "the old one"
    assert [p.name for p in tmp_path.iterdir()] == ["report.html"]


def test_partial_runs_say_so(result, page):
    assert "Partial run" not in page
    assert "Partial run" not in shown(result)
    stopped = fake_result(stopped_by="interrupted", planes=())
    page = page_text(stopped)
    assert "Partial run" in page[: page.index("<h2")]
    assert "it was interrupted" in page
    assert "Partial run" in shown(stopped)


@pytest.mark.parametrize("reason", ["packet budget", "time budget"])
def test_stop_reason_is_told(reason):
    short = fake_result(stopped_by=reason, planes=(), with_plants=False)
    assert f"the {reason} was used up" in page_text(short)
    assert f"the {reason} was used up" in shown(short)


def test_without_canopy_or_planes_there_is_still_a_page(tmp_path):
    bare = fake_result(with_plants=False)
    page = page_text(bare)
    tables = " ".join(read(page).tables)
    assert "layer" not in tables
    assert "Where the photons ended" in tables
    assert "Light on a plane" in page
    assert [path.name for path in write_tables(bare, tmp_path)] == [
        "map-canopy-top.csv",
        "map-floor-level.csv",
    ]
    bare.planes.clear()
    read(page_text(bare))
    shown(bare)
    with pytest.raises(ValueError, match="no canopy"):
        write_layers_csv(bare, tmp_path / "layers.csv")


def test_one_layer_one_group_one_cell_is_enough():
    small = fake_result(n_layer=1, groups=("bar",), n_cell=(1, 1))
    page = page_text(small)
    read(page)
    assert "Launched by bar, " in re.sub(r"</?span[^>]*>", "", page)
    shown(small)


# Figures shown are the result's -----------------------------------------------------------------


def number(cell: str) -> tuple[float, float]:
    """Value and error of a cell such as "61.3 ± 0.2 %"."""
    value, error = cell.replace("−", "-").removesuffix(" %").split(" ± ")
    return float(value), float(error)


def agrees(cell: str, value: float, error: float) -> bool:
    """Whether a cell shows a value and its error, within the rounding of the error."""
    shown_value, shown_error = number(cell)
    return abs(shown_value - value) <= 0.2 * error and shown_error == pytest.approx(error, rel=0.2)


def test_layer_table_shows_the_result(page, result):
    table = read(page).tables["What each layer absorbs, 400–700 nm, all lights"]
    assert len(table) == 1 + result.layers.sizes["layer"]
    launched = float(result.launched.sel(group="all", band="400-700"))
    for layer, row in zip(result.layers["layer"].values, table[1:], strict=True):
        here = result.layers.sel(layer=layer, group="all", band="400-700", side="both")
        assert row[0].split()[0] == str(layer)
        assert agrees(
            row[1],
            float(here["absorbed_per_leaf_area"]),
            float(here["absorbed_per_leaf_area_std_err"]),
        )
        assert agrees(
            row[2],
            100 * float(here["absorbed_umol_s"]) / launched,
            100 * float(here["absorbed_std_err"]) / launched,
        )
        assert row[3] == f"{100 * float(here['z_bottom_m']):g}–{100 * float(here['z_top_m']):g}"
        assert float(row[5]) == pytest.approx(float(here["cumulative_lai"]), abs=0.005)


def test_group_and_band_tables_show_the_result(page, result):
    tables = read(page).tables
    layers = result.layers.sel(side="both")
    (by_group,) = (t for name, t in tables.items() if "by lights" in name)
    assert by_group[0] == ["Layer", "top bars", "side bars", "all lights"]
    (far_red,) = (t for name, t in tables.items() if name.startswith("Far-red"))
    assert far_red[0] == ["Layer", "700–750 nm", "750–800 nm"]
    (other,) = (t for name, t in tables.items() if name.startswith("Other"))
    assert other[0][4:] == ["400–700 nm", "400–750 nm", "700–800 nm"]
    for layer in (0, -1):
        for column, group in enumerate(["top bars", "side bars", "all"], 1):
            here = layers.isel(layer=layer).sel(group=group, band="400-700")
            value, error = (float(here[f"absorbed_per_leaf_area{end}"]) for end in ("", "_std_err"))
            assert agrees(by_group[1:][layer][column], value, error)
        for column, band in enumerate(["700-750", "750-800"], 1):
            here = layers.isel(layer=layer).sel(group="all", band=band)
            value, error = (float(here[f"absorbed_per_leaf_area{end}"]) for end in ("", "_std_err"))
            assert agrees(far_red[1:][layer][column], value, error)


def test_ends_table_shows_the_result_and_adds_up(page, result):
    (table,) = (t for name, t in read(page).tables.items() if name.startswith("Where"))
    shown_rows = {row[0]: row[1:] for row in table[1:]}
    here = result.ends.sel(group="all", end="leaves")
    assert agrees(
        shown_rows["leaves"][0],
        100 * float(here["share"].sel(band="400-700")),
        100 * float(here["share_std_err"].sel(band="400-700")),
    )
    assert agrees(
        shown_rows["leaves"][1],
        float(here["flux_umol_s"].sel(band="400-700")),
        float(here["std_err"].sel(band="400-700")),
    )
    assert "correction: roulette" in shown_rows
    # Nothing was lost, and an empty place takes no row.
    assert not any("untraced" in name for name in shown_rows)
    total = sum(number(row[0])[0] for row in shown_rows.values())
    assert total == pytest.approx(100.0, abs=0.2)


def test_untraced_photons_are_named(result):
    assert rows.untraced(result) == "none"
    lost = fake_result(planes=(), with_plants=False)
    lost.ends["flux_umol_s"].loc[{"end": "untraced", "group": "all"}] = 1e-4
    lost.ends["share"].loc[{"end": "untraced", "group": "all"}] = 2e-7
    assert rows.untraced(lost) == "0.0000200 % (400–700 nm)"
    assert "lost by the program" in page_text(lost)


def shown(result) -> str:
    from rich.console import Console

    text = io.StringIO()
    Console(file=text, width=120).print(summary_text(result, Path("results/tent")))
    return text.getvalue()


def test_terminal_says_the_same_in_growers_words(result):
    text = shown(result)
    lowest = result.layers.isel(layer=-1).sel(group="all", band="400-700", side="both")
    value = with_error(
        float(lowest["absorbed_per_leaf_area"]), float(lowest["absorbed_per_leaf_area_std_err"])
    )
    assert f"What the lowest leaves get: {value} {FLUX_DENSITY}" in text
    for wanted in (
        "PPFD on the planes, 400–700 nm",
        "What each layer absorbs, 400–700 nm",
        "Far-red, apart",
        "700–750 nm",
        "What the walls cost",
        "Where the photons ended",
        "the target error was reached",
        "12.6 million photon packets",
        "Standard error reached",
        "results/tent/report.html",
    ):
        assert wanted in text


def test_terminal_shows_markup_as_it_is():
    text = shown(fake_result(title="[bold]tent[/bold] [/]", groups=("[red]", "b")))
    assert "[bold]tent[/bold] [/]" in text
    assert "[red]" in text


@pytest.mark.parametrize("width", [60, 80, 120])
def test_terminal_never_breaks_a_number(width):
    from rich.console import Console

    many = fake_result(groups=("top bars", "side bars", "window", "lamp in the corner"))
    text = io.StringIO()
    Console(file=text, width=width).print(summary_text(many))
    lines = text.getvalue().splitlines()
    assert max(len(line) for line in lines) <= width
    assert "…" not in text.getvalue()
    assert not any(line.rstrip().endswith("±") for line in lines)
    for table in (rows.group_table(many.layers, many.groups), rows.ends_table(many)):
        for cell in (cell for row in table.rows for cell in row[1:]):
            assert any(cell in line for line in lines)


def test_columns_are_packed_in_order():
    assert packed([20, 10, 10, 10], 36) == [[1, 2, 3]]
    assert packed([20, 10, 10, 10], 35) == [[1, 2], [3]]
    assert packed([20, 90, 10], 38) == [[1], [2]]


def test_figures_name_band_and_unit(result):
    profile = figures.layer_profile(result)
    assert f"({FLUX_DENSITY}, 400–700 nm)" in profile
    share = figures.layer_share(result)
    assert "400–700 nm" in share and "700–800 nm" in share and "(%)" in share
    ends = figures.ends_bars(result)
    assert "400–700 nm" in ends and "700–800 nm" in ends and "(%)" in ends
    for name in result.planes:
        drawn = figures.plane_map(result, name)
        assert f"PPFD ({FLUX_DENSITY}, 400–700 nm)" in drawn
        stamp = " ".join(re.findall(r">([^<]+)</text>", drawn))
        stamp = " ".join(stamp.split())
        for wanted in ("120 × 100 × 200 cm", "matt white film", "24 × 20 cells", "with plants"):
            assert wanted in stamp


def test_map_has_one_colour_for_each_cell_with_the_front_below(result):
    """The picture inside the map has the cells' own size, x to the right and y upwards."""
    drawn = figures.plane_map(result, "canopy-top")
    found = re.search(
        r'href="data:image/png;base64,([^"]+)"[^>]*width="24" height="20"'
        r' transform="matrix\(([^ ]+) 0 0 ([^ ]+) ',
        drawn,
    )
    assert found is not None
    with Image.open(io.BytesIO(base64.b64decode(found[1]))) as image:
        cells = np.asarray(image.convert("RGB")).astype(int)
    at = {"group": "all", "band": "400-700", "direction": "down"}
    pfd = result.planes["canopy-top"]["pfd"].sel(at).values
    assert np.array_equal(cells, colormaps["viridis"](pfd / pfd.max(), bytes=True)[..., :3])
    # The first row of cells is the front; SVG counts downwards, so the picture stands on its head.
    assert float(found[2]) > 0 > float(found[3])


# Words ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "error", "text"),
    [
        (612.345, 1.234, "612.3 ± 1.2"),
        (612.345, 3.4, "612 ± 3"),
        (612.345, 34.0, "612 ± 34"),
        (0.01234, 0.00056, "0.0123 ± 0.0006"),
        (-0.5, 0.25, "−0.50 ± 0.25"),
        (10.0, 0.0999, "10.00 ± 0.10"),
        (-0.0004, 0.015, "0.000 ± 0.015"),
        (612.345, float("nan"), "612 ± ?"),
        (0.0, float("nan"), "none seen"),
        (float("nan"), float("nan"), "–"),
        (612.345, 0.0, "612.3 ± 0"),
    ],
)
def test_error_decides_the_digits(value, error, text):
    assert with_error(value, error) == text


def test_plain_numbers_for_reading():
    assert significant(0.0) == "0"
    assert significant(1234.5) == "1230"
    assert significant(0.04567) == "0.0457"
    assert percent(0.1234) == "12.3 %"
    assert percent(0.1234, 0.001) == "12.34 ± 0.10 %"
    assert percent(0.0, float("nan")) == "none seen"
    assert count(65536) == "65\N{NO-BREAK SPACE}536"
    assert count(12_582_912) == "12.6 million"
    assert count(3 * 10**9) == "3 thousand million"
    assert duration(48.37) == "48.4 s"
    assert duration(125.4) == "2 min 5 s"
    assert duration(7400.0) == "2 h 3 min"


# CSV --------------------------------------------------------------------------------------------


def table_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_layers_csv_reads_back(tmp_path, result):
    path = tmp_path / "layers.csv"
    write_layers_csv(result, path)
    table = table_of(path)
    layers = result.layers
    assert len(table) == layers.sizes["layer"] * layers.sizes["group"]
    for row in table:
        here = layers.sel(layer=int(row["layer"]), group=row["group"], side="both")
        assert float(row["z_top_m"]) == pytest.approx(float(here["z_top_m"]), rel=1e-8)
        assert float(row["leaf_area_m2"]) == pytest.approx(float(here["leaf_area_m2"]), rel=1e-8)
        for band in layers["band"].values:
            cell = here.sel(band=band)
            for column, variable in (
                (f"absorbed_{band}nm_umol_s", "absorbed_umol_s"),
                (f"absorbed_{band}nm_std_err_umol_s", "absorbed_std_err"),
                (f"absorbed_per_leaf_area_{band}nm_umol_m2_s", "absorbed_per_leaf_area"),
                (
                    f"absorbed_per_ground_area_{band}nm_std_err_umol_m2_s",
                    "absorbed_per_ground_area_std_err",
                ),
            ):
                assert float(row[column]) == pytest.approx(float(cell[variable]), rel=1e-8)


def test_map_csv_reads_back(tmp_path, result):
    plane = result.planes["canopy-top"]
    path = tmp_path / "map.csv"
    write_map_csv(plane, path)
    table = table_of(path)
    assert len(table) == plane.sizes["x"] * plane.sizes["y"]
    for row in (table[0], table[1], table[plane.sizes["x"]], table[-1]):
        here = plane.sel(x=float(row["x_m"]), y=float(row["y_m"]), method="nearest")
        for group in ("top bars", "all"):
            for direction in ("down", "up"):
                cell = here.sel(group=group, direction=direction, band="400-700")
                name = f"{group}_{direction}_400-700nm"
                assert float(row[f"{name}_umol_m2_s"]) == pytest.approx(
                    float(cell["pfd"]), rel=1e-8
                )
                assert float(row[f"{name}_std_err_umol_m2_s"]) == pytest.approx(
                    float(cell["pfd_std_err"]), rel=1e-8
                )


def test_csv_holds_no_formulas(tmp_path):
    odd = fake_result(groups=('=HYPERLINK("x")', "+1"))
    for path in write_tables(odd, tmp_path):
        with path.open(encoding="utf-8", newline="") as file:
            for row in csv.reader(file):
                assert not any(cell[:1] in "=+@" and cell for cell in row)


# Analysis ---------------------------------------------------------------------------------------


def test_plane_statistics_by_hand(result):
    plane = result.planes["canopy-top"].copy(deep=True).isel(x=slice(0, 2), y=slice(0, 2))
    at = {"group": "all", "band": "400-700", "direction": "down"}
    plane["pfd"].loc[at] = [[100.0, 120.0], [80.0, 100.0]]
    plane["pfd_std_err"].loc[at] = [[3.0, 4.0], [5.0, 6.0]]
    plane["mean"].loc[at] = 100.0
    plane["mean_std_err"].loc[at] = 2.0
    figure = plane_statistics(plane)
    assert (figure.n_cell, figure.mean, figure.mean_std_err) == (4, 100.0, 2.0)
    assert (figure.minimum, figure.minimum_std_err) == (80.0, 5.0)
    assert (figure.maximum, figure.maximum_std_err) == (120.0, 4.0)
    assert figure.min_over_mean == 0.8
    assert figure.min_over_max == pytest.approx(2 / 3)
    assert figure.coefficient_of_variation == pytest.approx(np.sqrt(800 / 3) / 100)
    assert figure.variation_without_noise == pytest.approx(np.sqrt(800 / 3 - 86 / 4) / 100)
    assert figure.cell_std_err == pytest.approx(np.sqrt(86 / 4))
    # Without the mean's own error there is none to be had from the cells.
    bare = plane_statistics(plane.drop_vars(["mean", "mean_std_err"]))
    assert bare.mean == 100.0
    assert np.isnan(bare.mean_std_err)


def test_plane_that_nothing_reached():
    dark = fake_result(n_cell=(3, 2)).planes["canopy-top"]
    dark = dark * 0.0
    dark["pfd_std_err"][:] = np.nan
    figure = plane_statistics(dark)
    assert figure.mean == 0.0
    assert np.isnan(figure.min_over_mean)
    assert np.isnan(figure.cell_std_err)
    assert np.isnan(figure.variation_without_noise)


def test_cumulative_share_ends_at_one(result):
    curve = cumulative_share(result.layers)
    assert curve.lai[0] == 0.0 and curve.share[0] == 0.0
    assert curve.share[-1] == pytest.approx(1.0)
    assert np.all(np.diff(curve.share) > 0.0)
    first = result.layers.sel(group="all", band="400-700", side="both")["absorbed_umol_s"]
    assert curve.share[1] == pytest.approx(float(first[0] / first.sum()))


def test_lower_half_by_interpolation(result):
    """The share below a level is that of the whole layers below it and a fraction of one layer."""
    area = result.layers["leaf_area_m2"].values
    here = result.layers.sel(group="all", band="400-700", side="both")
    absorbed = here["absorbed_umol_s"].values
    edges = np.insert(np.cumsum(area), 0, 0.0)
    above = np.interp(area.sum() / 2, edges, np.insert(np.cumsum(absorbed), 0, 0.0))
    half = lower_half_share(result)
    assert half.value == pytest.approx(1 - above / absorbed.sum(), rel=1e-6)
    assert 0.0 < half.std_err < 0.01
    # One layer that is even over its leaf area gives its lower half exactly half.
    assert lower_half_share(fake_result(n_layer=1)).value == pytest.approx(0.5)
    assert lower_half_share(fake_result(n_layer=1)).std_err == pytest.approx(0.0, abs=1e-15)


def test_walls_are_summed_with_what_varies_together(result):
    walls = walls_share(result)
    names = [end for end in OTHER_ENDS if is_wall(end)]
    assert names == ["ceiling", "front", "back", "left", "right", "patch 1 of the back (duct)"]
    here = result.ends.sel(end=names, group="all", band="400-700")
    assert walls.value == pytest.approx(float(here["share"].sum()), rel=1e-9)
    assert walls.std_err <= float(here["share_std_err"].sum()) * (1 + 1e-9)
    # If every wall gains in the same batches, the errors add up in full.
    tied = fake_result()
    quanta = tied.rows["absorbed"].values
    quanta[:] = (1000 + np.arange(len(quanta)))[:, None, None, None]
    per_batch = absorbed_per_batch(tied, np.ones(quanta.shape[2]))
    single = absorbed_per_batch(tied, np.eye(quanta.shape[2])[0])
    assert mean(per_batch).std_err == pytest.approx(mean(single).std_err * quanta.shape[2])


def test_books_of_one_group_and_band(result):
    leaves = (result.rows["sink_end"].values == "leaves").astype(float)
    for group in ("top bars", "all"):
        for band in ("400-500", "400-700", "700-800"):
            flux = mean(absorbed_per_batch(result, leaves, band=band, group=group))
            here = result.ends.sel(end="leaves", group=group, band=band)
            assert flux.value == pytest.approx(float(here["flux_umol_s"]), rel=1e-9)
            assert flux.std_err == pytest.approx(float(here["std_err"]), rel=1e-9)
    assert in_band(BANDS, "400-750").tolist() == [True, True, True, True, False]


def test_error_of_a_ratio_covers():
    """Standardised errors of ratios with covariance have the spread of Student's t."""
    rng = np.random.default_rng(11)
    z = []
    for _ in range(400):
        common = rng.normal(10.0, 1.0, 64)
        got = ratio(0.5 * common + rng.normal(0.0, 0.1, 64), common)
        z.append((got.value - 0.5) / got.std_err)
    # Four standard errors of a mean and of a variance of 400 values.
    assert abs(np.mean(z)) < 4 / np.sqrt(400)
    assert np.var(z) == pytest.approx(64 / 61, abs=4 * np.sqrt(2 / 400))


def test_one_batch_has_no_error():
    assert np.isnan(mean(np.array([3.0])).std_err)
    assert np.isnan(mean(np.zeros(5)).std_err)
    assert np.isnan(ratio(np.zeros(5), np.zeros(5)).value)


def test_conditions_and_settings_are_complete(page, result):
    pairs = dict(condition_rows(result))
    assert pairs["Enclosure, width × depth × height"] == "120 × 100 × 200 cm"
    assert pairs["Plants"] == "yes"
    assert pairs["Target: relative standard error"] == "layers 1.00 %"
    assert pairs["Packet budget"] == "200 million"
    assert pairs["Canopy height, cm"] == "90"
    launched = float(result.launched.sel(group="all", band="400-700"))
    assert pairs["Launched by all lights, 400–700 nm"] == f"{launched:.1f} µmol s⁻¹"
    assert float(pairs["Ground area, m²"]) == GROUND
    for value in pairs.values():
        assert html.escape(value) in re.sub(r"</?span[^>]*>", "", page)
    assert result.digest in page
