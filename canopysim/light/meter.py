"""What a meter counts of each photon: ideal responses and tables, per band as a light sees it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from canopysim.errors import CanopysimError
from canopysim.light.spectrum.pieces import Pieces, integrate
from canopysim.light.spectrum.spectrum import JOULE_NM_PER_UMOL, Spectrum
from canopysim.light.spectrum.weights import LUMENS_PER_WATT, photopic, quantum_yield

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Response:
    """What one photon of a wavelength adds to a reading.

    Attributes
    ----------
    name : str
        As a scene writes it.
    weight : Pieces
        Reading per µmol m⁻² s⁻¹, over nm.
    unit : str
        Of the reading.
    """

    name: str
    weight: Pieces
    unit: str

    def per_band(self, light: Spectrum, edges: Sequence[float]) -> FloatArray:
        """Find the reading per flux density in each band, as a light's photons make it.

        Parameters
        ----------
        light : Spectrum
            What reaches the meter, as it was launched.
        edges : sequence of float, nm
            Ascending band edges, ``n_band + 1``.

        Returns
        -------
        (n_band,) array
            0 in bands without photons of the light.
        """
        photons = light.per_band(edges)

        def read(nm: FloatArray) -> FloatArray:
            return light.photons_per_nm(nm) * self.weight.at(nm)

        knots = np.union1d(light.knots, self.weight.nodes)
        counted = integrate(read, np.asarray(edges, np.float64), knots)
        out = np.zeros(len(photons))
        np.divide(counted, photons, out=out, where=photons > 0)
        return out


def _lux() -> Pieces:
    """Lumens per µmol over wavelength: 683 V(lambda) times the energy of a µmol of photons."""
    nm = np.arange(360.0, 831.0)
    return Pieces.from_points(nm, LUMENS_PER_WATT * photopic().at(nm) * JOULE_NM_PER_UMOL / nm)


QUANTA = "umol m-2 s-1"
RESPONSES: dict[str, Response] = {
    "par": Response("par", Pieces.from_ranges([(400.0, 700.0, 1.0)]), QUANTA),
    "epar": Response("epar", Pieces.from_ranges([(400.0, 750.0, 1.0)]), QUANTA),
    "lux": Response("lux", _lux(), "lx"),
    "ypf": Response("ypf", quantum_yield(), QUANTA),
}
"""Ideal meters: quantum sensors of 400-700 and 400-750 nm, the eye's (CIE 1924), and one that
weighs photons as leaves use them, the yield photon flux density (McCree 1972)."""


def response_table(text: str, name: str) -> Response:
    """Read a response: two columns, nm and share counted of each photon (1 is ideal).

    Raises
    ------
    CanopysimError
        ``NAME:LINE: what is wrong; the remedy``.
    """
    nm: list[float] = []
    share: list[float] = []
    for number, line in enumerate(text.splitlines(), 1):
        cells = line.replace(";", ",").replace("\t", ",").split(",")
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        try:
            x, y = (float(cell) for cell in cells)
        except ValueError:
            if not nm:
                continue  # a header
            raise CanopysimError(
                f"{name}:{number}: {line.strip()[:40]!r} is not nm and share; write for example "
                "'450, 0.98'"
            ) from None
        if not (200 <= x <= 2000 and 0 <= y <= 10):
            raise CanopysimError(
                f"{name}:{number}: {x:g} nm, {y:g} is out of range; allowed are 200 to 2000 nm and "
                "0 to 10"
            )
        if nm and x <= nm[-1]:
            raise CanopysimError(
                f"{name}:{number}: {x:g} nm does not ascend; list short wavelengths first"
            )
        nm.append(x)
        share.append(y)
    if len(nm) < 2:
        raise CanopysimError(
            f"{name}:1: fewer than two rows of nm and share; write for example '400, 1'"
        )
    return Response(name, Pieces.from_points(nm, share), QUANTA)
