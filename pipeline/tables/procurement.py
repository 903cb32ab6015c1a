"""Hand-over tables of the stage `procurement`: needs by counting level, and order lines."""

from __future__ import annotations

from typing import Final

from pipeline.core import contract
from pipeline.tables.spec import Table, flag, real, text, whole

NEEDS = Table(
    "needs",
    "what is needed: item by region, month, site and firmness, at its own counting level",
    ("region", "month", "item_id", "site_id", "firmness", "belongs_to", "counted_by"),
    (
        text("region", "region"),
        text("depot_id", "depot of the region"),
        text("month", "month of first use, YYYY-MM"),
        text("item_id", "item"),
        text("site_id", "site; 'crew' for crew-day and crew items that no site alone needs"),
        text("counted_by", "end, crew-day, site, crew or region"),
        text("firmness", "firm, provisional or held", words=contract.FIRMNESS),
        text(
            "belongs_to",
            "chosen package, or later step: an end of a chosen building that only a step beyond "
            "the chosen package seals; never firm",
            words=contract.BELONGS,
        ),
        real("quantity", "need in the item's unit; provisional: mean", lo=0),
        real("quantity_p90", "P90: own doubts as squares, shared ones added", lo=0),
        real("quantity_own_u", "doubts of its own, one standard deviation in its unit", lo=0),
        text("quantity_shared", "doubts shared with other needs, by name, in its unit"),
        text("unit", "piece, ml or m"),
        text("first_use", "first day of use, ISO date"),
        text("last_use", "last day of use, ISO date"),
        text("end_ids", "ends behind the line, joined by ';'"),
    ),
)

ORDER_LINES = Table(
    "order_lines",
    "one line per region, month, item: from need through stock to packs and money",
    ("region", "month", "item_id"),
    (
        text("order_id", "order: region-depot-supplier"),
        text("region", "region"),
        text("depot_id", "depot"),
        text("supplier_id", "supplier"),
        text("month", "month of first use, YYYY-MM"),
        text("item_id", "buyer's item"),
        text("supplier_item_id", "supplier's item"),
        text("item_name", "plain name"),
        text("unit", "unit the need is counted in"),
        real("need_firm", "firm need in the unit", lo=0),
        real("need_firm_p90", "firm need, P90; the spare stands beside it", lo=0),
        real(
            "need_provisional",
            "provisional need of the chosen packages, mean; never ordered as firm",
            lo=0,
        ),
        real("need_provisional_p90", "provisional need of the chosen packages, P90", lo=0),
        real("need_held", "need of the chosen packages that waits for a release", lo=0),
        real("need_provisional_later", "provisional need of steps not chosen, mean", lo=0),
        real("need_provisional_later_p90", "provisional need of steps not chosen, P90", lo=0),
        real("need_held_later", "need of steps not chosen that waits for a release", lo=0),
        real("spare", "spare by the rule of the item", lo=0),
        text("spare_rule", "the rule in words"),
        real("unit_per_piece", "units in one piece (310 for a cartridge of 310 ml; else 1)"),
        whole("pieces_needed_count", "firm need + spare in pieces, rounded up once", lo=0),
        whole("stock_used_count", "pieces taken from stock, first expired first out", lo=0),
        whole("pieces_net_count", "pieces to buy", lo=0),
        whole("pack_size_count", "pieces in a pack", lo=1),
        whole("packs_count", "packs ordered", lo=0),
        whole("pieces_ordered_count", "packs x pack size", lo=0),
        whole("surplus_count", "pieces ordered beyond the need, carried on or left", lo=0),
        whole("pack_price_minor", "price of a pack (minor units)", lo=0),
        whole("line_minor", "packs x price", lo=0),
        whole(
            "alone_minor",
            "what this month's need would cost bought for itself, nothing carried on; the sum over "
            "all lines is the month-by-month baseline",
            lo=0,
        ),
        text("price_valid_to", "last day of the price, ISO date"),
        text("next_break", "packs to the next price break and what it saves, in words"),
        text("need_by", "date needed at the depot, ISO"),
        text("order_latest", "latest order date, ISO"),
        text("order_earliest", "earliest order date by shelf life, ISO; blank = no shelf life"),
        text("clash", "why earliest and latest cannot both be kept; blank = they can"),
        flag("is_hazardous", "hazardous goods"),
        whole("shelf_life_days", "shelf life at delivery"),
        text("site_ids", "sites behind the line, joined by ';'"),
    ),
)

OPEN_RISKS = Table(
    "open_risks",
    "what may change the quantities: holds, designs not possible, prices ending, clashes",
    ("region", "risk", "subject"),
    (
        text("region", "region"),
        text("risk", "kind of risk"),
        text("subject", "end, item or site"),
        text("words", "the risk in words"),
        real("quantity", "quantity concerned", lo=0),
        text("unit", "its unit"),
    ),
)

ALL: Final = {t.name: t for t in (NEEDS, ORDER_LINES, OPEN_RISKS)}
