"""What differs between two run folders, and the input change that each difference depends on."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from pipeline.core.errors import UsageError
from pipeline.core.money import words as money
from pipeline.publish.compare_book import write_comparison
from pipeline.publish.compare_chain import NOT_FOLLOWED, Chain
from pipeline.publish.compare_folder import Row, Run
from pipeline.publish.compare_words import (
    DIFFERENT_FILES,
    PLURALS,
    because,
    count_words,
    currency_of,
    row_words,
    totals,
    unlisted,
)

_FIRST: Final = 5  # rows of each kind that the screen shows
_INPUTS: Final = 12
_SHOWN: Final = ("reach", "designs", "choices", "order_lines")


def compare(old: Path, new: Path, *, out: Path | None = None) -> list[str]:
    """Compare two run folders, and write the whole comparison where a file is named.

    Parameters
    ----------
    old, new : Path
        Run folders; the second is held against the first.
    out : Path, optional
        Workbook to write; it must not exist.

    Returns
    -------
    list of str
        Lines for the screen.

    Raises
    ------
    UsageError
        When a folder is no run folder, or `out` exists, is no .xlsx or cannot be written.
    """
    runs = Run(old), Run(new)
    _check_out(out)
    chain = Chain(*runs)
    rest = unlisted(*runs)
    lines = list(_lines(chain, rest))
    if out is not None:
        _write(chain, rest, out)
        lines += ["", f"In full: {out}"]
    return lines


def _check_out(out: Path | None) -> None:
    if out is None:
        return
    if out.exists():
        raise UsageError(f"{out} exists already.", why="Nothing is overwritten without your word.",
                         mend="Name another file with --out.")  # fmt: skip
    if out.suffix.lower() != ".xlsx":
        raise UsageError(f"{out.name} must end in .xlsx.", mend=f"Name it {out.stem}.xlsx.")
    if not out.parent.is_dir():
        raise UsageError(f"There is no folder {out.parent}.", mend="Make it first.")


def _write(chain: Chain, rest: dict[str, int], out: Path) -> None:
    """Write aside, then move into place, so that no half of a workbook is left."""
    with tempfile.TemporaryDirectory() as aside:
        made = Path(aside) / "comparison.xlsx"
        write_comparison(made, chain, rest)
        try:
            shutil.copyfile(made, out)
        except OSError as fault:
            raise UsageError(f"{out} cannot be written: {fault.strerror}.",
                             mend="Name another file with --out.") from None  # fmt: skip


def _lines(chain: Chain, rest: dict[str, int]) -> Iterator[str]:
    one, other = (run.record for run in chain.runs)
    yield (
        f"{one.get('programme')}, run {one.get('run_id')} (planned {one.get('planning_date')}) -> "
        f"{other.get('programme')}, run {other.get('run_id')} (planned {other.get('planning_date')})"
    )
    differing = sum(len(rows) for rows in chain.rows.values()) + sum(rest.values())
    if not chain.changes:
        if not differing:
            yield "The same inputs; nothing differs."
            return
        yield DIFFERENT_FILES
    else:
        yield from _inputs(chain)
    if not differing:
        yield "No row of any table differs."
    for table in _SHOWN:
        yield from _table(chain, table)
    yield from _others(chain, rest)
    yield from _totals(chain)


def _inputs(chain: Chain) -> Iterator[str]:
    count = len(chain.changes)
    yield f"{count} input{'s' if count > 1 else ''} differ{'' if count > 1 else 's'}:"
    for n, change in enumerate(chain.changes[:_INPUTS]):
        yield f"  {n + 1}. {change.words}"
        leads = chain.leads_to(n)
        told = [count_words(n, t) for t, n in leads.items() if t in PLURALS]
        if told:
            yield f"     leads to: {', '.join(told)}"
        else:
            yield f"     {change.note or 'no row depends on it'}"
    if count > _INPUTS:
        yield f"  ... and {count - _INPUTS} more (--out F.xlsx lists all)"


def _table(chain: Chain, table: str) -> Iterator[str]:
    rows = chain.rows[table]
    if not rows:
        return
    yield ""
    yield f"{PLURALS[table].capitalize()}: {len(rows)} differ ({_count(chain, table)})"
    currency = currency_of(chain.runs[1])
    for row in sorted(rows, key=_weight)[:_FIRST]:
        yield f"  {row_words(row, currency)}; because of {because(chain, row)}"
    if len(rows) > _FIRST:
        yield f"  ... and {len(rows) - _FIRST} more"


def _weight(row: Row) -> tuple[int, tuple[str, ...]]:
    """Rows whose verdict changed come first."""
    verdicts = {"level_class", "is_needed", "is_chosen", "package_id", "line_minor", "firmness"}
    return (0 if verdicts & set(row.columns) else 1, row.key)


def _count(chain: Chain, table: str) -> str:
    """Rows of the table in both runs: added and lost rows differ too."""
    before, after = (len(run.table(table)) for run in chain.runs)
    rows = f"of {before:,}" if before == after else f"{before:,} rows before, {after:,} after"
    return f"{rows}, mouths in chambers among them" if table == "reach" else rows


def _others(chain: Chain, rest: dict[str, int]) -> Iterator[str]:
    told = [
        count_words(len(chain.rows[t]), t) for t in PLURALS if t not in _SHOWN and chain.rows.get(t)
    ]
    if told:
        yield ""
        yield f"Also: {', '.join(told)}."
    if rest:
        yield "Not followed to an input: " + ", ".join(f"{n} rows of {t}" for t, n in rest.items())
    loose = sum(r.followed == NOT_FOLLOWED for rows in chain.rows.values() for r in rows)
    if loose and len(chain.changes) > 1:
        yield f"{loose} rows could not be followed to one input: every input is a candidate there."


def _totals(chain: Chain) -> Iterator[str]:
    old, new = chain.runs
    yield ""
    for total in totals(old, new):
        if total.region or total.currencies[0] != total.currencies[1]:
            continue
        before, after = (money(m, total.currencies[1]) for m in (total.old, total.new))
        sign = "+" if total.new >= total.old else "-"
        change = money(abs(total.new - total.old), total.currencies[1])
        yield f"{total.what}: {before} -> {after} ({sign}{change})"


__all__ = ["compare"]
