"""Photometric files (ANSI/IES LM-63 of every edition, EULUMDAT) as one kind of distribution.

Bytes become lines (`text`) and numbers (`words`), these a table in the file's own angles
(`lm63_head`, `lm63`, `eulumdat`), and that one in the fixture's frame (`planes`, `goniometer`,
`distribution`); `doubts` compares what a file says with itself, `summary` and `polar` tell what it
holds. Units in the table are a label: whoever asks for photons scales candela by a spectrum or a
stated PPF.
"""

from canopysim.light.photometry.distribution import (
    CANDELA,
    PHOTON_INTENSITY,
    Distribution,
    direction,
    flux,
    intensity_at,
)
from canopysim.light.photometry.eulumdat import parse_eulumdat
from canopysim.light.photometry.lm63 import parse_lm63
from canopysim.light.photometry.opening import Opening
from canopysim.light.photometry.polar import polar_plot
from canopysim.light.photometry.read import parse_photometric, read_photometric
from canopysim.light.photometry.summary import (
    Peak,
    Summary,
    Width,
    cone_share,
    peak,
    summarise,
    width,
)

__all__ = [
    "CANDELA",
    "PHOTON_INTENSITY",
    "Distribution",
    "Opening",
    "Peak",
    "Summary",
    "Width",
    "cone_share",
    "direction",
    "flux",
    "intensity_at",
    "parse_eulumdat",
    "parse_lm63",
    "parse_photometric",
    "peak",
    "polar_plot",
    "read_photometric",
    "summarise",
    "width",
]
