"""The same plan of packs as `lots`, by whole arrays of carried pieces. Pure.

For each month: least cost of every number of pieces carried on, over every number of packs, as one
table of (pieces carried on, packs); what led there is kept and read back from the last month.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

IntArray = npt.NDArray[np.int64]

# a missing piece is dearer than any purchase; both stay far inside 63 bits
SHORT_MINOR: Final = 2**36
_MOST_SHORT: Final = 2**24
_NEVER: Final = 2**61
_PIECE: Final = 2**32  # second key: pieces bought, then pieces carried over month ends
# cells of one month's table above which `lots` is asked to plan by single states
CELLS: Final = 4_000_000


@dataclass(frozen=True)
class Choices:
    """Numbers of packs of one offer in one month that are worth trying.

    Parameters
    ----------
    packs, cost_minor : numpy.ndarray of int, shape (n,)
        Packs, and what so many cost (minor units).
    pack_count : int
        Pieces in a pack.
    carry_count : int
        Pieces that can be carried on at most.

    """

    packs: IntArray
    cost_minor: IntArray
    pack_count: int
    carry_count: int


@dataclass(frozen=True)
class Move:
    """What is done in a month: offer (-1 = none), packs, pieces carried in, pieces carried on."""

    offer: int
    packs_count: int
    carried_in_count: int
    carried_on_count: int


class _Month:
    """Best way to each number of pieces carried on from one month."""

    def __init__(self, size: int) -> None:
        self.cost = np.full(size, _NEVER, dtype=np.int64)
        self.second = np.full(size, _NEVER, dtype=np.int64)
        self.offer = np.full(size, -1, dtype=np.int64)
        self.packs = np.zeros(size, dtype=np.int64)
        self.before = np.zeros(size, dtype=np.int64)

    def take(self, on: IntArray, cost: IntArray, second: IntArray, how: Sequence[IntArray]) -> None:
        """Keep what is better than before; each place of `on` stands in it once."""
        old, other = self.cost[on], self.second[on]
        better = (cost < _NEVER) & ((cost < old) | ((cost == old) & (second < other)))
        at = on[better]
        self.cost[at], self.second[at] = cost[better], second[better]
        for mine, values in zip((self.offer, self.packs, self.before), how, strict=True):
            mine[at] = values[better]


def plan_wide(needs: Sequence[int], offers: Sequence[Sequence[Choices]]) -> list[Move] | None:
    """Cheapest packs for a row of months.

    Parameters
    ----------
    needs : sequence of int
        Pieces to buy for each month, after stock.
    offers : sequence of sequence of Choices
        What can be ordered for each month.

    Returns
    -------
    list of Move, or None
        One per month; None where the table of a month would be too large.

    """
    most = max([0, *(o.carry_count for month in offers for o in month)])
    wide = max([1, *(o.packs.size for month in offers for o in month)])
    if (most + 1) * wide > CELLS or sum(needs) >= _MOST_SHORT:
        return None
    cost = np.full(most + 1, _NEVER, dtype=np.int64)
    second = np.full(most + 1, _NEVER, dtype=np.int64)
    cost[0], second[0] = 0, 0
    months = []
    for need, here in zip(needs, offers, strict=True):
        month = _Month(most + 1)
        _buy_nothing(month, cost, second, int(need))
        for number, offer in enumerate(here):
            _buy(month, cost, second, int(need), (number, offer))
        months.append(month)
        cost, second = month.cost, month.second
    return _read_back(months)


def _buy_nothing(month: _Month, cost: IntArray, second: IntArray, need: int) -> None:
    """What is carried in serves the month; the rest is carried on, what lacks is short."""
    held = np.arange(cost.size)
    on = held[: max(0, cost.size - need)]
    none = np.full(on.size, -1, dtype=np.int64)
    month.take(on, cost[need:], second[need:] + on, (none, np.zeros_like(on), on + need))
    lacking = held[: min(need, cost.size)]
    if lacking.size:
        missed = np.where(
            cost[lacking] < _NEVER, cost[lacking] + (need - lacking) * SHORT_MINOR, _NEVER
        )
        best = int(np.lexsort((second[lacking], missed))[0])
        one = np.array([best])
        month.take(np.array([0]), missed[one], second[one], (np.array([-1]), np.array([0]), one))


def _buy(
    month: _Month, cost: IntArray, second: IntArray, need: int, numbered: tuple[int, Choices]
) -> None:
    """Every number of packs: to each number carried on there is one number carried in."""
    number, offer = numbered
    pieces = offer.packs * offer.pack_count
    on = np.arange(offer.carry_count + 1)
    before = on[:, None] + need - pieces[None, :]
    # more in hand than the shelf life lets on: bought pieces would only be waste
    is_open = (before >= 0) & (before <= min(cost.size - 1, need + offer.carry_count))
    at = np.where(is_open, before, 0)
    total = np.where(is_open & (cost[at] < _NEVER), cost[at] + offer.cost_minor[None, :], _NEVER)
    tie = second[at] + pieces[None, :] * _PIECE + on[:, None]
    _wasted(total, tie, at, (cost, second, offer, pieces, need))
    least = total.min(axis=1)
    tie = np.where(total == least[:, None], tie, _NEVER)
    pick = tie.argmin(axis=1)
    rows = np.arange(on.size)
    month.take(
        on, least, tie[rows, pick],
        (np.full(on.size, number), offer.packs[pick], at[rows, pick]),
    )  # fmt: skip


def _wasted(
    total: IntArray,
    tie: IntArray,
    at: IntArray,
    what: tuple[IntArray, IntArray, Choices, IntArray, int],
) -> None:
    """At the most that can be carried on, more may have been bought: the rest is thrown away."""
    cost, second, offer, pieces, need = what
    cap = offer.carry_count
    top = min(cost.size - 1, need + cap)
    # best way in among all numbers carried in from some number up to the top
    order = np.lexsort((second[: top + 1], cost[: top + 1]))
    rank = np.empty(top + 1, dtype=np.int64)
    rank[order] = np.arange(top + 1)
    best_from = order[np.minimum.accumulate(rank[::-1])[::-1]]
    begin = np.maximum(0, cap + need - pieces)
    inside = begin <= top
    into = best_from[np.minimum(begin, top)]
    is_good = inside & (cost[into] < _NEVER)
    total[-1] = np.where(is_good, cost[into] + offer.cost_minor, _NEVER)
    tie[-1] = second[into] + pieces * _PIECE + cap
    at[-1] = into


def _read_back(months: Sequence[_Month]) -> list[Move]:
    last = months[-1]
    on = int(np.lexsort((last.second, last.cost))[0])
    moves = []
    for month in reversed(months):
        before = int(month.before[on])
        moves.append(Move(int(month.offer[on]), int(month.packs[on]), before, on))
        on = before
    return moves[::-1]
