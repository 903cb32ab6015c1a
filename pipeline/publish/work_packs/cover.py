"""Cover of a pack, and its list for each day."""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from typing import Final

from pipeline.core import contract
from pipeline.core.cautions import ALWAYS, general
from pipeline.core.made_ends import made_words
from pipeline.publish.work_packs.facts import Job, Pack, Row, contents_words, number, said
from pipeline.publish.work_packs.kit import (
    Need,
    jobs_of_day,
    kit_of_crew,
    kit_of_day,
    kit_words,
    spare_sleeves,
)
from pipeline.publish.work_packs.plan import draw_plan
from pipeline.publish.work_packs.seen import held_reach
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
from pipeline.publish.work_packs.wall_picture import Frame

_WIDE: Final = RIGHT_MM - LEFT_MM
_HALF: Final = _WIDE / 2.0 - 2.0
_MIDDLE: Final = LEFT_MM + _HALF + 4.0
_WET: Final = ("damp", "drip", "run", "full bore")
_LEAST_PLAN_MM: Final = 50.0
_HOLD_ROWS: Final = 9
_WAIT_ROWS: Final = 5
_MONTHS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
ORDER_WIDTHS: Final = (8.0, 38.0, 44.0, 40.0, 54.0)


def draw_cover(sheet: Sheet, pack: Pack) -> None:
    """First page: where, when, who, what must be released, limits, kit of the crew."""
    site = pack.site
    sheet.text(LEFT_MM, TOP_MM + 9.0, f"Work pack  {shown(pack.site_id, 40)}", 26.0, is_bold=True,
               width=_WIDE)  # fmt: skip
    sheet.text(LEFT_MM, TOP_MM + 16.5, shown(said(site, "site_name"), 80), 14.0, width=_WIDE)
    kind = ", ".join(
        shown(w, 40) for w in (said(site, "site_type"), f"region {said(site, 'region')}") if w
    )
    buildings = ", ".join(shown(said(b, "building_id"), 40) for b in pack.buildings)
    words = f"{kind}; buildings {buildings}; {work_words(pack)}; {position_words(site)}"
    y = sheet.few_lines(LEFT_MM, TOP_MM + 18.0, shown(words, 500), _WIDE, size=9.0, most=3)
    low = _holds(sheet, y + 1.0, pack)
    left = _when(sheet, low, pack)
    right = _limits(sheet, low, pack)
    y = max(left, right) + 1.0
    y = sheet.heading(y, "To fill in before the first day")
    for parts in (
        (("Address", 92), ("Parking", 92)),
        (("Keyholder and phone", 62), ("Permit numbers", 61), ("Isolation or outage no.", 61)),
        (("Who to ring (office, owner's engineer)", 92), ("Nearest hospital, route", 92)),
        (("Gas-risk holder of the building told on", 92), ("Waste: to which place, note no.", 92)),
    ):
        x = LEFT_MM
        for label, width in parts:
            sheet.field(x, y, width, label, height=9.0)
            x += width
        y += 9.0
    y = sheet.heading(y + 1.5, "With the crew all days")
    y = _ticks(sheet, y, kit_of_crew(pack))
    y = sheet.heading(y + 1.0, "At every end of this pack")
    for code in ("gas", "solvents", "lifting", "sewage", ALWAYS):
        words = general(code, pack.settings.cautions)
        y = sheet.few_lines(LEFT_MM, y, shown(words, 600), _WIDE, size=9.0, most=4) + 0.8
    y = sheet.heading(y + 1.0, "A duct end that is not in this pack: blank sheet, next free id")
    ids = "; ".join(f"{p}: {', '.join(found)}" for p, found in sorted(pack.free_ids.items()))
    y = sheet.few_lines(LEFT_MM, y, shown(ids, 600), _WIDE, size=8.0, most=4)
    if y + _LEAST_PLAN_MM < BOTTOM_MM:
        y = sheet.heading(y + 1.5, "Sketch of the site, from the positions of the survey")
        high = min(BOTTOM_MM - 2.0 - y, 110.0)
        draw_plan(sheet, pack.places, Frame(LEFT_MM, y + 1.0, _WIDE, high))


