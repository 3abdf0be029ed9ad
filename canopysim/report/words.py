"""Numbers and names as a person reads them: wavebands, units, errors, the ends of photons."""

from __future__ import annotations

import math

FLUX_DENSITY = "µmol m⁻² s⁻¹"
FLUX = "µmol s⁻¹"
PPFD_BAND = "400-700"
CORRECTIONS = ("roulette", "choice")

_ENDS = {
    "stems": "stems and petioles",
    "front": "front wall",
    "back": "back wall",
    "left": "left wall",
    "right": "right wall",
    "untraced": "lost by the program (untraced)",
    "roulette": "correction: roulette",
    "choice": "correction: shared choice",
}
_STOPS = {
    "target": "the target error was reached",
    "packet budget": "the packet budget was used up",
    "time budget": "the time budget was used up",
    "interrupted": "it was interrupted",
}


def band_label(band: str) -> str:
    """Waveband with its unit: "400-700" becomes "400–700 nm"."""
    return f"{band.replace('-', '–')} nm"


def group_label(group: str) -> str:
    """Name of a group of lights; "all" becomes "all lights"."""
    return "all lights" if group == "all" else group


def end_label(end: str) -> str:
    """Name of a place where photons end."""
    return _ENDS.get(end, end)


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
        if n >= size:
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
        "612.3 ± 1.2"; "612 ± ?" if the error is unknown; "none seen" if nothing arrived; "–" if the
        value itself is unknown.
    """
    if not math.isfinite(value):
        return "–"
    if not math.isfinite(std_err):
        return "none seen" if value == 0.0 else f"{significant(value)} ± ?"
    if std_err <= 0.0:
        return f"{significant(value, 4)} ± 0"
    decimals = error_decimals(std_err)
    # Adding zero takes the sign from a value that is rounded to nothing.
    value = round(value, decimals) + 0.0
    return minus(f"{value:.{decimals}f} ± {std_err:.{decimals}f}")


def percent(share: float, std_err: float | None = None) -> str:
    """Share as "62.1 ± 0.2 %", or as "62.1 %" if no error belongs to it."""
    if std_err is None:
        return f"{significant(100.0 * share)} %" if math.isfinite(share) else "–"
    text = with_error(100.0 * share, 100.0 * std_err)
    return text if text in ("–", "none seen") else f"{text} %"
