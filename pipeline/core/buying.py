"""The buyer's tables: items, prices, suppliers, depots, stock by lot, calendar of closed days.

A buyer edits them as CSV, XLSX or TOML. They are read once, checked row by row, and frozen.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal, cast

from pipeline.core.buying_file import Row, read_rows
from pipeline.core.errors import UsageError
from pipeline.core.money import exact_minor
from pipeline.core.settings import Settings

LeadBasis = Literal[
    "working days from order", "working days from confirmation", "calendar days from order"
]
LEAD_BASES: Final = (
    "working days from order",
    "working days from confirmation",
    "calendar days from order",
)
EVERYWHERE: Final = "all"
CREWS: Final = "crews"
_SATURDAY: Final = 5


@dataclass(frozen=True)
class BuyItem:
    """One thing that is bought; `unit_per_piece` is 310 for a cartridge of 310 ml, else 1."""

    item_id: str
    name: str
    unit: str
    unit_per_piece: float
    specification: str
    substitutes: tuple[str, ...]


@dataclass(frozen=True)
class Break:
    """Price of a pack from this many packs of one order line on."""

    packs_count: int
    price_minor: int


@dataclass(frozen=True)
class Price:
    """One offer: a supplier's pack of an item, with everything that decides when to order."""

    item_id: str
    supplier_id: str
    supplier_item_id: str
    pack_count: int
    price_minor: int
    breaks: tuple[Break, ...]
    valid_from: dt.date
    valid_to: dt.date
    minimum_packs_count: int
    lead_days: int
    lead_basis: LeadBasis
    shelf_life_days: int | None
    is_hazardous: bool

    def pack_price_minor(self, packs_count: int) -> int:
        """Price of one pack (minor units) when so many packs are ordered on one line."""
        price = self.price_minor
        for step in self.breaks:
            if packs_count >= step.packs_count:
                price = step.price_minor
        return price


@dataclass(frozen=True)
class Party:
    """Name and address of a supplier or depot."""

    name: str
    street: str
    town: str
    postcode: str
    country: str
    contact: str


@dataclass(frozen=True)
class Supplier:
    """A supplier; `confirmation_days` are the working days until it confirms an order."""

    supplier_id: str
    party: Party
    confirmation_days: int


@dataclass(frozen=True)
class Depot:
    """The depot of a region: where goods go and crews start; plan position in the working system."""

    depot_id: str
    region: str
    party: Party
    x_m: float
    y_m: float
    hazard_limit_count: int | None


@dataclass(frozen=True)
class Lot:
    """Pieces in a depot with one expiry date; None = does not expire."""

    depot_id: str
    item_id: str
    lot: str
    pieces_count: int
    expires_on: dt.date | None


@dataclass(frozen=True)
class Calendar:
    """Closed days; a day may be closed for all, for crews, or for one supplier or depot."""

    closed: Mapping[str, frozenset[dt.date]]

    def is_open(self, day: dt.date, *who: str) -> bool:
        """Whether a day is a weekday that is closed for none of `who` nor for all."""
        if day.weekday() >= _SATURDAY:
            return False
        return all(day not in self.closed.get(name, ()) for name in (EVERYWHERE, *who))

    def back_to_open(self, day: dt.date, *who: str) -> dt.date:
        """The day itself if open, else the last open day before it."""
        while not self.is_open(day, *who):
            day -= dt.timedelta(days=1)
        return day

    def on_to_open(self, day: dt.date, *who: str) -> dt.date:
        """The day itself if open, else the next open day."""
        while not self.is_open(day, *who):
            day += dt.timedelta(days=1)
        return day

    def minus_working_days(self, day: dt.date, count: int, *who: str) -> dt.date:
        """The open day that lies `count` open days before `day`."""
        for _ in range(count):
            day = self.back_to_open(day - dt.timedelta(days=1), *who)
        return day


@dataclass(frozen=True)
class Buying:
    """All of the buyer's tables."""

    items: Mapping[str, BuyItem]
    prices: tuple[Price, ...]
    suppliers: Mapping[str, Supplier]
    depots: Mapping[str, Depot]
    stock: tuple[Lot, ...]
    calendar: Calendar

    def offers(self, item_id: str) -> tuple[Price, ...]:
        """All offers of an item, by supplier, pack size and start of validity."""
        return tuple(p for p in self.prices if p.item_id == item_id)

    def list_price_minor(self, item_id: str, on: dt.date) -> float | None:
        """Lowest list price of one unit (minor units, no breaks) valid on a day; None = no price."""
        per_unit = self.items[item_id].unit_per_piece if item_id in self.items else 1.0
        valid = [
            p.price_minor / (p.pack_count * per_unit)
            for p in self.offers(item_id)
            if p.valid_from <= on <= p.valid_to
        ]
        return min(valid) if valid else None


