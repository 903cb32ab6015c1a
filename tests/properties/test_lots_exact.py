"""Packs over months against plain enumeration."""

from __future__ import annotations

import datetime as dt
import itertools
import random

import pytest

from pipeline.core.buying import Break, Price
from pipeline.procurement.lots import Offer, plan_lots

_DAY = dt.date(2030, 1, 1)


def _price(pack: int, price: int, breaks: list[tuple[int, int]], *, least: int = 1) -> Price:
    return Price(
        item_id="thing",
        supplier_id="S1",
        supplier_item_id="x",
        pack_count=pack,
        price_minor=price,
        breaks=tuple(Break(n, p) for n, p in breaks),
        valid_from=_DAY,
        valid_to=_DAY,
        minimum_packs_count=least,
        lead_days=1,
        lead_basis="calendar days from order",
        shelf_life_days=None,
        is_hazardous=False,
    )


def _cheapest_by_enumeration(needs: list[int], price: Price, carry_months: int) -> int:
    """Least cost over every row of pack counts; pieces older than `carry_months` are thrown away.

    Stock is kept by age here, which the programme under test does not do.
    """
    most = -(-sum(needs) // price.pack_count) + 3
    top = max([most, *(b.packs_count for b in price.breaks)])
    best = 10**18
    for packs in itertools.product(range(top + 1), repeat=len(needs)):
        if any(0 < p < price.minimum_packs_count for p in packs):
            continue
        lots: list[list[int]] = []  # [month bought, pieces], oldest first
        cost, fed = 0, True
        for month, wanted in enumerate(needs):
            need = wanted
            lots = [lot for lot in lots if month - lot[0] <= carry_months]
            lots.append([month, packs[month] * price.pack_count])
            cost += packs[month] * price.pack_price_minor(packs[month])
            for lot in lots:
                use = min(lot[1], need)
                lot[1] -= use
                need -= use
            fed = fed and need == 0
        if fed:
            best = min(best, cost)
    return best


@pytest.mark.parametrize("seed", range(100))
def test_lots_equal_enumeration(seed: int) -> None:
    """No row of pack counts is cheaper, with breaks, minimum order and shelf life in months."""
    rng = random.Random(seed)
    months = rng.randint(1, 3)
    needs = [rng.randint(0, 9) for _ in range(months)]
    pack = rng.randint(1, 4)
    first = rng.randint(50, 100)
    breaks = [(rng.randint(2, 3), first - rng.randint(1, 40))] if rng.random() < 0.7 else []
    price = _price(pack, first, breaks, least=rng.randint(1, 2))
    carry = rng.randint(0, 2)
    offers = [[Offer(price, sum(needs[m + 1 : m + 1 + carry]))] for m in range(months)]
    steps = plan_lots(needs, offers)
    assert sum(s.cost_minor for s in steps) == _cheapest_by_enumeration(needs, price, carry)
    carried = 0
    for need, step in zip(needs, steps, strict=True):
        assert step.from_carried_count <= carried
        assert step.from_carried_count + step.ordered_count >= need
        carried = step.carried_on_count


def test_two_small_months_share_one_break() -> None:
    """By hand: 6 and 6 pieces, packs of 6 at 10, from 2 packs on 8: one order of two packs, 16."""
    price = _price(6, 10, [(2, 8)])
    steps = plan_lots([6, 6], [[Offer(price, 6)], [Offer(price, 0)]])
    assert [s.packs_count for s in steps] == [2, 0]
    assert sum(s.cost_minor for s in steps) == 16


def test_shelf_life_forbids_sharing() -> None:
    """The same needs, but nothing lives until the second month: one pack each, 20."""
    price = _price(6, 10, [(2, 8)])
    steps = plan_lots([6, 6], [[Offer(price, 0)], [Offer(price, 0)]])
    assert [s.packs_count for s in steps] in ([1, 1], [2, 1])
    assert sum(s.cost_minor for s in steps) == 20


def test_no_offer_is_a_shortage_and_not_free() -> None:
    """Without a price nothing is bought and the missing pieces are told."""
    (step,) = plan_lots([5], [[]])
    assert (step.packs_count, step.short_count) == (0, 5)