def work_words(pack: Pack) -> str:
    """How many ends are to be sealed, and how many seals to be made good."""
    snags = sum(bool(j.hole.snag) for j in pack.jobs)
    rest = len(pack.jobs) - snags
    parts = [f"{rest} {'end' if rest == 1 else 'ends'} to seal"] if rest else []
    if snags:
        parts.append(f"{snags} {'seal' if snags == 1 else 'seals'} to make good (open snag)")
    return ", ".join(parts)


def made_rows(pack: Pack) -> str:
    """Ends of the same buildings that are sealed by record, each with its day; '' for none."""
    return "; ".join(f"{said(s, 'end_id')} ({made_words(s)})" for s in pack.made)


def position_words(site: Row) -> str:
    """Where a site is, in words."""
    grid = said(site, "grid_ref")
    x, y = number(site, "x_m"), number(site, "y_m")
    if math.isnan(x) or math.isnan(y):
        return f"position {grid or 'not known'}"
    near = number(site, "plan_u_m")
    doubt = "" if math.isnan(near) else f", good to {near:.0f} m"
    return f"position {grid + ' = ' if grid else ''}E {x:.0f} N {y:.0f}{doubt}"


def hold_rows(pack: Pack) -> list[str]:
    """What must be released before a start, one line for each end that waits."""
    return [
        f"Do not start {job.end_id}: {said(job.hole.design, 'hold_words') or reach}"
        for job in pack.jobs
        if (reach := said(job.hole.design, "hold_reach")) not in (contract.HOLD_NONE, "")
    ]


def waiting_rows(pack: Pack) -> list[str]:
    """Ends of the same buildings that need a seal and are not in the pack, and why not.

    Notes
    -----
    An end that is held for design or order waits for its release; the words of the hold say whose.
    Any other was not chosen for this year.
    """
    held: dict[str, list[str]] = defaultdict(list)
    rest = []
    for design in pack.waiting:
        reach = said(design, "hold_reach")
        if reach in (contract.HOLD_DESIGN, contract.HOLD_ORDER):
            held[said(design, "hold_words") or f"held for {reach}"].append(said(design, "end_id"))
        else:
            rest.append(said(design, "end_id"))
    rows = [
        f"{', '.join(ids)}: waits for a release: {words}" if len(ids) == 1 else
        f"{', '.join(ids)}: wait for a release: {words}"
        for words, ids in sorted(held.items(), key=lambda one: one[1])
    ]  # fmt: skip
    return [*rows, f"{', '.join(rest)}: not chosen for this pack"] if rest else rows


def _holds(sheet: Sheet, y: float, pack: Pack) -> float:
    rows = [shown(r, 330) for r in hold_rows(pack)]
    more = len(rows) - _HOLD_ROWS
    if more > 0:
        rows = [*rows[: _HOLD_ROWS - 1], f"{more + 1} more: see the page of each end."]
    if rows:
        high = sum(len(broken(r, 9.0, _WIDE - 5.0)) for r in rows) * line_mm(9.0) + 8.0
        sheet.box(LEFT_MM, y, _WIDE, high, pen_mm=0.9)
        sheet.text(LEFT_MM + 2.0, y + 4.8, "DO NOT START", 11.0, is_bold=True)
        at = y + 5.8
        for row in rows:
            at = sheet.lines(LEFT_MM + 2.5, at, row, _WIDE - 5.0, size=9.0)
        y += high + 1.0
    else:
        y = sheet.lines(LEFT_MM, y, "No hold on any end of this pack.", _WIDE, size=9.5) + 1.0
    made = made_rows(pack)
    if made:
        words = f"Sealed by record, no work of this pack: {made}."
        y = sheet.few_lines(LEFT_MM, y, shown(words, 900), _WIDE, size=8.5, most=4) + 1.0
    waiting = waiting_rows(pack)
    if waiting:
        count = len(pack.waiting)
        ends = "1 end" if count == 1 else f"{count} ends"
        words = f"Not in this pack and still open after it ({ends}):"
        y = sheet.lines(LEFT_MM, y, words, _WIDE, size=9.0, is_bold=True)
        for row in waiting[:_WAIT_ROWS]:
            y = sheet.few_lines(LEFT_MM + 2.0, y, shown(row, 500), _WIDE - 2.0, size=8.0, most=2)
        if len(waiting) > _WAIT_ROWS:
            y = sheet.lines(LEFT_MM + 2.0, y, "More ends wait: ask the office for the list.",
                            _WIDE, size=8.0)  # fmt: skip
        y += 1.0
    return y


