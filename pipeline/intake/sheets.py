"""A sheet as it was read: cells with their addresses, and what surrounds them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

from pipeline.core.findings import Finding
from pipeline.core.photo_files import Photo

_WHOLE: Final = 1e15  # beyond it a float has no digits after the point anyway


@dataclass
class RawSheet:
    """Cells of one sheet; row and column indices count from 0, addresses from 1 and A.

    `merged` are (first row, first column, last row, last column); `unsaved` are formulas without
    a stored result; `errors` are error values; `comments` are texts at cells, `marks` fills and
    lines through the text of cells that hold something.
    """

    file: str
    name: str
    cells: list[list[Any]]
    merged: list[tuple[int, int, int, int]] = field(default_factory=list)
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)
    unsaved: set[tuple[int, int]] = field(default_factory=set)
    errors: dict[tuple[int, int], str] = field(default_factory=dict)
    comments: dict[tuple[int, int], str] = field(default_factory=dict)
    marks: dict[tuple[int, int], str] = field(default_factory=dict)
    pictures_count: int = 0
    decimal_comma: bool = False


def typed_text(value: Any) -> str:
    """A cell as its writer sees it: 28 and not 28.0, a day without a midnight."""
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer() and abs(value) < _WHOLE:
        return str(int(value))
    if isinstance(value, dt.datetime) and value.time() == dt.time():
        return value.date().isoformat()
    return str(value)


@dataclass
class Delivery:
    """What one file held: its sheets, what could not be read, photo files beside them."""

    file: str
    sheets: list[RawSheet] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    photos: list[Photo] = field(default_factory=list)


Note = Callable[[Finding], None]
