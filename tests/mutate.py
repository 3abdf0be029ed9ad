"""Does the verification book notice physics errors? Make them one by one, and read it each time.

    python tests/mutate.py --jobs 2

Every mutant is a copy of the package with one expression changed (`mutants.py`). The quick edition
of the book is read against it until a case fails. Many changes go into one copy, each behind a
switch (`mutants_switched.py`, `mutate_many.py`). What was found is kept in the folder of --out, so
that the work can be interrupted and goes on where it stopped. `--table` puts it into `mutants.csv`
beside this file, of which `mutants.md` is the table: what stands there is not tried again unless
--again asks for it, or the statement has changed.
`mutants_equivalent.yaml` has those that change nothing that a figure could show, with the reason;
what has one is tried with --again alone.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from pathlib import Path

import yaml
from mutants import FILES, Mutant, mutants
from mutants_switched import together

PACKAGE = Path(__file__).parent.parent / "canopysim"
PLANTED = Path(__file__).parent / "planted_errors.yaml"
FOUND = Path(__file__).parent / "mutants.csv"
COLUMNS = ("file", "name", "by", "how")
# Temporary folders, whose names say nothing.
AT = re.compile(re.escape(tempfile.gettempdir()) + r"/[^/\s]+/")
EQUIVALENT = Path(__file__).parent / "mutants_equivalent.yaml"
LIMIT_S = 900
SERVER = Path(__file__).parent / "mutate_many.py"
# So many at once: of kernels, which grow longer to compile, and of the rest.
GROUPS = {True: 100, False: 250}
# Added to what kernels may use: whether a change is on, read each time; and that it was asked for.
SWITCH = """
import ctypes

MOST = 4096
_ON = (ctypes.c_int64 * 1)()
_ASKED = (ctypes.c_int8 * MOST)()
_ON_AT, _ASKED_AT = ctypes.addressof(_ON), ctypes.addressof(_ASKED)


def turn_on(number):
    _ON[0] = number


def is_on_here(number):
    _ASKED[number] = 1
    return _ON[0] == number


def asked_for():
    found = [number for number in range(MOST) if _ASKED[number]]
    ctypes.memset(_ASKED, 0, MOST)
    return found


@intrinsic
def is_on(typing_context, number):
    def generate(context, builder, signature, args):
        wide, byte = ir.IntType(64), ir.IntType(8)
        wanted = context.cast(builder, args[0], signature.args[0], types.int64)
        place = builder.add(ir.Constant(wide, _ASKED_AT), wanted)
        builder.store(ir.Constant(byte, 1), builder.inttoptr(place, byte.as_pointer()))
        on = builder.load(builder.inttoptr(ir.Constant(wide, _ON_AT), wide.as_pointer()))
        return builder.icmp_signed("==", on, wanted)

    return types.boolean(types.int64), generate
"""
# Read in the child, whose canopysim is the mutant. Cases that noticed others of the same file come
# first, then those that need the fewest kernels.
CHILD = """
import json, sys
from canopysim.book.cases import all_cases
from canopysim.book.running import read_book

first = sys.argv[1:]

def cost(case):
    apart = case.measure is not None or {"probes", "also_count"} & set(case.scene)
    before = first.index(case.name) if case.name in first else len(first)
    return before, bool(apart), case.packets * case.quick

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
    """Give the errors that were planted by hand, without a look at the book."""
    for entry in yaml.safe_load(PLANTED.read_text("utf-8")):
        source = (package / entry["file"]).read_text("utf-8")
        if source.count(entry["before"]) != 1:
            raise ValueError(f"{PLANTED.name}: {entry['says']}: what it changes is gone")
        changed = source.replace(entry["before"], entry["after"])
        yield Mutant(entry["file"], 0, "planted", entry["says"], "", changed)


