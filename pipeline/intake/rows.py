"""Typing a sheet row by row: every cell by its definition, every row counted once."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from pipeline.core import contract
from pipeline.core.answers import Answers
from pipeline.core.cells import cell_name, letter
from pipeline.core.findings import KEY_SEPARATOR, Cell, Finding, make
from pipeline.core.survey import Column, key_of, of_sheet
from pipeline.intake.answers import lay_in
from pipeline.intake.headings import Head, find_head, guess, heading_unit, normal
from pipeline.intake.parse import Habits, Parsed, Say, allowed, parse, with_unit
from pipeline.intake.sheets import RawSheet, typed_text

# the first cell says nothing but that: an id such as 'Total Street 4' is a row
_TOTAL: Final = re.compile(r"^(grand |sub-?)?(totals?|sum|count)\b[\s:=\d.,]*$", re.IGNORECASE)
_EXAMPLE: Final = re.compile(r"^(example|e\.g\.?|sample)( row)?[\s:]*$", re.IGNORECASE)
_RANK: Final = {contract.USED: 0, contract.ASKED: 1, contract.REFUSED: 2}
_STATE: Final = {
    contract.NOTE: contract.USED,
    contract.ASK: contract.ASKED,
    contract.STOP: contract.REFUSED,
}
_ROWS_NAMED: Final = 12
_REPAIRS: Final = frozenset({"file-10", "file-20", "place-04"})
TAPE_ROUND: Final = "tape round"
_ROUND_SIZE: Final = "diameter_mm"


@dataclass
class Row:
    """One typed data row with its place in the file."""

    file: str
    sheet_name: str
    sheet: str
    row: int
    values: dict[str, Any]
    raws: dict[str, str]
    state: str = contract.USED
    stopped: list[str] = field(default_factory=list)
    doubted: list[str] = field(default_factory=list)
    heads: Mapping[str, str] = field(default_factory=dict)

    def worsen(self, weight: str) -> None:
        """Raise the row's state by the weight of a finding."""
        state = _STATE[weight]
        if _RANK[state] > _RANK[self.state]:
            self.state = state

    @property
    def key(self) -> str:
        """Id of the row."""
        return str(self.values.get(key_of(self.sheet)) or "")


@dataclass
class TypedSheet:
    """Rows of one sheet, its letters, and how many rows were skipped."""

    file: str
    name: str
    sheet: str
    rows: list[Row] = field(default_factory=list)
    letters: dict[str, str] = field(default_factory=dict)
    headings: dict[str, str] = field(default_factory=dict)
    skipped: int = 0
    copies: int = 0
    findings: list[Finding] = field(default_factory=list)
    answers: Answers = field(default_factory=Answers)

    def cell(self, column: str, row: int | None) -> Cell:
        """Cell of a column in a row."""
        at = self.letters.get(column, "")
        name = cell_name(at, row) if at and row else ""
        return Cell(file=self.file, sheet=self.name, row=row, column=column, cell=name)


def type_sheet(
    raw: RawSheet,
    sheet: str,
    habits: Habits,
    aliases: Mapping[str, str],
    answers: Answers | None = None,
) -> TypedSheet:
    """Read a data sheet.

    Parameters
    ----------
    raw : RawSheet
    sheet : str
        Which sheet of the survey it is.
    habits : Habits
    aliases : mapping
        Extra column names of the settings.
    answers : Answers, optional
        Answers to earlier questions, laid into the cells first.

    Returns
    -------
    TypedSheet

    """
    out = TypedSheet(raw.file, raw.name, sheet, answers=answers or Answers())
    head = find_head(sheet, raw.cells, aliases)
    if head is None:
        examples = ", ".join(c.heading for c in of_sheet(sheet)[:4])
        out.findings.append(
            make("file-03", Cell(file=raw.file, sheet=raw.name),
                 fill={"sheet": raw.name, "examples": examples}, key=f"{sheet}/")
        )  # fmt: skip
        out.skipped = sum(1 for row in raw.cells if any(v is not None for v in row))
        return out
    out.letters = {c.house_name: letter(i) for i, c in head.columns.items()}
    out.headings = {c.house_name: head.headings[i] for i, c in head.columns.items()}
    _fill_merged(raw, head, out)
    lay_in(raw, head, out, habits, out.answers)
    _say_head(raw, head, out)
    _read_rows(raw, head, out, habits)
    _say_hidden(raw, head, out)
    merged = {r + 1 for r1, _, r2, _ in raw.merged for r in range(r1, r2 + 1) if r2 > head.row}
    for row in out.rows:
        if row.row in merged:
            row.worsen(contract.ASK)
    out.findings = _one_note_a_column(out.findings)
    return out


