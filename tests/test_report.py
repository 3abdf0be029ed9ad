"""The report: figures shown are the result's, pages are self-contained, text stays text."""

from __future__ import annotations

import base64
import csv
import html
import io
import itertools
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from fake_result import GROUND, OTHER_ENDS, fake_result
from matplotlib import colormaps
from PIL import Image
from scipy import stats

from canopysim.analysis import ends
from canopysim.analysis.books import (
    absorbed_per_batch,
    launched,
    mean,
)
from canopysim.analysis.far_red import far_red_bands, far_red_span, red_to_far_red
from canopysim.analysis.planes import plane_statistics
from canopysim.report import figures, rows
from canopysim.report.accuracy import batch_note, reached_errors
from canopysim.report.conditions import condition_rows, record_rows
from canopysim.report.ends import ends_table, walls_parts, walls_text
from canopysim.report.fitted_table import FittedTable, heading_width, packed
from canopysim.report.page import CAUTIONS, page_text, write_report
from canopysim.report.progress import describe
from canopysim.report.rows import Table
from canopysim.report.summary import summary_text
from canopysim.report.tables import write_layers_csv, write_map_csv, write_tables
from canopysim.report.words import (
    FLUX_DENSITY,
    count,
    duration,
    percent,
    percent_within,
    significant,
    with_error,
)
from canopysim.tallies.stop import MIN_BATCH, Progress

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
        "Far-red: absorbed per leaf area, by lights",
        "Other wavebands",
        "Light on the planes",
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
    walls = ends.share_at(result, ends.is_wall)
    assert percent(walls.value, walls.std_err) in top
    red = red_to_far_red(result, "canopy-top")
    assert with_error(red.value, red.std_err) in top
    assert "600–700 over 700–800 nm" in re.sub(r"</?span[^>]*>", "", top)
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
    (by_group,) = (
        t for name, t in tables.items() if name.startswith("Absorbed per leaf area by lights")
    )
    assert by_group[0] == ["Layer", "top bars", "side bars", "all lights"]
    (far_red,) = (t for name, t in tables.items() if name.startswith("Far-red"))
    lights = ["top bars", "side bars", "all lights"]
    both = [f"{name}, {band} nm" for name in lights for band in ("700–750", "750–800")]
    assert far_red[0] == ["Layer", *both, "all lights, 700–800 nm"]
    (other,) = (t for name, t in tables.items() if name.startswith("Other"))
    assert other[0][4:] == ["400–700 nm", "400–750 nm"]
    for layer in (0, -1):
        for column, group in enumerate(["top bars", "side bars", "all"], 1):
            here = layers.isel(layer=layer).sel(group=group, band="400-700")
            value, error = (float(here[f"absorbed_per_leaf_area{end}"]) for end in ("", "_std_err"))
            assert agrees(by_group[1:][layer][column], value, error)
        wanted = [(g, b) for g in ("top bars", "side bars", "all") for b in ("700-750", "750-800")]
        for column, (group, band) in enumerate([*wanted, ("all", "700-800")], 1):
            here = layers.isel(layer=layer).sel(group=group, band=band)
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
    assert not any("correction" in name for name in shown_rows)
    # Nothing was lost, and an empty place takes no row.
    assert not any("untraced" in name for name in shown_rows)
    total = sum(number(row[0])[0] for row in shown_rows.values())
    mask = ends.sink_mask(result, ends.is_correction)
    taken = mean(absorbed_per_batch(result, mask))
    added, error = -100 * taken.value / launched(result), 100 * taken.std_err / launched(result)
    assert total == pytest.approx(100.0 + added, abs=0.02)
    note = ends_table(result).note
    assert agrees(note[note.index("add, ") + 5 : note.index(" (400–700 nm)")], added, error)


def test_untraced_photons_are_named(result):
    record = dict(record_rows(result))
    assert record["Lost by the program (untraced), 400–700 nm"] == "none"
    lost = fake_result(planes=(), with_plants=False)
    sink = [end.kind for end in ends.sinks_of(lost)].index("untraced")
    lost.rows["absorbed"][:, :, sink] = 100
    lost.ends["flux_umol_s"].loc[{"end": "untraced"}] = 1e-4
    assert dict(record_rows(lost))["Lost by the program (untraced), 400–700 nm"].endswith(" %")
    assert "lost by the program (untraced)" in {row[0] for row in ends_table(lost).rows}


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
        "Light on the planes, 400–700 nm",
        "What each layer absorbs, 400–700 nm",
        "Far-red: absorbed per leaf area, by lights",
        "750–800 nm",
        "Red:far-red on canopy-top",
        "600–700 over 700–800 nm",
        "The lower half of the leaf area",
        "What the walls cost",
        "Where the photons ended",
        "the target error was reached",
        "1.05 million photon packets",
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
    for table in (rows.group_table(many), rows.far_red_table(many), ends_table(many)):
        for cell in (cell for row in table.rows for cell in row[1:]):
            assert any(cell in line for line in lines)


