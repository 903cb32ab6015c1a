"""Which packs to buy in which month: exact dynamic programme over the pieces carried on. Pure.

Money in minor units. A month's needs come first from what was carried, then from what is bought.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from pipeline.core.buying import Price
from pipeline.procurement.lots_wide import Choices, plan_wide

# Above this many pack counts in one month only those are tried that cover the needs of whole
# months, meet a price break or the minimum; below it every count is tried.
EVERY_COUNT_UP_TO: Final = 400
_SHORT: Final = 10**15  # cost of a missing piece: dearer than any purchase


@dataclass(frozen=True)
class Offer:
    """An offer that can be ordered in a month; `carry_count`: pieces of later needs it can serve.

    `carry_count` ends at the shelf life: pieces beyond it cannot be carried on and are waste.
    """

    price: Price
    carry_count: int


@dataclass(frozen=True)
class Step:
    """What is done in one month."""

    offer: Price | None
    packs_count: int
    from_carried_count: int
    ordered_count: int
    carried_on_count: int
    short_count: int

    @property
    def cost_minor(self) -> int:
        """Packs x price at this number of packs."""
        return 0 if self.offer is None else _cost(self.offer, self.packs_count)


def _cost(price: Price, packs: int) -> int:
    return packs * price.pack_price_minor(packs)


@dataclass(frozen=True)
class _Node:
    """A reachable state: rank (cost, pieces bought, pieces carried), and how it was reached."""

    rank: tuple[int, int, int]
    steps: tuple[Step, ...]


def plan_lots(needs: Sequence[int], offers: Sequence[Sequence[Offer]]) -> list[Step]:
    """Cheapest packs for a row of months.

    Parameters
    ----------
    needs : sequence of int
        Pieces to buy for each month, after stock.
    offers : sequence of sequence of Offer
        What can be ordered for each month.

    Returns
    -------
    list of Step
        One per month. Among plans of equal cost the one with fewer pieces, then later buying.

    Notes
    -----
    Price breaks count packs of one month's line. Holding costs nothing here; shelf life limits
    what is carried. Exact while a month has no more than `EVERY_COUNT_UP_TO` pack counts to try.
    """
    if not needs:
        return []
    moves = plan_wide(needs, _choices(needs, offers))
    if moves is None:
        return plan_by_states(needs, offers)
    steps = []
    for month, (need, move) in enumerate(zip(needs, moves, strict=True)):
        used = min(int(need), move.carried_in_count)
        price = offers[month][move.offer].price if move.offer >= 0 else None
        pieces = move.packs_count * price.pack_count if price else 0
        short = max(0, int(need) - used - pieces)
        steps.append(Step(price, move.packs_count, used, pieces, move.carried_on_count, short))
    return steps


def _choices(needs: Sequence[int], offers: Sequence[Sequence[Offer]]) -> list[list[Choices]]:
    """Packs worth trying and what they cost, for each month and offer."""
    found = []
    for month, here in enumerate(offers):
        later = [int(n) for n in needs[month + 1 :]]
        row = []
        for offer in here:
            # any number may be in hand already: between the least order and all that is of use
            counts = {*_counts(offer, 0, 0, later), *_counts(offer, int(needs[month]), 0, later)}
            low, high = min(counts), max(_counts(offer, int(needs[month]), 0, later))
            if high - low <= EVERY_COUNT_UP_TO:
                counts |= set(range(low, high + 1))
            packs = np.array(sorted(counts), dtype=np.int64)
            cost = np.array([_cost(offer.price, int(n)) for n in packs], dtype=np.int64)
            row.append(Choices(packs, cost, offer.price.pack_count, offer.carry_count))
        found.append(row)
    return found


def plan_by_states(needs: Sequence[int], offers: Sequence[Sequence[Offer]]) -> list[Step]:
    """As `plan_lots`, one number of carried pieces after the other: for very large numbers."""
    states: dict[int, _Node] = {0: _Node((0, 0, 0), ())}
    for month, need in enumerate(needs):
        later = [int(n) for n in needs[month + 1 :]]
        following: dict[int, _Node] = {}
        for carried in sorted(states):
            node = states[carried]
            for step in _steps(need, carried, later, offers[month]):
                rank = (
                    node.rank[0] + step.cost_minor + _SHORT * step.short_count,
                    node.rank[1] + step.ordered_count,
                    node.rank[2] + step.carried_on_count,
                )
                best = following.get(step.carried_on_count)
                if best is None or rank < best.rank:
                    following[step.carried_on_count] = _Node(rank, (*node.steps, step))
        states = following
    return list(min(states.values(), key=lambda n: n.rank).steps)


def _steps(need: int, carried: int, later: Sequence[int], offers: Sequence[Offer]) -> list[Step]:
    used = min(need, carried)
    missing = need - used
    rest = carried - used
    steps = [Step(None, 0, used, 0, rest, missing)]
    for offer in offers:
        for packs in _counts(offer, missing, rest, later):
            pieces = packs * offer.price.pack_count
            on = min(rest + pieces - missing, max(rest, offer.carry_count))
            steps.append(Step(offer.price, packs, used, pieces, on, 0))
    return steps


def _counts(offer: Offer, missing: int, rest: int, later: Sequence[int]) -> list[int]:
    """Pack counts worth trying: at least what is missing, at most what can still be used."""
    price = offer.price
    size = price.pack_count
    least = max(-(-missing // size), price.minimum_packs_count, 1)
    useful = min(offer.carry_count, sum(later))
    most = max(least, -(-(missing + max(0, useful - rest)) // size))
    steps = {b.packs_count for b in price.breaks if b.packs_count > least}
    if most - least <= EVERY_COUNT_UP_TO:
        return sorted({*range(least, most + 1), *steps})
    total, covers = missing - rest, {least, most}
    for need in later:
        total += need
        covers.add(min(most, max(least, -(-total // size))))
    return sorted(covers | steps)