def _one_note_a_column(findings: list[Finding]) -> list[Finding]:
    """Repairs of one kind in one column are told once, with the rows that they were made in."""
    groups: dict[tuple[str, str], list[Finding]] = {}
    out: list[Finding] = []
    for finding in findings:
        if finding.code not in _REPAIRS or finding.weight != contract.NOTE:
            out.append(finding)
            continue
        at = (finding.code, finding.column)
        if at not in groups:
            out.append(finding)
        groups.setdefault(at, []).append(finding)
    return [_for_all(f, groups.get((f.code, f.column), [])) for f in out]


def _for_all(first: Finding, same: list[Finding]) -> Finding:
    if len(same) < 2 or first is not same[0]:
        return first
    rows = _some([f.row for f in same[1:] if f.row is not None])
    more = f" The same in {len(same) - 1} more rows of the column ({rows})."
    keys = KEY_SEPARATOR.join(dict.fromkeys(f.key for f in same[1:]))
    return replace(first, message=first.message + more, also_keys=keys)


def _fill_merged(raw: RawSheet, head: Head, out: TypedSheet) -> None:
    """Give the value of a merged block to each of its cells, and say so."""
    for r1, c1, r2, c2 in sorted(raw.merged):
        if r2 <= head.row or r1 >= len(raw.cells):
            continue
        value = raw.cells[r1][c1] if c1 < len(raw.cells[r1]) else None
        for r in range(r1, min(r2, len(raw.cells) - 1) + 1):
            row = raw.cells[r]
            row.extend([None] * (c2 + 1 - len(row)))
            for c in range(c1, c2 + 1):
                row[c] = value
        column = head.columns.get(c1)
        if column is None or value is None:
            continue
        where = out.cell(column.house_name, r1 + 1)
        block = f"{cell_name(letter(c1), r1 + 1)}:{cell_name(letter(c2), r2 + 1)}"
        fill = {"range": block, "sheet": raw.name, "value": value, "n": r2 - r1 + 1}
        out.findings.append(
            make("file-06", where, fill=fill, as_read=typed_text(value), key=f"{out.sheet}/{block}")
        )


def _say_head(raw: RawSheet, head: Head, out: TypedSheet) -> None:
    here = Cell(file=raw.file, sheet=raw.name, row=head.row + 1)
    if head.row > 0:
        out.findings.append(
            make(
                "file-02", here, fill={"sheet": raw.name, "row": head.row + 1}, key=f"{out.sheet}/"
            )
        )
    for name, one, other in head.doubles:
        fill = {"sheet": raw.name, "name": name, "a": letter(one), "b": letter(other)}
        where = Cell(file=raw.file, sheet=raw.name, row=head.row + 1, column=normal(name),
                     cell=cell_name(letter(other), head.row + 1))  # fmt: skip
        out.findings.append(make("file-05", where, fill=fill, key=f"{out.sheet}/{name}"))
    for i, name in head.strangers.items():
        if not any(i < len(r) and r[i] is not None for r in raw.cells[head.row + 1 :]):
            continue
        where = Cell(file=raw.file, sheet=raw.name, row=head.row + 1,
                     cell=cell_name(letter(i), head.row + 1))  # fmt: skip
        fill = {"col": letter(i), "sheet": raw.name, "name": name, "guess": guess(out.sheet, name)}
        out.findings.append(
            make("file-04", where, fill=fill, as_read=name, key=f"{out.sheet}/{name}")
        )


def _read_rows(raw: RawSheet, head: Head, out: TypedSheet, habits: Habits) -> None:
    words: dict[tuple[str, str], list[Row]] = {}
    skipped: list[int] = []
    for r in range(head.row + 1, len(raw.cells)):
        cells = raw.cells[r]
        unsaved = [c for (rr, c) in raw.unsaved if rr == r and c in head.columns]
        if all(v is None or str(v).strip() == "" for v in cells) and not unsaved:
            continue
        if _is_skipped(cells, head):
            skipped.append(r + 1)
            continue
        row = _type_row(raw, head, out, r, habits, words)
        out.rows.append(row)
    _say_words(out, words, habits)
    if skipped:
        out.skipped = len(skipped)
        fill = {"n": len(skipped), "sheet": raw.name, "rows": _some(skipped)}
        out.findings.append(
            make("file-16", Cell(file=raw.file, sheet=raw.name, row=skipped[0]), fill=fill,
                 key=f"{out.sheet}/")
        )  # fmt: skip


