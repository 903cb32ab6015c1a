"""Records that differ between two runs: seals made, looked at, released, changed, ordered, packed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from pipeline.publish.compare_folder import RECORDS, Row, Run, differing
from pipeline.publish.compare_touch import Touch

# a record goes into the tables that hold the things it names
_TABLES: Final = (
    "seals", "links", "reach", "reach_sources", "designs", "pieces", "closing_lines", "packages",
    "choices", "crew_days", "needs",
)  # fmt: skip
_NAMES: Final = ("end_id", "end_ids", "building_id", "site_id")
_NAMED: Final = (
    "end_id", "end_a_id", "end_b_id", "opening_id", "end_ids", "building_id", "building_ids",
    "place_id", "site_id",
)  # fmt: skip


def record_rows(old: Run, new: Run) -> Iterator[tuple[str, str, str, tuple[Touch, ...]]]:
    """Subject, before, after and touches of every record row that differs."""
    for table in RECORDS:
        for row in differing(old, new, table):
            cells = row.either
            where = f"{cells.get('file')} {cells.get('sheet')} row {cells.get('row')}"
            if row.old is None or row.new is None:
                shown = ("none", "added") if row.old is None else ("there", "taken out")
                yield f"{where}: {row.key[0]}", *shown, _touches(row)
                continue
            for column in row.columns:
                if not column.startswith("is_"):  # what was made of it, not what was written
                    yield f"{where} ({column} of {row.key[0]})", *row.pair(column), _touches(row)


def _touches(record: Row) -> tuple[Touch, ...]:
    things: set[str] = set()
    for name in _NAMES:
        things |= record.values(name)

    def names_it(row: Row) -> bool:
        return any(things & row.values(column) for column in _NAMED)

    return tuple(Touch(table, where=names_it) for table in _TABLES)


__all__ = ["record_rows"]
