"""Needs at their own counting level: per end, crew-day, site, crew, region; never mixed.

Firm needs are those of the chosen packages. Firm, provisional (mean and P90) and held stand in rows
of their own, and what waits at a chosen building for a step beyond the chosen one stands apart.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from pipeline.core import contract
from pipeline.core.buying import Buying
from pipeline.core.materials import Item, Materials
from pipeline.core.settings import Settings
from pipeline.core.spread import total
from pipeline.tables import Tables, blank

CREW: Final = "crew"
_MIN_PER_H: Final = 60.0


@dataclass(frozen=True)
class _Day:
    """One working day of a region: its month, date, site and ends."""

    region: str
    month: str
    date: str
    site_id: str
    end_ids: tuple[str, ...]


def needs_table(
    tables: Tables, settings: Settings, materials: Materials, buying: Buying
) -> pd.DataFrame:
    """Everything that the chosen work needs.

    Parameters
    ----------
    tables : Tables
        designs, pieces, packages, choices, crew_days.
    settings : Settings
    materials : Materials
    buying : Buying

    Returns
    -------
    DataFrame
        Table `needs`.

    """
    days = _days(tables)
    rows: list[dict[str, Any]] = []
    for region in settings.programme.regions:
        mine = [d for d in days if d.region == region]
        rows += _per_end(mine, tables, materials)
        rows += _not_firm(region, mine, tables, settings)
        if mine:
            rows += _per_day_site_crew(mine, materials, settings)
    if not rows:
        return blank("needs")
    frame = pd.DataFrame(rows)
    frame["depot_id"] = [buying.depots[r].depot_id for r in frame["region"]]
    return _merged(frame)


def _days(tables: Tables) -> list[_Day]:
    return [
        _Day(
            str(r["region"]),
            str(r["work_date"])[:7],
            str(r["work_date"]),
            str(r["site_id"]),
            tuple(e for e in str(r["end_ids"]).split(";") if e and e != "nan"),
        )
        for r in tables["crew_days"].to_dict("records")
    ]


def _row(  # noqa: PLR0913 - a need has these parts
    day: _Day, item: str, unit: str, counted_by: str, quantity: float, *,
    site_id: str = "", piece: Mapping[str, Any] | None = None,
    belongs_to: str = contract.CHOSEN_WORK,
) -> dict[str, Any]:  # fmt: skip
    """A need; one of an end takes firmness and range from its row of `pieces`."""
    of = piece or {}
    return {
        "region": day.region,
        "month": day.month,
        "item_id": item,
        "site_id": site_id or day.site_id,
        "counted_by": counted_by,
        "firmness": str(of.get("firmness", contract.FIRM)),
        "belongs_to": belongs_to,
        "quantity": quantity,
        "quantity_p90": float(of.get("quantity_p90", quantity)),
        "quantity_own_u": float(of.get("quantity_own_u", 0.0)),
        "quantity_shared": of.get("quantity_shared"),
        "unit": unit,
        "first_use": day.date,
        "last_use": day.date,
        "end_ids": str(of.get("end_id", "")),
    }


def _pieces_by_end(tables: Tables) -> dict[str, list[dict[str, Any]]]:
    out: dict[str, list[dict[str, Any]]] = {}
    for row in tables["pieces"].to_dict("records"):
        out.setdefault(str(row["end_id"]), []).append(row)
    return out


def _per_end(days: list[_Day], tables: Tables, materials: Materials) -> Iterator[dict[str, Any]]:
    """Firm pieces of the ends, and the rest of packs that were opened for a day's ends.

    An opened pack of a one-part material serves the other ends of the same day, and no other day;
    one of a two-part material serves the ends that are worked on within its pot life.
    """
    pieces = _pieces_by_end(tables)
    hours = dict(zip(tables["designs"]["end_id"], tables["designs"]["hours_h"], strict=True))
    by_date: dict[str, list[_Day]] = {}
    for day in days:
        by_date.setdefault(day.date, []).append(day)
        for end in day.end_ids:
            for piece in pieces.get(end, ()):
                if piece["firmness"] == contract.FIRM:
                    yield _row(
                        day,
                        str(piece["item_id"]),
                        str(piece["unit"]),
                        "end",
                        float(piece["quantity"]),
                        piece=piece,
                    )
    pooled = [i for i in materials.item if i.pack_ml and i.counted_by == "crew-day"]
    for date in sorted(by_date):
        ends = [e for day in by_date[date] for e in day.end_ids]
        for item in pooled:
            need = {
                e: float(p["quantity"])
                for e in ends
                for p in pieces.get(e, ())
                if p["item_id"] == item.id and p["firmness"] == contract.FIRM
            }
            pools = _pools([e for e in ends if e in need], hours, materials)
            rest = sum(_left_in_packs(sum(need[e] for e in pool), item) for pool in pools)
            if rest > 0:
                first = by_date[date][0]
                yield _row(first, item.id, item.unit, "crew-day", rest, site_id=CREW)


def _left_in_packs(quantity: float, item: Item) -> float:
    """What stays in the packs that were opened for a quantity."""
    pack = float(item.pack_ml or 1.0)
    return math.ceil(round(quantity / pack, 9)) * pack - quantity


def _pools(ends: list[str], hours: Mapping[str, Any], materials: Materials) -> list[list[str]]:
    """Ends that share opened packs: all of a day, or those within the pot life one after another."""
    sealant = materials.sealant
    if sealant.parts == "one":
        return [ends] if ends else []
    out: list[list[str]] = []
    used_h = math.inf
    for end in ends:
        took = 0.0 if pd.isna(hours[end]) else float(hours[end])
        if used_h + took > sealant.pot_life_min / _MIN_PER_H:
            out.append([])
            used_h = 0.0
        out[-1].append(end)
        used_h += took
    return out


def _not_firm(
    region: str, days: list[_Day], tables: Tables, settings: Settings
) -> Iterator[dict[str, Any]]:
    """Provisional and held pieces at the chosen buildings; never ordered as firm.

    They stand in the month of their site's first day; a site without a day, because all of it
    waits, stands on the first day of the crews.
    """
    first = {d.site_id: d for d in sorted(days, key=lambda d: d.date, reverse=True)}
    start = settings.crews.first_day.isoformat()
    designs = {str(d["end_id"]): d for d in tables["designs"].to_dict("records")}
    pieces = _pieces_by_end(tables)
    for end, belongs in waiting_ends(tables, region).items():
        site = str(designs[end]["site_id"])
        day = first.get(site, _Day(region, start[:7], start, site, ()))
        for piece in pieces.get(end, ()):
            yield _row(
                day, str(piece["item_id"]), str(piece["unit"]), "end", float(piece["quantity"]),
                piece=piece, belongs_to=belongs,
            )  # fmt: skip


def waiting_ends(tables: Tables, region: str) -> dict[str, str]:
    """Ends of chosen buildings that wait for a release or a look, and what each belongs to.

    Parameters
    ----------
    tables : Tables
        designs, packages, choices.
    region : str

    Returns
    -------
    dict of str to str
        Ends of the building's largest package that are not firm, in order of building and end,
        with `chosen package`, or `later step` where only a step beyond the chosen package seals
        them. Those are shown too, for once released and paid for they are sealed on the same visit.
    """
    choices, packages, designs = tables["choices"], tables["packages"], tables["designs"]
    chosen = choices[choices["is_chosen"].astype(bool) & (choices["region"] == region)]
    mine = packages[packages["building_id"].isin(chosen["building_id"])]
    largest = mine.sort_values(["building_id", "step_no"]).groupby("building_id").tail(1)
    not_firm = set(designs.loc[designs["firmness"] != contract.FIRM, "end_id"])
    taken = mine.loc[mine["package_id"].isin(chosen["package_id"]), "end_ids"].dropna()
    in_package = {e for joined in taken for e in str(joined).split(";")}
    ends = [e for joined in largest["end_ids"].dropna() for e in str(joined).split(";")]
    return {
        e: contract.CHOSEN_WORK if e in in_package else contract.LATER_STEP
        for e in ends
        if e in not_firm
    }


def _per_day_site_crew(
    days: list[_Day], materials: Materials, settings: Settings
) -> Iterator[dict[str, Any]]:
    """Items counted by crew-day, site, crew and region.

    A condition of such an item (`when`) hangs on ends; at these levels it is always taken along.
    """
    people = settings.crews.crew_size
    first = min(days, key=lambda d: d.date)
    dates = {d.date: d for d in sorted(days, key=lambda d: (d.date, d.site_id), reverse=True)}
    sites = {d.site_id: d for d in sorted(days, key=lambda d: d.date, reverse=True)}
    for item in materials.item:
        quantity = item.quantity * (people if item.per_person else 1)
        if item.kind == "sealant" or quantity == 0:
            continue
        if item.counted_by == "crew-day":
            for day in dates.values():
                yield _row(day, item.id, item.unit, "crew-day", quantity, site_id=CREW)
        elif item.counted_by == "site":
            for day in sites.values():
                yield _row(day, item.id, item.unit, "site", quantity)
        elif item.counted_by in ("crew", "region"):
            yield _row(first, item.id, item.unit, item.counted_by, quantity, site_id=CREW)


def spare(item: Item, need: float, days: int, unit_per_piece: float) -> tuple[float, str]:
    """Spare of an item in its unit, and the rule in words.

    Parameters
    ----------
    item : Item
    need : float
        Firm need in the item's unit.
    days : int
        Crew-days of the line.
    unit_per_piece : float
        Units in one piece.

    Returns
    -------
    quantity, words

    """
    times = days if item.counted_by == "crew-day" else 1
    whole = item.spare_count * times * unit_per_piece
    part = item.spare_frac * need
    words = []
    if item.spare_frac:
        words.append(f"{item.spare_frac:.0%} of the need")
    if item.spare_count:
        each = f" per crew-day ({days})" if item.counted_by == "crew-day" else ""
        words.append(f"{item.spare_count} whole{each}")
    return (whole + part if need > 0 else 0.0), " + ".join(words) or "none"


def _merged(frame: pd.DataFrame) -> pd.DataFrame:
    keys = [
        "region", "depot_id", "month", "item_id", "site_id", "firmness", "belongs_to", "counted_by",
        "unit",
    ]  # fmt: skip
    return pd.DataFrame(
        [
            {
                **dict(zip(keys, key, strict=True)),
                **total(group),
                "first_use": group["first_use"].min(),
                "last_use": group["last_use"].max(),
                "end_ids": ";".join(sorted({e for e in group["end_ids"] if e})) or None,
            }
            for key, group in frame.groupby(keys, sort=True)
        ]
    )
