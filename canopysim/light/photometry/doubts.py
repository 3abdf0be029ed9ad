"""Contradictions inside a photometric file: flux against the table, light against power."""

from __future__ import annotations

from canopysim.light.photometry.distribution import CANDELA, FLUX_UNITS
from canopysim.light.photometry.text import Remarks
from canopysim.light.photometry.words import Array

FLUX_TOLERANCE = 0.03
# Share of a fixture's light that goes down, in points.
DOWN_TOLERANCE = 0.03
# Larger or smaller figures than these cannot be candela, and would overflow later.
LARGEST_INTENSITY = 1e12
SMALLEST_PEAK = 1e-9
# Lumens per watt that lamps do not go below or beyond.
LEAST_EFFICACY, GREATEST_EFFICACY = 10.0, 250.0
# No fixture takes more.
GREATEST_WATTS = 1e6


def refuse_no_light(table: Array, line: int, remarks: Remarks) -> None:
    """Refuse a scaled table without light, or with more than any fixture gives.

    Parameters
    ----------
    table : numpy.ndarray
        Intensities, may hold inf.
    line : int
        Where the table begins.
    remarks : Remarks
        Makes the refusal.

    Raises
    ------
    CanopysimError
        If the peak is out of range.
    """
    peak = float(table.max())
    if not peak <= LARGEST_INTENSITY:
        raise remarks.refusal(
            line,
            f"the greatest intensity is {peak:g}, more than any fixture gives (at most "
            f"{LARGEST_INTENSITY:g}); check the table and its factors",
        )
    if peak < SMALLEST_PEAK:
        raise remarks.refusal(
            line, f"the greatest intensity is {peak:g}: there is no light; ask for another file"
        )


def doubt_lamp_flux(flux: float, lamps: float, line: int, unit: str, remarks: Remarks) -> None:
    """Compare a fixture's flux with that of its lamps, of which it may lose a part.

    Parameters
    ----------
    flux : float
        Integral of the table at the lamps' full flux.
    lamps : float
        Stated flux of the lamps, same unit.
    line : int
        Where it is stated.
    unit : str
        Of the intensities.
    remarks : Remarks
        Takes the warning.
    """
    share = flux / lamps
    told = f"the table adds up to {flux:.4g} {FLUX_UNITS[unit]}, {share:.1%} of the {lamps:.4g}"
    if share > 1.0 + FLUX_TOLERANCE:
        remarks.warn(
            line,
            f"{told} stated for the lamps, and no fixture gives more than its lamps; check the "
            "lamps' flux, their number and the multiplier",
        )
    elif share < 1.0 - FLUX_TOLERANCE:
        remarks.warn(
            line,
            f"{told} stated for the lamps; that is right if the fixture keeps the rest back, "
            "otherwise check the lamps' flux, their number and the multiplier",
        )


def doubt_fixture_flux(flux: float, stated: float, line: int, unit: str, remarks: Remarks) -> None:
    """Compare a fixture's flux with what is stated for the fixture itself.

    Parameters
    ----------
    flux : float
        Integral of the table.
    stated : float
        Stated flux of the fixture, same unit.
    line : int
        Where it is stated.
    unit : str
        Of the intensities.
    remarks : Remarks
        Takes the warning.
    """
    if abs(flux / stated - 1.0) > FLUX_TOLERANCE:
        remarks.warn(
            line,
            f"the table adds up to {flux:.4g} {FLUX_UNITS[unit]}, {flux / stated:.1%} of the "
            f"{stated:.4g} that lamps and light output ratio make; check which of them is right",
        )


def doubt_down_share(down: float, stated: float, line: int, remarks: Remarks) -> None:
    """Compare the share of light that goes down with the stated one.

    Parameters
    ----------
    down, stated : float
        Shares, of the table and as stated.
    line : int
        Where it is stated.
    remarks : Remarks
        Takes the warning.
    """
    if abs(down - stated) > DOWN_TOLERANCE:
        remarks.warn(
            line,
            f"the table sends {down:.1%} of its light down, but {stated:.1%} is stated; check "
            "whether the table is upside down or cut off",
        )


def doubt_efficacy(flux: float, watts: float, line: int, unit: str, remarks: Remarks) -> None:
    """Warn if candela come with a power that no lamp has.

    Parameters
    ----------
    flux : float
        Integral of the table.
    watts : float
        Input power, above 0.
    line : int
        Where it is stated.
    unit : str
        Of the intensities; photon intensities are not judged.
    remarks : Remarks
        Takes the warning.
    """
    efficacy = flux / watts
    if unit == CANDELA and not LEAST_EFFICACY <= efficacy <= GREATEST_EFFICACY:
        remarks.warn(
            line,
            f"{flux:.4g} lm from {watts:g} W are {efficacy:.3g} lm/W, which no lamp gives "
            f"({LEAST_EFFICACY:g} to {GREATEST_EFFICACY:g}); check the watts, and whether the "
            "table holds candela or perhaps photon intensities",
        )


def read_watts(watts: float, line: int, remarks: Remarks) -> float | None:
    """Return the input power, or None with a warning where the file says 0 or nonsense.

    Parameters
    ----------
    watts : float
        As stated.
    line : int
        Where.
    remarks : Remarks
        Takes the warning.

    Returns
    -------
    float or None
        Power in W.
    """
    if 0.0 < watts <= GREATEST_WATTS:
        return watts
    remarks.warn(
        line, f"the input power is {watts:g} W; taken as unknown, so look it up in the data sheet"
    )
    return None