def load(settings: Settings) -> Buying:
    """Read and check the buyer's tables.

    Parameters
    ----------
    settings : Settings
        Names the six files, the regions and the currency.

    Returns
    -------
    Buying

    Raises
    ------
    UsageError
        On a missing file or column, a wrong value, a double key, an unknown item, supplier or
        depot, or a region without its one depot; names file, row and column.
    """
    where = settings.buying
    items = {r.key("item_id"): _item(r) for r in read_rows(where.items)}
    suppliers = {r.key("supplier_id"): _supplier(r) for r in read_rows(where.suppliers)}
    depots: dict[str, Depot] = {}
    for row in read_rows(where.depots):
        depot = _depot(row, settings.programme.regions)
        if depot.region in depots:
            row.refuse("region", "this region has a depot already", "Keep one depot per region.")
        depots[depot.region] = depot
    missing = [r for r in settings.programme.regions if r not in depots]
    if missing:
        raise UsageError(
            f"{where.depots}: no depot for region {', '.join(missing)}.",
            mend="Add one row per region of the programme.",
        )
    currency = settings.programme.currency
    prices = [_price(r, items, suppliers, currency) for r in read_rows(where.prices)]
    depot_ids = {d.depot_id for d in depots.values()}
    stock = [_lot(r, items, depot_ids) for r in read_rows(where.stock)]
    known = {EVERYWHERE, CREWS, *suppliers, *depot_ids}
    return Buying(
        items=items,
        prices=tuple(
            sorted(prices, key=lambda p: (p.item_id, p.supplier_id, p.pack_count, p.valid_from))
        ),
        suppliers=suppliers,
        depots=depots,
        stock=tuple(
            sorted(stock, key=lambda s: (s.depot_id, s.item_id, s.expires_on or dt.date.max, s.lot))
        ),
        calendar=_calendar(read_rows(where.calendar), known),
    )


def _item(row: Row) -> BuyItem:
    substitutes = tuple(s.strip() for s in row.text("substitutes", "").split(";") if s.strip())
    return BuyItem(
        item_id=row.text("item_id"),
        name=row.text("name"),
        unit=row.text("unit"),
        unit_per_piece=row.number("unit_per_piece", above=0.0),
        specification=row.text("specification", ""),
        substitutes=substitutes,
    )


def _party(row: Row) -> Party:
    return Party(
        name=row.text("name"),
        street=row.text("street", ""),
        town=row.text("town", ""),
        postcode=row.text("postcode", ""),
        country=row.text("country", ""),
        contact=row.text("contact", ""),
    )


def _supplier(row: Row) -> Supplier:
    return Supplier(row.text("supplier_id"), _party(row), row.whole("confirmation_days"))


def _depot(row: Row, regions: tuple[str, ...]) -> Depot:
    region = row.text("region")
    if region not in regions:
        row.refuse("region", "no region of the programme", f"Regions are: {', '.join(regions)}.")
    limit = row.text("hazard_limit_pieces", "")
    return Depot(
        depot_id=row.key("depot_id"),
        region=region,
        party=_party(row),
        x_m=row.number("easting_m"),
        y_m=row.number("northing_m"),
        hazard_limit_count=row.whole("hazard_limit_pieces") if limit else None,
    )


def _price(
    row: Row, items: Mapping[str, BuyItem], suppliers: Mapping[str, Supplier], currency: str
) -> Price:
    basis = row.text("lead_basis")
    if basis not in LEAD_BASES:
        row.refuse("lead_basis", "no such basis", f"Use one of: {'; '.join(LEAD_BASES)}.")
    first, last = row.date("valid_from"), row.date("valid_to")
    if last < first:
        row.refuse("valid_to", "ends before it begins", "Swap or correct the two dates.")
    return Price(
        item_id=row.known("item_id", items),
        supplier_id=row.known("supplier_id", suppliers),
        supplier_item_id=row.text("supplier_item_id"),
        pack_count=row.whole("pack_count", least=1),
        price_minor=_money(row, "price", row.text("price"), currency),
        breaks=_breaks(row, currency),
        valid_from=first,
        valid_to=last,
        minimum_packs_count=row.whole("minimum_packs", least=1),
        lead_days=row.whole("lead_days"),
        lead_basis=cast("LeadBasis", basis),
        shelf_life_days=row.whole("shelf_life_days", least=1)
        if row.text("shelf_life_days", "")
        else None,
        is_hazardous=row.yes_no("is_hazardous"),
    )


def _money(row: Row, column: str, text: str, currency: str) -> int:
    try:
        amount = exact_minor(text, currency)
    except ValueError as fault:
        row.refuse(column, str(fault), f"Write an amount of {currency} such as 12.")
    if amount < 0:
        row.refuse(column, "below zero", "Write the price of one pack.")
    return amount


def _breaks(row: Row, currency: str) -> tuple[Break, ...]:
    steps: list[Break] = []
    for part in filter(None, (p.strip() for p in row.text("breaks", "").split(";"))):
        count, mark, price = part.partition(":")
        if not mark or not count.strip().isdigit() or int(count) < 1:
            row.refuse(
                "breaks", f"{part!r} is no break", "Write packs:price; packs:price, as 10:88.00."
            )
        steps.append(Break(int(count), _money(row, "breaks", price, currency)))
    counts = [s.packs_count for s in steps]
    if counts != sorted(set(counts)):
        row.refuse("breaks", "pack counts do not rise", "Write the breaks in rising order.")
    return tuple(steps)


def _lot(row: Row, items: Mapping[str, BuyItem], depot_ids: set[str]) -> Lot:
    return Lot(
        depot_id=row.known("depot_id", depot_ids),
        item_id=row.known("item_id", items),
        lot=row.text("lot"),
        pieces_count=row.whole("pieces"),
        expires_on=row.date("expires_on") if row.text("expires_on", "") else None,
    )


def _calendar(rows: list[Row], known: set[str]) -> Calendar:
    closed: dict[str, set[dt.date]] = {}
    for row in rows:
        closed.setdefault(row.known("closed_for", known), set()).add(row.date("date"))
    return Calendar({name: frozenset(days) for name, days in sorted(closed.items())})
