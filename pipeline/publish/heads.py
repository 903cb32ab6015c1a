"""The two heads of a duct end, named alike wherever they stand: map, trace and work packs.

The class follows the design event; a seal has to stand whatever water may reach it, so that it is
designed for the higher head.
"""

from __future__ import annotations

import math
from typing import Final

AT_EVENT: Final = "head at the design event"
OF_SEAL: Final = "head the seal is designed for"
_EVENT_WORDS: Final = "water of that event with freeboard, over its own invert"


def at_event(head_m: float) -> str:
    """Head of the water that decides the class, in words.

    Parameters
    ----------
    head_m : float
        `head_m` of the table reach (m); NaN = not known.

    Returns
    -------
    str
        '' where it is not known: no water of the design event is known to get there.
    """
    return "" if math.isnan(head_m) else f"{head_m:.2f} m ({_EVENT_WORDS})"


def of_seal(head_m: float, source: str) -> str:
    """Head that a seal is designed for, in words, with the water that gives it.

    Parameters
    ----------
    head_m : float
        `design_head_m` of the table designs (m); NaN = not known.
    source : str
        Its `head_from`.

    Returns
    -------
    str
    """
    if math.isnan(head_m):
        return f"not known ({source})" if source else "not known"
    return f"{head_m:.2f} m ({source})" if source else f"{head_m:.2f} m"
