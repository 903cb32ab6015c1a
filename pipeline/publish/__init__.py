"""Writes what people hold: map, workbooks, GIS file, orders, run record."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from pipeline.core.progress import Progress, silent
from pipeline.core.run_id import RunId
from pipeline.core.settings import Settings
from pipeline.tables import Tables


def publish(
    tables: Tables,
    settings: Settings,
    *,
    folder: Path,
    run_id: RunId,
    when: Callable[[], dict[str, Any]],
    progress: Progress = silent,
) -> None:
    """Write every file of a run folder.

    Parameters
    ----------
    tables : Tables
        Tables of a whole run.
    settings : Settings
    folder : Path
        Empty folder to write into.
    run_id : RunId
        Printed on every paper.
    when : callable
        Called last; gives the clock times that only run.json holds.
    progress : Progress
        Told after each file.

    """
    # the makers of maps and papers take a second to import, which `stanch trace` need not wait for
    from pipeline.publish.folder import write_folder

    write_folder(tables, settings, folder=folder, run_id=run_id, when=when, progress=progress)


__all__ = ["publish"]
