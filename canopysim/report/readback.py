"""What `check` says: the scene as it was understood, with every default that it used."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from canopysim.bands import PAR, ranges
from canopysim.light.facts import fixture_facts
from canopysim.matter.enclosure import FACES
from canopysim.matter.rough import returned_share
from canopysim.report.body_lines import body_lines
from canopysim.report.cuticles import cuticle_lines
from canopysim.report.defaults import DefaultUsed, defaults_used
from canopysim.report.electricity import check_pieces
from canopysim.report.fitted_table import FittedTable
from canopysim.report.fixture_facts import fact_tables
from canopysim.report.hanging import NO_BREAK
from canopysim.report.hanging import Hanging as _Hanging
from canopysim.report.measured_lights import measured_lines
from canopysim.report.mesh_report import mesh_lines
from canopysim.report.plant_lines import plant_lines
from canopysim.report.room_lines import room_lines
from canopysim.report.volume_lines import volume_lines
from canopysim.report.words import count, significant
from canopysim.units import format_share, in_centimetres
from canopysim.world.cautions import cautions

if TYPE_CHECKING:
    from rich.console import RenderableType

    from canopysim.scene.schema import Scene
    from canopysim.world.compile import World


def read_back(scene: Scene, world: World) -> RenderableType:
    """Tell what was understood: sizes, surfaces, photons, leaf area, planes, defaults.

    Parameters
    ----------
    scene : Scene
        A checked scene.
    world : World
        The same, compiled.

    Returns
    -------
    rich renderable
        Tables and sentences for the terminal.
    """
    from rich.console import Group
    from rich.text import Text

    where = scene.path.name if scene.path is not None else "scene"
    pieces: list[RenderableType] = [
        Text(scene.title, style="bold"),
        Text(f"{where}: no problem found.\n", style="green"),
        _enclosure(scene),
        _lights(world),
        _mounting(scene, world),
    ]
    if world.layers is not None:
        pieces += [_layers(world), _plants(world), *_replicates(scene, world)]
    if any(not plane.is_level for plane in world.planes):
        pieces.append(_planes(world))
    pieces += check_pieces(scene)
    # What a fact follows from makes the table too wide for a terminal; the report has it.
    pieces += [
        FittedTable(
            replace(table, columns=table.columns[:3], rows=tuple(r[:3] for r in table.rows))
        )
        for table in fact_tables(fixture_facts(scene))
    ]
    asked, batch = scene.tracing.batch, world.batch_packets
    rounded = f" ({count(asked)} asked for, rounded for each strip)" if asked != batch else ""
    pieces += [
        Text(
            f"{count(world.n_triangle)} triangles, {len(world.strips)} luminous strip"
            f"{'s' if len(world.strips) > 1 else ''}, {count(batch)} packets in a batch{rounded}.\n"
        ),
        *(Text(line) for line in measured_lines(scene)),
        *(_Hanging(line, 0) for line in plant_lines(scene)),
        *(
            _Hanging(line, 0)
            for line in (*room_lines(scene), *body_lines(scene), *mesh_lines(scene))
        ),
        *(_Hanging(line, 0) for line in cuticle_lines(scene, world)),
        *(_Hanging(line, 0) for line in volume_lines(scene, world)),
        Text(_memory(world)),
        *_cautions(scene, world),
        *_defaults(defaults_used(scene)),
        Text(f"\nTrace it with: canopysim run {scene.path or where}"),
    ]
    return Group(*pieces)


def _memory(world: World) -> str:
    """Say what the tallies take, and what is counted beyond the books."""
    from canopysim.guards import plane_bytes, split_bytes
    from canopysim.tallies.driver import available_threads

    threads = available_threads()
    need = plane_bytes(world, threads) + sum(split_bytes(world, threads).values())
    text = f"Tallies take about {max(1, round(need / 2**20))} MiB of memory"
    if world.splits is not None:
        names = [s.name for s in world.splits.splits] + ["leaf triangles"] * (
            world.splits.n_facet > 0
        )
        if world.splits.canopy is not None:
            names += ["the canopy's sides"] * (world.splits.canopy.n_layer > 0)
            names += ["single plants"] * (len(world.splits.canopy.plants) > 0)
        names += [f"{len(world.probes)} probes"] * (len(world.probes) > 0)
        text += f", with what is also counted: {', '.join(names)}"
    return f"{text}.\n"


def _table(title: str, *columns: str) -> Any:
    """Make a table whose first column is text and whose others are numbers."""
    from rich.box import SIMPLE
    from rich.table import Table
    from rich.text import Text

    table = Table(title=Text(title, style="bold"), title_justify="left", box=SIMPLE)
    for number, column in enumerate(columns):
        table.add_column(column, justify="right" if number else "left")
    return table


def _row(table: Any, *cells: str) -> None:
    """Add a row of plain text: names from the scene are never markup."""
    from rich.text import Text

    table.add_row(*(Text(cell) for cell in cells))


def _enclosure(scene: Scene) -> Any:
    """Size, and what each face does with 400-700 nm light (mean over wavelength)."""
    size = " x ".join(in_centimetres(v) for v in scene.enclosure.size)
    table = _table(
        f"Enclosure {size} cm (width, depth, height): what is reflected of 400–700 nm",
        "face", "surface", "diffuse", "like a mirror", "spread, comes back", "absorbed",
    )  # fmt: skip

    def add(name: str, surface: str | None) -> None:
        if surface is None:
            _row(table, name, "open", "–", "–", "–", "photons leave")
            return
        optics = scene.surfaces[surface]
        diffuse = float(optics.diffuse.values(PAR)[0])
        mirror = float(optics.specular.values(PAR)[0])
        back = returned_share(optics.spread)
        lost = format_share(1 - diffuse - mirror * back)
        spread = "flat" if mirror > 0 else "–"
        if mirror > 0 and optics.spread > 0:
            spread = f"{math.degrees(optics.spread):.3g} deg, {format_share(round(back, 3))} of it"
        _row(table, name, surface, format_share(diffuse), format_share(mirror), spread, lost)

    if scene.enclosure.room is not None:
        for walls in scene.enclosure.room.walls:
            role = "" if walls.label == walls.part.role else f" ({walls.part.role})"
            add(f"{walls.label}{role}", None if walls.part.is_open else walls.part.surface)
        return table
    for name in FACES:
        face = scene.enclosure.face(name)
        if name in scene.enclosure.repeating:
            opposite = {"left": "right", "right": "left", "front": "back", "back": "front"}[name]
            _row(table, name, "repeats", "–", "–", f"goes on at the {opposite}")
            continue
        add(name, None if face.open else face.surface or scene.enclosure.lining)
        for number, patch in enumerate(face.patches, 1):
            add(f"{name}, patch {number}", None if patch.open else patch.surface)
    return table


def _lights(world: World) -> Any:
    """Photon flux by waveband and group as set, and what full output would be."""
    names, _, matrix = ranges(world.edges)
    groups = list(dict.fromkeys(c.group for c in world.channels))
    table = _table("Photon flux at the set output, µmol s⁻¹", "waveband", *groups, "all")

    def flux(group: str, full: bool) -> Any:
        mine = [c for c in world.channels if c.group == group]
        return sum(
            c.flux_umol_s * (1.0 if full else c.output) * (np.asarray(c.shares) @ matrix)
            for c in mine
        )

    for label, full, wanted in (("{} nm", False, names), ("{} nm, full", True, ["400-700"])):
        columns = [flux(group, full) for group in groups]
        columns.append(sum(columns))
        for name in wanted:
            band = names.index(name)
            cells = [significant(float(column[band]), 4) for column in columns]
            _row(table, label.format(name.replace("-", "–")), *cells)
    return table


def _mounting(scene: Scene, world: World) -> Any:
    """Where each light's strips came to hang, and which way they shine."""
    table = _table(
        "Luminous strips, cm, and the unit vector they shine along (x right, y back, z up)",
        "light", "group", "middle x, y, z", "size", "shines to",
    )  # fmt: skip
    for strip in world.strips:
        if strip.light < 0:
            name = f"daylight {-strip.light}"
        else:
            name = f"{strip.light + 1} {scene.lights[strip.light].fixture}"
        towards = ", ".join(f"{v:+.2f}" for v in -strip.axes[2] + 0.0)
        _row(
            table, name, strip.group, ", ".join(in_centimetres(v) for v in strip.centre),
            f"{in_centimetres(strip.length_m)} x {in_centimetres(strip.width_m)}", towards,
        )  # fmt: skip
    return table


