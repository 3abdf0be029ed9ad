"""Numbers and names as a person reads them: wavebands, units, errors, the ends of photons."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from canopysim.bands import range_label

if TYPE_CHECKING:
    from canopysim.analysis.ends import End

FLUX_DENSITY = "µmol m⁻² s⁻¹"
FLUX = "µmol s⁻¹"
PPFD_BAND = "400-700"
# Relative standard errors below this are not written out.
FINEST = 1e-5

# By kind of end: what a person calls it, where the result's own name is too short.
_KINDS = {
    "stem": "stems and petioles",
    "untraced": "lost by the program (untraced)",
    "roulette": "correction: roulette",
    "choice": "correction: shared choice",
}
_WALLS = ("front", "back", "left", "right")
_STOPS = {
    "target": "the target error was reached",
    "packet budget": "the packet budget was used up",
    "time budget": "the time budget was used up",
    "memory budget": "the memory for the rows of its batches was used up; choose a larger batch",
    "interrupted": "it was interrupted",
}


def band_label(band: str) -> str:
    """Waveband with its unit: "400-700" becomes "400–700 nm"."""
    return f"{band.replace('-', '–')} nm"


def group_label(group: str) -> str:
    """Name of a group of lights; "all" becomes "all lights"."""
    return "all lights" if group == "all" else group


def span_label(span: tuple[float, float]) -> str:
    """Range of wavelengths with its unit: (700, 800) becomes "700–800 nm"."""
    return band_label(range_label(*span))


def end_label(end: End) -> str:
    """Name of a place where photons end."""
    if end.kind == "face" and end.face in _WALLS:
        return f"{end.face} wall"
    return _KINDS.get(end.kind, end.name)


def stop_label(stopped_by: str) -> str:
    """Why a run stopped, as the end of a sentence."""
    return _STOPS.get(stopped_by, stopped_by)


def centimetres(length_m: float) -> str:
    """Length in cm, without needless decimals: 0.955 becomes "95.5"."""
    return f"{round(100.0 * length_m, 1):g}"


def count(n: int) -> str:
    """Whole number for reading: "192", "65 536", "12.6 million"."""
    if n < 1_000_000:
        return f"{n:,}".replace(",", "\N{NO-BREAK SPACE}")
    for size, word in ((1e12, "million million"), (1e9, "thousand million"), (1e6, "million")):
        # 999.5 million and more round to 1 thousand million.
        if n >= size * 0.9995 or size == 1e6:
            return f"{n / size:.3g} {word}"
    raise AssertionError("unreachable: n is at least a million")


def duration(seconds: float) -> str:
    """Time for reading: "48.4 s", "12 min 5 s", "2 h 3 min"."""
    if seconds < 60.0:
        return f"{seconds:.3g} s"
    whole = round(seconds)
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s"
    return f"{whole // 3600} h {whole % 3600 // 60} min"


def significant(value: float, digits: int = 3) -> str:
    """Plain decimal number with so many significant digits; "–" if it is unknown."""
    if not math.isfinite(value):
        return "–"
    if value == 0.0:
        return "0"
    decimals = digits - 1 - math.floor(math.log10(abs(value)))
    return minus(f"{round(value, decimals):.{max(decimals, 0)}f}")


def minus(text: str) -> str:
    """Use a true minus sign."""
    return text.replace("-", "−")


def error_decimals(std_err: float) -> int:
    """Decimals that show an error with one significant digit, or two if it starts with 1 or 2."""
    exponent = math.floor(math.log10(std_err))
    leading = std_err / 10.0**exponent
    return max(0, -exponent + (1 if leading < 2.95 else 0))


def with_error(value: float, std_err: float) -> str:
    """Value and standard error, rounded alike.

    Parameters
    ----------
    value : float
        Any unit.
    std_err : float
        Standard error in the same unit; NaN means that it is not known.

    Returns
    -------
    str
        "612.3 ± 1.2"; "612" if the error is unknown, as with one batch; "none seen" if nothing
        arrived; "0" if it is known that nothing can arrive; "–" if the value itself is unknown.
    """
    if not math.isfinite(value):
        return "–"
    if not math.isfinite(std_err):
        return "none seen" if value == 0.0 else significant(value)
    if std_err <= 0.0:
        return "0" if value == 0.0 else f"{significant(value, 4)} ± 0"
    if std_err < FINEST * abs(value):
        # Digits that no meter and no leaf could tell apart say nothing.
        return f"{significant(value, 5)} ± under {FINEST:.3%}".replace("%", " %")
    decimals = error_decimals(std_err)
    # Adding zero takes the sign from a value that is rounded to nothing.
    value = round(value, decimals) + 0.0
    return minus(f"{value:.{decimals}f} ± {std_err:.{decimals}f}")


def colour_ratio(value: float, std_err: float | None = None) -> str:
    """Write red:far-red; a light with next to no far-red has only the tail of its table there."""
    if value > 1000.0:
        return "over 1000"
    return significant(value) if std_err is None else with_error(value, std_err)


def percent(share: float, std_err: float | None = None) -> str:
    """Share as "62.1 ± 0.2 %", or as "62.1 %" if no error belongs to it."""
    if std_err is None:
        return f"{significant(100.0 * share)} %" if math.isfinite(share) else "–"
    text = with_error(100.0 * share, 100.0 * std_err)
    return text if text in ("–", "none seen", "0") else f"{text} %"


def percent_within(share: float, std_err: float, decimals: int) -> str:
    """Share with its error in percent, with no more decimals than the table beside it has.

    Parameters
    ----------
    share, std_err : float
        0 to 1; an unknown error is NaN.
    decimals : int
        Of the percentage.

    Returns
    -------
    str
        "0.0027 ± 0.0004 %", or "under 0.0001 %" where both are rounded to nothing.
    """
    value, error = 100.0 * share, 100.0 * std_err
    if not math.isfinite(value):
        return "–"
    half = 0.5 * 10.0**-decimals
    least = f"{10.0**-decimals:.{decimals}f} %"
    shown = f"{round(value, decimals) + 0.0:.{decimals}f}"
    if math.isfinite(error) and error >= half:
        decimals = min(decimals, error_decimals(error))
        return minus(f"{round(value, decimals) + 0.0:.{decimals}f} ± {error:.{decimals}f} %")
    if abs(value) < half:
        return f"under {least}"
    return minus(f"{shown} %") + (f", ± under {least}" if math.isfinite(error) else "")
