"""What is known of a fixture, and how; data sheets that contradict themselves are refused."""

from __future__ import annotations

import math

import pytest
from test_channels import PER_NM, lit, trio
from test_power_scene import lit as powered
from test_power_scene import problem

from canopysim.light.facts import fixture_facts
from canopysim.report.fixture_facts import fact_tables, fixture_facts_html
from canopysim.scene import load_scene
from canopysim.tracing import run
from canopysim.units_power import parse_efficacy


def known(data: dict, fixture: str = "panel") -> tuple[dict[str, tuple[str, str]], list[str]]:
    """Value and how by what, and the doubts, of one fixture."""
    from build import scene_of

    (found,) = (f for f in fixture_facts(scene_of(data)) if f["fixture"] == fixture)
    facts = {fact["what"]: (fact["value"], fact["how"]) for fact in found["facts"]}
    assert len(facts) == len(found["facts"])
    return facts, found["doubts"]


def test_stated_derived_and_assumed_are_told_apart():
    """100 umol/s of 400-500 nm from 40 W: 2.5 umol/J; even photons carry ln(5/4)/100 per nm."""
    facts, doubts = known(powered(input_power="40 W", mass="2 kg"))
    assert facts["PPF, 400–700 nm"] == ("100 µmol s⁻¹", "derived")
    assert facts["photon flux, 400–800 nm"] == ("100 µmol s⁻¹", "stated")
    assert facts["input power at full output"] == ("40 W", "stated")
    assert facts["input power at reduced output"] == ("in proportion to output", "assumed")
    assert facts["PPE, 400–700 nm"] == ("2.5 µmol J⁻¹", "derived")
    carried = 100 * math.log(5 / 4) / 100 / PER_NM
    assert facts["share of input power that leaves as light"] == (
        f"{100 * carried / 40:.1f} %", "derived"
    )  # fmt: skip
    assert facts["PPE that no such light exceeds"] == (f"{500 * PER_NM:.3g} µmol J⁻¹", "derived")
    assert facts["power factor"] == ("1", "assumed")
    assert facts["power while off"] == ("0 W", "assumed")
    assert facts["mass"] == ("2 kg", "stated")
    assert facts["inrush"] == ("", "not stated")
    assert doubts == []


def test_nothing_stated_of_watts_leaves_them_unknown():
    facts, _ = known(powered())
    assert facts["input power at full output"] == ("", "not stated")
    assert "PPE, 400–700 nm" not in facts


def test_channels_and_library_spectra_say_what_they_are():
    facts, _ = known(lit(), "bar")
    assert facts["PPF, 400–700 nm"] == ("110 µmol s⁻¹", "derived")
    assert facts["input power at full output"] == ("60 W", "derived")
    assert facts["channels' shares of it"] == ("white 40 W, red 12 W, far 8 W", "stated")
    assert facts["input power of white at reduced output"] == ("50 % 19 W, 10 % 6 W", "stated")
    channels = {
        n: {k: v for k, v in c.items() if k not in ("driver", "input_power")}
        for n, c in trio()["channels"].items()
    }
    channels["white"]["spectrum"] = {"like": "white_4000"}
    facts, _ = known(lit(fixture=trio(channels=channels, input_power="70 W")), "bar")
    assert facts["channels' shares of it"] == ("as the power of their photons", "assumed")
    assert facts["spectrum"] == ("white_4000 and others", "assumed")


def test_what_is_hardly_ever_reached_is_doubted():
    carried = 100 * math.log(5 / 4) / 100 / PER_NM
    for share, doubted in ((0.79, False), (0.81, True)):
        _, doubts = known(powered(input_power=f"{carried / share:.6f} W"))
        assert bool(doubts) == doubted
    _, doubts = known(powered(input_power="60 W", driver={"50 %": "15 W"}))
    (line,) = doubts
    assert line.startswith(f"dimmed to 50 % it would send out {carried / 15 * 50:.3g} % of its")


@pytest.mark.parametrize(
    ("entries", "words"),
    [
        (
            {"input_power": "40 W", "ppe": "2.9 umol/J"},
            "fixtures.panel.ppe: 2.9 umol/J is not 100 umol/s of 400-700 nm over 40 W, which makes "
            "2.5 umol/J; one of the three is wrong",
        ),
        ({"ppe": "2.5 umol/J"}, "fixtures.panel.ppe: says nothing without watts; write"),
        (
            {"ppe": "2.5 lm/W", "input_power": "40 W"},
            "fixtures.panel.ppe: '2.5 lm/W': 'lm/W' is not a unit of photon efficacy; allowed:",
        ),
        (
            {"input_power": "40 W", "supply": "100-240 V", "inrush": "0.1 A"},
            "fixtures.panel.inrush: 0.1 A in the moment of switching on is less than the 0.167 A "
            "that 40 W draw for good at 240 V; look both up again",
        ),
    ],
)
def test_a_data_sheet_that_contradicts_itself_is_refused(entries, words):
    assert problem(powered(**entries)).startswith(words)


def test_a_claim_that_is_rounded_holds():
    for claim in ("2.5 umol/J", "2.45 µmol J⁻¹", "2.55 umol/s/W"):
        assert known(powered(input_power="40 W", ppe=claim))[0]["PPE as claimed, 400–700 nm"]
    assert parse_efficacy("2.7 umol/J") == parse_efficacy("2.7 µmol J⁻¹") == 2.7
    assert "2.6 umol/J is not 100" in problem(powered(input_power="40 W", ppe="2.6 umol/J"))


def test_a_stated_flux_is_held_against_the_photometric_file():
    """The shipped white's 15 to 16 umol/s per thousand lumens; a cosine beam of pi x 1000 lm."""
    from photometric_files import lambertian, lm63

    from canopysim.light.spectrum.measures import umol_per_klm
    from canopysim.light.spectrum.named import named_spectrum

    table = lm63(lambertian)
    ppf = math.pi * 1000 / 1000 * umol_per_klm(named_spectrum("white_4000"))
    for factor, doubted in ((1.05, False), (1.3, True), (0.5, True)):
        fixture = {
            "photometry": {"table": table},
            "ppf": f"{factor * ppf:.6f} umol/s",
            "spectrum": {"like": "white_4000"},
        }
        facts, doubts = known(powered() | {"fixtures": {"panel": fixture}})
        value, how = facts["PPF by its photometric file"]
        assert how == "derived"
        assert float(value.split()[0]) == pytest.approx(ppf, rel=5e-3)
        assert bool(doubts) == doubted
    # Shares of bands do not tell lumens.
    fixture["spectrum"] = {"400-700": "100 %"}
    facts, doubts = known(powered() | {"fixtures": {"panel": fixture}})
    assert "PPF by its photometric file" not in facts
    assert doubts == []


def test_facts_are_on_the_page(scenes_folder):
    scene = load_scene(scenes_folder / "single-bar.yaml")
    result = run(scene, max_packets=4 * 65536, threads=2)
    assert result.meta["fixtures"] == fixture_facts(scene)
    page = fixture_facts_html(result)
    assert "What is known of the lights, and how" in page
    for table in fact_tables(result.meta["fixtures"]):
        assert all(len(row) == 4 for row in table.rows)
        assert table.caption.split(":")[0] in page
