"""The about sheet: two columns, name and value; and the habits that it declares."""

from __future__ import annotations

import datetime as dt
from typing import Any

from pipeline.core.findings import Cell, Finding, make
from pipeline.core.settings import Settings
from pipeline.core.survey import of_sheet
from pipeline.intake.headings import normal
from pipeline.intake.parse import Habits
from pipeline.intake.sheets import RawSheet


def read_about(raw: RawSheet) -> tuple[dict[str, str], list[Finding]]:
    """Names and values of an about sheet; a sheet without any of our names is told."""
    names = {normal(c.heading): c.house_name for c in of_sheet("about")}
    out: dict[str, str] = {}
    for row in raw.cells:
        texts = [v for v in row if v is not None]
        if len(texts) >= 2 and normal(texts[0]) in names:
            out[names[normal(texts[0])]] = _plain(texts[1])
    if out:
        return out, []
    fill = {"sheet": raw.name, "examples": ", ".join(c.heading for c in of_sheet("about")[:4])}
    return {}, [make("file-03", Cell(file=raw.file, sheet=raw.name), fill=fill, key="about/")]


def _plain(value: Any) -> str:
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    if isinstance(value, dt.datetime):
        return value.date().isoformat()
    return str(value).strip()


def habits_of(about: dict[str, str], settings: Settings | None, *, decimal_comma: bool) -> Habits:
    """What a workbook's about sheet and the settings say of its cells."""
    words: dict[str, tuple[str, ...]] = {}
    if settings is not None:
        words["@regions"] = settings.programme.regions
        words["@classes"] = settings.programme.critical_classes
    return Habits(
        level_unit=about.get("level_unit", "") or "m",
        size_unit=about.get("size_unit", "") or "mm",
        date_style=about.get("date_style", ""),
        decimal_comma=decimal_comma,
        words=words,
        planning_date=settings.planning_date if settings is not None else None,
    )
