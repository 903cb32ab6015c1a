"""The blank survey workbook: drop-downs, ranges and help from the definition that checks use.

Beside the data sheets stand `lists` (the allowed words), `how to number a wall` (a drawing) and
`card to print` (one A4 page to write on where there is no phone).
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import xlsxwriter
from xlsxwriter.utility import xl_col_to_name

from pipeline.core.survey import RECORD_SHEETS, TABLE_OF_SHEET, Column, of_sheet

# the library's default date is the clock; a fixed one keeps the same bytes
_CREATED: Final = dt.datetime(2000, 1, 1)  # noqa: DTZ001 - the file format has no time zone
ROWS: Final = 1000
VERSION: Final = "1"
"""Version of the template; a filled one is read by column names, whatever its version."""
_YESNO: Final = ("yes", "no")
# words of the programme, where no settings say them: the user fills the list
_OWN_WORDS: Final = {
    "@regions": "regions",
    "@classes": "classes of sites",
    "@datums": "height datums",
}
_OPEN_CELLS: Final = 20
_HELP: Final = 255  # characters that a spreadsheet shows beside a cell
_A_LIMIT: Final = re.compile(r"^-?\d|^in |^inside|^within|finer|even digits| / ")
_NEED: Final = {"R": "wanted", "C": "wanted when: ", "O": "if known"}
WALL_SHEET: Final = "how to number a wall"
CARD_SHEET: Final = "card to print"


def write_template(path: Path, words: Mapping[str, Sequence[str]] | None = None) -> None:
    """Write the blank survey workbook.

    Parameters
    ----------
    path : Path
        File to write.
    words : mapping, optional
        Words of the programme: '@regions', '@classes', '@datums'.
    """
    book = xlsxwriter.Workbook(str(path), {"strings_to_formulas": False, "strings_to_urls": False})
    book.set_properties({"title": "Survey of chambers, entries and duct ends", "created": _CREATED})
    forms = _forms(book)
    lists = _lists(words or {})
    pages = {sheet: book.add_worksheet(sheet) for sheet in ("about", *TABLE_OF_SHEET)}
    _about(pages["about"], forms, lists)
    for sheet in TABLE_OF_SHEET:
        _data_sheet(pages[sheet], sheet, forms, lists)
    _list_sheet(book.add_worksheet("lists"), forms, lists)
    _wall_sheet(book.add_worksheet(WALL_SHEET), book, forms)
    _card_sheet(book.add_worksheet(CARD_SHEET), forms)
    book.close()


def write_record_template(path: Path) -> None:
    """Write the blank workbook of the records that come back: what was done, by whom, when.

    Parameters
    ----------
    path : Path
        File to write.
    """
    book = xlsxwriter.Workbook(str(path), {"strings_to_formulas": False, "strings_to_urls": False})
    book.set_properties({"title": "Records of sealed duct ends", "created": _CREATED})
    forms = _forms(book)
    lists = _lists({}, RECORD_SHEETS)
    pages = {sheet: book.add_worksheet(sheet) for sheet in RECORD_SHEETS}
    for sheet, page in pages.items():
        _data_sheet(page, sheet, forms, lists)
    _list_sheet(book.add_worksheet("lists"), forms, lists)
    book.close()


def list_name(column: Column) -> str:
    """Name of the list that a column picks from; '' where it picks from none."""
    if column.kind == "yesno":
        return "yes or no"
    if column.kind not in ("list", "many") or not column.words:
        return ""
    if column.words[0] in _OWN_WORDS:
        return _OWN_WORDS[column.words[0]]
    return f"{column.sheet} {column.heading}"


def _lists(
    words: Mapping[str, Sequence[str]], sheets: Sequence[str] = ("about", *TABLE_OF_SHEET)
) -> dict[str, tuple[str, ...]]:
    """All lists in the order of the definition; those of the programme may be empty."""
    out: dict[str, tuple[str, ...]] = {}
    for sheet in sheets:
        for column in of_sheet(sheet):
            name = list_name(column)
            if not name or name in out:
                continue
            if column.kind == "yesno":
                out[name] = _YESNO
            elif column.words[0] in _OWN_WORDS:
                out[name] = tuple(words.get(column.words[0], ()))
            else:
                out[name] = column.words
    return out


def _forms(book: Any) -> dict[str, Any]:
    base = {"valign": "top", "text_wrap": True}
    return {
        "head": book.add_format({**base, "bold": True, "bottom": 2, "bg_color": "#E8EAF0"}),
        "wanted": book.add_format({**base, "bold": True, "bottom": 2, "bg_color": "#C9D3E6"}),
        "key": book.add_format({**base, "bold": True, "bottom": 2, "bg_color": "#A9B9D8"}),
        "text": book.add_format({**base, "num_format": "@"}),
        "date": book.add_format({**base, "num_format": "yyyy-mm-dd"}),
        "plain": book.add_format(base),
        "bold": book.add_format({**base, "bold": True}),
        "title": book.add_format({"bold": True, "font_size": 14}),
        "box": book.add_format({**base, "border": 1}),
        "hole": book.add_format(
            {"border": 1, "align": "center", "valign": "vcenter", "font_size": 12}
        ),
    }


def _is_when(column: Column) -> bool:
    """Whether a condition says when a cell is wanted, and not what may stand in it."""
    return bool(column.condition) and not _A_LIMIT.search(column.condition)


def _without_range(column: Column) -> str:
    """The note without the range that the help names already."""
    parts = [p for p in column.note.split("; ") if p != f"{column.lo} to {column.hi}"]
    return "; ".join(p for p in parts if p)


def help_of(column: Column) -> str:
    """What the sheet shows beside a cell: need, unit, range, note, and what a blank means."""
    need = _NEED.get(column.need, "")
    if column.need == "C":
        need = need + column.condition if _is_when(column) else "if given in this way"
    parts = [need]
    if column.unit:
        parts.append(f"in {column.unit}")
    if column.lo or column.hi:
        parts.append(f"usually {column.lo or '...'} to {column.hi or '...'}")
    if column.kind == "many":
        parts.append(f"one or several of: {', '.join(w for w in column.words if w[0] != '@')}")
    note = _without_range(column)
    if note and not (column.need == "C" and column.condition in note and _is_when(column)):
        parts.append(note)
    if column.assumed:
        parts.append(f"left blank: {column.assumed}")
    return "; ".join(p for p in parts if p)[:_HELP]


def _about(page: Any, forms: Mapping[str, Any], lists: Mapping[str, tuple[str, ...]]) -> None:
    page.write_row(0, 0, ("name", "value"), forms["head"])
    page.set_column(0, 0, 22)
    page.set_column(1, 1, 40)
    page.set_column(2, 2, 70, forms["plain"])
    for r, column in enumerate(of_sheet("about"), start=1):
        page.write_string(r, 0, column.heading, forms["bold"])
        if column.heading == "template_version":
            page.write_string(r, 1, VERSION, forms["text"])
        else:
            page.write_blank(r, 1, None, forms["text"])
        _validate(page, (r, 1, r, 1), column, lists)
    _print_set_up(page)


def _data_sheet(
    page: Any, sheet: str, forms: Mapping[str, Any], lists: Mapping[str, tuple[str, ...]]
) -> None:
    for c, column in enumerate(of_sheet(sheet)):
        look = "key" if column.is_key else "wanted" if column.need == "R" else "head"
        page.write_string(0, c, column.heading, forms[look])
        cells = "date" if column.kind == "date" else "text" if _is_text(column) else "plain"
        page.set_column(c, c, max(11, min(len(column.heading) + 2, 24)), forms[cells])
        _validate(page, (1, c, ROWS, c), column, lists)
    page.set_row(0, 45)
    page.freeze_panes(1, 1)
    page.repeat_rows(0)
    _print_set_up(page)


def _is_text(column: Column) -> bool:
    """Ids and words stay text as typed: 0012 is not 12."""
    return column.kind in ("id", "text", "code", "list", "many", "number_or_word")


def _validate(
    page: Any,
    cells: tuple[int, int, int, int],
    column: Column,
    lists: Mapping[str, tuple[str, ...]],
) -> None:
    rule: dict[str, Any] = {
        "input_title": column.heading[:32], "input_message": help_of(column), "validate": "any",
        "error_type": "warning", "error_title": column.heading[:32],
    }  # fmt: skip
    name = list_name(column)
    if name and column.kind != "many":
        at = xl_col_to_name(list(lists).index(name))
        count = len(lists[name]) or _OPEN_CELLS
        rule |= {"validate": "list", "source": f"=lists!${at}$2:${at}${count + 1}",
                 "error_message": "This is no word of the list. Keep it only if none fits."}  # fmt: skip
    elif column.kind in ("number", "whole") and column.limits:
        rule |= {
            "validate": "integer" if column.kind == "whole" else "decimal", "criteria": "between",
            "minimum": column.limits[0], "maximum": column.limits[1],
            "error_message": f"Usual are {column.lo} to {column.hi} {column.unit}. Keep it if it "
            "is right.",
        }  # fmt: skip
    page.data_validation(*cells, rule)


def _print_set_up(page: Any) -> None:
    page.set_landscape()
    page.set_paper(9)
    page.fit_to_pages(1, 0)


def _list_sheet(page: Any, forms: Mapping[str, Any], lists: Mapping[str, tuple[str, ...]]) -> None:
    for c, (name, words) in enumerate(lists.items()):
        page.write_string(0, c, name, forms["head"])
        page.set_column(c, c, 24)
        for r, word in enumerate(words, start=1):
            page.write_string(r, c, word, forms["text"])
    page.set_row(0, 32)
    page.freeze_panes(1, 0)
    _print_set_up(page)


_CAUTION: Final = (
    "No probing beside live cables. Chambers are confined spaces: permits, gas tests and local "
    "rules come first."
)
_HOLES: Final = (("1, 1", "1, 2", "1, 3"), ("2, 1", "2, 2", "2, 3"))
_WALL_WORDS: Final = (
    "Stand in front of the wall and look at it. The numbers are those that you see.",
    "Row 1 is the top row; rows count downwards. Column 1 is on the left; columns count to the "
    "right. Below: a bank of two rows and three columns, each hole with its row and column.",
    "A hole that is missing keeps its number: leave it out, do not move the others up.",
    "Walls: choose one wall and mark it A. Seen from above, the others follow clockwise: B, C, D. "
    "Write on the sheet of observations what wall A is (for example: the wall towards the road).",
    "The other side of the same wall is another wall with numbers of its own: its column 1 is on "
    "the left for somebody who looks at that side. Never copy numbers through a wall.",
)


def _wall_sheet(page: Any, book: Any, forms: Mapping[str, Any]) -> None:
    page.set_column(0, 12, 9)
    page.write_string(0, 0, "How to number a wall", forms["title"])
    for r, text in enumerate(_WALL_WORDS, start=1):
        page.merge_range(r, 0, r, 9, text, forms["plain"])
        page.set_row(r, 32)
    top = len(_WALL_WORDS) + 2
    page.write_string(top, 1, "column 1", forms["bold"])
    page.write_string(top, 2, "column 2", forms["bold"])
    page.write_string(top, 3, "column 3", forms["bold"])
    for r, row in enumerate(_HOLES, start=top + 1):
        page.set_row(r, 42)
        page.write_string(r, 0, f"row {r - top}", forms["bold"])
        for c, text in enumerate(row, start=1):
            page.write_string(r, c, text, forms["hole"])
    at = top + len(_HOLES) + 2
    page.merge_range(at, 0, at, 9, "A chamber seen from above", forms["bold"])
    wall = book.add_format({"bg_color": "#D5D9E2", "align": "center", "valign": "vcenter",
                            "bold": True})  # fmt: skip
    page.merge_range(at + 1, 2, at + 1, 5, "wall A (marked)", wall)
    page.merge_range(at + 2, 6, at + 5, 6, "wall B", wall)
    page.merge_range(at + 6, 2, at + 6, 5, "wall C", wall)
    page.merge_range(at + 2, 1, at + 5, 1, "wall D", wall)
    page.merge_range(at + 2, 2, at + 5, 5, "you stand here", forms["hole"])
    page.merge_range(at + 8, 0, at + 8, 9, _CAUTION, forms["bold"])
    page.set_row(at + 8, 32)
    page.set_portrait()
    page.set_paper(9)
    page.fit_to_pages(1, 1)


_CARD_HEAD: Final = (
    ("site", "date"), ("chamber or entry", "surveyor"), ("wall (A-D)", "visit"),
    ("cover level or point", "depth to floor (m)"), ("water below cover (m)", "days since rain"),
    ("ways seen on this wall", "cover kind"),
)  # fmt: skip
_CARD_LINES: Final = (
    "end_id", "row", "col", "bore (mm)", "material", "contents", "cables: number x mm", "dip (m)",
    "measured to", "goes to", "proof", "water", "free depth", "photo",
)  # fmt: skip
_CARD_ROWS: Final = 16


def _card_sheet(page: Any, forms: Mapping[str, Any]) -> None:
    """One wall on one page, in the words of the sheets."""
    page.write_string(0, 0, "Card of one wall", forms["title"])
    page.set_column(0, len(_CARD_LINES) - 1, 10.5)
    half = len(_CARD_LINES) // 2
    for r, (one, other) in enumerate(_CARD_HEAD, start=1):
        page.set_row(r, 22)
        page.merge_range(r, 0, r, 1, one, forms["bold"])
        page.merge_range(r, 2, r, half - 1, "", forms["box"])
        page.merge_range(r, half, r, half + 1, other, forms["bold"])
        page.merge_range(r, half + 2, r, len(_CARD_LINES) - 1, "", forms["box"])
    top = len(_CARD_HEAD) + 2
    page.set_row(top, 32)
    for c, text in enumerate(_CARD_LINES):
        page.write_string(top, c, text, forms["head"])
    for r in range(top + 1, top + 1 + _CARD_ROWS):
        page.set_row(r, 24)
        for c in range(len(_CARD_LINES)):
            page.write_blank(r, c, None, forms["box"])
    last = top + _CARD_ROWS + 2
    page.merge_range(
        last, 0, last, len(_CARD_LINES) - 1,
        "Not measured: leave blank. Not seen: write 'not seen'. Anything odd: one line here, with "
        f"the end's id. {_CAUTION}", forms["bold"],
    )  # fmt: skip
    page.set_row(last, 32)
    for r in range(last + 1, last + 4):
        page.set_row(r, 22)
        page.merge_range(r, 0, r, len(_CARD_LINES) - 1, "", forms["box"])
    _print_set_up(page)
    page.fit_to_pages(1, 1)
