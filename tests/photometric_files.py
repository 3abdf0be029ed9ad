"""Synthetic fixtures and writers of LM-63 and EULUMDAT files, which import nothing of canopysim.

A fixture is a function of unit vectors (..., 3) in its own frame: +x along its length, light
leaves towards -z. The writers get from a file's angles to vectors by turning the beam axis step by
step, as a goniometer does.
"""

import numpy as np

X, Y, Z = np.eye(3)
BEAM = -Z
# Counter-clockwise seen from above is right-handed about +z.
# Types A and B, seen from behind, looking where it shines: up is +x, so right is -y.
UP, RIGHT = X, -Y

VERSION = {
    1986: None,
    1991: "IESNA91",
    1995: "IESNA:LM-63-1995",
    2002: "IESNA:LM-63-2002",
    2019: "IES:LM-63-2019",
}
TYPE_CODE = {"C": 1, "B": 2, "A": 3}


def turned(vector, axis, degrees):
    """Rodrigues: right-handed turn of vectors (..., 3) about a unit axis; degrees broadcast."""
    angle = np.radians(np.asarray(degrees, float))[..., None]
    vector = np.broadcast_to(vector, np.broadcast_shapes(np.shape(vector), (*angle.shape[:-1], 3)))
    along = (vector @ axis)[..., None] * axis
    return (
        vector * np.cos(angle)
        + np.cross(np.broadcast_to(axis, vector.shape), vector) * np.sin(angle)
        + along * (1 - np.cos(angle))
    )


def goniometer(kind, h, v):
    """Unit vectors (n_h, n_v, 3) of the angles of a type."""
    h, v = np.meshgrid(h, v, indexing="ij")
    if kind == "C":
        # Swing from straight down towards the end of the length, then turn the plane.
        return turned(turned(BEAM, np.cross(BEAM, X), v), Z, h)
    if kind == "A":
        # Raise the beam, then turn it to the right about the upright axis.
        return turned(turned(BEAM, np.cross(BEAM, UP), v), np.cross(BEAM, RIGHT), h)
    # Type B: swing the beam to the right, then raise it about the level axis.
    return turned(turned(BEAM, np.cross(BEAM, RIGHT), h), np.cross(BEAM, UP), v)


def lambertian(d):
    return 1000.0 * np.clip(-d[..., 2], 0.0, None)


def cosine_power(n):
    return lambda d: 1000.0 * np.clip(-d[..., 2], 0.0, None) ** n


def long_bar(d):
    """Like a bar with a lens: symmetric about both upright planes, a little light upwards."""
    down = np.clip(-d[..., 2], 0.0, None)
    return 800.0 * down * (1.0 + d[..., 1] ** 2) + 60.0 * (1.0 + d[..., 2]) * (2.0 + d[..., 0] ** 2)


def lopsided(d):
    """Without any symmetry: light leans towards +x, more towards +y, and is twisted."""
    x, y, z = d[..., 0], d[..., 1], d[..., 2]
    return 500.0 + 90.0 * x + 170.0 * y - 200.0 * z + 110.0 * x * y - 60.0 * y * z


def front_lopsided(d):
    """Without symmetry, and fading out towards the level plane, as a floodlight does."""
    ahead = np.clip(-d[..., 2], 0.0, None)
    return (
        4000.0 * ahead**6 * (1.0 + 0.5 * d[..., 0] + 0.3 * d[..., 1] + 0.4 * d[..., 0] * d[..., 1])
    )


def text_of(values):
    """Numbers as text that reads back to the same bits."""
    return [f"{int(v)}" if v == int(v) else repr(float(v)) for v in np.ravel(values)]


def lm63(
    shine=lambertian,
    *,
    edition=2002,
    kind="C",
    h=(0.0,),
    v=tuple(range(0, 181, 5)),
    table=None,
    lamps=1,
    lumens=-1,
    multiplier=1,
    ballast=1,
    second=1,
    watts=60,
    size=(0.04, 1.1, 0.0),
    unit=2,
    tilt=("TILT=NONE",),
    version="by edition",
    labels=("[TEST] seed bank 7", "[MORE] pepper bench", "[MANUFAC] nobody"),
    width=10,
):
    """Text of an LM-63 file with LF; `table` (n_h, n_v) overrides `shine`."""
    h, v = np.asarray(h, float), np.asarray(v, float)
    if table is None:
        table = shine(goniometer(kind, h, v)) / (multiplier * ballast)
        table = table / float(second) if edition <= 1995 else table
    lines = [VERSION[edition] if version == "by edition" else version]
    lines += [*labels, *tilt]
    counts = [lamps, lumens, multiplier, len(v), len(h), TYPE_CODE[kind], unit, *size]
    lines.append(" ".join(str(value) for value in counts))
    lines.append(f"{ballast} {second} {watts}")
    for group in (v, h, *np.asarray(table, float)):
        words = text_of(group)
        lines += [" ".join(words[i : i + width]) for i in range(0, len(words), width)]
    return "\n".join(line for line in lines if line is not None) + "\n"


def stored_planes(symmetry, planes):
    """C angles that EULUMDAT's table holds, of all over the turn."""
    whole = np.asarray(planes, float)
    twice = np.concatenate([whole, whole + 360.0])
    first, last = {0: (0, 359.999), 1: (0, 0), 2: (0, 180), 3: (270, 450), 4: (0, 90)}[symmetry]
    return twice[(twice >= first) & (twice <= last)]


def eulumdat(
    shine=lambertian,
    *,
    symmetry=1,
    planes=tuple(range(0, 360, 15)),
    gamma=tuple(range(0, 181, 5)),
    lamp_flux=2500.0,
    lamps=1,
    conversion=1,
    ratio=0,
    down=0,
    tilt=0,
    watts=60,
    area=(1100, 40),
    heights=(0, 0, 0, 0),
    sets=1,
    table=None,
    comma=False,
):
    """Lines of an EULUMDAT file. C0 lies across the length, towards our +y."""
    stored = stored_planes(symmetry, planes)
    if table is None:
        across = goniometer("C", stored + 90.0, gamma)
        table = shine(across) * 1000.0 / (lamp_flux * sets * conversion)
    head = ["Nobody", 2, symmetry, len(planes), 15, len(gamma), 5, "", "bench light", "", "b.ldt"]
    head += ["2026-03-01", 1200, 80, 60, *area, *heights, down, ratio, conversion, tilt, sets]
    for _ in range(sets):
        head += [lamps, "LED", lamp_flux, "warm", "80", watts]
    head += [0.5] * 10
    lines = [str(value) for value in head]
    for group in (planes, gamma, *np.asarray(table, float)):
        lines += text_of(group)
    if comma:
        lines[12:] = [line.replace(".", ",") for line in lines[12:]]
    return lines


def same(a, b, rtol=1e-12):
    """Ask two distributions for equal tables on equal grids."""
    assert np.array_equal(a.c_rad, b.c_rad)
    assert np.array_equal(a.gamma_rad, b.gamma_rad)
    assert np.allclose(a.intensity, b.intensity, rtol=rtol, atol=1e-9)