def _when(sheet: Sheet, y: float, pack: Pack) -> float:
    y = sheet.heading(y, "When, and by whose leave", right=LEFT_MM + _HALF)
    days = [said(d, "work_date") for d in pack.days if said(d, "work_date")]
    crews = pack.settings.crews
    closed = ", ".join(_MONTHS[m - 1] for m in sorted(crews.closed_months)) or "none"
    permit, lead = said(pack.site, "permit_kind"), number(pack.site, "permit_lead_days")
    lead_words = "" if math.isnan(lead) else f", {lead:.0f} days of lead time"
    rows = [
        f"Planned: {days[0]} to {days[-1]}, {len(days)} crew days of {crews.hours_per_day:g} h"
        if days else "Planned: no day yet",
        f"Closed season: {closed}",
        f"Permit: {permit or 'not known'}{lead_words}",
        f"Outage needed: {said(pack.site, 'outage_needed') or 'not known'}",
        f"Crew: {crews.crew_size} people",
    ]  # fmt: skip
    for row in rows:
        y = sheet.few_lines(LEFT_MM, y, shown(row, 200), _HALF, size=9.0, most=2)
    return y


def _limits(sheet: Sheet, y: float, pack: Pack) -> float:
    y = sheet.heading(y, "Weather and water limits", x=_MIDDLE)
    sealant = pack.materials.sealant
    rows = [
        "No work under a flood warning or with water rising.",
        f"Sealant only at {sealant.least_c:g} to {sealant.most_c:g} °C of the surface "
        "(the supplier's data sheet decides).",
        f"No water on a seal for {sealant.cure_days:g} days at {sealant.cure_at_c:g} °C or "
        "warmer; colder takes longer.",
        f"Ends with water, taken last or when it is down: {wet_words(pack)}",
    ]
    for row in rows:
        y = sheet.few_lines(_MIDDLE, y, shown(row, 300), _HALF, size=9.0, most=4)
    return y


def wet_words(pack: Pack) -> str:
    """Ends of the pack where water was seen."""
    wet = [j.end_id for j in pack.jobs if said(j.hole.end, "water_now") in _WET]
    return ", ".join(wet) or "none seen"


def _ticks(sheet: Sheet, y: float, needs: list[Need], *, columns: int = 2) -> float:
    """Boxes to tick, row by row; long names go on in a second line."""
    wide = _WIDE / columns
    for start in range(0, len(needs), columns):
        part = needs[start : start + columns]
        words = [f"{n.amount}  {shown(plain_name(n), 160)}" for n in part]
        lines = max(len(broken(w, 8.5, wide - 6.0)) for w in words)
        if y + lines * line_mm(8.5) > BOTTOM_MM - 2.0:
            break
        for i, one in enumerate(words):
            x = LEFT_MM + i * wide
            sheet.box(x, y + 0.7, 3.0, 3.0)
            sheet.lines(x + 4.2, y + 0.3, one, wide - 6.0, size=8.5)
        y += lines * line_mm(8.5) + 1.1
    return y + 1.5


def plain_name(need: Need) -> str:
    """Name of an item without the unit that its amount already says."""
    return need.item.name.removesuffix(f", {need.item.unit}")


def day_parts(pack: Pack) -> list[tuple[Row | None, list[Job]]]:
    """Days with their ends; ends without a day come last, under no day."""
    out: list[tuple[Row | None, list[Job]]] = [(d, jobs_of_day(pack, d)) for d in pack.days]
    planned = {j.end_id for _, jobs in out for j in jobs}
    rest = [j for j in pack.jobs if j.end_id not in planned]
    return [*out, (None, rest)] if rest else out