def test_wide_terminal_has_each_heading_on_one_line(result):
    from rich.console import Console

    text = io.StringIO()
    Console(file=text, width=200).print(summary_text(result))
    lines = text.getvalue().splitlines()
    assert max(len(line) for line in lines) > 120
    for table in (
        rows.plane_table(result, brief=True),
        rows.layer_table(result, result.layers),
        rows.group_table(result),
        rows.far_red_table(result),
        ends_table(result),
    ):
        assert any(all(heading in line for heading in table.columns) for line in lines)


def test_headings_fold_between_words_and_keep_their_units():
    assert heading_width("Leaf area, m²", 1) == 13
    assert heading_width("Leaf area, m²", 2) == 8
    assert heading_width(f"Flux, 400–700 nm, {FLUX_DENSITY}", 3) == len(FLUX_DENSITY)
    assert heading_width("Share, 400–700 nm", 9) == len("400–700 nm")


def test_columns_are_packed_in_order():
    assert packed([20, 10, 10, 10], 36) == [[1, 2, 3]]
    assert packed([20, 10, 10, 10], 35) == [[1, 2], [3]]
    assert packed([20, 90, 10], 38) == [[1], [2]]


@pytest.mark.parametrize("width", [24, 40, 60, 80])
def test_row_names_stay_beside_a_column_wider_than_the_window(width):
    from rich.console import Console

    wide = " ".join(["words"] * 30)
    columns = ("Name", "A", "A wide one", "B")
    rows = (("first row", "1.0 ± 0.2", wide, "3"), ("second", "2", "short", "4"))
    console = Console(width=width, file=io.StringIO())
    console.print(FittedTable(Table("Caption", columns, rows, "")))
    text = console.file.getvalue()
    assert max(map(len, text.splitlines())) <= width
    assert text.count("first row") == text.count("second") >= 2
    assert text.count("words") == 30
    assert "1.0 ± 0.2" in text


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
    # Attributes in any order: it differs between versions of matplotlib.
    images = [
        dict(re.findall(r'([\w:-]+)="([^"]*)"', tag))
        for tag in re.findall(r"<image\b[^>]*>", drawn)
    ]
    (found,) = (tag for tag in images if (tag["width"], tag["height"]) == ("24", "20"))
    data = found["href"].removeprefix("data:image/png;base64,")
    with Image.open(io.BytesIO(base64.b64decode(data))) as image:
        cells = np.asarray(image.convert("RGB")).astype(int)
    at = {"group": "all", "band": "400-700", "direction": "down"}
    pfd = result.planes["canopy-top"]["pfd"].sel(at).values
    assert np.array_equal(cells, colormaps["viridis"](pfd / pfd.max(), bytes=True)[..., :3])
    # The first row of cells is the front; SVG counts downwards, so the picture stands on its head.
    matrix = re.search(r"matrix\(([^)]*)\)", found["transform"])
    assert matrix is not None
    right, _, _, down = (float(part) for part in re.split(r"[ ,]+", matrix[1])[:4])
    assert right > 0 > down


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
        (612.345, float("nan"), "612"),
        (0.0, float("nan"), "none seen"),
        (float("nan"), float("nan"), "–"),
        (612.345, 0.0, "612.3 ± 0"),
        (0.0, 0.0, "0"),
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
    assert count(999_999_488) == "1 thousand million"
    assert count(999_400_000) == "999 million"
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
    write_map_csv(result, "canopy-top", path)
    table = table_of(path)
    assert len(table) == plane.sizes["x"] * plane.sizes["y"]
    for row in (table[0], table[1], table[plane.sizes["x"]], table[-1]):
        here = plane.sel(x=float(row["x_m"]), y=float(row["y_m"]), method="nearest")
        for group in ("top bars", "all"):
            for direction, band in itertools.product(("down", "up"), ("400-700", "700-800")):
                cell = here.sel(group=group, direction=direction, band=band)
                name = f"{group}_{direction}_{band}nm"
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


