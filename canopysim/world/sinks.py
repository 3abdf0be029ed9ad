"""Where photons can end: the places of a world and their rows in the books."""

from __future__ import annotations

from dataclasses import dataclass, field

from canopysim.transport.arrays import LEAK, REPEAT, SURFACE

SIDES = ("upper", "lower")
# What an end is, whatever a person reads there.
LEAF, STEM, BODY, FACE, PATCH, ESCAPE = "leaf", "stem", "body", "face", "patch", "escape"
FRUIT, POT, NET = "fruit", "pot", "net"
IN_LAYERS = (LEAF, STEM, FRUIT, NET)  # booked by canopy layer
UNTRACED, ROULETTE, CHOICE = "untraced", "roulette", "choice"


@dataclass(frozen=True)
class Sink:
    """One row of the books.

    Attributes
    ----------
    end : str
        What a person reads, such as "leaves", "floor" or "escaped through the front".
    kind : str
        "leaf", "stem", "fruit", "pot", "net", "body", "face", "patch", "escape", "untraced",
        "roulette" or "choice".
    face : str
        Face of the enclosure that it belongs to, or "".
    layer : int or None
        Canopy layer, 0 at the top.
    side : str or None
        Leaf side "upper" or "lower".
    """

    end: str
    kind: str
    face: str = ""
    layer: int | None = None
    side: str | None = None


@dataclass
class Places:
    """Numbers places and sinks while a world is compiled.

    A place is what a triangle or a face points to; places that answer to the same end share its
    sinks.
    """

    n_layer: int
    sinks: list[Sink] = field(default_factory=list)
    kind: list[int] = field(default_factory=list)
    surface: list[int] = field(default_factory=list)
    first_sink: list[int] = field(default_factory=list)
    layered: list[int] = field(default_factory=list)
    solid: list[int] = field(default_factory=list)
    name: list[str] = field(default_factory=list)
    face: list[str] = field(default_factory=list)
    _known: dict[tuple[str, int, int, int, int, int], int] = field(default_factory=dict)
    _first: dict[str, int] = field(default_factory=dict)

    def _sink_of(self, end: str, what: str, face: str, layered: bool) -> int:
        """First row of an end, made when it is first asked for."""
        if end not in self._first:
            self._first[end] = len(self.sinks)
            if layered:
                self.sinks += [
                    Sink(end, what, face, layer, side)
                    for layer in range(self.n_layer)
                    for side in SIDES
                ]
            else:
                self.sinks.append(Sink(end, what, face))
        return self._first[end]

    def add(
        self,
        end: str,
        surface: int,
        what: str,
        *,
        face: str = "",
        kind: int = SURFACE,
        layered: bool = False,
        solid: bool = False,
        own: int = -1,
    ) -> int:
        """Look up the place with these properties, or make it.

        Parameters
        ----------
        end : str
            What a person reads.
        surface : int
            Row of the optics table; ignored where nothing is reflected.
        what : str
            What the end is: LEAF, STEM, FRUIT, POT, NET, BODY, FACE, PATCH or ESCAPE.
        face : str
            Face of the enclosure, where it belongs to one.
        kind : int
            SURFACE, OPEN, LEAK, REPEAT or WITH_FILM.
        layered : bool
            Two sinks for each canopy layer rather than one.
        solid : bool
            Its inside must not be reachable.
        own : int
            A number that keeps it apart from other places of the same end, or -1.
        """
        key = (end, surface, kind, int(layered), int(solid), own)
        if key not in self._known:
            self._known[key] = len(self.kind)
            self.kind.append(kind)
            self.surface.append(surface)
            # A leak is booked in the sink "untraced", whose number is known only at the end;
            # nothing ends on a side that repeats.
            unseen = kind in (LEAK, REPEAT)
            self.first_sink.append(0 if unseen else self._sink_of(end, what, face, layered))
            self.layered.append(int(layered))
            self.solid.append(int(solid))
            self.name.append(end)
            self.face.append(face)
        return self._known[key]

    def close(self) -> tuple[Sink, ...]:
        """Append the three lines that every book has last, and give all sinks."""
        self.sinks += [Sink(name, name) for name in (UNTRACED, ROULETTE, CHOICE)]
        return tuple(self.sinks)
