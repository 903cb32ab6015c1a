"""Every file of a run folder, one after the other."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from pipeline.core.buying import load as load_buying
from pipeline.core.progress import Progress, silent
from pipeline.core.run_id import RunId
from pipeline.core.settings import Settings
from pipeline.publish.case_pages import write_cases
from pipeline.publish.certificates import write_certificates
from pipeline.publish.crew_calendar import write_crew_calendars
from pipeline.publish.gis import write_gis
from pipeline.publish.map_page import write_map
from pipeline.publish.orders import write_orders
from pipeline.publish.profiles import PUBLIC, for_profile, write_public
from pipeline.publish.programme_book import write_programme
from pipeline.publish.questions import write_questions
from pipeline.publish.record import write_record
from pipeline.publish.records_book import write_records
from pipeline.publish.schedule_book import write_schedule
from pipeline.publish.site_extracts import write_site_extracts
from pipeline.publish.tables_csv import write_findings, write_tables
from pipeline.publish.work_packs import write_work_packs
from pipeline.tables import Tables


def write_folder(
    tables: Tables,
    settings: Settings,
    *,
    folder: Path,
    run_id: RunId,
    when: Callable[[], dict[str, Any]],
    progress: Progress = silent,
) -> None:
    """Write every file of a run folder; parameters as in `pipeline.publish.publish`."""
    label = run_id.short
    if settings.export.profile == PUBLIC:
        write_public(folder, tables, settings, run_id, when)
        return
    tables = for_profile(tables, settings)
    buying = load_buying(settings)
    procurement = folder / "procurement"
    procurement.mkdir()
    work: tuple[Callable[[], Any], ...] = (
        lambda: write_tables(folder / "tables", tables),
        lambda: write_findings(folder / "findings.csv", tables),
        lambda: write_questions(folder / "questions.xlsx", tables, label),
        lambda: write_gis(folder / "programme.gpkg", tables, settings),
        lambda: (
            write_site_extracts(folder / "site_extracts", tables, settings, label)
            if settings.export.site_extracts
            else None
        ),
        lambda: write_programme(folder / "programme.xlsx", tables, settings, run_id=label),
        lambda: write_cases(folder / "cases.pdf", tables, settings, run_id=label),
        lambda: write_crew_calendars(folder / "crews", tables, settings, run_id=label),
        lambda: write_schedule(
            procurement / "schedule.xlsx", tables, settings, buying=buying, run_id=label
        ),
        lambda: write_orders(procurement / "orders", tables, settings, buying, label),
        lambda: write_records(folder / "records.xlsx", tables, settings, run_id=label),
        lambda: write_certificates(folder / "certificates", tables, settings, run_id=label),
        lambda: write_map(folder / "map.html", tables, settings, run_id=label),
        lambda: write_work_packs(folder / "work_packs", tables, settings, run_id=label),
        lambda: write_record(folder / "run.json", tables, settings, run_id, when=when),
    )
    for done, step in enumerate(work):
        progress(done, len(work))
        step()
    progress(len(work), len(work))
