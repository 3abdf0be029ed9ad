"""Meters: light from all sides in a ball, below panels, bars and the sun, and among mirrors."""

from __future__ import annotations

import numpy as np

from canopysim.book.case import Case, Exact
from canopysim.book.cases.beams import lens
from canopysim.book.cases.slabs import sides_of
from canopysim.book.dark_rooms import FLUX, SIZE, hung, lit, metres, room
from canopysim.book.exact.backward import sheet
from canopysim.book.exact.frames import Triple, ball
from canopysim.book.exact.goniometer import bilinear, lopsided
from canopysim.book.exact.sensors import FACINGS, below_panel, fluence, images, normal
from canopysim.book.exact.strips import Intensity, Strip, beam
from canopysim.book.exact.tiles import obj_of
from canopysim.book.photometric_text import lm63
from canopysim.book.readings import AtProbe, Reading
from canopysim.book.scenes import ONE_BAND, Data, panel, percent, scene

X, Y, Z = 0.43, 0.29, 0.8
PANEL = (X - 0.18, X + 0.18, Y - 0.1, Y + 0.1)
ALL = "all sides"


def probe(name: str, place: Triple, radius: float, tilt: float = 0.0, turn: float = 0.0,
          **more: str) -> Data:  # fmt: skip
    """Write a probe."""
    return {"name": name, "at": [metres(place[0]), metres(place[1])], "height": metres(place[2]),
            "radius": metres(radius), "tilt": f"{tilt:.12g} deg",
            "turn": f"{turn:.12g} deg"} | more  # fmt: skip


def looks(name: str, *facings: str) -> dict[str, Reading]:
    """Read some of what a probe sees."""
    return {f"{name}, {facing}": AtProbe(name, facing) for facing in facings}


def _panel_case() -> Case:
    """Two probes: one that sees all of the panel, one whose face cuts through it."""
    one, other = (0.51, 0.22, 0.35), (0.66, 0.46, 0.40)
    leans = {"one": (35.0, 70.0), "other": (62.0, -20.0)}
    places = {"one": one, "other": other}
    radius = 0.03

    def exact() -> Exact:
        found: dict[str, float] = {}
        for name, place in places.items():
            faces = {"normal": normal(*leans[name])} | {k: np.array(v) for k, v in FACINGS.items()}
            for facing, face in faces.items():
                here = below_panel(PANEL, Z, place, radius, face)
                if f"{name}, {facing}" in figures:
                    found[f"{name}, {facing}"] = FLUX * here
            found[f"{name}, {ALL}"] = FLUX * fluence(PANEL, Z, place)
        return found

    figures = looks("one", ALL, "normal", *FACINGS) | looks(
        "other", ALL, "normal", "up", "left", "front"
    )
    return Case(
        name="probes below a Lambertian panel",
        chapter="meters",
        shows="Fluence rate, and flux density on faces that lean, in balls of 3 cm.",
        source="Radiance times solid angle, which is harmonic, so that a ball reads its centre; "
        "Lambert's polygons for faces, averaged over the ball.",
        fails_if="looking for a ball were weighed by a wrong density, faces left and right or the "
        "sense of turn were exchanged, or light from behind a face were counted.",
        scene=lit("Probes below a panel", panel("36 cm", "20 cm"), (X, Y, Z),
                  probes=[probe(k, places[k], radius, *leans[k]) for k in places]),
        figures=figures,
        exact=exact,
        packets=1 << 22,
        quick=1 / 16,
        scale={key: FLUX * fluence(PANEL, Z, places[key.split(",")[0]]) for key in figures},
    )  # fmt: skip


def _strip_case(name: str, shows: str, source: str, lens: Data, intensity: Intensity,
                turned: Triple) -> Case:  # fmt: skip
    """Put a ball into the beam of a strip that hangs askew."""
    place, near, radius, lean = (0.5, 0.3, 0.75), (0.62, 0.34, 0.4), 0.04, (48.0, 200.0)

    def exact() -> Exact:
        strip = Strip(place, turned, 0.4, 0.03, intensity)
        points, weights = ball(near, radius)
        face = normal(*lean)
        return {
            "p, all sides": FLUX * strip.seen(points, lambda ray: 1.0 + 0 * ray[..., 0]) @ weights,
            "p, normal": FLUX
            * strip.seen(points, lambda ray: np.maximum(-ray @ face, 0.0))
            @ weights,
            "p, up": FLUX * -strip.arriving(points)[:, 2] @ weights,
        }

    return Case(
        name=name,
        chapter="meters",
        shows=shows,
        source=source,
        fails_if="the density of the beam's launch were not that of its directions.",
        scene=lit("A probe below a bar", panel("40 cm", "3 cm", lens), place, turned,
                  probes=[probe("p", near, radius, *lean)]),
        figures=looks("p", ALL, "normal", "up"),
        exact=exact,
        packets=1 << 20,
        quick=1 / 8,
    )  # fmt: skip


