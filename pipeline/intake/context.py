"""What a check sees of a survey, and what it says: the border between reading and checking."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from pipeline.core.findings import Cell, Finding
from pipeline.core.photo_files import Photo
from pipeline.core.settings import Settings


@dataclass(frozen=True)
class Checked:
    """One thing a check has to say.

    Parameters
    ----------
    finding : Finding
    table : str
        Hand-over table of the row concerned; '' for a fault of a whole file or sheet.
    index : int
        Index label of the row in that table; -1 for none.
    columns : tuple of str
        House names of the values that a STOP takes out of use (they become blank, and are named
        in the row's `stopped`), or that an ASK puts in question (they are used, clear nothing, and
        are named in the row's `doubted`). Empty for NOTE, and for the row as a whole.
    """

    finding: Finding
    table: str = ""
    index: int = -1
    columns: tuple[str, ...] = ()


@dataclass(frozen=True)
class Context:
    """The typed survey with a way back to every cell.

    `tables` hold the typed rows (index labels are stable while checks run), `cell(table, index,
    column)` gives the Cell of a value and `raw(table, index, column)` its text as typed ('' when
    blank). `settings` is None for `stanch check` without a config: checks that need it return
    nothing and are named by the caller.
    """

    tables: Mapping[str, pd.DataFrame]
    layers: Mapping[str, Any]
    settings: Settings | None
    cell: Callable[[str, int, str], Cell]
    raw: Callable[[str, int, str], str]
    about: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """file -> house name of the about sheet -> value."""
    photos: tuple[Photo, ...] = ()
    """The photo files that were sent."""
