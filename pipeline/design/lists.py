"""Lists beside the designs: whose consent is needed, and what is done with each seal that is there."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pipeline.core.materials import Materials
from pipeline.core.settings import Settings
from pipeline.design.case import KEEP, OVER_SEAL, TAKE_OUT, Case
from pipeline.design.draft import Draft
from pipeline.design.facts import Row, text

_NOT_KNOWN = "not known"


def consent_rows(drafts: Sequence[Draft]) -> list[Row]:
    """Rows of `consents`: one per owner and thing of theirs that sealing touches.

    Parameters
    ----------
    drafts : sequence of Draft

    Returns
    -------
    list of dict
        Only for ends that are to be sealed; an owner that nobody knows is listed as such.
    """
    ends: dict[tuple[str, str, str], list[Draft]] = {}
    for draft in drafts:
        if draft.is_needed:
            for kind, thing, owner in draft.case.others:
                ends.setdefault((owner or _NOT_KNOWN, kind, thing), []).append(draft)
    return [
        {
            "owner": owner,
            "thing_kind": kind,
            "thing_id": thing,
            "region": _joined(d.facts.region for d in mine) or None,
            "site_ids": _joined(text(d.facts.site, "site_id") for d in mine) or None,
            "end_ids": _joined(d.facts.end_id for d in mine),
            "ends_count": len({d.facts.end_id for d in mine}),
            "words": _asked(owner, kind, thing),
        }
        for (owner, kind, thing), mine in sorted(ends.items(), key=lambda pair: pair[0])
    ]


def _joined(values: Any) -> str:
    return ";".join(sorted({v for v in values if v}))


def _asked(owner: str, kind: str, thing: str) -> str:
    whose = "find out whose it is, then ask" if owner == _NOT_KNOWN else f"ask {owner}"
    what = (
        "to seal round it, and what may touch its covering"
        if kind == "cable"
        else "to close the ducts that come from it, and to open it for dipping"
    )
    return f"{whose} for consent in writing: {kind} {thing}, {what}"


def old_seal_rows(
    drafts: Sequence[Draft], *, settings: Settings, materials: Materials
) -> list[Row]:
    """Rows of `old_seals`: what is done with each seal that is there, with time and waste.

    Parameters
    ----------
    drafts : sequence of Draft
    settings : Settings
        Hours for taking a seal out.
    materials : Materials
        Items that are counted where an old seal comes out.

    Returns
    -------
    list of dict
    """
    out = []
    for draft in drafts:
        facts, case = draft.facts, draft.case
        done = _done(draft)
        for number, seal in enumerate(facts.seals):
            comes_out = done == TAKE_OUT
            # hours and waste are counted by end: they stand at the first of its seals
            is_first = number == 0
            out.append(
                {
                    "seal_id": text(seal, "seal_id"),
                    "end_id": facts.end_id,
                    "site_id": text(facts.site, "site_id") or None,
                    "building_id": text(facts.building, "building_id") or None,
                    "region": facts.region or None,
                    "kind": text(seal, "kind") or None,
                    "condition": text(seal, "condition") or None,
                    "proposal": text(seal, "proposal") or None,
                    "decision": done,
                    "why": _why(draft, done),
                    "removal_h": settings.crews.hours_old_seal if comes_out and is_first else 0.0,
                    "waste_words": _waste(case, materials) if comes_out else "none",
                    "hold_reach": draft.reach,
                }
            )
    return sorted(out, key=lambda r: (str(r["seal_id"]), str(r["end_id"])))


def _done(draft: Draft) -> str:
    """The decision of the end; a seal where none is needed stays as it is."""
    return draft.case.old_seal if draft.is_needed else KEEP


def _why(draft: Draft, done: str) -> str:
    if not draft.is_needed:
        return draft.need_reason
    if draft.case.fire_wall:
        return "may be a fire stop: stays until the owner's engineer says how both are kept"
    if done == OVER_SEAL:
        gas = draft.case.gas_reason
        return (
            f"rated against water; gas-tight as well: {gas}"
            if gas and draft.case.is_rated
            else "sound and dry, not rated for the head: stays behind the new one"
        )
    return "not sound, dry and rated for the head by an inspection that is recent enough"


def _waste(case: Case, materials: Materials) -> str:
    if case.asbestos:
        return "asbestos suspected: the licensed way, not in the bags of this list"
    items = [i for i in materials.item if i.when == "old seal" and i.quantity > 0]
    return ", ".join(f"{i.quantity:g} x {i.name}" for i in items) or "none named"
