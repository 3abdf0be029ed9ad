"""A bias that hides below 0.1 %: three cases of the verification book with 10^9 packets each.

    python -m benchmarks.bias_hunt --packets 1e9

An hour and a half on two cores. A case that is interrupted goes on from its checkpoint in the
folder of --out. What comes out, with machine and date, is put into bias.md beside this file.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import canopysim
from benchmarks.machine import describe
from canopysim.book.bench import NEVER, load
from canopysim.book.budget import case_bound
from canopysim.book.case import Case
from canopysim.book.cases import all_cases
from canopysim.book.outcome import Outcome
from canopysim.checkpoint import CHECKPOINT_NAME
from canopysim.report.progress import RunDisplay
from canopysim.report.selftest import number, z_text
from canopysim.report.words import count, duration, percent, significant

# A lens, walls, leaves: with exact values that are no tables of the program's.
CASES = (
    "asymmetric strip, turned, pitched and tilted",
    "plates of 30 % and 80 %, by repeating sides",
    "level leaves of 50 %/30 % over 0 %",
)
N_BATCH = 1024
SEED = 20_261_125
PAGE = Path(__file__).parent / "bias.md"


def hunt(case: Case, packets: int, folder: Path) -> tuple[canopysim.Result, list[Outcome]]:
    """Trace a case, or go on with it, and hold it beside its exact values."""
    from rich.console import Console

    assert case.exact is not None
    batch = -(-packets // N_BATCH)
    scene = load(dict(case.scene) | {"tracing": {"batch": str(batch)}}, case.files)
    wanted = batch * N_BATCH
    with RunDisplay(Console()) as display:
        if (folder / CHECKPOINT_NAME).exists():
            result = canopysim.resume(folder, max_packets=wanted, progress=display)
        else:
            folder.mkdir(parents=True, exist_ok=True)
            target = {"layers" if scene.canopy is not None else "planes": NEVER}
            result = canopysim.run(
                scene, target=target, max_packets=wanted, seed=SEED, progress=display,
                checkpoint=folder,
            )  # fmt: skip
    if result.partial:
        raise KeyboardInterrupt
    return result, replace(case, packets=packets).compare(result, case.exact())


def main() -> int:
    """Hunt, print and write the page; give the exit code."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--packets", type=float, default=1e9, help="for each case, at least")
    parser.add_argument("--out", type=Path, default=Path("results/bias"), help="for checkpoints")
    asked = parser.parse_args()
    named = {case.name: case for case in all_cases()}
    lines = [
        "# A hunt for a small bias", "",
        f"Written by `python -m benchmarks.bias_hunt`; seed {SEED}. Errors in percent are of what "
        "a figure is held against: itself, all light, or the mean density.", "",
        "```", describe(), "```", "",
        "| Case | Figure | Exact | Found | ± standard error | in percent | z | Packets | Time |",
        "| --- | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]  # fmt: skip
    worst = 0.0
    for place, name in enumerate(CASES):
        print(name, flush=True)
        result, outcomes = hunt(named[name], int(asked.packets), asked.out / str(place))
        bound = case_bound(len(CASES), outcomes)
        for o in outcomes:
            worst = max(worst, abs(o.z) / bound)
            lines.append(
                f"| {name} | {o.figure} | {number(o.exact, o.std_err)} | "
                f"{number(o.value, o.std_err)} | {significant(o.std_err, 2)} | "
                f"{percent(o.rel_err)} | {z_text(o.z)} | {count(result.n_packet)} | "
                f"{duration(result.seconds)} |"
            )
    verdict = "No bias is seen" if worst <= 1.0 else "A BIAS IS SEEN"
    lines += ["", f"{verdict}: the figure furthest off is at {worst:.2f} of what chance allows."]
    text = "\n".join(lines) + "\n"
    PAGE.write_text(text, "utf-8")
    print(text)
    return 0 if worst <= 1.0 else 1


if __name__ == "__main__":
    sys.exit(main())
