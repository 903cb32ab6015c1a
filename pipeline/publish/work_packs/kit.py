"""What is taken along: pieces of the ends, packs of the day, and what a crew carries anyway."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from pipeline.core.materials import Item
from pipeline.publish.work_packs.facts import Job, Pack, Row, number, said


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
            item, f"{count} + {item.spare_count}",
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


def quantity_sentence(job: Job, pack: Pack) -> str:
    """Quantities of one end as a sentence.

    Parameters
    ----------
    job : Job
    pack : Pack

    Returns
    -------
    str
    """
    items = pack.materials.items
    sealant = items[pack.materials.sealant.item_id]
    have = {said(p, "item_id"): number(p, "quantity") for p in job.pieces}
    ml = have.get(sealant.id, math.nan)
    if math.isnan(ml):
        return "No quantity is known for this end."
    is_firm = bool(job.hole.design.get("is_designed"))
    words = f"{math.ceil(ml)} ml of sealant"
    if sealant.pack_ml:
        words += f" ({ml / sealant.pack_ml:.2f} of a pack of {sealant.pack_ml:g} ml)"
    parts = [words]
    for kind, name in (("sleeve", "filler sleeve"), ("collar", "cable collar")):
        for item in sorted(
            (i for i in pack.materials.item if i.kind == kind and have.get(i.id, 0.0) > 0),
            key=lambda i: (-(i.outer_mm or 0.0), i.id),
        ):
            count = math.ceil(have[item.id])
            plural = "" if count == 1 else "s"
            parts.append(f"{count} {name}{plural} of {item.outer_mm:g} mm")
    begin = "This end takes " if is_firm else "Provisional, from like ends: about "
    return begin + (", ".join(parts[:-1]) + " and " if len(parts) > 1 else "") + parts[-1] + "."
