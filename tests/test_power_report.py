"""Electricity, heat, weight and time on the page, in the terminal and in `check`."""

from __future__ import annotations

import html
import io
import re
from typing import Any

import pytest
from build import scene_of
from fake_result import fake_result
from rich.console import Console
from test_electricity import facts, light, shift

from canopysim.analysis import light_day as day
from canopysim.report.electricity import (
    check_pieces,
    daily_light_table,
    electricity_html,
    summary_lines,
)
from canopysim.report.page import page_text
from canopysim.report.power_notes import CAUTIONS, cases_of, overload_notes
from canopysim.report.power_tables import power_tables
from canopysim.report.readback import read_back
from canopysim.report.summary import summary_text
from canopysim.report.words import with_error
from canopysim.results import Result
from canopysim.scene import load_scene
from canopysim.world.compile import compile_world

TITLE = "Electricity, heat, weight and time"
LIGHTS = (
    light(count=2, power_factor=0.96, inrush_a=30.0),
    light(number=2, group="side bars", output=0.5, standby_w=0.5, inrush_a=10.0),
)


def result_with(*lights: Any, **changes: Any) -> Result:
    return fake_result(meta={"electricity": facts(*(lights or LIGHTS), **changes)})


def words(text: str) -> str:
    """Text of a page or terminal, unbroken."""
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", text)).split())


def printed(*pieces: Any, width: int = 300) -> str:
    out = io.StringIO()
    for piece in pieces:
        Console(file=out, width=width).print(piece)
    return " ".join(out.getvalue().split())


def cells(stated: dict[str, Any], caption: str) -> dict[str, tuple[str, ...]]:
    """Rows of the table whose caption begins so, by the first column."""
    (table,) = (t for t in power_tables(stated) if t.caption.startswith(caption))
    assert all(len(row) == len(table.columns) for row in table.rows)
    return {row[0]: row[1:] for row in table.rows}


def test_load_table_reconciles_by_hand():
    """2 × 105 W at full output, 54 W at half of it; 230 V and 16 A."""
    rows = cells(facts(*LIGHTS), "Electricity and heat")
    assert rows["Input power, and heat into the room, W"] == ("264", "315")
    assert rows["The same heat, BTU/h"] == ("900.8", "1075")
    now, full = 210 / 0.96 / 230 + 54 / 230, 210 / 0.96 / 230 + 105 / 230
    assert rows["Current at 230 V, A"] == (f"{now:.2f}", f"{full:.2f}")
    assert rows["Share of the circuit's 16 A"] == (
        f"{100 * now / 16:.2f} %",
        f"{100 * full / 16:.2f} %",
    )


def test_day_table_reconciles_by_hand():
    rows = cells(facts(*LIGHTS, currency="EUR"), "A day and a month")
    energy = (14 * 264 + 10 * 0.5) / 1000
    assert rows["Energy, kWh"] == (f"{energy:.3f}", f"{30 * energy:.1f}")
    assert rows["Cost at 0.3 EUR per kWh"] == (f"{0.3 * energy:.2f}", f"{9 * energy:.2f}")
    moles = 2.5 * 300 * 14 * 3600 / 1e6
    assert rows["Photons launched, mol"] == (f"{moles:.1f}", f"{30 * moles:.0f}")
    (table,) = (t for t in power_tables(facts(*LIGHTS)) if t.caption.startswith("A day"))
    assert f"A mole launched takes {energy / moles:.4f} kWh" in table.note
    assert "All lights as set for 14 h a day. A month has 30 days." in table.note
    assert "While off they draw their standby power." in table.note


def test_light_table_tells_efficacy_and_mass():
    rows = cells(facts(*LIGHTS), "The lights")
    assert rows["1 bar, top bars"] == (*("2", "100 %", "105", "105", "300", "2.86", "4.60", "2.5"),)
    assert rows["2 bar, side bars"] == (*("1", "50 %", "54", "105", "300", "2.86", "4.60", "2.5"),)
    (table,) = (t for t in power_tables(facts(*LIGHTS)) if t.caption.startswith("The lights"))
    assert table.note.startswith("All lights hang 7.5 kg.")
    assert "more than that" not in table.note
    # Possible only if no photon were shorter than its range's end: worth another look.
    (table, *_) = power_tables(facts(light(ppf_umol_s=4.8 * 105)))
    assert "bar: more than that; look up input power and PPF again." in table.note


