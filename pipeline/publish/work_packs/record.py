"""Boxes of the record at the foot of an end's page, and the blank sheet for an end not listed."""

from __future__ import annotations

from typing import Final

from pipeline.publish.work_packs.facts import Pack, said
from pipeline.publish.work_packs.sheet import LEFT_MM, RIGHT_MM, Sheet, shown

RECORD_MM: Final = 61.0
_WIDE: Final = RIGHT_MM - LEFT_MM
_CLOCK: Final = ("12", "3", "6", "9")


def draw_record(sheet: Sheet, y: float) -> float:
    """The boxes to fill in on site; returns the y below them."""
    y = sheet.heading(y, "Record")
    _fields(sheet, y, (("Date", 22), ("Start", 15), ("Finish", 15), ("Crew, lead", 45),
                       ("Permit no.", 30), ("Install no.", 28), ("Revision used", 29)))  # fmt: skip
    y += 8.2
    x = _ticks(sheet, y + 4.0, LEFT_MM, ("Air test done",))
    x = _ticks(sheet, y + 4.0, x + 2, ("Bore", "cables", "water as drawn"))
    x = _ticks(sheet, y + 4.0, x + 2, ("Surface dry", "damp", "wet"))
    _ticks(sheet, y + 4.0, x + 2, ("Old seal out", "none"))
    y += 5.6
    _fields(sheet, y, (("Air, °C", 18), ("Surface, °C", 20), ("Humidity, %", 20),
                       ("Sealant lot", 36), ("Expiry", 26), ("Packs used, share", 30),
                       ("Sleeves put in: size x number", 34)))  # fmt: skip
    y += 8.6
    half = _WIDE / 2.0 - 1.0
    _clock(sheet, LEFT_MM, y, half, "Front face of filler, mm from the mouth", is_between=False)
    _clock(sheet, LEFT_MM + half + 2.0, y, half, "Depth of sealant, mm", is_between=True)
    y += 12.6
    x = _ticks(sheet, y + 3.6, LEFT_MM, ("Photo before", "cleaned", "filler", "after, with label"))
    x = _ticks(sheet, y + 3.6, x + 2, ("Label fixed",))
    _ticks(sheet, y + 3.6, x + 2, ("No leak after 1 h", "24 h", "first wet period"))
    y += 5.2
    _fields(sheet, y, (("Deviation, snags, waste; who agreed", 112), ("Signature", 72)))
    return y + 8.2


def _fields(sheet: Sheet, y: float, parts: tuple[tuple[str, float], ...]) -> None:
    x = LEFT_MM
    for label, width in parts:
        sheet.field(x, y, width, label)
        x += width


def _ticks(sheet: Sheet, y: float, x: float, words: tuple[str, ...]) -> float:
    for one in words:
        sheet.tick(x, y, one, size=7.5)
        x += 6.4 + 1.28 * len(one)
    return x


def _clock(sheet: Sheet, x: float, y: float, width: float, label: str, *, is_between: bool) -> None:
    """Boxes for readings at four positions of the clock, with a face that shows them."""
    sheet.text(x, y + 2.2, label, 6.8, is_bold=True)
    face_x, face_y = x + 4.6, y + 7.8
    sheet.ring(face_x, face_y, 2.5)
    for words, dx, dy in (("12", 0, -2.8), ("3", 3.5, 0.7), ("6", 0, 4.5), ("9", -3.5, 0.7)):
        sheet.middle(face_x + dx, face_y + dy, words, 5.2)
    labels = [*_CLOCK, "between cables"] if is_between else list(_CLOCK)
    room = width - 12.0
    one = room / (len(labels) + (0.4 if is_between else 0.0))
    at = x + 11.0
    for i, words in enumerate(labels):
        wide = one * (1.4 if is_between and i == len(labels) - 1 else 1.0)
        name = words if words == "between cables" else f"at {words}"
        sheet.field(at, y + 3.2, wide, name, height=8.4)
        at += wide


def draw_blank(sheet: Sheet, pack: Pack, building_id: str) -> None:
    """A sheet for an end that is not in the pack, with the next free ids of each wall."""
    sheet.text(LEFT_MM, 19.0, "Blank sheet: a duct end that is not in this pack", 15, is_bold=True)
    y = sheet.lines(
        LEFT_MM, 22.0,
        "Do not seal it before the office has drawn it. Take the next free id below for the place, "
        "write it on the label and here, measure, photograph, send in.",
        _WIDE, size=9.0,
    )  # fmt: skip
    rows = [
        (shown(place, 60), shown(", ".join(ids), 160))
        for place, ids in sorted(pack.free_ids.items())
        if any(j.wall.place_id == place and j.building_id == building_id for j in pack.jobs)
    ]
    y = sheet.table(y + 1.5, ("place", "next free ids, in this order"), (70, 114), rows[:12])
    sheet.text(LEFT_MM, y + 5.0, f"Site {shown(pack.site_id, 40)}, building "
               f"{shown(building_id, 40)} {shown(said(pack.site, 'site_name'), 50)}", 8.5,
               width=_WIDE)  # fmt: skip
    y += 7.5
    for parts in (
        (("End id", 60), ("Place", 44), ("Wall A-D, floor, roof", 34), ("Row from top", 23),
         ("Column from left", 23)),
        (("Shape", 34), ("True bore, mm", 30), ("Second size, mm", 30), ("Material", 45),
         ("Free depth, mm", 45)),
        (("Level: from what, how far down or up, m", 84), ("Water: dry, damp, drip, run, full", 50),
         ("Leads to", 50)),
        (("Old seal: kind, sound?, water passing?", 92), ("Draw cord, sub-ducts, silt", 46),
         ("Photo no.", 46)),
    ):  # fmt: skip
        x = LEFT_MM
        for label, width in parts:
            sheet.field(x, y, width, label, height=9.5)
            x += width
        y += 9.5
    y += 2.0
    sheet.ring(LEFT_MM + 34.0, y + 33.0, 31.0, pen_mm=0.5)
    for words, dx, dy in (("12", 0, -27.0), ("3", 28.0, 1.0), ("6", 0, 29.5), ("9", -28.0, 1.0)):
        sheet.middle(LEFT_MM + 34.0 + dx, y + 33.0 + dy, words, 7.0)
    sheet.text(LEFT_MM, y + 68.0, "Draw the cables as they lie.", 7.5)
    x = LEFT_MM + 74.0
    for label, width in (("Cables: count", 22), ("diameter, mm", 26), ("class", 24),
                         ("covering", 38)):  # fmt: skip
        for k in range(7):
            sheet.field(x, y + k * 9.4, width, label if k == 0 else "", height=9.4)
        x += width
    draw_record(sheet, 284.0 - RECORD_MM)
