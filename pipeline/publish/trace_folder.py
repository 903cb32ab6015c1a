"""The tables of a run folder as `trace` reads them, and how it writes numbers."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final

from pipeline.core import contract
from pipeline.core.errors import UsageError
from pipeline.core.materials import Materials
from pipeline.publish.stored_run import need_tables, read_record, read_table

_TABLES: Final = (
    "reach", "reach_sources", "levels", "floods", "policies", "designs", "packages", "choices",
    "findings", "links", "sites", "buildings", "entries", "chambers", "answers", "changes", "suspects",
    "filling", "closing_lines", "placements", "ground", "network", "resurvey", "site_shifts",
    "states",
)  # fmt: skip
Lines = Iterator[tuple[int, str]]


class RunFolder:
    """The tables of one run, read from its folder."""

    def __init__(self, folder: Path) -> None:
        self.record = read_record(folder)
        if self.record.get("profile") == "public":
            raise UsageError(
                f"{folder} is a public run: it holds no tables to explain.",
                why='Its settings ask for [export] profile = "public".',
                mend="Name a run made with the profile full or working.",
            )
        need_tables(folder, _TABLES)
        self.tables = {name: read_table(folder, name) for name in _TABLES}

    def materials(self) -> Materials | None:
        """The materials that the seals were drawn for; None where run.json does not hold them."""
        rows = (self.record.get("catalogue") or {}).get("materials")
        return None if rows is None else Materials.model_validate(rows)

    def rows(self, table: str, **wanted: str) -> list[dict[str, str]]:
        """Rows of a table where columns hold these texts."""
        frame = self.tables[table]
        for name, value in wanted.items():
            if name not in frame:
                return []
            frame = frame[frame[name] == value]
        records: list[dict[str, str]] = frame.to_dict("records")
        return records

    def one(self, table: str, **wanted: str) -> dict[str, str] | None:
        """The only row, or None."""
        return next(iter(self.rows(table, **wanted)), None)


def metres_text(text: str) -> str:
    """A level in words."""
    return f"{float(text):.3f} m" if text else "not known"


def chance_text(text: str, bound: str = "") -> str:
    """A chance a year in words."""
    if not text:
        return "not known"
    chance = float(text)
    if chance <= 0.0:
        return "no known chance"
    return f"{bound} 1 in {round(1 / chance):,} a year".strip()


def ends_text(count: str) -> str:
    """A count of ends in words."""
    return f"{count} {'end' if count == '1' else 'ends'}"


def margin_text(row: dict[str, str]) -> str:
    """The margin of an opening in words."""
    if not row["margin_mm"]:
        return "margin not known"
    least = "at least " if row["margin_is_bound"] == "True" else ""
    return f"margin {least}{float(row['margin_mm']):+.0f} mm"


# --- one opening --------------------------------------------------------------------------------


def classes_text(rows: list[dict[str, str]]) -> str:
    """How many openings are of each class."""
    counts = {c: sum(r["level_class"] == c for r in rows) for c in contract.CLASSES}
    return ", ".join(f"{n} {c}" for c, n in counts.items() if n) or "none"


def said_about(run: RunFolder, an_id: str, heading: str = "Said of it") -> Lines:
    """Questions, answers and changes about a thing."""
    lines: list[tuple[int, str]] = []
    for row in run.tables["findings"].to_dict("records"):
        keys = f"{row['key']} ; {row.get('also_keys', '')}".split(" ; ")
        if an_id in {k.partition("/")[2] for k in keys} and row["weight"] != contract.NOTE:
            answer = f" Answered: {row['answer']}." if row.get("answer") else ""
            where = " ".join(t for t in (row["file"], row["sheet"], row["cell"]) if t)
            cell = f" ({where})" if where else ""
            lines.append((1, f"{row['weight']} {row['code']}{cell}: {row['message']}{answer}"))
    for row in run.tables["answers"].to_dict("records"):
        if row["key"].partition("/")[2] == an_id.casefold():
            lines.append(
                (1, f"answer to {row['code']}: \"{row['answer']}\" ({row['outcome']}, "
                 f"{row['source']})")
            )  # fmt: skip
    for row in run.tables["changes"].to_dict("records"):
        if row["key"].partition("/")[2] == an_id and row["column"]:
            lines.append(
                (1, f"{row['column']}: {row['old'] or 'blank'} ({row['old_file']}) -> "
                 f"{row['new'] or 'blank'} ({row['new_file']})")
            )  # fmt: skip
    if lines:
        yield 0, heading
        yield from lines


# --- places -------------------------------------------------------------------------------------
