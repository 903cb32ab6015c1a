"""The about sheet: two columns, name and value; and the habits that it declares."""

from __future__ import annotations

import datetime as dt
from typing import Any

from pipeline.core.answers import VALUE, Answers
from pipeline.core.findings import Cell, Finding, make
from pipeline.core.settings import Settings
from pipeline.core.survey import Column, of_sheet
from pipeline.intake.headings import normal
from pipeline.intake.parse import Habits, parse
from pipeline.intake.sheets import RawSheet


def read_about(raw: RawSheet, answers: Answers) -> tuple[dict[str, str], list[Finding]]:
    """Names and values of an about sheet; a sheet without any of our names is told.

    A name that stands there without its value is asked for, unless an answer gives it.
    """
    names = {normal(c.heading): c for c in of_sheet("about")}
    key = f"about/{raw.file}"
    said = {a.column: a for a in answers.of_thing(key)}
    out: dict[str, str] = {}
    found, findings = False, []
    for number, row in enumerate(raw.cells, start=1):
        texts = [v for v in row if v is not None]
        column = names.get(normal(texts[0])) if texts else None
        if column is None:
            continue
        found = True
        if len(texts) >= 2:
            out[column.house_name] = _plain(texts[1])
        elif column.house_name in said:
            out[column.house_name] = said[column.house_name].text
            answers.note(key, said[column.house_name], VALUE)
        elif column.assumed:
            findings.append(_blank(raw, number, column, key))
    if found:
        return out, findings
    fill = {"sheet": raw.name, "examples": ", ".join(c.heading for c in of_sheet("about")[:4])}
    return {}, [make("file-03", Cell(file=raw.file, sheet=raw.name), fill=fill, key="about/")]


def _blank(raw: RawSheet, number: int, column: Column, key: str) -> Finding:
    """A name without its value."""
    where = Cell(file=raw.file, sheet=raw.name, row=number, column=column.house_name,
                 cell=f"B{number}")  # fmt: skip
    fill = {"sheet": raw.name, "col": column.heading, "n": 1, "rows": number,
            "assumed": column.assumed}  # fmt: skip
    return make("file-24", where, fill=fill, assumed=column.assumed, key=key)


def _plain(value: Any) -> str:
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    if isinstance(value, dt.datetime):
        return value.date().isoformat()
    return str(value).strip()


def datums_of(settings: Settings) -> tuple[str, ...]:
    """Height datums that the settings name."""
    return (
        settings.reference.vertical_datum,
        *(s.datum for s in settings.reference.shift),
    )


def with_known_datum(about: dict[str, str], settings: Settings | None) -> dict[str, str]:
    """The about sheet with its datum as the settings spell it: a form app exports 'site_datum'."""
    stated = about.get("vertical_datum", "")
    if settings is None or not stated:
        return about
    column = next(c for c in of_sheet("about") if c.house_name == "vertical_datum")
    known = Habits(words={"@datums": datums_of(settings)})
    return about | {"vertical_datum": str(parse(column, stated, known).value or stated)}


def habits_of(about: dict[str, str], settings: Settings | None, *, decimal_comma: bool) -> Habits:
    """What a workbook's about sheet and the settings say of its cells."""
    words: dict[str, tuple[str, ...]] = {}
    if settings is not None:
        words["@regions"] = settings.programme.regions
        words["@classes"] = settings.programme.critical_classes
        words["@datums"] = datums_of(settings)
    return Habits(
        level_unit=about.get("level_unit", "") or "m",
        size_unit=about.get("size_unit", "") or "mm",
        date_style=about.get("date_style", ""),
        decimal_comma=decimal_comma,
        words=words,
        planning_date=settings.planning_date if settings is not None else None,
    )
