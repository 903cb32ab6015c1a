"""Inside height of a mouth, for steps from its top or middle down to its lowest edge.

A size that is not known is taken as the largest that the survey form accepts, so that a drop with
an unknown size is never smaller than the drop with the size.
"""

from __future__ import annotations

import math
from typing import Final

LARGEST_BORE_MM: Final = 300.0  # upper end of the form's range for a bore
LARGEST_SECOND_MM: Final = 1000.0  # upper end of the form's range for a second inside size
LARGEST_ENTRY_MM: Final = 3000.0  # upper end of the form's range for the height of a slot
_TWO_SIZES: Final = ("rectangular", "oval")
_SLOTS: Final = ("cut-out trench", "slot", "open trough", "gland plate", "not seen", "")


def of_end(shape: str, bore_mm: float | None, bore_b_mm: float | None) -> tuple[float, str]:
    """Largest inside height that a duct's mouth can have (mm), and what was assumed.

    Parameters
    ----------
    shape : str
        Word of the survey; '' = not stated.
    bore_mm, bore_b_mm : float or None
        Inside sizes (mm). Which of the two stands upright is not surveyed: the larger counts.

    Returns
    -------
    tuple of (float, str)
        Height (mm); assumption in words, '' = none.

    """
    first, second, assumed = bore_mm, bore_b_mm or 0.0, ""
    if first is None:
        first, assumed = LARGEST_BORE_MM, f"bore taken as {LARGEST_BORE_MM:.0f} mm for its level"
    if bore_b_mm is None and shape in _TWO_SIZES:
        second = LARGEST_SECOND_MM
        assumed = f"second size taken as {LARGEST_SECOND_MM:.0f} mm for its level"
    return max(first, second), assumed


def of_entry(kind: str, height_mm: float | None, bores_mm: list[float]) -> tuple[float, str]:
    """Largest inside height that an entry can have (mm), and what was assumed.

    Parameters
    ----------
    kind : str
        Word of the survey; '' = not stated.
    height_mm : float or None
        Height of a slot, trench or trough (mm).
    bores_mm : list of float
        Bores of its ends, NaN where one is not known (mm).

    Returns
    -------
    tuple of (float, str)
        Height (mm); assumption in words, '' = none.

    """
    if height_mm is not None:
        return height_mm, ""
    if kind in _SLOTS:
        return LARGEST_ENTRY_MM, f"height taken as {LARGEST_ENTRY_MM:.0f} mm for its level"
    if not bores_mm or any(math.isnan(b) for b in bores_mm):
        return LARGEST_BORE_MM, f"bore taken as {LARGEST_BORE_MM:.0f} mm for its level"
    return max(bores_mm), ""
