"""One page per wall: its holes as seen, contents as the key, and what is done at each."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Final

from pipeline.core import contract
from pipeline.publish.work_packs.facts import Hole, Pack, Wall, contents_words, number, said
from pipeline.publish.work_packs.seen import floor_words, held_reach, side_words
from pipeline.publish.work_packs.sheet import (
    BOTTOM_MM,
    LEFT_MM,
    RIGHT_MM,
    TOP_MM,
    Bold,
    Sheet,
    broken,
    line_mm,
    row_height_mm,
    shown,
)
from pipeline.publish.work_packs.wall_picture import (
    FLOOR_MM,
    Frame,
    draw_wall,
    rest_words,
    spots,
)

Page = Callable[[Sheet], None]

_WIDE: Final = RIGHT_MM - LEFT_MM
_FRAME: Final = Frame(LEFT_MM, TOP_MM + 27.0, _WIDE, 140.0)
_HEADS: Final = ("end", "row, col.", "bore", "contents (the key)", "what is done")
_WIDTHS: Final = (46.0, 15.0, 26.0, 54.0, 43.0)


def pages_of_wall(wall: Wall, pack: Pack) -> list[Page]:
    """The page of a wall, and more where its list of ends is longer than that page."""
    rows = [_cells(h) for h in sorted(wall.holes, key=_order)]
    parts: list[list[tuple[str, ...]]] = [[]]
    room = BOTTOM_MM - _table_top(wall) - 7.0
    for row in rows:
        high = row_height_mm(row, _WIDTHS, size=7.5, most=2)
        if high > room:
            parts.append([])
            room = BOTTOM_MM - TOP_MM - 24.0
        parts[-1].append(row)
        room -= high

    def first(sheet: Sheet) -> None:
        _title(sheet, wall, "")
        _where(sheet, wall, pack)
        y = draw_wall(sheet, wall, _FRAME)
        sheet.text(
            LEFT_MM, y + 4.0,
            "Thick ring: work of this pack. " + ("Cross and HELD: not before its release. "
            if any(held_reach(h) for h in wall.holes) else "")
            + "Below each hole: what is in it.", 8.0,
        )  # fmt: skip
        sheet.table(_table_top(wall), _HEADS, _WIDTHS, parts[0])
        if len(parts) > 1:
            sheet.text(LEFT_MM, BOTTOM_MM, "The list goes on overleaf.", 8.0, is_bold=True)

    def more(sheet: Sheet, part: list[tuple[str, ...]]) -> None:
        _title(sheet, wall, ", going on")
        sheet.table(TOP_MM + 14.0, _HEADS, _WIDTHS, part)

    return [first, *(partial(more, part=part) for part in parts[1:])]


def _title(sheet: Sheet, wall: Wall, more: str) -> None:
    title = f"Wall {shown(wall.face, 20) or '(not given)'} at {shown(wall.place_id, 60)}{more}"
    sheet.text(LEFT_MM, TOP_MM + 8.0, title, 20.0, is_bold=True, width=_WIDE)


def _where(sheet: Sheet, wall: Wall, pack: Pack) -> None:
    side = side_words(wall)
    sheet.text(LEFT_MM, TOP_MM + 13.5, f"S{side[1:]}.", 11.0, is_bold=True, width=_WIDE)
    words = (
        f"As you look at it: row 1 is the top, column 1 the left. {floor_words(wall)} "
        "The other side of the wall has its own numbers."
    )
    sheet.text(LEFT_MM, TOP_MM + 18.0, words, 8.5, width=_WIDE)
    leads, kind = said(wall.place, "leads_to"), said(wall.place, "kind")
    words = (
        f"Site {shown(pack.site_id, 40)} {shown(said(pack.site, 'site_name'), 60)}; "
        f"{shown(kind, 40) or 'kind not given'}; leads to {shown(leads, 60) or 'not given'}; "
        f"gap round the duct: {shown(said(wall.place, 'gap_around_duct'), 30) or 'not seen'}"
    )
    sheet.few_lines(LEFT_MM, TOP_MM + 18.5, words, _WIDE, size=8.5, most=2)


def _table_top(wall: Wall) -> float:
    """Where the list begins below the picture."""
    low = max((s.y + s.height / 2.0 for s in spots(wall, _FRAME)), default=_FRAME.y + 4.0)
    low += FLOOR_MM
    words = rest_words(wall)
    if words:
        low += 1.0 + min(len(broken(words, 7.0, _WIDE)), 8) * line_mm(7.0)
    return low + 6.0


def _order(hole: Hole) -> tuple[float, float, str]:
    row, col = number(hole.end, "row_no"), number(hole.end, "col_no")
    return (row if row >= 1 else 1e9, col if col >= 1 else 1e9, hole.end_id)


def _cells(hole: Hole) -> tuple[str, ...]:
    end = hole.end
    row, col = number(end, "row_no"), number(end, "col_no")
    bore, second = number(end, "bore_mm"), number(end, "bore_b_mm")
    size = f"{bore:g}" + (f" x {second:g}" if second > 0 else "") if bore > 0 else "?"
    done: str = shown(done_words(hole), 200)
    return (
        Bold(shown(hole.end_id, 80)) if held_reach(hole) else shown(hole.end_id, 80),
        f"{row:.0f}, {col:.0f}" if row >= 1 <= col else "?",
        shown(f"{said(end, 'shape') or '?'} {size}", 40),
        shown(contents_words(hole), 120),
        Bold(done) if held_reach(hole) else done,
    )


def done_words(hole: Hole) -> str:
    """What is done at a hole, in a few words."""
    design = hole.design
    reach = held_reach(hole)
    if hole.is_in_pack:
        own = f"make good: {hole.snag}" if hole.snag else "seal, with its own page"
        return f"HELD, DO NOT START before release: {own}" if reach else own.capitalize()
    if hole.is_made:
        return f"leave: sealed by record {said(hole.sealed, 'sealed_on')}"
    if not design or not bool(design.get("is_needed")):
        return "leave as it is"
    if reach in (contract.HOLD_DESIGN, contract.HOLD_ORDER):
        return f"HELD for {reach}: not now, not in this pack"
    return "HELD, and not in this pack" if reach else "not in this pack"