# Planes so far apart that the light of neighbours is unlike.
C_DEG, GAMMA_DEG = np.arange(0.0, 361.0, 60.0), np.arange(0.0, 91.0, 15.0)
TABLE = lopsided(C_DEG, GAMMA_DEG)


def _near_case() -> Case:
    """Put a ball so near to its lamp that flights are counted as they pass."""
    place, radius = (X + 0.05, Y - 0.03, Z - 0.13), 0.08

    def exact() -> Exact:
        return {
            "p, all sides": FLUX * fluence(PANEL, Z, place),
            "p, up": FLUX * below_panel(PANEL, Z, place, radius, np.array(FACINGS["up"])),
        }

    return Case(
        name="large probe close to its lamp",
        chapter="meters",
        shows="Balls within two radii of where light leaves: lengths of the flights inside.",
        source="As below the panel: solid angle and Lambert's polygons.",
        fails_if="flights were counted twice or not at all where looking gives way to passing.",
        scene=lit("A probe close to a panel", panel("36 cm", "20 cm"), (X, Y, Z),
                  probes=[probe("p", place, radius)]),
        figures=looks("p", ALL, "up"),
        exact=exact,
        packets=1 << 20,
        quick=1 / 8,
    )  # fmt: skip


def _sun_case() -> Case:
    zenith, azimuth, density = 33.0, 205.0, 240.0

    def exact() -> Exact:
        z, a = np.radians([zenith, azimuth])
        return {
            "p, up": density,
            "p, all sides": density / np.cos(z),
            "p, right": -density * np.tan(z) * np.cos(a),
            "p, back": -density * np.tan(z) * np.sin(a),
        }

    daylight = {"ppfd": f"{density:g} umol/m2/s", "spectrum": ONE_BAND,
                "beam": {"zenith": f"{zenith:g} deg", "azimuth": f"{azimuth:g} deg"}}  # fmt: skip
    return Case(
        name="probe in a sunbeam",
        chapter="meters",
        shows="Fluence rate and side light of a parallel beam.",
        source="Trigonometry: PFD / cos(zenith), PFD tan(zenith) times sine or cosine of azimuth.",
        fails_if="length per volume were not the fluence rate, or sides were exchanged.",
        scene=scene("Sun", enclosure=room(ceiling="open"), daylight=[daylight],
                    probes=[probe("p", (0.4, 0.32, 0.5), 0.12)]),
        figures=looks("p", "up", ALL, "right", "back"),
        exact=exact,
        packets=1 << 20,
    )  # fmt: skip


def _mirror_case() -> Case:
    kept = {"left": 0.8, "right": 0.35, "front": 0.6, "back": 0.0}
    place, radius = (0.71, 0.25, 0.4), 0.12

    def exact() -> Exact:
        every = images(PANEL, SIZE[0], SIZE[1], kept, 24)
        found = {"p, all sides": 0.0, "p, right": 0.0, "p, left": 0.0, "p, up": 0.0}
        for share, own in every:
            if share < 1e-7:
                continue
            found["p, all sides"] += share * fluence(own, Z, place)
            for facing in ("right", "left", "up"):
                found[f"p, {facing}"] += share * below_panel(
                    own, Z, place, radius, np.array(FACINGS[facing]), 3 if own != PANEL else 4
                )
        return {key: FLUX * value for key, value in found.items()}

    return Case(
        name="probe among unlike mirrors",
        chapter="meters",
        shows="Fluence rate and side light of a panel and its images in three mirrors.",
        source="Method of images: each image's solid angle or polygon times what the mirrors on "
        "its way reflect.",
        fails_if="light from mirrors were looked for and counted again as it passes, or a mirror "
        "turned the wrong component.",
        scene=lit(
            "A probe among mirrors", panel("36 cm", "20 cm"), (X, Y, Z),
            enclosure=room(left="m80", right="m35", front="m60"),
            surfaces={"m80": {"specular": percent(0.8)}, "m35": {"specular": percent(0.35)},
                      "m60": {"specular": percent(0.6)}},
            probes=[probe("p", place, radius)],
        ),
        figures=looks("p", ALL, "right", "left", "up"),
        exact=exact,
        packets=1 << 22,
        quick=1 / 8,
        scale=FLUX / (SIZE[0] * SIZE[1]),
    )  # fmt: skip


