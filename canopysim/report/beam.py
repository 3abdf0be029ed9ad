"""What a photometric file holds, for the terminal: flux, widths, cones, and every doubt."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from canopysim.bands import EPAR, PAR
from canopysim.light.photometry import CANDELA, summarise
from canopysim.light.spectrum.measures import TO_800, photon_flux, umol_per_klm
from canopysim.report.fitted_table import FittedTable
from canopysim.report.rows import Table
from canopysim.report.words import FLUX, percent, significant
from canopysim.units import in_centimetres

if TYPE_CHECKING:
    from rich.console import RenderableType

    from canopysim.light.photometry import Distribution
    from canopysim.light.photometry.summary import Width
    from canopysim.light.spectrum.spectrum import Spectrum


def beam_text(distribution: Distribution, light: Spectrum | None) -> RenderableType:
    """Tell what was read, so that it can be compared with the fixture on the bench.

    Parameters
    ----------
    distribution : Distribution
        From a file.
    light : Spectrum or None
        The fixture's spectrum, by which candela become photons; None where it is not known.

    Returns
    -------
    rich renderable
    """
    from rich.console import Group
    from rich.text import Text

    pieces: list[RenderableType] = [
        Text(f"{distribution.name}: {distribution.source}", style="bold"),
        FittedTable(_flux_table(distribution, light)),
        FittedTable(_width_table(distribution)),
        FittedTable(_cone_table(distribution)),
    ]
    if light is None and distribution.unit == CANDELA:
        pieces.append(
            Text(
                "Candela tell light as the eye sees it. For photons state the fixture's 'ppf' or a "
                "spectrum: canopysim beam FILE --spectrum white_4000, or a CSV file.\n"
            )
        )
    pieces += [Text(f"Doubt: {line}", style="yellow") for line in distribution.warnings]
    return Group(*pieces)


def _flux_table(distribution: Distribution, light: Spectrum | None) -> Table:
    found = summarise(distribution)
    candela = distribution.unit == CANDELA
    unit = "lm" if candela else f"{FLUX} (the wavebands are those of the measurement)"
    opening = distribution.opening
    size = " x ".join(
        in_centimetres(v) for v in (opening.length_m, opening.width_m, opening.height_m)
    )
    rows = [
        ("Flux, integrated", f"{significant(found.flux, 4)} {unit}"),
        ("Downwards, upwards", f"{percent(found.share_down)}, {percent(found.share_up)}"),
        (
            "Greatest intensity",
            f"{significant(found.peak.intensity, 4)} {'cd' if candela else 'µmol s⁻¹ sr⁻¹'}, "
            f"{_degrees(found.peak.gamma_rad)} from straight ahead, in plane "
            f"{_degrees(found.peak.c_rad)}",
        ),
        ("Luminous opening", f"{opening.shape}, {size} cm (along, across, high)"),
    ]
    if distribution.stated_flux is not None:
        rows.append(("Flux as stated", f"{significant(distribution.stated_flux, 4)} lm"))
    if distribution.watts is not None:
        rows.append(("Input power as stated", f"{significant(distribution.watts, 4)} W"))
        if candela:
            per_watt = significant(found.flux / distribution.watts)
            rows.append(("Lumens per watt", f"{per_watt} lm/W"))
    if light is not None and candela:
        whole = light.with_photons(found.flux / 1000 * umol_per_klm(light, span=None))
        for name, value in (
            ("PPF, 400–700 nm", photon_flux(whole, PAR)),
            ("ePAR flux, 400–750 nm", photon_flux(whole, EPAR)),
            ("Photon flux, 400–800 nm", photon_flux(whole, TO_800)),
        ):
            rows.append((name, f"{significant(value, 4)} {FLUX}"))
        if distribution.watts is not None:
            rows.append(
                (
                    "PPE, 400–700 nm",
                    f"{significant(photon_flux(whole) / distribution.watts)} µmol J⁻¹",
                )
            )
    return Table("What the file holds", ("Figure", "Value"), tuple(rows))


def _width_table(distribution: Distribution) -> Table:
    found = summarise(distribution)
    planes = ("along (0–180)", "across (90–270)")
    rows = tuple(
        (plane, _width(beam), _width(field))
        for plane, beam, field in zip(planes, found.beam, found.field, strict=True)
    )
    return Table(
        "Widths, from side to side",
        ("Plane", "Beam, to 50 % of the plane's greatest", "Field, to 10 %"),
        rows,
    )


def _width(width: Width) -> str:
    if not math.isfinite(width.full_rad):
        return "dark"
    low, high = _degrees(width.low_rad), _degrees(width.high_rad)
    return f"{_degrees(width.full_rad)} ({low} to {high})"


def _cone_table(distribution: Distribution) -> Table:
    found = summarise(distribution)
    rows = tuple((f"within {_degrees(half)}", percent(share)) for half, share in found.cones)
    return Table("Flux within a cone about straight ahead", ("Half angle", "Share"), rows)


def _degrees(radians: float) -> str:
    return f"{round(math.degrees(radians), 1) + 0.0:g}°".replace("-", "−")
