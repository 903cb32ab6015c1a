"""The record and the tables of a run folder, read back; a damaged folder is told in one message."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.core.errors import UsageError
from pipeline.tables import REGISTRY


def read_record(folder: Path) -> dict[str, Any]:
    """What `run.json` of a run folder holds.

    Raises
    ------
    UsageError
        When there is none, or it cannot be read.
    """
    path = folder / "run.json"
    if not path.is_file():
        raise UsageError(
            f"{folder} is no run folder.",
            why="It holds no run.json.",
            mend="Name a folder such as outputs/<programme>/run-001.",
        )
    try:
        record = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        record = None
    if not isinstance(record, dict):
        raise UsageError(
            f"{path} cannot be read.",
            why="It is damaged, cut off or not of a run.",
            mend="Make the run again, or name another folder.",
        )
    return record


def need_tables(folder: Path, names: Iterable[str]) -> None:
    """See that a run folder holds tables; what is not there must not be read as 'none'.

    Raises
    ------
    UsageError
        Names the tables that are missing.
    """
    missing = [n for n in names if not (folder / "tables" / f"{n}.csv").is_file()]
    if missing:
        files = ", ".join(f"tables/{n}.csv" for n in missing)
        raise UsageError(
            f"{folder} is no whole run folder: it holds no {files}.",
            why="The answer would be wrong without it.",
            mend="Make the run again with this version, or name another folder.",
        )


def read_table(folder: Path, name: str) -> pd.DataFrame:
    """A table of a run folder as text; empty where the run has none.

    Raises
    ------
    UsageError
        When the file is no table, or lacks the first column that its rows go by.
    """
    path = folder / "tables" / f"{name}.csv"
    if not path.is_file():
        return pd.DataFrame()
    try:
        # ids stay text: 0012 is not 12, and NA is a region
        frame = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
        # an earlier build knew fewer columns, but what a row is of stood there from the first
        is_whole = name not in REGISTRY or set(REGISTRY[name].key[:1]) <= set(frame)
    except (OSError, ValueError):  # of pandas: no columns, torn lines, other bytes than UTF-8
        is_whole = False
    if not is_whole:
        raise UsageError(
            f"{path} cannot be read.",
            why="It is damaged, cut off or not of a run.",
            mend="Make the run again, or name another folder.",
        )
    return frame


__all__ = ["need_tables", "read_record", "read_table"]
