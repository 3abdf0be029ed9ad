"""A case of the book: a scene, what must come out of it and why, and what it would take to fail."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from canopysim.book.outcome import Outcome
from canopysim.book.readings import Reading

if TYPE_CHECKING:
    from canopysim.book.bench import Bench

Scene = Mapping[str, Any]
Number = float | NDArray[np.float64]
Exact = Mapping[str, Number]


@dataclass(frozen=True)
class Case:
    """One page of the book.

    Attributes
    ----------
    name : str
        What it is called; unlike all others.
    chapter : str
        Where it stands: "light", "rooms", "leaves", "meters", "colours and groups", "told apart",
        "two ways", "errors".
    shows : str
        The one effect that it sets apart, a sentence.
    source : str
        Where the exact values come from: the formula and its book or paper, or the derivation.
    fails_if : str
        What would have to be wrong for it to fail.
    scene : mapping
        As a scene file would be, in nested mappings of text.
    figures : mapping of str to Reading
        What is read off the result, by name.
    exact : callable
        Gives each figure's exact value under the same name, as an array of the reading's shape.
        It imports nothing from canopysim.
    packets : int
        Packets of the full edition.
    quick : float
        Share of them that the quick edition traces.
    precision : float
        Largest standard error that the full edition may leave, relative to each figure, or to what
        `scale` names. The quick edition may leave 1/`quick` times as much: its batches are smaller,
        and launches that are spread evenly over a batch gain more than the root of their number.
    scale : float or mapping of str to float, optional
        What errors are relative to where that is not the figure itself: 1 for shares of all light.
    why_rough : str
        Why `precision` is coarser than 0.1 %; "" where it is not.
    exact_err : mapping of str to float or array
        What the exact values themselves may be off; nothing if left out.
    files : mapping of str to bytes
        Files beside the scene that it names.
    options : mapping
        For `compile_world`, such as ``{"wall_triangles": 5000}``.
    measure : callable, optional
        Gives the outcomes of a case that is more than one trace held beside exact values.
    """

    name: str
    chapter: str
    shows: str
    source: str
    fails_if: str
    scene: Scene = field(default_factory=dict)
    figures: Mapping[str, Reading] = field(default_factory=dict)
    exact: Callable[[], Exact] | None = None
    packets: int = 1 << 22
    quick: float = 1 / 16
    precision: float = 1e-3
    scale: float | Mapping[str, float] | None = None
    why_rough: str = ""
    exact_err: Exact = field(default_factory=dict)
    files: Mapping[str, bytes] = field(default_factory=dict)
    options: Mapping[str, Any] = field(default_factory=dict)
    measure: Callable[[Bench, Case], Sequence[Outcome]] | None = None

    def run(self, bench: Bench) -> list[Outcome]:
        """Trace it and hold every figure beside its exact value."""
        if self.measure is not None:
            return list(self.measure(bench, self))
        assert self.exact is not None
        result = bench.trace(self.scene, self.packets, files=self.files, options=self.options)
        return self.compare(result, self.exact())

    def compare(self, result: Any, exact: Exact) -> list[Outcome]:
        """Hold the figures of a result beside exact values of the same names and shapes."""
        if set(exact) != set(self.figures):
            raise KeyError(f"{self.name}: figures and exact values have unlike names")
        outcomes = []
        for name, reading in self.figures.items():
            found = reading.read(result)
            wanted = np.asarray(exact[name], np.float64)
            if wanted.shape != found.value.shape:
                raise ValueError(f"{self.name}, {name}: {wanted.shape} for {found.value.shape}")
            errors = np.broadcast_to(self.exact_err.get(name, 0.0), wanted.shape)
            scale = self.scale.get(name) if isinstance(self.scale, Mapping) else self.scale
            for at in np.ndindex(wanted.shape):
                label = f"{name} [{', '.join(str(i) for i in at)}]" if at else name
                outcomes.append(
                    Outcome(label, float(wanted[at]), float(found.value[at]),
                            float(found.std_err[at]), found.n_row, float(errors[at]), scale)
                )  # fmt: skip
        return outcomes
