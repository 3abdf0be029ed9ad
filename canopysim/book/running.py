"""The book read from cover to cover: every case traced, judged, and kept as it is done."""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import canopysim
from canopysim.book.bench import Bench, Edition
from canopysim.book.budget import case_bound, normal_bound, normal_p
from canopysim.book.case import Case
from canopysim.book.outcome import Outcome

DONE_NAME = "selftest.jsonl"


@dataclass(frozen=True)
class Record:
    """One case after it was traced.

    Attributes
    ----------
    case : Case
        What was traced.
    outcomes : tuple of Outcome
        Every figure of it.
    bound : float
        Largest |z| that passes.
    precision : float
        Largest relative error that passes, of this edition.
    seed : int
        First seed of its photons; 0 where it takes none.
    packets : int
    seconds : float
        By the clock, the exact value included.
    kept : bool
        Whether it was traced before, and taken from what was kept.
    """

    case: Case
    outcomes: tuple[Outcome, ...]
    bound: float
    precision: float
    seed: int
    packets: int
    seconds: float
    kept: bool = False

    @property
    def worst(self) -> Outcome:
        """The figure that is furthest off."""
        return max(self.outcomes, key=lambda o: abs(o.z))

    @property
    def roughest(self) -> Outcome:
        """The figure with the largest relative error."""
        return max(self.outcomes, key=lambda o: o.rel_err)

    @property
    def chief(self) -> Outcome:
        """The first figure with chance in it, or the first: it stands for the case among others."""
        return next((o for o in self.outcomes if o.is_random), self.outcomes[0])

    @property
    def is_right(self) -> bool:
        """Whether no figure is further off than it may be by chance."""
        return all(abs(o.z) <= self.bound for o in self.outcomes)

    @property
    def is_sharp(self) -> bool:
        """Whether every figure is as precise as the case states."""
        return all(o.rel_err <= self.precision for o in self.outcomes)

    @property
    def passed(self) -> bool:
        """Whether it is right and precise."""
        return self.is_right and self.is_sharp


@dataclass(frozen=True)
class Verdict:
    """What the whole book says."""

    edition: Edition
    seed: int
    records: tuple[Record, ...]
    n_case: int

    @property
    def failed(self) -> list[Record]:
        """Cases that are wrong or rough."""
        return [r for r in self.records if not r.passed]

    @property
    def p_normal(self) -> float:
        """Probability of z as unlike the normal law as those of the cases' first figures."""
        return normal_p([r.chief for r in self.records])

    @property
    def is_normal(self) -> bool:
        """Whether those z scatter as they should; too few to tell pass."""
        return not self.p_normal < normal_bound(self.n_case)

    @property
    def passed(self) -> bool:
        """Whether the book holds."""
        return not self.failed and self.is_normal


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
        Folder in which finished cases are kept, and from which those of the same edition, seed and
        program are taken instead of being traced again.
    on_progress : callable, optional
        Called with the case, packets traced and packets wanted.

    Yields
    ------
    Record
        As soon as a case is done.
    """
    n_case = n_case or len(cases)
    done = _Kept(kept, edition, seed) if kept is not None else None
    for case in cases:
        share = case.quick if edition == "quick" else 1.0
        before = found = done.of(case) if done is not None else None
        if found is None:
            bench = Bench(
                case.name, seed=seed, share=share, threads=threads,
                on_progress=None if on_progress is None else (
                    lambda n, of, case=case: on_progress(case, n, of)  # type: ignore[misc]
                ),
            )  # fmt: skip
            start = time.perf_counter()
            outcomes = case.run(bench)
            found = {
                "outcomes": [asdict(o) for o in outcomes],
                "seed": bench.seeds[0] if bench.seeds else 0,
                "packets": bench.packets,
                "seconds": time.perf_counter() - start,
            }
            if done is not None:
                done.keep(case, found)
        every = tuple(Outcome(**o) for o in found["outcomes"])
        yield Record(
            case, every, case_bound(n_case, every), case.precision / share,
            found["seed"], found["packets"], found["seconds"], before is not None,
        )  # fmt: skip


def program_digest() -> str:
    """SHA-256 of the program's own files, so that no case of another program is taken for one."""
    digest = hashlib.sha256()
    root = Path(canopysim.__file__).parent
    for path in sorted(p for p in root.rglob("*") if p.suffix in (".py", ".yaml", ".csv")):
        digest.update(str(path.relative_to(root)).encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()


class _Kept:
    """Finished cases in a file, one line each; the first line says of which run."""

    def __init__(self, folder: Path, edition: Edition, seed: int) -> None:
        self.path = folder / DONE_NAME
        head = {"edition": edition, "seed": seed, "program": program_digest()}
        self.found: dict[str, dict[str, Any]] = {}
        lines = self.path.read_text("utf-8").splitlines() if self.path.exists() else []
        try:
            if lines and json.loads(lines[0]) == head:
                for line in lines[1:]:
                    entry = json.loads(line)
                    self.found[entry.pop("case")] = entry
        except (ValueError, KeyError, AttributeError, TypeError):
            # A line that was being written as the program ended: that case is traced again.
            pass
        kept = [json.dumps(head)]
        kept += [json.dumps({"case": name} | entry) for name, entry in self.found.items()]
        self.path.write_text("".join(f"{line}\n" for line in kept), "utf-8")

    def of(self, case: Case) -> dict[str, Any] | None:
        return self.found.get(case.name)

    def keep(self, case: Case, entry: dict[str, Any]) -> None:
        with self.path.open("a", encoding="utf-8") as file:
            file.write(json.dumps({"case": case.name} | entry) + "\n")