# A leaf that leans, no two components of its normal alike in size and sign, lit at one spot; balls
# on both sides, of which some would be behind it whichever component stood for another.
LEAF = sheet((0.5, 0.35, 0.45), 0.3, 0.24, -70.0, 38.0, 25.0)
ABOUT = {"a": (0.65, 0.24, 0.55), "b": (0.61, 0.30, 0.33), "c": (0.93, 0.20, 0.66),
         "d": (0.84, 0.55, 0.35), "e": (0.35, 0.20, 0.70), "f": (0.38, 0.52, 0.47)}  # fmt: skip
UPPER, LOWER = (0.50, 0.30), (0.20, 0.10)


def _about_a_leaf_case() -> Case:
    radius = 0.02

    def exact() -> Exact:
        found: dict[str, float] = {}
        for name, place in ABOUT.items():
            points, weights = ball(place, radius)
            ray = points - LEAF.middle
            square = (ray**2).sum(-1)
            cosine = ray @ LEAF.normal / np.sqrt(square)
            # The needle comes from above and meets the upper side.
            share = np.where(cosine > 0, UPPER[0], UPPER[1])
            got = FLUX * share * np.abs(cosine) / (np.pi * square)
            up = np.maximum(-ray[:, 2] / np.sqrt(square), 0.0)
            right = np.maximum(ray[:, 0] / np.sqrt(square), 0.0)
            found |= {f"{name}, {ALL}": float(got @ weights),
                      f"{name}, up": float((got * up) @ weights),
                      f"{name}, left": float((got * right) @ weights)}  # fmt: skip
        return found

    figures: dict[str, Reading] = {}
    for name in ABOUT:
        figures |= looks(name, ALL, "up", "left")
    return Case(
        name="probes about a leaf that leans",
        chapter="meters",
        shows="Small balls on both sides of a leaf that one needle of light meets.",
        source="Lambert's law from a spot: share times flux times cosine over pi times the square "
        "of the distance, by quadrature over the ball.",
        fails_if="A ball were looked for by another face than that which light leaves, or not at "
        "all where light goes.",
        scene=scene(
            "Probes about a leaf", enclosure=room(),
            leaves={"leaf": sides_of(UPPER, LOWER)},
            canopy={"layers": ["20 cm", "70 cm"], "meshes": [
                {"file": "leaf.obj", "unit": "m", "parts": {"*": {"leaf": "leaf"}},
                 "positions": [["0 cm", "0 cm"]], "base": "0 cm"}]},
            fixtures={"needle": panel("0.1 mm", "0.1 mm", "parallel")},
            lights=[hung("needle", (*LEAF.middle[:2].tolist(), 0.85))],
            probes=[probe(name, place, radius) for name, place in ABOUT.items()],
        ),
        files={"leaf.obj": obj_of(LEAF.corners[None])},
        figures=figures,
        exact=exact,
        packets=1 << 20,
        quick=1 / 8,
        precision=4e-3,
        scale={f"{name}, {look}": FLUX / (np.pi * 0.25**2) for name in ABOUT
               for look in (ALL, "up", "left")},
        why_rough="One ball of six is looked for at each meeting.",
    )  # fmt: skip


CASES = (
    _panel_case(),
    _about_a_leaf_case(),
    _strip_case(
        "probe below an asymmetric strip that hangs askew",
        "Density of a beam in single directions, not only where its photons land.",
        "Quadrature of the beam over strip and ball.",
        lens(95.0, 40.0),
        beam(95.0, 40.0),
        (-40.0, 12.0, 25.0),
    ),
    _strip_case(
        "probe below a strip with the lens of a file, askew",
        "Density of a table in single directions, between planes of unlike light.",
        "Quadrature of the table over strip and ball, straight between nodes in C and gamma.",
        {"table": lm63(C_DEG, GAMMA_DEG, TABLE, 0.4, 0.03)},
        bilinear(C_DEG, GAMMA_DEG, TABLE),
        (-75.0, 12.0, 18.0),
    ),
    _near_case(),
    _sun_case(),
    _mirror_case(),
)
