"""Reads surveys, GPS points and flood files into survey tables and findings."""

from __future__ import annotations

import gc
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.core.findings import Finding
from pipeline.core.findings import table as findings_table
from pipeline.core.progress import Progress, silent
from pipeline.core.settings import Settings
from pipeline.intake.assemble import abouts_table, apply_checks, derived, tables_of
from pipeline.intake.delivery import Delivered, deliver
from pipeline.intake.inherit import inherit, one_spelling
from pipeline.intake.layers import read_gps, read_layers
from pipeline.intake.positions import Where, fill_buildings, match_gps, say_defaults
from pipeline.intake.records import with_records
from pipeline.intake.separations import fill_separations
from pipeline.intake.whole import (
    changes,
    newest,
    say_blanks,
    say_doubles,
    say_ids,
    say_missing_sheets,
)
from pipeline.tables import Tables, blank


def intake(settings: Settings, *, progress: Progress = silent) -> Tables:
    """Read everything that the settings name.

    Parameters
    ----------
    settings : Settings
    progress : Progress

    Returns
    -------
    Tables
        Survey tables, columns, counts, gps_points, findings and the map layers.

    """
    with _many_objects():
        layers = read_layers(settings)
        delivered = deliver(settings.surveys.files, settings, progress)
        points, findings = read_gps(settings)
        out = _finish(delivered, settings, layers=layers, points=points, findings=findings)
        return with_records(out, settings)


def check(files: Sequence[Path], settings: Settings | None = None) -> Tables:
    """Read surveys alone, without places: what `stanch check` does without a config.

    Parameters
    ----------
    files : sequence of Path
    settings : Settings, optional

    Returns
    -------
    Tables

    """
    with _many_objects():
        delivered = deliver(files, settings, silent)
        return _finish(delivered, settings, layers=None, points=pd.DataFrame(), findings=[])


@contextmanager
def _many_objects() -> Iterator[None]:
    """No search for cycles while millions of cells are made: there are none, and it takes time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _finish(
    delivered: Delivered,
    settings: Settings | None,
    *,
    layers: dict[str, Any] | None,
    points: pd.DataFrame,
    findings: list[Finding],
) -> Tables:
    sheets = delivered.sheets
    say_ids(sheets)
    one_spelling(sheets)
    say_doubles(sheets)
    versions = newest(sheets)
    rows = versions.rows
    findings = [*findings, *delivered.findings, *versions.findings,
                *say_missing_sheets(sheets, delivered.opened_files, delivered.sheet_names)]  # fmt: skip
    shown = layers or {}
    if settings is not None and layers is not None:
        where = Where(settings, layers["regions"], delivered.abouts)
        for sheet in sheets:
            if sheet.sheet in ("sites", "buildings", "chambers"):
                for row in sheet.rows:
                    where.place(sheet, row)
        say_defaults(rows, sheets)
        fill_separations(rows, where, settings, delivered.abouts)
        points, lost = match_gps(points, rows, sheets)
        findings += lost
        fill_buildings(rows, layers["footprints"])
    say_blanks(sheets, delivered.abouts)
    inherit(rows)
    derived(rows)
    frames, checked = apply_checks(rows, delivered, settings, shown, versions.superseded)
    findings += [f for s in sheets for f in s.findings] + checked
    out = tables_of(frames, sheets, points)
    out["abouts"] = abouts_table(delivered.abouts)
    out["answers"] = delivered.answers.table()
    out["changes"] = pd.DataFrame(changes(versions.superseded), columns=list(blank("changes")))
    out["findings"] = findings_table(findings)
    if not len(findings):
        out["findings"] = blank("findings")
    for name in ("regions", "footprints", "flood_polygons", "flood_domains", "flood_nodes"):
        out[name] = shown[name] if name in shown else blank(name)
    return out


__all__ = ["check", "intake"]