def test_page_tells_all_of_it():
    result = result_with()
    page = page_text(result)
    text = words(page)
    assert f"<h2>{TITLE}</h2>" in page
    for table in power_tables(facts(*LIGHTS), day.daily_absorbed(result)):
        for part in (
            table.caption,
            table.note,
            *table.columns,
            *(c for r in table.rows for c in r),
        ):
            assert " ".join(part.split()) in text
    absorbed = day.daily_absorbed(result)
    assert f"Photons absorbed by leaves, mol {with_error(*vars(absorbed).values())}" in text
    for caution in CAUTIONS:
        assert caution in text
    for wanted in ("licensed electrician", "80 % of a circuit's rating: here 12.8 A, or 2944 W"):
        assert wanted in text
    assert 'class="warning"><strong>Circuit' not in page
    # Before the picture and the conditions, after the light.
    assert page.index("<h2>Where the photons ended") < page.index(TITLE)
    assert page.index(TITLE) < page.index("<h2>Conditions")


def test_daily_light_is_told_by_group():
    result = result_with()
    table = daily_light_table(result)
    assert table.columns[2:] == tuple(
        f"DLI, {name}, mol m⁻² d⁻¹" for name in ("all lights", "top bars", "side bars")
    )
    for row, plane in zip(table.rows, result.planes, strict=True):
        assert row[0].startswith(plane)
        for cell, group in zip(row[2:], ("all", "top bars", "side bars"), strict=True):
            found = day.daily_light(result, plane, group=group)
            assert cell == with_error(found.value, found.std_err)
    # A group that is off all day is not worth a column; all lights off give a plain 0.
    schedule = [shift(6.0, 20.0, None, "top bars")]
    lone = daily_light_table(result_with(photoperiod_h=None, schedule=schedule))
    assert len(lone.columns) == 3
    dark = [shift(6.0, 20.0, 0.0)]
    table = daily_light_table(result_with(photoperiod_h=None, schedule=dark))
    assert {row[2] for row in table.rows} == {"0"}


def test_schedule_is_read_back_with_its_busiest_hours():
    schedule = [shift(20.0, 6.0, 0.1, "side bars"), shift(6.0, 20.5, None, "top bars")]
    stated = facts(*LIGHTS, photoperiod_h=None, schedule=schedule)
    assert cells(stated, "Hours of the lights") == {
        "20:00 to 6:00": ("side bars", "10 %"),
        "6:00 to 20:30": ("top bars", "as set"),
    }
    rows = cells(stated, "Electricity and heat")
    assert rows["Input power, and heat into the room, W"][2] == f"{2 * 105 + 14}"


def test_summary_names_what_a_grower_asks():
    result = result_with()
    power, hours = summary_lines(result)
    for figure in ("264 W", "1.19 A at 230 V", "(7.41 % of the circuit's 16 A)", "900.8 BTU/h"):
        assert figure in power
    assert "(PPF) 750 µmol s⁻¹, efficacy (PPE) 2.84 µmol J⁻¹, 400–700 nm; they hang 7.5" in power
    found = day.daily_light(result, "canopy-top")
    text = with_error(found.value, found.std_err)
    assert hours.startswith("A day of 14 h: 3.701 kWh; cost 1.11 (33.31 a month); ")
    assert f"(DLI) on canopy-top {text} mol m⁻² d⁻¹, 400–700 nm" in hours
    assert printed(summary_text(result)).count("A day of 14 h: ") == 1


@pytest.mark.parametrize(
    ("circuit", "told"),
    [(1.45, ["As set", "At full output"]), (1.7, ["At full output"]), (1.8, []), (None, [])],
)
def test_a_circuit_that_carries_too_much_is_told(circuit, told):
    """1.19 A as set, 1.41 A at full output, against 80 % of the rating."""
    stated = facts(*LIGHTS, circuit_a=circuit)
    notes = overload_notes(stated)
    assert [note.split(" the lights draw")[0] for note in notes] == told
    assert list(cases_of(stated)) == ["As set", "At full output"]
    result = result_with(circuit_a=circuit)
    page = electricity_html(result)
    assert page.count('class="warning"><strong>Circuit.') == len(told)
    assert len(summary_lines(result)) == 2 + len(told)
    for note in notes:
        assert "more than the 80 % of it that a common rule allows for long" in note
        assert "ask a licensed electrician" in note
        assert note in words(page)


