"""Work packs: one PDF for each chosen site, with cover, days, walls, ends and blank sheets."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Final

from pipeline.core.materials import load, papers_say
from pipeline.core.settings import Settings
from pipeline.publish.orders import file_name
from pipeline.publish.pdf_file import pdf_canvas
from pipeline.publish.section_paper import POINTS_PER_MM
from pipeline.publish.work_packs.cover import day_parts, day_pieces, draw_cover, draw_day
from pipeline.publish.work_packs.end_page import pages_of_end
from pipeline.publish.work_packs.facts import Pack, Paper, packs_of, said
from pipeline.publish.work_packs.photo_page import pages_of_photos
from pipeline.publish.work_packs.photo_small import Album
from pipeline.publish.work_packs.photos import Photos, with_photos
from pipeline.publish.work_packs.record import draw_blank
from pipeline.publish.work_packs.sheet import (
    HEIGHT_MM,
    LEFT_MM,
    RIGHT_MM,
    WIDTH_MM,
    Sheet,
    cut,
    shown,
)
from pipeline.publish.work_packs.wall_page import pages_of_wall
from pipeline.tables import Tables

Page = Callable[[Sheet], None]
_DAY_ROOM_MM: Final = 130.0
_NAME_CHARACTERS: Final = 80


def write_work_packs(
    folder: Path, tables: Tables, settings: Settings, *, run_id: str
) -> list[Path]:
    """Write one PDF for every site with a chosen package.

    Parameters
    ----------
    folder : Path
        Made where there is a pack to write.
    tables : Tables
        Tables of a whole run.
    settings : Settings
    run_id : str
        Printed on every page.

    Returns
    -------
    list of Path
        The files, in order of site.
    """
    paper = Paper(
        run_id,
        settings.planning_date.isoformat(),
        settings.reference.vertical_datum,
        papers_say(settings),
    )
    packs = packs_of(tables, settings, load(settings.design.materials), paper=paper)
    photos, album = Photos(tables), Album(settings.surveys.files)
    out = []
    for pack in packs:
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / f"{pack_name(pack.site_id)}.pdf"
        write_pack(path, with_photos(pack, photos, album))
        out.append(path)
    return out


def pack_name(site_id: str) -> str:
    """Name of a pack's file without its ending; long ids are cut and marked by a hash."""
    if len(site_id) <= _NAME_CHARACTERS:
        return file_name(site_id)
    mark = hashlib.sha256(site_id.encode("utf-8")).hexdigest()[:4]
    return f"{file_name(site_id[:_NAME_CHARACTERS])[:_NAME_CHARACTERS]}_{mark}"


def write_pack(path: Path, pack: Pack) -> int:
    """Write one pack; returns the number of its pages."""
    pages = pages_of(pack)
    canvas = pdf_canvas(path, (WIDTH_MM * POINTS_PER_MM, HEIGHT_MM * POINTS_PER_MM))
    canvas.setTitle(shown(f"Work pack {pack.site_id}, run {pack.paper.run_id}", 120))
    canvas.setAuthor("stanch")
    for i, page in enumerate(pages, start=1):
        sheet = Sheet(canvas)
        page(sheet)
        _foot(sheet, pack, i, len(pages))
        canvas.showPage()
    canvas.save()
    return len(pages)


def pages_of(pack: Pack) -> list[Page]:
    """The pages of a pack in order: cover, days, walls each with their ends, blank sheets."""
    pages: list[Page] = [partial(draw_cover, pack=pack)]
    for day, jobs in day_parts(pack):
        start = 1
        for part in day_pieces(jobs, _DAY_ROOM_MM, pack):
            pages.append(partial(draw_day, pack=pack, day=day, jobs=part, start=start))
            start += len(part)
    for wall in pack.walls:
        pages += pages_of_wall(wall, pack)
    for job in pack.jobs:
        pages += [*pages_of_end(job, pack), *pages_of_photos(job, pack)]
    for building in pack.buildings:
        pages.append(partial(draw_blank, pack=pack, building_id=said(building, "building_id")))
    return pages


def _foot(sheet: Sheet, pack: Pack, page: int, count: int) -> None:
    paper = pack.paper
    y = 291.0
    sheet.rule(LEFT_MM, y - 4.4, RIGHT_MM, y - 4.4)
    words = (
        f"run {paper.run_id}  |  planning date {paper.planning_date}  |  levels on "
        f"{shown(paper.datum, 50)}  |  {shown(pack.site_id, 40)}  |  page {page} of {count}"
    )
    sheet.text(LEFT_MM, y - 1.4, words, 7.0, width=RIGHT_MM - LEFT_MM)
    if paper.note:
        note = cut(paper.note[0].upper() + paper.note[1:], 8.0, RIGHT_MM - LEFT_MM, is_bold=True)
        sheet.text(LEFT_MM, y + 1.8, note, 8.0, is_bold=True)


__all__ = ["pack_name", "pages_of", "write_pack", "write_work_packs"]