def test_cost_of_the_walls_states_its_scope_everywhere(result, page):
    def share(kind: str, floor: bool) -> float:
        names = [n for n, (_, k, f) in OTHER_ENDS.items() if k in kind and (f == "floor") == floor]
        return float(result.ends["share"].sel(end=names, group="all", band="400-700").sum())

    walls, floor, escaped = walls_parts(result)
    assert number(walls)[0] == pytest.approx(100 * share("face patch", False), abs=0.01)
    assert number(floor)[0] == pytest.approx(100 * share("face patch", True), abs=0.01)
    assert number(escaped)[0] == pytest.approx(100 * share("escape", False), abs=0.01)
    sentence = (
        f"walls and ceiling with their patches: {walls}; floor: {floor}; escaped through "
        f"openings: {escaped} (of launched photons, 400–700 nm)"
    )
    assert walls_text(result) == sentence
    assert f"What the walls cost: {sentence}" in " ".join(shown(result).split())
    plain = re.sub(r"<[^>]*>", " ", page)
    assert "400–700 nm : walls and ceiling with their patches" in plain
    assert f"escaped through openings: {escaped}" in re.sub(r"</?span[^>]*>", "", page)
    closed = fake_result()
    closed.rows["sink_kind"].values[closed.rows["sink_kind"].values == "escape"] = "body"
    assert walls_parts(closed)[2] == "0, as nothing is open"


def test_beyond_800_nm_is_not_far_red():
    """A band from 750 to 850 nm is shown by its range, and the ratio cannot be told."""
    beyond = fake_result()
    places = [beyond.launched, beyond.layers, beyond.ends, *beyond.planes.values()]
    for labelled in places:
        high = labelled["high_nm"].values.copy()
        high[high == 800.0] = 850.0
        labelled["high_nm"] = ("band", high)
    assert far_red_bands(beyond) == ["700-750"]
    assert far_red_span(beyond) == (700.0, 750.0)
    assert np.isnan(red_to_far_red(beyond, "canopy-top").value)
    assert rows.far_red_table(beyond).columns[1:] == (
        "top bars, 700–750 nm",
        "side bars, 700–750 nm",
        "all lights, 700–750 nm",
    )
    assert "750–800 nm" in rows.other_bands_table(beyond).columns
    table = rows.plane_table(beyond)
    assert table.columns[2:5] == ("Mean", "Far-red mean, 700–750 nm", "Least cell")
    assert "needs edges of wavebands at 600 and 800 nm" in table.note
    read(page_text(beyond))


# Far-red on the planes --------------------------------------------------------------------------


def test_plane_table_shows_far_red_and_its_ratio(result, page):
    (table,) = (t for name, t in read(page).tables.items() if name.startswith("Light on"))
    heading = table[0]
    assert heading[3:5] == ["Far-red mean, 700–800 nm", "Red:far-red, 600–700 over 700–800 nm"]
    for row in table[1:]:
        name = row[0].split(",")[0]
        group, direction = row[1].rsplit(", ", 1)
        at = {"group": group.replace("all lights", "all"), "direction": direction}
        mean_of = result.planes[name].sel(at).sel(band="700-800")
        assert agrees(row[3], float(mean_of["mean"]), float(mean_of["mean_std_err"]))
        red = float(result.planes[name]["mean"].sel(at).sel(band="600-700"))
        got = red_to_far_red(result, name, **at)
        assert got.value == pytest.approx(red / float(mean_of["mean"]), rel=1e-9)
        assert agrees(row[4], got.value, got.std_err)
        figure = plane_statistics(result.planes[name], **at)
        assert row[heading.index("CV without noise")] == percent(figure.variation_without_noise)


# Lights that emit nothing -----------------------------------------------------------------------


@pytest.fixture(scope="module")
def dim():
    """The side bars are off, and no light emits far-red."""
    return fake_result(output=(1.0, 0.0), flux=(154.0, 140.0, 336.0, 0.0, 0.0))


def test_what_is_not_emitted_is_zero_and_not_unseen(dim):
    table = rows.group_table(dim)
    assert [row[2] for row in table.rows] == ["0"] * len(table.rows)
    assert all(number(row[1])[0] > 0 for row in table.rows)
    assert table.note == rows.EMITS_NONE
    assert {cell for row in rows.far_red_table(dim).rows for cell in row[1:]} == {"0"}
    by_light = {row[1]: row for row in rows.plane_table(dim).rows[:4]}
    assert by_light["side bars, down"][2:7] == ("0", "0", "–", "0", "0")
    assert by_light["top bars, down"][3:5] == ("0", "–")
    assert len(ends_table(dim).columns) == 3
    assert "none seen" not in page_text(dim) + shown(dim)
    assert dict(condition_rows(dim))["Launched by side bars, 400–700 nm"] == "0 µmol s⁻¹"


