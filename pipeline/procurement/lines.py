"""Order lines: from firm need through spare and stock to packs, money and dates."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from pipeline.core import contract
from pipeline.core.buying import Buying, Price
from pipeline.core.materials import Item, Materials
from pipeline.core.money import words
from pipeline.core.settings import Settings
from pipeline.core.spread import total
from pipeline.procurement.dates import Window, window
from pipeline.procurement.lots import Offer, Step, plan_lots
from pipeline.procurement.needs import spare
from pipeline.procurement.packs import next_break
from pipeline.tables import Tables, blank


@dataclass
class _Shelf:
    """Pieces of one item in one depot, by expiry date; taken first expired first out."""

    lots: list[tuple[dt.date, int]] = field(default_factory=list)

    def take(self, pieces: int, last_use: dt.date) -> int:
        """Take up to so many pieces that live longer than the last use."""
        taken = 0
        left = []
        for expires, count in sorted(self.lots):
            use = min(count, pieces - taken) if expires > last_use else 0
            taken += use
            if count > use:
                left.append((expires, count - use))
        self.lots = left
        return taken


@dataclass(frozen=True)
class _Month:
    """Need of one item in one month: the half of a line that stands before any purchase."""

    row: dict[str, Any]
    first_use: dt.date
    last_use: dt.date
    net_count: int


@dataclass(frozen=True)
class _Book:
    """What every line is made from."""

    settings: Settings
    materials: Materials
    buying: Buying
    days_count: dict[tuple[str, str], int]

    def window(self, price: Price, first: dt.date, last: dt.date, region: str) -> Window:
        """Order window of an offer at the depot of a region."""
        return window(
            price,
            first,
            last,
            depot_id=self.buying.depots[region].depot_id,
            buying=self.buying,
            settings=self.settings,
        )


def order_lines(
    needs: pd.DataFrame,
    tables: Tables,
    settings: Settings,
    *,
    materials: Materials,
    buying: Buying,
) -> pd.DataFrame:
    """One line per region, month and item.

    Parameters
    ----------
    needs : DataFrame
    tables : Tables
        Needs crew_days.
    settings : Settings
    materials : Materials
    buying : Buying

    Returns
    -------
    DataFrame
        Table `order_lines`.

    Notes
    -----
    Quantities are rounded once, here, from the unit to whole pieces. Stock is used first expired
    first out; packs of all months are then planned together (`plan_lots`). What a pack holds
    beyond its month is carried on and counts as stock of the month that uses it.
    """
    if needs.empty:
        return blank("order_lines")
    days = tables["crew_days"].assign(month=tables["crew_days"]["work_date"].str[:7])
    count = days.groupby(["region", "month"])["work_date"].nunique().to_dict()
    book = _Book(settings, materials, buying, count)
    rows: list[dict[str, Any]] = []
    for (region, item), group in needs.groupby(["region", "item_id"], sort=True):
        rows += _item_lines(str(region), materials.items[str(item)], group, book)
    return pd.DataFrame(rows)


def _item_lines(region: str, item: Item, group: pd.DataFrame, book: _Book) -> list[dict[str, Any]]:
    depot = book.buying.depots[region].depot_id
    shelf = _Shelf(
        [
            (lot.expires_on or dt.date.max, lot.pieces_count)
            for lot in book.buying.stock
            if (lot.depot_id, lot.item_id) == (depot, item.id) and lot.pieces_count
        ]
    )
    months = [
        _month(region, item, part, shelf, book) for _, part in group.groupby("month", sort=True)
    ]
    offers = [_offers(region, item, place, months, book) for place in range(len(months))]
    steps = plan_lots([m.net_count for m in months], offers)
    return [
        month.row
        | _bought(region, place, months, steps, book)
        | {"alone_minor": _alone(month.net_count, offers[place])}
        for place, month in enumerate(months)
    ]


def _alone(net_count: int, offers: list[Offer]) -> int | None:
    """Cost of a month's pieces when nothing is carried on; None where no price is valid."""
    (step,) = plan_lots([net_count], [[Offer(o.price, 0) for o in offers]])
    return None if step.short_count else step.cost_minor


def _rows(group: pd.DataFrame, firmness: str, belongs_to: str) -> pd.DataFrame:
    return group[(group["firmness"] == firmness) & (group["belongs_to"] == belongs_to)]


def _sum(group: pd.DataFrame, firmness: str, belongs_to: str = contract.CHOSEN_WORK) -> float:
    return float(_rows(group, firmness, belongs_to)["quantity"].sum())


def _p90(group: pd.DataFrame, firmness: str, belongs_to: str = contract.CHOSEN_WORK) -> float:
    """P90 of the sum of needs: their own doubts as squares, shared ones added."""
    rows = _rows(group, firmness, belongs_to)
    return float(total(rows)["quantity_p90"]) if len(rows) else 0.0


