"""Every hand-over table as CSV, harmless to spreadsheets, with the data dictionary."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import pandas as pd

from pipeline.core.harmless import harmless_text
from pipeline.tables import REGISTRY, Tables, dictionary

# what a run folder holds by contract, and what stands beside it for those who follow a number back
_BESIDE: Final = ("regions", "footprints", "flood_polygons", "flood_domains", "flood_nodes")


def write_tables(folder: Path, tables: Tables) -> None:
    """Write tables/*.csv and tables/dictionary.csv."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in sorted(tables):
        if name not in _BESIDE:
            write_csv(folder / f"{name}.csv", tables[name])
    book = dictionary()
    write_csv(folder / "dictionary.csv", book[~book["table"].isin(_BESIDE)])


def write_findings(path: Path, tables: Tables) -> None:
    """Write findings.csv."""
    write_csv(path, tables["findings"])


def write_csv(path: Path, frame: pd.DataFrame) -> None:
    """Write one frame: UTF-8 with mark, text cells made harmless, numbers kept as numbers."""
    out = pd.DataFrame(frame).drop(columns="geometry", errors="ignore")
    for name in out.columns:
        if not pd.api.types.is_numeric_dtype(out[name].dtype):
            out[name] = [_cell(v) for v in out[name]]
    out.to_csv(path, index=False, encoding="utf-8-sig", lineterminator="\n")


def _cell(value: Any) -> Any:
    if value is None or pd.isna(value):
        return ""
    return harmless_text(value) if isinstance(value, str) else value


def registered() -> tuple[str, ...]:
    """Names of all tables that may stand in a run folder."""
    return tuple(n for n in REGISTRY if n not in _BESIDE)
