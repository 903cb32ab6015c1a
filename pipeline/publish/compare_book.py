"""The comparison workbook: inputs, openings, ends, quantities, packages, orders, about."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, Final

import pandas as pd

from pipeline.core.money import decimals, major
from pipeline.publish.book import Book, Column
from pipeline.publish.compare_chain import Chain, names
from pipeline.publish.compare_folder import Row
from pipeline.publish.compare_words import PLURALS, count_words, currency_of, short, step, totals

_CAUSE: Final = (
    Column("causes", "Depends on inputs no.", "", 12),
    Column("cause_words", "The same in words", "", 60),
    Column("followed", "How they were found", "", 13),
)
_INPUTS: Final = (
    Column("no", "No.", "", 6),
    Column("kind", "Kind", "", 13),
    Column("subject", "Input", "", 50),
    Column("old", "Before", "", 26),
    Column("new", "After", "", 26),
    Column("leads", "What depends on it", "", 50),
    Column("openings", "Openings", "0", 10),
    Column("ends", "Ends", "0", 8),
    Column("buildings", "Buildings", "0", 10),
    Column("orders", "Order lines", "0", 8),
)
# told once, as it is now
_ONCE: Final = frozenset({"reason", "end_ids"})
# table -> what a column is called; each stands twice, before and after
_SHEETS: Final[dict[str, tuple[str, tuple[tuple[str, str, str, int], ...]]]] = {
    "reach": ("Openings", (
        ("level_class", "Class", "", 13), ("margin_mm", "Margin (mm)", "0", 9),
        ("let_in_level_m", "Let-in level (m)", "0.000", 9),
        ("policy_level_m", "Policy line (m)", "0.000", 9), ("way", "Way", "", 12),
        ("onset_chance_per_year", "Chance a year of water here", "0.00%", 9),
        ("reason", "Reason", "", 34),
    )),
    "designs": ("Ends", (
        ("is_needed", "To be sealed", "", 8), ("firmness", "Firmness", "", 10),
        ("hold_reach", "Hold", "", 8), ("design_head_m", "Design head (m)", "0.000", 9),
        ("layer_mm", "Layer (mm)", "0.0", 8), ("sealant_ml", "Sealant (ml)", "0.0", 9),
        ("sleeves_words", "Sleeves", "", 26), ("hours_h", "Crew hours", "0.00", 8),
    )),
    "needs": ("Quantities", (
        ("quantity", "Quantity", "0.0", 10), ("quantity_p90", "P90", "0.0", 10),
        ("first_use", "First use", "", 11), ("end_ids", "Ends", "", 34),
    )),
    "order_lines": ("Orders", (
        ("supplier_id", "Supplier", "", 9), ("pieces_needed_count", "Pieces needed", "0", 9),
        ("stock_used_count", "From stock", "0", 8), ("packs_count", "Packs", "0", 7),
        ("pack_price_minor", "Price of a pack", "money", 10), ("line_minor", "Line", "money", 11),
        ("order_latest", "Latest order date", "", 11),
    )),
}  # fmt: skip
_STEPS: Final = (
    ("ends_count", "Ends", "0", 7), ("gain", "Gain", "", 12),
    ("after_level_m", "Onset level after (m)", "0.000", 9),
    ("after_chance_per_year", "Chance a year after", "0.00%", 9),
    ("cost_minor", "Cost", "money", 11), ("material_minor", "Material", "money", 10),
    ("labour_minor", "Labour", "money", 10),
    ("avoided_minor_per_year", "Loss avoided a year", "money", 12),
)  # fmt: skip
_CHOICES: Final = (
    ("is_chosen", "Chosen", "", 8), ("package_id", "Package", "", 14), ("rank", "Rank", "0", 6),
    ("year", "Year", "0", 7), ("cost_minor", "Cost", "money", 11),
    ("pv_avoided_minor", "Loss avoided, present value", "money", 13),
    ("reason", "Why", "", 34),
)  # fmt: skip
_LEVELS: Final = ("policies", "ground", "levels", "floods", "links")


def write_comparison(path: Path, chain: Chain, rest: dict[str, int]) -> None:
    """Write the workbook.

    Parameters
    ----------
    path : Path
    chain : Chain
        Differing rows and the inputs that they depend on.
    rest : dict of str to int
        Rows that differ in tables beside the chain.
    """
    label = " -> ".join(f"run {run.record.get('run_id')}" for run in chain.runs)
    book = Book(path, title="Two runs compared", run_label=label)
    _inputs(book, chain)
    for table in ("reach", "designs", "needs"):
        _pairs(book, chain, table, *_SHEETS[table])
    _pairs(book, chain, "choices", "Packages", _CHOICES)
    _pairs(book, chain, "packages", "Package steps", _STEPS)
    _pairs(book, chain, "order_lines", *_SHEETS["order_lines"])
    _levels(book, chain)
    _totals(book, chain)
    _about(book, chain, rest)
    book.close()


def _inputs(book: Book, chain: Chain) -> None:
    rows = []
    for n, change in enumerate(chain.changes):
        leads = chain.leads_to(n)
        rows.append(
            {
                "no": str(n + 1), "kind": change.kind, "subject": change.subject,
                "old": change.old or "blank", "new": change.new or "blank",
                "openings": leads.get("reach", 0), "ends": leads.get("designs", 0),
                "buildings": leads.get("choices", 0), "orders": leads.get("order_lines", 0),
                "leads": ", ".join(count_words(c, t) for t, c in leads.items() if t in PLURALS)
                or change.note or "no row depends on it",
            }
        )  # fmt: skip
    sheet = book.sheet("Inputs", "Inputs that differ", "Each with what depends on it.", _INPUTS)
    book.table(sheet, pd.DataFrame(rows), _INPUTS)


def _pairs(
    book: Book, chain: Chain, table: str, name: str, pairs: Sequence[tuple[str, str, str, int]]
) -> None:
    rows = chain.rows[table]
    code = currency_of(chain.runs[1])
    head = _keys(table)
    columns = [*head]
    if table == "choices":
        columns.append(Column("became", "What became of it", "", 16))
    for column, heading, number, width in pairs:
        form = _padded(f"#,##0.{'0' * decimals(code)}".rstrip(".") if number == "money" else number)
        if column not in _ONCE:
            columns.append(Column(f"{column}/old", f"{heading}, before", form, width))
        columns.append(Column(f"{column}/new", f"{heading}, after", form, width))
    columns += [Column("others", "Other columns that differ", "", 26), *_CAUSE]
    note = f"{len(rows)} of {max(len(r.table(table)) for r in chain.runs)} rows differ; all stand here."
    sheet = book.sheet(name, f"{PLURALS[table].capitalize()} that differ", note, columns)
    records = [_record(chain, row, pairs, [c.name for c in head], code) for row in rows]
    book.table(sheet, pd.DataFrame(records), columns)


def _padded(number: str) -> str:
    """A number format with a gap at its right, so that figures do not touch the text beside them."""
    return f"{number}_)" if number else ""


def _keys(table: str) -> list[Column]:
    heads = {
        "reach": ("opening_id", "building_id", "site_id", "region"),
        "designs": ("end_id", "building_id", "site_id", "region"),
        "needs": ("item_id", "region", "month", "site_id", "firmness", "belongs_to"),
        "choices": ("building_id", "site_id", "region"),
        "packages": ("package_id", "building_id", "site_id", "region"),
        "order_lines": ("item_id", "region", "month", "order_id"),
    }[table]
    return [
        Column(h, h.removesuffix("_id").replace("_", " ").capitalize(), "", 16 if n == 0 else 11)
        for n, h in enumerate(heads)
    ]


def _record(
    chain: Chain,
    row: Row,
    pairs: Sequence[tuple[str, str, str, int]],
    head: Sequence[str],
    code: str,
) -> dict[str, Any]:
    record: dict[str, Any] = {h: row.either.get(h, "") for h in head}
    shown = {column for column, *_ in pairs}
    for column, _, number, _ in pairs:
        for side, cells in (("old", row.old), ("new", row.new)):
            record[f"{column}/{side}"] = _value((cells or {}).get(column, ""), number, code)
    if row.old is None or row.new is None:
        record["others"] = "new row" if row.old is None else "row is gone"
    else:
        record["others"] = ", ".join(c for c in row.columns if c not in shown)
    if row.table == "choices":
        record["became"] = step(row)
    return record | _cause(chain, row)


def _cause(chain: Chain, row: Row) -> dict[str, Any]:
    numbers = chain.numbers(row)
    return {
        "causes": ", ".join(str(n + 1) for n in numbers),
        "cause_words": names(chain.changes, numbers),
        "followed": row.followed,
    }


def _value(text: str, number: str, code: str) -> Any:
    if not text:
        return ""
    if number == "money":
        return float(major(int(float(text)), code))
    if number:
        return float(text)
    return {"True": "yes", "False": "no"}.get(text, text)


def _levels(book: Book, chain: Chain) -> None:
    columns = (
        Column("table", "Table", "", 10),
        Column("key", "Row", "", 34),
        Column("site_id", "Site", "", 10),
        Column("column", "Column", "", 18),
        Column("old", "Before", "", 30),
        Column("new", "After", "", 30),
        *_CAUSE,
    )
    rows = chain.rows
    records = [
        {"table": row.table, "key": " / ".join(row.key), "site_id": row.either.get("site_id", ""),
         "column": column, "old": short(one), "new": short(other)} | _cause(chain, row)
        for table in _LEVELS for row in rows[table]
        for column, one, other in _changed(row)
    ]  # fmt: skip
    sheet = book.sheet("Levels and water", "Levels, water, policies and links that differ",
                       "One row per value.", columns)  # fmt: skip
    book.table(sheet, pd.DataFrame(records), columns)


def _changed(row: Row) -> Iterable[tuple[str, str, str]]:
    if row.old is None or row.new is None:
        yield "row", *(("there", "gone") if row.new is None else ("none", "new"))
        return
    for column in row.columns:
        yield column, *row.pair(column)


def _totals(book: Book, chain: Chain) -> None:
    columns = (
        Column("what", "Sum", "", 34), Column("region", "Region", "", 14),
        Column("old", "Before", "#,##0.00", 14), Column("new", "After", "#,##0.00", 14),
        Column("change", "Difference", "#,##0.00", 14), Column("currency", "Currency", "", 10),
    )  # fmt: skip
    records = []
    for total in totals(*chain.runs):
        one, other = (
            float(major(m, c))
            for m, c in zip((total.old, total.new), total.currencies, strict=True)
        )
        same = total.currencies[0] == total.currencies[1]
        change = float(major(total.new - total.old, total.currencies[1])) if same else None
        records.append(
            {"what": total.what, "region": total.region or "all regions", "old": one, "new": other,
             "change": change, "currency": " -> ".join(dict.fromkeys(total.currencies))}
        )  # fmt: skip
    sheet = book.sheet("Totals", "Totals before and after",
                       "Sums of the tables choices and order_lines.", columns)  # fmt: skip
    book.table(sheet, pd.DataFrame(records), columns)


def _about(book: Book, chain: Chain, rest: dict[str, int]) -> None:
    columns = (Column("what", "What", "", 30), Column("words", "", "", 90))
    old, new = (run.record for run in chain.runs)
    lines = [
        *((word, f"{old.get(key)} -> {new.get(key)}") for word, key in (
            ("Programme", "programme"), ("Run id", "run_id"), ("Planning date", "planning_date"),
            ("Program version", "version"),
        )),
        ("Materials", f"{old.get('materials_note') or 'certified'} -> "
                      f"{new.get('materials_note') or 'certified'}"),
        ("Inputs", f"{len(chain.changes)} differ. Where none differs the tables cannot either."),
        ("Depends on inputs no.", "The numbers of the sheet Inputs. Each difference is followed back along "
         "the chain: cell, level, way, class, design, package, choice, need, order line. Where "
         "more than one input leads to a row all are named: each of them may have made it, alone "
         "or together."),
        ("How they were found", "followed: along the chain. By its site, by its region: the row "
         "itself led nowhere, so the inputs that made differences at its site or in its region "
         "are named. Any input that differs: it could not be followed."),
        ("Where a value stood", "A row that only moved in its sheet, or was read from a file of "
         "another name with the same content, does not differ."),
        ("Rank", "A rank may change although nothing about the building did: others moved past it."),
        ("Rows beside the chain", ", ".join(f"{n} of {t}" for t, n in rest.items()) or "none differ"),
    ]  # fmt: skip
    sheet = book.sheet("About", "How to read this", "", columns)
    book.table(sheet, pd.DataFrame(lines, columns=["what", "words"]), columns)


__all__ = ["write_comparison"]
