"""beam: what a photometric file holds."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from canopysim.errors import CanopysimError

SVG, XLINK = "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"


def beam(
    file: Annotated[
        Path,
        typer.Argument(help="Photometric file: ANSI/IES LM-63 or EULUMDAT.", show_default=False),
    ],
    spectrum: Annotated[
        str | None,
        typer.Option(help="Spectrum of the light: a name of the library, or a CSV file."),
    ] = None,
    photons: Annotated[
        bool, typer.Option("--photons", help="The numbers are µmol s⁻¹ sr⁻¹, not candela.")
    ] = False,
    plot: Annotated[
        Path | None, typer.Option(help="Write a polar plot there (SVG).", show_default=False)
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Write over the file of --plot.")
    ] = False,
) -> None:
    """Read a photometric file back: flux, beam and field widths, shares in cones, doubts."""
    from rich.console import Console

    from canopysim.light.photometry import (
        CANDELA,
        PHOTON_INTENSITY,
        flux,
        polar_plot,
        read_photometric,
    )
    from canopysim.light.spectrum.named import SPECTRUM_NAMES, named_spectrum
    from canopysim.light.spectrum.table import read_spectrum
    from canopysim.report.beam import beam_text

    if plot is not None and plot.exists() and not replace:
        raise CanopysimError(f"{plot}: exists already; choose another --plot, or add --replace")
    light = None
    if spectrum is not None and photons:
        raise CanopysimError("--spectrum: photon intensities need none; leave it out")
    if spectrum is not None:
        known = spectrum in SPECTRUM_NAMES
        if not known and not Path(spectrum).exists():
            raise CanopysimError(
                f"--spectrum: {spectrum!r} is neither a file nor a spectrum of the library, which "
                f"has {', '.join(SPECTRUM_NAMES)}"
            )
        light = named_spectrum(spectrum) if known else read_spectrum(Path(spectrum))
    found = read_photometric(file, unit=PHOTON_INTENSITY if photons else CANDELA)
    if not flux(found) > 0:
        raise CanopysimError(f"{file}: holds no light; there is nothing to show")
    console = Console()
    console.print(beam_text(found, light))
    if plot is not None:
        try:
            # Inside a page the namespaces are understood; a file has to name them.
            names = f'<svg xmlns="{SVG}" xmlns:xlink="{XLINK}" width="662" height="430" '
            plot.write_text(polar_plot(found).replace("<svg ", names, 1), "utf-8")
        except OSError as problem:
            raise CanopysimError(f"{plot}: cannot be written ({problem.strerror})") from None
        console.print(f"Polar plot in {plot}", markup=False, highlight=False)