def try_mutant(mutant: Mutant, folder: Path, first: Sequence[str] = ()) -> dict[str, object]:
    """Read the book against one mutant: by which case and how it was noticed, or not.

    Cases in ``first`` are read before the others.
    """
    start = time.monotonic()
    # Compiled kernels are kept by the path of their sources: the same place for each of a thread's.
    place = folder / f"alone-{threading.get_ident()}"
    package = place / "canopysim"
    shutil.rmtree(package, ignore_errors=True)
    shutil.copytree(folder / "canopysim", package)
    (package / mutant.file).write_text(mutant.source, "utf-8")
    kernels = mutant.file.startswith("transport/")
    with tempfile.TemporaryDirectory(dir=folder) as fresh:
        environment = os.environ | {
            "PYTHONPATH": str(place), "PYTHONDONTWRITEBYTECODE": "1",
            "CANOPYSIM_CACHE_DIR": fresh if kernels else str(place / "cache"),
        }  # fmt: skip
        try:
            answer = subprocess.run(
                [sys.executable, "-c", CHILD, *first], env=environment, cwd=place,
                capture_output=True, text=True, timeout=LIMIT_S, check=False,
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


def try_together(group: Sequence[Mutant], folder: Path) -> Iterator[dict[str, object]]:
    """Read the book against changes of one copy: all of kernels, or none.

    Where they do not go together (types that do not agree, say), halves of them are tried, and a
    single one by itself.
    """
    told: set[int] = set()
    ready = False
    if len(group) > 1:
        place = folder / f"many-{threading.get_ident()}"
        package = place / "canopysim"
        shutil.rmtree(package, ignore_errors=True)
        shutil.copytree(folder / "canopysim", package)
        target = package / "transport" / "target.py"
        target.write_text(target.read_text("utf-8") + SWITCH, "utf-8")
        numbered = list(enumerate(group, 1))
        switch = ("canopysim.transport.target", "is_on", "is_on_here")
        for file, source in together(folder / "canopysim", numbered, *switch).items():
            (package / file).write_text(source, "utf-8")
        if is_kernel(group[0]):
            # What was compiled holds places in the memory of the process that did.
            shutil.rmtree(place / "cache", ignore_errors=True)
        environment = os.environ | {
            "PYTHONPATH": str(place), "PYTHONDONTWRITEBYTECODE": "1",
            "CANOPYSIM_CACHE_DIR": str(place / "cache"),
        }  # fmt: skip
        command = [sys.executable, str(SERVER), *(str(n) for n, _ in numbered)]
        with (
            (folder / f"many-{threading.get_ident()}.log").open("a") as errors,
            subprocess.Popen(command, env=environment, cwd=place, text=True,
                             stdout=subprocess.PIPE, stderr=errors) as server,
        ):  # fmt: skip
            assert server.stdout is not None
            for line in server.stdout:
                found = json.loads(line)
                ready = ready or "ready" in found
                if "number" in found:
                    told.add(found["number"])
                    mutant = group[found.pop("number") - 1]
                    named = {"name": mutant.name, "file": mutant.file, "line": mutant.line}
                    yield named | found
    rest = [mutant for number, mutant in enumerate(group, 1) if number not in told]
    if ready or len(rest) == 1:
        # Too late for them there: modules reckon so when they are imported.
        for mutant in rest:
            yield try_mutant(mutant, folder)
    elif rest:
        print(f"{len(rest)} of {len(group)} do not go together", flush=True)
        half = (len(rest) + 1) // 2
        yield from try_together(rest[:half], folder)
        yield from try_together(rest[half:], folder)


def is_kernel(mutant: Mutant) -> bool:
    """Whether a change is one of compiled code."""
    return mutant.file.startswith("transport/")


def in_groups(todo: Sequence[Mutant]) -> Iterator[list[Mutant]]:
    """Many changes in each group, those of kernels apart; those planted by hand each alone."""
    for kernels in (True, False):
        chosen = [m for m in todo if m.function != "planted" and is_kernel(m) == kernels]
        n_group = max(1, -(-len(chosen) // GROUPS[kernels]))
        size = max(-(-len(chosen) // n_group), 1)
        yield from (chosen[k : k + size] for k in range(0, len(chosen), size))
    yield from ([m] for m in todo if m.function == "planted")


def sharpest(found: Iterable[dict[str, object]], file: str) -> list[str]:
    """Give the cases that noticed most of what was changed in a file, the best first."""
    noticed = Counter(str(f["by"]) for f in list(found) if f["file"] == file and f["by"])
    return [name for name, _ in noticed.most_common(8)]


def found_before() -> dict[str, dict[str, object]]:
    """Read what was found earlier, by name."""
    if not FOUND.exists():
        return {}
    with FOUND.open(encoding="utf-8", newline="") as file:
        return {row["name"]: dict(row) for row in csv.DictReader(file)}


def explained() -> dict[str, str]:
    """Read why changes show in no figure, by name."""
    by_reason = yaml.safe_load(EQUIVALENT.read_text("utf-8")) or {}
    return {name: reason for reason, names in by_reason.items() for name in names}


def write_table(whole: Sequence[Mutant], found: dict[str, dict[str, object]]) -> None:
    """Write what became of the mutants that there are now."""
    equivalent = explained()
    names = {m.name: m for m in whole}
    gone = sorted(set(equivalent) - set(names))
    if gone:
        sys.exit(f"{EQUIVALENT.name}: no such change any more: {gone[0]}")
    untried = {"by": "", "how": "not tried"}
    rows: list[dict[str, object]] = [
        found.get(name, {"file": m.file, "name": name} | untried) | {"line": m.line}
        for name, m in names.items()
        if name in found or name in equivalent
    ]
    with FOUND.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS, extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        writer.writerows(row | {"how": AT.sub("", str(row["how"]))} for row in rows)
    text = table(rows, equivalent)
    if len(rows) < len(names):
        text = text.replace("\n\n", f"\n\n{len(names) - len(rows)} are still to be tried. ", 1)
    FOUND.with_suffix(".md").write_text(text, "utf-8")
    print(text)


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
        lines += ["", "Change no figure, found so or by reason alone (not tried):", ""]
        lines += [
            f"- `{f['name']}`: {equivalent[str(f['name'])]}"
            + (" (not tried)" if f["how"] == "not tried" else "")
            for f in explained
        ]
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
    parser.add_argument("--table", action="store_true",
                        help="write mutants.csv and mutants.md of what was found")  # fmt: skip
    parser.add_argument("--again", action="store_true", help="try once more what was not noticed")
    chosen = parser.parse_args()
    chosen.out.mkdir(parents=True, exist_ok=True)
    # A copy, so that work goes on beside this.
    shutil.rmtree(chosen.out / "canopysim", ignore_errors=True)
    shutil.copytree(PACKAGE, chosen.out / "canopysim",
                    ignore=shutil.ignore_patterns("__pycache__"))  # fmt: skip
    log = chosen.out / "mutants.jsonl"
    lines = log.read_text("utf-8").splitlines() if log.exists() else []
    found = {} if chosen.planted else found_before()
    found |= {f["name"]: f for f in map(json.loads, lines)}
    whole = list(planted(PACKAGE) if chosen.planted else mutants(PACKAGE))
    if chosen.table:
        write_table(whole, found)
        return
    if chosen.again:
        found = {name: f for name, f in found.items() if f["by"]}
    # What has a reason needs no trial to have it.
    reasons = {} if chosen.again else explained()
    every = [m for m in whole if chosen.only in m.file][chosen.start :: chosen.every]
    todo = [m for m in every if m.name not in found and m.name not in reasons]
    print(f"{len(every)} mutants, {len(todo)} to be tried")
    groups = list(in_groups(todo))
    if any(len(group) == 1 for group in groups):
        # What is not changed must not be noticed, or nothing that is noticed tells anything. Those
        # that are compiled together begin with that.
        same = Mutant("errors.py", 0, "", "", "", (PACKAGE / "errors.py").read_text("utf-8"))
        control = try_mutant(same, chosen.out.resolve())
        if control["by"]:
            sys.exit(f"the book fails without a mutant: {control['by']}, {control['how']}")
    with log.open("a", encoding="utf-8") as file:
        lock = threading.Lock()

        def note(one: dict[str, object]) -> None:
            with lock:
                found[str(one["name"])] = one
                file.write(json.dumps(one) + "\n")
                file.flush()
                fate = f"noticed by {one['by']}" if one["by"] else "NOT NOTICED"
                print(f"{one['name']}\n    {fate}  {one['how']} ({one['seconds']} s)", flush=True)

        def attempt(group: list[Mutant]) -> None:
            if len(group) > 1:
                for one in try_together(group, chosen.out.resolve()):
                    note(one)
            else:
                first = sharpest(found.values(), group[0].file)
                note(try_mutant(group[0], chosen.out.resolve(), first))

        with ThreadPoolExecutor(chosen.jobs) as pool:
            for job in as_completed([pool.submit(attempt, group) for group in groups]):
                job.result()
    equivalent = explained()
    lines_now = {m.name: m.line for m in every}
    rows = [f | {"line": lines_now[name]} for name, f in found.items() if name in lines_now]
    text = table(rows, equivalent)
    (chosen.out / "mutants.md").write_text(text, "utf-8")
    print(text)


if __name__ == "__main__":
    main()
