"""Order lines: from firm need through spare and stock to packs, money and dates."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from pipeline.core import contract
from pipeline.core.buying import Buying
from pipeline.core.materials import Materials
from pipeline.core.money import words
from pipeline.core.settings import Settings
from pipeline.procurement.dates import window
from pipeline.procurement.needs import spare
from pipeline.procurement.packs import Purchase, cheapest, next_break
from pipeline.tables import Tables, blank


@dataclass
class _Shelf:
    """Pieces of one item in one depot, by expiry date; taken first expired first out."""

    lots: list[tuple[dt.date, int]] = field(default_factory=list)

    def take(self, pieces: int, last_use: dt.date) -> int:
        """Take up to so many pieces that live until the last use."""
        taken = 0
        left = []
        for expires, count in sorted(self.lots):
            use = min(count, pieces - taken) if expires > last_use else 0
            taken += use
            if count > use:
                left.append((expires, count - use))
        self.lots = left
        return taken

    def put(self, pieces: int, expires: dt.date) -> None:
        """Put pieces on the shelf."""
        if pieces > 0:
            self.lots.append((expires, pieces))


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
        Table `order_lines`. Quantities are rounded once, here, from the unit to whole pieces;
        what a pack holds beyond the need is on the shelf for the next month.

    """
    if needs.empty:
        return blank("order_lines")
    days = tables["crew_days"].assign(month=[str(d)[:7] for d in tables["crew_days"]["work_date"]])
    count = days.groupby(["region", "month"])["work_date"].nunique().to_dict()
    shelves = _shelves(buying)
    rows = []
    for (region, month, item), group in needs.groupby(["region", "month", "item_id"], sort=True):
        depot = buying.depots[region].depot_id
        shelf = shelves.setdefault((depot, item), _Shelf())
        rows.append(
            _line(group, shelf, count.get((region, month), 0), settings, materials, buying)
        )
    return pd.DataFrame(rows)


def _shelves(buying: Buying) -> dict[tuple[str, str], _Shelf]:
    out: dict[tuple[str, str], _Shelf] = {}
    for lot in buying.stock:
        shelf = out.setdefault((lot.depot_id, lot.item_id), _Shelf())
        shelf.put(lot.pieces_count, lot.expires_on or dt.date.max)
    return out


def _sum(group: pd.DataFrame, firmness: str, column: str = "quantity") -> float:
    return float(group.loc[group["firmness"] == firmness, column].sum())


def _line(  # noqa: PLR0913 - a line hangs on all of these
    group: pd.DataFrame,
    shelf: _Shelf,
    days: int,
    settings: Settings,
    materials: Materials,
    buying: Buying,
) -> dict[str, Any]:
    first = group.iloc[0]
    region, item_id = str(first["region"]), str(first["item_id"])
    item = materials.items[item_id]
    bought = buying.items.get(item_id)
    per_piece = bought.unit_per_piece if bought else float(item.pack_ml or 1.0)
    firm = _sum(group, contract.FIRM)
    extra, rule = spare(item, firm, days, per_piece)
    pieces = math.ceil(round((firm + extra) / per_piece, 9))
    firm_rows = group[group["firmness"] == contract.FIRM]
    dated = firm_rows if len(firm_rows) else group
    first_use = dt.date.fromisoformat(str(dated["first_use"].min()))
    last_use = dt.date.fromisoformat(str(dated["last_use"].max()))
    stock = shelf.take(pieces, last_use)
    net = pieces - stock
    depot = buying.depots[region].depot_id
    row: dict[str, Any] = {
        "region": region,
        "depot_id": depot,
        "month": first["month"],
        "item_id": item_id,
        "item_name": bought.name if bought else item.name,
        "unit": item.unit,
        "need_firm": firm,
        "need_provisional": _sum(group, contract.PROVISIONAL),
        "need_provisional_p90": _sum(group, contract.PROVISIONAL, "quantity_p90"),
        "need_held": _sum(group, contract.HELD),
        "spare": extra,
        "spare_rule": rule,
        "unit_per_piece": per_piece,
        "pieces_needed_count": pieces,
        "stock_used_count": stock,
        "pieces_net_count": net,
        "site_ids": ";".join(sorted(set(group["site_id"]) - {"crew"})) or None,
    }
    return row | _bought(item_id, net, first_use, last_use, depot, shelf, settings, buying)


def _bought(  # noqa: PLR0913 - the buying half of a line
    item_id: str,
    net: int,
    first_use: dt.date,
    last_use: dt.date,
    depot: str,
    shelf: _Shelf,
    settings: Settings,
    buying: Buying,
) -> dict[str, Any]:
    usable = [o for o in buying.offers(item_id)
              if o.valid_from <= _order_day(o, first_use, last_use, depot, settings, buying)
              <= o.valid_to]  # fmt: skip
    purchase = cheapest(net, usable)
    empty = {"packs_count": 0, "pieces_ordered_count": 0, "line_minor": 0, "surplus_count": 0}
    if purchase is None:
        none = "" if net == 0 else "no price is valid on the order date"
        return {**empty, "pack_size_count": 1, "pack_price_minor": 0, "clash": none or None}
    offer = purchase.offer
    when = window(offer, first_use, last_use, depot_id=depot, buying=buying, settings=settings)
    surplus = purchase.pieces_count - net
    life = offer.shelf_life_days
    shelf.put(surplus, when.need_by + dt.timedelta(days=life) if life else dt.date.max)
    return {
        "order_id": f"{_region_of(depot, buying)}-{depot}-{offer.supplier_id}",
        "supplier_id": offer.supplier_id,
        "supplier_item_id": offer.supplier_item_id,
        "pack_size_count": offer.pack_count,
        "packs_count": purchase.packs_count,
        "pieces_ordered_count": purchase.pieces_count,
        "surplus_count": surplus,
        "pack_price_minor": purchase.pack_price_minor,
        "line_minor": purchase.cost_minor,
        "price_valid_to": offer.valid_to.isoformat(),
        "next_break": _break_words(purchase, settings),
        "need_by": when.need_by.isoformat(),
        "order_latest": when.latest.isoformat(),
        "order_earliest": when.earliest.isoformat() if when.earliest else None,
        "clash": when.clash or None,
        "is_hazardous": offer.is_hazardous,
        "shelf_life_days": life,
    }


def _order_day(  # noqa: PLR0913 - as `window`
    offer: Any,
    first_use: dt.date,
    last_use: dt.date,
    depot: str,
    settings: Settings,
    buying: Buying,
) -> dt.date:
    """Day on which the order goes out at the latest, not before the planning date."""
    latest = window(
        offer, first_use, last_use, depot_id=depot, buying=buying, settings=settings
    ).latest
    return max(latest, settings.planning_date)


def _region_of(depot: str, buying: Buying) -> str:
    return next(d.region for d in buying.depots.values() if d.depot_id == depot)


def _break_words(purchase: Purchase, settings: Settings) -> str | None:
    step = next_break(purchase)
    if step is None:
        return None
    more, price, cost = step
    currency = settings.programme.currency
    dearer = cost - purchase.cost_minor
    return (
        f"{more} packs more: {words(price, currency)} a pack, "
        f"{words(abs(dearer), currency)} {'more' if dearer >= 0 else 'less'} in all"
    )
