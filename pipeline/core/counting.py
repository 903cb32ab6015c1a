"""Closing the counts: rows in = used + asked + refused, after every stage has had its say."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from pipeline.core import contract
from pipeline.core.survey import RECORD_SHEETS, TABLE_OF_SHEET

_RANK: Final = {contract.USED: 0, contract.ASKED: 1, contract.REFUSED: 2}
_STATE: Final = {
    contract.NOTE: contract.USED,
    contract.ASK: contract.ASKED,
    contract.STOP: contract.REFUSED,
}


def close_counts(tables: dict[str, Any]) -> dict[str, Any]:
    """Raise the state of rows that later stages found fault with, and move the counts along.

    Parameters
    ----------
    tables : dict of DataFrame
        Survey tables with `row_state`, `counts`, and all `findings`.

    Returns
    -------
    dict
        New `counts` and those survey tables whose states changed.

    """
    findings = tables["findings"]
    named = findings[findings["row"].notna()]
    worst: dict[tuple[str, str, int], str] = {}
    for file, sheet, row, weight in zip(
        named["file"], named["sheet"], named["row"], named["weight"], strict=True
    ):
        place = (str(file), str(sheet), int(row))
        state = _STATE[str(weight)]
        if _RANK[state] >= _RANK[worst.get(place, contract.USED)]:
            worst[place] = state
    changed: dict[str, Any] = {}
    moves: dict[tuple[str, str], dict[str, int]] = {}
    for name in (*TABLE_OF_SHEET.values(), *RECORD_SHEETS):
        frame = tables.get(name)
        if frame is None or frame.empty:
            continue
        changed[name] = _raise_states(frame, worst, moves)
    changed["counts"] = _moved(tables["counts"], moves)
    return changed


def _raise_states(
    frame: pd.DataFrame,
    worst: dict[tuple[str, str, int], str],
    moves: dict[tuple[str, str], dict[str, int]],
) -> pd.DataFrame:
    listed = ~frame["is_unlisted"].astype(bool) if "is_unlisted" in frame else None
    states = frame["row_state"].tolist()
    for i, (file, sheet, row) in enumerate(
        zip(frame["file"], frame["sheet"], frame["row"], strict=True)
    ):
        if pd.isna(row) or (listed is not None and not listed.iloc[i]):
            continue
        new = worst.get((str(file), str(sheet), int(row)))
        if new is not None and _RANK[new] > _RANK[states[i]]:
            move = moves.setdefault((str(file), str(sheet)), dict.fromkeys(_RANK, 0))
            move[states[i]] -= 1
            move[new] += 1
            states[i] = new
    return frame.assign(row_state=pd.Series(states, index=frame.index, dtype="str"))


def _moved(counts: pd.DataFrame, moves: dict[tuple[str, str], dict[str, int]]) -> pd.DataFrame:
    out = counts.copy()
    for (file, sheet), move in moves.items():
        rows = (out["file"] == file) & (out["sheet"] == sheet)
        for state, count in move.items():
            out.loc[rows, f"{state}_count"] += count
    return out


def head_line(counts: pd.DataFrame) -> str:
    """The line on top of every list: '430 rows: 412 used, 14 used with an assumption, 4 not used'."""
    total = counts[["rows_count", "used_count", "asked_count", "refused_count"]].sum()
    return (
        f"{int(total['rows_count']):,} rows: {int(total['used_count']):,} used, "
        f"{int(total['asked_count']):,} used with an assumption or a question, "
        f"{int(total['refused_count']):,} with a value that was not used"
    )
