"""Height datums never mix: a shift is one that the settings or a tie name, or there is none."""

from __future__ import annotations

from typing import Final

from pipeline.core.settings import Settings

UNKNOWN: Final = ("", "unknown", "not stated")
SITE_DATUM: Final = "site datum"
ELLIPSOID: Final = "ellipsoid"


def to_working_datum(datum: str, settings: Settings) -> tuple[float, float, str] | None:
    """What to add to a height on a datum to get one on the working datum.

    Parameters
    ----------
    datum : str
    settings : Settings

    Returns
    -------
    tuple of (add_m, u_m, words) or None
        None when no shift is known: such heights are not compared.

    """
    name = datum.strip()
    if name.casefold() == settings.reference.vertical_datum.casefold():
        return 0.0, 0.0, ""
    for shift in settings.reference.shift:
        if shift.datum.casefold() == name.casefold():
            return shift.add_m, shift.u_m, f"shift {shift.add_m:+.3f} ({shift.source})"
    return None
