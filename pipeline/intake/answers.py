"""Question lists that come back: read, and laid into the cells that they answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from pipeline.core.answers import (
    BARE,
    KEPT,
    LATER,
    NOT_KNOWN,
    ONE_FOR_ALL,
    REMEMBERED,
    UNREADABLE,
    VALUE,
    Answer,
    Answers,
    Meaning,
    asks_to_confirm,
    meaning,
    plain,
)
from pipeline.core.findings import KEY_SEPARATOR, make
from pipeline.core.survey import Column, key_of, of_sheet
from pipeline.intake.headings import LOOKED_AT, Head, normal
from pipeline.intake.parse import Habits, parse
from pipeline.intake.sheets import RawSheet, typed_text

if TYPE_CHECKING:
    from pipeline.intake.rows import TypedSheet

_NEEDED: Final = frozenset({"answer", "code", "key", "column"})
_NAMES: Final = ("id", "text", "code")
_MEASURED: Final = ("id", "number", "whole", "number_or_word", "date")
_FORMULA: Final = "formula"
# an answer that begins so says that there is none: it is no id and no number
_THERE_IS_NONE: Final = ("no ", "none ", "not ", "never ", "nothing ", "without ")
_BLANK: Final = "file-24"
_NO: Final = frozenset({"no", "n"})
_MIDNIGHT: Final = " 00:00:00"


def is_question_list(raw: RawSheet) -> bool:
    """Whether a sheet is one of our question lists."""
    return _head_of(raw) is not None


def _head_of(raw: RawSheet) -> tuple[int, dict[str, int]] | None:
    for r, row in enumerate(raw.cells[:LOOKED_AT]):
        names = {normal(v): c for c, v in enumerate(row) if isinstance(v, str)}
        if names.keys() >= _NEEDED:
            return r, names
    return None


def read_answers(sheets: Sequence[RawSheet]) -> list[Answer]:
    """Every answered line of the question lists, in the order of the files."""
    out = []
    for raw in sheets:
        found = _head_of(raw)
        if found is None:
            continue
        top, names = found
        for r in range(top + 1, len(raw.cells)):
            row = raw.cells[r]
            cells = {n: _plain(row[c]) for n, c in names.items() if c < len(row)}
            answer = _answer(cells, f"{raw.name} row {r + 1} in {raw.file}")
            if answer is not None:
                out.append(answer)
    return out


def _answer(cells: dict[str, str], source: str) -> Answer | None:
    said, keys = cells.get("answer", ""), cells.get("key", "")
    if not said or not keys:
        return None
    return Answer(
        tuple(k.strip() for k in keys.split(KEY_SEPARATOR) if k.strip()),
        cells.get("column", ""), cells.get("code", ""), said, as_read=cells.get("as read", ""),
        by_whom=cells.get("by whom", ""), on=cells.get("date", "")[:10], source=source,
    )  # fmt: skip


def _plain(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def lay_in(raw: RawSheet, head: Head, out: TypedSheet, habits: Habits, answers: Answers) -> None:
    """Lay the answers about a sheet's rows into its cells, before the cells are read.

    Parameters
    ----------
    raw : RawSheet
        Its cells are changed; the file is not.
    head : Head
        A column that the sheet lacks is added behind the others.
    out : TypedSheet
        Gets one NOTE for each answer that is used.
    habits : Habits
    answers : Answers

    Notes
    -----
    A row is found by its id, wherever it stands by now. What the survey says later beats the
    answer: it is used only where the cell still reads as it did when the question was asked.
    """
    at_key = next((i for i, c in head.columns.items() if c.is_key), None)
    if at_key is None or not answers.by:
        return
    for r in range(head.row + 1, len(raw.cells)):
        row = raw.cells[r]
        value = row[at_key] if at_key < len(row) else None
        an_id = parse(head.columns[at_key], value, habits).value
        if not an_id:
            continue
        key = f"{out.sheet}/{an_id}"
        for answer in answers.of_thing(key):
            _lay_one(raw, head, out, habits, r, key, answer, answers)


def _lay_one(  # noqa: PLR0913 - one answer with its sheet, row and key
    raw: RawSheet,
    head: Head,
    out: TypedSheet,
    habits: Habits,
    r: int,
    key: str,
    answer: Answer,
    answers: Answers,
) -> None:
    asked_at = _index(head, answer.column)
    now = _raw_text(raw, r, asked_at)
    if asked_at is not None and (r, asked_at) in raw.unsaved:
        now = _FORMULA
    if asked_at is not None and (r, asked_at) in raw.errors:
        now = raw.errors[r, asked_at]
    means = meaning(answer)
    is_anchor = key.casefold() == answer.keys[0].casefold()
    if now != answer.as_read and not _same_cell(now, answer.as_read):
        # a line quotes the cell of its first row alone: what fills no cell holds for the others too
        if is_anchor or means.text or means.is_kept:
            answers.note(key, answer, LATER)
        return
    if means.is_kept:
        answers.note(key, answer, KEPT)
        return
    column = next((c for c in of_sheet(out.sheet) if c.house_name == means.column), None)
    if column is None or column.house_name == key_of(out.sheet) or not means.text:
        return
    means = _for_each(answer, column, means)
    unfit = _unfit(column, means, habits, code=answer.code)
    if unfit:
        answers.note(key, answer, unfit)
        return
    at = _index(head, column.house_name)
    if at is None:
        at = max(len(raw.cells[head.row]), *head.columns) + 1
        head.columns[at], head.headings[at] = column, column.heading
    row = raw.cells[r]
    row.extend([None] * (at + 1 - len(row)))
    row[at] = means.text
    raw.unsaved.discard((r, at))
    raw.errors.pop((r, at), None)
    answers.note(key, answer, VALUE)
    who = " ".join(t for t in (answer.by_whom, answer.on) if t) or "the question list"
    fill = {"answer": means.text, "raw": answer.as_read or "a blank", "who": who,
            "code": answer.code}  # fmt: skip
    out.findings.append(
        make("answer-01", out.cell(column.house_name, r + 1), fill=fill, as_read=answer.as_read,
             key=key)
    )  # fmt: skip


def _for_each(answer: Answer, column: Column, means: Meaning) -> Meaning:
    """What was measured row by row is no single value for all of them, unless the answer says so."""
    if answer.code != _BLANK or len(answer.keys) < 2 or column.kind not in _MEASURED:
        return means
    said = means.text.strip()
    if said.casefold().startswith("all "):
        return replace(means, text=said[4:].strip())
    if plain(said) in NOT_KNOWN or _is_in_words(column, said):
        return means
    return replace(means, text="")


def _is_in_words(column: Column, said: str) -> bool:
    """Whether an answer to a blank tells in words that there is no value; the same for every row."""
    if any(c.isdigit() for c in said) or len(said.split()) < 2:
        return False
    return column.kind != "id" or said.casefold().startswith(_THERE_IS_NONE)


def _unfit(column: Column, means: Meaning, habits: Habits, *, code: str) -> str:
    """What becomes of an answer that fills no cell; '' where it fills one."""
    if not means.text:
        return ONE_FOR_ALL
    said = plain(means.text)
    if code == _BLANK and column.kind in _MEASURED and _is_in_words(column, said):
        return "" if column.kind != "id" and _can_be_read(column, means, habits) else REMEMBERED
    if _can_be_read(column, means, habits):
        return ""
    if said in _NO and asks_to_confirm(code):
        return UNREADABLE
    # 'the client will say' is an answer to keep; a lone 'lots' is a value that nobody can read
    return REMEMBERED if said in NOT_KNOWN or len(said.split()) > 1 else UNREADABLE


def _can_be_read(column: Column, means: Meaning, habits: Habits) -> bool:
    """Whether a text is a value of a column; a bare yes or no names no thing and no id."""
    if column.kind in _NAMES and plain(means.text) in BARE:
        return False
    parsed = parse(column, means.text, habits)
    return (parsed.value is not None or bool(parsed.word)) and not parsed.unknown_word


def _index(head: Head, house_name: str) -> int | None:
    return next((i for i, c in head.columns.items() if c.house_name == house_name), None)


def _raw_text(raw: RawSheet, r: int, c: int | None) -> str:
    row = raw.cells[r]
    return "" if c is None or c >= len(row) else typed_text(row[c])


def _same_cell(one: str, other: str) -> bool:
    """A list that is older or went through a spreadsheet may hold 160 for 160.0, or a midnight."""
    try:
        return float(one) == float(other)
    except ValueError:
        return one.strip().removesuffix(_MIDNIGHT) == other.strip().removesuffix(_MIDNIGHT)
