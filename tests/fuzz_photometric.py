"""Damaged photometric files by the thousand: each is a lens or one line that says why not.

`python tests/fuzz_photometric.py 100000` makes so many from the files of the corpus and counts what
becomes of them. A file has an address, (seed, number), and can be made again alone. What ends
otherwise, takes too long or allocates too much is printed with its address; then the exit code is
1. Needs POSIX, for alarms and limits.
"""

from __future__ import annotations

import argparse
import random
import re
import resource
import signal
import sys
import time
import tracemalloc
import warnings
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from pathlib import Path

import numpy as np
from corpus import FOLDER, cases

from canopysim.errors import CanopysimError
from canopysim.light.lens_table import lens_table
from canopysim.light.photometry import flux, parse_photometric, summarise

# A sound file of the corpus takes a fifth of a second and 40 MiB at most.
# Of the processor, so that a busy machine makes no failures.
MOST_SECONDS = 5.0
MOST_BYTES = 64 * 2**20
# Address space that a worker may take beyond what it has when it starts.
MOST_SPACE = 2**30
HUGE = [
    *("1e308", "-1e308", "1e999", "9" * 30, "9" * 300, "1e-320", "-0", "2147483648", "8000000"),
    *("4294967296", "99999999999999999999", "0.00000000000000000001", "nan", "inf", "1,5", "1e5"),
    *("360", "180", "90", "-90", "0", "1", "2", "3", "361", "89.9999999", "-1", "1.00010", "65536"),
    *("TILT=INCLUDE", "TILT=NONE", "[MORE]", "IESNA91", "\x1a", "\0", "\u2028", "\x85", "\ufeff"),
    "END",
]  # fmt: skip


