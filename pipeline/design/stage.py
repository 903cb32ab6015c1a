"""The stage `design`: from ends, cables, levels and water to seals, pieces and drawings."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import pandas as pd

from pipeline.core import findings as core_findings
from pipeline.core.cautions import check_codes
from pipeline.core.errors import UsageError
from pipeline.core.materials import Materials
from pipeline.core.progress import Progress, silent
from pipeline.core.settings import Settings
from pipeline.design import rows
from pipeline.design.case import WET_WELL
from pipeline.design.draft import Draft, draft_of
from pipeline.design.facts import Facts, gather, records, text
from pipeline.design.head import ASSUMED, NOT_KNOWN, Head, Waters, head_of
from pipeline.design.hold_rules import RULES
from pipeline.design.lists import consent_rows, old_seal_rows
from pipeline.design.need import need_of
from pipeline.design.provisional import Estimate, Estimator, Sample
from pipeline.tables import Tables, hand_over

_CHAMBER_SIDE = ("chamber", "both")
_NO_ROOM = ("short depth", "no access")


def design(
    tables: Tables, settings: Settings, *, materials: Materials, progress: Progress = silent
) -> Tables:
    """Design the seal of every duct end and count its pieces.

    Parameters
    ----------
    tables : Tables
        sites, buildings, chambers, entries, ends, cables, seals, columns, levels, floods, links,
        reach, reach_sources.
    settings : Settings
    materials : Materials
        The materials file.
    progress : callable, optional
        Told (done, total) ends.

    Returns
    -------
    Tables
        designs, placements, pieces, consents, old_seals, findings.

    Raises
    ------
    ContractBreach
        When a table does not meet its description.
    UsageError
        When `design.gas_tight` or `[cautions]` names something that is not there.
    """
    check_codes(settings.cautions, {r.code for r in RULES if r.caution})
    _check_gas_tight(tables, settings)
    facts = gather(tables, settings)
    heads = _heads(facts, Waters(tables))
    drafts = _drafts(facts, heads, settings=settings, materials=materials, progress=progress)
    estimator = Estimator([_sample(d) for d in drafts if d.is_designed])
    estimates: dict[str, Estimate | None] = {
        d.facts.end_id: estimator.of(d.facts) for d in drafts if d.is_needed and not d.is_designed
    }
    letters = {
        (text(r, "file"), text(r, "sheet"), text(r, "house_name")): text(r, "letter")
        for r in records(tables, "columns")
    }
    designs, pieces, placements, found = [], [], [], []
    for draft in drafts:
        estimate = estimates.get(draft.facts.end_id)
        designs.append(rows.design_row(draft, estimate, materials=materials))
        pieces += rows.piece_rows(draft, estimate, materials=materials)
        placements += rows.placement_rows(draft)
        found += rows.findings_of(draft, letters)
    return hand_over(
        "design",
        {
            "designs": pd.DataFrame(designs),
            "placements": pd.DataFrame(placements),
            "pieces": pd.DataFrame(pieces),
            "consents": pd.DataFrame(consent_rows(drafts)),
            "old_seals": pd.DataFrame(
                old_seal_rows(drafts, settings=settings, materials=materials)
            ),
            "findings": core_findings.table(found),
        },
    )


def _check_gas_tight(tables: Tables, settings: Settings) -> None:
    """A name that stands for nothing would leave an end unsealed without a word."""
    asked = set(settings.design.gas_tight) - {WET_WELL}
    if not asked:
        return
    names = (
        ("sites", "site_id"), ("policies", "site_id"), ("buildings", "building_id"),
        ("chambers", "chamber_id"), ("entries", "entry_id"), ("ends", "end_id"),
        ("levels", "thing_id"),
    )  # fmt: skip
    known = {text(row, key) for table, key in names for row in records(tables, table)}
    unknown = sorted(asked - known)
    if unknown:
        raise UsageError(
            f"design.gas_tight names {', '.join(unknown)}, which the surveys do not hold.",
            mend=f"Name ids of sites, buildings, chambers, entries or ends, or '{WET_WELL}'.",
        )


def _heads(facts: Sequence[Facts], waters: Waters) -> dict[str, Head]:
    """Design heads; an unknown one takes the highest of its site, else of all (house rule)."""
    heads = {f.end_id: head_of(f, waters) for f in facts}
    by_site: dict[str, float] = {}
    for f in facts:
        head_m, site = heads[f.end_id].head_m, text(f.site, "site_id")
        if not math.isnan(head_m):
            by_site[site] = max(head_m, by_site.get(site, 0.0))
    highest_m = max(by_site.values(), default=math.nan)
    for f in facts:
        head = heads[f.end_id]
        if not math.isnan(head.head_m):
            continue
        site_m = by_site.get(text(f.site, "site_id"), math.nan)
        taken_m = highest_m if math.isnan(site_m) else site_m
        whose = "the programme" if math.isnan(site_m) else "its site"
        if math.isnan(taken_m):
            said = f"head {head.words}: layer of the policy minimum"
            heads[f.end_id] = replace(head, assumed=said)
            continue
        missing = head.words.removeprefix(NOT_KNOWN)
        heads[f.end_id] = replace(
            head,
            head_m=taken_m,
            words=f"{ASSUMED}{missing}, so the highest head of {whose} is taken",
            assumed=f"head {head.words}: the highest of {whose} taken, {taken_m:.3f} m",
        )
    return heads


def _drafts(
    facts: Sequence[Facts],
    heads: Mapping[str, Head],
    *,
    settings: Settings,
    materials: Materials,
    progress: Progress,
) -> list[Draft]:
    needs = {
        f.end_id: need_of(f, settings=settings, materials=materials, head=heads[f.end_id])
        for f in facts
    }

    def make(f: Facts) -> Draft:
        return draft_of(
            f,
            settings=settings,
            materials=materials,
            head=heads[f.end_id],
            need=needs[f.end_id],
            is_both_sealed=_other_needed(f, needs),
        )

    drafts = {}
    for done, f in enumerate(facts, start=1):
        drafts[f.end_id] = make(f)
        progress(done, len(facts))
    if settings.design.seal_place == "wall or chamber":
        for f in facts:
            _move_to_chamber(f, drafts, needs)
        for f in facts:
            if needs[f.end_id] != (drafts[f.end_id].is_needed, drafts[f.end_id].need_reason):
                drafts[f.end_id] = make(f)
    return [drafts[f.end_id] for f in facts]


def _other_needed(f: Facts, needs: Mapping[str, tuple[bool, str]]) -> bool:
    other = text(f.far_end, "end_id")
    return bool(other) and other != f.end_id and needs.get(other, (False, ""))[0]


def _move_to_chamber(
    f: Facts, drafts: Mapping[str, Draft], needs: dict[str, tuple[bool, str]]
) -> None:
    """Seal the chamber end of a duct where the wall end has no room and the settings allow it."""
    draft, other = drafts[f.end_id], text(f.far_end, "end_id")
    blocked = any(a.rule.code in _NO_ROOM and not a.is_lifted for a in draft.applied)
    if f.is_chamber_end or not draft.is_needed or not blocked or other not in drafts:
        return
    chamber_end = drafts[other].facts
    if chamber_end.is_chamber_end and text(chamber_end.end, "seal_from") in _CHAMBER_SIDE:
        needs[other] = (True, f"sealed here: wall end {f.end_id} has no room for a seal")
        needs[f.end_id] = (False, f"no room at the wall: sealed at the chamber end {other}")


def _sample(draft: Draft) -> Sample:
    return Sample(
        draft.facts.wall, text(draft.facts.site, "site_type"), draft.pieces, draft.hours_h
    )
