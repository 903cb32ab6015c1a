"""Sheets of programme.xlsx about the choice: budget picture, ranks, what is settled, days, months."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from pipeline.core.money import about, decimals
from pipeline.publish.book import HEAD_ROW, Book, Column
from pipeline.tables import Tables

_EVERY: Final = "all regions"
_PLANNED: Final = "as planned"
_LESS: Final = 0.8  # the cut that the picture tells in words: 20 % less money
_CURVE: Final = (
    Column("region", "Region", "", 14),
    Column("money_frac", "Part of the money", "0%", 10),
    Column("money", "Money of all years", "#,##0.00", 14),
    Column("spent", "Spent", "#,##0.00", 14),
    Column("pv_avoided", "Loss avoided, present value", "#,##0.00", 16),
    Column("pv_change", "More or less than as it is", "#,##0.00", 16),
    Column("buildings_count", "Buildings", "0", 10),
    Column("dropped_building_ids", "Given up", "", 50),
    Column("added_building_ids", "Added", "", 40),
)
_SETTLED: Final = (
    Column("what", "What is settled", "", 22),
    Column("site_id", "Site", "", 12),
    Column("region", "Region", "", 12),
    Column("not_before", "Not before", "", 12),
    Column("because", "Because", "", 34),
    Column("kept", "Kept", "", 7),
    Column("pv_lost", "Loss avoided that it costs, present value", "#,##0.00", 16),
    Column("pv_with", "Loss avoided as it is", "#,##0.00", 16),
    Column("pv_without", "Without this row", "#,##0.00", 16),
    Column("cost_with", "Spent as it is", "#,##0.00", 13),
    Column("cost_without", "Spent without this row", "#,##0.00", 13),
    Column("words", "How, or why not", "", 44),
)
_DAYS: Final = (
    Column("region", "Region", "", 10),
    Column("day_no", "Crew day", "0", 8),
    Column("work_date", "Date", "", 12),
    Column("site_id", "Site", "", 10),
    Column("building_ids", "Buildings", "", 18),
    Column("ends_count", "Ends", "0", 7),
    Column("hours_h", "Hours with set-up and way", "0.0", 10),
    Column("travel_km", "Way (km)", "0.0", 8),
    Column("stop_words", "Stop under a flood warning", "", 48),
    Column("note", "Note", "", 60),
)
_SHORT: Final = {"closed season": "season", "no working day": "none"}


def write_choice_sheets(book: Book, tables: Tables, currency: str) -> None:
    """Add the sheets.

    Parameters
    ----------
    book : Book
        The open workbook.
    tables : Tables
        budget_curve, rank_cases, settled, crew_days, site_months.
    currency : str
        ISO 4217 code.
    """
    curve = _major(tables["budget_curve"], currency)
    _picture(book, curve, tables["budget_curve"], currency)
    _sheet(
        book, "Budget curve", "What less or more money would avoid",
        "The best choice again under each part of the money; crew-days stay as they are. "
        f"Money in {currency}.", curve, _CURVE,
    )  # fmt: skip
    _ranks(book, tables["rank_cases"])
    settled = _major(tables["settled"], currency)
    settled["kept"] = ["yes" if bool(v) else "no" for v in settled["is_kept"]]
    _sheet(
        book, "Settled", "What is settled whatever the choice would say, and what it costs",
        "Each row alone is taken back and the choice is made again; the rows do not add up. "
        f"Money in {currency}.", settled, _SETTLED,
    )  # fmt: skip
    _sheet(
        book, "Crew days", "Work by day, one crew per region",
        "The same days stand in crews/*.ics. No forecast is read: look at the warnings on the day.",
        tables["crew_days"], _DAYS,
    )  # fmt: skip
    _months(book, tables["site_months"])


def rank_spans(cases: pd.DataFrame) -> pd.DataFrame:
    """Lowest and highest rank of each building over the cases, and in how many it is chosen."""
    rows = []
    for building, mine in cases.groupby("building_id", sort=True):
        ranks = mine["rank"].dropna()
        rows.append(
            {
                "building_id": building,
                "rank_best": ranks.min() if len(ranks) else None,
                "rank_worst": ranks.max() if len(ranks) else None,
                "chosen_words": f"{len(ranks)} of {len(mine)}",
            }
        )
    return pd.DataFrame(rows, columns=["building_id", "rank_best", "rank_worst", "chosen_words"])


def _major(frame: pd.DataFrame, currency: str) -> pd.DataFrame:
    """With money in whole currency units under the names without `_minor`."""
    scale = 10 ** decimals(currency)
    return frame.assign(
        **{
            name.removesuffix("_minor"): frame[name].astype("Float64") / scale
            for name in frame.columns
            if name.endswith("_minor")
        }
    )


def _sheet(
    book: Book, name: str, title: str, note: str, frame: pd.DataFrame, columns: tuple[Column, ...]
) -> None:
    book.table(book.sheet(name, title, note, columns), frame, columns)


def _picture(book: Book, curve: pd.DataFrame, minor: pd.DataFrame, currency: str) -> None:
    """The curve drawn, and what a cut of a fifth loses in words."""
    columns = (
        Column("region", "Region", "", 16),
        Column("lost", "20 % less money", "", 44),
        Column("dropped", "Buildings given up", "", 50),
        Column("more", "20 % more money", "", 40),
    )
    rows = []
    for region, mine in minor.groupby("region", sort=True):
        by_part = {round(float(r["money_frac"]), 6): r for r in mine.to_dict("records")}
        less, more = by_part.get(_LESS), by_part.get(round(2.0 - _LESS, 6))
        now = int(by_part[1.0]["pv_avoided_minor"])
        rows.append(
            {
                "region": region,
                "lost": "not worked out" if less is None else _cut(less, now, currency),
                "dropped": None if less is None else _given_up(less),
                "more": "not worked out"
                if more is None
                else f"avoids {about(int(more['pv_change_minor']), currency)} more",
            }
        )
    sheet = book.sheet(
        "Budget picture", "Loss avoided against money",
        "Points: the best choice under 0 to 150 % of the money, from sheet Budget curve.",
        columns, is_a4=True,
    )  # fmt: skip
    last = book.table(sheet, pd.DataFrame(rows, columns=[c.name for c in columns]), columns)
    sheet.fit_to_pages(1, 1)
    places = [str(r["region"]) for r in rows if r["region"] != _EVERY]
    sheet.insert_chart(
        last + 1, 0, _chart(book, curve, [_EVERY], "All regions", currency),
        {"description": "Loss avoided against money, all regions together"},
    )  # fmt: skip
    sheet.insert_chart(
        last + 1, 2, _chart(book, curve, places, "By region", currency),
        {"description": "Loss avoided against money, one line per region", "x_offset": 70},
    )  # fmt: skip


def _given_up(less: dict[str, Any]) -> str | None:
    if not pd.isna(less["dropped_building_ids"]):
        return str(less["dropped_building_ids"])
    return "none; smaller packages or later years" if less["pv_change_minor"] < 0 else "none"


def _cut(less: dict[str, Any], now: int, currency: str) -> str:
    lost = -int(less["pv_change_minor"])
    share = f" ({lost / now:.1%})" if now else ""
    return f"loses {about(lost, currency)} of loss avoided{share}"


def _chart(book: Book, curve: pd.DataFrame, regions: list[str], title: str, currency: str) -> Any:
    """A line of points per region, read from the cells of sheet Budget curve."""
    chart = book.file.add_chart({"type": "scatter", "subtype": "straight_with_markers"})
    names = [c.name for c in _CURVE]
    x, y = names.index("money"), names.index("pv_avoided")
    at = curve["region"].astype(str).reset_index(drop=True)
    for region in regions:
        rows = at.index[at == region]
        if not len(rows):
            continue
        first, last = HEAD_ROW + 1 + int(rows[0]), HEAD_ROW + 1 + int(rows[-1])
        chart.add_series(
            {
                "name": ["Budget curve", first, 0],
                "categories": ["Budget curve", first, x, last, x],
                "values": ["Budget curve", first, y, last, y],
                "marker": {"type": "circle", "size": 5},
            }
        )
    chart.set_title({"name": title, "name_font": {"size": 12}})
    axis = {"num_format": "#,##0", "name_font": {"size": 9}, "num_font": {"size": 8}, "min": 0}
    chart.set_x_axis({**axis, "name": f"Money ({currency})", "major_gridlines": {"visible": False}})
    chart.set_y_axis({**axis, "name": f"Loss avoided, present value ({currency})"})
    chart.set_legend({"position": "bottom"} if len(regions) > 1 else {"none": True})
    chart.set_size({"width": 480, "height": 360})
    return chart


def _ranks(book: Book, cases: pd.DataFrame) -> None:
    """One row per building, one column per case."""
    names = [_PLANNED, *sorted(set(cases["case"]) - {_PLANNED})]
    columns = (
        Column("building_id", "Building", "", 14),
        Column("site_id", "Site", "", 12),
        Column("rank_best", "Best rank", "0", 8),
        Column("rank_worst", "Worst rank", "0", 8),
        Column("chosen_words", "Chosen in cases", "", 10),
        *(Column(n, n[:1].upper() + n[1:], "0", 11) for n in names),
    )
    rows: dict[str, dict[str, Any]] = {}
    for r in cases.to_dict("records"):
        row = rows.setdefault(
            str(r["building_id"]), {"building_id": r["building_id"], "site_id": r["site_id"]}
        )
        row[str(r["case"])] = r["rank"]
    wide = pd.DataFrame(list(rows.values()), columns=["building_id", "site_id", *names])
    wide = wide.merge(rank_spans(cases), on="building_id")
    order = [_PLANNED, "building_id"]
    _sheet(
        book, "Rank cases", "How firm the ranks are",
        "Rank in each case; blank: not chosen. Flood: all levels one standard deviation off.",
        wide.sort_values(order), columns,
    )  # fmt: skip


def _months(book: Book, months: pd.DataFrame) -> None:
    """One row per site, one column per month: planned days of open days, or why not."""
    names = sorted(set(months["month"]))
    columns = (
        Column("site_id", "Site", "", 10),
        Column("region", "Region", "", 10),
        Column("access", "Permit and outage", "", 40),
        *(Column(n, n, "", 13) for n in names),
    )
    rows: dict[str, dict[str, Any]] = {}
    for r in months.to_dict("records"):
        row = rows.setdefault(
            str(r["site_id"]),
            {"site_id": r["site_id"], "region": r["region"], "access": r["access"]},
        )
        row[str(r["month"])] = _cell(r)
    frame = pd.DataFrame(list(rows.values()), columns=[c.name for c in columns])
    _sheet(
        book, "Calendar", "Season and access of each site",
        "Days on which a crew may work there, and planned ones; season: closed months; wait: "
        "permit or settled day not reached.", frame, columns,
    )  # fmt: skip


def _cell(month: dict[str, Any]) -> str:
    planned, is_open = int(month["planned_days"]), int(month["open_days"])
    if planned:
        return f"plan {planned} of {is_open}"
    if is_open:
        return str(is_open)
    return _SHORT.get(str(month["state"]), "wait")