def test_what_is_emitted_but_not_found_is_not_zero():
    unseen = fake_result()
    here = {"group": "side bars", "layer": 4, "side": "both"}
    unseen.layers["absorbed_per_leaf_area"].loc[here] = 0.0
    unseen.layers["absorbed_per_leaf_area_std_err"].loc[here] = np.nan
    table = rows.group_table(unseen)
    assert table.rows[-1][2] == "none seen"
    assert table.note == ""


def test_legends_name_only_lights_that_shine(dim, result):
    for drawn, sides, far_red in (
        (figures.layer_profile(result) + figures.layer_share(result), True, True),
        (figures.layer_profile(dim) + figures.layer_share(dim), False, False),
    ):
        assert ">top bars</text>" in drawn
        assert (">side bars</text>" in drawn) is sides
        assert (">700–800 nm</text>" in drawn) is far_red
    assert ">700–800 nm</text>" not in figures.ends_bars(dim)


def test_csv_knows_an_error_of_zero_only_where_nothing_is_launched(dim, tmp_path):
    dim.layers["absorbed_std_err"].loc[{"group": "top bars", "layer": 1}] = np.nan
    write_layers_csv(dim, tmp_path / "layers.csv")
    for row in table_of(tmp_path / "layers.csv"):
        dark, known = row["group"] == "side bars", row["layer"] != "1"
        for quantity in ("absorbed_{}_umol_s", "absorbed_per_leaf_area_{}_umol_m2_s"):
            value = row[quantity.format("400-700nm")]
            error = row[quantity.format("400-700nm_std_err")]
            assert (float(value) == 0.0) is dark
            assert (error == "0") is dark
        assert (row["absorbed_400-700nm_std_err_umol_s"] == "nan") is (
            row["group"] == "top bars" and not known
        )
        assert row["absorbed_700-750nm_std_err_umol_s"] == "0"
    write_map_csv(dim, "canopy-top", tmp_path / "map.csv")
    for row in table_of(tmp_path / "map.csv"):
        assert row["side bars_down_400-700nm_std_err_umol_m2_s"] == "0"
        assert row["top bars_down_700-800nm_std_err_umol_m2_s"] == "0"
        assert float(row["top bars_down_400-700nm_std_err_umol_m2_s"]) > 0.0


# Few batches ------------------------------------------------------------------------------------


def test_one_batch_says_that_it_has_no_errors():
    single = fake_result(n_batch=1)
    advice = (
        "One batch gives no standard error; trace at least two (131\N{NO-BREAK SPACE}072 packets)"
    )
    assert batch_note(single) == f"{advice}."
    assert reached_errors(single) == [advice.replace("One", "one")]
    page, text = page_text(single), " ".join(shown(single).split())
    for said in (re.sub(r"<[^>]*>", "", page), text):
        assert " ".join(advice.split()) in " ".join(said.split())
        assert "not reached" not in said
        assert "±" not in said.replace("the ± is the error of the trace alone", "")
    value = float(single.planes["canopy-top"]["mean"].sel(group="all", band="400-700")[0])
    assert significant(value) in page


def test_layers_without_any_meeting_are_told_from_layers_without_errors():
    dark = fake_result(n_layer=4)
    at = {"layer": [3, 4], "group": "all"}
    for name in ("absorbed_umol_s", "absorbed_std_err"):
        dark.layers[name].loc[at] = 0.0 if name == "absorbed_umol_s" else np.nan
    dark.layers["n_meeting"].loc[at] = 0
    assert "(2 not reached by any photon)" in reached_errors(dark)[0]
    # Met by other light only, and without leaves.
    dark.layers["n_meeting"].loc[{"layer": 3}] = 5
    dark.layers["leaf_area_m2"].loc[{"layer": 4}] = 0.0
    (line,) = (line for line in reached_errors(dark) if line.startswith("layers"))
    assert line.endswith("absorption (1 without leaves) (1 by none of 400–700 nm)")
    assert "not reached" not in reached_errors(fake_result())[0]


def test_few_batches_are_called_rough():
    note = batch_note(fake_result(n_batch=2, planes=()))
    assert note == (
        "Each ± comes from 2 batches only and is itself rough: uncertain by about 71 %."
    )
    page = page_text(fake_result(n_batch=2, planes=()))
    assert note in re.sub(r"<[^>]*>", "", page[: page.index("<h2")])
    assert batch_note(fake_result(n_batch=MIN_BATCH, planes=())) == ""