def _layers(world: World) -> Any:
    """Leaf area by layer, clipped exactly."""
    layers = world.layers
    assert layers is not None
    table = _table(
        "Canopy layers, 1 at the top; LAI is the leaf area index",
        "layer", "heights, cm", "leaf area, m²", "LAI", "cumulative LAI",
    )  # fmt: skip
    total = 0.0
    for i, area in enumerate(layers.leaf_area):
        total += float(area)
        heights = " – ".join(in_centimetres(z[i]) for z in (layers.z_bottom, layers.z_top))
        index, above = (f"{leaf / layers.ground_area:.3f}" for leaf in (area, total))
        _row(table, str(i + 1), heights, f"{area:.4f}", index, above)
    return table


def _plants(world: World) -> Any:
    """Sum up the canopy in a sentence."""
    from rich.text import Text

    layers = world.layers
    assert layers is not None
    leaves = [p for p in world.parts if p.kind == "leaf"]
    n_triangle = sum(len(p.faces) for p in leaves)
    n_plant = len({p.name for p in leaves})  # a drawn plant may have leaves of several kinds
    n_volume = len(world.volumes)
    named = [f"{n_plant} plants"] * (n_plant > 0 or n_volume == 0)
    named += [f"{n_volume} filled volume{'s' * (n_volume > 1)}"] * (n_volume > 0)
    text = (
        f"{', '.join(named)}, one-sided leaf area {layers.leaf_area.sum():.4f} m² on "
        f"{layers.ground_area:.4g} m² of ground: LAI "
        f"{layers.leaf_area.sum() / layers.ground_area:.4f}; top at "
        f"{in_centimetres(layers.top)} cm; {count(n_triangle)} leaf triangles.\n"
    )
    if any(plane.is_level for plane in world.planes):
        text += "Light is counted at every boundary between the layers.\n"
    return Text(text)