def day_pieces(jobs: list[Job], room_mm: float, pack: Pack) -> list[list[Job]]:
    """Ends of a day cut into pages."""
    out: list[list[Job]] = [[]]
    used = 0.0
    for i, job in enumerate(jobs, start=1):
        high = row_height_mm(_order_row(i, job, pack), ORDER_WIDTHS, size=8.0, most=5)
        if used + high > room_mm and out[-1]:
            out.append([])
            used = 0.0
        out[-1].append(job)
        used += high
    return out


def draw_day(sheet: Sheet, pack: Pack, day: Row | None, jobs: list[Job], *, start: int) -> None:
    """List of one day: order of ends, kit to load, notes."""
    if day is None:
        title, note = "No day yet", "These ends have no crew day: ask the office before you start."
    else:
        date = said(day, "work_date")
        title = f"Day {date} {_weekday(date)}"
        note = (
            f"region {said(day, 'region')}, working day {int(day['day_no'])}, "
            f"{number(day, 'hours_h'):.1f} h with set-up and travel ({number(day, 'travel_km'):.1f}"
            f" km); {said(day, 'note')}"
        )
    sheet.text(LEFT_MM, TOP_MM + 8.0, shown(title, 60), 20.0, is_bold=True, width=_WIDE)
    y = sheet.few_lines(LEFT_MM, TOP_MM + 10.0, shown(note, 700), _WIDE, size=9.0, most=6)
    y = sheet.heading(y + 1.0, "Order of ends (walking order; take wet ends last)")
    rows = [_order_row(i, job, pack) for i, job in enumerate(jobs, start=start)]
    heads = ("", "end", "wall and place", "contents", "sealant; filler sleeves as drawn; water")
    y = sheet.table(y, heads, ORDER_WIDTHS, rows, size=8.0, most=5)
    if start == 1:
        whole = jobs_of_day(pack, day) if day is not None else jobs
        y = sheet.heading(y + 3.0, "Kit to load for this day at this site")
        y = _ticks(sheet, y, kit_of_day(pack, whole))
        y = sheet.few_lines(LEFT_MM, y - 0.5, shown(kit_words(pack, whole), 1_000), _WIDE, size=8.5,
                            most=5)  # fmt: skip
        y = sheet.heading(y + 2.0, "Waste")
        sheet.lines(
            LEFT_MM, y,
            "Cleaning waste and empty cartridges in the strong bags, old seals in their own; "
            "suspected asbestos stays untouched and goes the licensed way. Local rules decide.",
            _WIDE, size=9.0,
        )  # fmt: skip


def _weekday(date: str) -> str:
    names = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
    return names[dt.date.fromisoformat(date).weekday()] if date else ""


def _order_row(i: int, job: Job, pack: Pack) -> tuple[str, ...]:
    end = job.hole.end
    row, col = number(end, "row_no"), number(end, "col_no")
    spot = f", row {row:.0f}, column {col:.0f}" if row >= 1 <= col else ""
    is_held = bool(held_reach(job.hole))
    held = "HELD, DO NOT START before release; " if is_held else ""
    words = (
        f"{held}{amount_words(job, pack)}; {said(end, 'water_now') or 'water not seen'}"
    )  # fmt: skip
    name, done = shown(job.end_id, 80), shown(words, 260)
    return (
        str(i),
        Bold(name) if is_held else name,
        shown(f"{job.wall.place_id}, wall {job.wall.face or '?'}{spot}", 120),
        shown(contents_words(job.hole), 100),
        Bold(done) if is_held else done,
    )


def amount_words(job: Job, pack: Pack) -> str:
    """Sealant, a layer deeper than the policy's, sleeves as drawn and what is brought besides."""
    if job.hole.snag:
        return f"made good: {job.hole.snag}"
    design = job.hole.design
    ml, layer = number(design, "sealant_ml"), number(design, "layer_mm")
    amount = "no quantity" if math.isnan(ml) else f"{math.ceil(ml)} ml"
    deep = math.ceil(round(layer, 6)) if layer > 0 else 0
    if deep > math.ceil(pack.settings.design.layer_mm):
        amount += f", {deep} mm DEEP"
    sleeves = said(design, "sleeves_words") or "no sleeves"
    more = spare_sleeves(job, pack) if sleeves != "no sleeves" else ""
    return f"{amount}; {sleeves}" + (f"; also bring {more}" if more else "")
