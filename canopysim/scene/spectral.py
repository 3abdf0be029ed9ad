"""Values over wavelength: shares for a surface or leaf, and the make-up of a light's photons.

Written as one share (``12 %``) or as a mapping of wavelength ranges in nm to shares
(``{400-700: 85 %, 700-800: 88 %}``); both become pieces that are constant over wavelength.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated, Any

import numpy as np
import numpy.typing as npt
from pydantic import PlainValidator, WithJsonSchema

from canopysim.bands import range_label
from canopysim.light.spectrum.averages import band_means
from canopysim.light.spectrum.making import from_shares
from canopysim.light.spectrum.measures import photon_energy, photons_per_joule
from canopysim.light.spectrum.pieces import Pieces
from canopysim.light.spectrum.spectrum import Spectrum
from canopysim.scene.fields import as_text, found, refuse
from canopysim.units import format_share, parse_share, shown

FloatArray = npt.NDArray[np.float64]
Piece = tuple[float, float, float]

_RANGE = re.compile(
    r"([0-9]{3,4}(?:\.[0-9]{1,3})?)\s*[-–]\s*([0-9]{3,4}(?:\.[0-9]{1,3})?)(?:\s*nm)?"
)
MOST_PIECES = 500
SUM_TOLERANCE = 0.001


@dataclass(frozen=True)
class BandValues:
    """A share per wavelength, constant over each of its pieces.

    Parameters
    ----------
    pieces : tuple of (float, float, float)
        From nm, to nm, share 0..1; ascending, not overlapping. One share for all wavelengths is
        one piece from 0 to infinity.
    """

    pieces: tuple[Piece, ...]

    def uncovered(self, edges: Sequence[float]) -> str | None:
        """Name the first stretch of the bands that no piece covers, or None."""
        at = edges[0]
        for low, high, _ in self.pieces:
            if high <= at:
                continue
            if low > at or at >= edges[-1]:
                break
            at = high
        if at >= edges[-1]:
            return None
        after = [low for low, _, _ in self.pieces if low > at]
        return range_label(at, min([*after, edges[-1]]))

    def values(self, edges: Sequence[float]) -> FloatArray:
        """Average over each band, every wavelength counting alike.

        Parameters
        ----------
        edges : sequence of float, shape (n_band + 1,), nm
            Ascending band edges.

        Returns
        -------
        ndarray, shape (n_band,)
            Share per band, 0..1.

        Raises
        ------
        ValueError
            If the pieces leave a part of the bands without a value.
        """
        missing = self.uncovered(edges)
        if missing is not None:
            raise ValueError(f"no share is given for {missing} nm")
        out = np.zeros(len(edges) - 1)
        for band, (low, high) in enumerate(pairwise(edges)):
            inside = [
                (min(to, high) - max(start, low), share)
                for start, to, share in self.pieces
                if start < high and to > low
            ]
            # A band within one piece gets that share to the last bit.
            out[band] = (
                inside[0][1]
                if len(inside) == 1
                else sum(width * share for width, share in inside) / (high - low)
            )
        return out

    def means(self, light: Spectrum, edges: Sequence[float]) -> FloatArray:
        """Average over each band as a light sees it, (n_band,); see `values` for the errors."""
        missing = self.uncovered(edges)
        if missing is not None:
            raise ValueError(f"no share is given for {missing} nm")
        level = Pieces.from_ranges(self.pieces)
        return band_means(light, level, edges).values


@dataclass(frozen=True)
class BandShares:
    """How a light's photons divide over wavelength.

    Parameters
    ----------
    pieces : tuple of (float, float, float)
        From nm, to nm, share of the photons; ascending, not overlapping, together 1.
    """

    pieces: tuple[Piece, ...]

    def misfit(self, edges: Sequence[float]) -> str | None:
        """Name the first range whose ends are not edges of the bands, or None."""
        for low, high, _ in self.pieces:
            if low not in edges or high not in edges:
                return range_label(low, high)
        return None

    def values(self, edges: Sequence[float]) -> FloatArray:
        """Divide the photons over bands.

        Parameters
        ----------
        edges : sequence of float, shape (n_band + 1,), nm
            Ascending band edges.

        Returns
        -------
        ndarray, shape (n_band,)
            Share of the photons in each band, together exactly what the pieces hold, scaled to 1.
            A range over several bands is split in proportion to their widths.

        Raises
        ------
        ValueError
            If a range does not begin and end at band edges.
        """
        misfit = self.misfit(edges)
        if misfit is not None:
            raise ValueError(f"{misfit} nm does not begin and end at band edges")
        out = np.zeros(len(edges) - 1)
        for start, to, share in self.pieces:
            for band, (low, high) in enumerate(pairwise(edges)):
                if start <= low and high <= to:
                    out[band] += share * (high - low) / (to - start)
        scaled: FloatArray = out / out.sum()
        return scaled

    @property
    def tells_lumens(self) -> bool:
        """Not: where in its ranges the photons lie is not known, and the eye minds."""
        return False

    @property
    def library_name(self) -> None:
        """No spectrum of the library: shares are written out."""
        return None

    @property
    def light(self) -> Spectrum:
        """The same as a spectrum, level over each range; relative."""
        return from_shares(self.pieces)

    def photons_per_joule(self, edges: Sequence[float]) -> float:
        """Photons in bands per radiant energy, level over each range, µmol J⁻¹."""
        return photons_per_joule(self.light, (edges[0], edges[-1]))

    def most_photons_per_joule(self, edges: Sequence[float]) -> float:
        """As `photons_per_joule`, with every photon at the long end of its range."""
        total = sum(share for _, _, share in self.pieces)
        return total / sum(share / photon_energy(high) for _, high, share in self.pieces)

    def outside(self, edges: Sequence[float]) -> float:
        """Share of all photons that lies in no band: none, as ranges begin and end at edges."""
        return 0.0


def _pieces(value: dict[Any, Any]) -> tuple[Piece, ...]:
    """Read a mapping of wavelength ranges to shares."""
    if not value:
        raise ValueError("the mapping is empty; write for example {400-700: 85 %, 700-800: 88 %}")
    if len(value) > MOST_PIECES:
        raise ValueError(f"{len(value)} ranges are too many; at most {MOST_PIECES}")
    pieces: list[tuple[float, float, float, str]] = []
    for key, entry in value.items():
        match = _RANGE.fullmatch(str(key).strip())
        if match is None:
            refuse(f"{shown(str(key))} is not a range in nm; write for example 400-700", key)
        low, high = float(match[1]), float(match[2])
        if low >= high:
            refuse(f"{shown(key)} does not ascend; write the shorter wavelength first", key)
        try:
            share = parse_share(as_text(entry, "'85 %'"))
        except ValueError as error:
            refuse(str(error), key)
        pieces.append((low, high, share, key))
    pieces.sort()
    for (_, end, _, first), (begin, _, _, second) in pairwise(pieces):
        if begin < end:
            refuse(f"{shown(second)} overlaps {shown(first)}; ranges may only touch", second)
    return tuple((low, high, share) for low, high, share, _ in pieces)


def read_band_values(value: object) -> BandValues:
    """Read one share or a mapping of wavelength ranges to shares."""
    if isinstance(value, BandValues):
        return value
    if isinstance(value, dict):
        return BandValues(_pieces(value))
    if isinstance(value, list | tuple):
        raise ValueError(f"{found(value)}; write one share such as '12 %' or a mapping of ranges")
    return BandValues(((0.0, float("inf"), parse_share(as_text(value, "'12 %'"))),))


def read_band_shares(value: object) -> BandShares:
    """Read a mapping of wavelength ranges to shares of the photons, together 100 %."""
    if isinstance(value, BandShares):
        return value
    if not isinstance(value, dict):
        raise ValueError(
            f"{found(value)}; write a mapping such as {{400-500: 20 %, 500-600: 80 %}}"
        )
    pieces = _pieces(value)
    total = sum(share for _, _, share in pieces)
    if abs(total - 1) > SUM_TOLERANCE:
        raise ValueError(
            f"the shares make {format_share(total)}; they must make 100 % (within 0.1 %)"
        )
    return BandShares(pieces)


SHARE_SCHEMA = {"type": "string", "pattern": r"^\s*[0-9.]+\s*%\s*$"}
RANGES_SCHEMA = {
    "type": "object",
    "patternProperties": {r"^[0-9.]+\s*[-–]\s*[0-9.]+(\s*nm)?$": SHARE_SCHEMA},
    "additionalProperties": False,
    "minProperties": 1,
}
SpectralShare = Annotated[
    BandValues,
    PlainValidator(read_band_values, json_schema_input_type=Any),
    WithJsonSchema({"anyOf": [SHARE_SCHEMA, RANGES_SCHEMA]}),
]