def _is_skipped(cells: list[Any], head: Head) -> bool:
    texts = [str(v).strip() for v in cells if v is not None and str(v).strip()]
    if _TOTAL.match(texts[0]) or _EXAMPLE.match(texts[0]):
        return True
    # a row of names begins with one: most rows need no closer look
    if normal(texts[0]) not in head.normal_names:
        return False
    repeated = sum(
        1
        for i, name in head.headings.items()
        if i < len(cells) and normal(cells[i]) == normal(name)
    )
    return repeated >= max(2, len(head.headings) // 2)


def _type_row(
    raw: RawSheet,
    head: Head,
    out: TypedSheet,
    r: int,
    habits: Habits,
    words: dict[tuple[str, str], list[Row]],
) -> Row:
    row = Row(out.file, out.name, out.sheet, r + 1, {}, {}, heads=out.headings)
    says: list[tuple[Column, Say, Any]] = []
    if out.sheet == "cables" and _tape_round(head, raw.cells[r], habits):
        habits = replace(habits, divide_by={_ROUND_SIZE: math.pi})
    for i, column in head.columns.items():
        value = raw.cells[r][i] if i < len(raw.cells[r]) else None
        says += _type_cell(raw, row, column, (r, i), value, habits, words)
    for column, say, value in says:
        _say(out, row, column, say, value)
    return row


def _tape_round(head: Head, cells: list[Any], habits: Habits) -> bool:
    """Whether the size of a cable was taken with a tape, which gives the way round it."""
    at = next((i for i, c in head.columns.items() if c.house_name == "size_method"), None)
    if at is None or at >= len(cells) or cells[at] is None:
        return False
    return bool(parse(head.columns[at], cells[at], habits).value == TAPE_ROUND)


def _type_cell(  # noqa: PLR0913 - one cell with its sheet, row and column
    raw: RawSheet,
    row: Row,
    column: Column,
    at: tuple[int, int],
    value: Any,
    habits: Habits,
    words: dict[tuple[str, str], list[Row]],
) -> list[tuple[Column, Say, Any]]:
    name = column.house_name
    if at in raw.unsaved or at in raw.errors:
        return [_not_calculated(raw, row, column, at)]
    if value is None:  # most cells of a wide sheet: nothing to read
        row.raws[name], row.values[name] = "", None
        return []
    parsed: Parsed = parse(column, value, with_unit(habits, heading_unit(row.heads.get(name, ""))))
    row.raws[name] = typed_text(value)
    row.values[name] = parsed.value
    if parsed.word:
        row.values[f"{name.removesuffix('_mm')}_word"] = parsed.word
    if parsed.unknown_word:
        words.setdefault((name, parsed.unknown_word), []).append(row)
    return [(column, say, value) for say in parsed.says]


def _not_calculated(
    raw: RawSheet, row: Row, column: Column, at: tuple[int, int]
) -> tuple[Column, Say, Any]:
    """A formula without a stored result, or an error value in place of one."""
    where = cell_name(letter(at[1]), at[0] + 1)
    if not column.is_key:  # a row without id gets one from its place instead
        row.stopped.append(column.house_name)
    if at in raw.unsaved:
        return column, Say("file-07", {"cell": where}, is_stop=True), "formula"
    error = raw.errors[at]
    return column, Say("file-08", {"cell": where, "error": error}, is_stop=True), error


def _say(out: TypedSheet, row: Row, column: Column, say: Say, value: Any) -> None:
    where = out.cell(column.house_name, row.row)
    finding = make(
        say.code, where, fill={"cell": where.cell, "sheet": out.name, "row": row.row, **say.fill},
        as_read=typed_text(value), weight=contract.STOP if say.is_stop else say.weight,
        key=f"{out.sheet}/{row.key}",
    )  # fmt: skip
    if column.is_key and say.code == "file-21":
        finding = make("file-21", where, fill=say.fill, as_read=typed_text(value), weight=contract.STOP,
                       key=f"{out.sheet}/")  # fmt: skip
    if out.answers.keeps(finding.key, column.house_name, say.code):
        out.findings.append(replace(finding, weight=contract.NOTE))
        return
    row.worsen(finding.weight)
    if finding.weight == contract.ASK and column.house_name not in row.doubted:
        row.doubted.append(column.house_name)
    out.findings.append(finding)


def _say_words(out: TypedSheet, words: dict[tuple[str, str], list[Row]], habits: Habits) -> None:
    """One question per unknown word and file, not one per row."""
    columns = {c.house_name: c for c in of_sheet(out.sheet)}
    for (name, word), rows in sorted(words.items()):
        listed = ", ".join(allowed(columns[name], habits))
        fill = {"raw": word, "sheet": out.name, "col": out.letters[name], "list": listed}
        for row in rows:
            row.worsen(contract.ASK)
        out.findings.append(
            make("file-22", out.cell(name, rows[0].row), fill=fill, as_read=word,
                 assumed="taken as not known", key=f"{out.sheet}/{rows[0].key}",
                 also_keys=dict.fromkeys(f"{out.sheet}/{r.key}" for r in rows[1:]))
        )  # fmt: skip


def _say_hidden(raw: RawSheet, head: Head, out: TypedSheet) -> None:
    rows = sorted(r.row for r in out.rows if r.row - 1 in raw.hidden_rows)
    columns = sorted(i for i in raw.hidden_columns if i in head.columns)
    if not rows and not columns:
        return
    for row in out.rows:
        if row.row in rows:
            row.worsen(contract.ASK)
    first = head.columns[columns[0]].house_name if columns else key_of(out.sheet)
    where = out.cell(first, rows[0] if rows else head.row + 1)
    fill = {"n": len(rows), "m": len(columns), "sheet": raw.name}
    out.findings.append(make("file-09", where, fill=fill, key=f"{out.sheet}/", as_read=_some(rows)))


def _some(rows: list[int]) -> str:
    shown = ", ".join(str(r) for r in rows[:_ROWS_NAMED])
    return shown + (f" and {len(rows) - _ROWS_NAMED} more" if len(rows) > _ROWS_NAMED else "")


def say_marks(raw: RawSheet, sheet: TypedSheet) -> None:
    """Meaning that stands only in a colour or a line through the text, and pasted pictures."""
    if raw.pictures_count:
        fill = {"n": raw.pictures_count, "sheet": raw.name}
        sheet.findings.append(
            make("file-19", Cell(file=raw.file, sheet=raw.name), fill=fill, key=f"{sheet.sheet}/")
        )
    by_row = {r.row - 1: r for r in sheet.rows}
    styles: dict[str, dict[int, int]] = {}
    for (r, c), style in sorted(raw.marks.items()):
        if r in by_row:
            styles.setdefault(style, {}).setdefault(r, c)
    by_letter = {at: name for name, at in sheet.letters.items()}
    for style, places in sorted(styles.items()):
        rows = sorted(places)
        if len(rows) * 2 > len(by_row) or _are_bands(rows, len(by_row)):
            continue  # the look of the sheet, not a word about these rows
        for r in rows:
            by_row[r].worsen(contract.ASK)
        column = by_letter.get(letter(places[rows[0]]), key_of(sheet.sheet))
        fill = {"rows": _some([r + 1 for r in rows]), "style": style}
        sheet.findings.append(
            make("file-13", sheet.cell(column, rows[0] + 1), fill=fill, as_read=style,
                 key=f"{sheet.sheet}/{by_row[rows[0]].key}",
                 also_keys=[f"{sheet.sheet}/{by_row[r].key}" for r in rows[1:]])
        )  # fmt: skip


def _are_bands(rows: list[int], count: int) -> bool:
    """Every second row shaded: a table style."""
    return len(rows) >= max(3, count // 2 - 1) and len({r % 2 for r in rows}) == 1


def say_comments(raw: RawSheet, sheet: TypedSheet) -> None:
    """Meaning that stands only in a cell comment is asked about."""
    rows = sorted({r + 1 for r, _ in raw.comments} & {r.row for r in sheet.rows})
    if not rows:
        return
    first = next((r, c) for r, c in sorted(raw.comments) if r + 1 == rows[0])
    by_letter = {at: name for name, at in sheet.letters.items()}
    column = by_letter.get(letter(first[1]), key_of(sheet.sheet))
    for row in sheet.rows:
        if row.row in rows:
            row.worsen(contract.ASK)
    fill = {"rows": _some(rows), "style": "commented"}
    sheet.findings.append(
        make("file-13", sheet.cell(column, rows[0]), fill=fill, as_read=raw.comments[first],
             key=f"{sheet.sheet}/{rows[0]}")
    )  # fmt: skip