def test_more_than_the_rating_is_told_apart_from_the_rule():
    (_, full) = overload_notes(facts(*LIGHTS, circuit_a=1.3))
    assert full.startswith("At full output the lights draw 1.41 A, 108 % of the circuit's 1.3 A: ")
    assert "more than it is rated for" in full


def test_what_was_assumed_is_told():
    lights = (
        light(output=0.05),
        light(number=2, fixture="panel", curve_w=[[1.0, 50.0]], output=0.5, power_factor=None),
        light(number=3, fixture="lamp", curve_w=[], mass_kg=None, inrush_a=None),
    )
    text = " ".join(table.note for table in power_tables(facts(*lights)))
    for told in (
        "Without lamp, whose input power is not stated.",
        "No driver's curve is stated for panel: dimmed, its input power is taken in proportion",
        "Below its lowest stated point the driver of bar is taken to draw what it draws there.",
        "The power factor of panel is not stated and taken as 1; the true current is greater.",
        "All lights of the 2 that state it switched on at once: inrush of 60 A at most",
        "All lights of the 2 that state it hang 5 kg.",
    ):
        assert told in text
    # Sums that lack a light give no figure per mole.
    assert "A mole" not in text
    assert cells(facts(*lights), "The lights")["3 lamp, top bars"][2:4] == ("not stated",) * 2


def test_nothing_is_shown_where_nothing_is_stated(demo_data):
    for result in (fake_result(), fake_result(meta={"electricity": {}})):
        assert electricity_html(result) == ""
        assert summary_lines(result) == []
        assert TITLE not in page_text(result)
    bare = {k: v for k, v in demo_data.items() if k != "electricity"}
    kept = ("body", "strips", "ppf", "spectrum")
    bare["fixtures"] = {
        name: {key: fixture[key] for key in kept} for name, fixture in demo_data["fixtures"].items()
    }
    assert check_pieces(scene_of(bare)) == []


def test_hours_alone_tell_daily_light_and_weight_alone_weight():
    silent = [
        light(curve_w=[], mass_kg=None, inrush_a=None, power_factor=None, group=group, number=n)
        for n, group in enumerate(("top bars", "side bars"), 1)
    ]
    result = result_with(*silent, supply_v=None, circuit_a=None, price_per_kwh=None)
    text = words(electricity_html(result))
    assert "Daily light integral (DLI) of the planes" in text
    assert "Photons absorbed by leaves, mol" in text
    for word in ("kWh", "Input power", "Cost"):
        assert word not in text.split("These are estimates")[0]
    (line,) = summary_lines(result)
    assert line.startswith("A day of 14 h: daily light integral (DLI) on canopy-top ")
    weighed = facts(light(curve_w=[]), photoperiod_h=None)
    assert [table.caption.split(",")[0] for table in power_tables(weighed)] == ["The lights"]


def test_no_canopy_and_no_planes_are_no_trouble():
    meta = {"electricity": facts(*LIGHTS)}
    result = fake_result(with_plants=False, planes=(), meta=meta)
    text = words(page_text(result))
    assert "Photons absorbed" not in text
    assert "DLI" not in text
    assert "A mole launched takes" in text


def test_hours_without_lights_say_nothing():
    result = fake_result(meta={"electricity": facts(channel_light=[0, 0])})
    assert electricity_html(result) == ""
    assert summary_lines(result) == []


def test_names_from_the_scene_stay_text():
    evil = '<b>"x"</b>'
    result = result_with(
        light(fixture=evil, group=evil), light(number=2, group="side bars"), currency="<i>"
    )
    page = electricity_html(result)
    assert "<b>" not in page
    assert "<i>" not in page
    assert words(evil) not in printed(*summary_lines(result))


def test_check_says_the_same(scenes_folder):
    scene = load_scene(scenes_folder / "pepper-tent.yaml")
    text = printed(read_back(scene, compile_world(scene)))
    # 2 × 148 W and 2 × 28 W for 14 h, standby of 1.6 W for 10 h.
    assert "Input power, and heat into the room, W 352 352" in text
    assert "Energy, kWh 4.944 148.3" in text
    assert "Cost at 0.3 per kWh 1.48 44.50" in text
    assert "All lights hang 6.6 kg." in text
    assert CAUTIONS[0] in text
    assert text.index("Counting planes") < text.index("The lights, figures of each fixture")
    assert text.index("A day and a month") < text.index("Defaults used")
