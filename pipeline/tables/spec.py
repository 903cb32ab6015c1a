"""How a hand-over table is described, and how a frame is brought to its description.

A description (`Table`) makes three things: the pandera schema that every hand-over is checked
against, the CSV column order, and the lines of the data dictionary.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import pandas as pd

from pipeline.core.errors import ContractBreach

Kind = Literal["text", "real", "whole", "flag", "geometry"]
_DTYPE: Final = {"text": "str", "real": "float64", "whole": "Int64", "flag": "boolean"}


@dataclass(frozen=True)
class Col:
    """One column: name (numeric names end in their unit), kind, meaning, and its checks."""

    name: str
    kind: Kind
    meaning: str
    nullable: bool = True
    words: tuple[str, ...] = ()
    lo: float | None = None
    hi: float | None = None
    survey_heading: str = ""


@dataclass(frozen=True)
class Table:
    """One hand-over table; `key` columns are unique together and give the row order."""

    name: str
    meaning: str
    key: tuple[str, ...]
    columns: tuple[Col, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Column names in order."""
        return tuple(c.name for c in self.columns)


def text(name: str, meaning: str, **checks: Any) -> Col:
    """A text column; blank is null, never ''."""
    return Col(name, "text", meaning, **checks)


def real(name: str, meaning: str, **checks: Any) -> Col:
    """A floating-point column; NaN is unknown."""
    return Col(name, "real", meaning, **checks)


def whole(name: str, meaning: str, **checks: Any) -> Col:
    """A whole-number column; <NA> is unknown."""
    return Col(name, "whole", meaning, **checks)


def flag(name: str, meaning: str, **checks: Any) -> Col:
    """A true/false column; <NA> is unknown, never False."""
    return Col(name, "flag", meaning, **checks)


def empty(table: Table) -> pd.DataFrame:
    """A frame of no rows with the columns and dtypes of the table."""
    return conform(table, pd.DataFrame(), stage="empty")


def conform(table: Table, frame: pd.DataFrame, *, stage: str) -> pd.DataFrame:
    """Bring a frame to its description: columns, dtypes, row order; check it.

    Parameters
    ----------
    table : Table
    frame : pandas.DataFrame
        Columns may stand in any order; absent nullable columns are added as unknown.
    stage : str
        Named in the error.

    Returns
    -------
    pandas.DataFrame
        A new frame (a GeoDataFrame where the table has geometry), sorted by key.

    Raises
    ------
    ContractBreach
        Unknown column, wrong type, blank or double key, word outside its list, value out of range.
    """
    unknown = sorted(set(frame.columns) - set(table.names))
    if unknown:
        raise ContractBreach(
            stage, table=table.name, column=unknown[0], check="known column", count=len(frame)
        )
    out = pd.DataFrame(index=range(len(frame)))
    for col in table.columns:
        out[col.name] = _cast(table, col, frame, stage)
    out = _sorted(table, out)
    _check(table, out, stage)
    geometry = [c.name for c in table.columns if c.kind == "geometry"]
    if geometry:
        import geopandas as gpd  # noqa: PLC0415 - only geometry tables need it

        return gpd.GeoDataFrame(out, geometry=geometry[0], crs=getattr(frame, "crs", None))
    return out


def _cast(table: Table, col: Col, frame: pd.DataFrame, stage: str) -> Any:
    if col.name not in frame.columns:
        values: Any = pd.Series([None] * len(frame), dtype="object")
    else:
        values = frame[col.name].reset_index(drop=True)
    if col.kind == "geometry":
        return values
    try:
        if col.kind == "text":
            missing = values.isna()
            cast = values.astype("object").where(missing, values.astype("object").map(str))
            return cast.where(~missing, None).astype("str")
        return values.astype(_DTYPE[col.kind])
    except (TypeError, ValueError) as fault:
        raise ContractBreach(
            stage,
            table=table.name,
            column=col.name,
            check=f"type {col.kind} ({fault})",
            count=len(frame),
        ) from fault


def _sorted(table: Table, frame: pd.DataFrame) -> pd.DataFrame:
    if not table.key or frame.empty:
        return frame
    return frame.sort_values(list(table.key), kind="stable").reset_index(drop=True)


def _check(table: Table, frame: pd.DataFrame, stage: str) -> None:
    import pandera.errors  # noqa: PLC0415 - heavy

    try:
        schema(table).validate(frame, lazy=True)
    except pandera.errors.SchemaErrors as fault:
        cases = fault.failure_cases
        first = cases.iloc[0]
        bad = cases[cases["check"] == first["check"]]
        raise ContractBreach(
            stage,
            table=table.name,
            column=str(first["column"]),
            check=str(first["check"]),
            count=len(bad),
            keys=_keys(table, frame, bad["index"].tolist()),
        ) from fault


def _keys(table: Table, frame: pd.DataFrame, rows: Sequence[Any]) -> list[str]:
    good = [int(r) for r in rows if r is not None and not pd.isna(r)][:3]
    return ["/".join(str(frame.at[r, k]) for k in table.key) for r in good]


_SCHEMAS: dict[str, Any] = {}


def schema(table: Table) -> Any:
    """The pandera schema of a table."""
    if table.name not in _SCHEMAS:
        _SCHEMAS[table.name] = _schema(table)
    return _SCHEMAS[table.name]


def _schema(table: Table) -> Any:
    import pandera.pandas as pa  # noqa: PLC0415 - heavy

    columns = {}
    for col in table.columns:
        checks = []
        if col.words:
            checks.append(pa.Check.isin(list(col.words)))
        if col.lo is not None:
            checks.append(pa.Check.ge(col.lo))
        if col.hi is not None:
            checks.append(pa.Check.le(col.hi))
        columns[col.name] = pa.Column(
            None if col.kind == "geometry" else _DTYPE[col.kind],
            checks=checks,
            nullable=col.nullable and col.name not in table.key,
        )
    return pa.DataFrameSchema(columns, strict=True, unique=list(table.key) or None)
