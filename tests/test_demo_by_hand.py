"""What the summary of the demo says of light and electricity, reckoned again by hand.

The arithmetic here reads the scene's own text and imports nothing of the program's.
"""

from __future__ import annotations

import io
import re
from itertools import pairwise

import pytest
import yaml
from rich.console import Console

import canopysim
from canopysim.report.summary import summary_text
from canopysim.scene.load import load_scene_text


def number(text: str) -> float:
    """Read the number of a value with a unit."""
    return float(re.match(r"[0-9.]+", text)[0])


def watts(fixture: dict, output: float) -> float:
    """Input power of one fixture, straight between the points of its driver."""
    points = {number(key) / 100: number(value) for key, value in fixture["driver"].items()}
    points[1.0] = number(fixture["input_power"])
    if output == 0:
        return number(fixture["standby"])
    for (low, below), (high, above) in pairwise(sorted(points.items())):
        if low <= output <= high:
            return below + (above - below) * (output - low) / (high - low)
    return min(points.values())


def by_hand(text: str) -> dict[str, float]:
    """PPF, watts, amperes and heat of all lights of a scene's text."""
    scene = yaml.load(text, yaml.BaseLoader)
    volts = number(scene["electricity"]["supply"])
    found = dict.fromkeys(("ppf", "watts", "amperes", "kg", "wh"), 0.0)
    hours = number(scene["electricity"]["photoperiod"])
    for light in scene["lights"]:
        fixture = scene["fixtures"][light["fixture"]]
        many = int(light.get("row", {}).get("count", 1))
        output = number(light.get("output", "100 %")) / 100
        each = watts(fixture, output)
        strips = [number(fixture["ppf"]) / len(fixture["strips"])] * len(fixture["strips"])
        found["ppf"] += many * output * sum(strips)
        found["watts"] += many * each
        found["amperes"] += many * each / (volts * float(fixture["power_factor"]))
        found["kg"] += many * number(fixture["mass"])
        found["wh"] += many * (hours * each + (24 - hours) * number(fixture["standby"]))
    found["heat"] = 3.412 * found["watts"]
    found["ppe"] = found["ppf"] / found["watts"]
    found["hours"] = hours
    found["price"] = number(scene["electricity"]["price"])
    return found


def figure(text: str, pattern: str) -> float:
    """The one figure that a pattern finds."""
    (found,) = re.findall(pattern, text)
    return float(found)


@pytest.mark.parametrize(
    ("overhead", "side"), [("100 %", "100 %"), ("60 %", "35 %"), ("80 %", "0 %")]
)
def test_the_summary_adds_up(scenes_folder, overhead, side):
    text = (scenes_folder / "pepper-tent.yaml").read_text("utf-8")
    for group, output in (("overhead", overhead), ("side", side)):
        text = text.replace(f"group: {group}\n", f"group: {group}\n    output: {output}\n")
    scene = load_scene_text(text, path=scenes_folder / "pepper-tent.yaml")
    result = canopysim.run(scene, max_packets=4 * 65536, target={"layers": 1e-9}, threads=2)
    out = io.StringIO()
    Console(file=out, width=1000).print(summary_text(result))
    said, hand = out.getvalue(), by_hand(text)
    # A figure that is written with four digits is off by half of the last at most.
    four, three = 5e-4, 5e-3
    for pattern, key, rel in (
        (r"lights as set: ([0-9.]+) W", "watts", four),
        (r"W, ([0-9.]+) A at 230 V", "amperes", three),
        (r"([0-9.]+) BTU/h of heat", "heat", four),
        (r"\(PPF\) ([0-9.]+) µmol s⁻¹", "ppf", four),
        (r"\(PPE\) ([0-9.]+) µmol J⁻¹", "ppe", three),
        (r"they hang ([0-9.]+) kg", "kg", three),
    ):
        assert figure(said, pattern) == pytest.approx(hand[key], rel=rel), key
    share = figure(said, r"\(([0-9.]+) % of the circuit's 16 A\)")
    assert share == pytest.approx(100 * hand["amperes"] / 16, rel=three)
    assert figure(said, r"A day of 14 h: ([0-9.]+) kWh") == pytest.approx(
        hand["wh"] / 1000, rel=four
    )
    cost = figure(said, r"cost ([0-9.]+) \(")
    assert cost == pytest.approx(hand["wh"] / 1000 * hand["price"], abs=0.0051)
    # The daily light integral, of the PPFD that the same summary shows for the same plane.
    ppfd = figure(said, r"(?m)^ *canopy-top.*?([0-9.]+) ± ")
    light = figure(said, r"\(DLI\) on canopy-top ([0-9.]+) ± ")
    assert light == pytest.approx(ppfd * 3600 * hand["hours"] / 1e6, rel=1e-3)
