"""Order windows: latest by lead time, earliest by shelf life, on the calendar of who delivers."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from pipeline.core.buying import Buying, Price
from pipeline.core.settings import Settings


@dataclass(frozen=True)
class Window:
    """When goods are needed, and between which days the order must go out."""

    need_by: dt.date
    latest: dt.date
    earliest: dt.date | None
    clash: str


def window(
    offer: Price,
    first_use: dt.date,
    last_use: dt.date,
    *,
    depot_id: str,
    buying: Buying,
    settings: Settings,
) -> Window:
    """Order window of a line.

    Parameters
    ----------
    offer : Price
    first_use, last_use : datetime.date
        First and last day on which the goods are used.
    depot_id : str
    buying : Buying
    settings : Settings

    Returns
    -------
    Window
        The window; `clash` says in words why it cannot be kept.

    Notes
    -----
    Latest = first use - transport - lead - buffer, moved back to open days. Earliest = last use -
    shelf life at delivery + buffer, moved on to an open day: counted from the order and not from
    the end of the lead time, for a supplier may deliver sooner than promised. Transport and buffer
    are calendar days, the lead time has its own basis.
    """
    calendar = buying.calendar
    buffer = dt.timedelta(days=settings.buying.buffer_days)
    arrive = first_use - dt.timedelta(days=settings.buying.transport_days)
    need_by = calendar.back_to_open(arrive, depot_id)
    latest = calendar.back_to_open(_before_lead(offer, need_by, buying) - buffer)
    earliest = None
    clash = []
    if offer.shelf_life_days is not None:
        life = dt.timedelta(days=offer.shelf_life_days)
        earliest = calendar.on_to_open(last_use - life + buffer)
        if earliest > latest:
            clash.append(
                f"order by {latest} for the first use, not before {earliest} to live until "
                f"{last_use}: split the delivery"
            )
    if latest < settings.planning_date:
        clash.append(f"the latest order date {latest} has passed on the planning date")
    return Window(need_by, latest, earliest, "; ".join(clash))


def _before_lead(offer: Price, day: dt.date, buying: Buying) -> dt.date:
    """The day on which an order must go out to be delivered on a day."""
    if offer.lead_basis == "calendar days from order":
        return day - dt.timedelta(days=offer.lead_days)
    count = offer.lead_days
    if offer.lead_basis == "working days from confirmation":
        count += buying.suppliers[offer.supplier_id].confirmation_days
    return buying.calendar.minus_working_days(day, count, offer.supplier_id)
