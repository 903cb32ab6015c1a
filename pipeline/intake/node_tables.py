"""Node tables of flood models: a CSV or workbook with one row per node and event."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from pipeline.core.errors import UsageError
from pipeline.core.settings import Source

COLUMNS: Final = ("reach", "node", "chainage_m", "x_m", "y_m", "level")
_ALSO: Final = ("bank", "structure", "aep")
_BANKS: Final = ("left", "right", "both")
_SCALE: Final = {"m": 1.0, "mm": 0.001, "ft": 0.3048}


def read_nodes(source: Source) -> pd.DataFrame:
    """Nodes of a source as rows of `flood_nodes`.

    Parameters
    ----------
    source : Source
        Of kind 'node table'; positions are in the working coordinate system.

    Returns
    -------
    DataFrame

    Raises
    ------
    UsageError
        When the file, a column, a number or a bank cannot be read. A blank level is no fault: the
        node then only shapes the line, or marks a structure.
    """
    frame = _table(source)
    frame.columns = [str(c).strip().casefold().replace(" ", "_") for c in frame.columns]
    wanted = [*COLUMNS, *(["aep"] if source.aep is None else [])]
    absent = [c for c in wanted if c not in frame.columns]
    if absent:
        raise UsageError(
            f"{source.path.name} has no column {', '.join(absent)}.",
            why=f"Flood source {source.id!r} is a node table: {', '.join(wanted)}; and, where known, "
            "bank and structure.",
            mend="Name the columns so; chainage grows downstream.",
        )
    for name in _ALSO:
        if name not in frame.columns:
            frame[name] = None
    return pd.DataFrame(
        {
            "source_id": source.id,
            "reach": frame["reach"].astype("str").str.strip(),
            "node": frame["node"].astype("str").str.strip(),
            "chainage_m": _numbers(frame, "chainage_m", source),
            "x_m": _numbers(frame, "x_m", source),
            "y_m": _numbers(frame, "y_m", source),
            "bank": _banks(frame, source),
            "structure": frame["structure"].where(frame["structure"].notna(), None),
            "aep_per_year": source.aep
            if source.aep is not None
            else _numbers(frame, "aep", source, may_be_blank=True),
            "level_m": _levels(frame, source),
        }
    )


def _levels(frame: Any, source: Source) -> Any:
    """Levels in metres; no data in its disguises is none: no river stands at such levels."""
    level = _numbers(frame, "level", source, may_be_blank=True)
    scale = _SCALE[source.unit]
    return level.mask(level.eq(-9999.0) | ((level * scale).abs() > 1e4)) * scale


def _table(source: Source) -> Any:
    try:
        if source.path.suffix.lower() == ".xlsx":
            return pd.read_excel(source.path, sheet_name=source.layer or 0, engine="calamine")
        return pd.read_csv(source.path, sep=None, engine="python", encoding="utf-8-sig")
    except Exception as fault:  # noqa: BLE001 - any damage of a settings' file is one message
        raise UsageError(
            f"{source.path.name} cannot be read as a node table: {fault}.",
            mend="Save it as CSV or .xlsx with one row per node and event.",
        ) from None


def _numbers(frame: Any, name: str, source: Source, *, may_be_blank: bool = False) -> Any:
    values = pd.to_numeric(frame[name], errors="coerce")
    wrong = values.isna() & (frame[name].notna() if may_be_blank else True)
    if wrong.any():
        at = int(wrong.to_numpy().argmax())
        raise UsageError(
            f"{source.path.name}, row {at + 2}: {name} is {frame[name].iloc[at]!r}, and that is no "
            "number.",
            mend="Correct the cell; a level that is not known stays blank.",
        )
    return values.astype("float64")


def _banks(frame: Any, source: Source) -> Any:
    banks = frame["bank"].map(lambda b: "both" if pd.isna(b) else str(b).strip().casefold())
    wrong = ~banks.isin(_BANKS)
    if wrong.any():
        at = int(wrong.to_numpy().argmax())
        raise UsageError(
            f"{source.path.name}, row {at + 2}: bank is {banks.iloc[at]!r}.",
            mend="Write left or right, looking downstream, or both.",
        )
    return banks
