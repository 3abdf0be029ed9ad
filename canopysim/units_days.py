"""Ages of plants: text in days."""

from canopysim.units_text import bounded, number_and_unit, refuse_unit, shown

MOST_DAYS = 3650.0


def parse_days(text: str) -> float:
    """Read an age such as ``30 days``.

    Parameters
    ----------
    text : str
        One number, not negative, with day or days.

    Returns
    -------
    float
        Age in days, at most 3650.

    Raises
    ------
    ValueError
        If the text is anything else.
    """
    number, unit = number_and_unit(text, "'30 days'")
    if unit not in ("day", "days"):
        raise refuse_unit(text, unit, "time", ["days"], "'30 days'")
    if number < 0:
        raise ValueError(f"{shown(text)} is negative; an age is at least 0 days")
    return bounded(number, MOST_DAYS, text, "3650 days")
