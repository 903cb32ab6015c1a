"""What is asked of a run folder afterwards: why, what if, what differs. Nothing in it is changed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.core.errors import UsageError
from pipeline.core.spelling import one_meant, read_as

if TYPE_CHECKING:
    from pipeline.publish.what_if import WhatIf


def explain(folder: Path, thing: str, *, kind: str = "") -> list[str]:
    """Lines that explain one end, entry, building, site or chamber of a run folder."""
    from pipeline.publish.trace import trace

    return trace(folder, thing, kind)


def compare_runs(old: Path, new: Path, *, out: Path | None = None) -> list[str]:
    """Lines on what differs between two run folders and which input made it; `out` in full."""
    from pipeline.publish.compare import compare

    return compare(old, new, out=out)


def explain_later(folder: Path, end: str, cables_mm: Sequence[float]) -> list[str]:
    """Lines that say what adding cables to a sealed end means.

    Parameters
    ----------
    folder : Path
        Run folder; nothing else is read.
    end : str
        Duct end, or entry without ends.
    cables_mm : sequence of float
        Outer diameters of the new cables (mm).

    Returns
    -------
    list of str

    Raises
    ------
    UsageError
        No run folder, no such end, or a diameter that is no cable's.
    """
    from pipeline.design import Stored, change_sheet
    from pipeline.publish.trace import trace
    from pipeline.publish.trace_folder import RunFolder

    run_folder = RunFolder(folder)
    meant = one_meant(end, run_folder.tables["designs"]["end_id"]) or end
    row = run_folder.one("designs", end_id=meant)
    if row is None:
        trace(folder, end)  # names the nearest ids where there is no such thing at all
        raise UsageError(
            f"{end} is no duct end.", mend="Name one of the ids in tables/designs.csv."
        )
    materials = run_folder.materials()
    if materials is None:
        raise UsageError(
            f"{folder} does not say which filler its seals were drawn for.",
            why="It was made before run.json kept that.",
            mend="Make the run again.",
        )
    packages = [p for p in run_folder.rows("packages") if meant in p["end_ids"].split(";")]
    stored = Stored(
        row,
        run_folder.rows("placements", end_id=meant),
        packages,
        materials.filler,
        tuple(float(s.outer_mm or 0.0) for s in materials.sleeves),
        str(run_folder.record.get("materials_note", "")),
    )
    return [*read_as(end, meant), *change_sheet(stored, cables_mm)]


def what_if(folder: Path, thing: str, change: WhatIf, *, kind: str = "") -> list[str]:
    """Lines on what would change for one thing of a run under another water or with ends closed.

    Parameters
    ----------
    folder : Path
        Run folder; it stays as it is.
    thing, kind : str
        As in `explain`.
    change : WhatIf

    Returns
    -------
    list of str

    Raises
    ------
    UsageError
        No run folder, no such thing, no such end.

    """
    from pipeline.exposure import exposure
    from pipeline.publish import what_if as asked
    from pipeline.publish.trace import meant_by
    from pipeline.publish.trace_folder import RunFolder

    meant, kind = meant_by(RunFolder(folder), thing, kind)
    tables = asked.stored_tables(folder)
    change, said = asked.named_closed(folder, tables, change)
    ends = asked.closed_ends(folder, tables, change.closed)
    new = exposure(
        asked.changed_water(tables, change), asked.stored_settings(folder), closed_ends=ends
    )
    lines = asked.what_if_lines((kind, meant), tables["reach"], new["reach"], change)
    return [*read_as(thing, meant), *said, *lines]
