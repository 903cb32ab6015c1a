"""What is taken along: pieces of the ends, packs of the day, and what a crew carries anyway."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from pipeline.core.materials import Item
from pipeline.publish.work_packs.facts import Job, Pack, Row, number, said
from pipeline.publish.work_packs.seen import (
    counted_sleeves,
    drawn_sleeves,
    held_reach,
    lengths_count,
    sizes_words,
)


@dataclass(frozen=True)
class Need:
    """One line of a kit list."""

    item: Item
    amount: str
    note: str


def amounts(jobs: Iterable[Job]) -> dict[str, float]:
    """Pieces and ml of some ends by item, provisional ones at their P90."""
    out: dict[str, float] = defaultdict(float)
    for job in jobs:
        for piece in job.pieces:
            amount = number(piece, "quantity_p90")
            if amount > 0:
                out[said(piece, "item_id")] += amount
    return dict(out)


def jobs_of_day(pack: Pack, day: Row) -> list[Job]:
    """The ends of one crew day at this site, in walking order."""
    by_id = {j.end_id: j for j in pack.jobs}
    return [by_id[e] for e in said(day, "end_ids").split(";") if e in by_id]


def packs_count(ml: float, item: Item) -> int:
    """Whole packs that hold an amount."""
    return math.ceil(round(ml / float(item.pack_ml or 1.0), 9))


def kit_of_day(pack: Pack, jobs: list[Job]) -> list[Need]:
    """What the ends of one day need, from the tables, in the order of the materials file.

    Notes
    -----
    Sealant of the day is pooled: opened packs serve the other ends of the same day. The spares of
    the materials file come on top.
    """
    have = amounts(jobs)
    out = []
    for item in pack.materials.item:
        ml = have.get(item.id, 0.0)
        if item.counted_by == "crew-day":
            out.append(_per_day(pack, item, ml))
        elif item.counted_by == "end" and ml > 0:
            words = f"{ml:.0f} {item.unit}" if item.unit == "ml" else f"{math.ceil(ml)}"
            out.append(Need(item, words, ""))
    return out


def _per_day(pack: Pack, item: Item, ml: float) -> Need:
    if item.kind == "sealant":
        count = packs_count(ml, item)
        return Need(
            item, f"{count} + {item.spare_count}" if count else f"{item.spare_count} spare",
            f"{math.ceil(ml)} ml for the ends of the day, opened packs shared; then spare",
        )  # fmt: skip
    people = pack.settings.crews.crew_size if item.per_person else 1
    amount = item.quantity * people + item.spare_count
    return Need(item, f"{amount:g} {item.unit}" if item.unit != "piece" else f"{amount:g}", "")


def kit_of_crew(pack: Pack) -> list[Need]:
    """What the crew and the site need once."""
    out = []
    for item in pack.materials.item:
        if item.counted_by in ("crew", "site"):
            people = pack.settings.crews.crew_size if item.per_person else 1
            count = item.quantity * people + item.spare_count
            out.append(Need(item, f"{count:g}", item.meaning))
    return out


def spare_sleeves(job: Job, pack: Pack) -> str:
    """Sleeves of the quantities beyond the drawing, by size; '' for none.

    Notes
    -----
    The quantity of a size is the larger of the cables as drawn and as found: where the cables have
    to stay as they lie, other sleeves fill the bore.
    """
    sizes = {i.id: float(i.outer_mm or 0.0) for i in pack.materials.item if i.kind == "sleeve"}
    more = counted_sleeves(job, sizes)
    more.subtract(drawn_sleeves(job))
    return sizes_words(more)


def kit_words(pack: Pack, jobs: list[Job]) -> str:
    """How the kit of a day is counted, and what the ends on hold have in it."""
    sealant = pack.materials.items[pack.materials.sealant.item_id]
    noun = "cartridge" if "cartridge" in sealant.name.lower() else "pack"
    if jobs and all(j.hole.snag for j in jobs):
        return (
            f"Seals to make good only: no {noun} is counted for them, the spare serves where a snag "
            "needs sealant."
        )
    words = (
        f"Sealant: {noun}s for all ends of the list + {sealant.spare_count} spare. Sleeves: sum "
        "of all ends as drawn, with spares for cables left as found and for what the survey leaves "
        "in doubt."
    )
    held = [j for j in jobs if held_reach(j.hole)]
    if not held:
        return words
    rest = [j for j in jobs if not held_reach(j.hole)]
    whole, less = (
        packs_count(amounts(part).get(sealant.id, 0.0), sealant) for part in (jobs, rest)
    )
    names = ", ".join(j.end_id for j in held)
    fewer = whole - less
    count = "no" if fewer == 0 else f"{fewer}"
    return (
        f"{words} The ends on hold are counted in ({names}): where they are not released, "
        f"{count} {noun}{'s' if fewer > 1 else ''} less, and their sleeves stay in the van."
    )


def _uncounted(job: Job) -> str:
    """Why an end has no quantities."""
    if job.hole.snag:
        day = said(job.hole.sealed, "sealed_on")
        return f"Sealed by record on {day}: nothing is counted for it; open snag: {job.hole.snag}."
    return "No quantity is known for this end."


def quantity_rows(job: Job, pack: Pack) -> list[str]:
    """Quantities of one end: sealant, sleeves as drawn, sleeves to bring besides, collars.

    Parameters
    ----------
    job : Job
    pack : Pack

    Returns
    -------
    list of str
    """
    items = pack.materials.items
    sealant = items[pack.materials.sealant.item_id]
    have = {said(p, "item_id"): number(p, "quantity") for p in job.pieces}
    ml = have.get(sealant.id, math.nan)
    if math.isnan(ml):
        return [_uncounted(job)]
    words = f"{math.ceil(ml)} ml of sealant"
    if sealant.pack_ml:
        words += f" ({ml / sealant.pack_ml:.2f} of a pack of {sealant.pack_ml:g} ml)"
    more = spare_sleeves(job, pack)
    if not bool(job.hole.design.get("is_designed")):
        rows = [f"Provisional, from like ends: about {words}."]
        if more:
            rows.append(f"Filler sleeves, about: {more}.")
        return rows
    rows = [f"This end takes {words}."]
    drawn = sizes_words(drawn_sleeves(job))
    count = lengths_count(job)
    deep = f" ({count} lengths deep: each one in the picture counts {count})" if count > 1 else ""
    rows.append(f"Filler sleeves as drawn: {drawn}{deep}." if drawn else "No filler sleeves.")
    if more:
        rows.append(f"Also bring (cables may have to stay as found): {more}.")
    collars = {float(i.outer_mm or 0.0): math.ceil(have[i.id]) for i in pack.materials.item
               if i.kind == "collar" and have.get(i.id, 0.0) > 0}  # fmt: skip
    if collars:
        rows.append(f"Cable collars: {sizes_words(Counter(collars))}.")
    return rows
