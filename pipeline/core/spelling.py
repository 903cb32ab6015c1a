"""Ids typed in another case: taken where only one id can be meant, and then said."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def one_meant(typed: str, known: Iterable[str]) -> str:
    """The id that a typed one means.

    Parameters
    ----------
    typed : str
        As somebody typed it.
    known : iterable of str
        Ids that there are.

    Returns
    -------
    str
        `typed` itself where it is an id; else the only id that differs from it in nothing but
        case and blanks around it; '' where there is none, or more than one.
    """
    ids = set(known)
    if typed in ids:
        return typed
    same = [i for i in ids if i.casefold() == typed.strip().casefold()]
    return same[0] if len(same) == 1 else ""


def nearest(typed: str, known: Iterable[str]) -> list[str]:
    """At most three ids that a typed one may mean, whatever their case; the likeliest first."""
    ids = sorted(set(known))
    wanted = typed.strip().casefold()
    same = [i for i in ids if i.casefold() == wanted]
    by_small = {i.casefold(): i for i in ids}
    close = difflib.get_close_matches(wanted, by_small, n=3, cutoff=0.5)
    return same[:3] or [by_small[c] for c in close]


def read_as(typed: str, meant: str) -> list[str]:
    """The line that says how a typed id was read; none where it was typed as it is."""
    return [] if typed == meant else [f'"{typed}" is read as {meant}: nothing else fits it.']
