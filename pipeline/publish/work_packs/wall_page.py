"""One page per wall: its holes as seen, contents as the key, and what is done at each."""

from __future__ import annotations

from typing import Final

from pipeline.core import contract
from pipeline.publish.work_packs.facts import Hole, Pack, Wall, contents_words, number, said
from pipeline.publish.work_packs.sheet import (
    BOTTOM_MM,
    LEFT_MM,
    RIGHT_MM,
    TOP_MM,
    Sheet,
    row_height_mm,
    shown,
)
from pipeline.publish.work_packs.wall_picture import Frame, draw_wall

_WIDE: Final = RIGHT_MM - LEFT_MM
_PICTURE_MM: Final = 150.0
_WIDTHS: Final = (46.0, 15.0, 26.0, 54.0, 43.0)


def draw_wall_page(sheet: Sheet, wall: Wall, pack: Pack) -> None:
    """The page of one wall."""
    title = f"Wall {shown(wall.face, 20) or '(not given)'} at {shown(wall.place_id, 60)}"
    sheet.text(LEFT_MM, TOP_MM + 8.0, title, 20.0, is_bold=True, width=_WIDE)
    sheet.text(
        LEFT_MM, TOP_MM + 13.5,
        "As you see it when you stand and look at the wall: row 1 is the top, column 1 is the left.",
        10.0,
    )  # fmt: skip
    leads, kind = said(wall.place, "leads_to"), said(wall.place, "kind")
    words = (
        f"Site {shown(pack.site_id, 40)} {shown(said(pack.site, 'site_name'), 60)}; "
        f"{shown(kind, 40) or 'kind not given'}; leads to {shown(leads, 60) or 'not given'}; "
        f"gap round the duct: {shown(said(wall.place, 'gap_around_duct'), 30) or 'not seen'}"
    )
    y = sheet.few_lines(LEFT_MM, TOP_MM + 14.5, words, _WIDE, size=8.5, most=2)
    y = draw_wall(sheet, wall, Frame(LEFT_MM, y + 2.0, _WIDE, _PICTURE_MM))
    sheet.text(
        LEFT_MM, y + 4.0, "Thick ring: to be sealed with this pack. Below each hole: what is in it.",
        8.0,
    )  # fmt: skip
    rows = [_cells(h) for h in sorted(wall.holes, key=_order)]
    heads = ("end", "row, col.", "bore", "contents (the key)", "what is done")
    y, left = y + 6.0, len(rows)
    fitting = []
    for row in rows:
        high = row_height_mm(row, _WIDTHS, size=7.5, most=2)
        if y + 6.0 + high > BOTTOM_MM - 6.0:
            break
        y += high
        left -= 1
        fitting.append(row)
    low = sheet.table(
        y + 0.0 - sum(row_height_mm(r, _WIDTHS, size=7.5, most=2) for r in fitting),
        heads, _WIDTHS, fitting,
    )  # fmt: skip
    if left:
        sheet.text(LEFT_MM, low + 3.5, f"{left} more ends of this wall: see tables/ends.csv.", 8.0)


def _order(hole: Hole) -> tuple[float, float, str]:
    row, col = number(hole.end, "row_no"), number(hole.end, "col_no")
    return (row if row >= 1 else 1e9, col if col >= 1 else 1e9, hole.end_id)


def _cells(hole: Hole) -> tuple[str, ...]:
    end = hole.end
    row, col = number(end, "row_no"), number(end, "col_no")
    bore, second = number(end, "bore_mm"), number(end, "bore_b_mm")
    size = f"{bore:g}" + (f" x {second:g}" if second > 0 else "") if bore > 0 else "?"
    return (
        shown(hole.end_id, 80),
        f"{row:.0f}, {col:.0f}" if row >= 1 <= col else "?",
        shown(f"{said(end, 'shape') or '?'} {size}", 40),
        shown(contents_words(hole), 120),
        done_words(hole),
    )


def done_words(hole: Hole) -> str:
    """What is done at a hole, in a few words."""
    design = hole.design
    reach = said(design, "hold_reach")
    if hole.is_in_pack:
        return "SEAL, with its own page" + (
            "; do not start before release" if reach not in (contract.HOLD_NONE, "") else ""
        )
    if not design or not bool(design.get("is_needed")):
        return "leave as it is"
    if reach in (contract.HOLD_DESIGN, contract.HOLD_ORDER):
        return f"not now: held for {reach}"
    return "not in this pack"