def _replicates(scene: Scene, world: World) -> list[RenderableType]:
    """Tell that the canopy is one of several, and how unlike they are; nothing of one alone."""
    if not world.replicates:
        return []
    assert scene.canopy is not None
    n, seed = len(world.replicates), scene.canopy.seed
    tops = [one.layers.top for one in world.replicates if one.layers is not None]
    text = (
        f"{n} canopies are grown, from seeds {seed} to {seed + n - 1}, and traced in turn with "
        f"{count(world.batch_packets // n)} packets of each batch; heights and leaf areas above "
        f"are their means. Their tops are at {in_centimetres(min(tops))} to "
        f"{in_centimetres(max(tops))} cm.\n"
    )
    return [_Hanging(text, 0)]


def _planes(world: World) -> Any:
    """Where light is counted."""
    table = _table(
        "Counting planes", "plane", "height, cm", "cells (x by y)", "cell, cm",
    )  # fmt: skip
    for plane in world.planes:
        if plane.is_level:
            continue
        cell = " x ".join(in_centimetres(v) for v in plane.cell_m)
        _row(
            table,
            plane.name,
            in_centimetres(plane.height),
            f"{plane.cells[0]} by {plane.cells[1]}",
            cell,
        )
    return table


def _cautions(scene: Scene, world: World) -> list[RenderableType]:
    """Tell what can be traced and is yet worth a second look."""
    from rich.text import Text

    lines = [_Hanging(line, 2) for line in cautions(scene, world)]
    return [Text("Cautions", style="bold"), *lines, Text()] if lines else []


def _defaults(used: list[DefaultUsed]) -> list[RenderableType]:
    """Tell everything that the file leaves to the program, with what it means."""
    from rich.text import Text

    lines: list[RenderableType] = [Text("Defaults used", style="bold")]
    for default in used:
        value = default.value.replace(" ", NO_BREAK)
        lines.append(_Hanging(f"{default.entry}: {value}", 2))
        lines.append(_Hanging(default.meaning, 6, "dim"))
    lines.append(Text("What else a scene may say: canopysim schema"))
    return lines
