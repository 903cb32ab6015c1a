"""Sheet 'By site' of schedule.xlsx: needs of each site, and its part of the money of the orders.

Packs are bought by region and for all months together, so no pack belongs to one site. What the
order lines of an item come to in a region is therefore shared over the rows by their firm need;
parts are rounded where they add up, so that the rows give the lines to the minor unit.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

import pandas as pd
from xlsxwriter.utility import xl_col_to_name, xl_rowcol_to_cell

from pipeline.core import contract
from pipeline.core.money import decimals
from pipeline.core.spread import total
from pipeline.publish.book import HEAD_ROW, Book, Column, row_points
from pipeline.tables import Tables

_CREWS: Final = "all crews"
_WAITS: Final = '#,##0.00;-#,##0.00;"-"'  # nothing waits: a dash, so that what does stands out
_MOST_CELLS: Final = 200  # of one SUM: spreadsheets take 255
_NOISE: Final = 1e-9
_SITE: Final = (
    Column("site_id", "Site", "", 12),
    Column("region", "Region", "", 10),
    Column("item_id", "Item", "", 17),
    Column("counted_by", "Counted by", "", 10),
    Column("unit", "Unit", "", 7),
    Column("firm", "Firm", "#,##0.00", 10),
    Column("lines", "Order lines of the item in the region", "#,##0.00", 12),
    Column("share", "Share of them", "0.0%", 8),
    Column("money", "Money", "#,##0.00", 11),
    Column("words", "Words on the money", "", 24),
    Column("provisional", "Chosen package: provisional, mean", _WAITS, 12),
    Column("provisional_p90", "Chosen package: provisional, P90", _WAITS, 12),
    Column("held", "Chosen package: held", _WAITS, 10),
    Column("provisional_later", "Steps not chosen: provisional, mean", _WAITS, 12),
    Column("provisional_later_p90", "Steps not chosen: provisional, P90", _WAITS, 12),
    Column("held_later", "Steps not chosen: held", _WAITS, 10),
    Column("share_from", "Share of the rows before", "0.000000", 10),
    Column("share_to", "Share up to this row", "0.000000", 10),
)
_NAMES: Final = tuple(c.name for c in _SITE)
_KEYS: Final = ("site_id", "region", "item_id", "counted_by", "unit")
_QUANTITIES: Final = (
    ("firm", contract.FIRM, contract.CHOSEN_WORK, "quantity"),
    ("provisional", contract.PROVISIONAL, contract.CHOSEN_WORK, "quantity"),
    ("provisional_p90", contract.PROVISIONAL, contract.CHOSEN_WORK, "quantity_p90"),
    ("held", contract.HELD, contract.CHOSEN_WORK, "quantity"),
    ("provisional_later", contract.PROVISIONAL, contract.LATER_STEP, "quantity"),
    ("provisional_later_p90", contract.PROVISIONAL, contract.LATER_STEP, "quantity_p90"),
    ("held_later", contract.HELD, contract.LATER_STEP, "quantity"),
)
_NOTE: Final = (
    "Needs before spares, stock and packs; only firm ones are ordered. Money: what the order lines "
    "of the item come to in the region, all months, with spares, whole packs and what is left over, "
    f"shared by firm need; what crews need together stands under '{_CREWS}' and is not shared out. "
    "Delivery goes by order: it is not in these prices and not split over sites. Steps not chosen: "
    "ends of a chosen building that only a step beyond its chosen package seals."
)


def write_by_site(
    book: Book,
    tables: Tables,
    lines: pd.DataFrame,
    cells: Mapping[str, str],
    *,
    summary_total: str,
    currency: str,
) -> None:
    """Add the sheet.

    Parameters
    ----------
    book : Book
        The open workbook.
    tables : Tables
        needs.
    lines : DataFrame
        Order lines with their `key` and `line_minor`.
    cells : mapping of str to str
        Cell of each line's total in its region sheet, by key.
    summary_total : str
        Cell of the total of sheet Summary.
    currency : str
        ISO 4217 code.

    Notes
    -----
    The part of a row is what is due up to it minus what is due before it, both rounded to the
    minor unit: live formulas that add up to the lines whatever price is changed.
    """
    sheet = book.sheet("By site", "Needs and money by site", _NOTE, _SITE)
    rows = by_site(tables["needs"], lines)
    scale, digits = 10 ** decimals(currency), decimals(currency)
    at = {name: xl_col_to_name(n) for n, name in enumerate(_NAMES)}
    items = _cells_of_items(lines, cells)
    for i, record in enumerate(rows.to_dict("records")):
        row = HEAD_ROW + 1 + i
        here = row + 1
        lines_cell = f"{at['lines']}{here}"
        formulas = {
            "lines": items[str(record["region"]), str(record["item_id"])],
            "share": f"={at['share_to']}{here}-{at['share_from']}{here}",
            "money": f"=ROUND({lines_cell}*{at['share_to']}{here},{digits})"
            f"-ROUND({lines_cell}*{at['share_from']}{here},{digits})",
        }
        record["lines"] = record["lines_minor"] / scale
        record["money"] = record["money_minor"] / scale
        sheet.set_row(row, row_points(record, _SITE))
        for c, column in enumerate(_SITE):
            if column.name in formulas:
                form = book.form(num_format=column.number)
                sheet.write_formula(row, c, formulas[column.name], form, float(record[column.name]))
            else:
                book.write(sheet, row, c, record.get(column.name), column.number)
    if rows.empty:
        sheet.write_string(HEAD_ROW + 1, 0, "Nothing to list.", book.form(italic=True))
        return
    last = HEAD_ROW + len(rows)
    sheet.autofilter(HEAD_ROW, 0, last, len(_SITE) - 1)
    sums = (int(rows["money_minor"].sum()) / scale, int(lines["line_minor"].sum()) / scale)
    _totals(book, sheet, last, sums, (summary_total, digits))


def _totals(
    book: Book, sheet: Any, last: int, sums: tuple[float, float], tie: tuple[str, int]
) -> None:
    """The sum of the rows a filter shows, of all rows, of the order lines, and the difference."""
    at = _NAMES.index("money")
    letter = xl_col_to_name(at)
    span = f"{letter}{HEAD_ROW + 2}:{letter}{last + 1}"
    begin = last + 2
    every, lines = (f"{letter}{begin + n + 1}" for n in (1, 2))
    summary_total, digits = tie
    for n, (said, formula, value) in enumerate(
        (
            ("Rows that the filter shows", f"=SUBTOTAL(109,{span})", sums[0]),
            ("All rows", f"=SUM({span})", sums[0]),
            ("All order lines (sheet Summary)", f"={summary_total}", sums[1]),
            ("Difference", f"=ROUND({every}-{lines},{digits})", round(sums[0] - sums[1], digits)),
        )
    ):
        sheet.write_string(begin + n, at - 3, said, book.form(bold=True))
        form = book.form(bold=True, num_format="#,##0.00", **({"top": 1} if n == 0 else {}))
        sheet.write_formula(begin + n, at, formula, form, value)


def _cells_of_items(lines: pd.DataFrame, cells: Mapping[str, str]) -> dict[tuple[str, str], str]:
    """Formula of the sum of the lines of each region and item."""
    found: dict[tuple[str, str], list[str]] = {}
    for line in lines.to_dict("records"):
        mine = found.setdefault((str(line["region"]), str(line["item_id"])), [])
        if str(line["key"]) in cells:
            mine.append(cells[str(line["key"])])
    return {
        key: "="
        + (
            "+".join(
                f"SUM({','.join(mine[n : n + _MOST_CELLS])})"
                for n in range(0, len(mine), _MOST_CELLS)
            )
            or "0"
        )
        for key, mine in found.items()
    }


def by_site(needs: pd.DataFrame, lines: pd.DataFrame) -> pd.DataFrame:
    """Needs by site and item, with the part of the order lines that each row bears.

    Parameters
    ----------
    needs : DataFrame
        Table `needs`.
    lines : DataFrame
        Table `order_lines`.

    Returns
    -------
    DataFrame
        One row per site, region, item, counting level and unit: quantities, `lines_minor` (the
        lines of the item in the region), `share_from` and `share_to` (parts of the firm need
        before and up to the row), `money_minor`, `words`.
    """
    if needs.empty:
        return pd.DataFrame(columns=[*_NAMES, "lines_minor", "money_minor"])
    keys = list(_KEYS)
    out = needs[keys].drop_duplicates().sort_values(keys).reset_index(drop=True)
    for name, firmness, belongs, column in _QUANTITIES:
        rows = needs[(needs["firmness"] == firmness) & (needs["belongs_to"] == belongs)]
        part = pd.DataFrame(
            [
                {**dict(zip(keys, key, strict=True)), name: float(total(group)[column])}
                for key, group in rows.groupby(keys, sort=True)
            ],
            columns=[*keys, name],
        )
        out = out.merge(part, on=keys, how="left")
        out[name] = out[name].fillna(0.0)
    records = out.to_dict("records")
    _share(records, lines)
    for record in records:
        if record["site_id"] == "crew":
            record["site_id"] = _CREWS
    return pd.DataFrame(records)


def _share(records: list[dict[str, Any]], lines: pd.DataFrame) -> None:
    """Write the part of the money into each row."""
    bought: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for line in lines.to_dict("records"):
        bought.setdefault((str(line["region"]), str(line["item_id"])), []).append(line)
    groups: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for record in records:
        groups.setdefault((str(record["region"]), str(record["item_id"])), []).append(record)
    for key, rows in groups.items():
        mine = bought.get(key, [])
        money = sum(int(m["line_minor"]) for m in mine if not pd.isna(m["line_minor"]))
        unpriced = [str(m["month"]) for m in mine if pd.isna(m["line_minor"])]
        whole = sum(r["firm"] for r in rows)
        used, due = 0.0, 0
        for n, row in enumerate(rows, 1):
            row["lines_minor"], row["share_from"] = money, used / whole if whole else 0.0
            used += row["firm"]
            # the last row ends at the whole itself, whatever the float sum says
            row["share_to"] = (1.0 if n == len(rows) else used / whole) if whole else 0.0
            up_to = _half_up(money * row["share_to"])
            row["share"] = row["share_to"] - row["share_from"]
            row["money_minor"], due = up_to - due, up_to
            row["words"] = _words(row, money, unpriced)


def _half_up(amount: float) -> int:
    """Rounded as spreadsheets round."""
    return math.floor(amount + 0.5 + _NOISE)


def _words(row: Mapping[str, Any], money: int, unpriced: list[str]) -> str | None:
    if not row["firm"]:
        return "nothing firm: not ordered"
    if unpriced:
        return f"no price in {', '.join(unpriced)}: that is not in the money"
    return None if money else "from stock: nothing is bought"


def cell_of(sheet: str, row: int, col: int) -> str:
    """A cell of another sheet, as formulas name it."""
    quoted = sheet.replace("'", "''")
    return f"'{quoted}'!{xl_rowcol_to_cell(row, col, row_abs=True, col_abs=True)}"


__all__ = ["by_site", "cell_of", "write_by_site"]
