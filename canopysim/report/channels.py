"""Channels of lights: photons, watts and outputs of each, and the hours that the day gives them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from canopysim.analysis.channels import (
    at_full_output,
    channels_of,
    launched_at_full,
    leaves_at_full,
    plane_at_full,
)
from canopysim.analysis.electricity import light_watts
from canopysim.analysis.far_red import far_red_span
from canopysim.analysis.light_day import Shift, full_hours
from canopysim.bands import PAR
from canopysim.light.power import LightPower
from canopysim.report.rows import Table, top_plane
from canopysim.report.words import (
    FLUX,
    FLUX_DENSITY,
    PPFD_BAND,
    band_label,
    count,
    significant,
    span_label,
    with_error,
)
from canopysim.units import format_share
from canopysim.units_text import plain_number

if TYPE_CHECKING:
    from canopysim.results import Result


def outputs_text(light: LightPower) -> str:
    """Write what a light is set to: one share, or that of every channel."""
    if not light.channels:
        return format_share(light.output)
    return ", ".join(f"{c.name} {format_share(c.output)}" for c in light.channels)


def shift_text(shift: Shift) -> str:
    """Write the outputs of hours of a schedule."""
    rest = "as set" if shift.output is None else format_share(shift.output)
    if not shift.outputs:
        return rest
    named = [f"{name} {format_share(output)}" for name, output in shift.outputs.items()]
    return ", ".join([*named, f"else {rest}"])


def channel_table(lights: Sequence[LightPower], shifts: Sequence[Shift]) -> Table | None:
    """Make a row for each channel of each light; None where no light has channels.

    Parameters
    ----------
    lights : sequence of LightPower
        All lights of a scene.
    shifts : sequence of Shift
        Of its day; may be empty.
    """
    rows: list[tuple[str, ...]] = []
    for light in lights:
        hours = full_hours(light, shifts) if shifts else None
        for number, channel in enumerate(light.channels):
            alone = [0.0] * len(light.channels)
            alone[number] = 1.0
            rows.append(
                (
                    f"{light.number} {light.fixture}, {light.group}: {channel.name}",
                    count(light.count),
                    plain_number(channel.ppf_umol_s),
                    plain_number(channel.flux_umol_s),
                    plain_number(light_watts(light, alone)) if light.curve_w else "not stated",
                    format_share(channel.output),
                    *([f"{hours[number]:.4g}"] if hours is not None else []),
                )
            )
    if not rows:
        return None
    columns = (
        "Light, group: channel",
        "Fixtures",
        f"PPF at full output, {band_label(PPFD_BAND)}, {FLUX}",
        f"Photons of all bands, {FLUX}",
        "Input power alone at full output, W",
        "Output as set",
        *(["Hours a day at full output that give its photons"] if shifts else []),
    )
    caption = "Channels of the lights, figures of each fixture"
    return Table(caption, columns, tuple(rows), " ".join(_notes(lights)))


def channel_light_table(result: Result) -> Table | None:
    """Tell what each channel gives at full output; None where no light has channels."""
    channels = channels_of(result)
    if not channels:
        return None
    top, far_red = top_plane(result), far_red_span(result)
    spans = (PAR, far_red)
    columns = ["Light, group: channel", "Output as set"]
    columns += [f"Launched, {span_label(span)}, {FLUX}" for span in spans]
    if result.layers is not None:
        columns += [f"Absorbed by leaves, {span_label(span)}, {FLUX}" for span in spans]
    if top is not None:
        columns += [f"Down on {top}, {span_label(span)}, {FLUX_DENSITY}" for span in spans]
    rows = []
    for channel in channels:
        alone = at_full_output(result, channel)
        named = f": {channel.name}" if channel.name else ""
        cells = [f"{channel.light} {channel.fixture}, {channel.group}{named}"]
        cells.append(format_share(channel.output))
        sent = [launched_at_full(alone, span) for span in spans]
        cells += [significant(value, 4) if value > 0 else "0" for value in sent]
        found = []
        if result.layers is not None:
            found += [leaves_at_full(alone, span) for span in spans]
        if top is not None:
            found += [plane_at_full(alone, top, span) for span in spans]
        cells += [
            with_error(each.value, each.std_err) if sent[k % 2] > 0 else "0"
            for k, each in enumerate(found)
        ]
        rows.append(tuple(cells))
    return Table(
        "What each channel gives at full output, all fixtures of its light together",
        tuple(columns),
        tuple(rows),
        "Light is in proportion to output: what any setting gives is the sum of these, each times "
        "its channel's output. Nothing has to be traced again.",
    )


def _notes(lights: Sequence[LightPower]) -> list[str]:
    """Say how watts depend on the channels' outputs, and what was assumed of that."""
    channelled = [light for light in lights if light.channels and light.curve_w]
    one_driver = [light for light in channelled if not all(c.curve_w for c in light.channels)]
    notes = []
    if len(one_driver) < len(channelled):
        notes.append("Channels with watts of their own add up.")
    if one_driver:
        names = ", ".join(dict.fromkeys(light.fixture for light in one_driver))
        notes.append(
            f"The driver of {names} feeds all channels: it is taken to draw what it draws at the "
            "mean output, each channel weighed by its share of the input power."
        )
    assumed = [light.fixture for light in one_driver if not light.channel_watts_stated]
    if assumed:
        notes.append(
            f"{', '.join(dict.fromkeys(assumed))}: the channels' shares of the input power are not "
            "stated and taken as those of the power that their photons carry."
        )
    return notes
