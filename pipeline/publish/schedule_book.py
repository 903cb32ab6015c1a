"""schedule.xlsx: what to buy, for which region and month, with the sums alive.

The sheet 'How the numbers are made' holds prices, pack sizes and needs as plain numbers; the region
sheets look prices up there and multiply; the Summary adds the region sheets, and By site shares
them. One changed price moves line, region, Summary and By site. Every formula carries its computed value, for viewers that do not
calculate.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any, Final

import pandas as pd
from xlsxwriter.utility import xl_col_to_name, xl_rowcol_to_cell

from pipeline.core.buying import Buying
from pipeline.core.cautions import ALWAYS, GENERAL, RELEASE, general
from pipeline.core.materials import papers_say
from pipeline.core.money import decimals, words
from pipeline.core.settings import Settings
from pipeline.publish.book import HEAD_ROW, Book, Column, row_points
from pipeline.publish.schedule_sites import cell_of, write_by_site
from pipeline.tables import Tables

_WAITS: Final = '#,##0.0;-#,##0.0;"-"'  # nothing waits: a dash, so that what does stands out
_LINE: Final = (
    # what a buyer acts on stands first, how it was counted behind it
    Column("order_latest", "Order not later than", "", 11),
    Column("supplier_id", "Supplier", "", 14),
    Column("item_name", "Plain name", "", 26),
    Column("packs_count", "Packs", "#,##0", 8),
    Column("pack_size_count", "Pieces per pack", "#,##0", 8),
    Column("line", "Line total", "#,##0.00", 13),
    Column("need_by", "Needed by", "", 11),
    Column("clash", "Clash", "", 26),
    Column("note", "Note", "", 26),
    Column("order_id", "Order (draft)", "", 24),
    Column("depot_id", "Depot", "", 10),
    Column("month", "Month of first use", "", 10),
    Column("item_id", "Item", "", 16),
    Column("supplier_item_id", "Supplier's item", "", 16),
    Column("unit", "Unit of need", "", 8),
    Column("need_firm", "Firm need (unit)", "#,##0.0", 11),
    Column("spare", "Spare (unit)", "#,##0.0", 9),
    Column("spare_rule", "Spare rule", "", 22),
    Column("unit_per_piece", "Units per piece", "#,##0.0", 9),
    Column("pieces_needed_count", "Pieces needed", "#,##0", 9),
    Column("stock_used_count", "From stock (pieces)", "#,##0", 9),
    Column("pieces_net_count", "Pieces to buy", "#,##0", 9),
    Column("pieces_ordered_count", "Pieces ordered", "#,##0", 9),
    Column("surplus_count", "Surplus (pieces)", "#,##0", 9),
    Column("pack_price", "Price per pack", "#,##0.00", 11),
    Column("order_earliest", "Order not earlier than", "", 11),
    Column("next_break", "Next price break", "", 26),
    Column("need_firm_p90", "Firm need, P90 (unit)", "#,##0.0", 12),
    # nothing of this is ordered: first what waits in the chosen packages, then what lies beyond
    Column("need_provisional", "Chosen packages: provisional, mean (unit)", _WAITS, 12),
    Column("need_provisional_p90", "Chosen packages: provisional, P90 (unit)", _WAITS, 12),
    Column("need_held", "Chosen packages: held (unit)", _WAITS, 12),
    Column("need_provisional_later", "Steps not chosen: provisional, mean (unit)", _WAITS, 12),
    Column("need_provisional_later_p90", "Steps not chosen: provisional, P90 (unit)", _WAITS, 12),
    Column("need_held_later", "Steps not chosen: held (unit)", _WAITS, 12),
    Column("site_ids", "Sites behind the line", "", 40),
)
_NAMES: Final = tuple(c.name for c in _LINE)
_SUMMARY: Final = (
    Column("region", "Region", "", 12),
    Column("month", "Month of first use", "", 11),
    Column("item_id", "Item", "", 18),
    Column("item_name", "Plain name", "", 28),
    Column("packs_count", "Packs", "#,##0", 9),
    Column("pieces_ordered_count", "Pieces ordered", "#,##0", 10),
    Column("line", "Total", "#,##0.00", 14),
)
_MADE: Final = (
    Column("key", "Line", "", 34),
    Column("item_id", "Item", "", 18),
    Column("supplier_id", "Supplier", "", 14),
    Column("pack_size_count", "Pieces per pack", "#,##0", 10),
    Column("pack_price", "Price per pack", "#,##0.00", 12),
    Column("price_valid_to", "Price valid to", "", 12),
    Column("need_firm", "Firm need (unit)", "#,##0.0", 12),
    Column("spare", "Spare (unit)", "#,##0.0", 10),
    Column("unit_per_piece", "Units per piece", "#,##0.0", 10),
    Column("stock_used_count", "From stock (pieces)", "#,##0", 10),
    Column("packs_count", "Packs", "#,##0", 9),
)
_RISKS: Final = (
    Column("region", "Region", "", 12),
    Column("risk", "Kind of risk", "", 20),
    Column("subject", "End, item or site", "", 22),
    Column("words", "What may change", "", 60),
    Column("quantity", "Quantity", "#,##0.0", 10),
    Column("unit", "Unit", "", 8),
)
_DUE: Final = (
    Column("order_latest", "Order not later than", "", 12),
    Column("order_earliest", "Not earlier than (shelf life)", "", 12),
    Column("region", "Region", "", 10),
    Column("supplier_id", "Supplier", "", 12),
    Column("item_name", "Plain name", "", 34),
    Column("packs_count", "Packs", "#,##0", 8),
    Column("pack_size_count", "Pieces per pack", "#,##0", 8),
    Column("line", "Line total", "#,##0.00", 12),
    Column("need_by", "Needed at the depot by", "", 12),
    Column("clash", "Clash of dates", "", 30),
)
_CAUTIONS: Final = (
    Column("ends_count", "Ends that it stands on (the general ones: all)", "#,##0", 14),
    Column("words", "Caution", "", 110),
)
_MADE_SHEET: Final = "How the numbers are made"


def write_schedule(
    path: Path, tables: Tables, settings: Settings, *, buying: Buying, run_id: str
) -> None:
    """Write schedule.xlsx.

    Parameters
    ----------
    path : Path
        File to write.
    tables : Tables
        Tables of a whole run.
    settings : Settings
    buying : Buying
        The buyer's tables.
    run_id : str
        Printed on every sheet.

    """
    del buying
    currency = settings.programme.currency
    label = (
        f"Run {run_id}, planned {settings.planning_date}, money in {currency}. Draft until "
        f"approved. {papers_say(settings)}"
    )
    book = Book(path, title=f"{settings.programme.name}: procurement schedule", run_label=label)
    lines = _lines(tables, currency, settings.planning_date.isoformat())
    summary = book.sheet(
        "Summary",
        "What to buy, by region, month and item",
        f"Firm quantities only. {baseline_words(tables['order_lines'], currency)}",
        _SUMMARY,
    )
    made_row = {key: HEAD_ROW + 1 + i for i, key in enumerate(lines["key"])}
    places: dict[str, tuple[str, int]] = {}
    for region in settings.programme.regions:
        _region_sheet(book, region, lines[lines["region"] == region], made_row, places)
    summary_total = _summary_rows(book, summary, lines, places)
    due = book.sheet(
        "Order by date",
        "Orders in the order they have to go out",
        _due_words(lines, settings.planning_date),
        _DUE,
    )
    book.table(due, _due(lines), _DUE)
    cells = {k: cell_of(name, row, _NAMES.index("line")) for k, (name, row) in places.items()}
    write_by_site(book, tables, lines, cells, summary_total=summary_total, currency=currency)
    made = book.sheet(
        _MADE_SHEET,
        "How the numbers are made",
        "Change a price here: line, region, Summary and By site follow. Packs are planned over all months "
        "together: another pack size, need or stock asks for a new run.",
        _MADE,
    )
    book.table(made, lines, _MADE)
    said = book.sheet("Cautions", "Cautions that stand on the sheets of the crews", "", _CAUTIONS)
    book.table(said, _cautions(tables, settings), _CAUTIONS)
    risks = book.sheet("Open risks", "What may still change the quantities", "", _RISKS)
    book.table(risks, tables["open_risks"], _RISKS)
    book.close()


def _due(lines: pd.DataFrame) -> pd.DataFrame:
    """Lines that order something, by the day they have to go out."""
    ordered = lines[lines["packs_count"] > 0]
    return ordered.sort_values(["order_latest", "region", "supplier_id", "item_id"])


def _due_words(lines: pd.DataFrame, planned: dt.date) -> str:
    """What has to go out in the week of the planning date, and what comes next."""
    days = sorted(str(d) for d in _due(lines)["order_latest"].dropna())
    monday = planned - dt.timedelta(days=planned.weekday())
    sunday = monday + dt.timedelta(days=6)
    due = [d for d in days if d <= sunday.isoformat()]
    later = [d for d in days if d > sunday.isoformat()]
    count = f"{len(due)} lines have" if len(due) != 1 else "1 line has"
    words_due = f"{count} to go out by {sunday}" if due else f"Nothing has to go out by {sunday}"
    return f"{words_due}; {f'the next on {later[0]}' if later else 'nothing later'}."


def _cautions(tables: Tables, settings: Settings) -> pd.DataFrame:
    """General cautions first, then those of single ends by how many bear them."""
    needed = tables["designs"][tables["designs"]["is_needed"].astype(bool)]
    counts: dict[str, int] = {}
    for codes, cautions in zip(needed["caution_codes"], needed["cautions"], strict=True):
        if not (pd.isna(codes) or pd.isna(cautions)):
            for code, one in zip(str(codes).split(";"), str(cautions).split(" | "), strict=False):
                if code not in {ALWAYS, RELEASE}:
                    counts[one] = counts.get(one, 0) + 1
    rows: list[dict[str, Any]] = [
        {"ends_count": len(needed), "words": general(code, settings.cautions)} for code in GENERAL
    ]
    rows += [
        {"ends_count": n, "words": one}
        for one, n in sorted(counts.items(), key=lambda c: (-c[1], c[0]))
    ]
    return pd.DataFrame(rows)


def baseline_words(lines: pd.DataFrame, currency: str) -> str:
    """What planning the months together saves against buying each for itself."""
    known = lines[lines["line_minor"].notna() & lines["alone_minor"].notna()]
    together, alone = int(known["line_minor"].sum()), int(known["alone_minor"].sum())
    return (
        f"Bought month by month: {words(alone, currency)}; months planned together: "
        f"{words(together, currency)}, {words(alone - together, currency)} less."
    )


def _lines(tables: Tables, currency: str, planned: str) -> pd.DataFrame:
    lines = pd.DataFrame(tables["order_lines"]).copy()
    scale = 10 ** decimals(currency)
    lines["pack_price"] = lines["pack_price_minor"].astype("Float64") / scale
    lines["line"] = lines["line_minor"].astype("Float64") / scale
    lines["key"] = [
        f"{r} / {m} / {i}"
        for r, m, i in zip(lines["region"], lines["month"], lines["item_id"], strict=True)
    ]
    lines["note"] = [_note(r) for r in lines.to_dict("records")]
    lines["site_ids"] = lines["site_ids"].fillna("all crews of the region")
    # checked and none is not the same as not looked at
    lines["clash"] = lines["clash"].mask(lines["clash"].isna() & (lines["packs_count"] > 0), "none")
    # an order can't go out before the planning date: an earlier bound says nothing
    early = lines["order_earliest"].astype("str") < planned
    lines["order_earliest"] = lines["order_earliest"].mask(early)
    return lines.sort_values(["region", "month", "item_id"]).reset_index(drop=True)


def _note(line: dict[str, Any]) -> str | None:
    """Why a line that needs pieces orders none."""
    if line["packs_count"] or not line["pieces_needed_count"]:
        return None if line["packs_count"] else "nothing firm in this month"
    if line["pieces_net_count"]:
        return "no price: not ordered"
    return "covered by stock or by what an earlier line leaves over"


def _column(name: str) -> str:
    return str(xl_col_to_name(_NAMES.index(name)))


def _made_cell(name: str, row: int) -> str:
    col = next(i for i, c in enumerate(_MADE) if c.name == name)
    return f"'{_MADE_SHEET}'!{xl_rowcol_to_cell(row, col, row_abs=True, col_abs=True)}"


def _formulas(record: dict[str, Any], row: int, made_row: int) -> dict[str, str]:
    """Live formulas of one line (spreadsheet rows count from 1)."""
    here = row + 1
    cell = {name: f"{_column(name)}{here}" for name in _NAMES}
    del record
    return {
        "need_firm": f"={_made_cell('need_firm', made_row)}",
        "spare": f"={_made_cell('spare', made_row)}",
        "unit_per_piece": f"={_made_cell('unit_per_piece', made_row)}",
        "pieces_needed_count": (
            f"=ROUNDUP(ROUND(({cell['need_firm']}+{cell['spare']})/{cell['unit_per_piece']},9),0)"
        ),
        "stock_used_count": f"={_made_cell('stock_used_count', made_row)}",
        "pieces_net_count": f"=MAX(0,{cell['pieces_needed_count']}-{cell['stock_used_count']})",
        "pack_size_count": f"={_made_cell('pack_size_count', made_row)}",
        "packs_count": f"={_made_cell('packs_count', made_row)}",
        "pieces_ordered_count": f"={cell['packs_count']}*{cell['pack_size_count']}",
        "surplus_count": f"={cell['pieces_ordered_count']}-{cell['pieces_net_count']}",
        "pack_price": f"={_made_cell('pack_price', made_row)}",
        "line": f"={cell['packs_count']}*{cell['pack_price']}",
    }


def _region_sheet(
    book: Book,
    region: str,
    lines: pd.DataFrame,
    made_row: dict[str, int],
    places: dict[str, tuple[str, int]],
) -> None:
    name = f"Region {region}"[:31]
    sheet = book.sheet(
        name,
        f"Region {region}: lines",
        "Provisional and held quantities are shown and not ordered. Steps not chosen: ends of the "
        "chosen buildings that only a step beyond the chosen package seals.",
        _LINE,
    )
    for i, record in enumerate(lines.to_dict("records")):
        row = HEAD_ROW + 1 + i
        places[str(record["key"])] = (name, row)
        sheet.set_row(row, row_points(record, _LINE))
        formulas = _formulas(record, row, made_row[str(record["key"])])
        for c, column in enumerate(_LINE):
            value = record.get(column.name)
            if column.name in formulas and not pd.isna(value):
                form = book.form(num_format=column.number)
                sheet.write_formula(row, c, formulas[column.name], form, float(value))
            else:
                book.write(sheet, row, c, value, column.number)
    last = HEAD_ROW + len(lines)
    if len(lines):
        sheet.autofilter(HEAD_ROW, 0, last, len(_LINE) - 1)
    else:
        sheet.write_string(HEAD_ROW + 1, 0, "Nothing to buy.", book.form(italic=True))
    total = _NAMES.index("line")
    letter = _column("line")
    sheet.write_string(last + 2, total - 1, "Region total", book.form(bold=True))
    sheet.write_formula(
        last + 2,
        total,
        f"=SUM({letter}{HEAD_ROW + 2}:{letter}{max(last, HEAD_ROW + 1) + 1})",
        book.form(bold=True, num_format="#,##0.00", top=1),
        float(lines["line"].sum()) if len(lines) else 0.0,
    )


def _summary_rows(
    book: Book, sheet: Any, lines: pd.DataFrame, places: dict[str, tuple[str, int]]
) -> str:
    """Write the rows and their total; give the cell of the total."""
    live = ("packs_count", "pieces_ordered_count", "line")
    shown = lines[lines["region"].isin({str(k).split(" / ")[0] for k in places})]
    for i, record in enumerate(shown.to_dict("records")):
        row = HEAD_ROW + 1 + i
        name, there = places[str(record["key"])]
        sheet.set_row(row, row_points(record, _SUMMARY))
        for c, column in enumerate(_SUMMARY):
            if column.name in live and not pd.isna(record[column.name]):
                source = xl_rowcol_to_cell(there, _NAMES.index(column.name))
                form = book.form(num_format=column.number)
                sheet.write_formula(row, c, f"='{name}'!{source}", form, float(record[column.name]))
            else:
                book.write(sheet, row, c, record.get(column.name), column.number)
    last = HEAD_ROW + len(shown)
    if len(shown):
        sheet.autofilter(HEAD_ROW, 0, last, len(_SUMMARY) - 1)
    total = len(_SUMMARY) - 1
    letter = xl_col_to_name(total)
    sheet.write_string(last + 2, total - 1, "All regions", book.form(bold=True))
    sheet.write_formula(
        last + 2,
        total,
        f"=SUM({letter}{HEAD_ROW + 2}:{letter}{max(last, HEAD_ROW + 1) + 1})",
        book.form(bold=True, num_format="#,##0.00", top=1),
        float(shown["line"].sum()) if len(shown) else 0.0,
    )
    return cell_of("Summary", last + 2, total)