@cache
def originals() -> tuple[bytes, ...]:
    """What is damaged: the corpus, of which one file in ten is damaged before."""
    read = [case for case in cases() if case.refusal is None]
    refused = [case for case in cases() if case.refusal is not None]
    some = [*read, *refused[:: max(1, 9 * len(refused) // len(read))]]
    return tuple((FOLDER / case.name).read_bytes() for case in some)


def flip(data, rng):
    for _ in range(rng.choice([1, 1, 2, 12])):
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)


def overwrite(data, rng):
    for _ in range(rng.choice([1, 1, 2, 12])):
        data[rng.randrange(len(data))] = rng.randrange(256)


def delete(data, rng):
    start = rng.randrange(len(data))
    del data[start : start + rng.choice([1, 2, 10, 100, 1000])]


def double(data, rng):
    start = rng.randrange(len(data))
    piece = data[start : start + rng.choice([1, 2, 10, 100, 1000])]
    data[start:start] = piece * rng.choice([1, 1, 1, 2, 30])


def truncate(data, rng):
    del data[rng.randrange(len(data)) :]


def numbers(data, rng):
    """Words give way to huge, odd or other words."""
    words = re.split(rb"([ \n\r,\t]+)", bytes(data))
    for _ in range(rng.choice([1, 1, 2, 6])):
        at = rng.randrange(len(words))
        word = rng.choice(HUGE).encode() if rng.random() < 0.8 else rng.choice(words)
        words[at] = word
    data[:] = b"".join(words)


def head_numbers(data, rng):
    """As `numbers`, where the counts stand: soon after TILT=, or in the first lines."""
    words = re.split(rb"([ \n\r,\t]+)", bytes(data))
    starts = [at for at, word in enumerate(words) if word.upper().startswith(b"TILT")]
    first = starts[0] if starts else 0
    for _ in range(rng.randint(1, 3)):
        at = min(first + 2 * rng.randint(0, 40), len(words) - 1)
        words[at] = rng.choice(HUGE).encode()
    data[:] = b"".join(words)


def lines(data, rng):
    """Lines change places, go or come twice."""
    rows = bytes(data).split(b"\n")
    for _ in range(rng.randint(1, 4)):
        a, b = rng.randrange(len(rows)), rng.randrange(len(rows))
        how = rng.randrange(3)
        if how == 0:
            rows[a], rows[b] = rows[b], rows[a]
        elif how == 1:
            rows.insert(a, rows[b])
        elif len(rows) > 1:
            del rows[a]
    data[:] = b"\n".join(rows)


def splice(data, rng):
    """The head of one file, the tail of another."""
    other = rng.choice(originals())
    if other:
        data[rng.randrange(len(data)) :] = other[rng.randrange(len(other)) :]


def separators(data, rng):
    """Blanks, commas, tabs and line ends take each other's places."""
    old, new = rng.choice(b" ,\t\n\r.0"), rng.choice(b" ,\t\n\r;.\0")
    share = rng.choice([0.02, 0.3, 1.0])
    for at, byte in enumerate(data):
        if byte == old and rng.random() < share:
            data[at] = new


def digits(data, rng):
    """Digits become other digits, which leaves numbers numbers."""
    places = [at for at, byte in enumerate(data) if 48 <= byte < 58]
    for _ in range(rng.choice([1, 1, 2, 12, 200]) if places else 0):
        data[rng.choice(places)] = rng.randrange(48, 58)


# Mostly mild damage, so that many files are still read.
WAYS = (
    *(digits, digits, digits, flip, overwrite, delete, double, truncate, numbers, head_numbers),
    *(lines, splice, separators),
)


def damaged(seed: int, number: int) -> bytes:
    """The file with this address: damaged in one way, or up to three."""
    rng = random.Random(f"{seed} {number}")
    data = bytearray(rng.choice(originals()))
    for _ in range(rng.choice([1, 1, 1, 2, 3])):
        if data:
            rng.choice(WAYS)(data, rng)
    return bytes(data)


def outcome(data: bytes) -> str:
    """What becomes of a file: "lens", "refused", or what went wrong."""
    try:
        distribution = parse_photometric(data, "bench.ies")
        total = flux(distribution)
        table = lens_table(distribution)
        summarise(distribution)
    except CanopysimError as error:
        message = str(error)
        sound = re.match(r"bench\.ies:\d+: ", message) and message.isprintable()
        return "refused" if sound and len(message) < 1000 else f"no one-line error: {message!r}"
    if not (np.isfinite(total) and total > 0 and np.isfinite(table.numbers).all()):
        return f"no light: {total}"
    for line in distribution.warnings:
        if not (re.match(r"bench\.ies:\d+: ", line) and line.isprintable() and len(line) < 1000):
            return f"no one-line doubt: {line!r}"
    return "lens with doubts" if distribution.warnings else "lens"


class TooLongError(Exception):
    """A file took too long."""


def _too_long(*_):
    raise TooLongError


def judged(seed: int, number: int, trace_memory: bool) -> tuple[str, float, int]:
    """Outcome, seconds and peak of allocated bytes (0 if not traced) of one file."""
    data = damaged(seed, number)
    signal.signal(signal.SIGPROF, _too_long)
    signal.setitimer(signal.ITIMER_PROF, MOST_SECONDS)
    if trace_memory:
        tracemalloc.reset_peak()
        before = tracemalloc.get_traced_memory()[0]
    start = time.process_time()
    try:
        found = outcome(data)
    except TooLongError:
        found = f"takes more than {MOST_SECONDS:g} s"
    except Exception as error:  # What is looked for.
        found = f"traceback: {type(error).__name__}: {error}"
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    seconds = time.process_time() - start
    taken = tracemalloc.get_traced_memory()[1] - before if trace_memory else 0
    if taken > MOST_BYTES:
        found = f"allocates {taken} bytes"
    return found, seconds, taken


def judge_some(seed: int, first: int, last: int, trace_memory: bool):
    """Counts of outcomes, the slowest and the largest, and what failed, of a range of numbers."""
    warnings.simplefilter("error")
    old = resource.getrlimit(resource.RLIMIT_AS)
    size = Path("/proc/self/statm")
    if size.exists():
        space = int(size.read_text().split()[0]) * resource.getpagesize() + MOST_SPACE
        resource.setrlimit(resource.RLIMIT_AS, (space, old[1]))
    if trace_memory:
        tracemalloc.start()
    counts, failed, slowest, largest = Counter(), [], 0.0, 0
    try:
        for number in range(first, last):
            found, seconds, taken = judged(seed, number, trace_memory)
            slowest, largest = max(slowest, seconds), max(largest, taken)
            if found in ("lens", "lens with doubts", "refused"):
                counts[found] += 1
            else:
                counts["failed"] += 1
                failed.append((number, found))
    finally:
        if trace_memory:
            tracemalloc.stop()
        resource.setrlimit(resource.RLIMIT_AS, old)
    return counts, failed, slowest, largest


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("count", type=int, help="how many files")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args()
    step = 500
    counts, failed, slowest, largest = Counter(), [], 0.0, 0
    with ProcessPoolExecutor(given.workers) as pool:
        jobs = [
            pool.submit(judge_some, given.seed, first, min(first + step, given.count), True)
            for first in range(0, given.count, step)
        ]
        for job in jobs:
            some, wrong, seconds, taken = job.result()
            counts += some
            failed += wrong
            slowest, largest = max(slowest, seconds), max(largest, taken)
    for name, count in counts.most_common():
        print(f"{count:8d} {name}")
    print(f"slowest {slowest:.2f} s, largest {largest / 2**20:.1f} MiB")
    for number, found in failed[:50]:
        print(f"(seed {given.seed}, number {number}): {found}")
    return bool(failed)


if __name__ == "__main__":
    sys.exit(main())
