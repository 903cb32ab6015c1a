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
    unsaved = {r for r, c in raw.unsaved if c in head.columns}
    skipped: list[int] = []
    kept: list[int] = []
    for r in range(head.row + 1, len(raw.cells)):
        first = next((t for v in raw.cells[r] if v is not None and (t := str(v).strip())), "")
        if first and _is_skipped(first, raw.cells[r], head):
            skipped.append(r + 1)
        elif first or r in unsaved:
            kept.append(r)
    words = _type_columns(raw, head, out, kept, habits)
    _say_words(out, words, habits)
    if skipped:
        out.skipped = len(skipped)
        fill = {"n": len(skipped), "sheet": raw.name, "rows": _some(skipped)}
        out.findings.append(
            make("file-16", Cell(file=raw.file, sheet=raw.name, row=skipped[0]), fill=fill,
                 key=f"{out.sheet}/")
        )  # fmt: skip


def _is_skipped(first: str, cells: list[Any], head: Head) -> bool:
    if _TOTAL.match(first) or _EXAMPLE.match(first):
        return True
    # a row of names begins with one: most rows need no closer look
    if normal(first) not in head.normal_names:
        return False
    repeated = sum(
        1
        for i, name in head.headings.items()
        if i < len(cells) and normal(cells[i]) == normal(name)
    )
    return repeated >= max(2, len(head.headings) // 2)


def _type_columns(
    raw: RawSheet, head: Head, out: TypedSheet, kept: list[int], habits: Habits
) -> dict[tuple[str, str], list[Row]]:
    """Type the rows that count, column by column; unknown words come back with their rows."""
    out.rows += [
        Row(out.file, out.name, out.sheet, r + 1, {}, {}, heads=out.headings) for r in kept
    ]
    lines = [_readable(raw, r) for r in kept]
    rounds = _rows_with_tape(head, out, lines, habits)
    says: list[tuple[int, int, Column, Say, Any]] = []
    words: dict[tuple[str, str], list[Row]] = {}
    names, texts, values = [], [], []
    extra: list[tuple[int, str, str]] = []
    for at, (i, column) in enumerate(head.columns.items()):
        cells = _type_column(column, i, lines, _in_unit(habits, column, out), rounds)
        for n in _not_plain(cells):
            parsed = cells[n].parsed
            if parsed.word:
                extra.append((n, f"{column.house_name.removesuffix('_mm')}_word", parsed.word))
            if parsed.unknown_word:
                words.setdefault((column.house_name, parsed.unknown_word), []).append(out.rows[n])
            says += [(n, at, column, say, lines[n][i]) for say in parsed.says]
        names.append(column.house_name)
        texts.append([c.text for c in cells])
        values.append([c.parsed.value for c in cells])
    for row, line_texts, line_values in zip(out.rows, zip(*texts, strict=True),
                                            zip(*values, strict=True), strict=True):  # fmt: skip
        row.raws = dict(zip(names, line_texts, strict=True))
        row.values = dict(zip(names, line_values, strict=True))
    for n, name, word in extra:
        out.rows[n].values[name] = word
    for n, _, column, say, value in sorted(
        [*says, *_not_calculated(raw, head, out)], key=lambda s: s[:2]
    ):
        _say(out, out.rows[n], column, say, value)
    return words


def _readable(raw: RawSheet, r: int) -> list[Any]:
    """A line without the error values that stand in place of a number."""
    wrong = {i for i in range(len(raw.cells[r])) if (r, i) in raw.errors} if raw.errors else ()
    return (
        [None if i in wrong else v for i, v in enumerate(raw.cells[r])] if wrong else raw.cells[r]
    )


@dataclass(frozen=True, slots=True)
class _Typed:
    """A cell: how it was typed, and what was read."""

    text: str
    parsed: Parsed
    is_plain: bool


_EMPTY: Final = _Typed("", Parsed(), is_plain=True)


class _Memo(dict[Any, _Typed]):
    """Cells of one column by their value: what is typed often is read once."""

    def __init__(self, column: Column, habits: Habits) -> None:
        super().__init__({None: _EMPTY})
        self._column, self._habits = column, habits

    def __missing__(self, value: Any) -> _Typed:
        parsed = parse(self._column, value, self._habits)
        is_plain = not (parsed.says or parsed.word or parsed.unknown_word)
        typed = self[value] = _Typed(typed_text(value), parsed, is_plain)
        return typed


def _in_unit(habits: Habits, column: Column, out: TypedSheet) -> Habits:
    return with_unit(habits, heading_unit(out.headings.get(column.house_name, "")))


def _type_column(
    column: Column, i: int, lines: list[list[Any]], habits: Habits, rounds: frozenset[int]
) -> list[_Typed]:
    memo = _Memo(column, habits)
    # a tick and the number 1 are one key of a dict and two things in a cell
    ticks = {True: _Memo(column, habits), False: _Memo(column, habits)}
    cells = [line[i] if i < len(line) else None for line in lines]
    if bool in set(map(type, cells)):
        typed = [ticks[v][v] if isinstance(v, bool) else memo[v] for v in cells]
    else:
        typed = [memo[v] for v in cells]
    if rounds and column.house_name == _ROUND_SIZE:
        taped = _Memo(column, replace(habits, divide_by={_ROUND_SIZE: math.pi}))
        typed = [
            taped[v] if n in rounds else t
            for n, (v, t) in enumerate(zip(cells, typed, strict=True))
        ]
    return typed


def _not_plain(cells: list[_Typed]) -> list[int]:
    return [n for n, cell in enumerate(cells) if not cell.is_plain]


def _rows_with_tape(
    head: Head, out: TypedSheet, lines: list[list[Any]], habits: Habits
) -> frozenset[int]:
    """Cables whose size was taken with a tape, which gives the way round them."""
    at = next((i for i, c in head.columns.items() if c.house_name == "size_method"), None)
    if out.sheet != "cables" or at is None:
        return frozenset()
    typed = _type_column(head.columns[at], at, lines, habits, frozenset())
    return frozenset(n for n, cell in enumerate(typed) if cell.parsed.value == TAPE_ROUND)


def _not_calculated(
    raw: RawSheet, head: Head, out: TypedSheet
) -> list[tuple[int, int, Column, Say, Any]]:
    """Formulas without a stored result, and error values in place of one: not read at all."""
    said: list[tuple[int, int, Column, Say, Any]] = []
    if not raw.unsaved and not raw.errors:
        return said
    by_row = {row.row - 1: n for n, row in enumerate(out.rows)}
    order = {i: at for at, i in enumerate(head.columns)}
    for r, i in sorted(raw.unsaved | raw.errors.keys()):
        if r not in by_row or i not in order:
            continue
        column, row = head.columns[i], out.rows[by_row[r]]
        where = cell_name(letter(i), r + 1)
        if not column.is_key:  # a row without id gets one from its place instead
            row.stopped.append(column.house_name)
        for known in (row.values, row.raws):
            known.pop(column.house_name, None)
        if (r, i) in raw.unsaved:
            say, value = Say("file-07", {"cell": where}, is_stop=True), "formula"
        else:
            value = raw.errors[r, i]
            say = Say("file-08", {"cell": where, "error": value}, is_stop=True)
        said.append((by_row[r], order[i], column, say, value))
    return said


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
    if finding.weight == contract.ASK and row.values.get(column.house_name) is not None:
        out.answers.doubt(finding.key, column.house_name, say.code)
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
