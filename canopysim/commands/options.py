"""Options that commands share, and how their texts are read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer

from canopysim.errors import CanopysimError

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene

MOST_THREADS = 1024
Value = TypeVar("Value")

SceneFile = Annotated[Path, typer.Argument(help="Scene file (YAML).", show_default=False)]
AllowOutside = Annotated[
    bool,
    typer.Option(help="Let the scene refer to files outside its own folder."),
]

Threads = Annotated[
    str | None, typer.Option(help="Threads; all cores if left out.", metavar="NUMBER")
]
MaxPackets = Annotated[
    str | None,
    typer.Option(help="Stop after so many packets in all: 2e8, '20 million'."),
]
MaxTime = Annotated[
    str | None, typer.Option(help="Stop after this time, from now on: '60 s', '5 min', '2 h'.")
]
Targets = Annotated[
    list[str] | None,
    typer.Option(
        "--target",
        help="Relative standard error at which to stop: '1 %' for every layer, or "
        "'planes: 0.5 %' for every plane's mean; may be given for both.",
    ),
]
Replicates = Annotated[
    str | None,
    typer.Option(
        help="Canopies to grow from as many seeds, instead of the number that the scene states.",
        metavar="NUMBER",
    ),
]


def read_option(name: str, text: str | None, parse: Callable[[str], Value]) -> Value | None:
    """Read the text of an option; what is wrong with it is told under the option's name."""
    if text is None:
        return None
    try:
        return parse(text)
    except ValueError as problem:
        raise CanopysimError(f"{name}: {problem}") from None


def _some_time(text: str) -> float:
    from canopysim.units import parse_time, shown

    if parse_time(text) == 0:
        raise ValueError(f"{shown(text)} is too short; allowed is more than 0 s")
    return parse_time(text)


def _some_share(text: str) -> float:
    from canopysim.units import parse_share, shown

    if parse_share(text) == 0:
        raise ValueError(f"{shown(text)} is never reached; allowed is more than 0 %")
    return parse_share(text)


def _targets(texts: list[str] | None, scene: Scene) -> dict[str, float] | None:
    """Read --target: a share alone is meant for the layers, or for planes without a canopy."""
    from canopysim.units import shown

    if not texts:
        return None
    there = {"layers": scene.canopy is not None, "planes": bool(scene.planes)}
    targets: dict[str, float] = {}
    for text in texts:
        before, colon, after = text.partition(":")
        name = before.strip() if colon else "layers" if there["layers"] else "planes"
        if name not in there:
            raise CanopysimError(
                f"--target: {shown(name)} is not known; allowed are layers and planes"
            )
        if not there[name]:
            raise CanopysimError(f"--target: {shown(text)}: the scene has no {name}")
        share = read_option("--target", after if colon else text, _some_share)
        assert share is not None
        targets[name] = share
    return targets


def read_limits(
    scene: Scene,
    target: list[str] | None,
    max_packets: str | None,
    max_time: str | None,
    threads: str | None,
) -> dict[str, Any]:
    """Read the options that a run and its resumption share."""
    from canopysim.scene.fields import parse_count, parse_packets

    return {
        "target": _targets(target, scene),
        "max_packets": read_option("--max-packets", max_packets, parse_packets),
        "max_time": read_option("--max-time", max_time, _some_time),
        "threads": read_option("--threads", threads, lambda t: parse_count(t, 1, MOST_THREADS)),
    }
