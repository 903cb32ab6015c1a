"""The survey as the checks see it: clean columns, places and sites of rows, one line per cause."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from pipeline.core import survey
from pipeline.core.findings import Cell, make
from pipeline.core.settings import Settings
from pipeline.intake.context import Checked, Context
from pipeline.tables import REGISTRY
from pipeline.tables.spec import Col

SHEET_OF_TABLE: Final = {table: sheet for sheet, table in survey.TABLE_OF_SHEET.items()}
KEY_OF_TABLE: Final = {table: survey.key_of(sheet) for table, sheet in SHEET_OF_TABLE.items()}
# An id with one of these marks was given by intake to a row that had none of its own.
_OURS: Final = ("!", "#", "/unlisted-")

Row = dict[str, Any]


@dataclass(frozen=True)
class Hit:
    """One row that a check is about: its table, its index label there, and its values."""

    table: str
    index: int
    row: Row

    @property
    def id(self) -> str:
        """Id of the row."""
        return str(self.row[KEY_OF_TABLE[self.table]] or "")


@dataclass(frozen=True)
class Check:
    """A check in the table of checks: the codes it makes, and whether it needs settings."""

    function: Callable[[Survey], Iterator[Checked]]
    codes: tuple[str, ...]
    needs_settings: bool = False


class Survey:
    """The typed survey with clean missing values, and who belongs to whom.

    Text is str or None, numbers and whole numbers are float with NaN, flags are True, False or
    None, so that a check never meets two kinds of missing. Index labels are those of the context.

    Parameters
    ----------
    context : Context
    """

    def __init__(self, context: Context) -> None:
        self.context = context
        self._all: dict[str, list[Hit]] = {}
        self._frames = {name: _clean(name, context.tables.get(name)) for name in SHEET_OF_TABLE}
        self.building_site = self._map("buildings", "building_id", "site_id")
        self.chamber_site = self._map("chambers", "chamber_id", "site_id")
        self.entry_building = self._map("entries", "entry_id", "building_id")
        self.end_place = self._map("ends", "end_id", "place_id")
        self.site_ids = frozenset(self.frame("sites")["site_id"].dropna())

    @property
    def settings(self) -> Settings:
        """The settings; only for checks that need them (the runner has made sure)."""
        settings = self.context.settings
        if settings is None:  # pragma: no cover - the runner leaves such checks out
            raise ValueError("this check needs settings")
        return settings

    def frame(self, table: str) -> pd.DataFrame:
        """A table; unlisted ways are left out of `ends`, for they have no row of their own."""
        return self._frames[table]

    def hits(self, table: str, mask: Any = None) -> list[Hit]:
        """The rows of a table where a mask holds."""
        hits = self._hits(table)
        if mask is None:
            return list(hits)
        return [hits[i] for i in np.flatnonzero(np.asarray(mask, dtype=bool))]

    def _hits(self, table: str) -> list[Hit]:
        """All rows of a table, made once; checks only read them."""
        if table not in self._all:
            frame = self.frame(table)
            names = [str(name) for name in frame]
            lines = zip(*(frame[name].tolist() for name in names), strict=True)
            self._all[table] = [
                Hit(table, i, dict(zip(names, line, strict=True)))
                for i, line in zip(frame.index.tolist(), lines, strict=True)
            ]
        return self._all[table]

    def blank(self, hit: Hit, column: str) -> bool:
        """Whether a cell of a column that the file has is empty.

        A cell that could not be read, and a column that is absent altogether, have been asked
        by the reading already.
        """
        if not is_missing(hit.row[column]):
            return False
        if self.context.raw(hit.table, hit.index, column).strip():
            return False
        return bool(self.context.cell(hit.table, hit.index, column).cell)

    def site_of_place(self, place: str | None) -> str:
        """Site of a chamber, entry, building, end or site; '' where it is not known."""
        if not place:
            return ""
        place = self.end_place.get(place, place)
        if place in self.chamber_site:
            return self.chamber_site[place]
        building = self.entry_building.get(place, place)
        if building in self.building_site:
            return self.building_site[building]
        return place if place in self.site_ids else ""

    def place_of(self, hit: Hit) -> str:
        """The place a row stands at: chamber, entry, building or site."""
        row = hit.row
        own = {"sites", "buildings", "chambers", "entries"}
        if hit.table in own:
            return hit.id
        if hit.table in {"ends", "observations", "photos"}:
            return str(row["place_id"] or "")
        if hit.table == "cables":
            end = str(row["end_id"] or "")
            return self.end_place.get(end, end)
        if hit.table == "seals":
            end = str(row["end_id"] or row["entry_id"] or "")
            return self.end_place.get(end, end)
        if hit.table == "flood_levels":
            return str(row["applies_to"] or "")
        return str(row["site_id"] or "")

    def site_of(self, hit: Hit) -> str:
        """Site of a row; '' where it is not known."""
        own = hit.row.get("site_id")
        if isinstance(own, str) and own:
            return own
        return self.site_of_place(self.place_of(hit))

    def say(
        self,
        code: str,
        hits: Iterable[Hit],
        column: str,
        *,
        fill: Mapping[str, Any] | None = None,
        values: tuple[str, ...] = (),
        weight: str | None = None,
    ) -> Iterator[Checked]:
        """One finding for all the rows that share a cause, anchored at the first of them.

        Yields one `Checked` a row, all with the same finding, so that each row gets its state
        and its values are taken out of use; whoever lists findings takes each once.

        Parameters
        ----------
        code : str
        hits : iterable of Hit
        column : str
            House name of the column that the question is about; '' for the whole row.
        fill : mapping, optional
            Values of the braces beside `row`, `sheet` and `n`.
        values : tuple of str
            Columns whose value is not used (STOP), or is used and clears nothing (ASK).
        weight : str, optional
            A rule's second weight.
        """
        rows = sorted(hits, key=_place_in_file)
        first = rows[0]
        where = self._cell(first, column)
        raw = self.context.raw(first.table, first.index, column) if column else ""
        finding = make(
            code,
            where,
            key=_key(first),
            also_keys=dict.fromkeys(_key(h) for h in rows[1:] if _key(h) != _key(first)),
            place_id=self.place_of(first),
            site_id=self.site_of(first),
            as_read=raw,
            weight=weight,
            fill={
                "row": rows_text([h.row["row"] for h in rows]),
                "sheet": where.sheet,
                "n": len(rows),
                **(fill or {}),
            },
        )
        for hit in rows:
            yield Checked(finding, hit.table, hit.index, values)

    def _cell(self, hit: Hit, column: str) -> Cell:
        if column:
            return self.context.cell(hit.table, hit.index, column)
        where = self.context.cell(hit.table, hit.index, KEY_OF_TABLE[hit.table])
        return replace(where, column="", cell="")

    def _map(self, table: str, key: str, value: str) -> dict[str, str]:
        frame = self.frame(table)
        pairs = zip(frame[key], frame[value], strict=True)
        return {k: v for k, v in pairs if isinstance(k, str) and isinstance(v, str)}


def _key(hit: Hit) -> str:
    return f"{SHEET_OF_TABLE[hit.table]}/{hit.id}"


def is_missing(value: Any) -> bool:
    """Whether a value is unknown."""
    return bool(pd.isna(value)) or value == ""


def is_ours(an_id: str) -> bool:
    """Whether an id was given by intake, not by the surveyor."""
    return any(mark in an_id for mark in _OURS)


def by(hits: Iterable[Hit], key: Callable[[Hit], Hashable]) -> list[list[Hit]]:
    """Rows grouped by a key, groups and rows in the order of the file."""
    groups: dict[Hashable, list[Hit]] = {}
    for hit in sorted(hits, key=_place_in_file):
        groups.setdefault(key(hit), []).append(hit)
    return list(groups.values())


def by_cause(view: Survey, hits: list[Hit], eligible: list[Hit]) -> list[list[Hit]]:
    """Rows grouped by cause: the whole sheet where every row has it, else place by place.

    Parameters
    ----------
    hits : list of Hit
        Rows that a check is about.
    eligible : list of Hit
        Rows that it could have been about.
    """
    whole: dict[Hashable, int] = {}
    for hit in eligible:
        whole[_sheet(hit)] = whole.get(_sheet(hit), 0) + 1
    groups = by(hits, _sheet)
    out: list[list[Hit]] = []
    for group in groups:
        if len(group) == whole.get(_sheet(group[0])):
            out.append(group)
        else:
            out += by(group, view.place_of)
    return out


def names(values: Iterable[Any]) -> str:
    """Names for a message: sorted, each once, joined by commas."""
    return ", ".join(sorted({str(v) for v in values if not is_missing(v)}))


def rows_text(rows: Iterable[Any]) -> str:
    """Rows for a message: '14', or '14 (also 15 to 20, 22)'."""
    numbers = sorted({int(r) for r in rows if not is_missing(r)})
    if not numbers:
        return "?"
    if len(numbers) == 1:
        return str(numbers[0])
    return f"{numbers[0]} (also {_runs(numbers[1:])})"


def number_text(value: float, decimals: int = 3) -> str:
    """A number for a message: rounded, without trailing zeros."""
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in {"-0", ""} else text


def up_or_down(difference: float) -> str:
    """'above' or 'below' by the sign of a difference."""
    return "above" if difference > 0 else "below"


def _runs(numbers: list[int]) -> str:
    starts = [i for i, n in enumerate(numbers) if i == 0 or n != numbers[i - 1] + 1]
    parts = []
    for start, end in zip(starts, [*starts[1:], len(numbers)], strict=True):
        first, last = numbers[start], numbers[end - 1]
        parts.append(str(first) if first == last else f"{first} to {last}")
    return ", ".join(parts)


def _sheet(hit: Hit) -> Hashable:
    return (hit.row["file"], hit.row["sheet"])


def _place_in_file(hit: Hit) -> tuple[str, str, float, int]:
    row = hit.row
    number = row["row"]
    return (
        str(row["file"] or ""),
        str(row["sheet"] or ""),
        float("inf") if is_missing(number) else float(number),
        hit.index,
    )


def _clean(table: str, frame: pd.DataFrame | None) -> pd.DataFrame:
    source = pd.DataFrame() if frame is None else frame
    columns = {c.name: _values(c, source) for c in REGISTRY[table].columns}
    out = pd.DataFrame(columns, index=source.index)
    if table == "ends":
        listed = out["is_unlisted"].map(lambda flag: not flag).astype(bool)
        out = out.loc[listed]
    return out


def _values(col: Col, source: pd.DataFrame) -> Any:
    """Values of one column with one kind of missing: NaN for numbers, None for the rest."""
    is_number = col.kind in {"real", "whole"}
    if col.name not in source.columns:
        return np.full(len(source), np.nan if is_number else None, float if is_number else object)
    values = source[col.name]
    if is_number:
        return pd.to_numeric(values, errors="coerce").to_numpy(dtype="float64", na_value=np.nan)
    out = values.astype("object").to_numpy(copy=True)
    out[pd.isna(out)] = None
    out[out == ""] = None
    return out
