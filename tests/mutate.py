"""Does the verification book notice physics errors? Make them one by one, and read it each time.

    python tests/mutate.py --jobs 2

Every mutant is a copy of the package with one expression changed (`mutants.py`). The quick edition
of the book is read against it until a case fails. What was found is kept in the folder of --out,
so that the work can be interrupted and goes on where it stopped; `mutants.md` there is the table.
`mutants_equivalent.yaml` has those that change nothing that a figure could show, with the reason.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor, as_completed
from pathlib import Path

import yaml
from mutants import FILES, Mutant, mutants

PACKAGE = Path(__file__).parent.parent / "canopysim"
PLANTED = Path(__file__).parent / "planted_errors.yaml"
EQUIVALENT = Path(__file__).parent / "mutants_equivalent.yaml"
LIMIT_S = 900
# Read in the child, whose canopysim is the mutant. Cases that need the fewest kernels come first.
CHILD = """
import json, sys
from canopysim.book.cases import all_cases
from canopysim.book.running import read_book

def cost(case):
    apart = case.measure is not None or {"probes", "also_count"} & set(case.scene)
    return bool(apart), case.packets * case.quick

cases = sorted(all_cases(), key=cost)
for record in read_book(cases, edition="quick", threads=1):
    if not record.passed:
        worst = record.worst
        how = record.problem or f"{worst.figure}: z {worst.z:.3g}"
        print(json.dumps({"by": record.case.name, "how": how}))
        sys.exit()