def _month(region: str, item: Item, group: pd.DataFrame, shelf: _Shelf, book: _Book) -> _Month:
    month = str(group["month"].iloc[0])
    bought = book.buying.items.get(item.id)
    per_piece = bought.unit_per_piece if bought else float(item.pack_ml or 1.0)
    firm = _sum(group, contract.FIRM)
    extra, rule = spare(item, firm, book.days_count.get((region, month), 0), per_piece)
    # nine decimals clear the float noise of a sum, so that a full piece is not rounded up
    pieces = math.ceil(round((firm + extra) / per_piece, 9))
    firm_rows = group[group["firmness"] == contract.FIRM]
    dated = firm_rows if len(firm_rows) else group
    last_use = dt.date.fromisoformat(str(dated["last_use"].max()))
    stock = shelf.take(pieces, last_use)
    row = {
        "region": region,
        "depot_id": book.buying.depots[region].depot_id,
        "month": month,
        "item_id": item.id,
        "item_name": bought.name if bought else item.name,
        "unit": item.unit,
        "need_firm": firm,
        "need_firm_p90": _p90(group, contract.FIRM),
        "need_provisional": _sum(group, contract.PROVISIONAL),
        "need_provisional_p90": _p90(group, contract.PROVISIONAL),
        "need_held": _sum(group, contract.HELD),
        "need_provisional_later": _sum(group, contract.PROVISIONAL, contract.LATER_STEP),
        "need_provisional_later_p90": _p90(group, contract.PROVISIONAL, contract.LATER_STEP),
        "need_held_later": _sum(group, contract.HELD, contract.LATER_STEP),
        "spare": extra,
        "spare_rule": rule,
        "unit_per_piece": per_piece,
        "pieces_needed_count": pieces,
        "stock_used_count": stock,
        "site_ids": ";".join(sorted(set(group["site_id"]) - {"crew"})) or None,
    }
    first_use = dt.date.fromisoformat(str(dated["first_use"].min()))
    return _Month(row, first_use, last_use, pieces - stock)


def _offers(region: str, item: Item, place: int, months: list[_Month], book: _Book) -> list[Offer]:
    """Offers whose price is valid on the day the order goes out, with what they can carry on."""
    month = months[place]
    out = []
    for price in book.buying.offers(item.id):
        when = book.window(price, month.first_use, month.last_use, region)
        order_day = max(when.latest, book.settings.planning_date)
        if not price.valid_from <= order_day <= price.valid_to:
            continue
        carry = 0
        for later in months[place + 1 :]:
            longer = book.window(price, month.first_use, later.last_use, region)
            if longer.earliest is not None and longer.earliest > when.latest:
                break  # one order could not serve both the first use and that late one
            carry += later.net_count
        out.append(Offer(price, carry))
    return out


def _served_until(place: int, months: list[_Month], steps: list[Step]) -> dt.date:
    """Last day on which pieces of a month's purchase are used: carried ones go first in, first out."""
    left = steps[place].carried_on_count
    last = months[place].last_use
    for later in months[place + 1 :]:
        if left <= 0:
            break
        if later.net_count:
            last = later.last_use
        left -= later.net_count
    return last


def _bought(
    region: str, place: int, months: list[_Month], steps: list[Step], book: _Book
) -> dict[str, Any]:
    """The buying half of a line."""
    month, step = months[place], steps[place]
    net = month.net_count - step.from_carried_count
    row: dict[str, Any] = {
        "stock_used_count": month.row["stock_used_count"] + step.from_carried_count,
        "pieces_net_count": net,
        "pieces_ordered_count": step.ordered_count,
        "packs_count": step.packs_count,
        "surplus_count": max(0, step.ordered_count - net),
    }
    price = step.offer
    if price is None:
        missing = step.short_count > 0
        # a price that is not known stays blank; where nothing is bought the line costs nothing
        unpriced = None if missing else 0
        clash = "no price is valid on the order date" if missing else None
        return {
            **row,
            "pack_size_count": 1,
            "pack_price_minor": unpriced,
            "line_minor": unpriced,
            "clash": clash,
        }
    when = book.window(price, month.first_use, _served_until(place, months, steps), region)
    depot = month.row["depot_id"]
    return {
        **row,
        "order_id": f"{region}-{depot}-{price.supplier_id}",
        "supplier_id": price.supplier_id,
        "supplier_item_id": price.supplier_item_id,
        "pack_size_count": price.pack_count,
        "pack_price_minor": price.pack_price_minor(step.packs_count),
        "line_minor": step.cost_minor,
        "price_valid_to": price.valid_to.isoformat(),
        "next_break": _break_words(price, step, book.settings.programme.currency),
        "need_by": when.need_by.isoformat(),
        "order_latest": when.latest.isoformat(),
        "order_earliest": when.earliest.isoformat() if when.earliest else None,
        "clash": when.clash or None,
        "is_hazardous": price.is_hazardous,
        "shelf_life_days": price.shelf_life_days,
    }


def _break_words(price: Price, step: Step, currency: str) -> str | None:
    found = next_break(price, step.packs_count)
    if found is None:
        return None
    more, pack_price, cost = found
    dearer = cost - step.cost_minor
    return (
        f"{more} {'pack' if more == 1 else 'packs'} more: {words(pack_price, currency)} a pack, "
        f"{words(abs(dearer), currency)} {'more' if dearer >= 0 else 'less'} in all"
    )
