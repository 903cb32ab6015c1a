"""Boxes of the record at the foot of an end's page, and the blank sheet for an end not listed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from pipeline.publish.work_packs.facts import Job, Pack, number, said
from pipeline.publish.work_packs.seen import has_cables
from pipeline.publish.work_packs.sheet import LEFT_MM, RIGHT_MM, Sheet, shown, words_mm

RECORD_MM: Final = 70.0
_WIDE: Final = RIGHT_MM - LEFT_MM
_CLOCK: Final = ("12", "3", "6", "9")
_STEP_MM: Final = 7.6


@dataclass(frozen=True)
class Target:
    """What the depth boxes are held against (whole mm), and whether cables lie in the opening."""

    front_mm: int
    layer_mm: int
    tolerance_mm: float | None  # None where the programme has no rule for it
    has_cables: bool = True


def target_of(job: Job, pack: Pack) -> Target | None:
    """Drawn depths of an end as its sheet says them; None where no seal is drawn."""
    design = job.hole.design
    if not bool(design.get("is_designed")):
        return None
    layer = math.ceil(round(number(design, "layer_mm"), 6))
    filler = number(design, "filler_length_mm")
    recess = number(design, "depth_needed_mm") - number(design, "layer_mm") - filler
    front = math.ceil(round(recess + layer, 6))
    records = pack.settings.records
    tolerance = None if records is None else records.tolerance_mm
    return Target(front, layer, tolerance, has_cables(job))


def draw_record(sheet: Sheet, y: float, target: Target | None = None) -> float:
    """The boxes to fill in on site; returns the y below them.

    Parameters
    ----------
    sheet : Sheet
    y : float
        Top (mm).
    target : Target, optional
        Drawn depths; without it the crew writes them in.

    Returns
    -------
    float
    """
    y = sheet.heading(y, "Record")
    _fields(sheet, y, (("Date", 20), ("Start", 14), ("Finish", 14), ("Crew, lead", 38),
                       ("Permit no.", 25), ("Release no.", 25), ("Install no.", 24),
                       ("Revision used", 24)))  # fmt: skip
    y += _STEP_MM
    x = _ticks(sheet, y + 3.7, LEFT_MM, ("Air test done",))
    x = _ticks(sheet, y + 3.7, x, ("Bore as drawn", "cables", "water"))
    x = _ticks(sheet, y + 3.7, x, ("Surface dry", "damp", "wet"))
    x = _ticks(sheet, y + 3.7, x, ("Old seal out", "none"))
    _ticks(sheet, y + 3.7, x, ("Label fixed",))
    y += 5.2
    _fields(sheet, y, (("Gas reading", 24), ("Air, °C", 14), ("Surface, °C", 17),
                       ("Humidity, %", 17), ("Sealant lot", 32), ("Expiry", 20),
                       ("Second lot", 32), ("Its expiry", 28)))  # fmt: skip
    y += _STEP_MM
    _fields(sheet, y, (("Packs used, share", 26), ("Sleeves put in: size x number", 62),
                       ("Photo no. before", 24), ("cleaned", 24), ("filler", 24),
                       ("after, with label", 24)))  # fmt: skip
    y += _STEP_MM
    half = _WIDE / 2.0 - 1.0
    front, depth = target_words(target)
    has_between = target is None or target.has_cables
    _clock(sheet, (LEFT_MM, y), half, front, is_between=False)
    _clock(sheet, (LEFT_MM + half + 2.0, y), half, depth, is_between=has_between)
    y += 12.2
    _fields(sheet, y, (("No leak after 1 h: day, initials", 46),
                       ("after 24 h: day, initials", 46),
                       ("after first wet period: day, initials", 46),
                       ("Waste: what, where", 46)))  # fmt: skip
    y += _STEP_MM
    _fields(sheet, y, (("Deviation, snags; who agreed", 70), ("Name, printed", 42),
                       ("Signature", 44), ("Date", 28)))  # fmt: skip
    y += _STEP_MM
    _fields(sheet, y, (("Inspector: level (desk, visual, gauge, after flood)", 54),
                       ("Result (accepted, snag, rejected)", 42), ("Date", 24),
                       ("Name, printed", 36), ("Signature", 28)))  # fmt: skip
    return y + _STEP_MM


def target_words(target: Target | None) -> tuple[str, str]:
    """Words over the boxes for the front of the filler and for the depth of the sealant."""
    if target is None:
        return "Front face of filler, mm from the mouth: drawn ____", "Depth of sealant, mm: ____"
    depth = f"Depth of sealant: {target.layer_mm} mm"
    if target.tolerance_mm is not None:
        least = target.layer_mm - target.tolerance_mm
        depth += f" (tolerance {target.tolerance_mm:g}: no reading under {least:g})"
    return f"Front face of filler, mm from the mouth: {target.front_mm}", depth


def _fields(sheet: Sheet, y: float, parts: tuple[tuple[str, float], ...]) -> None:
    x = LEFT_MM
    for label, width in parts:
        sheet.field(x, y, width, label)
        x += width


def _ticks(sheet: Sheet, y: float, x: float, words: tuple[str, ...]) -> float:
    """Boxes to tick, each well clear of the words before it; returns the x for the next group."""
    for one in words:
        sheet.tick(x, y, one, size=7.5)
        x += 4.2 + words_mm(one, 7.5) + 2.6
    return x + 2.0


def _clock(
    sheet: Sheet, corner: tuple[float, float], width: float, label: str, *, is_between: bool
) -> None:
    """Boxes for readings at four positions of the clock, with a face that shows them."""
    x, y = corner
    sheet.text(x, y + 2.2, label, 6.8, is_bold=True, width=width)
    face_x, face_y = x + 4.6, y + 7.4
    sheet.ring(face_x, face_y, 2.2)
    for words, dx, dy in (("12", 0, -2.5), ("3", 3.3, 0.7), ("6", 0, 4.1), ("9", -3.3, 0.7)):
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
        (("End id", 46), ("Place", 38), ("Wall A-D, floor, roof", 30),
         ("Seen from inside, outside", 32), ("Row from top", 18), ("Col. from left", 20)),
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
