"""The words of packages and choices: chances, gates, reasons in one line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from pipeline.programme.onset import SAME_CHANCE, IntArray

if TYPE_CHECKING:
    from pipeline.programme.openings import Openings
    from pipeline.programme.packages import Onset
    from pipeline.programme.structure import Limit

HELD_REASON: Final = "no benefit until released"
NOT_TOLD: Final = "no gain can be told: "
_KIND_FIRST: Final = ("door", "vent", "drain", "hatch", "crack", "gap beside duct")


def one_in(chance_per_year: float, bound: str = "") -> str:
    """A chance as people say it: '1 in 16 a year', with 'more often than' or 'rarer than'."""
    if chance_per_year <= 0.0:
        return "no known chance"
    if chance_per_year >= 1.0:
        return "every year"
    years = f"1 in {round(1.0 / chance_per_year):,} a year"
    return f"{bound} {years}".strip()


def all_sealed(ends_count: int) -> str:
    """A package of which nothing is left to do but acceptance."""
    who = (
        "its only end is sealed by record and waits"
        if ends_count == 1
        else f"all of its {ends_count} ends are sealed by record and wait"
    )
    return f"done: {who} for acceptance, so it ranks after work still to be done"


def gate(openings: Openings, newly: IntArray) -> str | None:
    """Openings whose closing makes a step count: those that decide among the newly closed ones."""
    if newly.size == 0:
        return None
    chance = np.nan_to_num(openings.chance_per_year[newly], nan=-1.0)
    own = chance.max(axis=1) if chance.shape[1] else np.full(newly.size, -1.0)
    lead = newly[own <= own[own >= 0].min() + SAME_CHANCE] if (own >= 0).any() else newly
    lead = lead[~openings.is_unknown[lead]] if (~openings.is_unknown[lead]).any() else lead
    return ", ".join(named(openings, int(i)) for i in lead)


def named(openings: Openings, row: int) -> str:
    """Name of an opening with its kind and let-in level."""
    kind = openings.kinds[row]
    level = openings.level_m[row]
    name = openings.ids[row] if kind not in _KIND_FIRST else f"{kind} {openings.ids[row]}"
    return f"{name} (no level)" if np.isnan(level) else f"{name} ({level:.3f} m)"


def next_gate(openings: Openings, after: Onset, limit: Limit, next_per_year: float) -> str | None:
    """What decides after a package, in words, with its level and chance."""
    if next_per_year > after.chance_per_year + SAME_CHANCE and limit.is_known:
        return f"structural limit ({limit.level_m:.3f} m), {one_in(next_per_year)}"
    if after.decider is None:
        return "none known"
    held = ", held" if openings.is_held[after.decider] else ""
    chance = one_in(after.chance_per_year, after.bound)
    return f"{named(openings, after.decider)}{held}, {chance}"
