"""Many changes in one copy of the program, each turned on in a process of its own.

Started by `mutate.py` with a copy of the package in which every change stands behind a switch. The
book is read once with none of them on: that compiles the kernels, must pass, and tells which cases
come by each change. Then for each change a child is forked that turns it on and reads those cases
until one fails. One line of JSON tells of each. What modules reckon when they are imported is too
late to change: such a change must be tried by itself.
"""

from __future__ import annotations

import gc
import importlib
import json
import os
import pkgutil
import select
import signal
import sys
import time
from collections import Counter
from collections.abc import Iterator
from functools import _lru_cache_wrapper

import canopysim
from canopysim.book.case import Case
from canopysim.book.cases import all_cases
from canopysim.book.record import Record
from canopysim.book.running import read_book
from canopysim.transport.target import asked_for, turn_on

# A case that takes so many times as long as without a change never ends.
TIMES, MORE_S, MOST_S = 4.0, 20.0, 60.0


def in_order(
    first: list[str], seconds: dict[str, float], chosen: set[str] | None = None
) -> list[Case]:
    """Cases, all or those chosen: those that noticed most so far first, then the quickest."""

    def cost(case: Case) -> tuple[int, float]:
        before = first.index(case.name) if case.name in first else len(first)
        return before, seconds.get(case.name, case.packets * case.quick)

    return sorted((c for c in all_cases() if chosen is None or c.name in chosen), key=cost)


def how(record: Record) -> str:
    """What was wrong with a case."""
    worst = record.worst
    return record.problem or f"{worst.figure}: z {worst.z:.3g}"


def import_all() -> None:
    """Import every module, but for commands of folders and what wants a screen."""
    for module in pkgutil.walk_packages(canopysim.__path__, "canopysim."):
        if "__main__" not in module.name:
            importlib.import_module(module.name)


def forget() -> None:
    """Drop what functions of the program remember; the book's own remember what is right."""
    for thing in gc.get_objects():
        if isinstance(thing, _lru_cache_wrapper):
            of = str(getattr(thing, "__module__", ""))
            if of.startswith("canopysim.") and not of.startswith("canopysim.book"):
                thing.cache_clear()


def control() -> tuple[dict[str, float], dict[int, set[str]]]:
    """Read the book with nothing turned on: seconds of each case, and cases by change."""
    seconds: dict[str, float] = {}
    coming_by: dict[int, set[str]] = {}
    asked_for()
    forget()
    for record in read_book(in_order([], {}), edition="quick", threads=1):
        if not record.passed:
            sys.exit(f"the book fails without a change: {record.case.name}, {how(record)}")
        seconds[record.case.name] = record.seconds
        for number in asked_for():
            coming_by.setdefault(number, set()).add(record.case.name)
        forget()
    return seconds, coming_by


def read(number: int, cases: list[Case], out: int) -> None:
    """Read the book with one change on; in a child of its own."""
    turn_on(number)
    forget()
    for record in read_book(cases, edition="quick", threads=1):
        line = {"case": record.case.name, "how": "" if record.passed else how(record)}
        os.write(out, (json.dumps(line) + "\n").encode())
        if line["how"]:
            break
    os.write(out, b'{"case": "", "how": ""}\n')


def lines_of(source: int, limits: Iterator[float]) -> Iterator[dict[str, str] | None]:
    """Give what a child says, line by line; None where it says nothing for too long."""
    rest = b""
    end = time.monotonic() + next(limits)
    while True:
        while b"\n" in rest:
            line, rest = rest.split(b"\n", 1)
            yield json.loads(line)
            end = time.monotonic() + next(limits, MORE_S)
        if not select.select([source], [], [], max(end - time.monotonic(), 0.0))[0]:
            yield None
            return
        more = os.read(source, 65536)
        if not more:
            return
        rest += more


def attempt(number: int, cases: list[Case], seconds: dict[str, float]) -> dict[str, str]:
    """By which case a change was noticed, and how; an empty name if by none."""
    source, out = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(source)
        try:
            read(number, cases, out)
        finally:
            os._exit(0)
    os.close(out)
    limits = iter([min(TIMES * seconds[case.name], MOST_S) + MORE_S for case in cases])
    found = {"by": "a guard or a crash", "how": "the program ended"}
    for line in lines_of(source, limits):
        if line is None:
            found = {"by": "the clock", "how": "never ends"}
            break
        if line["how"] or not line["case"]:
            found = {"by": line["case"], "how": line["how"]}
            break
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    os.close(source)
    return found


def main() -> None:
    """Try the changes whose numbers are arguments."""
    import_all()
    early = set(asked_for())
    seconds, coming_by = control()
    print(json.dumps({"ready": round(sum(seconds.values()), 1)}), flush=True)
    noticed: Counter[str] = Counter()
    last: list[str] = []
    for number in map(int, sys.argv[1:]):
        if number in early:
            continue
        start = time.monotonic()
        # What noticed the changes before, of the same function perhaps, then what noticed most.
        first = list(dict.fromkeys([*last, *(name for name, _ in noticed.most_common(12))]))
        chosen = coming_by.get(number, set())
        found = {"by": "", "how": "no case comes by it"}
        if chosen:
            found = attempt(number, in_order(first, seconds, chosen), seconds)
        if found["by"] in seconds:
            noticed[found["by"]] += 1
            last = list(dict.fromkeys([found["by"], *last]))[:4]
        took = {"number": number, "seconds": round(time.monotonic() - start, 1)}
        print(json.dumps(found | took), flush=True)


if __name__ == "__main__":
    main()
