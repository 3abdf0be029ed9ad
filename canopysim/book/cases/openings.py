"""Rooms: openings and patches on the faces, each with its share of the straight light."""

from __future__ import annotations

from canopysim.book.case import Case
from canopysim.book.exact.openings import Rectangle, share_on
from canopysim.book.readings import Reading, Share
from canopysim.book.scenes import Data, box, panel, scene

SIZE = (0.9, 0.7, 0.6)
WHOLE: dict[str, Rectangle] = {
    "left": ((0, SIZE[1]), (0, SIZE[2])), "right": ((0, SIZE[1]), (0, SIZE[2])),
    "front": ((0, SIZE[0]), (0, SIZE[2])), "back": ((0, SIZE[0]), (0, SIZE[2])),
    "ceiling": ((0, SIZE[0]), (0, SIZE[1])),
}  # fmt: skip
LAMP: Rectangle = ((0.1, 0.4), (0.05, 0.3))
# What lies on a face, in this order; later ones lie over earlier ones. None is an opening.
ON: dict[str, list[tuple[Rectangle, str | None]]] = {
    "ceiling": [(((0.1, 0.6), (0.0, 0.5)), "black"), (((0.4, 0.8), (0.2, 0.65)), None)],
    "left": [(((0.05, 0.45), (0.1, 0.35)), None)],
    "right": [(((0.3, 0.7), (0.0, 0.5)), "black")],
    "back": [(((0.2, 0.5), (0.15, 0.6)), "black"), (((0.1, 0.3), (0.05, 0.3)), "black"),
             (((0.25, 0.45), (0.25, 0.4)), None)],
    "front": [],
}  # fmt: skip
OPEN = ("back",)


def _common(one: Rectangle, other: Rectangle) -> Rectangle | None:
    cut = tuple((max(p[0], q[0]), min(p[1], q[1])) for p, q in zip(one, other, strict=True))
    return (cut[0], cut[1]) if all(low < high for low, high in cut) else None


def _seen(face: str, part: Rectangle, over: list[Rectangle]) -> float:
    """Share on what is left of a part under others, by inclusion and exclusion."""
    share = share_on(face, part, LAMP, SIZE)
    for k, other in enumerate(over):
        both = _common(part, other)
        if both is not None:
            share -= _seen(face, both, over[k + 1 :])
    return share


def _end(face: str, number: int, surface: str | None) -> str:
    if number:
        patch = f"patch {number} of the {face}"
        return f"{patch} ({surface})" if surface else f"escaped through {patch}"
    return f"escaped through the {face}" if face in OPEN else face


def _parts() -> dict[str, float]:
    shares = {}
    for face, whole in WHOLE.items():
        layers = [(whole, None if face in OPEN else "black"), *ON[face]]
        for number, (part, surface) in enumerate(layers):
            over = [other for other, _ in layers[number + 1 :]]
            shares[_end(face, number, surface)] = _seen(face, part, over)
    return shares


def _patches(face: str) -> Data:
    patches = [
        ({"surface": surface} if surface else {"open": "true"})
        | {"corner": [f"{low} m" for low, _ in part], "opposite": [f"{high} m" for _, high in part]}
        for part, surface in ON[face]
    ]
    first = {"open": "true"} if face in OPEN else {"surface": "black"}
    return first | {"patches": patches}


FIGURES: dict[str, Reading] = {end: Share(end) for end in _parts()}
ROOM = box("90 cm", "70 cm", "60 cm", **{face: _patches(face) for face in WHOLE})
CASES = (
    Case(
        name="patches and openings on the faces of a black room", chapter="rooms",
        shows="Where straight light meets each face: patches lie over each other in their order.",
        source="Configuration factors between rectangles in closed form (Howell C-13 and C-15), "
        "common parts counted once.",
        fails_if="A patch lay elsewhere, its axes were swapped or mirrored, or the earlier of two "
        "that overlap won.",
        scene=scene(
            "Patches and openings",
            enclosure=ROOM,
            fixtures={"lamp": panel("30 cm", "25 cm")},
            lights=[{"fixture": "lamp", "at": ["25 cm", "17.5 cm"], "height": "0 cm",
                     "tilt": "180 deg"}],
        ),
        figures=FIGURES,
        exact=_parts,
        packets=1 << 21,
        # Small batches of launches are stratified worse than chance for some of these parts.
        quick=1 / 8,
        precision=2.5e-4,
        scale=1.0,
    ),
)  # fmt: skip
