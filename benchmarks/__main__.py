"""Measure speed, start and memory on this machine, part by part: ``python -m benchmarks``."""

from __future__ import annotations

import argparse
import contextlib
import importlib
import importlib.util
import sys
from pathlib import Path

from benchmarks.machine import describe, load
from benchmarks.table import Copy, write_table

README = Path(__file__).parent / "README.md"
# Part: the module whose `main` measures it, and what it measures. The build comes before all that
# opens Embree on several threads.
PARTS = {
    "demo": ("demo", "packets per second of the demo scene, on one thread and on all"),
    "start": ("start", "seconds of commands, to the first progress line, of a first compile"),
    "memory": ("memory", "greatest resident memory of a run, bytes per triangle"),
    "plants": ("plants", "a million leaf triangles of every plant: growth, compilation, memory"),
    "facets": ("facets", "light by layer and on the floor, by triangles per blade"),
    "build": ("build_time", "tree build against Embree's"),
    "hits": ("closest_hit", "closest hit against Embree, and why hits differ"),
    "histories": ("wavefront", "whole histories against embreex with numpy"),
    "threads": ("thread_cost", "packets per second by size of the mesh and number of threads"),
    "bands": ("band_cost", "five bands on one path against one-band runs"),
    "band-number": ("band_number", "packets per second by the number of bands"),
}
NEED_EMBREE = ("build", "hits", "histories")


def arguments(given: list[str] | None = None) -> argparse.Namespace:
    """Read the command line."""
    listed = "\n".join(f"  {part:12s} {what}" for part, (_, what) in PARTS.items())
    parser = argparse.ArgumentParser(
        prog="python -m benchmarks",
        description=__doc__.replace("``", ""),
        epilog=f"parts:\n{listed}\n\nThe exit code is 1 if a hit differs from Embree's without an "
        "explanation, 2 for a wrong command.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "--only", nargs="+", choices=PARTS, metavar="PART", help="these parts; all if left out"
    )
    parser.add_argument(
        "--rounds", type=int, default=15, metavar="NUMBER",
        help="interleaved rounds of each measurement, at least 2 (default: 15)",
    )  # fmt: skip
    parser.add_argument(
        "--write", action="store_true", help="also write what is printed into benchmarks/README.md"
    )
    asked = parser.parse_args(given)
    if asked.rounds < 2:
        parser.error("--rounds: a spread needs two rounds or more")
    asked.parts = [part for part in PARTS if asked.only is None or part in asked.only]
    lacking = [part for part in asked.parts if part in NEED_EMBREE]
    if lacking and importlib.util.find_spec("embreex") is None:
        parser.error(
            f"{', '.join(lacking)} need embreex: install the extra with pip install '.[bench]', "
            "or name other parts after --only"
        )
    return asked


def measure(parts: list[str], rounds: int) -> int:
    """Print everything; give the number of unlike hits without an explanation."""
    print(describe())
    print(f"medians of {rounds} interleaved rounds (start: fewer), quartiles in parentheses,")
    print("95 % bounds of a bootstrap in brackets; ratios above 1: we are faster")
    unexplained = 0
    for part in parts:
        print()
        # Imported one by one: a part without Embree runs without it.
        unexplained += importlib.import_module(f"benchmarks.{PARTS[part][0]}").main(rounds) or 0
    print(f"\nthe end{load()}")
    if unexplained:
        print(f"{unexplained} UNEXPLAINED hits")
    return unexplained


def main() -> int:
    """Measure, print, and write if asked; give the exit code."""
    asked = arguments()
    out = Copy(sys.stdout)
    with contextlib.redirect_stdout(out):
        unexplained = measure(asked.parts, asked.rounds)
    if asked.write:
        write_table(README, out.text())
    return 1 if unexplained else 0


if __name__ == "__main__":
    sys.exit(main())
