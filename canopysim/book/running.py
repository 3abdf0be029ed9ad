"""The book read from cover to cover: every case traced, judged, and kept until all are done."""

from __future__ import annotations

import hashlib
import json
import platform
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import canopysim
from canopysim.book.bench import Bench, Edition
from canopysim.book.case import Case
from canopysim.book.outcome import Outcome
from canopysim.book.record import Record
from canopysim.errors import CanopysimError


def read_book(
    cases: Sequence[Case],
    *,
    edition: Edition = "quick",
    seed: int = 1,
    threads: int | None = None,
    n_case: int | None = None,
    kept: Path | None = None,
    on_progress: Callable[[Case, int, int], None] | None = None,
) -> Iterator[Record]:
    """Trace cases one after the other.

    Parameters
    ----------
    cases : sequence of Case
        In the order in which they are traced.
    edition : "quick" or "full"
        How many packets.
    seed : int
        Of the whole book; each case's photons have seeds of their own that follow from it.
    threads : int, optional
        All cores if left out.
    n_case : int, optional
        Cases that share the error budget; as many as are given if left out.
    kept : Path, optional
        Folder in which finished cases are kept until all are done, so that a book that was
        interrupted goes on: same edition, same seed, same program on the same machine.
    on_progress : callable, optional
        Called with the case, packets traced and packets wanted.

    Yields
    ------
    Record
        As soon as a case is done. A case that cannot be traced is one that does not hold.

    Raises
    ------
    CanopysimError
        Where what is done cannot be kept.
    """
    n_case = n_case or len(cases)
    done = _Kept(kept, edition, seed) if kept is not None else None
    for case in cases:
        found = done.of(case) if done is not None else None
        before = found is not None
        if found is None:
            found = _traced(case, edition, seed, threads, on_progress)
            if done is not None:
                done.keep(case, found)
        yield Record(
            case=case,
            outcomes=tuple(_outcome(o) for o in found["outcomes"]),
            n_case=n_case,
            precision=case.precision / _share(case, edition),
            seed=found["seed"],
            packets=found["packets"],
            seconds=found["seconds"],
            kept=before,
            problem=found["problem"],
        )
    if done is not None:
        done.forget()


def _share(case: Case, edition: Edition) -> float:
    return case.quick if edition == "quick" else 1.0


def _traced(
    case: Case,
    edition: Edition,
    seed: int,
    threads: int | None,
    on_progress: Callable[[Case, int, int], None] | None,
) -> dict[str, Any]:
    """Trace a case; give what came of it in plain values."""

    def told(packets: int, wanted: int) -> None:
        if on_progress is not None:
            on_progress(case, packets, wanted)

    bench = Bench(
        case.name, seed=seed, share=_share(case, edition), threads=threads, on_progress=told
    )
    outcomes: list[Outcome] = []
    start, problem = time.perf_counter(), ""
    try:
        outcomes = case.run(bench)
    except Exception as error:
        # Whatever breaks in one case, the others are still worth reading.
        problem = f"{type(error).__name__}: {error}"
    return {
        "outcomes": [asdict(o) for o in outcomes],
        "seed": bench.seeds[0] if bench.seeds else 0,
        "packets": bench.packets,
        "seconds": time.perf_counter() - start,
        "problem": problem,
    }


def _outcome(values: dict[str, Any]) -> Outcome:
    law = values.get("law")
    return Outcome(**values | {"law": None if law is None else (float(law[0]), float(law[1]))})


def program_digest() -> str:
    """SHA-256 of the program's files, of what it computes with, and of the processor.

    No case of another program, library or machine is taken for one of this.
    """
    from canopysim.transport.cache import kernel_digest

    digest = hashlib.sha256(f"{kernel_digest()} {platform.python_version()}".encode())
    root = Path(canopysim.__file__).parent
    for path in sorted(p for p in root.rglob("*") if p.suffix in (".py", ".yaml", ".csv")):
        digest.update(str(path.relative_to(root)).encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()


class _Kept:
    """Finished cases in a file, one line each; the first line says of which program."""

    def __init__(self, folder: Path, edition: Edition, seed: int) -> None:
        self.path = folder / kept_name(edition, seed)
        head = {"program": program_digest()}
        self.found: dict[str, dict[str, Any]] = {}
        try:
            lines = self.path.read_text("utf-8").splitlines() if self.path.exists() else []
        except OSError as problem:
            raise _cannot(self.path, problem) from None
        try:
            if lines and json.loads(lines[0]) == head:
                for line in lines[1:]:
                    entry = json.loads(line)
                    self.found[entry.pop("case")] = entry
        except (ValueError, KeyError, AttributeError, TypeError):
            # A line that was being written as the program ended: that case is traced again.
            pass
        kept = [head, *({"case": name} | entry for name, entry in self.found.items())]
        self._write("".join(f"{json.dumps(entry)}\n" for entry in kept))

    def of(self, case: Case) -> dict[str, Any] | None:
        return self.found.get(case.name)

    def keep(self, case: Case, entry: dict[str, Any]) -> None:
        try:
            with self.path.open("a", encoding="utf-8") as file:
                file.write(json.dumps({"case": case.name} | entry) + "\n")
        except OSError as problem:
            raise _cannot(self.path, problem) from None

    def forget(self) -> None:
        """Remove it: the next book is read from the start."""
        self.path.unlink(missing_ok=True)

    def _write(self, text: str) -> None:
        from canopysim.sealed import write_whole

        try:
            write_whole(self.path, text)
        except OSError as problem:
            raise _cannot(self.path, problem) from None


def kept_name(edition: Edition, seed: int) -> str:
    """Name the file in which finished cases of a book are kept."""
    return f"selftest-{edition}-{seed}.jsonl"


def _cannot(path: Path, problem: OSError) -> CanopysimError:
    return CanopysimError(
        f"{path}: cannot be written or read ({problem.strerror}); choose another folder with --out"
    )