print(json.dumps({"by": "", "how": ""}))
"""


def planted(package: Path) -> Iterator[Mutant]:
    """Give the errors that were planted by hand, by people who had not seen the book."""
    for entry in yaml.safe_load(PLANTED.read_text("utf-8")):
        source = (package / entry["file"]).read_text("utf-8")
        if source.count(entry["before"]) != 1:
            raise ValueError(f"{PLANTED.name}: {entry['says']}: what it changes is gone")
        changed = source.replace(entry["before"], entry["after"])
        yield Mutant(entry["file"], 0, "planted", entry["says"], "", changed)


def try_mutant(mutant: Mutant, folder: Path) -> dict[str, object]:
    """Read the book against one mutant: by which case and how it was noticed, or not."""
    start = time.monotonic()
    with tempfile.TemporaryDirectory(dir=folder) as place:
        package = Path(place) / "canopysim"
        shutil.copytree(folder / "canopysim", package)
        (package / mutant.file).write_text(mutant.source, "utf-8")
        kernels = mutant.file.startswith("transport/")
        environment = os.environ | {
            "PYTHONPATH": place, "PYTHONDONTWRITEBYTECODE": "1",
            "CANOPYSIM_CACHE_DIR": str(Path(place) / "cache" if kernels else folder / "cache"),
        }  # fmt: skip
        try:
            answer = subprocess.run(
                [sys.executable, "-c", CHILD], env=environment, cwd=place, capture_output=True,
                text=True, timeout=LIMIT_S, check=False,
            )  # fmt: skip
        except subprocess.TimeoutExpired:
            found = {"by": "the clock", "how": f"no answer in {LIMIT_S} s"}
        else:
            lines = answer.stdout.strip().splitlines()
            last = (answer.stderr.strip().splitlines() or [f"exit {answer.returncode}"])[-1]
            found = {"by": "a guard or a crash", "how": last[:200]}
            if answer.returncode == 0 and lines:
                found = json.loads(lines[-1])
    return {"name": mutant.name, "file": mutant.file, "line": mutant.line,
            "seconds": round(time.monotonic() - start, 1)} | found  # fmt: skip


def table(found: list[dict[str, object]], equivalent: dict[str, str]) -> str:
    """Give what was generated, killed, equivalent and surviving, as Markdown."""
    survivors = [f for f in found if not f["by"] and f["name"] not in equivalent]
    explained = [f for f in found if not f["by"] and f["name"] in equivalent]
    killed = Counter(str(f["by"]) for f in found if f["by"])
    lines = [
        "# Physics errors that the book was shown", "",
        f"{len(found)} made, {sum(killed.values())} noticed, {len(explained)} that change no "
        f"figure, {len(survivors)} not noticed.", "",
        "| File | Made | Noticed | Change nothing | Not noticed |",
        "| --- | ---: | ---: | ---: | ---: |",
    ]  # fmt: skip
    for file in dict.fromkeys([*FILES, *sorted(str(f["file"]) for f in found)]):
        here = [f for f in found if f["file"] == file]
        if here:
            n = sum(bool(f["by"]) for f in here)
            same = sum(f["name"] in equivalent and not f["by"] for f in here)
            lines.append(f"| {file} | {len(here)} | {n} | {same} | {len(here) - n - same} |")
    lines += ["", "| Noticed first by | Mutants |", "| --- | ---: |"]
    lines += [f"| {name} | {n} |" for name, n in killed.most_common()]
    if survivors:
        lines += ["", "Not noticed:", ""]
        lines += [f"- {f['file']}:{f['line']} `{f['name'].split(': ', 1)[1]}`" for f in survivors]
    if explained:
        lines += ["", "Change no figure:", ""]
        lines += [f"- `{f['name']}`: {equivalent[str(f['name'])]}" for f in explained]
    return "\n".join(lines) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--out", type=Path, default=Path("results/mutants"))
    parser.add_argument("--only", default="", help="files whose name has this text")
    parser.add_argument("--every", type=int, default=1, help="only each n-th mutant")
    parser.add_argument("--start", type=int, default=0, help="the first of them")
    parser.add_argument("--planted", action="store_true",
                        help="those of planted_errors.yaml, made by hand, instead")  # fmt: skip
    parser.add_argument("--again", action="store_true", help="try once more what was not noticed")
    chosen = parser.parse_args()
    chosen.out.mkdir(parents=True, exist_ok=True)
    # A copy, so that work goes on beside this.
    shutil.rmtree(chosen.out / "canopysim", ignore_errors=True)
    shutil.copytree(PACKAGE, chosen.out / "canopysim",
                    ignore=shutil.ignore_patterns("__pycache__"))  # fmt: skip
    log = chosen.out / "mutants.jsonl"
    lines = log.read_text("utf-8").splitlines() if log.exists() else []
    found = {f["name"]: f for f in map(json.loads, lines)}
    if chosen.again:
        found = {name: f for name, f in found.items() if f["by"]}
    whole = planted(PACKAGE) if chosen.planted else mutants(PACKAGE)
    every = [m for m in whole if chosen.only in m.file][chosen.start :: chosen.every]
    todo = [m for m in every if m.name not in found]
    print(f"{len(every)} mutants, {len(todo)} to be tried")
    # What is not changed must not be noticed, or nothing that is noticed tells anything.
    same = Mutant("errors.py", 0, "", "", "", (PACKAGE / "errors.py").read_text("utf-8"))
    control = try_mutant(same, chosen.out.resolve())
    if control["by"]:
        sys.exit(f"the book fails without a mutant: {control['by']}, {control['how']}")
    with ThreadPoolExecutor(chosen.jobs) as pool, log.open("a", encoding="utf-8") as file:
        jobs = [pool.submit(try_mutant, mutant, chosen.out.resolve()) for mutant in todo]
        for number, job in enumerate(as_completed(jobs), 1):
            one = job.result()
            found[one["name"]] = one
            file.write(json.dumps(one) + "\n")
            file.flush()
            fate = f"noticed by {one['by']}" if one["by"] else "NOT NOTICED"
            print(f"{number}/{len(todo)}  {one['name']}\n    {fate}  {one['how']} "
                  f"({one['seconds']} s)", flush=True)  # fmt: skip
    equivalent = yaml.safe_load(EQUIVALENT.read_text("utf-8")) or {}
    names = {m.name for m in every}
    text = table([f for name, f in found.items() if name in names], equivalent)
    (chosen.out / "mutants.md").write_text(text, "utf-8")
    print(text)


if __name__ == "__main__":
    main()
