"""One page per duct end: wall picture first, the section second, then steps, numbers, record."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import Final

from pipeline.publish.heads import AT_EVENT, OF_SEAL, at_event, of_seal
from pipeline.publish.section_drawing import (
    Section,
    key_of,
    paper_mm,
    section_of,
    side_by_side,
)
from pipeline.publish.section_paper import on_canvas
from pipeline.publish.work_packs.facts import Job, Pack, contents_words, number, said
from pipeline.publish.work_packs.kit import quantity_rows
from pipeline.publish.work_packs.record import RECORD_MM, draw_record, target_of
from pipeline.publish.work_packs.seen import held_reach, side_words
from pipeline.publish.work_packs.sheet import (
    BOTTOM_MM,
    HEIGHT_MM,
    LEFT_MM,
    RIGHT_MM,
    TOP_MM,
    Sheet,
    broken,
    cut,
    line_mm,
    shown,
)
from pipeline.publish.work_packs.steps import Line, lines_of
from pipeline.publish.work_packs.wall_picture import Frame, draw_wall

Page = Callable[[Sheet], None]

_WIDE: Final = RIGHT_MM - LEFT_MM
_QR_MM: Final = 21.0
_BETWEEN_MM: Final = 9.0  # between the two views of a section
_QUIET_MM: Final = 3.4  # ISO/IEC 18004 (from memory): four cells stay white round a code
_RELEASE_MM: Final = 7.0  # boxes for the release below the banner
_WALL_WIDE_MM: Final = 62.0
_PICTURES_MM: Final = (
    83.0,
    78.0,
    74.0,
    70.0,
    66.0,
    62.0,
    58.0,
)  # height of the pictures; lower where steps need room
_STEPS_WIDE_MM: Final = 114.0
_FACTS_X: Final = LEFT_MM + _STEPS_WIDE_MM + 4.0
_RECORD_Y: Final = BOTTOM_MM + 1.6 - RECORD_MM  # it may reach down to the line of the foot
_EASY_SIZE: Final = 8.5
_WORDS: Final = 2_000  # characters of one step
_RIGHT_SIZES: Final = (8.0, 7.5, 7.0, 6.5, 6.0, 5.5, 5.0, 4.5)
_EASY_RIGHT_SIZE: Final = 7.0
_SIZES: Final = (9.0, 8.5, 8.0, 7.5, 7.0)
_DIFFERENT: Final = (
    ("Water where none was", "control it first; if it cannot be stopped, stop and ring."),
    ("Bore differs by more than 5 mm", "do not cut sleeves to fit: measure, ring, write it down."),
    ("Other cables than drawn", "do not seal: photograph, ring for a new sheet."),
    ("Depth cannot be reached", "do not push on: measure what is free, ring."),
)


def pages_of_end(job: Job, pack: Pack) -> list[Page]:
    """The page of an end; a second one only where steps and cautions do not fit on the first.

    Parameters
    ----------
    job : Job
    pack : Pack

    Returns
    -------
    list of callable
        Each draws one page.
    """
    section = section_of(job.hole.design, job.placements) if job.hole.design else None
    lines = lines_of(job.hole.design, job.hole.snag)
    blocks = _right_blocks(job, pack)
    for picture in _PICTURES_MM:
        top = _head_low(job) + picture + 8.0
        size, count = _fitting(lines, _RECORD_Y - top - 8.0)
        right = _right_size(blocks, _RECORD_Y - top - 1.0)
        if count == len(lines) and size >= _EASY_SIZE and right >= _EASY_RIGHT_SIZE:
            break
    first, rest = lines[:count], lines[count:]

    def page(sheet: Sheet) -> None:
        _head(sheet, job, pack)
        _pictures(sheet, job, section, picture)
        y = sheet.heading(top, "Steps", right=LEFT_MM + _STEPS_WIDE_MM)
        y = _steps(sheet, y, first, size)
        if rest:
            sheet.text(LEFT_MM, y + 3.4, "Steps go on overleaf.", 9.0, is_bold=True)
        _right_column(sheet, top, blocks, size=right)
        draw_record(sheet, _RECORD_Y, target_of(job, pack))

    return [page, *_overleaf(job, pack, rest)]


def _overleaf(job: Job, pack: Pack, lines: list[Line]) -> list[Page]:
    """Further pages for steps that do not fit on the first: no caution is ever left out."""
    top = _head_low(job) + 2.0
    parts: list[list[Line]] = []
    used = math.inf
    for one in lines:
        high = _height(one, _SIZES[0])
        if used + high > BOTTOM_MM - top - 8.0:
            parts.append([])
            used = 0.0
        parts[-1].append(one)
        used += high

    def draw(sheet: Sheet, part: list[Line]) -> None:
        _head(sheet, job, pack)
        _steps(sheet, sheet.heading(top, "Steps, going on"), part, _SIZES[0])

    return [partial(draw, part=part) for part in parts]


def _hold_words(job: Job) -> str:
    design = job.hole.design
    reach = held_reach(job.hole)
    words = said(design, "hold_words")
    return f"DO NOT START before release: {words or reach}" if reach else ""


def _hold_lines(job: Job) -> list[str]:
    words = _hold_words(job)
    return broken(shown(words, 700), 9.0, _WIDE - 4.0, is_bold=True) if words else []


def _head_low(job: Job) -> float:
    lines = _hold_lines(job)
    return (
        TOP_MM
        + _QR_MM
        + 1.5
        + (len(lines) * line_mm(9.0) + _QUIET_MM + 2.0 + _RELEASE_MM if lines else 0.0)
    )


def _head(sheet: Sheet, job: Job, pack: Pack) -> None:
    """Big id and its code; where it is; what must be released first."""
    name = shown(job.end_id, 120)
    wide = _WIDE - _QR_MM - 4.0
    size = 26.0
    while size > 13.0 and len(broken(name, size, wide, is_bold=True)) > 1:
        size -= 1.0
    sheet.text(LEFT_MM, TOP_MM + 7.5, cut(name, size, wide, is_bold=True), size, is_bold=True)
    sheet.code(RIGHT_MM - _QR_MM, TOP_MM, _QR_MM, job.end_id)
    end, wall = job.hole.end, job.wall
    row, col = number(end, "row_no"), number(end, "col_no")
    spot = f"row {row:.0f} from the top, column {col:.0f} from the left" if row >= 1 <= col else (
        "row and column not given"
    )  # fmt: skip
    house = f"Building {shown(job.building_id, 40)}, site {shown(pack.site_id, 40)} "
    house += shown(said(pack.site, "site_name"), 60)
    sheet.text(LEFT_MM, TOP_MM + 13.4, house, 13.0, is_bold=True, width=wide)
    where = f"Wall {shown(wall.face, 20) or 'not given'}, {spot}"
    sheet.text(LEFT_MM, TOP_MM + 18.2, where, 11.0, is_bold=True, width=wide)
    place = (
        f"{_place_kind(job)} {shown(wall.place_id, 60)}, {side_words(wall)}; "
        f"revision: run {pack.paper.run_id}"
    )
    sheet.text(LEFT_MM, TOP_MM + 22.0, place, 8.5, width=wide)
    lines = _hold_lines(job)
    if lines:
        y = TOP_MM + _QR_MM + _QUIET_MM
        sheet.box(LEFT_MM, y, _WIDE, len(lines) * line_mm(9.0) + 2.0, pen_mm=0.0, grey=0.0)
        with sheet.ink(1.0):
            for i, line in enumerate(lines):
                base = y + (i + 0.8) * line_mm(9.0) + 0.9
                sheet.text(LEFT_MM + 2.0, base, line, 9.0, is_bold=True)
        y += len(lines) * line_mm(9.0) + 2.0
        x = LEFT_MM
        for label, width in (("Release no.", 50.0), ("by (name, role)", 90.0), ("on (date)", 44.0)):
            sheet.field(x, y, width, label, height=_RELEASE_MM)
            x += width


def _place_kind(job: Job) -> str:
    return "chamber" if said(job.hole.end, "place_kind") == "chamber" else "entry"


def _pictures(sheet: Sheet, job: Job, section: Section | None, picture: float) -> None:
    top = _head_low(job)
    low = top + picture + 6.0
    sheet.heading(top, "1  Which hole: looking at the wall", right=LEFT_MM + _WALL_WIDE_MM)
    draw_wall(
        sheet, job.wall,
        Frame(LEFT_MM, top + 6.0, _WALL_WIDE_MM, picture - 5.0), this_id=job.end_id,
    )  # fmt: skip
    side = side_words(job.wall).split(",")[0]
    cross = " Cross: HELD." if any(held_reach(h) for h in job.wall.holes) else ""
    words = f"S{side[1:]}. Filled: this hole. Thick ring: in this pack.{cross}"
    sheet.few_lines(LEFT_MM, low - 4.0, words, _WALL_WIDE_MM, size=6.5, most=2)
    x = LEFT_MM + _WALL_WIDE_MM + 4.0
    wide = RIGHT_MM - x
    sheet.heading(top, "2  The seal, seen from the mouth: section to scale", x=x)
    if section is None:
        why = said(job.hole.design, "not_designed_reason") or "see the holds"
        sheet.box(x, top + 9.0, wide, 30.0)
        sheet.few_lines(x + 2.0, top + 11.0, f"No seal is drawn: {shown(why, 300)}", wide - 4.0,
                    size=11.0, most=5)  # fmt: skip
        return
    one, beside = side_by_side(section, width_mm=wide, height_mm=picture - 7.0)
    on_canvas(one, sheet.canvas, left_mm=x, top_mm=HEIGHT_MM - top - 7.0)
    right = RIGHT_MM - paper_mm(beside)[0]
    left = min(right, x + paper_mm(one)[0] + _BETWEEN_MM)
    on_canvas(beside, sheet.canvas, left_mm=left, top_mm=HEIGHT_MM - top - 7.0)
    on_canvas(key_of(section, wide_mm=wide), sheet.canvas, left_mm=x, top_mm=HEIGHT_MM - low + 5.2)


def _height(line: Line, size: float) -> float:
    words = shown(line.words, _WORDS)
    rows = broken(words, size, _STEPS_WIDE_MM - 8.0, is_bold=not line.number)
    return len(rows) * line_mm(size) + 0.8


def _fitting(lines: list[Line], room_mm: float) -> tuple[float, int]:
    """Largest letters in which all lines fit, else the smallest and how many fit."""
    for size in _SIZES:
        if sum(_height(one, size) for one in lines) <= room_mm:
            return size, len(lines)
    used, count = 0.0, 0
    for one in lines:
        used += _height(one, size)
        if used > room_mm - 5.0:
            break
        count += 1
    return size, count


def _steps(sheet: Sheet, y: float, lines: list[Line], size: float) -> float:
    for one in lines:
        words = shown(one.words, _WORDS)
        high = _height(one, size)
        if one.number:
            sheet.text(LEFT_MM, y + 0.78 * line_mm(size), f"{one.number}", size, is_bold=True)
        else:
            sheet.box(LEFT_MM + 5.0, y + 0.2, 0.9, high - 0.8, pen_mm=0.0, grey=0.0)
        sheet.lines(
            LEFT_MM + 7.0, y, words, _STEPS_WIDE_MM - 8.0, size=size, is_bold=not one.number
        )
        y += high
    return y


def _right_blocks(job: Job, pack: Pack) -> list[tuple[str, list[str]]]:
    """What is there, level and head, quantities, what to do if it is different."""
    return [
        ("What is there", [shown(r, 160) for r in there_words(job)]),
        ("Level and head", [shown(r, 160) for r in level_words(job)]),
        ("For this end", [shown(r, 300) for r in quantity_rows(job, pack)]),
        ("If it is different, ring: _________", [f"{a}: {b}" for a, b in _DIFFERENT]),
    ]


def _right_height(blocks: list[tuple[str, list[str]]], size: float) -> float:
    rows = sum(len(broken(r, size, RIGHT_MM - _FACTS_X)) for _, part in blocks for r in part)
    return rows * line_mm(size) + 6.7 * len(blocks)


def _right_size(blocks: list[tuple[str, list[str]]], room_mm: float) -> float:
    """Largest letters in which the right column fits; the smallest where none do."""
    return next((s for s in _RIGHT_SIZES if _right_height(blocks, s) <= room_mm), _RIGHT_SIZES[-1])


def _right_column(
    sheet: Sheet, y: float, blocks: list[tuple[str, list[str]]], *, size: float
) -> None:
    for title, rows in blocks:
        y = sheet.heading(y, title, x=_FACTS_X)
        for words in rows:
            y = sheet.lines(_FACTS_X, y, words, RIGHT_MM - _FACTS_X, size=size)
        y += 0.5


def there_words(job: Job) -> list[str]:
    """What is in the hole and what it is made of, in short lines."""
    end, design = job.hole.end, job.hole.design
    bore, second = number(end, "bore_mm"), number(end, "bore_b_mm")
    size = "bore not known"
    if not math.isnan(bore):
        size = f"bore {bore:g} mm" + ("" if math.isnan(second) else f" x {second:g} mm")
    rows = [
        f"{said(end, 'shape') or 'shape not given'}, {size}, "
        f"{said(end, 'material') or 'material unknown'}",
        f"contents: {contents_words(job.hole)}",
    ]
    coverings = sorted({said(c, "covering") or "unknown" for c in job.hole.cables})
    if coverings:
        rows.append(f"covering: {', '.join(coverings)}")
    arrangement = said(design, "arrangement")
    if arrangement and job.hole.cables:
        rows.append(f"drawn: {arrangement}")
    state = said(end, "water_now") or "not seen"
    rows.append(f"water: {state}; mouth {said(end, 'mouth') or 'not seen'}")
    if said(end, "draw_cord") == "yes":
        rows.append("draw cord in the duct")
    old = said(design, "old_seal")
    if old:
        kinds = sorted({said(s, "kind") or "unknown" for s in job.seals})
        rows.append(f"old seal: {', '.join(kinds) or 'kind unknown'}: {old}")
    if job.photo:
        rows.append(f"photo: {job.photo}")
    return rows


def level_words(job: Job) -> list[str]:
    """Level of the end, its two heads, let-in level, and where the water comes from."""
    level, reach, design = job.level, job.reach, job.hole.design
    rows = []
    own = number(level, "level_m")
    rows.append("level: none surveyed" if math.isnan(own) else f"level {own:.3f} m")
    event = at_event(number(reach, "head_m"))
    if event:
        rows.append(f"{AT_EVENT}: {event}")
    rows.append(f"{OF_SEAL}: {of_seal(number(design, 'design_head_m'), said(design, 'head_from'))}")
    let_in = number(reach, "let_in_level_m")
    if not math.isnan(let_in):
        rows.append(f"let-in level {let_in:.3f} m")
    way = said(reach, "way")
    if way:
        rows.append(f"water comes: {way}, {said(reach, 'mechanism') or 'source unknown'}")
    return rows