def test_roughness_of_an_error_from_few_batches(p_fail):
    """The relative spread of a standard error from n normal batches is about 1/√(2(n − 1))."""
    n, n_run = 16, 4000
    errors = np.random.default_rng(5).normal(size=(n_run, n)).std(axis=1, ddof=1)
    spread = errors.std() / errors.mean()
    bound = stats.norm.isf(p_fail / 2) / np.sqrt(2 * n_run)
    assert np.sqrt(0.5 / (n - 1)) == pytest.approx(spread, rel=bound + 0.02)
    assert "about 18 %" in batch_note(fake_result(n_batch=n, planes=()))


@pytest.mark.parametrize(
    ("share", "error", "text"),
    [
        (2.7e-5, 4e-6, "0.0027 ± 0.0004 %"),
        (-2.7e-5, 4e-6, "−0.0027 ± 0.0004 %"),
        (2.7e-9, 4e-9, "under 0.0001 %"),
        (2.7e-5, 4e-9, "0.0027 %, ± under 0.0001 %"),
        (2.7e-9, 4e-5, "0.000 ± 0.004 %"),
        (2.7e-5, float("nan"), "0.0027 %"),
        (float("nan"), float("nan"), "–"),
    ],
)
def test_no_digits_below_the_resolution_of_a_table(share, error, text):
    assert percent_within(share, error, 4) == text


def test_progress_guesses_no_time_before_two_batches_give_an_error():
    nan = float("nan")

    def line(n_batch: int, rel_err: float, limiting: str = "layer 8") -> str:
        return describe(Progress(65536 * n_batch, n_batch, 2.0, limiting, rel_err, 0.01, 2e8))

    assert "left" not in line(1, nan)
    assert "not yet known" in line(1, nan)
    # One batch has no error whatever it says; one that nothing reached has none after many.
    assert "left" not in line(1, 0.1)
    assert "left" not in line(50, nan)
    assert "; about " in line(2, 0.1)
    assert line(2, 0.1).endswith(" left")
    # Without a target the budget is what is left.
    assert "left" in line(2, nan, "")
    assert "left" not in line(1, nan, "")


def test_conditions_and_settings_are_complete(page, result):
    pairs = dict(condition_rows(result))
    assert pairs["Enclosure, width × depth × height"] == "120 × 100 × 200 cm"
    assert pairs["Plants"] == "yes"
    assert pairs["Target: relative standard error"] == "layers 1.00 %"
    assert pairs["Packet budget"] == "200 million"
    assert pairs["Canopy height, cm"] == "90"
    for group in ("all", "top bars", "side bars"):
        for band in ("400-700", "700-800"):
            flux = float(result.launched.sel(group=group, band=band))
            name = f"Launched by {group.replace('all', 'all lights')}, {band.replace('-', '–')} nm"
            assert pairs[name] == f"{significant(flux, 4)} µmol s⁻¹"
    assert float(pairs["Ground area, m²"]) == GROUND
    for value in pairs.values():
        assert html.escape(value) in re.sub(r"</?span[^>]*>", "", page)


def test_jargon_is_folded_away_for_the_record(page, result):
    record = dict(record_rows(result))
    assert record["Digest of the inputs"] == result.digest
    assert record["Batches"] == "16"
    assert record["Packets in a batch"] == "65\N{NO-BREAK SPACE}536"
    assert record["Triangles in the scene"] == "35\N{NO-BREAK SPACE}808"
    assert record["Target: absolute floor, share of launched 400–700 nm photons"] == "0.0100 %"
    here = result.ends.sel(end="roulette", group="all", band="700-800")
    assert agrees(
        record["Correction: roulette, 700–800 nm"],
        100 * float(here["share"]),
        100 * float(here["share_std_err"]),
    )
    start = page.index("<details><summary>For the record</summary>")
    inside = page[start : page.index("</details>", start)]
    before = page[:start]
    plain = re.sub(r"</?span[^>]*>", "", inside)
    for name, value in record.items():
        assert f"<dt>{html.escape(name)}</dt><dd>{html.escape(value)}</dd>" in plain
    for jargon in (result.digest, "Digest", "Triangles", "Packets in a batch", "absolute floor"):
        assert jargon not in before
    for jargon in ("untraced", "roulette", "shared choice"):
        assert jargon not in before
        assert jargon not in shown(result)


@pytest.mark.parametrize(
    ("short", "whole"), [("LAI", "Leaf area index (LAI)"), ("CV", "Coefficient of variation (CV)")]
)
def test_short_words_are_spelled_out_where_first_used(page, short, whole):
    text = re.sub(r"data:image/png;base64,[A-Za-z0-9+/=\s]+|<[^>]*>", "", page)
    first = re.search(rf"\b{short}\b", text)
    assert first is not None
    assert text[: first.end() + 1].rstrip(")").endswith(whole.rstrip(")"))
